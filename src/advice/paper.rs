//! What the bare paper tells: exposure and evenness.

use rayon::prelude::*;

use crate::backdrop::Scene;
use crate::photo::Photo;

pub(super) struct Paper {
    /// Share of the paper's pixels at full scale.
    pub clipped: f64,
    /// Light of the brightest over that of the darkest part of the paper.
    pub range: f64,
}

/// Codes from here on count as full scale, in linear light: the upper two of 256.
const FULL: f32 = 0.985;
/// Rows between those that are looked at.
const EVERY: usize = 15;

pub(super) fn read(photo: &Photo, scene: &Scene) -> Paper {
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
    Paper { clipped: full as f64 / all.max(1) as f64, range: scene.light_range() }
}
