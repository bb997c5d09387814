//! The shape of a core, flooded from its widest places: basins are the parts it would fall into.

use super::label::Run;
use super::split::{NARROW_PX, WAIST};
use crate::backdrop::Patch;
use crate::numeric::{DisjointSets, Distances};

/// Deficit below which a gap in a core is paper between particles, share of the level.
const PAPER: f32 = 0.25;

/// Shape of a core and its basins, with room that is kept from one core to the next.
#[derive(Default)]
pub(super) struct Basins {
    /// Samples per pixel along each axis.
    fine: usize,
    /// Samples in a row, and rows.
    width: usize,
    height: usize,
    /// Samples of the core, its holes filled.
    inside: Vec<bool>,
    stack: Vec<usize>,
    /// Of every sample, px.
    depth: Vec<f32>,
    distances: Distances,
    /// Samples of the core by rising number, each with its depth in steps; then from the deepest to the shallowest.
    steps: Vec<[u32; 2]>,
    order: Vec<u32>,
    starts: Vec<u32>,
    joined: DisjointSets,
    /// Of every sample that is flooded its depth, as bits that rise with it, and its basin below them; 0 of the others.
    flooded: Vec<u64>,
}

/// Basin of a flooded sample.
fn basin_of(flooded: u64) -> u32 {
    flooded as u32
}

impl Basins {
    /// Takes the shape of the core made of `runs`, at `fine` samples per pixel along each axis. `bounds` are
    /// those of the runs.
    pub fn shape(&mut self, patch: &Patch, runs: &[Run], bounds: [usize; 4], level: f32, fine: usize) {
        self.fine = fine;
        self.fill(patch, runs, bounds, level);
        self.measure_depth();
    }

    /// Greatest half width of the shape, px.
    pub fn deepest(&self) -> f32 {
        self.depth.iter().copied().fold(0.0, f32::max)
    }

    /// Area of the shape, px².
    pub fn area(&self) -> f32 {
        self.inside.iter().filter(|inside| **inside).count() as f32 / (self.fine * self.fine) as f32
    }

    /// Part that the pixel belongs to in the column `x` and the row `y` of the bounds; `None` when no sample of it is inside.
    pub fn at(&self, x: usize, y: usize) -> Option<u32> {
        let fine = self.fine;
        let samples = (0..fine * fine).map(|k| (y * fine + k / fine + 1) * self.width + x * fine + k % fine + 1);
        samples.map(|i| self.flooded[i]).find(|&sample| sample != 0).map(basin_of)
    }

    /// Number of the `parts` whose half width is nowhere `thin_px`.
    pub fn thin(&self, parts: usize, thin_px: f32) -> usize {
        let mut deepest = vec![0.0f32; parts];
        for (&sample, &depth) in self.flooded.iter().zip(&self.depth).filter(|(sample, _)| **sample != 0) {
            let most = &mut deepest[basin_of(sample) as usize];
            *most = most.max(depth);
        }
        deepest.iter().filter(|d| **d < thin_px).count()
    }

    /// Samples the core with a margin of one sample, and fills its holes.
    fn fill(&mut self, patch: &Patch, runs: &[Run], [x0, y0, x1, y1]: [usize; 4], level: f32) {
        let fine = self.fine;
        (self.width, self.height) = ((x1 - x0) * fine + 2, (y1 - y0) * fine + 2);
        let width = self.width;
        self.inside.clear();
        self.inside.resize(width * self.height, false);
        for run in runs {
            let (x, y) = (run.x0 as usize, run.y as usize);
            for sub in 0..fine {
                let start = ((y - y0) * fine + sub + 1) * width + (x - x0) * fine + 1;
                let samples = &mut self.inside[start..start + run.len() * fine];
                if fine == 1 {
                    samples.fill(true);
                } else {
                    above_level(patch, [x - patch.x0, y - patch.y0], sub, fine, level, samples);
                }
            }
        }
        // Without two runs in a row there is no hole.
        if runs.windows(2).all(|pair| pair[0].y != pair[1].y) {
            return;
        }
        // What cannot be reached from the margin or from bare paper is a hole: pale texture or gloss.
        let mut outside = vec![false; self.inside.len()];
        self.stack.clear();
        self.stack.push(0);
        outside[0] = true;
        for y in 0..(y1 - y0) * fine {
            let row = &patch.row(y / fine + y0 - patch.y0)[x0 - patch.x0..x1 - patch.x0];
            for x in (0..row.len() * fine).filter(|x| row[x / fine] < PAPER * level) {
                let i = (y + 1) * width + x + 1;
                if !self.inside[i] {
                    outside[i] = true;
                    self.stack.push(i);
                }
            }
        }
        while let Some(i) = self.stack.pop() {
            let (x, y) = (i % width, i / width);
            let steps = [
                (x > 0, i.wrapping_sub(1)),
                (x + 1 < width, i + 1),
                (y > 0, i.wrapping_sub(width)),
                (y + 1 < self.height, i + width),
            ];
            for (within, j) in steps {
                if within && !outside[j] && !self.inside[j] {
                    outside[j] = true;
                    self.stack.push(j);
                }
            }
        }
        self.inside.iter_mut().zip(&outside).for_each(|(inside, outside)| *inside = !outside);
    }

    /// Depth of every sample: from its middle to the edge of the nearest one outside, px.
    fn measure_depth(&mut self) {
        self.distances.squared(&self.inside, self.width, &mut self.depth);
        let fine = self.fine as f32;
        self.depth.iter_mut().for_each(|d| *d = (d.sqrt() - 0.5).max(0.0) / fine);
    }

