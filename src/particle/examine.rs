//! What is read from the pixels round one particle, before the photo's own calibration.
//!
//! The same code examines particles of the photo and the synthetic discs that calibrate it, so that whatever it gets
//! wrong under blur and shade is undone.

use super::contour::{Contour, runs_in};
use super::edge::{EdgeFinder, Ring};
use crate::backdrop::Patch;
use crate::numeric::{perimeter, resample_closed, shoelace};
use crate::segment::Run;

const PI: f64 = std::f64::consts::PI;

/// How far beyond the half-level area the deficit is summed, in blur widths: the skirt of a Gaussian blur beyond it
/// holds less than 0.1 % of the deficit.
const SKIRT: f64 = 3.5;

/// Levels above which the particle itself is taken to lie rather than its shade.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Levels {
    /// Of the first outline, share of the core.
    outline: f32,
    /// Of pixels that tell the core, share of the darkest.
    core: f32,
}

impl Levels {
    /// Above shade, below the texture of a particle.
    pub const USUAL: Levels = Levels { outline: 0.65, core: 0.6 };
    /// Above shadows more than half as dark as the particle.
    pub const IN_HARD_SHADE: Levels = Levels { outline: 0.72, core: 0.72 };
}

/// Rows of a particle that tell its core.
const ENOUGH: usize = 24;

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
    /// Deficit in the middle of the particle.
    pub core: f64,
    /// Deficit summed over the particle and its skirt, px².
    pub integrated: f64,
    /// Centroid of that deficit.
    pub centroid: [f64; 2],
    /// Shade where it meets the edge, by direction.
    pub ring: Ring,
}

/// Pixels that a patch needs around the part for [`Examiner::examine`].
pub(super) fn margin_px(sigma: f64) -> usize {
    (SKIRT * sigma).ceil() as usize + 1
}

/// Reads particles one after the other, with room that it keeps from one to the next.
pub(super) struct Examiner {
    sigma: f64,
    levels: Levels,
    /// Half width of the skirt at 0, 1, 2 … rows from a pixel, px: a disc.
    skirt: Vec<usize>,
    edge: EdgeFinder,
    contour: Contour,
    own: Patch,
    runs: Vec<Run>,
    values: Vec<f32>,
    spans: Vec<[usize; 2]>,
}

impl Examiner {
    /// For photos with a blur of `sigma` px.
    pub fn new(sigma: f64, levels: Levels) -> Self {
        let reach = (SKIRT * sigma).round() as usize;
        Examiner {
            sigma,
            levels,
            skirt: (0..=reach).map(|dy| ((reach * reach - dy * dy) as f64).sqrt() as usize).collect(),
            edge: EdgeFinder::new(sigma),
            contour: Contour::default(),
            own: Patch::default(),
            runs: Vec::new(),
            values: Vec::new(),
            spans: Vec::new(),
        }
    }

    /// Blur that it reads with, px.
    pub fn sigma(&self) -> f64 {
        self.sigma
    }

    /// Reads the darkest area that touches the box `inner` of the patch; `others` marks the pixels of other particles.
    /// `None` when nothing there rises above the paper.
    pub fn examine(&mut self, patch: &Patch, inner: [usize; 4], others: Option<&[bool]>) -> Option<Reading> {
        let Some(others) = others else { return self.read(patch, patch, inner, others) };
        // Others' pixels count as paper, except where profiles run across the edge.
        let mut own = std::mem::take(&mut self.own);
        own.clone_from(patch);
        own.deficit.iter_mut().zip(others).filter(|(_, other)| **other).for_each(|(c, _)| *c = 0.0);
        let reading = self.read(patch, &own, inner, Some(others));
        self.own = own;
        reading
    }

    /// Reads the one particle of a patch.
    pub fn examine_lone(&mut self, patch: &Patch) -> Option<Reading> {
        self.examine(patch, [0, 0, patch.width, patch.height], None)
    }

