use std::fs::File;
use std::io::{Cursor, Read};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use image::{ColorType, DynamicImage, ExtendedColorType, ImageDecoder, ImageFormat, ImageReader, Limits, RgbImage};
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

use super::luminance::{self, Unfit};
use super::markers::{SOF, front, lacks_scans, rare_kind, segments};
use super::orient::upright;
use super::{Compression, Origin, Photo, Samples};
use crate::DRAWN_MARK;

/// Longest side that is decoded, px: above every phone and camera, far below what exhausts memory.
const MAX_SIDE_PX: usize = 30_000;
/// Most pixels that are decoded: 200 megapixels take 200 MB of 8-bit luminance.
const MAX_PIXELS: usize = 200_000_000;
/// Largest file that is read: 512 MiB, above an uncompressed 16-bit TIFF of 80 megapixels.
const MAX_FILE_BYTES: u64 = 512 << 20;

/// Fewer pixels are decoded before a second thread would have come far.
const WORTHWHILE_PX: usize = 1_000_000;

/// Why a picture file could not be read.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs, reason = "each variant is its message")]
pub enum PhotoError {
    #[error("no such file. Check the name; a name with spaces needs quotes")]
    Missing,
    #[error("this is a folder, and a photo is expected. `lightsieve batch` measures every photo in a folder")]
    Folder,
    #[error("cannot be read ({0}). Copy the photo to a folder of your own and try again")]
    Io(std::io::ErrorKind),
    #[error("the file is empty. Copy the photo again from the phone")]
    Empty,
    #[error("the file has {mib} MiB, and at most {max} MiB are read. Save the photo as JPEG")]
    LargeFile { mib: u64, max: u64 },
    #[error("lightsieve drew this picture from a photo. Give the photo itself")]
    Drawn,
    #[error("not a picture that can be read. Save it as JPEG; PNG, TIFF, WebP and HEIC can be read too")]
    UnknownFormat,
    #[error(
        "this is a HEIC photo, and {why}. Save it as JPEG (on the phone: choose the most compatible camera format, or \
         share the photo as JPEG) and try again"
    )]
    Heic { why: String },
    #[error(
        "the picture claims {width} × {height} px, and at most {max_side} px a side and {max_megapixels} megapixels are \
         read. Cut it to the paper with the grounds, without scaling it"
    )]
    TooLarge { width: u64, height: u64, max_side: usize, max_megapixels: usize },
    #[error("the picture is coded in {what}, which cannot be turned into light safely. Save it as an RGB JPEG or PNG")]
    Colour { what: String },
    #[error(
        "the JPEG is of a rare kind ({0}). Open it in a program that shows pictures and save it anew as JPEG or PNG"
    )]
    Rare(&'static str),
    #[error(
        "the picture is damaged or cut short. Copy it again from the phone, or take it anew (the decoder says: {0})"
    )]
    Damaged(String),
}

impl From<std::io::Error> for PhotoError {
    /// Keeps the kind alone: the system's own words and numbers help nobody.
    fn from(e: std::io::Error) -> Self {
        match e.kind() {
            std::io::ErrorKind::NotFound | std::io::ErrorKind::NotADirectory => PhotoError::Missing,
            kind => PhotoError::Io(kind),
        }
    }
}

/// Checks that `path` is a file of a size that can be read.
///
/// # Errors
/// Missing, empty, a folder or too large.
pub fn check(path: &Path) -> Result<(), PhotoError> {
    let meta = std::fs::metadata(path)?;
    if meta.is_dir() {
        return Err(PhotoError::Folder);
    }
    if meta.is_file() && meta.len() == 0 {
        return Err(PhotoError::Empty);
    }
    if meta.len() > MAX_FILE_BYTES {
        return Err(PhotoError::LargeFile { mib: meta.len() >> 20, max: MAX_FILE_BYTES >> 20 });
    }
    Ok(())
}

/// Reads the file at `path` with a limit on its size.
///
/// # Errors
/// Those of [`check`], or unreadable.
pub fn read_bytes(path: &Path) -> Result<Vec<u8>, PhotoError> {
    check(path)?;
    let file = File::open(path)?;
    // One byte more than the file has shows its end without more room.
    let mut bytes = Vec::with_capacity(file.metadata()?.len() as usize + 1);
    // The limit holds for pipes too, whose size is not known beforehand.
    file.take(MAX_FILE_BYTES).read_to_end(&mut bytes)?;
    if bytes.is_empty() { Err(PhotoError::Empty) } else { Ok(bytes) }
}

