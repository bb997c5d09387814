//! Pictures that the tool draws as PNG, marked as such.

use png::{BitDepth, ColorType, Compression, Encoder, Filter};

use super::ReportError;
use crate::DRAWN_MARK;

/// `rgb` (three bytes a pixel, row by row) as a marked PNG.
pub(super) fn png([width, height]: [u32; 2], rgb: &[u8]) -> Result<Vec<u8>, ReportError> {
    let failed = |e: png::EncodingError| ReportError::Draw(e.to_string());
    let mut out = Vec::new();
    let mut encoder = Encoder::new(&mut out, width, height);
    encoder.set_color(ColorType::Rgb);
    encoder.set_depth(BitDepth::Eight);
    encoder.set_compression(Compression::Fast);
    encoder.set_filter(Filter::Adaptive);
    encoder.add_text_chunk("Comment".to_owned(), DRAWN_MARK.to_owned()).map_err(failed)?;
    encoder.write_header().and_then(|mut writer| writer.write_image_data(rgb)).map_err(failed)?;
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::photo;

    #[test]
    fn what_is_drawn_is_a_picture_and_no_photo() {
        let bytes = png([40, 30], &[7; 3600]).unwrap();
        assert_eq!(image::load_from_memory(&bytes).unwrap().to_rgb8().into_raw(), [7; 3600]);
        assert!(matches!(photo::decode(&bytes), Err(photo::PhotoError::Drawn)));
    }
}
