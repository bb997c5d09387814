//! Huffman codes of a sequential JPEG scan, read without making coefficients of them.
//!
//! Source: ITU-T T.81, annexes C and F.

/// Huffman codes of one table.
pub(super) struct Codes {
    /// What comes next, for every 16 bits that may.
    long: Vec<Next>,
    /// The same for the first [`SHORT`] bits, where they are enough: small, and mostly all that is needed.
    short: Box<[Next; 1 << SHORT]>,
    /// Code and bits of every symbol that has one.
    of_symbol: Vec<Option<(u16, u8)>>,
}

/// A code and the bits of the value behind it.
#[derive(Clone, Copy, Default)]
struct Next {
    /// Bits of both; 0 where no code begins so.
    bits: u8,
    /// Of a level: bits of the value. Of another coefficient: how many coefficients on, as many as there are at the end.
    step: u8,
}

/// Most bits of a code.
const LONGEST: u32 = 16;
/// Bits of nearly every code of a photo.
const SHORT: u32 = 12;
/// Coefficients of a block.
const COEFFICIENTS: u32 = 64;

impl Codes {
    /// `counts` codes of 1, 2 … 16 bits, for the symbols in turn, of levels or of other coefficients.
    ///
    /// `None` for symbols that 8-bit pictures have no use for. Source: T.81, C.2, and F.1.2.1 and F.1.2.2 for their meaning.
    fn new(counts: &[u8], symbols: &[u8], of_levels: bool) -> Option<Self> {
        let mut long = vec![Next::default(); 1 << LONGEST];
        let mut of_symbol = vec![None; 256];
        let (mut code, mut symbols) = (0u32, symbols.iter());
        for (bits, &count) in (1..=LONGEST).zip(counts) {
            for _ in 0..count {
                let &symbol = symbols.next()?;
                let (zeros, size) = (symbol >> 4, symbol & 15);
                let step = match (zeros, size) {
                    (0, 0..=11) if of_levels => size,
                    _ if of_levels => return None,
                    (0, 0) => COEFFICIENTS as u8,
                    (15, 0) | (_, 1..=10) => zeros + 1,
                    _ => return None,
                };
                let first = (code as usize) << (LONGEST - bits);
                long.get_mut(first..first + (1 << (LONGEST - bits)))?.fill(Next { bits: bits as u8 + size, step });
                of_symbol[usize::from(symbol)] = Some((code as u16, bits as u8));
                code += 1;
            }
            code <<= 1;
        }
        let mut short = Box::new([Next::default(); 1 << SHORT]);
        for (ahead, short) in short.iter_mut().enumerate() {
            *short = together(&long, (ahead as u32) << (LONGEST - SHORT), if of_levels { 1 } else { SHORT });
        }
        Some(Codes { long, short, of_symbol })
    }

    #[inline]
    fn next(&self, bits: &mut Bits) -> Next {
        bits.fill();
        match self.short[bits.next(SHORT) as usize] {
            Next { bits: 0, .. } => self.long[bits.next(LONGEST) as usize],
            next => next,
        }
    }

    /// Passes the difference of a block's level.
    #[inline]
    pub(super) fn pass(&self, bits: &mut Bits) -> Option<()> {
        let next = self.next(bits);
        bits.skip(next.bits.into())
    }

    /// Difference of a block's level to that of the block before. Source: T.81, F.2.2.1.
    #[inline]
    pub(super) fn difference(&self, bits: &mut Bits) -> Option<i64> {
        let Next { bits: all, step: size } = self.next(bits);
        let (all, size) = (u32::from(all), u32::from(size));
        let value = i64::from(bits.next(all.max(1))) & ((1 << size) - 1);
        bits.skip(all)?;
        Some(if value << 1 >> size == 0 { value - (1 << size) + 1 } else { value })
    }

    /// Passes the other coefficients of a block. Source: T.81, F.2.2.2.
    #[inline]
    pub(super) fn pass_waves(&self, bits: &mut Bits) -> Option<()> {
        let mut k = 1;
        while k < COEFFICIENTS {
            bits.fill();
            let mut next = self.short[bits.next(SHORT) as usize];
            // What was looked up together may reach into the next block.
            if next.bits == 0 || k + u32::from(next.step % COEFFICIENTS as u8) >= COEFFICIENTS {
                next = self.long[bits.next(LONGEST) as usize];
                // Beyond the last coefficient.
                if k + u32::from(next.step) > COEFFICIENTS && u32::from(next.step) != COEFFICIENTS {
                    return None;
                }
            }
            bits.skip(next.bits.into())?;
            k += u32::from(next.step);
        }
        Some(())
    }

    /// Writes a level as the difference to 0; `None` where the table has no code for one of its size.
    pub(super) fn write(&self, level: i64, out: &mut BitsOut) -> Option<()> {
        let size = i64::BITS - level.unsigned_abs().leading_zeros();
        let (code, length) = self.of_symbol[size as usize]?;
        out.put(code.into(), length.into());
        out.put(if level < 0 { level + (1 << size) - 1 } else { level } as u32, size);
        Some(())
    }
}

