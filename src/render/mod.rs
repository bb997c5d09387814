//! Makes photos of ground coffee on white paper whose true sizes are known.
//!
//! For tests, teaching and demonstration: a [`SceneSpec`] says what lies on the paper and how it is
//! photographed, [`render`] gives the picture together with the exact measures of every particle.
//! The order is that of nature. Outlines are drawn with exact coverage of each pixel in linear
//! light, lit, shadowed and blurred; then come the sensor's mosaic and noise, demosaicing, the sRGB
//! curve, sharpening and 8 bits.
//!
//! The same spec gives the same bytes on any number of threads. Pixel (0, 0) covers the square from
//! (0, 0) to (1, 1); its centre is (0.5, 0.5).

mod backdrop;
mod camera;
mod check;
mod grind;
mod layout;
mod lens;
mod look;
mod noise;
mod outline;
mod paint;
mod props;
mod raster;
mod shade;
mod spec;
mod stage;
#[cfg(test)]
mod tests;
mod truth;

pub use props::{ReferenceDisc, Surround};
pub use spec::{Camera, Coffee, Grind, Light, Lognormal, Paper, SceneSpec, Shadow, Sharpen};
pub use truth::{TrueFigures, TrueParticle};

use image::RgbImage;
use image::codecs::jpeg::JpegEncoder;

/// Why a scene cannot be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RenderError {
    /// A number that makes no sense.
    #[error("{field} is {value}, but must be from {low} to {high}")]
    OutOfRange {
        /// Path of the field in [`SceneSpec`].
        field: &'static str,
        /// What it was.
        value: f64,
        /// Smallest value allowed.
        low: f64,
        /// Largest value allowed.
        high: f64,
    },
    /// More pixels than can be handled.
    #[error("a picture of {width_px} x {height_px} pixels is too large")]
    TooLarge {
        /// Asked width.
        width_px: u32,
        /// Asked height.
        height_px: u32,
    },
    /// The coverage needs more particles than can be handled.
    #[error("the coverage needs more than {limit} particles; ask for less or for larger ones")]
    TooMany {
        /// Largest number of particles.
        limit: usize,
    },
    /// No room was left on the paper.
    #[error("only {placed} of {wanted} particles found room; ask for less coverage or smaller gaps")]
    TooCrowded {
        /// Particles that found room.
        placed: usize,
        /// Particles needed for the coverage.
        wanted: usize,
    },
}

/// Where the reference disc truly is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrueReference {
    /// Centre, pixels from the left edge.
    pub x_px: f64,
    /// Centre, pixels from the top edge.
    pub y_px: f64,
    /// Diameter in pixels.
    pub diameter_px: f64,
    /// Diameter in millimetres.
    pub diameter_mm: f64,
}

/// A picture and what is truly in it.
#[derive(Clone, Debug)]
pub struct Rendered {
    /// The picture before JPEG.
    pub image: RgbImage,
    /// Every particle of which any part is in the frame.
    pub truth: Vec<TrueParticle>,
    /// Scale on the paper, micrometres for each pixel.
    pub um_per_px: f64,
    /// The reference disc, if there is one.
    pub reference: Option<TrueReference>,
    /// Quality used by [`Rendered::jpeg`], 1..=100.
    pub jpeg_quality: u8,
}

/// Renders a scene.
///
/// # Errors
/// When a number in the spec makes no sense or the particles find no room.
pub fn render(spec: &SceneSpec) -> Result<Rendered, RenderError> {
    check::check(spec)?;
    let stage = stage::Stage::new(spec, layout::beyond_px(spec));
    let particles = layout::place(spec, &stage)?;
    let truth = particles.iter().map(|p| truth::measure(p, spec.um_per_px, stage.width, stage.height)).collect();
    let reference = stage.disc.zip(spec.reference.as_ref()).map(|(disc, asked)| TrueReference {
        x_px: disc.x,
        y_px: disc.y,
        diameter_px: 2.0 * disc.radius,
        diameter_mm: asked.diameter_mm,
    });
    let scene = paint::Scene { spec: spec.clone(), stage, particles };
    let bytes = camera::photograph(&scene, camera::STRIP_ROWS);
    let image = RgbImage::from_raw(spec.width_px, spec.height_px, bytes).expect("there are three bytes for each pixel");
    Ok(Rendered { image, truth, um_per_px: spec.um_per_px, reference, jpeg_quality: spec.camera.jpeg_quality })
}

impl Rendered {
    /// The picture as a JPEG file.
    pub fn jpeg(&self) -> Vec<u8> {
        let mut bytes = Vec::new();
        self.image
            .write_with_encoder(JpegEncoder::new_with_quality(&mut bytes, self.jpeg_quality))
            .expect("sides are within the format's limit and memory takes what is written");
        bytes
    }

    /// The true measures as CSV, one particle a line, with a header.
    pub fn truth_csv(&self) -> String {
        truth::csv(&self.truth)
    }

    /// Figures of the true distribution by mass (the cube of the ECD), over the particles wholly
    /// inside the frame, each weighted for the chance of being so. Fines are below `fines_um`.
    pub fn mass_figures(&self, fines_um: f64) -> TrueFigures {
        let (width, height) = self.image.dimensions();
        truth::figures(&self.truth, f64::from(width) * self.um_per_px, f64::from(height) * self.um_per_px, fines_um)
    }
}
