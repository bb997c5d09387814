//! Things beside the grounds. Colours are linear-light RGB, as in the rest of the scene.

/// A round metal disc lying on the paper; particles keep clear of it.
#[derive(Clone, Debug, PartialEq)]
pub struct ReferenceDisc {
    /// True diameter in millimetres.
    pub diameter_mm: f64,
    /// Centre as shares of the picture's width and height. Under a view: of the picture without it.
    pub centre: (f64, f64),
    /// Mean reflectance of the metal.
    pub reflectance: [f64; 3],
    /// Strength of rim and relief, 0 (flat) ..=1.
    pub relief: f64,
    /// Height of its top above the paper in millimetres; makes a difference under a view only.
    pub thickness_mm: f64,
}

impl Default for ReferenceDisc {
    fn default() -> Self {
        Self { diameter_mm: 22.0, centre: (0.2, 0.24), reflectance: [0.34, 0.33, 0.31], relief: 0.5, thickness_mm: 0.0 }
    }
}

/// A plastic card lying on the paper, above the print; particles keep clear of it.
#[derive(Clone, Debug, PartialEq)]
pub struct ReferenceCard {
    /// Centre in paper mm.
    pub centre_mm: [f64; 2],
    /// Turn on the paper, degrees; at 0 its width runs along the paper's x.
    pub turn_deg: f64,
    /// Width in millimetres.
    pub width_mm: f64,
    /// Height in millimetres.
    pub height_mm: f64,
    /// Radius of its rounded corners in millimetres.
    pub corner_mm: f64,
    /// Height of its top above the paper in millimetres; makes a difference under a view only.
    pub thickness_mm: f64,
    /// Linear reflectance, exposure included.
    pub reflectance: [f64; 3],
}

impl Default for ReferenceCard {
    /// The size of bank cards (ISO/IEC 7810 ID-1).
    fn default() -> Self {
        Self {
            centre_mm: [0.0, 0.0],
            turn_deg: 0.0,
            width_mm: 85.60,
            height_mm: 53.98,
            corner_mm: 3.18,
            thickness_mm: 0.76,
            reflectance: [0.10, 0.16, 0.24],
        }
    }
}

/// A table seen around the sheet. Particles lie on the sheet only, at least 2 mm from its edge.
#[derive(Clone, Debug, PartialEq)]
pub struct Surround {
    /// Left edge of the unrotated sheet, as a share of the picture's width.
    pub left: f64,
    /// Top edge, as a share of the height.
    pub top: f64,
    /// Right edge, as a share of the width.
    pub right: f64,
    /// Bottom edge, as a share of the height.
    pub bottom: f64,
    /// Rotation of the sheet about its own centre, degrees.
    pub rotation_deg: f64,
    /// Mean reflectance of the table.
    pub table: [f64; 3],
    /// Amplitude of the table's grain as a share of its reflectance, 0..=1.
    pub grain: f64,
}

impl Default for Surround {
    fn default() -> Self {
        Self {
            left: 0.09,
            top: 0.1,
            right: 0.92,
            bottom: 0.9,
            rotation_deg: 2.0,
            table: [0.24, 0.135, 0.07],
            grain: 0.35,
        }
    }
}
