//! Huffman codes of a sequential JPEG scan.
//!
//! Source: ITU-T T.81, annexes C and F.

use std::ops::{Range, RangeInclusive};

use super::waves::PLACES;

/// Huffman codes of one table.
pub(super) struct Codes {
    /// What comes next, for every 16 bits that may.
    long: Vec<Next>,
    /// The same for the first [`SHORT`] bits, where they are enough: small, and mostly all that is needed.
    short: Box<[Next; 1 << SHORT]>,
    /// As many as lie together in the first [`SHORT`] bits with their values, for what is passed.
    together: Box<[Next; 1 << SHORT]>,
}

/// A code and the value behind it.
#[derive(Clone, Copy, Default)]
#[repr(align(4))]
struct Next {
    /// Bits of both; 0 where no code begins so.
    bits: u8,
    /// Bits of the value.
    size: u8,
    /// How many coefficients on: as many as there are at the end, none for a level.
    step: u8,
}

/// Most bits of a code.
const LONGEST: u32 = 16;
/// Bits of nearly every code of a photo.
const SHORT: u32 = 12;
/// Coefficients of a block.
const COEFFICIENTS: usize = PLACES.len();

impl Codes {
    /// `counts` codes of 1, 2 … 16 bits, for the symbols in turn, of levels or of other coefficients.
    ///
    /// `None` for symbols that 8-bit pictures have no use for. Source: T.81, C.2, and F.1.2.1 and F.1.2.2 for their meaning.
    fn new(counts: &[u8], symbols: &[u8], of_levels: bool) -> Option<Self> {
        let mut long = vec![Next::default(); 1 << LONGEST];
        let mut short = Box::new([Next::default(); 1 << SHORT]);
        let (mut code, mut symbols) = (0usize, symbols.iter());
        for (bits, &count) in (1..=LONGEST).zip(counts) {
            for _ in 0..count {
                let &symbol = symbols.next()?;
                let (zeros, size) = (symbol >> 4, symbol & 15);
                let step = match (zeros, size) {
                    (0, 0..=11) if of_levels => 0,
                    _ if of_levels => return None,
                    (0, 0) => COEFFICIENTS as u8,
                    (15, 0) | (_, 1..=10) => zeros + 1,
                    _ => return None,
                };
                let next = Next { bits: bits as u8 + size, size, step };
                let range = |most: u32| code << (most - bits)..(code + 1) << (most - bits);
                long.get_mut(range(LONGEST))?.fill(next);
                if bits <= SHORT {
                    short[range(SHORT)].fill(next);
                }
                code += 1;
            }
            code <<= 1;
        }
        let mut together = Box::new([Next::default(); 1 << SHORT]);
        for (ahead, all) in together.iter_mut().enumerate() {
            *all = lying_together(&long, ahead << (LONGEST - SHORT));
        }
        Some(Codes { long, short, together })
    }

    #[inline]
    fn next(&self, bits: &mut Bits) -> Option<Next> {
        bits.fill();
        match self.short[bits.next(SHORT) as usize] {
            Next { bits: 0, .. } => Some(self.long[bits.next(LONGEST) as usize]).filter(|next| next.bits > 0),
            next => Some(next),
        }
    }

    /// Difference of a block's level to that of the block before. Source: T.81, F.2.2.1.
    #[inline]
    pub(super) fn difference(&self, bits: &mut Bits) -> Option<i32> {
        let next = self.next(bits)?;
        Some(bits.take(next))
    }

    /// Reads the other coefficients of a block: hands those that are not 0 to `take`, with their number in the file.
    /// Source: T.81, F.2.2.2.
    #[inline]
    pub(super) fn waves(&self, bits: &mut Bits, mut take: impl FnMut(usize, i32)) -> Option<()> {
        let mut k = 0;
        while k < COEFFICIENTS - 1 {
            let next = self.next(bits)?;
            let value = bits.take(next);
            k += usize::from(next.step);
            if k >= COEFFICIENTS {
                // Beyond the last one, if this is not the end.
                return (usize::from(next.step) == COEFFICIENTS).then_some(());
            }
            if next.size > 0 {
                take(k, value);
            }
        }
        Some(())
    }

    /// Passes the other coefficients of a block.
    #[inline]
    pub(super) fn pass_waves(&self, bits: &mut Bits) -> Option<()> {
        let mut k = 0;
        while k < COEFFICIENTS - 1 {
            bits.fill();
            let mut next = self.together[bits.next(SHORT) as usize];
            // What was looked up together may reach into the next block.
            if next.bits == 0 || k + usize::from(next.step) % COEFFICIENTS >= COEFFICIENTS - 1 {
                next = self.next(bits)?;
                if k + usize::from(next.step) >= COEFFICIENTS && usize::from(next.step) != COEFFICIENTS {
                    return None;
                }
            }
            bits.skip(next);
            k += usize::from(next.step);
        }
        Some(())
    }
}

/// As many codes with their values as lie whole within the first [`SHORT`] bits of the 16 in `ahead`.
fn lying_together(long: &[Next], ahead: usize) -> Next {
    let mut all = Next::default();
    for _ in 0..SHORT {
        let next = long[(ahead << all.bits) & ((1 << LONGEST) - 1)];
        let ends = usize::from(next.step) == COEFFICIENTS;
        let beyond = !ends && usize::from(all.step + next.step) >= COEFFICIENTS;
        if next.bits == 0 || u32::from(all.bits + next.bits) > SHORT || beyond {
            break;
        }
        all = Next { bits: all.bits + next.bits, size: 0, step: all.step + next.step };
        if ends {
            break;
        }
    }
    all
}

