//! Stage 5: sub-pixel outline, size and shape of every particle.
//!
//! [`shapes`] measures in pixels; [`Shape::at_scale`] is the one place where pixels become micrometres.

mod calibrate;
mod contour;
mod edge;
mod examine;
mod fall;
mod flag;
mod look;
mod shade;
mod shape;
mod survey;
mod synthetic;
mod territory;
mod trial;

pub use calibrate::Calibration;
pub use flag::Flags;
pub use look::Look;
pub use shade::Shade;
pub use shape::{Particle, Shape, aspect_ratio, circularity, ecd_um, solidity};
pub use trial::{Trial, Trials};

use rayon::prelude::*;

use crate::backdrop::Scene;
use crate::photo::Photo;
use crate::segment::Regions;
use examine::Levels;
use survey::Survey;

/// Measures every part that was not rejected; the result keeps the order of `regions.parts`.
pub fn shapes(photo: &Photo, scene: &Scene, regions: &Regions) -> (Vec<Option<Shape>>, Calibration) {
    let occupied = territory::Occupied::new(photo, regions);
    let mut survey = Survey::new(photo, scene, regions, &occupied, Levels::USUAL);
    // Shade nearly as dark as the particles would pass for a part of them.
    if survey.shade.hardness > 0.5 {
        survey = Survey::new(photo, scene, regions, &occupied, Levels::IN_HARD_SHADE);
    }
    let calibration = Calibration::learn(&survey, scene);
    let shapes = survey.raw.into_par_iter().map(|r| r?.finish(&calibration)).collect();
    (shapes, calibration)
}
