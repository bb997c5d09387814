//! What a scene is made of. Every field has a unit and a usual value in `Default`.
//!
//! Directions are degrees in the picture: 0 points right, 90 points down. Paper coordinates are mm:
//! x right and y down from the paper point at the picture's middle, see [`View`]. Colours are linear-light
//! RGB; 1.0 is where the sensor saturates, so a reflectance here already holds the exposure.

use super::print::Ink;
use super::props::{ReferenceCard, ReferenceDisc, Surround};
use super::view::View;

/// A whole scene: grounds on paper, how they are lit and how they are photographed.
#[derive(Clone, Debug, PartialEq)]
pub struct SceneSpec {
    /// Picture width in pixels.
    pub width_px: u32,
    /// Picture height in pixels.
    pub height_px: u32,
    /// Scale on the paper, micrometres for each pixel; under a view that at the picture's middle.
    pub um_per_px: f64,
    /// The same seed gives the same picture and the same truth.
    pub seed: u64,
    /// Size distribution of the particles.
    pub grind: Grind,
    /// How the camera stands to the paper; without it, straight above and at one scale.
    pub view: Option<View>,
    /// Share of the sheet (less the parts kept clear) covered by particles, 0..=0.5. Refers to
    /// `spread_mm` where that is given.
    pub coverage: f64,
    /// Rectangle (x0, y0, x1, y1) in paper mm that holds the centres of all particles.
    pub spread_mm: Option<[f64; 4]>,
    /// Smallest gap in pixels between the bounding circles of isolated particles.
    pub min_gap_px: f64,
    /// Share of particles that touch or slightly overlap a neighbour, 0..=1.
    pub touching_share: f64,
    /// Look of the particles.
    pub coffee: Coffee,
    /// Look of the paper.
    pub paper: Paper,
    /// Unevenness of the light.
    pub light: Light,
    /// Shadow of each particle on the paper.
    pub shadow: Shadow,
    /// Lens, sensor and processing.
    pub camera: Camera,
    /// What is printed on the paper, the first lowest.
    pub print: Vec<Ink>,
    /// A disc of known diameter on the paper.
    pub reference: Option<ReferenceDisc>,
    /// A card of known size on the paper.
    pub card: Option<ReferenceCard>,
    /// A table around the sheet; without it paper fills the frame and particles may be cut by it.
    pub surround: Option<Surround>,
    /// A thumb entering from the bottom edge; particles keep clear of it.
    pub thumb: bool,
}

impl Default for SceneSpec {
    fn default() -> Self {
        Self {
            width_px: 3000,
            height_px: 2250,
            um_per_px: 30.0,
            seed: 1,
            grind: Grind::default(),
            view: None,
            coverage: 0.06,
            spread_mm: None,
            min_gap_px: 3.0,
            touching_share: 0.0,
            coffee: Coffee::default(),
            paper: Paper::default(),
            light: Light::default(),
            shadow: Shadow::default(),
            camera: Camera::default(),
            print: Vec::new(),
            reference: None,
            card: None,
            surround: None,
            thumb: false,
        }
    }
}

/// A lognormal distribution of equivalent circle diameter (ECD), by number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lognormal {
    /// Median ECD in micrometres.
    pub median_um: f64,
    /// Geometric standard deviation, at least 1; 1 means all of one size.
    pub gsd: f64,
}

/// Mixture of two lognormals by number, limited to a range of sizes.
#[derive(Clone, Debug, PartialEq)]
pub struct Grind {
    /// The main fraction.
    pub coarse: Lognormal,
    /// The fines.
    pub fines: Lognormal,
    /// Share of particles, by number, that come from `fines`, 0..=1.
    pub fines_number_share: f64,
    /// Smallest ECD in micrometres; smaller draws are drawn again.
    pub min_um: f64,
    /// Largest ECD in micrometres; larger draws are drawn again.
    pub max_um: f64,
}

impl Default for Grind {
    /// A medium filter grind.
    fn default() -> Self {
        Self {
            coarse: Lognormal { median_um: 560.0, gsd: 1.45 },
            fines: Lognormal { median_um: 130.0, gsd: 1.5 },
            fines_number_share: 0.7,
            min_um: 60.0,
            max_um: 2000.0,
        }
    }
}

