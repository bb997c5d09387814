//! Exact coverage of pixels by a polygon.

use super::outline::{Point, bounds};
use std::ops::Range;

/// Coverage of a box of pixels, each 0..=1.
pub(super) struct Patch {
    /// Column and row of the first pixel in the picture; may be negative.
    pub left: i64,
    pub top: i64,
    pub width: usize,
    pub height: usize,
    pub cover: Vec<f32>,
}

impl Patch {
    /// Coverage of the pixel that holds the point.
    pub(super) fn at(&self, x: f32, y: f32) -> f32 {
        let (column, row) = (x as i64 - self.left, y as i64 - self.top);
        let inside = (0..self.width as i64).contains(&column) && (0..self.height as i64).contains(&row);
        if inside { self.cover[row as usize * self.width + column as usize] } else { 0.0 }
    }
}

/// Covers the pixels of the polygon's bounding box. Each side leaves in its pixel the area to its
/// right, signed by its direction; a running sum along the row gives the area inside.
pub(super) fn cover(points: &[Point], x: f64, y: f64, low: Point, high: Point) -> Patch {
    let (left, top) = (low[0].floor(), low[1].floor());
    let width = (high[0].ceil() - left) as usize + 1;
    let height = (high[1].ceil() - top) as usize;
    let stride = width + 2;
    let mut sums = vec![0.0_f64; stride * height];
    for (i, a) in points.iter().enumerate() {
        let b = points[(i + 1) % points.len()];
        let a = [a[0] + x - left, a[1] + y - top];
        side(&mut sums, stride, a, [b[0] + x - left, b[1] + y - top]);
    }
    let mut cover = Vec::with_capacity(width * height);
    for row in sums.chunks_exact(stride) {
        let mut inside = 0.0;
        cover.extend(row[..width].iter().map(|s| {
            inside += s;
            inside.abs().min(1.0) as f32
        }));
    }
    Patch { left: left as i64, top: top as i64, width, height, cover }
}

/// Covers the pixels of a window only, for polygons that may be far larger than it.
pub(super) fn cover_within(points: &[Point], columns: Range<usize>, rows: Range<usize>) -> Option<Patch> {
    let mut polygon = points.to_vec();
    for (axis, range) in [columns, rows].into_iter().enumerate() {
        polygon = cut(&polygon, axis, range.start as f64, 1.0);
        polygon = cut(&polygon, axis, range.end as f64, -1.0);
    }
    if polygon.len() < 3 {
        return None;
    }
    let (low, high) = bounds(&polygon);
    Some(cover(&polygon, 0.0, 0.0, low, high))
}

/// Part of a polygon where a coordinate is above (`sign` 1) or below (-1) a limit, by the method of
/// Sutherland and Hodgman. Sides laid along the limit there and back add nothing to the area.
fn cut(polygon: &[Point], axis: usize, limit: f64, sign: f64) -> Vec<Point> {
    let mut kept = Vec::with_capacity(polygon.len() + 4);
    for (i, &a) in polygon.iter().enumerate() {
        let b = polygon[(i + 1) % polygon.len()];
        let (da, db) = (sign * (a[axis] - limit), sign * (b[axis] - limit));
        if da >= 0.0 {
            kept.push(a);
        }
        if (da >= 0.0) != (db >= 0.0) {
            let share = da / (da - db);
            let mut at = [a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share];
            at[axis] = limit;
            kept.push(at);
        }
    }
    kept
}

fn side(sums: &mut [f64], stride: usize, a: Point, b: Point) {
    if a[1] == b[1] {
        return;
    }
    let (sign, a, b) = if a[1] < b[1] { (1.0, a, b) } else { (-1.0, b, a) };
    let slope = (b[0] - a[0]) / (b[1] - a[1]);
    let mut x = a[0];
    for (row, sums) in sums.chunks_exact_mut(stride).enumerate().skip(a[1] as usize) {
        let row = row as f64;
        if row >= b[1] {
            break;
        }
        let dy = b[1].min(row + 1.0) - a[1].max(row);
        let next = x + slope * dy;
        let (x0, x1) = if x < next { (x, next) } else { (next, x) };
        let (first, last) = (x0.max(0.0) as usize, x1.max(0.0) as usize);
        // Within each column crossed the side is straight: its share of height goes to the area
        // right of its middle.
        for column in first..=last.min(stride - 2) {
            let (from, to) = (x0.max(column as f64), x1.min(column as f64 + 1.0));
            let share = if x1 > x0 { ((to - from) / (x1 - x0)).max(0.0) } else { 1.0 };
            let part = sign * dy * share;
            let middle = (0.5 * (from + to) - column as f64).clamp(0.0, 1.0);
            sums[column] += part * (1.0 - middle);
            sums[column + 1] += part * middle;
        }
        x = next;
    }
}

#[cfg(test)]
mod tests {
    use super::super::noise::{Job, rng};
    use super::super::outline::{area, grain};
    use super::*;

    #[test]
    fn cover_sums_to_the_area_wherever_it_lies() {
        for i in 0..50_u32 {
            let points = grain(3.0 + f64::from(i), false, &mut rng(5, Job::Outline, u64::from(i)));
            let (x, y) = (10.0 + 0.137 * f64::from(i), -3.0 + 0.61 * f64::from(i));
            let r = 3.0 * (3.0 + f64::from(i));
            let patch = cover(&points, x, y, [x - r, y - r], [x + r, y + r]);
            let sum: f64 = patch.cover.iter().map(|&c| f64::from(c)).sum();
            assert!((sum / area(&points) - 1.0).abs() < 1e-5, "{sum}");
            let shift: f64 = patch
                .cover
                .iter()
                .enumerate()
                .map(|(k, &c)| f64::from(c) * ((k % patch.width) as f64 + 0.5 + patch.left as f64))
                .sum();
            // The mean place of the cover is the centroid, in the picture's own coordinates.
            assert!((shift / sum - x).abs() < 0.02);
        }
    }

    #[test]
    fn half_covered_pixels_are_half() {
        let square = [[0.5, 0.5], [2.5, 0.5], [2.5, 2.5], [0.5, 2.5]];
        let patch = cover(&square, 0.0, 0.0, [0.5, 0.5], [2.5, 2.5]);
        assert_eq!(patch.cover[..3], [0.25, 0.5, 0.25]);
        assert_eq!(patch.cover[patch.width..patch.width + 3], [0.5, 1.0, 0.5]);
    }

    #[test]
    fn a_window_shows_what_is_in_it() {
        let points: Vec<Point> =
            grain(40.0, false, &mut rng(5, Job::Outline, 7)).iter().map(|p| [p[0] + 10.0, p[1] + 5.0]).collect();
        let (low, high) = bounds(&points);
        let whole = cover(&points, 0.0, 0.0, low, high);
        let part = cover_within(&points, 0..20, 3..17).unwrap();
        for y in 0..30 {
            for x in 0..40 {
                let at = (x as f32 + 0.5, y as f32 + 0.5);
                let asked = if (0..20).contains(&x) && (3..17).contains(&y) { whole.at(at.0, at.1) } else { 0.0 };
                assert!((part.at(at.0, at.1) - asked).abs() < 1e-6, "{x} {y}");
            }
        }
        assert!(cover_within(&points, 200..300, 0..20).is_none());
    }
}
