//! Which pixels round a particle belong to others.

use crate::photo::Photo;
use crate::segment::{Part, Regions, Run};

/// One bit per pixel of the photo: taken by some part.
pub(super) struct Occupied {
    width: usize,
    words: Vec<u64>,
}

impl Occupied {
    pub fn new(photo: &Photo, regions: &Regions) -> Self {
        let width = photo.width();
        let mut words = vec![0u64; (width * photo.height()).div_ceil(64)];
        for run in regions.parts.iter().flat_map(|p| &p.runs) {
            let row = run.y as usize * width;
            for_words(row + run.x0 as usize, row + run.x1 as usize, |i, mask| words[i] |= mask);
        }
        Occupied { width, words }
    }

    /// Number of taken pixels among `x0..x1` of row `y`.
    pub fn count(&self, x0: usize, x1: usize, y: usize) -> usize {
        let mut bits = 0;
        for_words(y * self.width + x0, y * self.width + x1, |i, mask| {
            bits += (self.words[i] & mask).count_ones() as usize;
        });
        bits
    }

    /// Calls `each(x)` for the taken pixels among `x0..x1` of row `y`.
    fn for_each(&self, x0: usize, x1: usize, y: usize, mut each: impl FnMut(usize)) {
        for_words(y * self.width + x0, y * self.width + x1, |i, mask| {
            let mut word = self.words[i] & mask;
            while word != 0 {
                each(64 * i + word.trailing_zeros() as usize - y * self.width);
                word &= word - 1;
            }
        });
    }
}

/// Calls `each(word, mask)` for the words that hold the bits `start..end`.
fn for_words(start: usize, end: usize, mut each: impl FnMut(usize, u64)) {
    let mut at = start;
    while at < end {
        let (word, stop) = (at / 64, end.min((at / 64 + 1) * 64));
        let above = u64::MAX << (at % 64);
        each(word, if stop % 64 == 0 { above } else { above & !(u64::MAX << (stop % 64)) });
        at = stop;
    }
}

/// Finds the pixels of a patch that belong to others; keeps its room from one particle to the next.
#[derive(Default)]
pub(super) struct Territory {
    owner: Vec<Owner>,
    front: Vec<usize>,
    next: Vec<usize>,
    others: Vec<bool>,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Owner {
    /// Bare paper, not reached yet.
    Paper,
    /// The particle, or the skirt nearest to it.
    Own,
    /// Another particle, or the skirt nearest to that.
    Other,
    /// Round the patch.
    Beyond,
}

impl Territory {
    /// True for the pixels of the box at `x0`, `y0`, `width` × `height`, that are another part's or lie within `reach`
    /// px of one and nearer to it than to `part`; `None` where the particle lies alone.
    pub fn others(
        &mut self,
        occupied: &Occupied,
        part: &Part,
        [x0, y0]: [usize; 2],
        [width, height]: [usize; 2],
        reach: usize,
    ) -> Option<&[bool]> {
        let taken: usize = (y0..y0 + height).map(|y| occupied.count(x0, x0 + width, y)).sum();
        if taken == part.runs.iter().map(Run::len).sum::<usize>() {
            return None;
        }
        // A border of one pixel round the patch, so that every pixel of it has eight neighbours.
        let stride = width + 2;
        self.owner.clear();
        self.owner.resize(stride * (height + 2), Owner::Beyond);
        for (y, row) in self.owner.chunks_exact_mut(stride).skip(1).take(height).enumerate() {
            row[1..=width].fill(Owner::Paper);
            occupied.for_each(x0, x0 + width, y0 + y, |x| row[x - x0 + 1] = Owner::Other);
        }
        for run in &part.runs {
            let row = (run.y as usize - y0 + 1) * stride + 1;
            self.owner[row + run.x0 as usize - x0..row + run.x1 as usize - x0].fill(Owner::Own);
        }
        // Steps to the four sides, then to the four corners.
        let back = |step: usize| step.wrapping_neg();
        let around = [1, stride, back(1), back(stride), stride + 1, stride - 1, back(stride - 1), back(stride + 1)];
        self.front.clear();
        if let Some([left, top, right, bottom]) = self.others_in(stride, height) {
            // What lies farther from all others than twice the reach plays no part.
            let wide = 2 * reach;
            for y in top.saturating_sub(wide).max(1)..(bottom + wide).min(height + 1) {
                for x in left.saturating_sub(wide).max(1)..(right + wide).min(width + 1) {
                    let i = y * stride + x;
                    let taken = matches!(self.owner[i], Owner::Own | Owner::Other);
                    if taken && around.iter().any(|&d| self.owner[i.wrapping_add(d)] == Owner::Paper) {
                        self.front.push(i);
                    }
                }
            }
        }
        for step in 0..reach {
            // Sides on even steps, corners as well on odd ones: together nearly a circle.
            let near = if step % 2 == 1 { &around[..] } else { &around[..4] };
            self.next.clear();
            for &i in &self.front {
                for &d in near {
                    let j = i.wrapping_add(d);
                    if self.owner[j] == Owner::Paper {
                        self.owner[j] = self.owner[i];
                        self.next.push(j);
                    }
                }
            }
            std::mem::swap(&mut self.front, &mut self.next);
        }
        self.others.clear();
        for row in self.owner.chunks_exact(stride).skip(1).take(height) {
            self.others.extend(row[1..=width].iter().map(|&o| o == Owner::Other));
        }
        Some(&self.others)
    }

