//! A large JPEG file decoded on two processors.
//!
//! The codes of a scan have no marks to start from in the middle, and the luminance of a block is stored as a difference
//! to the block before. So the codes of the upper part are read once without making pixels of them, which takes a
//! fraction of the time; from where they lead, a second file is made that holds the lower part alone. A library decodes
//! both files at the same time, and the pixels are those of the whole file.
//!
//! Source: ITU-T T.81, annexes A (units), B (headers) and F (levels).

use super::codes::{Bits, BitsOut, Tables};
use super::markers::{DHT, DRI, SOF, SOS, segments};

/// Share of the picture that makes the upper part: the lower one has to wait until all codes are read.
const UPPER_SHARE: f64 = 0.65;

/// Luminance of the picture in `bytes`, row by row, its two parts decoded at the same time by `luma`, which fills the
/// pixels of a file.
///
/// # Errors
/// The file is not parted, or damaged.
pub(super) fn decode<F>(bytes: &[u8], least_px: usize, luma: F) -> Result<Vec<u8>, Unfit>
where
    F: Fn(&[u8], &mut [u8]) -> Option<()> + Sync,
{
    let halves = Halves::of(bytes).ok_or(Unfit::Whole)?;
    if halves.width * halves.height < least_px {
        let mut bits = halves.bits();
        halves.pass(&mut bits, halves.units + halves.units_below)?;
        return Err(if bits.ends() { Unfit::Whole } else { Unfit::Damaged });
    }
    let mut codes = vec![0; halves.width * halves.height];
    let (above, below) = codes.split_at_mut(halves.width * halves.upper_px);
    let (above, below) = rayon::join(
        || luma(&halves.upper(), above).ok_or(Unfit::Whole),
        || luma(&halves.lower()?, below).ok_or(Unfit::Whole),
    );
    above.and(below).map(|()| codes)
}

/// Why a file is not parted.
#[derive(Debug, PartialEq)]
pub(super) enum Unfit {
    /// It is to be decoded whole: it has fewer pixels than are worth it, or is not of the common kind (sequential, one scan, no
    /// restarts, 8 bit, grey or with colour as fine as luminance or half as fine).
    Whole,
    /// A code that there is not, or fewer or more codes than the picture takes: some were changed or lost, and what follows them is
    /// shifted or wrong, though it may decode.
    Damaged,
}

/// One file as two, one above the other: each holds whole rows of units.
struct Halves<'a> {
    bytes: &'a [u8],
    /// Where the file says its height.
    height_at: usize,
    width: usize,
    height: usize,
    /// Rows of pixels in the upper part.
    upper_px: usize,
    /// Units in the upper part. A unit holds the blocks that belong together: here those of luminance, then colour.
    units: usize,
    units_below: usize,
    /// Blocks of luminance in a unit.
    luma_blocks: usize,
    tables: Tables,
    /// For every component, the byte that names its tables; luminance first.
    named: Vec<u8>,
    scan_at: usize,
}

impl<'a> Halves<'a> {
    /// `None` for a file that is not of the common kind.
    fn of(bytes: &'a [u8]) -> Option<Self> {
        let (mut frame, mut scan, mut tables) = (None, None, Tables::default());
        for segment in segments(bytes) {
            match segment.marker {
                0xC0 | 0xC1 => frame = Some(segment),
                SOS => scan = Some(segment),
                DHT => tables.read(segment.body)?,
                m if SOF.contains(&m) => return None,
                DRI if segment.body != [0, 0] => return None,
                _ => {}
            }
        }
        let (frame, scan) = (frame?, scan?);
        let &[8, h1, h0, w1, w0, count, ref components @ ..] = frame.body else { return None };
        let [height, width] = [[h1, h0], [w1, w0]].map(|side| usize::from(u16::from_be_bytes(side)));
        // Each component: its name, its blocks across and down in a unit, its steps.
        let luma = match (count, components) {
            (1, [_, 0x11, _]) => 0x11,
            (3, [_, luma @ (0x11 | 0x21 | 0x22), _, _, 0x11, _, _, 0x11, _]) => *luma,
            _ => return None,
        };
        // In the scan's header each component is named again, with its tables.
        let (&scanned, rest) = scan.body.split_first()?;
        let named: Vec<[u8; 2]> = rest.as_chunks().0.iter().take(count.into()).copied().collect();
        let same_order = components.iter().step_by(3).eq(named.iter().map(|[name, _]| name));
        let has_tables = named.iter().all(|[_, byte]| tables.named(*byte).is_some());
        let [across, down] = [luma >> 4, luma & 15].map(usize::from);
        let rows = (UPPER_SHARE * height as f64) as usize / (8 * down);
        if scanned != count || !same_order || !has_tables || rows == 0 {
            return None;
        }
        let in_row = width.div_ceil(8 * across);
        Some(Halves {
            bytes,
            height_at: frame.at + 1,
            width,
            height,
            upper_px: rows * 8 * down,
            units: rows * in_row,
            units_below: (height.div_ceil(8 * down) - rows) * in_row,
            luma_blocks: across * down,
            tables,
            named: named.into_iter().map(|[_, byte]| byte).collect(),
            scan_at: scan.at + scan.body.len(),
        })
    }

