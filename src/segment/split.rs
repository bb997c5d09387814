//! Parts touching particles: a dark core is cut where it is narrow against both its sides.

use super::label::Run;
use super::notch::is_notched;
use crate::backdrop::Patch;
use crate::numeric::{DisjointSets, Distances};

/// Narrowest place between two particles, share of the smaller one's half width: a waist above it belongs to one
/// particle of irregular shape.
pub(super) const WAIST: f32 = 0.85;

/// Least depth of a waist, px of half width: half pixels alone make shallower ones.
const DEPTH_PX: f32 = 0.25;

/// The same in a pale flake, whose texture alone makes deeper ones than coffee's, and in what is slender, along which half
/// pixels make waists again and again.
const SURE_DEPTH_PX: f32 = 0.5;

/// Length over width, taken as area over the square of the greatest width, of a slender core: above that of three
/// particles of a size in a row.
const SLENDER: f32 = 2.5;

/// The same of a hair or a fibre, which is one thing whatever its waists.
const FIBRE: f32 = 9.0;

/// Half widths of slender cores and of fibres, px, at most: wider ones are many particles that lie together.
const THIN_PX: [f32; 2] = [2.2, 5.0];

/// More thin parts of one core than this are no specks: clumps hold a few.
const THIN_PARTS: usize = 6;

/// Blur widths that a waist looks wider than it is, of half width: blur fills the corners where two outlines meet.
const FILL: f32 = 0.5;

/// Deficit below which a gap in a core is paper between particles, share of the level.
const PAPER: f32 = 0.25;

/// Smallest core that is looked at, px²: two particles of three pixels.
const SMALLEST_PX2: usize = 16;

/// Largest core that is looked at in half pixels, px²: some 250 px across, far above any particle.
const FINE_PX2: usize = 50_000;

/// The same for a pale flake.
const PALE_FINE_PX2: usize = 300;

/// Core above which whole pixels are looked at first, px².
const SURE_PX2: usize = 300;

/// What whole pixels may hide of a waist, px of half width.
const UNSURE_PX: f32 = 0.5;

/// Cuts cores, with room that it keeps from one to the next.
#[derive(Default)]
pub(super) struct Splitter {
    /// Blur, px.
    sigma: f32,
    /// Left and right outline.
    sides: [Vec<[f64; 2]>; 2],
    width: usize,
    height: usize,
    /// Samples of the core, its holes filled.
    inside: Vec<bool>,
    stack: Vec<usize>,
    /// Of every sample, px.
    depth: Vec<f32>,
    distances: Distances,
    order: Vec<usize>,
    starts: Vec<usize>,
    basins: DisjointSets,
    basin_of: Vec<u32>,
}

impl Splitter {
    /// For photos with a blur of `sigma` px.
    pub fn new(sigma: f64) -> Self {
        Splitter { sigma: sigma as f32, ..Splitter::default() }
    }

