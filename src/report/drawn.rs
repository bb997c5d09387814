//! Pictures that the tool draws as PNG, marked as such, so that none is taken for a photo of grounds.

use png::{BitDepth, ColorType, Compression, Encoder, Filter};

use super::ReportError;

/// Stands in the file's comment.
const MARK: &str = "drawn by lightsieve";

/// Bytes from the start of a file within which the comment stands: it comes before the pixels.
pub const START: usize = 256;

/// `rgb` (three bytes a pixel, row by row) as a marked PNG.
pub(super) fn png([width, height]: [u32; 2], rgb: &[u8]) -> Result<Vec<u8>, ReportError> {
    let failed = |e: png::EncodingError| ReportError::Draw(e.to_string());
    let mut out = Vec::new();
    let mut encoder = Encoder::new(&mut out, width, height);
    encoder.set_color(ColorType::Rgb);
    encoder.set_depth(BitDepth::Eight);
    encoder.set_compression(Compression::Fast);
    encoder.set_filter(Filter::Adaptive);
    encoder.add_text_chunk("Comment".to_owned(), MARK.to_owned()).map_err(failed)?;
    encoder.write_header().and_then(|mut writer| writer.write_image_data(rgb)).map_err(failed)?;
    Ok(out)
}

/// True for a file that begins as those of [`png`] do.
pub fn is_drawn(start: &[u8]) -> bool {
    start.starts_with(b"\x89PNG") && start.windows(MARK.len()).any(|window| window == MARK.as_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_mark_is_found_at_the_start() {
        let bytes = png([40, 30], &[7; 3600]).unwrap();
        assert!(is_drawn(&bytes[..START.min(bytes.len())]));
        assert_eq!(image::load_from_memory(&bytes).unwrap().to_rgb8().into_raw(), [7; 3600]);
        assert!(!is_drawn(MARK.as_bytes()) && !is_drawn(b"\x89PNG\r\n\x1a\n and no more"));
    }
}
