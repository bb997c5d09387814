//! What the bare paper tells: exposure and evenness.

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
const EVERY: usize = 7;

pub(super) fn read(photo: &Photo, scene: &Scene) -> Paper {
    let mut row = vec![0.0f32; photo.width()];
    let (mut full, mut all) = (0usize, 0usize);
    for y in (0..photo.height()).step_by(EVERY) {
        photo.row_linear(y, 0, &mut row);
        for x in scene.field.columns(y).into_iter().flatten().filter(|&x| scene.field.contains(x, y)) {
            all += 1;
            full += usize::from(row[x] >= FULL);
        }
    }
    Paper { clipped: full as f64 / all.max(1) as f64, range: scene.light_range() }
}
