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
mod plate;
mod print;
mod props;
mod raster;
mod shade;
mod spec;
mod stage;
#[cfg(test)]
mod tests;
mod truth;
mod view;
#[cfg(test)]
mod view_tests;

pub use print::Ink;
pub use props::{ReferenceCard, ReferenceDisc, Surround};
pub use spec::{Camera, CastShadow, Coffee, Grind, Light, Lognormal, Paper, SceneSpec, Shadow, Sharpen};
pub use truth::{TrueCard, TrueFigures, TrueParticle, TrueReference};
pub use view::View;

use image::RgbImage;
use image::codecs::jpeg::JpegEncoder;
use view::Projection;

/// A frame so wide cuts nothing.
const ENDLESS_UM: f64 = 1e15;

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
    /// The lens draws two places of the paper at one of the picture.
    #[error("view.k1 and view.k2 fold the picture over itself; ask for smaller ones")]
    Folded,
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
    /// The reference card, if there is one.
    pub card: Option<TrueCard>,
    /// Quality used by [`Rendered::jpeg`], 1..=100.
    pub jpeg_quality: u8,
    projection: Projection,
    /// No particle could be cut by the frame.
    uncut: bool,
}

/// Renders a scene.
///
/// # Errors
/// When a number in the spec makes no sense or the particles find no room.
pub fn render(spec: &SceneSpec) -> Result<Rendered, RenderError> {
    check::check(spec)?;
    let (scene, truth) = set(spec)?;
    let bytes = camera::photograph(&scene, camera::STRIP_ROWS);
    let image = RgbImage::from_raw(spec.width_px, spec.height_px, bytes).expect("there are three bytes for each pixel");
    let stage = scene.stage;
    Ok(Rendered {
        image,
        truth,
        um_per_px: spec.um_per_px,
        reference: stage.disc.as_ref().zip(spec.reference.as_ref()).map(|(d, asked)| truth::disc(d, asked, &stage)),
        card: stage.card.as_ref().zip(spec.card.as_ref()).map(|(c, asked)| truth::card(c, asked, &stage)),
        jpeg_quality: spec.camera.jpeg_quality,
        uncut: stage.sees_spread(),
        projection: stage.projection,
    })
}

/// Lays everything out. Particles that cannot be seen are left away.
fn set(spec: &SceneSpec) -> Result<(paint::Scene, Vec<TrueParticle>), RenderError> {
    let stage = stage::Stage::new(spec, layout::beyond_px(spec));
    let (truth, particles) = layout::place(spec, &stage)?
        .into_iter()
        .map(|flat| (flat.seen(&stage.projection), flat))
        .filter(|(seen, _)| seen.is_in(stage.width, stage.height))
        .map(|(seen, flat)| (truth::measure(&flat, &seen, spec.um_per_px, &stage), seen))
        .unzip();
    Ok((paint::Scene::new(spec.clone(), stage, particles), truth))
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

    /// Where a point is seen: at `at_mm` on the paper and `height_mm` above it, in pixels. The origin
    /// is the paper point at the picture's middle. Without a view the height makes no difference.
    pub fn px_of(&self, at_mm: [f64; 2], height_mm: f64) -> [f64; 2] {
        self.projection.to_px(at_mm, height_mm)
    }

    /// True scale at such a point, micrometres for each pixel: the root of the area on the paper
    /// that is drawn as one pixel.
    pub fn um_per_px_at(&self, at_mm: [f64; 2], height_mm: f64) -> f64 {
        self.projection.um_per_px_at(at_mm, height_mm)
    }

    /// The true measures as CSV, one particle a line, with a header.
    pub fn truth_csv(&self) -> String {
        truth::csv(&self.truth)
    }

    /// Figures of the true distribution by mass (the cube of the ECD), over the particles wholly
    /// inside the frame, each weighted for the chance of being so; under a view for that without it.
    /// All count alike where the frame holds all of `spread_mm`. Fines are below `fines_um`.
    pub fn mass_figures(&self, fines_um: f64) -> TrueFigures {
        let (width, height) = self.image.dimensions();
        let scale = if self.uncut { ENDLESS_UM } else { self.um_per_px };
        truth::figures(&self.truth, f64::from(width) * scale, f64::from(height) * scale, fines_um)
    }
}
