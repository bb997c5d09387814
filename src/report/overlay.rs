//! Outlines drawn on the photo.

use image::{Rgb, RgbImage};
use imageproc::drawing::{draw_filled_rect_mut, draw_text_mut, text_size};
use imageproc::rect::Rect;

use super::{ReportError, drawn, font};
use crate::particle::Flags;
use crate::pipeline::MeasuredPhoto;
use crate::segment::{Rejection, Run};

const MEASURED: [u8; 3] = [0, 110, 200];
const SPLIT: [u8; 3] = [0, 150, 120];
const REJECTED: [u8; 3] = [225, 95, 0];
const REFERENCE: [u8; 3] = [190, 0, 120];
const INK: [u8; 3] = [30, 30, 30];

/// The photo as PNG with solid outlines round what was measured, dashed ones round what was left out; a strip
/// below the photo holds a key and a scale bar. `picture` is the upright photo.
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
    let picture = with_key(picture, photo);
    drawn::png([picture.width(), picture.height()], picture.as_raw())
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

/// The picture with a white strip under it that holds scale bar and key: over the picture they could hide particles.
fn with_key(picture: RgbImage, photo: &MeasuredPhoto) -> RgbImage {
    let face = font::face();
    let (w, h) = picture.dimensions();
    let size = (f64::from(w.max(h)) / 75.0).clamp(11.0, (f64::from(w) / 20.0).max(11.0)) as f32;
    let width_of = |text: &str| text_size(size, &face, text).0 as i32;
    let (pad, line, gap) = ((0.6 * size) as i32, (1.6 * size) as i32, (1.8 * size) as i32);
    // Longest of 1, 2, 5 × 10ⁿ µm that is at most a fifth of the width.
    let um = photo.scale.typical();
    let room = 0.2 * f64::from(w) * um;
    let decade = 10f64.powf(room.log10().floor());
    let bar_um = [5.0, 2.0, 1.0].map(|s| s * decade).into_iter().find(|&s| s <= room).unwrap_or(decade);
    let bar_px = ((bar_um / um).round() as i32).max(1);
    let label = if bar_um >= 1000.0 { format!("{} mm", bar_um / 1000.0) } else { format!("{bar_um} µm") };
    let sample = (1.8 * size) as i32;
    let mut items = vec![(INK, bar_px, label), (MEASURED, sample, "measured".to_owned())];
    if photo.particles.iter().any(|p| p.flags.contains(Flags::SPLIT)) {
        items.push((SPLIT, sample, "parted, then measured".to_owned()));
    }
    items.push((REJECTED, sample, "left out".to_owned()));
    if !photo.reference.is_empty() {
        items.push((REFERENCE, sample, "gave the scale".to_owned()));
    }
    // One beside the other, as many to a line as there is room for.
    let mut placed = Vec::new();
    let (mut x, mut y) = (pad, 0);
    for (colour, length, text) in items {
        let wide = length + pad + width_of(&text);
        if x > pad && x + wide + pad > w as i32 {
            (x, y) = (pad, y + line);
        }
        placed.push((x, y, colour, length, text));
        x += wide + gap;
    }
    let mut out = RgbImage::from_pixel(w, h + (y + line + pad) as u32, Rgb([255; 3]));
    image::imageops::replace(&mut out, &picture, 0, 0);
    let thick = (0.3 * size).max(2.0) as u32;
    for (x, y, colour, length, text) in placed {
        let top = h as i32 + y + pad / 2;
        let middle = top + (line - thick as i32) / 2;
        // What is dashed in the picture is dashed in the key.
        let dashes = if colour == REJECTED { 3 } else { 1 };
        let dash = (length / (2 * dashes - 1)).max(1);
        for k in 0..dashes {
            let at = Rect::at(x + 2 * k * dash, middle).of_size(dash as u32, thick);
            draw_filled_rect_mut(&mut out, at, Rgb(colour));
        }
        let lower = top + (0.2 * size) as i32;
        draw_text_mut(&mut out, Rgb(INK), x + length + pad, lower, size, &face, &text);
    }
    out
}
