use ab_glyph_rasterizer::{Rasterizer, point};
use image::{GrayImage, Luma};

use super::Page;
use crate::report::ReportError;

/// The page as a grey picture of `dpi` pixels per inch, each pixel as dark as the part of it that is black.
pub fn raster(page: &Page, dpi: f64) -> GrayImage {
    let scale = dpi / 25.4;
    let [w, h] = page.size.map(|s| (s * scale).round() as u32);
    let mut image = GrayImage::from_pixel(w, h, Luma([255]));
    for shape in &page.shapes {
        let outlines = shape.outlines();
        let points = || outlines.iter().flatten().flatten();
        let bound =
            |axis: usize, start: f64, pick: fn(f64, f64) -> f64| points().map(|p| p[axis] * scale).fold(start, pick);
        let low = [0, 1].map(|axis| bound(axis, f64::INFINITY, f64::min).floor());
        let high = [0, 1].map(|axis| bound(axis, f64::NEG_INFINITY, f64::max).ceil() + 1.0);
        let mut rasterizer = Rasterizer::new((high[0] - low[0]) as usize, (high[1] - low[1]) as usize);
        let at = |p: [f64; 2]| point((p[0] * scale - low[0]) as f32, (p[1] * scale - low[1]) as f32);
        for &[a, b, c, d] in outlines.iter().flatten() {
            if a == b && c == d {
                rasterizer.draw_line(at(a), at(d));
            } else {
                rasterizer.draw_cubic(at(a), at(b), at(c), at(d));
            }
        }
        let ink = if shape.is_white() { 255.0 } else { 0.0 };
        rasterizer.for_each_pixel_2d(|x, y, cover| {
            let (x, y) = (x + low[0] as u32, y + low[1] as u32);
            if cover > 0.0 && x < w && y < h {
                let Luma([old]) = image.get_pixel(x, y);
                let new = f32::from(*old) + cover.min(1.0) * (ink - f32::from(*old));
                image.put_pixel(x, y, Luma([new.round() as u8]));
            }
        });
    }
    image
}

/// The page as PNG of `dpi` pixels per inch, which the file says of itself, so that "actual size" prints right.
///
/// # Errors
/// None in practice: the picture is written to memory.
pub fn png(page: &Page, dpi: f64) -> Result<Vec<u8>, ReportError> {
    let failed = |e: ::png::EncodingError| ReportError::Draw(e.to_string());
    let image = raster(page, dpi);
    let mut out = Vec::new();
    let mut encoder = ::png::Encoder::new(&mut out, image.width(), image.height());
    encoder.set_color(::png::ColorType::Grayscale);
    encoder.set_depth(::png::BitDepth::Eight);
    let per_metre = (dpi / 0.0254).round() as u32;
    encoder.set_pixel_dims(Some(::png::PixelDimensions { xppu: per_metre, yppu: per_metre, unit: ::png::Unit::Meter }));
    encoder.write_header().and_then(|mut writer| writer.write_image_data(image.as_raw())).map_err(failed)?;
    Ok(out)
}
