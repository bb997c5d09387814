//! Matched detection: the photo smoothed with its own blur, against a threshold.

use rayon::prelude::*;

use super::label::{Run, runs_above};
use super::rows;
use crate::backdrop::Scene;
use crate::numeric::{GaussKernel, median, quantile_of_sorted};
use crate::photo::Photo;

/// 5 sigma: about one false pixel in 3.5 million of pure paper (one-sided normal law).
const SIGMAS: f64 = 5.0;
/// Share of the core below which a dip is shade or paper texture rather than a particle.
const CORE_SHARE: f64 = 0.1;

pub(super) struct Found {
    pub runs: Vec<Run>,
    pub threshold: f64,
    pub smoothed_noise: f64,
}

pub(super) fn detect(photo: &Photo, scene: &Scene) -> Found {
    let kernel = GaussKernel::new(scene.blur_px);
    let smoothed_noise = smoothed_noise(photo, scene, &kernel);
    let threshold = (SIGMAS * smoothed_noise).max(CORE_SHARE * scene.core);
    // Smoothing averages, so the smoothed photo exceeds the threshold only near pixels that exceed it themselves.
    let dark = scene.dark_codes(photo, threshold);
    let height = photo.height();
    // A strip reads `radius` rows of its neighbours again: 128 rows keep that below a tenth.
    let strip = 128;
    let parts: Vec<Vec<Run>> = (0..height.div_ceil(strip))
        .into_par_iter()
        .map(|i| {
            let mut runs = Vec::new();
            let rows = i * strip..((i + 1) * strip).min(height);
            rows::smoothed_where_dark(photo, scene, &kernel, &dark, rows, |y, x0, row| {
                for asked in scene.field.columns(y) {
                    let (from, to) = (x0.max(asked.start), (x0 + row.len()).min(asked.end));
                    if from < to {
                        runs_above(&row[from - x0..to - x0], from, y, threshold as f32, &mut runs);
                    }
                }
            });
            runs
        })
        .collect();
    Found { runs: parts.concat(), threshold, smoothed_noise }
}

/// Runs above `threshold` in each of the boxes.
pub(super) fn detect_in(photo: &Photo, scene: &Scene, boxes: &[[usize; 4]], threshold: f64) -> Vec<Vec<Run>> {
    let kernel = GaussKernel::new(scene.blur_px);
    boxes
        .par_iter()
        .map(|&place| {
            let mut runs = Vec::new();
            rows::smoothed(photo, scene, &kernel, place, |y, row| {
                runs_above(row, place[0], y, threshold as f32, &mut runs);
            });
            runs
        })
        .collect()
}

/// Robust spread of the smoothed deficit, read in boxes spread over the photo.
///
/// The noise of neighbouring pixels is not independent (mosaic, compression), so it is measured after smoothing.
fn smoothed_noise(photo: &Photo, scene: &Scene, kernel: &GaussKernel) -> f64 {
    const BOX: usize = 32;
    let (across, down) = ((photo.width() / BOX).max(1), (photo.height() / BOX).max(1));
    let step = (across * down / 200).max(1);
    let mut spreads: Vec<f64> = (0..across * down)
        .into_par_iter()
        .step_by(step)
        .filter_map(|i| {
            let (x0, y0) = (i % across * BOX, i / across * BOX);
            let (x1, y1) = ((x0 + BOX).min(photo.width()), (y0 + BOX).min(photo.height()));
            if !scene.field.contains(x0, y0) || !scene.field.contains(x1 - 1, y1 - 1) {
                return None;
            }
            let mut values = Vec::with_capacity(BOX * BOX);
            rows::smoothed(photo, scene, kernel, [x0, y0, x1, y1], |_, row| {
                values.extend(row.iter().map(|&v| f64::from(v)));
            });
            let centre = median(&mut values)?;
            let mut off: Vec<f64> = values.iter().map(|v| (v - centre).abs()).collect();
            // 1.4826 turns the median absolute deviation of a normal law into its standard deviation.
            Some(1.4826 * median(&mut off)?)
        })
        .collect();
    // The calmer boxes are the bare ones: in a crowded photo most hold a particle.
    spreads.sort_by(f64::total_cmp);
    if spreads.is_empty() { scene.noise } else { quantile_of_sorted(&spreads, 0.25) }
}