/// Look of the particles.
#[derive(Clone, Debug, PartialEq)]
pub struct Coffee {
    /// Mean reflectance.
    pub reflectance: [f64; 3],
    /// Relative standard deviation of brightness between particles, 0..=1.
    pub spread: f64,
    /// Amplitude of the texture within a particle, as a share of its reflectance, 0..=1.
    pub texture: f64,
    /// Size of the texture's grains in pixels.
    pub grain_px: f64,
    /// Share of particles, by number, that are pale chaff flakes, 0..=1.
    pub chaff_share: f64,
    /// Reflectance of a flake before its deficit (0.3..0.5, drawn for each flake) is taken off.
    pub chaff_reflectance: [f64; 3],
}

impl Default for Coffee {
    fn default() -> Self {
        Self {
            reflectance: [0.078, 0.045, 0.027],
            spread: 0.22,
            texture: 0.45,
            grain_px: 3.0,
            chaff_share: 0.01,
            chaff_reflectance: [0.86, 0.74, 0.56],
        }
    }
}

/// Look of the paper.
#[derive(Clone, Debug, PartialEq)]
pub struct Paper {
    /// Mean reflectance, exposure included.
    pub reflectance: [f64; 3],
    /// Amplitude of the fine texture as a share of the reflectance, 0..=0.5.
    pub texture: f64,
}

impl Default for Paper {
    fn default() -> Self {
        Self { reflectance: [0.77, 0.75, 0.71], texture: 0.012 }
    }
}

/// Unevenness of the light over the picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Light {
    /// Rise of the light across the picture as a share of its mean, 0..=1.
    pub gradient: f64,
    /// Direction, in degrees, in which the light rises.
    pub direction_deg: f64,
    /// Share of the light lost in the corners, 0..=0.9.
    pub vignette: f64,
    /// A shadow that falls on one side of the picture.
    pub cast: Option<CastShadow>,
}

impl Default for Light {
    fn default() -> Self {
        Self { gradient: 0.12, direction_deg: 215.0, vignette: 0.08, cast: None }
    }
}

/// The shadow of something large and near, with a straight soft edge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CastShadow {
    /// A point of the picture through which the middle of the edge goes, pixels.
    pub through_px: [f64; 2],
    /// Direction, in degrees, across the edge into the shadow.
    pub direction_deg: f64,
    /// Share of the light taken in the full shadow, 0..=0.8.
    pub strength: f64,
    /// Width of the edge from full light to full shadow, pixels.
    pub softness_px: f64,
}

/// Contact shadow of a particle. It falls on the paper only and multiplies it.
#[derive(Clone, Debug, PartialEq)]
pub struct Shadow {
    /// Share of the light taken away right at the outline on the lee side, 0..=0.6.
    pub strength: f64,
    /// How far it reaches, as a share of the particle's ECD, 0..=3.
    pub reach: f64,
    /// Direction, in degrees, in which it falls.
    pub direction_deg: f64,
    /// 0: small hard lamp, one-sided shadow with a definite end. 1: even ring fading smoothly.
    pub softness: f64,
}

impl Default for Shadow {
    fn default() -> Self {
        Self { strength: 0.12, reach: 0.25, direction_deg: 35.0, softness: 0.5 }
    }
}

/// Lens, sensor and processing.
#[derive(Clone, Debug, PartialEq)]
pub struct Camera {
    /// Standard deviation of the Gaussian blur in the middle of the picture, pixels, 0..=20.
    pub blur_sigma_px: f64,
    /// Relative growth of that blur towards the corners: 0.5 means half as much again.
    pub corner_blur: f64,
    /// Photon noise: standard deviation at linear 1.0; it goes with the root of the signal.
    pub photon_noise: f64,
    /// Read noise: standard deviation in linear units, the same everywhere.
    pub read_noise: f64,
    /// Whether the sensor sees one colour in each pixel (RGGB), to be filled in afterwards.
    pub mosaic: bool,
    /// Unsharp mask on the encoded values.
    pub sharpen: Sharpen,
    /// Standard deviation of the smoothing against noise in linear light, pixels; 0 is none.
    pub smooth_sigma_px: f64,
    /// JPEG quality, 1..=100.
    pub jpeg_quality: u8,
}

impl Default for Camera {
    fn default() -> Self {
        Self {
            blur_sigma_px: 0.9,
            corner_blur: 0.25,
            photon_noise: 0.014,
            read_noise: 0.002,
            mosaic: true,
            sharpen: Sharpen { amount: 0.5, radius_px: 1.2 },
            smooth_sigma_px: 0.6,
            jpeg_quality: 92,
        }
    }
}

/// Unsharp mask.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sharpen {
    /// Share of the detail that is added again, 0..=5; 0 is none.
    pub amount: f64,
    /// Standard deviation of the mask's Gaussian in pixels.
    pub radius_px: f64,
}