    /// Parts of the core made of `runs` (deficit above `level`): each run with the number of its part, 0, 1 …, cut where
    /// parts meet; `None` when the core is one particle. A pale core is cut with more reserve.
    pub fn split(&mut self, patch: &Patch, runs: &[Run], level: f32, is_pale: bool) -> Option<Vec<(Run, u32)>> {
        let area: usize = runs.iter().map(Run::len).sum();
        if area < SMALLEST_PX2 || !is_notched(runs, area, &mut self.sides) {
            return None;
        }
        let fine = if area < if is_pale { PALE_FINE_PX2 } else { FINE_PX2 } { 2 } else { 1 };
        let bounds @ [x0, y0, ..] = super::label::bounds(runs);
        let wide = FILL * self.sigma;
        let mut parts = |fine: usize, fill: f32, least: f32| {
            self.fill(patch, runs, bounds, level, fine);
            self.measure_depth(fine);
            let deepest = self.depth.iter().copied().fold(0.0, f32::max);
            match area as f32 / (4.0 * deepest * deepest) {
                length if length > FIBRE && deepest < THIN_PX[1] => 1,
                length if length > SLENDER && deepest < THIN_PX[0] => self.basins(0.0, least.max(SURE_DEPTH_PX)),
                _ => self.basins(fill, least),
            }
        };
        let parts = match (is_pale, area < SURE_PX2) {
            (true, _) => parts(fine, 0.0, SURE_DEPTH_PX),
            // Whole pixels tell quickly that a large core is one particle.
            (false, false) if parts(1, wide + UNSURE_PX, DEPTH_PX) < 2 => 1,
            (false, _) => parts(fine, wide, DEPTH_PX),
        };
        // So many thin parts are a hair that lies against a particle, cut at the steps of its pixels.
        let is_diced = !is_pale && parts > THIN_PARTS && self.thin_parts(parts) > THIN_PARTS;
        let parts = if is_diced { self.basins(0.0, SURE_DEPTH_PX) } else { parts };
        if parts < 2 {
            return None;
        }
        let mut out: Vec<(Run, u32)> = Vec::new();
        for run in runs {
            let start = out.len();
            for x in run.x0..run.x1 {
                // Pixels at the rim may have no sample inside: they follow their neighbour.
                let here = self.basin_at((x as usize - x0) * fine, (run.y as usize - y0) * fine, fine);
                match (out.get_mut(start..).and_then(|row| row.last_mut()), here) {
                    (Some((last, label)), here) if here.is_none_or(|h| h == *label) => last.x1 = x + 1,
                    (Some(_), here) => out.push((Run { y: run.y, x0: x, x1: x + 1 }, here.unwrap_or(0))),
                    (None, Some(here)) => out.push((Run { y: run.y, x0: run.x0, x1: x + 1 }, here)),
                    (None, None) => {}
                }
            }
            if out.len() == start {
                out.push((*run, 0));
            }
        }
        Some(out)
    }

    /// Number of the `parts` that are nowhere wider than a hair.
    fn thin_parts(&self, parts: usize) -> usize {
        let mut deepest = vec![0.0f32; parts];
        for (&basin, &depth) in self.basin_of.iter().zip(&self.depth).filter(|(basin, _)| **basin != u32::MAX) {
            let most = &mut deepest[basin as usize];
            *most = most.max(depth);
        }
        deepest.iter().filter(|d| **d < THIN_PX[0]).count()
    }

    /// Part that the pixel belongs to whose first sample is `x`, `y`; `None` when no sample of it is inside.
    fn basin_at(&self, x: usize, y: usize, fine: usize) -> Option<u32> {
        let samples = (0..fine * fine).map(|k| (y + k / fine + 1) * self.width + x + k % fine + 1);
        samples.map(|i| self.basin_of[i]).find(|&basin| basin != u32::MAX)
    }