/// As many codes with their values, at most `most`, as lie whole within the first [`SHORT`] bits of the 16 in `ahead`.
fn together(long: &[Next], ahead: u32, most: u32) -> Next {
    let mut all = Next::default();
    for _ in 0..most {
        let next = long[((ahead << all.bits) & 0xFFFF) as usize];
        let ends = u32::from(next.step) == COEFFICIENTS;
        let beyond = !ends && u32::from(all.step + next.step) >= COEFFICIENTS;
        if next.bits == 0 || u32::from(all.bits + next.bits) > SHORT || beyond {
            break;
        }
        all = Next { bits: all.bits + next.bits, step: all.step + next.step };
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

/// The bits of a scan. A byte FF is followed by a 0 that is no part of them, or ends them.
#[derive(Clone)]
pub(super) struct Bits<'a> {
    data: &'a [u8],
    /// Bits at hand, the next one uppermost.
    word: u64,
    have: u32,
}

impl<'a> Bits<'a> {
    pub(super) fn new(data: &'a [u8]) -> Self {
        Bits { data, word: 0, have: 0 }
    }

    /// Takes bits until 32 are at hand, enough for a code and its value, or the data end.
    #[inline]
    fn fill(&mut self) {
        if self.have >= 32 {
            return;
        }
        if let Some(&eight) = self.data.first_chunk::<8>() {
            let next = u64::from_be_bytes(eight);
            // No byte of these is FF: none of the complement's is 0. (The usual trick to find a zero byte in a word.)
            const ONES: u64 = u64::MAX / 255;
            if (!next).wrapping_sub(ONES) & next & (ONES << 7) == 0 {
                let whole = (64 - self.have) / 8;
                self.word |= next >> self.have;
                self.have += 8 * whole;
                // Bits beyond the whole bytes are read again.
                self.word &= u64::MAX << (64 - self.have);
                self.data = &self.data[whole as usize..];
                return;
            }
        }
        while self.have <= 56 {
            let (byte, rest) = match self.data {
                [0xFF, 0, rest @ ..] => (0xFF, rest),
                [0xFF, ..] | [] => return,
                [byte, rest @ ..] => (*byte, rest),
            };
            self.word |= u64::from(byte) << (56 - self.have);
            self.have += 8;
            self.data = rest;
        }
    }

    /// The next `count` bits, 1 to 32, with zeros behind the last.
    #[inline]
    fn next(&self, count: u32) -> u32 {
        (self.word >> (64 - count)) as u32
    }

    /// Passes bits; `None` for no bits, which stand for a code that there is not, and for more than there are.
    #[inline]
    fn skip(&mut self, count: u32) -> Option<()> {
        if count.wrapping_sub(1) >= self.have {
            return None;
        }
        self.have -= count;
        self.word <<= count;
        Some(())
    }

    /// True where a marker comes next that does not end the picture.
    pub(super) fn is_interrupted(&self) -> bool {
        const EOI: u8 = 0xD9;
        matches!(self.data, [0xFF, marker, ..] if !matches!(*marker, 0 | 0xFF | EOI))
    }

    /// True where no byte is left, or only such as fill a file up, all alike.
    pub(super) fn ends(mut self) -> bool {
        let _ = self.skip(self.have % 8);
        let mut filling = None;
        loop {
            self.fill();
            if self.have == 0 {
                return true;
            }
            if *filling.get_or_insert(self.next(8)) != self.next(8) {
                return false;
            }
            let _ = self.skip(8);
        }
    }

    /// Writes all that is left behind `out`, with what stands behind the scan.
    pub(super) fn pour_into(mut self, mut out: BitsOut) -> Option<Vec<u8>> {
        loop {
            self.fill();
            let count = self.have.min(32);
            if count == 0 {
                break;
            }
            out.put(self.next(count), count);
            self.skip(count)?;
        }
        // A byte is filled up with ones (T.81, F.1.2.3).
        out.put(0x7F, 7);
        out.file.extend_from_slice(self.data);
        Some(out.file)
    }
}

/// A scan that is written.
pub(super) struct BitsOut {
    file: Vec<u8>,
    /// The last `have` bits are not yet written; fewer than 8.
    word: u64,
    have: u32,
}

impl BitsOut {
    /// Writes behind what `file` holds.
    pub(super) fn new(file: Vec<u8>) -> Self {
        BitsOut { file, word: 0, have: 0 }
    }

    /// Writes the last `count` bits of `value`, at most 32.
    fn put(&mut self, value: u32, count: u32) {
        self.word = self.word << count | u64::from(value);
        self.have += count;
        while self.have >= 8 {
            self.have -= 8;
            let byte = (self.word >> self.have) as u8;
            self.file.push(byte);
            if byte == 0xFF {
                self.file.push(0);
            }
        }
    }
}
