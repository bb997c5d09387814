use std::ops::Range;

/// The pixels of a polygon, as one stretch of columns for each row: from its first to its last crossing.
#[derive(Clone, Debug, PartialEq)]
pub struct Spans {
    first: usize,
    rows: Vec<Range<usize>>,
}

impl Spans {
    /// Pixels of a `width` × `height` picture whose centres lie between the outermost sides of `polygon` (px) in their row.
    pub fn of_polygon(polygon: &[[f64; 2]], width: usize, height: usize) -> Self {
        let low = polygon.iter().map(|p| p[1]).fold(f64::INFINITY, f64::min);
        let high = polygon.iter().map(|p| p[1]).fold(f64::NEG_INFINITY, f64::max);
        let first = (low - 0.5).ceil().clamp(0.0, height as f64) as usize;
        let end = ((high - 0.5).floor() + 1.0).clamp(first as f64, height as f64) as usize;
        let rows = (first..end)
            .map(|y| {
                let y = y as f64 + 0.5;
                let (mut left, mut right) = (f64::INFINITY, f64::NEG_INFINITY);
                for (i, a) in polygon.iter().enumerate() {
                    let b = polygon[(i + 1) % polygon.len()];
                    if (a[1] <= y) != (b[1] <= y) {
                        let x = a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]);
                        (left, right) = (left.min(x), right.max(x));
                    }
                }
                if left > right {
                    return 0..0;
                }
                let clamp = |x: f64| x.clamp(0.0, width as f64) as usize;
                clamp((left - 0.5).ceil())..clamp((right - 0.5).floor() + 1.0)
            })
            .collect();
        Spans { first, rows }
    }

    /// Columns of row `y`.
    pub fn columns(&self, y: usize) -> Range<usize> {
        y.checked_sub(self.first).and_then(|i| self.rows.get(i)).cloned().unwrap_or(0..0)
    }

    /// True for a pixel inside.
    pub fn contains(&self, x: usize, y: usize) -> bool {
        self.columns(y).contains(&x)
    }

    /// Number of pixels.
    pub fn area(&self) -> usize {
        self.rows.iter().map(Range::len).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_square_has_its_pixels_and_no_others() {
        let spans = Spans::of_polygon(&[[1.0, 2.0], [4.0, 2.0], [4.0, 5.0], [1.0, 5.0]], 10, 10);
        assert_eq!(spans.area(), 9);
        assert!(spans.contains(1, 2) && spans.contains(3, 4) && !spans.contains(4, 4) && !spans.contains(1, 1));
    }

    #[test]
    fn what_lies_beyond_the_picture_is_left_out() {
        let spans = Spans::of_polygon(&[[-5.0, -5.0], [30.0, -5.0], [30.0, 30.0], [-5.0, 30.0]], 10, 8);
        assert_eq!(spans.area(), 80);
        let away = Spans::of_polygon(&[[20.0, 1.0], [30.0, 1.0], [30.0, 5.0]], 10, 8);
        assert_eq!(away.area(), 0);
    }
}
