//! What is read from the pixels round one particle, before the photo's own calibration.
//!
//! The same function examines particles of the photo and the synthetic discs that calibrate it, so that whatever
//! it gets wrong under blur and shade is undone.

use super::contour::{Area, largest_area, trace};
use super::edge::{Ring, to_steepest};
use super::territory::{Owners, is_other, is_own};
use crate::backdrop::Patch;
use crate::numeric::{perimeter, resample_closed, shoelace};

const PI: f64 = std::f64::consts::PI;

/// How far beyond the half-level area the deficit is summed, in blur widths: the skirt of a Gaussian blur beyond it
/// holds less than 0.1 % of the deficit.
const SKIRT: f64 = 3.5;

/// Level of the first outline, share of the core: above hard shadows, below the texture of a particle.
const LEVEL: f32 = 0.65;

/// Radius of the first outline, in blur widths, below which the steepest edge is not looked for: the size then comes
/// from the integrated deficit anyway.
const EDGE: f64 = 1.7;

/// Readings of one particle, in patch pixels.
#[derive(Clone, Debug)]
pub(super) struct Reading {
    /// Outline at the steepest edge where the particle is large enough, else at half its own core.
    pub outline: Vec<[f64; 2]>,
    /// Radius of the circle of the area inside the steepest edge, px; not yet corrected for blur and shade.
    pub edge_radius: Option<f64>,
    /// Deficit summed over the particle and its skirt, px².
    pub integrated: f64,
    /// Centroid of that deficit.
    pub centroid: [f64; 2],
    /// Shade where it meets the edge, by direction.
    pub ring: Ring,
    /// Fall of the deficit at the steepest edge, share of the core, by direction.
    pub fall: Ring,
}

/// Pixels that a patch needs around the part for [`examine`].
pub(super) fn margin_px(sigma: f64) -> usize {
    (SKIRT * sigma).ceil() as usize + 1
}

/// Reads the particle that owns the darkest area of the patch; `None` when it has no pixels above the paper.
pub(super) fn examine(patch: &Patch, owners: Owners<'_>, sigma: f64) -> Option<Reading> {
    let core = own_core(patch, owners, sigma)?;
    let area = largest_area(patch, owners, LEVEL * core)?;
    let coarse = trace(patch, owners, &area, LEVEL * core);
    let (integrated, centroid) = sum_deficit(patch, owners, &area, sigma)?;
    let radius = (shoelace(&coarse).abs() / PI).sqrt();
    let mut reading = Reading {
        outline: coarse,
        edge_radius: None,
        integrated,
        centroid,
        ring: Ring::default(),
        fall: Ring::default(),
    };
    if radius > EDGE * sigma && reading.outline.len() >= 8 {
        // Steps of one pixel, wider on large outlines, where they still follow every bend that the blur leaves.
        let count = (perimeter(&reading.outline) * 0.95 / (radius / 10.0).clamp(1.0, 2.0)).round().max(12.0) as usize;
        let points = resample_closed(&reading.outline, count);
        let edge = to_steepest(patch, owners, &points, sigma, radius);
        let step = perimeter(&edge.points) / count as f64;
        // Chords cut the curve: a closed outline in steps s encloses s²·π/6 more than its polygon.
        let inside = shoelace(&edge.points).abs() + step * step * PI / 6.0;
        reading.edge_radius = Some((inside / PI).sqrt());
        reading.outline = edge.points;
        reading.ring = edge.ring;
        reading.fall = edge.fall.map(|f| f.map(|f| f / f64::from(core)));
    }
    Some(reading)
}

/// Deficit in the middle of the particle: the median of its pixels above 0.6 of the darkest ones. Shade stays below
/// that, texture above.
fn own_core(patch: &Patch, owners: Owners<'_>, sigma: f64) -> Option<f32> {
    let darkest = match owners {
        None => patch.deficit.iter().fold(0.0f32, |a, &b| if b > a { b } else { a }),
        Some(_) => {
            (0..patch.deficit.len()).filter(|&i| is_own(owners, i)).map(|i| patch.deficit[i]).fold(0.0, f32::max)
        }
    };
    let dark = patch.deficit.iter().enumerate().filter(|(_, c)| **c > 0.4 * darkest);
    let mut values: Vec<f32> = dark.filter(|(i, _)| is_own(owners, *i)).map(|(_, &c)| c).collect();
    if values.is_empty() {
        return None;
    }
    // Darkest pixels: as many as the middle of a blurred speck holds.
    let top = ((1.5 * sigma * sigma) as usize).clamp(1, values.len());
    values.select_nth_unstable_by(top - 1, |a, b| b.total_cmp(a));
    let peak = values[..top].iter().sum::<f32>() / top as f32;
    values.retain(|&v| v > 0.6 * peak);
    // A speck has no flat middle: its peak stands for the core.
    if values.len() < 4 * top {
        return Some(peak);
    }
    let middle = values.len() / 2;
    Some(*values.select_nth_unstable_by(middle, f32::total_cmp).1)
}

/// Sum and centroid of the deficit within [`SKIRT`] of the area, without what belongs to other particles.
fn sum_deficit(patch: &Patch, owners: Owners<'_>, area: &Area, sigma: f64) -> Option<(f64, [f64; 2])> {
    let (w, h) = (patch.width, patch.height);
    let reach = (SKIRT * sigma).round() as isize;
    // Starts and ends of the runs widened to a disc round each pixel: their running sum is above 0 inside.
    let mut steps = vec![0i32; (w + 1) * h];
    for &[y, x0, x1] in &area.runs {
        for dy in -reach..=reach {
            let row = y as isize + dy;
            if row < 0 || row >= h as isize {
                continue;
            }
            let wide = ((reach * reach - dy * dy) as f64).sqrt() as usize;
            let row = row as usize * (w + 1);
            steps[row + x0.saturating_sub(wide)] += 1;
            steps[row + (x1 + wide).min(w)] -= 1;
        }
    }
    let (mut sum, mut mx, mut my) = (0.0f64, 0.0, 0.0);
    for y in 0..h {
        let (row, deficits) = (&steps[y * (w + 1)..(y + 1) * (w + 1)], &patch.deficit[y * w..(y + 1) * w]);
        let (mut depth, mut row_sum, mut row_x) = (0, 0.0f32, 0.0f32);
        for (x, (&step, &c)) in row.iter().zip(deficits).enumerate() {
            depth += step;
            if depth > 0 && !is_other(owners, y * w + x) {
                row_sum += c;
                row_x += c * (x as f32 + 0.5);
            }
        }
        sum += f64::from(row_sum);
        mx += f64::from(row_x);
        my += f64::from(row_sum) * (y as f64 + 0.5);
    }
    (sum > 0.0).then(|| (sum, [mx / sum, my / sum]))
}
