//! The codes of a JPEG scan become blocks of coefficients.
//!
//! They have no marks to start from in the middle. But whoever reads from a wrong place falls into step after a few units,
//! as such codes mostly do. So a second reader starts in the middle, and once it has gone some way begins to keep what it
//! finds; the first reads from the start, and where it comes to the very bit at which the other began to keep, that one was
//! in step. Levels are stored as differences to the block before: those of the second are known from then on.
//!
//! Source: ITU-T T.81, annexes A (units) and F (levels); S. T. Klein & Y. Wiseman, Comput. J. 46 (2003) 487–497, on codes
//! read from the middle (from memory).

use std::ops::Range;

use rayon::prelude::*;

use super::codes::{Bits, Codes, ScanData, Tables};
use super::luminance::Unfit;
use super::waves::PLACES;

/// Units that a reader passes before it is taken to be in step. Of 400 starts in each of 28 photos half were after 3 units, and
/// all after 22.
const FALLING_INTO_STEP: usize = 100;

/// How often a reader that meets a code that there is not begins anew.
const TRIES: usize = 100;

/// Marker of the end of the picture.
const EOI: u8 = 0xD9;

/// Blocks of luminance as they were read: for every coefficient that is not 0 its place and value, in one number.
#[derive(Default)]
pub(super) struct Part {
    /// 64 times the value, and the place. A block begins with its level at place 0.
    waves: Vec<i32>,
    /// Where each unit begins among them.
    units: Vec<u32>,
    /// Bit behind the last unit.
    end: usize,
    /// Level of the last block, where that before the first is 0.
    level: i32,
    /// Level before the first block.
    base: i32,
}

impl Part {
    /// Number of units.
    pub(super) fn len(&self) -> usize {
        self.units.len()
    }

    /// For each unit from number `first` on its coefficients that are not 0: place and value. A level comes first in each block,
    /// at place 0.
    pub(super) fn units_from(&self, first: usize) -> impl Iterator<Item = impl Iterator<Item = (usize, i32)>> {
        (first..self.len()).map(|i| {
            let end = self.units.get(i + 1).map_or(self.waves.len(), |&end| end as usize);
            self.waves[self.units[i] as usize..end].iter().map(|wave| {
                let place = (wave & 63) as usize;
                (place, (wave >> 6).wrapping_add(if place == 0 { self.base } else { 0 }))
            })
        })
    }
}

/// Reads the units of a scan.
pub(super) struct Reader<'a> {
    data: &'a ScanData,
    /// Blocks of luminance in a unit.
    blocks: usize,
    luma: [&'a Codes; 2],
    colour: Vec<[&'a Codes; 2]>,
}

impl<'a> Reader<'a> {
    /// For units of so many blocks of luminance and one of each colour; `named` names the tables of each, luminance first.
    /// `None` where there is no such table.
    pub(super) fn of(data: &'a ScanData, blocks: usize, tables: &'a Tables, named: &[u8]) -> Option<Self> {
        let (&luma, colour) = named.split_first()?;
        let colour = colour.iter().map(|&name| tables.named(name)).collect::<Option<_>>()?;
        Some(Reader { data, blocks, luma: tables.named(luma)?, colour })
    }

    /// Reads all of so many units: as one part or, if `by_two`, as two at the same time.
    ///
    /// # Errors
    /// The data hold fewer units, or more, or something else comes between.
    pub(super) fn read(&self, units: usize, by_two: bool) -> Result<Vec<Part>, Unfit> {
        let mut parts = Vec::with_capacity(2);
        if let Some(middle) = by_two.then(|| self.in_step(self.data.len() / 2)).flatten() {
            let (first, second) =
                rayon::join(|| self.part(0..middle, units), || self.part(middle..self.data.len(), units));
            let fits = first.end == middle && first.len() + second.len() == units;
            let second = Part { base: first.level, ..second };
            parts.push(first);
            parts.extend(Some(second).filter(|_| fits));
        }
        let read: usize = parts.iter().map(Part::len).sum();
        let (end, base) = parts.last().map_or((0, 0), |part| (part.end, part.base.wrapping_add(part.level)));
        let mut last = (read, end);
        // All where there was one reader, and the rest where the second was not in step.
        if read < units {
            let rest = Part { base, ..self.part(end..self.data.len(), units - read) };
            last = (read + rest.len(), rest.end);
            parts.push(rest);
        }
        let fits = last.0 == units && self.data.is_filling(last.1..self.data.len());
        if fits { Ok(parts) } else { Err(self.unfit()) }
    }

    /// Reads all of so many units with a restart after every `interval`: as a part from each to the next.
    ///
    /// # Errors
    /// As [`Reader::read`].
    pub(super) fn read_with_restarts(&self, units: usize, interval: usize) -> Result<Vec<Part>, Unfit> {
        let stretches: Vec<_> = self.data.stretches().collect();
        if stretches.len() != units.div_ceil(interval) {
            return Err(self.unfit());
        }
        let read = |(i, bits): (usize, Range<usize>)| {
            let expected = interval.min(units - i * interval);
            let part = self.part(bits.clone(), expected);
            let fits = part.len() == expected && self.data.is_filling(part.end..bits.end);
            if fits { Ok(part) } else { Err(self.unfit()) }
        };
        stretches.into_par_iter().enumerate().map(read).collect()
    }

    /// Why the data do not hold what they should.
    fn unfit(&self) -> Unfit {
        match self.data.ended_by {
            None | Some(0xFF | EOI) => Unfit::Damaged,
            // Something else than codes comes next.
            Some(_) => Unfit::OtherKind,
        }
    }

    /// Reads a unit from `level` on, which damaged data may lead anywhere; `None` where a code stands that there is not. What
    /// lies behind the data reads as 0.
    #[inline]
    fn unit(&self, bits: &mut Bits, level: &mut i32, waves: &mut Vec<i32>) -> Option<()> {
        let [levels, others] = self.luma;
        for _ in 0..self.blocks {
            *level = level.wrapping_add(levels.difference(bits)?);
            waves.push(*level << 6);
            others.waves(bits, |number, value| waves.push(value << 6 | i32::from(PLACES[number])))?;
        }
        for [levels, others] in &self.colour {
            levels.difference(bits)?;
            others.pass_waves(bits)?;
        }
        Some(())
    }

    /// Units from the first of these bits on, until one ends with or behind the last of them; at most so many.
    fn part(&self, bits: Range<usize>, units: usize) -> Part {
        // About as many coefficients as bytes; more make room for themselves.
        let expected = (bits.len() / 8).min(units.saturating_mul(self.blocks * PLACES.len()));
        let mut part = Part { waves: Vec::with_capacity(expected), end: bits.start, ..Part::default() };
        let mut at = self.data.bits(bits.start);
        while part.len() < units && part.end < bits.end {
            let (begin, mut level) = (part.waves.len(), part.level);
            let read = self.unit(&mut at, &mut level, &mut part.waves);
            if read.is_none() || at.number() > self.data.len() {
                part.waves.truncate(begin);
                break;
            }
            part.units.push(begin as u32);
            (part.end, part.level) = (at.number(), level);
        }
        part
    }

    /// A bit not far behind number `at` where a unit begins, as far as can be told.
    fn in_step(&self, mut at: usize) -> Option<usize> {
        for _ in 0..TRIES {
            let part = self.part(at..self.data.len(), FALLING_INTO_STEP);
            if part.len() == FALLING_INTO_STEP {
                return Some(part.end);
            }
            // A code that there is not: the place was wrong.
            at = part.end + 1;
        }
        None
    }
}
