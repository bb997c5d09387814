//! A quick look at the outline of a core: without a notch it is one particle.

use super::label::Run;
use super::split::WAIST;

/// Notch that the stairs of pixels alone leave, px.
const STAIRS_PX: f64 = 0.5;

/// Notch that a speck of 2 px radius leaves on a large particle, px.
const SPECK_NOTCH_PX: f64 = 1.9;

/// True when the outline of the core has a notch as deep as two particles of its area leave where they meet.
///
/// Circles with the radii R and r ≤ R whose waist is [`WAIST`]·r leave 2Rr/(R + r) − [`WAIST`]·r: least for two of a
/// size, or for the smallest speck that counts.
pub(super) fn is_notched(runs: &[Run], area: usize, sides: &mut [Vec<[f64; 2]>; 2]) -> bool {
    let equal = (1.0 - f64::from(WAIST)) * (0.5 * area as f64 / std::f64::consts::PI).sqrt();
    let wanted = equal.clamp(STAIRS_PX, SPECK_NOTCH_PX);
    for (side, sign) in sides.iter_mut().zip([1.0, -1.0]) {
        side.clear();
        for run in runs {
            let x = if sign > 0.0 { f64::from(run.x0) } else { -f64::from(run.x1) };
            match side.last_mut() {
                // A second run in a row is a notch from above or below, or a hole.
                Some(last) if last[0] == f64::from(run.y) => return true,
                _ => side.push([f64::from(run.y), x]),
            }
        }
        if deepest_notch(side) >= wanted {
            return true;
        }
    }
    false
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
