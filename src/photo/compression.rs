//! How coarsely a JPEG file stores its luminance, and what it makes of changed pixels.

use super::markers::{DQT, SOF, SOS, Segment, segments};

/// Side of the blocks that JPEG codes one by one, px.
pub(super) const SIDE: usize = 8;

/// Steps of the luminance coefficients of a JPEG file, and where its blocks lie in the upright photo.
#[derive(Clone, Debug, PartialEq)]
pub struct Compression {
    /// Step of every coefficient, by vertical then horizontal frequency, in codes.
    steps: [f32; SIDE * SIDE],
    /// First column and row, px, at which a block begins.
    phase: [usize; 2],
    /// Row f holds the cosine of frequency f at the eight pixels, with norm 1.
    waves: [f32; SIDE * SIDE],
}

/// Order in which the coefficients are stored: index by vertical then horizontal frequency.
/// Source: ITU-T T.81, figure 5.
#[rustfmt::skip]
pub(super) const ZIGZAG: [u8; 64] = [
     0,  1,  8, 16,  9,  2,  3, 10, 17, 24, 32, 25, 18, 11,  4,  5,
    12, 19, 26, 33, 40, 48, 41, 34, 27, 20, 13,  6,  7, 14, 21, 28,
    35, 42, 49, 56, 57, 50, 43, 36, 29, 22, 15, 23, 30, 37, 44, 51,
    58, 59, 52, 45, 38, 31, 39, 46, 53, 60, 61, 54, 47, 55, 62, 63,
];

impl Compression {
    /// Reads the headers of a JPEG file whose stored picture is `width` × `height` px and is turned upright by the EXIF
    /// `orientation`; `None` where the luminance's table is not found.
    ///
    /// Source: marker segments DQT, SOF and SOS of ITU-T T.81, annex B.
    pub(super) fn of_jpeg(bytes: &[u8], [width, height]: [usize; 2], orientation: u16) -> Option<Self> {
        let mut tables = [None; 4];
        let mut wanted = None;
        for Segment { marker, body, .. } in segments(bytes) {
            match marker {
                DQT => read_tables(body, &mut tables)?,
                // The first component is the luminance; its table is the last byte of three.
                m if SOF.contains(&m) => wanted = Some(usize::from(*body.get(8)?) & 3),
                // Tables may stand before or behind the frame's header, but all of them before the first scan.
                SOS => return Some(Compression::upright(tables[wanted?]?, [width, height], orientation)),
                _ => {}
            }
        }
        None
    }

    fn upright(mut steps: [f32; SIDE * SIDE], [width, height]: [usize; 2], orientation: u16) -> Self {
        let turned = (5..=8).contains(&orientation);
        if turned {
            steps = std::array::from_fn(|i| steps[i % SIDE * SIDE + i / SIDE]);
        }
        let (w, h) = if turned { (height, width) } else { (width, height) };
        // Blocks begin at the stored corner, which mirroring carries to the other side.
        let phase = [
            if matches!(orientation, 2 | 3 | 6 | 7) { w % SIDE } else { 0 },
            if matches!(orientation, 3 | 4 | 7 | 8) { h % SIDE } else { 0 },
        ];
        Compression { steps, phase, waves: waves() }
    }

    /// First column and row, px, at which a block begins.
    pub(super) fn phase(&self) -> [usize; 2] {
        self.phase
    }

    /// Side of a block, px.
    pub(super) const SIDE: usize = SIDE;

    /// What storing makes of one block of codes, row by row.
    ///
    /// Source: ITU-T T.81, A.3.3 (transform) and A.3.4 (rounding to steps).
    pub(super) fn store(&self, block: &mut [f32; SIDE * SIDE]) {
        let waves = &self.waves;
        block.iter_mut().for_each(|c| *c -= 128.0);
        let mut coefficients = rows_then_turn(&rows_then_turn(block, waves), waves);
        for (c, step) in coefficients.iter_mut().zip(self.steps) {
            *c = (*c / step).round() * step;
        }
        let back = std::array::from_fn(|i| waves[i % SIDE * SIDE + i / SIDE]);
        *block = rows_then_turn(&rows_then_turn(&coefficients, &back), &back);
        block.iter_mut().for_each(|c| *c += 128.0);
    }
}

