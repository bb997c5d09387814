//! Outlines drawn on the photo.

use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use image::{ImageEncoder, Rgb, RgbImage};
use imageproc::drawing::{draw_filled_rect_mut, draw_text_mut, text_size};
use imageproc::rect::Rect;

use super::{ReportError, font};
use crate::particle::Flags;
use crate::pipeline::MeasuredPhoto;
use crate::segment::{Rejection, Run};

const MEASURED: [u8; 3] = [0, 110, 200];
const SPLIT: [u8; 3] = [0, 150, 120];
const REJECTED: [u8; 3] = [225, 95, 0];
const REFERENCE: [u8; 3] = [190, 0, 120];

/// The photo as PNG with solid outlines round what was measured, dashed ones round what was left out, a key and a
/// scale bar. `picture` is the upright photo.
///
/// # Errors
/// None in practice: the drawing stays in memory.
pub fn png(photo: &MeasuredPhoto, mut picture: RgbImage) -> Result<Vec<u8>, ReportError> {
    let long = picture.width().max(picture.height());
    // Thin enough not to hide a particle of 3 px, thick enough to be seen on a large photo.
    let width = (f64::from(long) / 2800.0).clamp(0.9, 2.2);
    for (shape, particle) in photo.shapes.iter().zip(&photo.particles) {
        let colour = if particle.flags.contains(Flags::SPLIT) { SPLIT } else { MEASURED };
        // Just outside the edge, so that the edge itself can be judged.
        let [cx, cy] = shape.centre;
        let grow = 1.0 + (0.5 * width + 0.3) / (0.5 * shape.ecd_px()).max(1.0);
        let points: Vec<[f64; 2]> =
            shape.outline.iter().map(|p| [cx + grow * (p[0] - cx), cy + grow * (p[1] - cy)]).collect();
        closed(&mut picture, &points, width, colour);
    }
    for (runs, why) in &photo.rejected {
        let width = if *why == Rejection::OffPaper { 2.0 * width } else { width };
        dashed_border(&mut picture, runs, width, REJECTED);
    }
    for outline in &photo.reference {
        closed(&mut picture, outline, 2.0 * width, REFERENCE);
    }
    key(&mut picture, photo);
    let mut out = Vec::new();
    PngEncoder::new_with_quality(&mut out, CompressionType::Fast, FilterType::Adaptive)
        .write_image(picture.as_raw(), picture.width(), picture.height(), image::ExtendedColorType::Rgb8)
        .map_err(|e| ReportError::Draw(e.to_string()))?;
    Ok(out)
}

/// A closed line of `width` px with soft edges.
fn closed(picture: &mut RgbImage, points: &[[f64; 2]], width: f64, colour: [u8; 3]) {
    for i in 0..points.len() {
        let (a, b) = (points[i], points[(i + 1) % points.len()]);
        let length = (b[0] - a[0]).hypot(b[1] - a[1]);
        let steps = (2.0 * length).ceil().max(1.0);
        for k in 0..steps as usize {
            let t = k as f64 / steps;
            dot(picture, [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])], width, colour);
        }
    }
}

/// A round dot of diameter `width` px: pixels are covered by their distance from its centre.
fn dot(picture: &mut RgbImage, [x, y]: [f64; 2], width: f64, colour: [u8; 3]) {
    let reach = 0.5 * width + 0.5;
    let (w, h) = (i64::from(picture.width()), i64::from(picture.height()));
    for v in (y - reach).floor() as i64..=(y + reach).floor() as i64 {
        for u in (x - reach).floor() as i64..=(x + reach).floor() as i64 {
            if u < 0 || v < 0 || u >= w || v >= h {
                continue;
            }
            let cover = (reach - (u as f64 + 0.5 - x).hypot(v as f64 + 0.5 - y)).clamp(0.0, 1.0);
            let pixel = picture.get_pixel_mut(u as u32, v as u32);
            for (p, c) in pixel.0.iter_mut().zip(colour) {
                *p = (f64::from(*p) + cover * (f64::from(c) - f64::from(*p))).round() as u8;
            }
        }
    }
}

