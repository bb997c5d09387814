//! Outline at a level, with linear interpolation between pixel centres.

use crate::backdrop::Patch;
use crate::segment::{Run, RunGroups, Touch, runs_above};

/// Runs of the pixels of the box `x0..x1`, `y0..y1` of the patch that lie above `level`, by row; in patch pixels.
pub(super) fn runs_in(patch: &Patch, [x0, y0, x1, y1]: [usize; 4], level: f32, runs: &mut Vec<Run>) {
    runs.clear();
    for y in y0..y1 {
        runs_above(&patch.row(y)[x0..x1], x0, y, level, runs);
    }
}

/// Walks round areas, with room that it keeps from one to the next.
#[derive(Default)]
pub(super) struct Contour {
    groups: RunGroups,
    size: Vec<usize>,
    /// Pixels of the area, with a margin of one.
    inside: Vec<bool>,
}

impl Contour {
    /// Keeps those of `runs` that belong to the largest area, connected by sides; false when there are none.
    ///
    /// Holes (gloss, pale texture) stay open here; the outline runs round the outside and so takes them in.
    pub fn keep_largest(&mut self, patch: &Patch, runs: &mut Vec<Run>) -> bool {
        let (count, labels) = self.groups.label(runs, Touch::Sides);
        self.size.clear();
        self.size.resize(count, 0);
        for (run, &label) in runs.iter().zip(labels) {
            self.size[label as usize] += run.len();
        }
        let Some(best) = (0..count).max_by_key(|&i| (self.size[i], std::cmp::Reverse(i))) else { return false };
        if count > 1 {
            let mut label = labels.iter();
            runs.retain(|_| label.next() == Some(&(best as u32)));
        }
        let width = patch.width + 2;
        self.inside.clear();
        self.inside.resize(width * (patch.height + 2), false);
        for run in runs {
            let row = (run.y as usize + 1) * width + 1;
            self.inside[row + run.x0 as usize..row + run.x1 as usize].fill(true);
        }
        true
    }

    /// Outline of the area of [`Contour::keep_largest`], whose first run is `first`, at `level`: one point on every
    /// pixel edge that it crosses, the inside on the right hand.
    ///
    /// Points are in patch pixels (the centre of the patch's first pixel is (0.5, 0.5)), in order round the shape.
    /// Equals marching squares on the filled area (W. E. Lorensen & H. E. Cline 1987, in two dimensions).
    pub fn trace(&self, patch: &Patch, first: Run, level: f32) -> Vec<[f64; 2]> {
        let w = patch.width as isize + 2;
        // Right, down, left, up.
        const STEP: [(isize, isize); 4] = [(1, 0), (0, 1), (-1, 0), (0, -1)];
        let is_inside = |x: isize, y: isize| self.inside[(y * w + x) as usize];
        let value = |x: isize, y: isize| -> f32 {
            let (u, v) = (x - 1, y - 1);
            let within = u >= 0 && v >= 0 && u < patch.width as isize && v < patch.height as isize;
            if within { patch.deficit[v as usize * patch.width + u as usize] } else { 0.0 }
        };
        let start = (first.x0 as isize + 1, first.y as isize + 1);
        let mut points = Vec::new();
        // The first pixel in reading order has the outside above it: walk right along its upper edge.
        let (mut x, mut y, mut heading) = (start.0, start.1, 0usize);
        loop {
            let (ox, oy) = STEP[(heading + 3) % 4];
            let (v_in, v_out) = (value(x, y), value(x + ox, y + oy));
            let t = if v_in > level && v_out < level { f64::from((v_in - level) / (v_in - v_out)) } else { 0.5 };
            points.push([x as f64 - 0.5 + t * ox as f64, y as f64 - 0.5 + t * oy as f64]);
            let (dx, dy) = STEP[heading];
            if is_inside(x + dx + ox, y + dy + oy) && is_inside(x + dx, y + dy) {
                (x, y) = (x + dx + ox, y + dy + oy);
                heading = (heading + 3) % 4;
            } else if is_inside(x + dx, y + dy) {
                (x, y) = (x + dx, y + dy);
            } else {
                heading = (heading + 1) % 4;
            }
            if (x, y) == start && heading == 0 {
                return points;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::{normal_cdf, shoelace};

    fn outline(patch: &Patch, level: f32) -> Option<Vec<[f64; 2]>> {
        let mut contour = Contour::default();
        let mut runs = Vec::new();
        runs_in(patch, [0, 0, patch.width, patch.height], level, &mut runs);
        contour.keep_largest(patch, &mut runs).then(|| contour.trace(patch, runs[0], level))
    }

    fn patch_of(width: usize, height: usize, f: impl Fn(f64, f64) -> f64) -> Patch {
        let deficit =
            (0..width * height).map(|i| f((i % width) as f64 + 0.5, (i / width) as f64 + 0.5) as f32).collect();
        Patch { x0: 0, y0: 0, width, height, deficit }
    }

    #[test]
    fn a_soft_disc_is_outlined_to_a_hundredth_of_a_pixel_wherever_it_lies() {
        for i in 0..16 {
            let (cx, cy) = (20.0 + f64::from(i % 4) * 0.25, 20.0 + f64::from(i / 4) * 0.25);
            let patch = patch_of(41, 41, |x, y| normal_cdf(12.0 - (x - cx).hypot(y - cy)));
            let points = outline(&patch, 0.5).unwrap();
            let radius = (shoelace(&points).abs() / std::f64::consts::PI).sqrt();
            assert!((radius - 12.0).abs() < 0.02, "{radius}");
            let ends = points.iter().fold((f64::MAX, f64::MIN), |e, p| (e.0.min(p[0]), e.1.max(p[0])));
            assert!((0.5 * (ends.0 + ends.1) - cx).abs() < 0.02, "{ends:?} {cx}");
        }
    }

    #[test]
    fn a_pale_spot_inside_is_filled_and_one_at_the_corner_of_two_pixels_does_not_leak() {
        let patch = patch_of(12, 12, |x, y| {
            let hole = (5.0..7.0).contains(&x) && (5.0..7.0).contains(&y);
            f64::from(u8::from((2.0..10.0).contains(&x) && (2.0..10.0).contains(&y) && !hole))
        });
        let points = outline(&patch, 0.5).unwrap();
        // 8 × 8 px less the corners that the interpolation rounds.
        assert!((shoelace(&points).abs() - 64.0).abs() < 1.0, "{}", shoelace(&points));
    }

    #[test]
    fn only_the_largest_area_is_outlined() {
        let patch = patch_of(20, 10, |x, y| {
            let large = (2.0..9.0).contains(&x) && (2.0..8.0).contains(&y);
            // Touches the large one by a corner only.
            let small = (9.0..15.0).contains(&x) && (8.0..10.0).contains(&y);
            f64::from(u8::from(large || small))
        });
        let points = outline(&patch, 0.5).unwrap();
        assert!(points.iter().all(|p| p[0] <= 9.01 && p[1] <= 8.01));
        assert!(outline(&patch, 1.5).is_none());
    }
}