/// Takes in the tables of a segment, each by vertical then horizontal frequency. Source: T.81, B.2.4.1.
pub(super) fn read_tables(mut body: &[u8], tables: &mut [Option<[f32; SIDE * SIDE]>; 4]) -> Option<()> {
    while let Some((&head, rest)) = body.split_first() {
        let width = 1 + usize::from(head >> 4 != 0);
        let values = rest.get(..64 * width)?;
        let mut table = [1.0; SIDE * SIDE];
        for (place, value) in ZIGZAG.into_iter().zip(values.chunks_exact(width)) {
            table[usize::from(place)] = value.iter().fold(0.0, |sum, &b| 256.0 * sum + f32::from(b)).max(1.0);
        }
        tables[usize::from(head & 3)] = Some(table);
        body = &rest[64 * width..];
    }
    Some(())
}

fn waves() -> [f32; SIDE * SIDE] {
    std::array::from_fn(|i| {
        let (f, x) = ((i / SIDE) as f64, (i % SIDE) as f64);
        let norm = if f == 0.0 { 0.125f64.sqrt() } else { 0.5 };
        (norm * ((2.0 * x + 1.0) * f * std::f64::consts::PI / 16.0).cos()) as f32
    })
}

/// Every row of `block` times `matrix`, with rows and columns changed: done twice, both axes are transformed.
fn rows_then_turn(block: &[f32; SIDE * SIDE], matrix: &[f32; SIDE * SIDE]) -> [f32; SIDE * SIDE] {
    let mut out = [0.0; SIDE * SIDE];
    for (y, row) in block.chunks_exact(SIDE).enumerate() {
        for (f, wave) in matrix.chunks_exact(SIDE).enumerate() {
            out[f * SIDE + y] = row.iter().zip(wave).map(|(a, b)| a * b).sum();
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use image::codecs::jpeg::JpegEncoder;

    use super::*;
    use crate::photo;

    fn codes(x: usize, y: usize) -> u8 {
        let off = (x as f64 - 11.3).hypot(y as f64 - 9.8);
        (210.0 - 150.0 * (-0.5 * (off / 1.6).powi(2)).exp() + ((x * 7 + y * 13) % 5) as f64) as u8
    }

    #[test]
    fn storing_gives_the_pixels_that_an_encoder_and_a_decoder_give() {
        let (width, height) = (24usize, 16usize);
        let luma: Vec<u8> = (0..width * height).map(|i| codes(i % width, i / width)).collect();
        for quality in [30, 60, 90] {
            let mut jpeg = Vec::new();
            JpegEncoder::new_with_quality(&mut jpeg, quality)
                .encode(&luma, width as u32, height as u32, image::ExtendedColorType::L8)
                .unwrap();
            let compression = Compression::of_jpeg(&jpeg, [width, height], 1).unwrap();
            let decoded = photo::decode(&jpeg).unwrap();
            let mut worst = 0.0f32;
            for (bx, by) in (0..3).flat_map(|x| (0..2).map(move |y| (8 * x, 8 * y))) {
                let mut block = std::array::from_fn(|i| f32::from(codes(bx + i % 8, by + i / 8)));
                compression.store(&mut block);
                for (i, &stored) in block.iter().enumerate() {
                    let mut row = [0.0];
                    decoded.row_linear(by + i / 8, bx + i % 8, &mut row);
                    let code = 255.0 * photo::srgb_from_linear(f64::from(row[0])) as f32;
                    worst = worst.max((stored.clamp(0.0, 255.0) - code).abs());
                }
            }
            // Rounding to codes, and the encoder's and the decoder's own arithmetic in whole numbers.
            assert!(worst < 2.5, "quality {quality}: {worst}");
        }
    }

    #[test]
    fn blocks_are_found_again_after_turning() {
        let table = std::array::from_fn(|i| 1.0 + i as f32);
        assert_eq!(Compression::upright(table, [21, 18], 1).phase, [0, 0]);
        // Turned by a half, the last stored column comes first: 21 = 2·8 + 5.
        assert_eq!(Compression::upright(table, [21, 18], 3).phase, [5, 2]);
        let quarter = Compression::upright(table, [21, 18], 6);
        assert_eq!((quarter.steps[1], quarter.phase), (9.0, [2, 0]));
    }

    #[test]
    fn headers_cut_short_tell_nothing() {
        let mut jpeg = Vec::new();
        JpegEncoder::new_with_quality(&mut jpeg, 80).encode(&[200; 64], 8, 8, image::ExtendedColorType::L8).unwrap();
        assert!(Compression::of_jpeg(&jpeg, [8, 8], 1).is_some());
        for end in 0..60 {
            assert!(Compression::of_jpeg(&jpeg[..end], [8, 8], 1).is_none());
        }
    }
}