/// The tables of a file: four for levels, then four for the other coefficients.
#[derive(Default)]
pub(super) struct Tables([Option<Codes>; 8]);

impl Tables {
    /// Takes in the tables of a segment; `None` where they are not in order. Source: T.81, B.2.4.2.
    pub(super) fn read(&mut self, mut body: &[u8]) -> Option<()> {
        while let Some((&head, rest)) = body.split_first() {
            let counts = rest.get(..16)?;
            let symbols = rest.get(16..16 + counts.iter().map(|&c| usize::from(c)).sum::<usize>())?;
            let (class, id) = (head >> 4, head & 15);
            if class > 1 || id > 3 {
                return None;
            }
            self.0[usize::from(4 * class + id)] = Some(Codes::new(counts, symbols, class == 0)?);
            body = &rest[16 + symbols.len()..];
        }
        Some(())
    }

    /// The tables for levels and for the other coefficients that a scan's header names in one byte.
    pub(super) fn named(&self, byte: u8) -> Option<[&Codes; 2]> {
        let of = |class: usize, id: u8| self.0.get(4 * class..4 * class + 4)?.get(usize::from(id))?.as_ref();
        Some([of(0, byte >> 4)?, of(1, byte & 15)?])
    }
}

/// The data of a scan without the 0 that stands behind every byte FF and without restart markers, with zeros behind the last.
pub(super) struct ScanData {
    bytes: Vec<u8>,
    /// Bytes up to each restart, and all.
    ends: Vec<usize>,
    /// Marker that ends them, if one does; none for a restart out of turn.
    pub ended_by: Option<u8>,
}

/// Bytes that are loaded at once.
const WORD: usize = 8;

impl ScanData {
    /// Data from the start of `file` to the first marker, or, if it `restarts`, to the first that is no restart or out of turn.
    pub(super) fn of(file: &[u8], restarts: bool) -> Self {
        const RESTARTS: RangeInclusive<u8> = 0xD0..=0xD7;
        let mut data = ScanData { bytes: Vec::with_capacity(file.len() + WORD), ends: Vec::new(), ended_by: None };
        let mut rest = file;
        while let Some(at) = memchr::memchr(0xFF, rest) {
            let next = rest.get(at + 1).copied();
            data.bytes.extend_from_slice(&rest[..at + usize::from(next == Some(0))]);
            if restarts && next == Some(RESTARTS.start() + (data.ends.len() % 8) as u8) {
                data.ends.push(data.bytes.len());
            } else if next != Some(0) {
                data.ended_by = next.filter(|marker| !restarts || !RESTARTS.contains(marker));
                rest = &[];
                break;
            }
            rest = &rest[at + 2..];
        }
        data.bytes.extend_from_slice(rest);
        data.ends.push(data.bytes.len());
        data.bytes.extend_from_slice(&[0; WORD]);
        data
    }

    /// Bits up to each restart, from the one before on.
    pub(super) fn stretches(&self) -> impl Iterator<Item = Range<usize>> {
        let starts = std::iter::once(0).chain(self.ends.iter().copied());
        starts.zip(&self.ends).map(|(start, end)| 8 * start..8 * end)
    }

    /// Number of bits.
    pub(super) fn len(&self) -> usize {
        8 * (self.bytes.len() - WORD)
    }

    /// Bits from number `at` on.
    pub(super) fn bits(&self, at: usize) -> Bits<'_> {
        let mut bits = Bits { data: &self.bytes, next_byte: at / 8, word: 0, have: 0 };
        bits.fill();
        bits.have -= at as u32 % 8;
        bits.word <<= at % 8;
        bits
    }

    /// True where no byte is left in these bits, or only such as fill a file up, all alike.
    pub(super) fn is_filling(&self, bits: Range<usize>) -> bool {
        let left = self.bytes.get(bits.start.div_ceil(8)..bits.end / 8);
        left.is_some_and(|left| left.iter().all(|&byte| byte == left[0]))
    }
}

/// The bits of a scan, with zeros behind the last.
pub(super) struct Bits<'a> {
    data: &'a [u8],
    next_byte: usize,
    /// Bits at hand, the next one uppermost. Behind them stand what comes next or zeros.
    word: u64,
    have: u32,
}

impl Bits<'_> {
    /// Number of the next bit.
    pub(super) fn number(&self) -> usize {
        8 * self.next_byte - self.have as usize
    }

    /// Takes bits until 32 are at hand, enough for a code and its value.
    #[inline]
    fn fill(&mut self) {
        let next = self.data.get(self.next_byte..).and_then(<[u8]>::first_chunk);
        self.word |= next.map_or(0, |&next| u64::from_be_bytes(next)) >> self.have;
        self.next_byte += ((63 - self.have) / 8) as usize;
        self.have |= 56;
    }

    /// The next `count` bits, 1 to 32.
    #[inline]
    fn next(&self, count: u32) -> u32 {
        (self.word >> (64 - count)) as u32
    }

    #[inline]
    fn skip(&mut self, next: Next) {
        self.have -= u32::from(next.bits);
        self.word <<= next.bits;
    }

    /// Takes a code and the value behind it, which is negative where its first bit is 0. Source: T.81, F.2.2.1.
    #[inline]
    fn take(&mut self, next: Next) -> i32 {
        let least = (1u32 << next.size) >> 1;
        let value = self.next(next.bits.into()) & ((1 << next.size) - 1);
        self.skip(next);
        if value < least { value as i32 - (1 << next.size) + 1 } else { value as i32 }
    }
}
