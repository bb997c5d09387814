//! Stage 5: sub-pixel outline, size and shape of every particle.
//!
//! [`shapes`] measures in pixels; [`Shape::at_scale`] is the one place where pixels become micrometres.

mod calibrate;
mod contour;
mod edge;
mod examine;
mod flag;
mod shade;
mod shape;
mod territory;

pub use calibrate::Calibration;
pub use flag::Flags;
pub use shade::Shade;
pub use shape::{Particle, Shape, aspect_ratio, circularity, ecd_um, solidity};

use rayon::prelude::*;

use crate::backdrop::Scene;
use crate::photo::Photo;
use crate::segment::Regions;

/// Measures every part that was not rejected; the result keeps the order of `regions.parts`.
pub fn shapes(photo: &Photo, scene: &Scene, regions: &Regions) -> (Vec<Option<Shape>>, Calibration) {
    let occupied = territory::Occupied::new(photo, regions);
    let raw: Vec<Option<shape::Raw>> = regions
        .parts
        .par_iter()
        .map_init(
            || shape::Reader::new(photo, scene, &occupied),
            |reader, part| part.rejected.is_none().then(|| reader.read(part)).flatten(),
        )
        .collect();
    let calibration = Calibration::learn(&raw, scene);
    let shapes = raw.into_par_iter().map(|r| r.map(|r| r.finish(&calibration))).collect();
    (shapes, calibration)
}
