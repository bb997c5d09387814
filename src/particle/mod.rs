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
    let t = std::time::Instant::now();
    let occupied = territory::Occupied::new(photo, regions);
    let raw: Vec<Option<shape::Raw>> = regions
        .parts
        .par_iter()
        .map(|part| part.rejected.is_none().then(|| shape::measure(photo, scene, &occupied, part)).flatten())
        .collect();
    let t1 = t.elapsed();
    let calibration = Calibration::learn(&raw, scene);
    if let Some(f) = std::env::var_os("LS_DUMP") {
        let mut t = String::new();
        for r in raw.iter().flatten() {
            let rr = &r.reading;
            t += &format!("{} {} {} {} {} {}\n", rr.centroid[0], rr.centroid[1], 2.0 * rr.edge_radius.unwrap_or(0.0), rr.integrated, u8::from(r.crowded), rr.core);
        }
        std::fs::write(f, t).unwrap();
    }
    let shapes = raw.into_iter().map(|r| r.map(|r| r.finish(&calibration))).collect();
    if std::env::var_os("LS_DEBUG").is_some() { eprintln!("   raw {t1:?} all {:?}", t.elapsed()); }
    (shapes, calibration)
}
