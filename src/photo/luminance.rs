//! Luminance of a JPEG file of the common kind, decoded on two processors and without its colour.
//!
//! Its codes are read by two readers at once ([`Reader`]); then pixels are made of what both have read.
//!
//! Source: ITU-T T.81, annexes A (units) and B (headers).

use rayon::prelude::*;

use super::codes::{ScanData, Tables};
use super::compression::{SIDE, read_tables};
use super::markers::{DHT, DQT, DRI, SOF, SOS, segments};
use super::units::{Part, Reader};
use super::waves::{TOGETHER, Waves, factors, pixels};

/// Most pixels of a picture that is decoded here: their coefficients, all kept until pixels are made, take 256 MB at most,
/// and in a photo a sixth of that.
const MOST_PX: usize = 1 << 26;

/// Luminance of the picture in `bytes`, row by row. From `worthwhile_px` pixels on two readers share the codes.
///
/// # Errors
/// The file is of another kind, or damaged.
pub(super) fn decode(bytes: &[u8], worthwhile_px: usize) -> Result<Vec<u8>, Unfit> {
    let scan = Scan::of(bytes).ok_or(Unfit::OtherKind)?;
    let parts = scan.read(scan.width * scan.height >= worthwhile_px)?;
    Ok(scan.paint(&parts))
}

/// Why a file is not decoded here.
#[derive(Debug, PartialEq)]
pub(super) enum Unfit {
    /// It is not of the common kind: sequential, one scan, 8 bit, grey or with colour as fine as luminance or half as fine, and of
    /// no more than [`MOST_PX`].
    OtherKind,
    /// A code that there is not, or fewer or more codes than the picture takes: some were changed or lost, and what
    /// follows them is shifted or wrong.
    Damaged,
}

/// The scan of a file, and what is needed to read it. A unit holds the blocks that belong together: here those of
/// luminance, then colour.
struct Scan {
    width: usize,
    height: usize,
    /// Units in a row, and rows of them.
    across: usize,
    down: usize,
    /// Blocks of luminance in a unit, across and down.
    blocks: [usize; 2],
    tables: Tables,
    /// For every component, the byte that names its tables; luminance first.
    named: Vec<u8>,
    factors: [f32; SIDE * SIDE],
    /// Units from one restart to the next; 0 for none.
    interval: usize,
    data: ScanData,
}

