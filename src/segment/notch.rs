//! A quick look at the outline of a core: without a notch it is one particle.

use super::label::{Run, bounds};
use super::split::WAIST;

/// Notch that the stairs of pixels alone leave, px.
const STAIRS_PX: f64 = 0.7;

/// Notch that a speck of 2 px radius leaves on a large particle, px.
const SPECK_NOTCH_PX: f64 = 1.9;

/// The outline of a core as it is seen from its four sides: room that is kept from one to the next.
#[derive(Default)]
pub(super) struct Sides {
    points: Vec<[f64; 2]>,
    /// First and last row of each column.
    top: Vec<u32>,
    bottom: Vec<u32>,
}

/// True when the outline of the core has a notch as deep as two particles of its area leave where they meet.
///
/// Circles with the radii R and r ≤ R whose waist is [`WAIST`]·r leave 2Rr/(R + r) − [`WAIST`]·r: least for two of a
/// size, or for the smallest speck that counts.
pub(super) fn is_notched(runs: &[Run], area: usize, sides: &mut Sides) -> bool {
    let equal = (1.0 - f64::from(WAIST)) * (0.5 * area as f64 / std::f64::consts::PI).sqrt();
    let wanted = equal.clamp(STAIRS_PX, SPECK_NOTCH_PX);
    let [x0, _, x1, _] = bounds(runs);
    // First and last pixel of every row and of every column; what is missing between them is a hole.
    let Sides { points, top, bottom } = sides;
    top.clear();
    top.resize(x1 - x0, u32::MAX);
    bottom.clear();
    bottom.resize(x1 - x0, 0);
    for run in runs {
        let columns = run.x0 as usize - x0..run.x1 as usize - x0;
        top[columns.clone()].iter_mut().for_each(|y| *y = run.y.min(*y));
        bottom[columns].fill(run.y + 1);
    }
    let rows = || runs.chunk_by(|a, b| a.y == b.y);
    let mut deep = |side: &mut dyn Iterator<Item = [f64; 2]>| {
        points.clear();
        points.extend(side);
        deepest_notch(points) >= wanted
    };
    deep(&mut rows().map(|row| [f64::from(row[0].y), f64::from(row[0].x0)]))
        || deep(&mut rows().map(|row| [f64::from(row[0].y), -f64::from(row[row.len() - 1].x1)]))
        || deep(&mut columns(top, 1.0))
        || deep(&mut columns(bottom, -1.0))
}

/// Points of a side that has a row for every column.
fn columns(rows: &[u32], sign: f64) -> impl Iterator<Item = [f64; 2]> {
    rows.iter().enumerate().map(move |(x, y)| [x as f64, sign * f64::from(*y)])
}

/// Greatest distance of the points (y, x), by rising y, from their convex hull towards smaller x.
fn deepest_notch(points: &[[f64; 2]]) -> f64 {
    let mut hull: Vec<[f64; 2]> = Vec::with_capacity(points.len());
    for &p in points {
        while let [.., a, b] = hull[..] {
            if (b[0] - a[0]) * (p[1] - a[1]) > (b[1] - a[1]) * (p[0] - a[0]) {
                break;
            }
            hull.pop();
        }
        hull.push(p);
    }
    let mut deepest = 0.0f64;
    let mut points = points.iter().peekable();
    for edge in hull.windows(2) {
        let (a, b) = (edge[0], edge[1]);
        let slope = (b[1] - a[1]) / (b[0] - a[0]);
        let mut widest = 0.0f64;
        while let Some(p) = points.next_if(|p| p[0] <= b[0]) {
            widest = widest.max(p[1] - a[1] - slope * (p[0] - a[0]));
        }
        deepest = deepest.max(widest / (1.0 + slope * slope).sqrt());
    }
    deepest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn notches_are_as_deep_as_drawn() {
        let straight: Vec<[f64; 2]> = (0..20).map(|y| [f64::from(y), 5.0 + 0.5 * f64::from(y)]).collect();
        assert!(deepest_notch(&straight) < 1e-9);
        let mut notched = straight;
        notched[8][1] += 2.0;
        assert!((deepest_notch(&notched) - 2.0 / 1.25f64.sqrt()).abs() < 1e-9);
        assert!(deepest_notch(&[[3.0, 1.0]]) == 0.0);
    }
}