    fn read(&mut self, patch: &Patch, own: &Patch, inner: [usize; 4], others: Option<&[bool]>) -> Option<Reading> {
        let sigma = self.sigma;
        let core = self.core(own, inner)?;
        let level = self.levels.outline * core;
        runs_in(own, inner, level, &mut self.runs);
        if !self.contour.keep_largest(own, &mut self.runs) {
            return None;
        }
        let coarse = self.contour.trace(own, self.runs[0], level);
        let (integrated, centroid) = self.sum_deficit(own)?;
        let radius = (shoelace(&coarse).abs() / PI).sqrt();
        let mut reading = Reading {
            outline: coarse,
            edge_radius: None,
            core: f64::from(core),
            integrated,
            centroid,
            ring: Ring::default(),
        };
        if radius > EDGE * sigma && reading.outline.len() >= 8 {
            // Steps of one pixel, wider on large outlines: as wide as the profiles are smoothed along the outline.
            let step = (radius / 5.0).clamp(1.0, 2.0);
            let count = (perimeter(&reading.outline) * 0.95 / step).round().max(12.0) as usize;
            let points = resample_closed(&reading.outline, count);
            let edge = self.edge.steepest(patch, others, &points, radius);
            let step = perimeter(&edge.points) / count as f64;
            // Chords cut the curve: a closed outline in steps s encloses s²·π/6 more than its polygon.
            let inside = shoelace(&edge.points).abs() + step * step * PI / 6.0;
            reading.edge_radius = Some((inside / PI).sqrt());
            reading.outline = edge.points;
            reading.ring = edge.ring;
        }
        Some(reading)
    }

    /// Deficit in the middle of the particle: the median of its pixels above a share of the darkest ones.
    fn core(&mut self, own: &Patch, [x0, y0, x1, y1]: [usize; 4]) -> Option<f32> {
        // The rows of a large particle are more than its median needs.
        let rows = (y0..y1).step_by(((y1 - y0) / ENOUGH).max(1));
        let darkest = rows.clone().map(|y| largest(&own.row(y)[x0..x1])).fold(0.0, f32::max);
        self.values.clear();
        for y in rows {
            self.values.extend(own.row(y)[x0..x1].iter().filter(|v| **v > 0.4 * darkest));
        }
        let values = &mut self.values;
        if values.is_empty() {
            return None;
        }
        // Darkest pixels: as many as the middle of a blurred speck holds.
        let top = ((1.5 * self.sigma * self.sigma) as usize).clamp(1, values.len());
        values.select_nth_unstable_by(top - 1, |a, b| b.total_cmp(a));
        let peak = values[..top].iter().sum::<f32>() / top as f32;
        values.retain(|&v| v > self.levels.core * peak);
        // A speck has no flat middle: its peak stands for the core.
        if values.len() < 4 * top {
            return Some(peak);
        }
        let middle = values.len() / 2;
        Some(*values.select_nth_unstable_by(middle, f32::total_cmp).1)
    }

    /// Sum and centroid of the deficit within the skirt of the area `self.runs`.
    fn sum_deficit(&mut self, own: &Patch) -> Option<(f64, [f64; 2])> {
        let reach = self.skirt.len() - 1;
        let row_of = |run: &Run| run.y as usize;
        let (first, last) = (row_of(&self.runs[0]), row_of(&self.runs[self.runs.len() - 1]));
        let (mut sum, mut mx, mut my) = (0.0f64, 0.0, 0.0);
        // Runs within reach of the row: those from `low` on, up to `high`.
        let (mut low, mut high) = (0, 0);
        for y in first.saturating_sub(reach)..(last + reach + 1).min(own.height) {
            while low < self.runs.len() && row_of(&self.runs[low]) + reach < y {
                low += 1;
            }
            while high < self.runs.len() && row_of(&self.runs[high]) <= y + reach {
                high += 1;
            }
            self.spans.clear();
            for run in &self.runs[low..high] {
                let wide = self.skirt[row_of(run).abs_diff(y)];
                let (start, end) = ((run.x0 as usize).saturating_sub(wide), (run.x1 as usize + wide).min(own.width));
                match self.spans.last_mut() {
                    // Mostly the rows of one area overlap, so that one span grows to both sides.
                    Some(span) if start <= span[1] && end >= span[0] => *span = [start.min(span[0]), end.max(span[1])],
                    _ => self.spans.push([start, end]),
                }
            }
            if self.spans.len() > 1 {
                merge(&mut self.spans);
            }
            let row = own.row(y);
            for &[start, end] in &self.spans {
                let (total, moment) = sums(&row[start..end]);
                sum += f64::from(total);
                mx += f64::from(moment) + f64::from(total) * (start as f64 + 0.5);
                my += f64::from(total) * (y as f64 + 0.5);
            }
        }
        (sum > 0.0).then(|| (sum, [mx / sum, my / sum]))
    }
}

