//! A small copy of the photo, in which round dark shapes are looked for.

use rayon::prelude::*;

use crate::numeric::{DisjointSets, quantile_of_sorted};
use crate::photo::Photo;

/// About as many pixels along the longer side: a mark of a frame that fills a third of the picture still has 15.
const LONG_SIDE: usize = 1200;
/// Shares of the paper's light at which dark shapes are looked for: each mark needs one at which it stands alone, also
/// in shadow, where ink and paper are darker.
const LEVELS: [f32; 5] = [0.5, 0.32, 0.2, 0.12, 0.07];
/// Smallest radius of a mark whose dots can be told, px of the photo.
const SMALLEST_PX: f64 = 9.0;

/// A dark shape as round as the picture of a disc; places and lengths in px of the photo.
#[derive(Clone, Copy, Debug)]
pub(super) struct Round {
    pub centre: [f64; 2],
    /// Half axes, the longer first.
    pub half: [f64; 2],
    /// Direction of the longer half axis.
    pub direction: [f64; 2],
}

struct Small {
    width: usize,
    height: usize,
    step: usize,
    light: Vec<f32>,
}

/// Round dark shapes of the photo. The same shape may come out at several levels.
pub(super) fn rounds(photo: &Photo) -> Vec<Round> {
    let small = shrink(photo);
    let mut sorted: Vec<f64> = small.light.iter().step_by(37).map(|&l| f64::from(l)).collect();
    sorted.sort_by(f64::total_cmp);
    // Paper fills most of the picture, or at least a tenth of it.
    let paper = quantile_of_sorted(&sorted, 0.9) as f32;
    LEVELS.par_iter().flat_map_iter(|level| small.rounds_below(level * paper)).collect()
}

fn shrink(photo: &Photo) -> Small {
    let step = (photo.width().max(photo.height()) / LONG_SIDE).max(1);
    let (width, height) = (photo.width() / step, photo.height() / step);
    let mut light = vec![0.0f32; width * height];
    // Every second row is enough where there are many.
    let skip = if step >= 3 { 2 } else { 1 };
    light.par_chunks_mut(width.max(1)).enumerate().for_each_init(
        || vec![0.0f32; width * step],
        |row, (y, out)| {
            let rows = (y * step..(y + 1) * step).step_by(skip);
            let weight = 1.0 / (rows.len() * step) as f32;
            for from in rows {
                photo.row_linear(from, 0, row);
                for (sum, pixels) in out.iter_mut().zip(row.chunks_exact(step)) {
                    *sum += weight * pixels.iter().sum::<f32>();
                }
            }
        },
    );
    Small { width, height, step, light }
}

/// Sums over the rows of a shape, each filled from its first to its last pixel: white dots inside do not count.
#[derive(Clone, Copy, Default)]
struct Sums {
    n: f64,
    x: f64,
    y: f64,
    xx: f64,
    xy: f64,
    yy: f64,
}

impl Small {
    fn rounds_below(&self, limit: f32) -> Vec<Round> {
        let runs = self.runs_below(limit);
        let mut sets = DisjointSets::default();
        runs.iter().for_each(|_| {
            sets.add();
        });
        let mut above = 0..0;
        let mut at = 0;
        for y in 0..self.height {
            let start = at;
            while at < runs.len() && runs[at].0 == y {
                at += 1;
            }
            let mut k = above.start;
            for i in start..at {
                let (_, x0, x1) = runs[i];
                while k < above.end && runs[k].2 < x0 {
                    k += 1;
                }
                let mut j = k;
                while j < above.end && runs[j].1 <= x1 {
                    sets.join(i, j);
                    j += 1;
                }
            }
            above = start..at;
        }
        let mut members: Vec<(usize, usize)> = (0..runs.len()).map(|i| (sets.find(i), i)).collect();
        members.sort_unstable();
        members.chunk_by(|a, b| a.0 == b.0).filter_map(|group| self.round(&runs, group)).collect()
    }

    /// Half-open runs (y, x0, x1) of pixels darker than `limit`, row by row.
    fn runs_below(&self, limit: f32) -> Vec<(usize, usize, usize)> {
        let mut runs = Vec::new();
        for (y, row) in self.light.chunks_exact(self.width).enumerate() {
            let mut x = 0;
            while x < row.len() {
                if row[x] >= limit {
                    x += 1;
                    continue;
                }
                let start = x;
                while x < row.len() && row[x] < limit {
                    x += 1;
                }
                runs.push((y, start, x));
            }
        }
        runs
    }

    /// The shape as an ellipse of the same moments, when it is one.
    fn round(&self, runs: &[(usize, usize, usize)], group: &[(usize, usize)]) -> Option<Round> {
        let (mut sums, mut row) = (Sums::default(), None::<(usize, usize, usize)>);
        let mut add = |(y, x0, x1): (usize, usize, usize)| {
            let (n, y) = ((x1 - x0) as f64, y as f64 + 0.5);
            let (a, b) = (x0 as f64, x1 as f64);
            let mean = 0.5 * (a + b);
            sums.n += n;
            sums.x += n * mean;
            sums.y += n * y;
            sums.xx += (b * b * b - a * a * a) / 3.0;
            sums.xy += n * mean * y;
            sums.yy += n * (y * y + 1.0 / 12.0);
        };
        for &(_, i) in group {
            let next = runs[i];
            row = match row {
                Some(now) if now.0 == next.0 => Some((now.0, now.1.min(next.1), now.2.max(next.2))),
                Some(now) => {
                    add(now);
                    Some(next)
                }
                None => Some(next),
            };
        }
        add(row?);
        let step = self.step as f64;
        let n = sums.n;
        // A quick way out for specks, of which a photo has thousands.
        if n * step * step < std::f64::consts::PI * SMALLEST_PX * SMALLEST_PX * 0.5
            || n > 0.06 * self.light.len() as f64
        {
            return None;
        }
        let (x, y) = (sums.x / n, sums.y / n);
        let (xx, xy, yy) = (sums.xx / n - x * x, sums.xy / n - x * y, sums.yy / n - y * y);
        // For a full ellipse the eigenvalues are a²/4 and b²/4.
        let (middle, off) = (0.5 * (xx + yy), (0.25 * (xx - yy).powi(2) + xy * xy).sqrt());
        let half = [2.0 * (middle + off).sqrt(), 2.0 * (middle - off).max(0.0).sqrt()];
        let filled = n / (std::f64::consts::PI * half[0] * half[1]);
        let round = (0.93..1.07).contains(&filled) && half[1] > 0.5 * half[0] && half[1] * step >= SMALLEST_PX;
        let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
        round.then(|| Round {
            centre: [x * step, y * step],
            half: half.map(|h| h * step),
            direction: [angle.cos(), angle.sin()],
        })
    }
}
