//! Outline at a level, with linear interpolation between pixel centres.

use super::territory::{Owners, is_other, is_own};
use crate::backdrop::Patch;
use crate::numeric::DisjointSets;

#[cfg(test)]
fn outline(patch: &Patch, owners: Owners<'_>, level: f32) -> Option<Vec<[f64; 2]>> {
    let area = largest_area(patch, owners, level)?;
    Some(trace(patch, owners, &area, level))
}

/// The largest area above a level, as runs and as a mask with a one-pixel margin.
pub(super) struct Area {
    width: usize,
    inside: Vec<bool>,
    /// Runs (row, first column, first column past it) of the patch, by row.
    pub runs: Vec<[usize; 3]>,
}

/// Largest area above `level`, connected by sides, among the particle's own pixels; `None` when there is none.
///
/// Holes (gloss, pale texture) stay open here; the outline runs round the outside and so takes them in.
pub(super) fn largest_area(patch: &Patch, owners: Owners<'_>, level: f32) -> Option<Area> {
    let w = patch.width;
    let mut runs: Vec<[usize; 3]> = Vec::new();
    let mut groups = DisjointSets::default();
    let mut above = 0;
    for y in 0..patch.height {
        let dark = &patch.deficit[y * w..(y + 1) * w];
        let previous = above..runs.len();
        let row_start = runs.len();
        let mut candidate = previous.start;
        let mut x = 0;
        while x < w {
            if dark[x] <= level || !is_own(owners, y * w + x) {
                x += 1;
                continue;
            }
            let x0 = x;
            while x < w && dark[x] > level && is_own(owners, y * w + x) {
                x += 1;
            }
            let this = groups.add();
            runs.push([y, x0, x]);
            while candidate < previous.end && runs[candidate][2] <= x0 {
                candidate += 1;
            }
            let mut k = candidate;
            while k < previous.end && runs[k][1] < x {
                groups.join(this, k);
                k += 1;
            }
        }
        above = row_start;
    }
    let mut size = vec![0; runs.len()];
    for i in 0..runs.len() {
        size[groups.find(i)] += runs[i][2] - runs[i][1];
    }
    let best = (0..runs.len()).max_by_key(|&i| (size[i], std::cmp::Reverse(i)))?;
    let mine: Vec<[usize; 3]> = (0..runs.len()).filter(|&i| groups.find(i) == best).map(|i| runs[i]).collect();
    let (width, height) = (w + 2, patch.height + 2);
    let mut inside = vec![false; width * height];
    for [y, x0, x1] in &mine {
        inside[(y + 1) * width + x0 + 1..(y + 1) * width + x1 + 1].fill(true);
    }
    Some(Area { width, inside, runs: mine })
}

/// Outline of the area at `level`: one point on every pixel edge that it crosses, the inside on the right hand.
///
/// Points are in patch pixels (the centre of the patch's first pixel is (0.5, 0.5)), in order round the shape. Equals
/// marching squares on the filled area (W. E. Lorensen & H. E. Cline 1987, in two dimensions).
pub(super) fn trace(patch: &Patch, owners: Owners<'_>, area: &Area, level: f32) -> Vec<[f64; 2]> {
    let w = area.width as isize;
    // Right, down, left, up.
    const STEP: [(isize, isize); 4] = [(1, 0), (0, 1), (-1, 0), (0, -1)];
    let is_inside = |x: isize, y: isize| area.inside[(y * w + x) as usize];
    let value = |x: isize, y: isize| -> f32 {
        let (u, v) = (x - 1, y - 1);
        if u < 0 || v < 0 || u >= patch.width as isize || v >= patch.height as isize {
            return 0.0;
        }
        let i = v as usize * patch.width + u as usize;
        if is_other(owners, i) { 0.0 } else { patch.deficit[i] }
    };
    let start = ((area.runs[0][1] + 1) as isize, (area.runs[0][0] + 1) as isize);
    let mut points = Vec::new();
    // The first pixel in reading order has the outside above it: walk right along its upper edge.
    let (mut x, mut y, mut heading) = (start.0, start.1, 0usize);
    loop {
        let (ox, oy) = STEP[(heading + 3) % 4];
        let (v_in, v_out) = (value(x, y), value(x + ox, y + oy));
        // Beside another particle there is no crossing: the outline then runs midway.
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

#[cfg(test)]
mod tests {
    use super::super::territory::Owner;
    use super::*;
    use crate::numeric::{normal_cdf, shoelace};

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
            let points = outline(&patch, None, 0.5).unwrap();
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
        let points = outline(&patch, None, 0.5).unwrap();
        // 8 × 8 px less the corners that the interpolation rounds.
        assert!((shoelace(&points).abs() - 64.0).abs() < 1.0, "{}", shoelace(&points));
    }

    #[test]
    fn pixels_of_a_neighbour_are_left_out() {
        let patch = patch_of(20, 10, |x, y| f64::from(u8::from((2.0..18.0).contains(&x) && (2.0..8.0).contains(&y))));
        let owner: Vec<Owner> = (0..200).map(|i| if i % 20 < 10 { Owner::Own } else { Owner::Other }).collect();
        let points = outline(&patch, Some(&owner), 0.5).unwrap();
        assert!(points.iter().all(|p| p[0] <= 10.01));
        assert!(outline(&patch, Some(&[Owner::Other; 200]), 0.5).is_none());
    }
}
