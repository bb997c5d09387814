//! Pictures made in memory, good and bad.

use std::io::Cursor;
use std::sync::OnceLock;

use image::codecs::jpeg::JpegEncoder;
use image::{DynamicImage, GrayImage, ImageFormat, Luma, RgbImage};
use lightsieve::photo::srgb_from_linear;
use lightsieve::render::{Rendered, SceneSpec, render};

/// The scene of most tests: 18 × 14 mm of paper at 20 µm per pixel.
pub fn scene(seed: u64) -> SceneSpec {
    SceneSpec { width_px: 900, height_px: 700, um_per_px: 20.0, seed, ..SceneSpec::default() }
}

/// Grounds on paper.
pub fn grounds() -> &'static Rendered {
    static GROUNDS: OnceLock<Rendered> = OnceLock::new();
    GROUNDS.get_or_init(|| render(&scene(1)).unwrap())
}

/// The same as a JPEG file.
pub fn grounds_jpeg() -> &'static [u8] {
    static JPEG: OnceLock<Vec<u8>> = OnceLock::new();
    JPEG.get_or_init(|| grounds().jpeg())
}

/// Another spread of the same grounds.
pub fn more_grounds_jpeg() -> &'static [u8] {
    static JPEG: OnceLock<Vec<u8>> = OnceLock::new();
    JPEG.get_or_init(|| render(&scene(2)).unwrap().jpeg())
}

/// A file that begins as a photo and breaks off in the middle.
pub fn broken_jpeg() -> &'static [u8] {
    let whole = grounds_jpeg();
    &whole[..whole.len() / 2]
}

pub fn encoded(picture: impl Into<DynamicImage>, format: ImageFormat) -> Vec<u8> {
    let mut out = Cursor::new(Vec::new());
    picture.into().write_to(&mut out, format).unwrap();
    out.into_inner()
}

pub fn png(picture: impl Into<DynamicImage>) -> Vec<u8> {
    encoded(picture, ImageFormat::Png)
}

pub fn fine_jpeg(picture: &RgbImage) -> Vec<u8> {
    let mut out = Vec::new();
    picture.write_with_encoder(JpegEncoder::new_with_quality(&mut out, 98)).unwrap();
    out
}

/// One grey all over.
pub fn plain(code: u8) -> Vec<u8> {
    png(GrayImage::from_pixel(400, 300, Luma([code])))
}

/// White paper and discs of `discs` = (x, y, diameter in px), with soft edges and a little noise.
pub fn discs(width: u32, height: u32, discs: &[(f64, f64, f64)]) -> Vec<u8> {
    let mut dark = vec![0.0_f64; (width * height) as usize];
    for &(cx, cy, d) in discs {
        let reach = |c: f64, side: u32| {
            let of = |v: f64| v.clamp(0.0, f64::from(side)) as u32;
            of(c - 0.5 * d - 6.0)..of(c + 0.5 * d + 6.0)
        };
        for y in reach(cy, height) {
            for x in reach(cx, width) {
                let off = (f64::from(x) + 0.5 - cx).hypot(f64::from(y) + 0.5 - cy) - 0.5 * d;
                let here = &mut dark[(y * width + x) as usize];
                *here = here.max(0.5 - 0.5 * (off / 1.2).tanh());
            }
        }
    }
    let mut noise = Noise(1);
    png(GrayImage::from_fn(width, height, |x, y| {
        let light = (0.75 - 0.68 * dark[(y * width + x) as usize]) * (1.0 + 0.01 * noise.next());
        Luma([(255.0 * srgb_from_linear(light)).round() as u8])
    }))
}

/// Noise of mean 0 and standard deviation 1: the sum of 12 even draws less 6.
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f64 {
        let mut draw = || {
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (self.0 >> 40) as f64 / (1u64 << 24) as f64
        };
        (0..12).map(|_| draw()).sum::<f64>() - 6.0
    }
}

/// A PNG file of a few bytes whose header claims `width` × `height` pixels.
pub fn png_that_claims(width: u32, height: u32) -> Vec<u8> {
    let mut bytes = b"\x89PNG\r\n\x1a\n".to_vec();
    let header = [&width.to_be_bytes()[..], &height.to_be_bytes(), &[8, 2, 0, 0, 0]].concat();
    for (kind, data) in [(b"IHDR", &header[..]), (b"IDAT", &[0x78, 0x9c, 0, 0]), (b"IEND", &[])] {
        bytes.extend((data.len() as u32).to_be_bytes());
        bytes.extend(kind);
        bytes.extend(data);
        bytes.extend(crc32(&[kind, data].concat()).to_be_bytes());
    }
    bytes
}

fn crc32(bytes: &[u8]) -> u32 {
    let step = |crc: u32, _| (crc >> 1) ^ if crc & 1 == 1 { 0xEDB8_8320 } else { 0 };
    !bytes.iter().fold(!0, |crc, &byte| (0..8).fold(crc ^ u32::from(byte), step))
}

/// A photo whose JPEG header claims `width` × `height` pixels.
pub fn jpeg_that_claims(width: u16, height: u16) -> Vec<u8> {
    let mut bytes = grounds_jpeg().to_vec();
    let frame = bytes.windows(2).position(|w| w == [0xFF, 0xC0]).expect("a baseline frame header");
    bytes[frame + 5..frame + 7].copy_from_slice(&height.to_be_bytes());
    bytes[frame + 7..frame + 9].copy_from_slice(&width.to_be_bytes());
    bytes
}

/// A valid CMYK JPEG of 64 × 64 px: four parts without chroma, every block of one tone.
pub fn cmyk_jpeg() -> Vec<u8> {
    let mut bytes = vec![0xFF, 0xD8];
    let mut segment = |marker: u8, data: &[u8]| {
        bytes.extend([0xFF, marker]);
        bytes.extend((data.len() as u16 + 2).to_be_bytes());
        bytes.extend(data);
    };
    segment(0xEE, b"Adobe\x00\x64\x00\x00\x00\x00\x00");
    segment(0xDB, &[&[0][..], &[1; 64]].concat());
    segment(0xC0, &[8, 0, 64, 0, 64, 4, 1, 0x11, 0, 2, 0x11, 0, 3, 0x11, 0, 4, 0x11, 0]);
    // One code word of one bit in each table: no change of tone, and end of block.
    for table in [0x00, 0x10] {
        segment(0xC4, &[&[table, 1][..], &[0; 15], &[0]].concat());
    }
    segment(0xDA, &[4, 1, 0, 2, 0, 3, 0, 4, 0, 0, 63, 0]);
    // Two bits for each of four parts: one byte for each of 8 × 8 places.
    bytes.extend([0; 64]);
    bytes.extend([0xFF, 0xD9]);
    bytes
}

/// The JPEG with an Exif segment that holds only an orientation.
pub fn with_orientation(jpeg: &[u8], orientation: u16) -> Vec<u8> {
    let mut exif = b"Exif\0\0MM\0\x2A\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01".to_vec();
    exif.extend(orientation.to_be_bytes());
    exif.extend([0, 0, 0, 0, 0, 0]);
    let length = (exif.len() as u16 + 2).to_be_bytes();
    [&jpeg[..2], &[0xFF, 0xE1], &length, &exif, &jpeg[2..]].concat()
}
