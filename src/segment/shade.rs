//! Tells specks from shade that noise breaks into islands: a speck rises above what lies round it.

use super::label::{Blob, Run, bounds};
use crate::backdrop::{Patch, Scene};
use crate::numeric::{GaussKernel, median};
use crate::photo::Photo;

/// Side of the square, in blur widths, that holds as many pixels as the largest island.
const SIDE: f64 = 12.0;

/// Distance of the ring round a speck, in blur widths: there nothing is left of its darkness.
const RING: f64 = 3.0;

/// How far an island stays below a speck, share of the threshold of detection: a speck on bare paper rises by all of it.
const RISE: f64 = 0.65;
/// Deficit round a speck, share of that threshold, below which it lies on bare paper.
const BARE: f64 = 0.25;

/// Most pixels of an island in a photo with a blur of `sigma` px.
pub(super) fn most_px(sigma: f64) -> usize {
    (SIDE * sigma).powi(2) as usize
}

/// Steps from a place to eight points of a half ring round a speck of `width` px; the others lie opposite.
pub(super) fn ring(sigma: f64, width: f64) -> [[isize; 2]; 8] {
    let radius = (RING * sigma + 0.5 * width).ceil();
    std::array::from_fn(|k| {
        let (sin, cos) = (k as f64 * std::f64::consts::PI / 8.0).sin_cos();
        [cos, sin].map(|v| (radius * v).round() as isize)
    })
}

/// Level of the shade at a place, from that on the `ring` about it: what `of_pair` makes of two points that lie opposite, for
/// the pair that `passed` others exceed, since shade may run along an edge or a ridge and other particles may lie on the ring.
/// Where most of the ring is hidden the median of what is left.
pub(super) fn level_of(
    ring: &[[isize; 2]; 8],
    value: impl Fn([isize; 2]) -> Option<f64>,
    of_pair: impl Fn(f64, f64) -> f64,
    passed: usize,
) -> Option<f64> {
    let (mut pairs, mut single) = (Vec::with_capacity(8), Vec::with_capacity(16));
    for &[dx, dy] in ring {
        let ends = [value([dx, dy]), value([-dx, -dy])];
        single.extend(ends.into_iter().flatten());
        if let [Some(a), Some(b)] = ends {
            pairs.push(of_pair(a, b));
        }
    }
    if pairs.len() <= passed + 1 {
        return median(&mut single);
    }
    pairs.sort_by(|a, b| b.total_cmp(a));
    Some(pairs[passed])
}

/// A part of the photo, and the same smoothed by the photo's blur.
pub(super) struct Picture<'a> {
    pub patch: &'a Patch,
    pub smooth: &'a [f32],
}

impl Picture<'_> {
    /// How far the darkest place of a small core rises above the shade round it, which is the mean of what lies opposite;
    /// `hidden` tells the pixels that are no shade. `None` where all are.
    pub fn rise<'r>(
        &self,
        core: impl Iterator<Item = &'r Run> + Clone,
        sigma: f64,
        hidden: impl Fn(u32, u32) -> bool,
    ) -> Option<f64> {
        let Patch { x0, y0, width, height, .. } = *self.patch;
        let value = |x: usize, y: usize| f64::from(self.smooth[(y - y0) * width + x - x0]);
        let [left, upper, right, lower] = bounds(core.clone());
        let ring = ring(sigma, (right - left).max(lower - upper) as f64);
        let places = core.flat_map(|run| (run.x0..run.x1).map(|x| [x as usize, run.y as usize]));
        let [x, y] = places.max_by(|a, b| value(a[0], a[1]).total_cmp(&value(b[0], b[1])))?;
        let on_ring = |[dx, dy]: [isize; 2]| {
            let (u, v) = (x.wrapping_add_signed(dx), y.wrapping_add_signed(dy));
            if !(x0..x0 + width).contains(&u) || !(y0..y0 + height).contains(&v) {
                return Some(0.0);
            }
            (!hidden(u as u32, v as u32)).then(|| value(u, v))
        };
        level_of(&ring, on_ring, |a, b| 0.5 * (a + b), 2).map(|level| value(x, y) - level)
    }
}

/// True for a small blob that is an island of shade; `threshold` is that of detection.
pub(super) fn is_island(photo: &Photo, scene: &Scene, kernel: &GaussKernel, blob: &Blob, threshold: f64) -> bool {
    let [x0, y0, x1, y1] = blob.bounds;
    (x1 - x0) * (y1 - y0) <= most_px(scene.blur_px) && !rises(photo, scene, kernel, blob, threshold)
}

fn rises(photo: &Photo, scene: &Scene, kernel: &GaussKernel, blob: &Blob, threshold: f64) -> bool {
    let [x0, y0, x1, y1] = blob.bounds;
    let ring = ring(scene.blur_px, (x1 - x0).max(y1 - y0) as f64);
    let reach = ring[0][0];
    let margin = reach as usize + kernel.radius();
    let (x, y) = ((x0 + x1) as isize / 2, (y0 + y1) as isize / 2);
    let (width, height) = (photo.width() as isize, photo.height() as isize);
    let off = |u: isize, v: isize| u < 0 || v < 0 || u >= width || v >= height;
    // Mostly the paper round a speck is bare.
    let light = |x: isize, y: isize| {
        let mut one = [0.0];
        photo.row_linear(y as usize, x as usize, &mut one);
        one[0]
    };
    let mut here = [0.0];
    scene.deficit_row(photo, y as usize, x as usize, &mut here);
    // So near, the paper is as light as here.
    let paper = light(x, y) / (1.0 - here[0]).max(1e-3);
    let beside = ring.iter().step_by(2).flat_map(|&[dx, dy]| [[x + dx, y + dy], [x - dx, y - dy]]);
    let sum: f32 = beside.map(|[u, v]| if off(u, v) { 0.0 } else { 1.0 - light(u, v) / paper }).sum();
    if f64::from(sum) < BARE * threshold * ring.len() as f64 {
        return true;
    }
    let mut patch = Patch::default();
    let at = [x0.saturating_sub(margin), y0.saturating_sub(margin)];
    scene.cut(photo, [at[0], at[1], x1 + margin, y1 + margin], &mut patch);
    let mut smooth = vec![0.0f32; patch.deficit.len()];
    kernel.smooth_picture(&patch.deficit, patch.width, smooth.chunks_exact_mut(patch.width).enumerate());
    let value = |u: usize, v: usize| smooth[(v - at[1]) * patch.width + u - at[0]];
    let peak = blob.runs.iter().flat_map(|r| (r.x0..r.x1).map(|u| value(u as usize, r.y as usize))).fold(0.0, f32::max);
    let on_ring = |[dx, dy]: [isize; 2]| {
        let (u, v) = (x + dx, y + dy);
        Some(if off(u, v) { 0.0 } else { f64::from(value(u as usize, v as usize)) })
    };
    level_of(&ring, on_ring, f64::min, 1).is_none_or(|level| f64::from(peak) - level > RISE * threshold)
}