impl Scan {
    /// `None` for a file that is not of the common kind.
    fn of(bytes: &[u8]) -> Option<Self> {
        let (mut frame, mut scan, mut tables, mut steps, mut interval) = (None, None, Tables::default(), [None; 4], 0);
        for segment in segments(bytes) {
            match segment.marker {
                0xC0 | 0xC1 => frame = Some(segment),
                SOS => scan = Some(segment),
                DHT => tables.read(segment.body)?,
                DQT => read_tables(segment.body, &mut steps)?,
                m if SOF.contains(&m) => return None,
                DRI => interval = u16::from_be_bytes(segment.body.try_into().ok()?).into(),
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
        if scanned != count || !same_order || !(1..=MOST_PX).contains(&(width * height)) {
            return None;
        }
        let blocks = [luma >> 4, luma & 15].map(usize::from);
        Some(Scan {
            width,
            height,
            across: width.div_ceil(SIDE * blocks[0]),
            down: height.div_ceil(SIDE * blocks[1]),
            blocks,
            tables,
            named: named.into_iter().map(|[_, byte]| byte).collect(),
            factors: factors((*steps.get(usize::from(components[2]))?).as_ref()?),
            interval,
            data: ScanData::of(bytes.get(scan.at + scan.body.len()..)?, interval > 0),
        })
    }

    /// Reads all units, as one part or two, or as many as there are restarts.
    fn read(&self, by_two: bool) -> Result<Vec<Part>, Unfit> {
        let [across, down] = self.blocks;
        let reader = Reader::of(&self.data, across * down, &self.tables, &self.named).ok_or(Unfit::OtherKind)?;
        let units = self.across * self.down;
        if self.interval > 0 { reader.read_with_restarts(units, self.interval) } else { reader.read(units, by_two) }
    }

    /// Pixels of the units in all `parts`.
    fn paint(&self, parts: &[Part]) -> Vec<u8> {
        let mut behind = 0;
        // Units up to the end of each part.
        let ends = parts.iter().map(|part| {
            behind += part.len();
            behind
        });
        let ends: Vec<usize> = ends.collect();
        let mut codes = vec![0; self.width * self.height];
        let rows = codes.par_chunks_mut(self.width * SIDE * self.blocks[1]).enumerate();
        rows.for_each(|(row, codes)| {
            let first = row * self.across;
            let part = ends.partition_point(|&end| end <= first);
            self.paint_row(&parts[part..], first + parts[part].len() - ends[part], codes);
        });
        codes
    }

    /// Writes the pixels of a row of units into its part of the picture, `codes`: `before` units of the `parts` come before.
    fn paint_row(&self, parts: &[Part], mut before: usize, codes: &mut [u8]) {
        let mut waiting = Waiting::default();
        let units = parts.iter().flat_map(|part| {
            let units = part.units_from(before);
            before = 0;
            units
        });
        for (column, waves) in units.take(self.across).enumerate() {
            let mut block = 0;
            for (place, value) in waves {
                // A level, with which a block begins.
                if place == 0 {
                    if waiting.count == TOGETHER {
                        waiting.paint(self.width, codes);
                    }
                    let [across, down] = [block % self.blocks[0], block / self.blocks[0]];
                    waiting.corners[waiting.count] = [(column * self.blocks[0] + across) * SIDE, down * SIDE];
                    waiting.count += 1;
                    block += 1;
                }
                waiting.waves[place][waiting.count - 1] = value as f32 * self.factors[place];
            }
        }
        waiting.paint(self.width, codes);
    }
}

/// Blocks that wait until there are enough to be turned into pixels together.
struct Waiting {
    waves: Waves,
    /// Column and row of the first pixel of each.
    corners: [[usize; 2]; TOGETHER],
    count: usize,
}

impl Default for Waiting {
    fn default() -> Self {
        Waiting { waves: [[0.0; TOGETHER]; SIDE * SIDE], corners: [[0; 2]; TOGETHER], count: 0 }
    }
}

impl Waiting {
    /// Writes their pixels into `codes`, rows of so many; pixels beyond are left out. None wait any longer.
    fn paint(&mut self, width: usize, codes: &mut [u8]) {
        for (found, &[x, y]) in pixels(&mut self.waves).iter().zip(&self.corners[..self.count]) {
            for (row, found) in codes.chunks_exact_mut(width).skip(y).zip(found) {
                match row.get_mut(x..x + SIDE) {
                    Some(whole) => whole.copy_from_slice(found),
                    None => row.iter_mut().skip(x).zip(found).for_each(|(pixel, found)| *pixel = *found),
                }
            }
        }
        *self = Waiting::default();
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

    /// What a library makes of it.
    fn by_library(bytes: &[u8]) -> Option<Vec<u8>> {
        let options = DecoderOptions::default().set_strict_mode(true).jpeg_set_out_colorspace(ColorSpace::Luma);
        JpegDecoder::new_with_options(Cursor::new(bytes), options).decode().ok()
    }

    fn all(bytes: &[u8]) -> Result<Vec<u8>, Unfit> {
        decode(bytes, usize::MAX)
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

    /// The library sums up waves in whole numbers of limited length, which turns some pixels that lie between two codes.
    #[track_caller]
    fn assert_alike(found: &[u8], library: &[u8], what: &str) {
        assert_eq!(found.len(), library.len(), "{what}");
        let off: Vec<u8> = found.iter().zip(library).map(|(a, b)| a.abs_diff(*b)).filter(|off| *off > 0).collect();
        assert!(off.iter().all(|&off| off == 1), "{what}: {off:?}");
        assert!(off.len() <= 3 + found.len() / 30, "{what}: {} of {}", off.len(), found.len());
    }

    #[test]
    fn pixels_are_those_of_a_library() {
        for (width, height) in [(64, 64), (203, 117), (19, 16), (5, 3), (640, 481)] {
            for (channels, quality) in [(1, 30), (1, 99), (3, 50), (3, 92), (3, 100)] {
                let file = picture(width, height, channels, quality);
                let what = format!("{width} × {height}, {channels} channels, quality {quality}");
                assert_alike(&all(&file).unwrap(), &by_library(&file).unwrap(), &what);
            }
        }
        // Colour half as fine, as phones store it; the file's origin is told beside it.
        let mut file = include_bytes!("../../tests/data/touching-coins.jpg").to_vec();
        assert_alike(&all(&file).unwrap(), &by_library(&file).unwrap(), "a photograph");
        // With blocks of which some are cut by the frame, and some lie beyond it.
        let height_at = segments(&file).find(|s| SOF.contains(&s.marker)).unwrap().at + 1;
        for side in [height_at, height_at + 2] {
            let size = u16::from_be_bytes([file[side], file[side + 1]]);
            assert_eq!((size - 5).div_ceil(16), size.div_ceil(16), "as many units as before");
            file[side..side + 2].copy_from_slice(&(size - 5).to_be_bytes());
        }
        assert_alike(&all(&file).unwrap(), &by_library(&file).unwrap(), "a photograph cut by 5 pixels");
    }

    #[test]
    fn two_readers_find_what_one_finds() {
        let photograph = include_bytes!("../../tests/data/touching-coins.jpg").to_vec();
        let pictures = [(1, 60), (1, 95), (3, 50), (3, 92), (3, 100)].map(|(c, q)| picture(640, 481, c, q));
        for file in pictures.iter().chain([&photograph]) {
            let scan = Scan::of(file).unwrap();
            let [one, two] = [false, true].map(|by_two| scan.read(by_two).unwrap());
            assert_eq!([one.len(), two.len()], [1, 2]);
            assert!(scan.paint(&one) == scan.paint(&two));
        }
    }

    #[test]
    fn restarts_are_read() {
        let file = include_bytes!("../../tests/data/restarts.jpg").to_vec();
        assert_alike(&all(&file).unwrap(), &by_library(&file).unwrap(), "restarts");
        let restart = |n: u8| file.windows(2).position(|two| two == [0xFF, 0xD0 + n]).unwrap();
        // One is lost, with what belongs to it or without; or they come out of turn.
        let (one, two) = (restart(1), restart(2));
        assert_eq!(all(&[&file[..one], &file[two..]].concat()), Err(Unfit::Damaged));
        let end = file.len() - 2;
        assert_eq!(all(&file[..end]), all(&file));
        assert_eq!(all(&file[..restart(7)]), Err(Unfit::Damaged));
        let mut damaged = file.clone();
        damaged[one + 1] = 0xD2;
        assert_eq!(all(&damaged), Err(Unfit::Damaged));
        // Damage stays between two restarts, where it is told.
        for at in (one + 2)..two {
            let mut damaged = file.clone();
            damaged[at] = 0x55;
            if let Ok(codes) = all(&damaged) {
                let off = codes.iter().zip(all(&file).unwrap()).filter(|(a, b)| *a != b).count();
                assert!(off <= 3 * 16 * 16, "{at}: {off}");
            }
        }
    }

    #[test]
    fn a_second_reader_that_is_out_of_step_does_no_harm() {
        // Blocks all alike: their codes repeat, and give no hint of where one begins.
        let codes: Vec<u8> = (0..480 * 480).map(|i| if (i % 8 + i / 480 % 8) % 3 == 0 { 40 } else { 200 }).collect();
        let mut file = Vec::new();
        JpegEncoder::new_with_quality(&mut file, 90).encode(&codes, 480, 480, ExtendedColorType::L8).unwrap();
        let scan = Scan::of(&file).unwrap();
        assert!(scan.paint(&scan.read(true).unwrap()) == all(&file).unwrap());
        assert_alike(&all(&file).unwrap(), &by_library(&file).unwrap(), "blocks all alike");
    }

    #[test]
    fn what_is_damaged_or_of_another_kind_is_told() {
        let file = picture(203, 117, 3, 92);
        for end in (0..file.len() - 2).step_by(file.len() / 200) {
            assert!(all(&file[..end]).is_err(), "cut at {end} of {}", file.len());
        }
        // A restart after every unit is announced, and none is there.
        let restarts = [&file[..2], &[0xFF, DRI, 0, 4, 0, 1], &file[2..]].concat();
        assert_eq!(all(&restarts), Err(Unfit::Damaged));
        let sof = segments(&file).find(|s| SOF.contains(&s.marker)).unwrap().at - 3;
        let mut progressive = file.clone();
        progressive[sof] = 0xC2;
        assert_eq!(all(&progressive), Err(Unfit::OtherKind));
        // Fewer rows are announced than are there, and more.
        for rows in [80u16, 200] {
            let mut wrong = file.clone();
            wrong[sof + 4..sof + 6].copy_from_slice(&rows.to_be_bytes());
            assert_eq!(all(&wrong), Err(Unfit::Damaged));
        }
        // Without tables of its own, a file has those of a standard.
        let tables = segments(&file).find(|s| s.marker == DHT).unwrap();
        let without = [&file[..tables.at - 4], &file[tables.at + tables.body.len()..]].concat();
        assert_eq!(all(&without), Err(Unfit::OtherKind));
        // Bytes that are all alike fill a file up, and do no harm.
        let end = file.len() - 2;
        for (filled, fits) in [([0; 40], true), (std::array::from_fn(|i| i as u8), false)] {
            let filled = [&file[..end], &filled, &file[end..]].concat();
            assert_eq!(all(&filled).is_ok(), fits);
        }
    }

    #[test]
    fn no_bytes_whatever_make_it_fail() {
        let small = picture(203, 117, 3, 92);
        let large = picture(640, 481, 1, 92);
        for i in 0..3000usize {
            let file = if i % 4 == 0 { &large } else { &small };
            let mut damaged = file.clone();
            damaged[i.wrapping_mul(7919) % file.len()] ^= 1 << (i % 8);
            let Some(scan) = Scan::of(&damaged).filter(|scan| scan.width * scan.height < 1 << 22) else { continue };
            if let Ok(parts) = scan.read(true) {
                assert!(scan.paint(&parts) == scan.paint(&scan.read(false).unwrap()), "change {i}");
            }
        }
    }
}
