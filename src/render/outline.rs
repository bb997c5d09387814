//! Irregular outlines and their exact measures. An outline is a simple polygon, in pixels.

use rand::RngExt;
use rand_pcg::Pcg64Mcg;
use std::f64::consts::{PI, TAU};

pub(super) type Point = [f64; 2];

/// A broken grain: a few straight facets, rough, sometimes with a dent, longer than wide. Its
/// centroid is the origin and its area is that of a circle of `ecd_px`.
pub(super) fn grain(ecd_px: f64, flake: bool, rng: &mut Pcg64Mcg) -> Vec<Point> {
    let count = (ecd_px * 1.6).clamp(24.0, 96.0) as usize;
    let facets = rng.random_range(6..=10_usize);
    let corners: Vec<(f64, f64)> = (0..facets)
        .map(|i| {
            let angle = (i as f64 + rng.random_range(-0.3..0.3)) / facets as f64 * TAU;
            (angle, rng.random_range(0.84..1.1))
        })
        .collect();
    let rough = if flake { 0.012 } else { rng.random_range(0.012..0.03) };
    let waves: Vec<(f64, f64, f64)> = (3..=13)
        .map(|k| {
            let k = f64::from(k);
            (k, rough * rng.random_range(0.3..1.0) * (5.0 / k).sqrt(), rng.random_range(0.0..TAU))
        })
        .collect();
    let dents: Vec<(f64, f64, f64)> = (0..rng.random_range(0..=2))
        .map(|_| (rng.random_range(0.0..TAU), rng.random_range(0.04..0.2), rng.random_range(0.15..0.4)))
        .collect();
    let u: f64 = rng.random();
    let aspect: f64 = if flake { 1.3 + 0.8 * u } else { 1.0 + 1.0 * u * u.sqrt() };
    let turn: f64 = rng.random_range(0.0..TAU);
    let (long, short) = (aspect.sqrt(), 1.0 / aspect.sqrt());
    let (sin, cos) = turn.sin_cos();

    let mut points: Vec<Point> = (0..count)
        .map(|i| {
            let angle = i as f64 / count as f64 * TAU;
            let mut r = facet_radius(&corners, angle);
            for &(k, amplitude, phase) in &waves {
                r *= 1.0 + amplitude * (k * angle + phase).cos();
            }
            for &(at, depth, width) in &dents {
                let off = (angle - at + PI).rem_euclid(TAU) - PI;
                r *= 1.0 - depth * (-(off / width).powi(2)).exp();
            }
            // Star-shaped about the origin, so it cannot cross itself.
            let (x, y) = (long * r * angle.cos(), short * r * angle.sin());
            [x * cos - y * sin, x * sin + y * cos]
        })
        .collect();

    let scale = ecd_px / ecd_of(area(&points));
    let [cx, cy] = centroid(&points);
    for p in &mut points {
        *p = [(p[0] - cx) * scale, (p[1] - cy) * scale];
    }
    points
}

/// Radius, in direction `angle`, of the polygon through the corners (angle, radius).
fn facet_radius(corners: &[(f64, f64)], angle: f64) -> f64 {
    for (i, &(a0, r0)) in corners.iter().enumerate() {
        let (a1, r1) = corners[(i + 1) % corners.len()];
        let span = (a1 - a0).rem_euclid(TAU);
        let off = (angle - a0).rem_euclid(TAU);
        if off <= span {
            return r0 * r1 * span.sin() / (r0 * off.sin() + r1 * (span - off).sin());
        }
    }
    1.0
}

fn edges(points: &[Point]) -> impl Iterator<Item = (Point, Point)> + '_ {
    points.iter().zip(points.iter().cycle().skip(1)).map(|(&a, &b)| (a, b))
}

fn cross(a: Point, b: Point) -> f64 {
    a[0] * b[1] - a[1] * b[0]
}

fn sub(a: Point, b: Point) -> Point {
    [a[0] - b[0], a[1] - b[1]]
}

/// Area by the shoelace formula.
pub(super) fn area(points: &[Point]) -> f64 {
    (0.5 * edges(points).map(|(a, b)| cross(a, b)).sum::<f64>()).abs()
}

/// Diameter of the circle with this area.
pub(super) fn ecd_of(area: f64) -> f64 {
    (4.0 * area / PI).sqrt()
}

pub(super) fn centroid(points: &[Point]) -> Point {
    let (mut x, mut y, mut twice) = (0.0, 0.0, 0.0);
    for (a, b) in edges(points) {
        let c = cross(a, b);
        x += (a[0] + b[0]) * c;
        y += (a[1] + b[1]) * c;
        twice += c;
    }
    [x / (3.0 * twice), y / (3.0 * twice)]
}

pub(super) fn perimeter(points: &[Point]) -> f64 {
    edges(points).map(|(a, b)| (a[0] - b[0]).hypot(a[1] - b[1])).sum()
}

