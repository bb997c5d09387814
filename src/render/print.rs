//! What is printed on the paper.

use super::backdrop::{Rgb, rgb};
use super::outline::{Point, bounds};
use super::spec::SceneSpec;
use super::view::Projection;
use std::f64::consts::TAU;

/// Black print under the usual exposure.
const BLACK: f64 = 0.04 * 0.8;
const DISC_VERTICES: usize = 256;

/// A polygon printed on the paper. It replaces what was printed there before.
#[derive(Clone, Debug, PartialEq)]
pub struct Ink {
    /// Corners in paper mm. It may not cross itself.
    pub outline_mm: Vec<[f64; 2]>,
    /// Linear reflectance, exposure included; `None` is bare paper again.
    pub reflectance: Option<[f64; 3]>,
}

impl Ink {
    /// A black disc at a place in paper mm, of a radius in mm.
    pub fn disc(centre_mm: [f64; 2], radius_mm: f64) -> Self {
        Self { reflectance: Some([BLACK; 3]), ..Self::white_disc(centre_mm, radius_mm) }
    }

    /// A disc of bare paper at a place in paper mm, of a radius in mm.
    pub fn white_disc(centre_mm: [f64; 2], radius_mm: f64) -> Self {
        let step = TAU / DISC_VERTICES as f64;
        // So wide that the polygon has the area of the circle.
        let radius = radius_mm * (step / step.sin()).sqrt();
        let at = |i: usize| {
            let (sin, cos) = (i as f64 * step).sin_cos();
            [centre_mm[0] + radius * cos, centre_mm[1] + radius * sin]
        };
        Self { outline_mm: (0..DISC_VERTICES).map(at).collect(), reflectance: None }
    }
}

/// Ink as the camera sees it. Pixels.
pub(super) struct Printed {
    pub outline: Vec<Point>,
    /// Rows from the top that hold any of it.
    pub rows: [f64; 2],
    pub colour: Option<Rgb>,
}

pub(super) fn printed(spec: &SceneSpec, projection: &Projection) -> Vec<Printed> {
    let seen = |ink: &Ink| {
        let outline = projection.outline(&ink.outline_mm, 0.0);
        let (low, high) = bounds(&outline);
        Printed { outline, rows: [low[1], high[1]], colour: ink.reflectance.as_ref().map(rgb) }
    };
    spec.print.iter().map(seen).collect()
}