/// Joins the spans that overlap.
fn merge(spans: &mut Vec<[usize; 2]>) {
    spans.sort_unstable();
    let mut kept = 0;
    for i in 1..spans.len() {
        if spans[i][0] <= spans[kept][1] {
            spans[kept][1] = spans[kept][1].max(spans[i][1]);
        } else {
            kept += 1;
            spans[kept] = spans[i];
        }
    }
    spans.truncate(kept + 1);
}

/// Number of values that are taken together, so that they share vector registers.
const LANES: usize = 8;

fn largest(values: &[f32]) -> f32 {
    let mut lanes = [0.0f32; LANES];
    let chunks = values.chunks_exact(LANES);
    let rest = chunks.remainder().iter().fold(0.0, |a: f32, &b| a.max(b));
    for chunk in chunks {
        for (l, &v) in lanes.iter_mut().zip(chunk) {
            *l = if v > *l { v } else { *l };
        }
    }
    lanes.into_iter().fold(rest, f32::max)
}

/// Sum of the values, and sum of each times its place 0, 1, 2 ….
fn sums(values: &[f32]) -> (f32, f32) {
    let (mut total, mut moment) = ([0.0f32; LANES], [0.0f32; LANES]);
    let chunks = values.chunks_exact(LANES);
    let rest = chunks.remainder();
    for (i, chunk) in chunks.enumerate() {
        let start = (i * LANES) as f32;
        for k in 0..LANES {
            total[k] += chunk[k];
            moment[k] += chunk[k] * (start + k as f32);
        }
    }
    let start = values.len() - rest.len();
    for (k, &v) in rest.iter().enumerate() {
        total[k] += v;
        moment[k] += v * (start + k) as f32;
    }
    (total.iter().sum(), moment.iter().sum())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_and_spans_agree_with_counting_pixel_by_pixel() {
        let values: Vec<f32> = (0..37).map(|i| (i * 7 % 11) as f32).collect();
        let (total, moment) = sums(&values);
        assert_eq!(total, values.iter().sum::<f32>());
        assert_eq!(moment, values.iter().enumerate().map(|(i, v)| i as f32 * v).sum::<f32>());
        assert_eq!(largest(&values), 10.0);
        let mut spans = vec![[8, 9], [1, 3], [2, 5], [12, 20], [13, 14], [5, 6]];
        merge(&mut spans);
        assert_eq!(spans, [[1, 6], [8, 9], [12, 20]]);
    }

    #[test]
    fn the_sum_takes_in_the_skirt_of_a_forked_area_once() {
        // Two prongs over a bar: their skirts overlap.
        let (width, height) = (40, 30);
        let dark = |x: usize, y: usize| {
            (20..23).contains(&y) && (10..30).contains(&x)
                || (10..20).contains(&y) && ((10..13).contains(&x) || (16..19).contains(&x))
        };
        let deficit: Vec<f32> =
            (0..width * height).map(|i| if dark(i % width, i / width) { 0.9 } else { 0.001 }).collect();
        let patch = Patch { x0: 0, y0: 0, width, height, deficit };
        let mut examiner = Examiner::new(1.0, Levels::USUAL);
        let reading = examiner.examine_lone(&patch).unwrap();
        let reach = 4.0f64;
        let near = |x: usize, y: usize| {
            (0..width * height).any(|j| {
                let (u, v) = (j % width, j / width);
                // Widths are cut to whole pixels row by row.
                let dy = v.abs_diff(y) as f64;
                dark(u, v) && dy <= reach && u.abs_diff(x) as f64 <= (reach * reach - dy * dy).sqrt().floor()
            })
        };
        let expected: f64 =
            (0..width * height).filter(|&i| near(i % width, i / width)).map(|i| f64::from(patch.deficit[i])).sum();
        assert!((reading.integrated - expected).abs() < 1e-3, "{} {expected}", reading.integrated);
    }
}
