//! A small copy of the photo, in which the dark shapes that give a scale are looked for.

use rayon::prelude::*;

use crate::numeric::{DisjointSets, quantile_of_sorted};
use crate::photo::Photo;

/// About as many pixels along the longer side: a mark of a frame that fills a third of the picture still has 15.
const LONG_SIDE: usize = 1200;

/// Mean light of squares of `step` × `step` px.
pub(super) struct Small {
    pub width: usize,
    pub height: usize,
    pub step: usize,
    pub light: Vec<f32>,
    /// Light of bright paper.
    pub paper: f32,
}

/// A row of a shape, filled from its first to its last pixel: y, x0, x1 (half open).
pub(super) type Row = (usize, usize, usize);

impl Small {
    pub fn of(photo: &Photo) -> Self {
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
        let mut sorted: Vec<f64> = light.iter().step_by(37).map(|&l| f64::from(l)).collect();
        sorted.sort_by(f64::total_cmp);
        // Paper fills most of the picture, or at least a tenth of it.
        let paper = if sorted.is_empty() { 0.0 } else { quantile_of_sorted(&sorted, 0.9) as f32 };
        Small { width, height, step, light, paper }
    }

    /// Calls `each` with the rows of every connected shape (by sides) of pixels darker than `limit`.
    pub fn shapes_below(&self, limit: f32, mut each: impl FnMut(&[Row])) {
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
            // Runs of the row above come in order of x, as these do; only neighbouring rows meet.
            let mut first = above.start;
            for i in start..at {
                let (_, x0, x1) = runs[i];
                while first < above.end && runs[first].2 <= x0 {
                    first += 1;
                }
                (first..above.end).take_while(|&j| runs[j].1 < x1).for_each(|j| sets.join(i, j));
            }
            above = start..at;
        }
        let mut members: Vec<(usize, usize)> = (0..runs.len()).map(|i| (sets.find(i), i)).collect();
        members.sort_unstable();
        let mut rows: Vec<Row> = Vec::new();
        for group in members.chunk_by(|a, b| a.0 == b.0) {
            rows.clear();
            for &(_, i) in group {
                let (y, x0, x1) = runs[i];
                match rows.last_mut().filter(|last| last.0 == y) {
                    Some(last) => *last = (y, last.1.min(x0), last.2.max(x1)),
                    None => rows.push(runs[i]),
                }
            }
            each(&rows);
        }
    }

    fn runs_below(&self, limit: f32) -> Vec<Row> {
        let mut runs = Vec::new();
        for (y, row) in self.light.chunks_exact(self.width.max(1)).enumerate() {
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
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shapes_are_whole_and_apart() {
        // A ring, which is filled, and two dots that meet at a corner only.
        let picture = ["........", ".###....", ".#.#..#.", ".###...#", "........"];
        let luma: Vec<u8> = picture.iter().flat_map(|r| r.bytes().map(|b| if b == b'#' { 0 } else { 255 })).collect();
        let small = Small::of(&Photo::from_luma(8, 5, luma));
        let mut found = Vec::new();
        small.shapes_below(0.5, |rows| found.push(rows.to_vec()));
        assert_eq!(found, [vec![(1, 1, 4), (2, 1, 4), (3, 1, 4)], vec![(2, 6, 7)], vec![(3, 7, 8)]]);
    }
}