    /// Samples the core at `fine` samples per pixel with a margin of one sample, and fills its holes.
    fn fill(&mut self, patch: &Patch, runs: &[Run], [x0, y0, x1, y1]: [usize; 4], level: f32, fine: usize) {
        (self.width, self.height) = ((x1 - x0) * fine + 2, (y1 - y0) * fine + 2);
        let width = self.width;
        self.inside.clear();
        self.inside.resize(width * self.height, false);
        for run in runs {
            let (x, y) = (run.x0 as usize, run.y as usize);
            for half in 0..fine {
                let start = ((y - y0) * fine + half + 1) * width + (x - x0) * fine + 1;
                let samples = &mut self.inside[start..start + run.len() * fine];
                if fine == 1 {
                    samples.fill(true);
                } else {
                    above_level(patch, [x - patch.x0, y - patch.y0], half, level, samples);
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
    fn measure_depth(&mut self, fine: usize) {
        self.distances.squared(&self.inside, self.width, &mut self.depth);
        self.depth.iter_mut().for_each(|d| *d = (d.sqrt() - 0.5).max(0.0) / fine as f32);
    }

    /// Samples of the core from the deepest to the shallowest, in steps that are fine against [`DEPTH_PX`].
    fn sort_by_depth(&mut self) {
        const STEPS_PER_PX: f32 = 16.0;
        let inside = || (0..self.depth.len()).filter(|&i| self.inside[i]);
        let step = |i: usize| (self.depth[i] * STEPS_PER_PX) as usize;
        let deepest = inside().map(step).max().unwrap_or(0);
        // Counting sort: where each depth starts, the deepest first.
        self.starts.clear();
        self.starts.resize(deepest + 2, 0);
        inside().for_each(|i| self.starts[deepest - step(i) + 1] += 1);
        for k in 1..self.starts.len() {
            self.starts[k] += self.starts[k - 1];
        }
        self.order.clear();
        self.order.resize(self.starts[deepest + 1], 0);
        for i in inside() {
            let at = &mut self.starts[deepest - step(i)];
            self.order[*at] = i;
            *at += 1;
        }
    }

    /// Floods the depths from the deepest sample on; basins that meet above the waist become one, a waist being `fill` px
    /// narrower than it looks and at least `least` px deep as it looks. Gives their number and leaves each sample's basin
    /// in `basin_of`.
    ///
    /// Source: watershed by rising persistence, as in the merge trees of topological data analysis (from memory).
    fn basins(&mut self, fill: f32, least: f32) -> usize {
        let width = self.width;
        self.sort_by_depth();
        self.basin_of.clear();
        self.basin_of.resize(self.depth.len(), u32::MAX);
        self.basins.clear();
        let mut peaks: Vec<f32> = Vec::new();
        for &i in &self.order {
            let here = self.depth[i];
            // The deepest neighbour leads uphill: the sample is its basin's. Others meet that basin here.
            let around =
                [i - 1, i + 1, i - width, i + width, i - width - 1, i - width + 1, i + width - 1, i + width + 1];
            let (mut uphill, mut deepest, mut alike) = (u32::MAX, 0.0, true);
            for j in around {
                let basin = self.basin_of[j];
                if basin != u32::MAX {
                    alike &= uphill == u32::MAX || basin == uphill;
                    if self.depth[j] > deepest {
                        (uphill, deepest) = (basin, self.depth[j]);
                    }
                }
            }
            if alike && uphill != u32::MAX {
                self.basin_of[i] = uphill;
                continue;
            }
            let mut own = (uphill != u32::MAX).then(|| self.basins.find(uphill as usize));
            for j in around.into_iter().filter(|&j| self.basin_of[j] != u32::MAX) {
                let (Some(mine), other) = (own, self.basins.find(self.basin_of[j] as usize)) else { break };
                let peak = peaks[mine].min(peaks[other]);
                if mine != other && (here - fill > WAIST * peak || peak - here < least) {
                    let highest = peaks[mine].max(peaks[other]);
                    self.basins.join(mine, other);
                    let joined = self.basins.find(mine);
                    peaks[joined] = highest;
                    own = Some(joined);
                }
            }
            let basin = own.unwrap_or_else(|| {
                peaks.push(here);
                self.basins.add()
            });
            self.basin_of[i] = basin as u32;
        }
        // Numbers without gaps.
        let mut number = vec![u32::MAX; peaks.len()];
        let mut count = 0;
        for &i in &self.order {
            let root = self.basins.find(self.basin_of[i] as usize);
            if number[root] == u32::MAX {
                number[root] = count;
                count += 1;
            }
            self.basin_of[i] = number[root];
        }
        count as usize
    }
}

/// For the samples at the quarters of the pixels from `x`, `y` of the patch on, in their upper (`half` 0) or lower half:
/// true where the deficit, bilinear between pixel centres, lies above `level`.
fn above_level(patch: &Patch, [x, y]: [usize; 2], half: usize, level: f32, samples: &mut [bool]) {
    let beyond = if half == 0 { y.saturating_sub(1) } else { (y + 1).min(patch.height - 1) };
    let (row, next) = (patch.row(y), patch.row(beyond));
    for (i, pair) in samples.chunks_exact_mut(2).enumerate() {
        let x = x + i;
        // A quarter of the way to the next pixel along both axes: 9, 3, 3 and 1 sixteenths.
        let sample = |side: usize| 0.5625 * row[x] + 0.1875 * (row[side] + next[x]) + 0.0625 * next[side];
        pair[0] = sample(x.saturating_sub(1)) > level;
        pair[1] = sample((x + 1).min(patch.width - 1)) > level;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::segment::{RunGroups, Touch, runs_above};

    /// A soft-edged picture of discs (x, y, radius) with the runs of its one core.
    fn discs(width: usize, height: usize, discs: &[[f64; 3]]) -> (Patch, Vec<Run>) {
        let deficit: Vec<f32> = (0..width * height)
            .map(|i| {
                let (x, y) = ((i % width) as f64 + 0.5, (i / width) as f64 + 0.5);
                let inside = discs.iter().map(|d| d[2] - (x - d[0]).hypot(y - d[1])).fold(f64::MIN, f64::max);
                (0.9 * (inside + 0.5).clamp(0.0, 1.0)) as f32
            })
            .collect();
        let patch = Patch { x0: 0, y0: 0, width, height, deficit };
        let runs = runs_of(&patch);
        assert_eq!(RunGroups::default().label(&runs, Touch::Sides).0, 1, "one core");
        (patch, runs)
    }

    fn runs_of(patch: &Patch) -> Vec<Run> {
        let mut runs = Vec::new();
        (0..patch.height).for_each(|y| runs_above(patch.row(y), 0, y, 0.45, &mut runs));
        runs
    }

    fn parts(picture: &(Patch, Vec<Run>)) -> Vec<(Run, u32)> {
        let Some(parts) = Splitter::new(0.3).split(&picture.0, &picture.1, 0.45, false) else { return Vec::new() };
        let pixels: usize = parts.iter().map(|(run, _)| run.len()).sum();
        assert_eq!(pixels, picture.1.iter().map(Run::len).sum::<usize>(), "no pixel is lost");
        parts
    }

    fn count(picture: &(Patch, Vec<Run>)) -> usize {
        parts(picture).iter().map(|p| p.1 as usize + 1).max().unwrap_or(1)
    }

    #[test]
    fn touching_discs_are_parted_where_they_meet() {
        for (a, b) in [(12.0, 12.0), (15.0, 6.0), (20.0, 4.0), (6.0, 4.0)] {
            let both = [[25.0, 25.0, a], [25.0 + a + b - 0.6, 25.0, b]];
            let picture = discs(90, 50, &both);
            assert_eq!(count(&picture), 2, "{a} {b}");
            let mut of = [[0usize; 2]; 2];
            for (run, part) in parts(&picture) {
                for x in run.x0..run.x1 {
                    let off = both.map(|d| (f64::from(x) + 0.5 - d[0]).hypot(f64::from(run.y) + 0.5 - d[1]) - d[2]);
                    of[part as usize][usize::from(off[1] < off[0])] += 1;
                }
            }
            let wrong = (of[0][0] + of[1][1]).min(of[0][1] + of[1][0]);
            // The cut may lie one pixel off along the waist, which is as wide as the smaller disc at most.
            assert!(wrong as f64 <= 2.0 * b, "{a} {b}: {of:?}");
        }
    }

    #[test]
    fn one_disc_a_rod_and_an_egg_stay_whole() {
        assert_eq!(count(&discs(60, 60, &[[30.0, 30.0, 20.0]])), 1);
        let rod: Vec<[f64; 3]> = (0..60).map(|i| [12.0 + f64::from(i), 20.0 + 0.1 * f64::from(i), 5.0]).collect();
        assert_eq!(count(&discs(90, 50, &rod)), 1);
        // A waist of nine tenths of the smaller half width.
        assert_eq!(count(&discs(90, 60, &[[30.0, 30.0, 18.0], [42.5, 30.0, 15.0]])), 1);
    }

    #[test]
    fn three_in_a_row_and_a_ring_of_gloss() {
        assert_eq!(count(&discs(90, 50, &[[14.0, 25.0, 10.0], [33.0, 25.0, 10.0], [52.0, 25.0, 10.0]])), 3);
        let (mut patch, _) = discs(60, 60, &[[30.0, 30.0, 20.0]]);
        for y in 24..36 {
            for x in 24..36 {
                patch.deficit[y * 60 + x] = 0.2;
            }
        }
        assert!(
            Splitter::new(0.3).split(&patch, &runs_of(&patch), 0.45, false).is_none(),
            "a pale middle is a hole, not a waist"
        );
    }

    #[test]
    fn discs_round_a_patch_of_paper_are_parted() {
        let ring = [0.0f64, 60.0, 120.0, 180.0, 240.0, 300.0].map(|a| {
            let (s, c) = a.to_radians().sin_cos();
            [40.0 + 19.5 * c, 40.0 + 19.5 * s, 10.0]
        });
        assert_eq!(count(&discs(80, 80, &ring)), 6);
    }
}
