//! Stage 4: finds what is darker than the paper and parts what merely touches. Works in pixels only.

mod basins;
mod find;
mod label;
mod notch;
mod part;
mod rows;
mod shade;
mod sharpen;
mod split;

pub use label::{Run, RunGroups, Touch, runs_above};

use crate::backdrop::Scene;
use crate::photo::Photo;

/// What was taken for one particle: its share of a connected group of dark pixels.
#[derive(Clone, Debug)]
pub struct Part {
    /// Half-open bounding box x0, y0, x1, y1, px.
    pub bounds: [usize; 4],
    /// Pixels, by row.
    pub runs: Vec<Run>,
    /// True when the group holds other parts.
    pub split: bool,
    /// Why the part is not measured.
    pub rejected: Option<Rejection>,
}

/// Why a part is not a particle.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rejection {
    /// Cut by the frame of the photo.
    CutByFrame,
    /// Reaches beyond the paper: a table, the sheet's edge, a finger.
    OffPaper,
    /// Larger than any ground coffee: a coin, a bean.
    TooLarge,
    /// Far longer than wide: a hair, a fibre.
    Fibre,
    /// Pale as chaff, which is not wanted.
    Chaff,
}

/// Everything found in one photo.
#[derive(Clone, Debug)]
pub struct Regions {
    /// All parts, in the order of their groups' first pixels.
    pub parts: Vec<Part>,
    /// Deficit above which the smoothed photo was taken for a particle, dimensionless.
    pub threshold: f64,
    /// Standard deviation of the smoothed deficit on paper, dimensionless.
    pub smoothed_noise: f64,
}

/// Finds and parts the dark regions of `photo`.
pub fn find(photo: &Photo, scene: &Scene) -> Regions {
    let found = find::detect(photo, scene);
    let blobs = label::blobs(found.runs);
    let parts = part::all(photo, scene, blobs, found.threshold);
    Regions { parts, threshold: found.threshold, smoothed_noise: found.smoothed_noise }
}

/// Finds and parts the dark regions within boxes of a photo (half open, clear of each other) whose bare paper was read
/// before, as `paper` tells: by the same threshold, and by the same code once a region is found.
pub fn find_in(photo: &Photo, scene: &Scene, boxes: &[[usize; 4]], paper: &Regions) -> Regions {
    let Regions { threshold, smoothed_noise, .. } = *paper;
    let runs = find::detect_in(photo, scene, boxes, threshold);
    let blobs = runs.into_iter().flat_map(label::blobs).collect();
    Regions { parts: part::all(photo, scene, blobs, threshold), threshold, smoothed_noise }
}