/// Largest and smallest caliper width (Feret diameters).
pub(super) fn feret(points: &[Point]) -> (f64, f64) {
    let hull = convex_hull(points);
    let mut widest: f64 = 0.0;
    let mut narrowest = f64::INFINITY;
    for (a, b) in edges(&hull) {
        let side = sub(b, a);
        let length = side[0].hypot(side[1]);
        // The narrowest caliper lies flat on an edge of the hull.
        let mut reach: f64 = 0.0;
        for &p in &hull {
            widest = widest.max((p[0] - a[0]).hypot(p[1] - a[1]));
            reach = reach.max(cross(side, sub(p, a)).abs() / length);
        }
        narrowest = narrowest.min(reach);
    }
    (widest, narrowest)
}

/// Low and high corner of the bounding box.
pub(super) fn bounds(points: &[Point]) -> (Point, Point) {
    let mut low = [f64::INFINITY; 2];
    let mut high = [f64::NEG_INFINITY; 2];
    for p in points {
        for axis in 0..2 {
            low[axis] = low[axis].min(p[axis]);
            high[axis] = high[axis].max(p[axis]);
        }
    }
    (low, high)
}

/// Convex hull by monotone chain.
pub(super) fn convex_hull(points: &[Point]) -> Vec<Point> {
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    sorted.dedup();
    let mut hull: Vec<Point> = Vec::with_capacity(sorted.len() + 1);
    let mut chain = |walk: &mut dyn Iterator<Item = Point>| {
        let start = hull.len();
        for p in walk {
            while hull.len() >= start + 2
                && cross(sub(hull[hull.len() - 1], hull[hull.len() - 2]), sub(p, hull[hull.len() - 2])) <= 0.0
            {
                hull.pop();
            }
            hull.push(p);
        }
        hull.pop();
    };
    chain(&mut sorted.iter().copied());
    chain(&mut sorted.iter().rev().copied());
    hull
}

/// How far `guest` (at offset `from` of the host) can slide along the unit vector `dir` before it
/// meets `host`; `None` when it would pass by.
pub(super) fn slide_to_contact(host: &[Point], guest: &[Point], from: Point, dir: Point) -> Option<f64> {
    let moved: Vec<Point> = guest.iter().map(|p| [p[0] + from[0], p[1] + from[1]]).collect();
    // Contact is always between a corner of one and a side of the other.
    let ahead = moved.iter().filter_map(|&p| ray_hit(p, dir, host));
    let behind = host.iter().filter_map(|&p| ray_hit(p, [-dir[0], -dir[1]], &moved));
    ahead.chain(behind).min_by(f64::total_cmp)
}

/// Distance along a ray to the first side it meets.
fn ray_hit(p: Point, dir: Point, polygon: &[Point]) -> Option<f64> {
    let mut best: Option<f64> = None;
    for (a, b) in edges(polygon) {
        let side = sub(b, a);
        let turn = cross(dir, side);
        if turn == 0.0 {
            continue;
        }
        let to = sub(a, p);
        let along = cross(to, side) / turn;
        let share = cross(to, dir) / turn;
        if along >= 0.0 && (0.0..=1.0).contains(&share) && best.is_none_or(|d| along < d) {
            best = Some(along);
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::super::noise::{Job, rng};
    use super::*;

    #[test]
    fn grain_has_exactly_the_drawn_area_and_sane_shape() {
        for i in 0..400_u32 {
            let mut rng = rng(3, Job::Outline, u64::from(i));
            let ecd = 1.5 + f64::from(i) * 0.3;
            let points = grain(ecd, i % 9 == 0, &mut rng);
            assert!((24..=96).contains(&points.len()));
            assert!((ecd_of(area(&points)) / ecd - 1.0).abs() < 1e-9);
            let c = centroid(&points);
            assert!(c[0].abs() < 1e-9 * ecd && c[1].abs() < 1e-9 * ecd);
            let (widest, narrowest) = feret(&points);
            assert!(narrowest < widest && widest >= ecd);
            assert!(widest / narrowest < 2.7, "{}", widest / narrowest);
            assert!(perimeter(&points) > PI * ecd);
        }
    }

    #[test]
    fn feret_of_known_polygons() {
        let rectangle = [[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0]];
        let (widest, narrowest) = feret(&rectangle);
        assert!((widest - 5.0).abs() < 1e-12 && (narrowest - 3.0).abs() < 1e-12);
        assert!((perimeter(&rectangle) - 14.0).abs() < 1e-12);
        // A dent changes area and perimeter but no caliper width.
        let dented = [[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [2.0, 1.0], [0.0, 3.0]];
        assert_eq!(feret(&dented), (widest, narrowest));
        assert!((area(&dented) - 8.0).abs() < 1e-12);
        let triangle = [[0.0, 0.0], [2.0, 0.0], [1.0, 3.0_f64.sqrt()]];
        let (widest, narrowest) = feret(&triangle);
        assert!((widest - 2.0).abs() < 1e-12 && (narrowest - 3.0_f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn sliding_stops_at_the_outline() {
        let square = [[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]];
        let d = slide_to_contact(&square, &square, [10.0, 0.5], [-1.0, 0.0]).unwrap();
        assert!((d - 8.0).abs() < 1e-12);
        assert!(slide_to_contact(&square, &square, [10.0, 3.0], [-1.0, 0.0]).is_none());
    }
}