    /// The file with the upper part alone. The codes of the lower part still follow.
    fn upper(&self) -> Vec<u8> {
        let mut file = self.bytes.to_vec();
        self.set_height(&mut file, self.upper_px);
        file
    }

    fn bits(&self) -> Bits<'a> {
        Bits::new(&self.bytes[self.scan_at..])
    }

    /// Passes the codes of so many units, and gives by how much the level of luminance changes.
    fn pass(&self, bits: &mut Bits, units: usize) -> Result<i64, Unfit> {
        self.pass_all(bits, units).ok_or_else(|| if bits.is_interrupted() { Unfit::Whole } else { Unfit::Damaged })
    }

    fn pass_all(&self, bits: &mut Bits, units: usize) -> Option<i64> {
        let (luma, colour) = self.named.split_first()?;
        let [levels, waves] = self.tables.named(*luma)?;
        let colour: Vec<_> = colour.iter().map(|&name| self.tables.named(name)).collect::<Option<_>>()?;
        let mut level = 0;
        for _ in 0..units {
            for _ in 0..self.luma_blocks {
                level += levels.difference(bits)?;
                waves.pass_waves(bits)?;
            }
            // Only luminance is decoded, so that levels of colour may be wrong below the cut.
            for [levels, waves] in &colour {
                levels.pass(bits)?;
                waves.pass_waves(bits)?;
            }
        }
        Some(level)
    }

    /// A file with the lower part alone.
    fn lower(&self) -> Result<Vec<u8>, Unfit> {
        let mut bits = self.bits();
        let level = self.pass(&mut bits, self.units)?;
        let mut rest = bits.clone();
        self.pass(&mut rest, self.units_below)?;
        if !rest.ends() {
            return Err(Unfit::Damaged);
        }
        self.file_from(bits, level).ok_or(Unfit::Whole)
    }

    /// A file with the lower part alone, whose codes are next in `bits`; `level` is that of luminance before them.
    fn file_from(&self, mut bits: Bits, level: i64) -> Option<Vec<u8>> {
        let mut file = Vec::with_capacity(self.bytes.len());
        file.extend_from_slice(&self.bytes[..self.scan_at]);
        self.set_height(&mut file, self.height - self.upper_px);
        let mut out = BitsOut::new(file);
        // The first block has nothing before it now: its difference becomes its level.
        let [levels, _] = self.tables.named(*self.named.first()?)?;
        levels.write(level + levels.difference(&mut bits)?, &mut out)?;
        bits.pour_into(out)
    }

    fn set_height(&self, file: &mut [u8], height: usize) {
        file[self.height_at..][..2].copy_from_slice(&(height as u16).to_be_bytes());
    }
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use image::ExtendedColorType;
    use image::codecs::jpeg::JpegEncoder;
    use zune_core::colorspace::ColorSpace;
    use zune_core::options::DecoderOptions;
    use zune_jpeg::JpegDecoder;

    use super::*;

    fn decoder(bytes: &[u8]) -> JpegDecoder<Cursor<&[u8]>> {
        let options = DecoderOptions::default().set_strict_mode(true).jpeg_set_out_colorspace(ColorSpace::Luma);
        JpegDecoder::new_with_options(Cursor::new(bytes), options)
    }

    fn parted(bytes: &[u8]) -> Result<Vec<u8>, Unfit> {
        decode(bytes, 0, |file, into| decoder(file).decode_into(into).ok())
    }

    /// Specks and noise in colour: levels that jump, and codes of every length.
    fn picture(width: usize, height: usize, channels: usize, quality: u8) -> Vec<u8> {
        let noise = |i: usize| (i as u32).wrapping_mul(2_654_435_761) >> 24;
        let code = |i: usize| {
            let (pixel, channel) = (i / channels, i % channels);
            let (x, y) = (pixel % width, pixel / width);
            let speck = if (x / 9 + y / 7).is_multiple_of(5) { 190 } else { 0 };
            (215 + 5 * channel as u32 + noise(i) / 10).min(255).saturating_sub(speck) as u8
        };
        let codes: Vec<u8> = (0..width * height * channels).map(code).collect();
        let kind = if channels == 1 { ExtendedColorType::L8 } else { ExtendedColorType::Rgb8 };
        let mut file = Vec::new();
        let (width, height) = (width as u32, height as u32);
        JpegEncoder::new_with_quality(&mut file, quality).encode(&codes, width, height, kind).unwrap();
        file
    }

    #[test]
    fn the_parts_hold_the_pixels_of_the_whole() {
        for (width, height) in [(64, 64), (203, 117), (19, 16), (640, 481)] {
            for (channels, quality) in [(1, 30), (1, 99), (3, 50), (3, 92), (3, 100)] {
                let file = picture(width, height, channels, quality);
                let whole = decoder(&file).decode().unwrap();
                assert!(parted(&file).unwrap() == whole, "{width} × {height}, {channels} channels, quality {quality}");
            }
        }
    }

    /// Colour half as fine, as phones store it; the file's origin is told beside it.
    #[test]
    fn a_photograph_with_coarser_colour_is_parted() {
        let file = include_bytes!("../../tests/data/touching-coins.jpg");
        assert!(parted(file).unwrap() == decoder(file).decode().unwrap());
    }

    #[test]
    fn what_is_damaged_or_rare_is_not_parted() {
        let file = picture(203, 117, 3, 92);
        let small =
            |file: &[u8]| decode(file, 203 * 117 + 1, |_, _| unreachable!("too small to be parted")).unwrap_err();
        assert_eq!(small(&file), Unfit::Whole);
        for end in (0..file.len() - 2).step_by(file.len() / 200) {
            assert!(parted(&file[..end]).is_err(), "cut at {end} of {}", file.len());
        }
        // A restart after every unit is announced.
        let restarts = [&file[..2], &[0xFF, DRI, 0, 4, 0, 1], &file[2..]].concat();
        assert!(Halves::of(&restarts).is_none());
        let sof = segments(&file).find(|s| SOF.contains(&s.marker)).unwrap().at - 3;
        let mut progressive = file.clone();
        progressive[sof] = 0xC2;
        assert!(Halves::of(&progressive).is_none());
        // Fewer rows are announced than are there.
        let mut low = file.clone();
        low[sof + 4..sof + 6].copy_from_slice(&80u16.to_be_bytes());
        assert_eq!(parted(&low), Err(Unfit::Damaged));
        assert_eq!(small(&low), Unfit::Damaged);
        // Without tables of its own, a file has those of a standard.
        let tables = segments(&file).find(|s| s.marker == DHT).unwrap();
        let without = [&file[..tables.at - 4], &file[tables.at + tables.body.len()..]].concat();
        assert!(Halves::of(&without).is_none());
        // Bytes that are all alike fill a file up, and do no harm.
        let end = file.len() - 2;
        for (filled, fits) in [([0; 40], true), (std::array::from_fn(|i| i as u8), false)] {
            let filled = [&file[..end], &filled, &file[end..]].concat();
            assert_eq!(parted(&filled).is_ok(), fits);
        }
    }

    #[test]
    fn no_bytes_whatever_make_it_fail() {
        let file = picture(203, 117, 3, 92);
        for i in 0..3000usize {
            let mut damaged = file.clone();
            damaged[i.wrapping_mul(7919) % file.len()] ^= 1 << (i % 8);
            if let Ok(codes) = parted(&damaged) {
                // Whatever the library makes of it whole, the parts make of it.
                assert!(decoder(&damaged).decode().is_ok_and(|whole| whole == codes), "change {i}");
            }
        }
    }
}
