//! Stage 2: micrometres per pixel, and how sure.
//!
//! Every way to a scale ends in one [`Scale`]; a way of its own (a sheet, a card, a stand) is a module that makes one.

mod camera;
mod disc;
mod homography;
mod lens;

pub use camera::{CameraError, CameraModel, CameraSpread, PlaneView, Pose, fit_camera};
pub use disc::{Candidate, Disc, check_diameter, find_disc};
pub use homography::{fit_homography, project};
pub use lens::Lens;

/// Micrometres per pixel over the picture, with its uncertainty. Never 0, never NaN (checked in `new`).
#[derive(Clone, Debug, PartialEq)]
pub struct Scale {
    um_per_px: f64,
    relative_uncertainty: f64,
    from: Source,
}

/// How a scale was obtained.
#[derive(Clone, Debug, PartialEq)]
pub enum Source {
    /// Given as a number.
    Given,
    /// From a round object of known diameter in the picture.
    Disc(Disc),
}

/// Why there is no scale.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs, reason = "each variant is its message")]
pub enum ScaleError {
    #[error(
        "the scale must be a number of µm per pixel above 0 and below 10000, and {0} is not. A phone photo of a hand-sized sheet has about 20"
    )]
    OutOfRange(f64),
    #[error("the diameter of the reference disc must lie between 1 and 500 mm, and {0} does not")]
    DiscDiameter(f64),
    #[error(
        "no round object was found for the reference disc. Lay the coin or disc flat on the paper, wholly in the \
         picture, clear of the grounds, larger than any particle; or give --scale UM_PER_PX"
    )]
    NoDisc,
}

impl Scale {
    /// A constant scale.
    ///
    /// `um_per_px` µm per pixel; `relative_uncertainty` standard uncertainty over value, dimensionless.
    ///
    /// # Errors
    /// When `um_per_px` is not a number in 0..10000.
    pub fn new(um_per_px: f64, relative_uncertainty: f64, from: Source) -> Result<Self, ScaleError> {
        if !(um_per_px > 0.0 && um_per_px < 1e4) {
            return Err(ScaleError::OutOfRange(um_per_px));
        }
        Ok(Scale { um_per_px, relative_uncertainty, from })
    }

    /// Micrometres per pixel at a place of the upright photo, px.
    pub fn um_per_px(&self, _at: [f64; 2]) -> f64 {
        self.um_per_px
    }

    /// Micrometres per pixel in the middle of the picture.
    pub fn typical(&self) -> f64 {
        self.um_per_px
    }

    /// Relative standard uncertainty, dimensionless.
    pub fn relative_uncertainty(&self) -> f64 {
        self.relative_uncertainty
    }

    /// How it was obtained.
    pub fn from(&self) -> &Source {
        &self.from
    }
}
