//! Connected components of runs, by union-find: no label image is made.

use crate::backdrop::Patch;
use crate::numeric::DisjointSets;

/// A connected group of dark pixels.
#[derive(Clone)]
pub(super) struct Blob {
    /// Half-open bounding box x0, y0, x1, y1, px.
    pub bounds: [usize; 4],
    /// Pixels, by row.
    pub runs: Vec<Run>,
}

/// Dark pixels `x0..x1` (half open) of row `y`, px.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Run {
    /// Row, px.
    pub y: u32,
    /// First column, px.
    pub x0: u32,
    /// First column past the run, px.
    pub x1: u32,
}

impl Run {
    /// Number of pixels.
    pub fn len(&self) -> usize {
        (self.x1 - self.x0) as usize
    }

    /// True for a run without pixels.
    pub fn is_empty(&self) -> bool {
        self.x1 <= self.x0
    }
}

/// Appends the runs of the values of `row`, which starts at column `first`, that lie above `level`.
pub fn runs_above(row: &[f32], first: usize, y: usize, level: f32, runs: &mut Vec<Run>) {
    let mut x = 0;
    while x < row.len() {
        if row[x] <= level {
            x += 1;
            continue;
        }
        let x0 = x;
        while x < row.len() && row[x] > level {
            x += 1;
        }
        runs.push(Run { y: y as u32, x0: (first + x0) as u32, x1: (first + x) as u32 });
    }
}

/// When two runs of neighbouring rows belong together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Touch {
    /// Pixels share a side (4-connected).
    Sides,
    /// Pixels share a side or a corner (8-connected).
    Corners,
}

/// Groups runs that touch, with room that it keeps from one use to the next.
#[derive(Debug, Default)]
pub struct RunGroups {
    sets: DisjointSets,
    labels: Vec<u32>,
}

impl RunGroups {
    /// Number of groups, and the label of every run: 0, 1, 2 … in the order of first runs. `runs` sorted by row, then
    /// column.
    ///
    /// Source: run-length labelling with union-find; checked against `imageproc` in `tests/oracle.rs`.
    pub fn label(&mut self, runs: &[Run], touch: Touch) -> (usize, &[u32]) {
        let slack = u32::from(touch == Touch::Corners);
        self.sets.clear();
        // `above` walks the previous row in step with this one.
        let mut above = 0;
        for (i, run) in runs.iter().enumerate() {
            self.sets.add();
            while above < i
                && (runs[above].y + 1 < run.y || runs[above].y + 1 == run.y && runs[above].x1 + slack <= run.x0)
            {
                above += 1;
            }
            let mut j = above;
            while j < i && runs[j].y + 1 == run.y && runs[j].x0 < run.x1 + slack {
                self.sets.join(i, j);
                j += 1;
            }
        }
        let mut groups = 0;
        self.labels.clear();
        for i in 0..runs.len() {
            // The smallest run stands for its group, so it is labelled already.
            let root = self.sets.find(i);
            self.labels.push(if root == i { groups } else { self.labels[root] });
            groups += u32::from(root == i);
        }
        (groups as usize, &self.labels)
    }
}

/// Half-open box around runs.
pub(super) fn bounds<'r>(runs: impl IntoIterator<Item = &'r Run>) -> [usize; 4] {
    runs.into_iter().fold([usize::MAX, usize::MAX, 0, 0], |b, r| {
        [b[0].min(r.x0 as usize), b[1].min(r.y as usize), b[2].max(r.x1 as usize), b[3].max(r.y as usize + 1)]
    })
}

/// Groups runs into blobs.
pub(super) fn blobs(runs: Vec<Run>) -> Vec<Blob> {
    let mut groups = RunGroups::default();
    let (count, labels) = groups.label(&runs, Touch::Corners);
    let mut lengths = vec![0; count];
    labels.iter().for_each(|&label| lengths[label as usize] += 1);
    let mut grouped: Vec<Vec<Run>> = lengths.into_iter().map(Vec::with_capacity).collect();
    for (run, label) in runs.into_iter().zip(labels) {
        grouped[*label as usize].push(run);
    }
    grouped.into_iter().map(|runs| Blob { bounds: bounds(&runs), runs }).collect()
}

/// Deficits of the run, which lies in the patch.
pub(super) fn pixels<'p>(patch: &'p Patch, run: &Run) -> &'p [f32] {
    &patch.row(run.y as usize - patch.y0)[run.x0 as usize - patch.x0..run.x1 as usize - patch.x0]
}

/// Level that a tenth of the runs' pixels exceed: above edge pixels and shade, below the darkest texture. `room` is for use.
pub(super) fn darkness_of(patch: &Patch, runs: &[Run], room: &mut Vec<f32>) -> f32 {
    /// Of more runs than twice this many, some are passed over: that many hold the level as well.
    const ENOUGH: usize = 24;
    room.clear();
    runs.iter().step_by((runs.len() / ENOUGH).max(1)).for_each(|run| room.extend_from_slice(pixels(patch, run)));
    let at = room.len() * 9 / 10;
    *room.select_nth_unstable_by(at, f32::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;

    fn runs_of(picture: &[&str]) -> Vec<Run> {
        let mut runs = Vec::new();
        for (y, row) in picture.iter().enumerate() {
            let cells: Vec<bool> = row.chars().map(|c| c == '#').collect();
            let mut x = 0;
            while x < cells.len() {
                let x0 = x;
                while x < cells.len() && cells[x] {
                    x += 1;
                }
                if x > x0 {
                    runs.push(Run { y: y as u32, x0: x0 as u32, x1: x as u32 });
                }
                x += 1;
            }
        }
        runs
    }

    #[test]
    fn corners_join_and_gaps_part() {
        let picture = ["##..#", "#..##", "..#..", "#...#", "##.##"];
        // Components of this matrix (scikit-image 0.26.0 measure.label, connectivity 2 and 1).
        let mut groups = RunGroups::default();
        assert_eq!(groups.label(&runs_of(&picture), Touch::Corners).0, 4);
        assert_eq!(groups.label(&runs_of(&picture), Touch::Sides).0, 5);
    }

    #[test]
    fn a_comb_joined_at_the_bottom_is_one_blob() {
        let picture = ["#.#.#.#", "#.#.#.#", "#######"];
        let blobs = blobs(runs_of(&picture));
        assert_eq!(blobs.len(), 1);
        assert_eq!(blobs[0].bounds, [0, 0, 7, 3]);
    }

    #[test]
    fn an_empty_row_parts_two_blobs() {
        assert_eq!(blobs(runs_of(&["###", "...", "###"])).len(), 2);
        assert!(blobs(Vec::new()).is_empty());
    }

    #[test]
    fn runs_are_half_open_and_reach_both_ends() {
        let mut row = vec![0.0; 40];
        for x in [0, 1, 15, 16, 17, 39] {
            row[x] = 1.0;
        }
        let mut runs = Vec::new();
        runs_above(&row, 100, 3, 0.5, &mut runs);
        let ends: Vec<(u32, u32)> = runs.iter().map(|r| (r.x0, r.x1)).collect();
        assert_eq!(ends, [(100, 102), (115, 118), (139, 140)]);
    }
}