/// Reads and decodes the photo at `path`.
///
/// # Errors
/// Those of [`read_bytes`] and [`decode`].
pub fn read(path: &Path) -> Result<Photo, PhotoError> {
    decode(&read_bytes(path)?)
}

/// Bytes from the start of a file within which the mark of drawn pictures stands: it comes before the pixels.
const START: usize = 256;

/// True for a picture that this tool drew. What cannot be read is left for [`read`] to say so.
pub fn is_drawn(path: &Path) -> bool {
    let mut start = Vec::new();
    path.is_file()
        && File::open(path).is_ok_and(|f| f.take(START as u64).read_to_end(&mut start).is_ok())
        && is_marked(&start)
}

fn is_marked(start: &[u8]) -> bool {
    start.starts_with(b"\x89PNG") && start.windows(DRAWN_MARK.len()).any(|window| window == DRAWN_MARK.as_bytes())
}

enum Kind {
    Jpeg,
    Heic,
    Other(ImageFormat),
}

fn kind_of(bytes: &[u8]) -> Result<Kind, PhotoError> {
    const HEIF_BRANDS: [&[u8]; 8] = [b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1", b"avif"];
    if bytes.len() > 12 && &bytes[4..8] == b"ftyp" && HEIF_BRANDS.contains(&&bytes[8..12]) {
        return Ok(Kind::Heic);
    }
    match image::guess_format(bytes) {
        Ok(ImageFormat::Jpeg) => Ok(Kind::Jpeg),
        Ok(format @ (ImageFormat::Png | ImageFormat::Tiff | ImageFormat::WebP)) => Ok(Kind::Other(format)),
        _ => Err(PhotoError::UnknownFormat),
    }
}

/// Decodes a JPEG, PNG, TIFF, WebP or (where the system has the library) HEIC file to upright luminance.
///
/// Colour is taken as sRGB-coded (Display P3 shares that curve); embedded profiles are not applied. Transparent
/// pixels are laid on white. A JPEG cut short is refused, not filled with grey.
///
/// # Errors
/// A picture that this tool drew, unknown format, damage, sizes above the limits, colour codings that have no safe meaning (CMYK, float).
pub fn decode(bytes: &[u8]) -> Result<Photo, PhotoError> {
    if is_marked(&bytes[..START.min(bytes.len())]) {
        return Err(PhotoError::Drawn);
    }
    // Whoever looks for what is not there reads all.
    let origin = Origin::of(front(bytes));
    let mut compression = None;
    let (width, height, samples) = match kind_of(bytes)? {
        Kind::Jpeg => {
            let (width, height, samples) = jpeg_luma(bytes)?;
            compression = Compression::of_jpeg(bytes, [width, height], origin.orientation);
            (width, height, samples)
        }
        Kind::Heic => return heic_photo(bytes, origin),
        Kind::Other(format) => luma(other(bytes, format)?),
    };
    let (width, height, samples) = match samples {
        Samples::Eight(s) => {
            let (w, h, s) = upright(origin.orientation, width, height, s);
            (w, h, Samples::Eight(s))
        }
        Samples::Sixteen(s) => {
            let (w, h, s) = upright(origin.orientation, width, height, s);
            (w, h, Samples::Sixteen(s))
        }
    };
    Ok(Photo { compression, ..Photo::new(width, height, samples, origin) })
}

/// Decodes the same file to an upright 8-bit colour picture, for drawing on.
///
/// # Errors
/// As [`decode`].
pub fn decode_rgb(bytes: &[u8]) -> Result<RgbImage, PhotoError> {
    let rgb = match kind_of(bytes)? {
        Kind::Jpeg => {
            let mut decoder = jpeg(bytes, ColorSpace::RGB)?;
            let (w, h) = jpeg_size(&mut decoder)?;
            RgbImage::from_raw(w as u32, h as u32, pixels(decoder)?).expect("three bytes a pixel")
        }
        Kind::Heic => {
            let grey = heic_photo(bytes, Origin::default())?;
            let Samples::Eight(codes) = grey.samples else { unreachable!("HEIC is read as 8 bit") };
            let pixels = codes.iter().flat_map(|&c| [c; 3]).collect();
            return Ok(RgbImage::from_raw(grey.width as u32, grey.height as u32, pixels).expect("three bytes a pixel"));
        }
        Kind::Other(format) => on_white(other(bytes, format)?).into_rgb8(),
    };
    let (w, h) = (rgb.width() as usize, rgb.height() as usize);
    let pixels: Vec<[u8; 3]> = rgb.pixels().map(|p| p.0).collect();
    let (w, h, pixels) = upright(Origin::of(front(bytes)).orientation, w, h, pixels);
    Ok(RgbImage::from_raw(w as u32, h as u32, pixels.into_flattened()).expect("three bytes a pixel"))
}

/// All pixels, by the library.
fn pixels(mut decoder: JpegDecoder<Cursor<&[u8]>>) -> Result<Vec<u8>, PhotoError> {
    // It has been seen to fail on rare files; one photo must not end the work on others.
    match catch_unwind(AssertUnwindSafe(|| decoder.decode())) {
        Ok(decoded) => decoded.map_err(|e| damaged(&e)),
        Err(_) => Err(PhotoError::Rare("one that cannot be decoded here")),
    }
}

/// What the decoder says, in one line.
fn damaged(error: &impl ToString) -> PhotoError {
    PhotoError::Damaged(error.to_string().replace('"', "").split_whitespace().collect::<Vec<_>>().join(" "))
}

fn jpeg(bytes: &[u8], out: ColorSpace) -> Result<JpegDecoder<Cursor<&[u8]>>, PhotoError> {
    // Strict: without it a file cut in half decodes to a grey rest with no error.
    let options = DecoderOptions::default()
        .set_strict_mode(true)
        .set_max_width(MAX_SIDE_PX)
        .set_max_height(MAX_SIDE_PX)
        .jpeg_set_out_colorspace(out);
    let mut decoder = JpegDecoder::new_with_options(Cursor::new(bytes), options);
    decoder.decode_headers().map_err(|e| match (jpeg_claim(bytes), rare_kind(bytes)) {
        (Some((w, h)), _) if w > MAX_SIDE_PX || h > MAX_SIDE_PX => too_large(w, h),
        (_, Some(kind)) => PhotoError::Rare(kind),
        _ => damaged(&e),
    })?;
    if let Some(kind) = rare_kind(bytes) {
        return Err(PhotoError::Rare(kind));
    }
    if lacks_scans(bytes) {
        return Err(PhotoError::Damaged("parts of it are missing".into()));
    }
    match decoder.input_colorspace() {
        Some(ColorSpace::YCbCr | ColorSpace::Luma | ColorSpace::RGB) => Ok(decoder),
        Some(other) => Err(PhotoError::Colour { what: format!("{other:?}") }),
        None => Err(PhotoError::Damaged("no colour space".into())),
    }
}

fn jpeg_size(decoder: &mut JpegDecoder<Cursor<&[u8]>>) -> Result<(usize, usize), PhotoError> {
    let info = decoder.info().ok_or_else(|| PhotoError::Damaged("no frame header".into()))?;
    check_size(info.width.into(), info.height.into())?;
    Ok((info.width.into(), info.height.into()))
}

/// Width and height in the frame header, read without decoding, for the wording of an error.
fn jpeg_claim(bytes: &[u8]) -> Option<(usize, usize)> {
    let frame = segments(bytes).find(|s| SOF.contains(&s.marker))?.body;
    let word = |i: usize| Some(usize::from(u16::from_be_bytes([*frame.get(i)?, *frame.get(i + 1)?])));
    Some((word(3)?, word(1)?))
}

fn jpeg_luma(bytes: &[u8]) -> Result<(usize, usize, Samples), PhotoError> {
    // Decoding to luminance alone halves the time; only files that store RGB itself need all three channels.
    let mut decoder = jpeg(bytes, ColorSpace::Luma)?;
    let (w, h) = jpeg_size(&mut decoder)?;
    if decoder.input_colorspace() == Some(ColorSpace::RGB) {
        let rgb = pixels(jpeg(bytes, ColorSpace::RGB)?)?;
        return Ok((w, h, Samples::Eight(rgb.chunks_exact(3).map(|p| luma8(p[0], p[1], p[2])).collect())));
    }
    let codes = match luminance::decode(bytes, WORTHWHILE_PX) {
        Ok(codes) => codes,
        Err(Unfit::OtherKind) => pixels(decoder)?,
        Err(Unfit::Damaged) => return Err(PhotoError::Damaged("its data do not fit the picture".into())),
    };
    if codes.len() != w * h || ends_unwritten(&codes, w) {
        return Err(PhotoError::Damaged("it holds fewer rows than it announces".into()));
    }
    Ok((w, h, Samples::Eight(codes)))
}

/// True when the last rows repeat one block of 8 × 8 pixels from end to end, as the decoder leaves them where data is
/// missing. A real photo is never so regular; a flat colour is let pass, since drawn pictures are.
fn ends_unwritten(codes: &[u8], width: usize) -> bool {
    const BLOCK: usize = 8;
    let last = &codes[codes.len().saturating_sub(BLOCK * width)..];
    let repeats = |row: &[u8]| row.len() > 4 * BLOCK && row.iter().zip(&row[BLOCK..]).all(|(a, b)| a == b);
    let flat = last.iter().all(|c| *c == last[0]);
    !flat && last.chunks(width).all(repeats)
}

fn too_large(width: usize, height: usize) -> PhotoError {
    PhotoError::TooLarge {
        width: width as u64,
        height: height as u64,
        max_side: MAX_SIDE_PX,
        max_megapixels: MAX_PIXELS / 1_000_000,
    }
}

fn check_size(width: usize, height: usize) -> Result<(), PhotoError> {
    if width == 0 || height == 0 {
        return Err(PhotoError::Damaged("the picture has no pixels".into()));
    }
    if width > MAX_SIDE_PX || height > MAX_SIDE_PX || width * height > MAX_PIXELS {
        return Err(too_large(width, height));
    }
    Ok(())
}

fn other(bytes: &[u8], format: ImageFormat) -> Result<DynamicImage, PhotoError> {
    let damaged = |e: image::ImageError| match e {
        image::ImageError::Unsupported(_) => PhotoError::Colour { what: "a rare format of numbers".into() },
        e => self::damaged(&e),
    };
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    let mut limits = Limits::default();
    // 16-bit RGBA of the largest picture allowed.
    limits.max_alloc = Some(8 * MAX_PIXELS as u64);
    reader.limits(limits);
    let decoder = reader.into_decoder().map_err(damaged)?;
    let (w, h) = decoder.dimensions();
    check_size(w as usize, h as usize)?;
    let stored = decoder.original_color_type();
    if matches!(stored, ExtendedColorType::Cmyk8 | ExtendedColorType::Cmyk16) {
        return Err(PhotoError::Colour { what: "CMYK".into() });
    }
    if matches!(decoder.color_type(), ColorType::Rgb32F | ColorType::Rgba32F) {
        return Err(PhotoError::Colour { what: "floating-point values".into() });
    }
    DynamicImage::from_decoder(decoder).map_err(damaged)
}

/// Lays a picture with an alpha channel on white; others pass unchanged.
fn on_white(picture: DynamicImage) -> DynamicImage {
    if !picture.color().has_alpha() {
        return picture;
    }
    let mut rgba = picture.into_rgba16();
    for p in rgba.pixels_mut() {
        let alpha = u32::from(p.0[3]);
        for c in &mut p.0[..3] {
            *c = ((u32::from(*c) * alpha + 65_535 * (65_535 - alpha) + 32_767) / 65_535) as u16;
        }
        p.0[3] = 65_535;
    }
    DynamicImage::ImageRgba16(rgba)
}

fn luma8(r: u8, g: u8, b: u8) -> u8 {
    // 14-bit fixed point of 0.299, 0.587, 0.114, as JPEG's own luminance.
    ((4899 * u32::from(r) + 9617 * u32::from(g) + 1868 * u32::from(b) + 8192) >> 14) as u8
}

fn luma16(r: u16, g: u16, b: u16) -> u16 {
    ((4899 * u32::from(r) + 9617 * u32::from(g) + 1868 * u32::from(b) + 8192) >> 14) as u16
}

fn luma(picture: DynamicImage) -> (usize, usize, Samples) {
    let (w, h) = (picture.width() as usize, picture.height() as usize);
    let samples = match picture {
        DynamicImage::ImageLuma8(p) => Samples::Eight(p.into_raw()),
        DynamicImage::ImageLuma16(p) => Samples::Sixteen(p.into_raw()),
        DynamicImage::ImageRgb8(p) => Samples::Eight(p.pixels().map(|p| luma8(p.0[0], p.0[1], p.0[2])).collect()),
        deep_or_alpha => {
            let deep = on_white(deep_or_alpha).into_rgb16();
            Samples::Sixteen(deep.pixels().map(|p| luma16(p.0[0], p.0[1], p.0[2])).collect())
        }
    };
    (w, h, samples)
}

#[cfg(feature = "heic")]
fn heic_photo(bytes: &[u8], origin: Origin) -> Result<Photo, PhotoError> {
    let (width, height, codes) = super::heic::luma(bytes, check_size)?;
    Ok(Photo::new(width, height, Samples::Eight(codes), origin))
}

#[cfg(not(feature = "heic"))]
fn heic_photo(_: &[u8], _: Origin) -> Result<Photo, PhotoError> {
    Err(PhotoError::Heic { why: "this build has no HEIC reader".into() })
}