    /// Half-open box round the pixels of others, in the bordered patch.
    fn others_in(&self, stride: usize, height: usize) -> Option<[usize; 4]> {
        let mut found: Option<[usize; 4]> = None;
        for (y, row) in self.owner.chunks_exact(stride).enumerate().skip(1).take(height) {
            let Some(first) = row.iter().position(|&o| o == Owner::Other) else { continue };
            let last = row.iter().rposition(|&o| o == Owner::Other).unwrap_or(first);
            let [x0, y0, x1, _] = found.unwrap_or([first, y, last + 1, y + 1]);
            found = Some([x0.min(first), y0, x1.max(last + 1), y + 1]);
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::segment::Regions;

    fn part(pixels: &[[u32; 3]]) -> Part {
        let runs: Vec<Run> = pixels.iter().map(|&[y, x0, x1]| Run { y, x0, x1 }).collect();
        let bounds = [runs[0].x0 as usize, runs[0].y as usize, runs[0].x1 as usize, runs[0].y as usize + 1];
        Part { bounds, runs, split: false, rejected: None }
    }

    #[test]
    fn the_ground_between_two_particles_is_parted_half_way() {
        let photo = Photo::from_luma(150, 12, vec![200; 150 * 12]);
        let parts = vec![part(&[[6, 60, 63]]), part(&[[6, 70, 74]]), part(&[[6, 130, 150]])];
        let regions = Regions { parts: parts.clone(), threshold: 0.1, smoothed_noise: 0.01 };
        let occupied = Occupied::new(&photo, &regions);
        let mut territory = Territory::default();
        let others = territory.others(&occupied, &parts[0], [55, 2], [30, 9], 9).unwrap();
        let row = &others[4 * 30..5 * 30];
        // Paper 63..70 between them: 63..66 is nearer to the first, 67..70 to the second, the middle goes to either.
        assert!(row[..11].iter().all(|o| !o) && row[12..19].iter().all(|&o| o), "{row:?}");
        assert!(!row[29] || row[28], "what is beyond reach belongs to nobody");
        assert!(territory.others(&occupied, &parts[2], [100, 0], [50, 12], 9).is_none());
    }

    #[test]
    fn bits_are_counted_across_words() {
        let mut seen = Vec::new();
        for_words(60, 200, |i, mask| seen.push((i, mask.count_ones())));
        assert_eq!(seen, [(0, 4), (1, 64), (2, 64), (3, 8)]);
        for_words(5, 5, |_, _| panic!("no bits"));
        for_words(64, 128, |i, mask| assert_eq!((i, mask), (1, u64::MAX)));
    }
}