    /// Puts the samples of the core from the deepest to the shallowest, in steps that are fine against [`DEPTH_PX`].
    fn sort_by_depth(&mut self) {
        const STEPS_PER_PX: f32 = 16.0;
        let Basins { steps, order, starts, .. } = self;
        steps.clear();
        let samples = self.depth.iter().zip(&self.inside).enumerate().filter(|(_, (_, inside))| **inside);
        steps.extend(samples.map(|(i, (depth, _))| [i as u32, (depth * STEPS_PER_PX) as u32]));
        let deepest = steps.iter().map(|s| s[1]).max().unwrap_or(0);
        // Counting sort: where each depth starts, the deepest first.
        starts.clear();
        starts.resize(deepest as usize + 2, 0);
        steps.iter().for_each(|s| starts[(deepest - s[1]) as usize + 1] += 1);
        for k in 1..starts.len() {
            starts[k] += starts[k - 1];
        }
        order.clear();
        order.resize(steps.len(), 0);
        for &[i, step] in &*steps {
            let at = &mut starts[(deepest - step) as usize];
            order[*at as usize] = i;
            *at += 1;
        }
    }

    /// Floods the depths from the deepest sample on; basins that meet above the waist, or are narrower than [`NARROW_PX`],
    /// become one, a waist being `fill` px narrower than it looks and at least `least` px deep as it looks. Gives their
    /// number; where there are several, each sample's basin is left for [`Basins::at`].
    ///
    /// Source: watershed by rising persistence, as in the merge trees of topological data analysis (from memory).
    pub fn flood(&mut self, fill: f32, least: f32) -> usize {
        let width = self.width;
        self.sort_by_depth();
        self.flooded.clear();
        self.flooded.resize(self.depth.len(), 0);
        self.joined.clear();
        let mut peaks: Vec<f32> = Vec::new();
        for &i in &self.order {
            let i = i as usize;
            let here = self.depth[i];
            let row = |middle: usize| <[u64; 3]>::try_from(&self.flooded[middle - 1..middle + 2]).expect("three");
            let ([a, b, c], [d, _, e], [f, g, h]) = (row(i - width), row(i), row(i + width));
            let around = [d, e, b, g, a, c, f, h];
            // The deepest neighbour leads uphill: the sample is its basin's. Others meet that basin here.
            let uphill = around.into_iter().fold(0, u64::max);
            let stands_apart = |n: u64| n != 0 && basin_of(n) != basin_of(uphill);
            let meets = around.into_iter().fold(false, |any, n| any | stands_apart(n));
            let basin = if uphill == 0 {
                peaks.push(here);
                self.joined.add()
            } else if meets {
                let mut own = self.joined.find(basin_of(uphill) as usize);
                for neighbour in around.into_iter().filter(|&n| n != 0) {
                    let other = self.joined.find(basin_of(neighbour) as usize);
                    let peak = peaks[own].min(peaks[other]);
                    if own != other && (here - fill > WAIST * peak || peak - here < least || peak < NARROW_PX) {
                        let highest = peaks[own].max(peaks[other]);
                        self.joined.join(own, other);
                        own = self.joined.find(own);
                        peaks[own] = highest;
                    }
                }
                own
            } else {
                basin_of(uphill) as usize
            };
            // Depths are positive, and the bits of positive numbers rise with them.
            self.flooded[i] = u64::from(here.to_bits()) << 32 | basin as u64;
        }
        if peaks.is_empty() {
            return 0;
        }
        // Mostly all basins have become one.
        let first = self.joined.find(0);
        if (1..peaks.len()).all(|basin| self.joined.find(basin) == first) {
            return 1;
        }
        // Numbers without gaps.
        let mut number = vec![u32::MAX; peaks.len()];
        let mut count = 0;
        for &i in &self.order {
            let sample = &mut self.flooded[i as usize];
            let root = self.joined.find(basin_of(*sample) as usize);
            if number[root] == u32::MAX {
                number[root] = count;
                count += 1;
            }
            *sample = *sample >> 32 << 32 | u64::from(number[root]);
        }
        count as usize
    }
}

/// For the samples of the pixels from `x`, `y` of the patch on, in the row `sub` of the `fine` rows of samples in a pixel: true
/// where the deficit, bilinear between pixel centres, lies above `level`.
fn above_level(patch: &Patch, [x, y]: [usize; 2], sub: usize, fine: usize, level: f32, samples: &mut [bool]) {
    // From the pixel's centre, px.
    let off = |k: usize| (k as f32 + 0.5) / fine as f32 - 0.5;
    let beyond = if off(sub) < 0.0 { y.saturating_sub(1) } else { (y + 1).min(patch.height - 1) };
    let (row, next, share) = (patch.row(y), patch.row(beyond), off(sub).abs());
    let at = |x: usize| row[x] + share * (next[x] - row[x]);
    for (i, pixel) in samples.chunks_exact_mut(fine).enumerate() {
        let x = x + i;
        let [left, here, right] = [x.saturating_sub(1), x, (x + 1).min(patch.width - 1)].map(at);
        for (k, inside) in pixel.iter_mut().enumerate() {
            let side = if off(k) < 0.0 { left } else { right };
            *inside = here + off(k).abs() * (side - here) > level;
        }
    }
}