/// Dashes along the border of runs.
fn dashed_border(picture: &mut RgbImage, runs: &[Run], width: f64, colour: [u8; 3]) {
    let dash = (6.0 * width) as u32 + 2;
    let mut mark = |x: f64, y: f64| {
        if (x + y) as u32 % (2 * dash) < dash {
            dot(picture, [x, y], width, colour);
        }
    };
    let covered = |row: &[Run], x: u32| row.iter().any(|r| (r.x0..r.x1).contains(&x));
    let mut start = 0;
    let mut above: &[Run] = &[];
    while start < runs.len() {
        let y = runs[start].y;
        let end = start + runs[start..].iter().take_while(|r| r.y == y).count();
        let row = &runs[start..end];
        let below_end = end + runs[end..].iter().take_while(|r| r.y == y + 1).count();
        let below = &runs[end..below_end];
        let upper: &[Run] = if above.first().is_some_and(|r| r.y + 1 == y) { above } else { &[] };
        for run in row {
            mark(f64::from(run.x0), f64::from(y) + 0.5);
            mark(f64::from(run.x1), f64::from(y) + 0.5);
            for x in run.x0..run.x1 {
                if !covered(upper, x) {
                    mark(f64::from(x) + 0.5, f64::from(y));
                }
                if !covered(below, x) {
                    mark(f64::from(x) + 0.5, f64::from(y) + 1.0);
                }
            }
        }
        above = row;
        start = end;
    }
}

/// Key and scale bar in the lower left corner.
fn key(picture: &mut RgbImage, photo: &MeasuredPhoto) {
    let face = font::face();
    let (w, h) = (picture.width() as i32, picture.height() as i32);
    let size = (f64::from(w.max(h)) / 75.0).max(11.0) as f32;
    let pad = (0.6 * size) as i32;
    // Longest of 1, 2, 5 × 10ⁿ µm that is at most a fifth of the width.
    let um = photo.scale.typical();
    let room = 0.2 * f64::from(w) * um;
    let decade = 10f64.powf(room.log10().floor());
    let bar_um = [5.0, 2.0, 1.0].map(|s| s * decade).into_iter().find(|&s| s <= room).unwrap_or(decade);
    let bar_px = (bar_um / um).round() as i32;
    let label = if bar_um >= 1000.0 { format!("{} mm", bar_um / 1000.0) } else { format!("{bar_um} µm") };
    let mut lines = vec![(MEASURED, "measured"), (REJECTED, "left out (dashed)")];
    if photo.particles.iter().any(|p| p.flags.contains(Flags::SPLIT)) {
        lines.insert(1, (SPLIT, "parted, then measured"));
    }
    if !photo.reference.is_empty() {
        lines.push((REFERENCE, "gave the scale"));
    }
    let line = (1.5 * size) as i32;
    let text_w = lines.iter().map(|(_, t)| text_size(size, &face, t).0 as i32).max().unwrap_or(0);
    let box_w = (text_w + 3 * size as i32).max(bar_px) + 2 * pad;
    let box_h = line * (lines.len() as i32 + 1) + (0.8 * size) as i32 + 2 * pad;
    if box_w + 2 * pad > w || box_h + 2 * pad > h {
        return;
    }
    let (x, mut y) = (pad, h - box_h - pad);
    draw_filled_rect_mut(picture, Rect::at(x, y).of_size(box_w as u32, box_h as u32), Rgb([255, 255, 255]));
    let (x, bar_h) = (x + pad, (0.3 * size).max(2.0) as i32);
    y += pad;
    for (colour, text) in lines {
        let middle = y + line / 2;
        draw_filled_rect_mut(
            picture,
            Rect::at(x, middle - bar_h / 2).of_size((1.8 * size) as u32, bar_h as u32),
            Rgb(colour),
        );
        draw_text_mut(picture, Rgb([30, 30, 30]), x + (2.5 * size) as i32, y + (0.2 * size) as i32, size, &face, text);
        y += line;
    }
    draw_text_mut(picture, Rgb([30, 30, 30]), x, y + (0.2 * size) as i32, size, &face, &label);
    draw_filled_rect_mut(picture, Rect::at(x, y + line).of_size(bar_px.max(1) as u32, bar_h as u32), Rgb([30, 30, 30]));
}
