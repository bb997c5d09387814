//! Which pixels round a particle are its own.

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
            for i in row + run.x0 as usize..row + run.x1 as usize {
                words[i / 64] |= 1 << (i % 64);
            }
        }
        Occupied { width, words }
    }

    fn at(&self, x: usize, y: usize) -> bool {
        let i = y * self.width + x;
        self.words[i / 64] >> (i % 64) & 1 == 1
    }

    /// Number of taken pixels among `x0..x1` of row `y`.
    fn count(&self, x0: usize, x1: usize, y: usize) -> usize {
        let (start, end) = (y * self.width + x0, y * self.width + x1);
        let (first, last) = (start / 64, (end - 1) / 64);
        let mut bits = 0;
        for (i, word) in self.words[first..=last].iter().enumerate() {
            let mut word = *word;
            if i == 0 {
                word &= u64::MAX << (start % 64);
            }
            if first + i == last {
                word &= u64::MAX >> (63 - (end - 1) % 64);
            }
            bits += word.count_ones() as usize;
        }
        bits
    }
}

/// Owners of a patch's pixels; `None` where the particle lies alone and all are its own.
pub(super) type Owners<'a> = Option<&'a [Owner]>;

/// True when pixel `i` is the particle's own.
pub(super) fn is_own(owners: Owners<'_>, i: usize) -> bool {
    owners.is_none_or(|o| o[i] == Owner::Own)
}

/// True when pixel `i` belongs to another particle.
pub(super) fn is_other(owners: Owners<'_>, i: usize) -> bool {
    owners.is_some_and(|o| o[i] == Owner::Other)
}

/// Owner of a pixel of a patch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Owner {
    /// Bare paper, farther than the reach from any part.
    Paper,
    /// The part itself, or the skirt nearest to it.
    Own,
    /// Another part, or the skirt nearest to that.
    Other,
}

/// Owners of the pixels of the box at `x0`, `y0`, `width` × `height`, grown `reach` px out from the parts; `None` where
/// all are the particle's own.
pub(super) fn owners(
    occupied: &Occupied,
    part: &Part,
    [x0, y0]: [usize; 2],
    [width, height]: [usize; 2],
    reach: usize,
) -> Option<Vec<Owner>> {
    // Most particles lie alone: then every pixel is their own.
    let taken: usize = (y0..y0 + height).map(|y| occupied.count(x0, x0 + width, y)).sum();
    if taken == part.runs.iter().map(Run::len).sum::<usize>() {
        return None;
    }
    let mut owner = vec![Owner::Paper; width * height];
    for (i, o) in owner.iter_mut().enumerate() {
        if occupied.at(x0 + i % width, y0 + i / width) {
            *o = Owner::Other;
        }
    }
    for run in &part.runs {
        let row = (run.y as usize - y0) * width;
        owner[row + run.x0 as usize - x0..row + run.x1 as usize - x0].fill(Owner::Own);
    }
    let mut front: Vec<usize> = (0..owner.len()).filter(|&i| owner[i] != Owner::Paper).collect();
    for step in 0..reach {
        let mut next = Vec::new();
        for i in front {
            let (x, y) = (i % width, i / width);
            // Sides on even steps, corners as well on odd ones: together nearly a circle.
            let corners = step % 2 == 1;
            for (dx, dy) in [(-1, 0), (1, 0), (0, -1), (0, 1), (-1, -1), (1, -1), (-1, 1), (1, 1)] {
                if dx != 0 && dy != 0 && !corners {
                    continue;
                }
                let (u, v) = (x as isize + dx, y as isize + dy);
                if u < 0 || v < 0 || u >= width as isize || v >= height as isize {
                    continue;
                }
                let j = v as usize * width + u as usize;
                if owner[j] == Owner::Paper {
                    owner[j] = owner[i];
                    next.push(j);
                }
            }
        }
        front = next;
    }
    Some(owner)
}
