//! What the bare paper tells: exposure.

use rayon::prelude::*;

use crate::backdrop::Scene;
use crate::photo::{FULL, Photo};

/// Rows between those that are looked at.
const EVERY: usize = 15;

/// Share of the paper's pixels at full scale.
pub(super) fn clipped(photo: &Photo, scene: &Scene) -> f64 {
    let count = |row: &mut Vec<f32>, y: usize| {
        photo.row_linear(y, 0, row);
        let paper = scene.field.columns(y).into_iter().flatten().step_by(3).filter(|&x| scene.field.contains(x, y));
        paper.fold((0usize, 0usize), |(full, all), x| (full + usize::from(row[x] >= FULL), all + 1))
    };
    let (full, all) = (0..photo.height())
        .into_par_iter()
        .step_by(EVERY)
        .map_init(|| vec![0.0f32; photo.width()], count)
        .reduce(|| (0, 0), |a, b| (a.0 + b.0, a.1 + b.1));
    full as f64 / all.max(1) as f64
}
