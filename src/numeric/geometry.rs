//! Closed polygons given as a list of corners `[x, y]`; the last corner joins the first. Any unit.

/// Mean of the points; not a number without any.
pub fn mean_point(points: &[[f64; 2]]) -> [f64; 2] {
    let n = points.len() as f64;
    [0, 1].map(|i| points.iter().map(|p| p[i]).sum::<f64>() / n)
}

/// Determinant of a 2 × 2 matrix given by its rows: the ratio of areas of the map, negative where it mirrors.
pub fn determinant([[a, b], [c, d]]: [[f64; 2]; 2]) -> f64 {
    a * d - b * c
}

/// Signed area enclosed by the polygon (positive where the corners run clockwise on a picture, y down).
///
/// Sums about the first corner, so that a small shape far from the origin loses no digits.
/// Source: shoelace formula. Checked on exact figures in `tests/published.rs`.
pub fn shoelace(points: &[[f64; 2]]) -> f64 {
    let Some(&[x0, y0]) = points.first() else { return 0.0 };
    let mut twice = 0.0;
    for (a, b) in pairs(points) {
        twice += (a[0] - x0) * (b[1] - y0) - (b[0] - x0) * (a[1] - y0);
    }
    0.5 * twice
}

/// Length of the closed outline.
pub fn perimeter(points: &[[f64; 2]]) -> f64 {
    pairs(points).map(|(a, b)| distance(a, b)).sum()
}

/// Distance of two points. Coordinates of pictures never overflow a square, so the slower `hypot` is not needed.
fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    let (x, y) = (b[0] - a[0], b[1] - a[1]);
    (x * x + y * y).sqrt()
}

fn pairs(points: &[[f64; 2]]) -> impl Iterator<Item = ([f64; 2], [f64; 2])> + '_ {
    (0..points.len()).map(|i| (points[i], points[(i + 1) % points.len()]))
}

/// Convex hull of `points`, in order round the shape, without collinear corners.
///
/// Source: monotone chain, A. M. Andrew (1979), Inf. Process. Lett. 9, 216–219 (from memory).
pub fn convex_hull(points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    sorted.dedup();
    if sorted.len() < 3 {
        return sorted;
    }
    let mut hull: Vec<[f64; 2]> = Vec::with_capacity(sorted.len());
    let mut half = |points: &mut dyn Iterator<Item = &[f64; 2]>| {
        let start = hull.len();
        for &p in points {
            while hull.len() >= start + 2 && cross(hull[hull.len() - 2], hull[hull.len() - 1], p) <= 0.0 {
                hull.pop();
            }
            hull.push(p);
        }
        hull.pop();
    };
    half(&mut sorted.iter());
    half(&mut sorted.iter().rev());
    hull
}

fn cross(o: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0])
}

/// Largest and smallest Feret diameter (caliper width over all directions) of a convex polygon.
///
/// The largest is the longest chord between corners, the smallest the least width across an edge.
/// Source: rotating calipers; Feret diameters as in ISO 13322-1. Checked on exact figures in `tests/published.rs`.
pub fn feret(hull: &[[f64; 2]]) -> (f64, f64) {
    match hull.len() {
        0 | 1 => return (0.0, 0.0),
        2 => return (distance(hull[0], hull[1]), 0.0),
        _ => {}
    }
    let n = hull.len();
    let (mut longest, mut narrowest) = (0.0f64, f64::INFINITY);
    let mut far = 1;
    for (i, (a, b)) in pairs(hull).enumerate() {
        let length = distance(a, b);
        while cross(a, b, hull[(far + 1) % n]) > cross(a, b, hull[far % n]) {
            far += 1;
        }
        let p = hull[far % n];
        narrowest = narrowest.min(cross(a, b, p) / length);
        // Ties in height leave two antipodal corners, so the neighbour is looked at as well.
        for q in [p, hull[(far + 1) % n]] {
            for end in [a, b] {
                longest = longest.max(distance(q, end));
            }
        }
        far = far.max(i + 2);
    }
    (longest, narrowest)
}

/// `count` points at equal steps along the closed outline, starting at its first corner.
pub fn resample_closed(points: &[[f64; 2]], count: usize) -> Vec<[f64; 2]> {
    let step = perimeter(points) / count as f64;
    let mut out = Vec::with_capacity(count);
    let (mut walked, mut next) = (0.0, 0.0);
    for (a, b) in pairs(points) {
        let length = distance(a, b);
        while next <= walked + length && out.len() < count {
            let t = if length > 0.0 { (next - walked) / length } else { 0.0 };
            out.push([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]);
            next += step;
        }
        walked += length;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn turned(points: &[[f64; 2]], angle: f64) -> Vec<[f64; 2]> {
        let (s, c) = angle.sin_cos();
        points.iter().map(|p| [c * p[0] - s * p[1] + 7e4, s * p[0] + c * p[1] - 3e4]).collect()
    }

    #[test]
    fn feret_of_a_square_is_its_diagonal_and_its_side_at_any_angle() {
        let square = [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0], [0.5, 0.5]];
        for i in 0..24 {
            let (max, min) = feret(&convex_hull(&turned(&square, 0.3 * i as f64)));
            assert!((max - 2f64.sqrt()).abs() < 1e-9, "{max}");
            assert!((min - 1.0).abs() < 1e-9, "{min}");
        }
    }

    #[test]
    fn area_is_the_same_far_from_the_origin() {
        let l = [[0.0, 0.0], [2.0, 0.0], [2.0, 1.0], [1.0, 1.0], [1.0, 2.0], [0.0, 2.0]];
        assert!((shoelace(&turned(&l, 1.1)) - 3.0).abs() < 1e-9);
        assert!((shoelace(&convex_hull(&turned(&l, 1.1))) - 3.5).abs() < 1e-9);
    }

    #[test]
    fn resampling_keeps_the_outline() {
        let square = [[0.0, 0.0], [8.0, 0.0], [8.0, 8.0], [0.0, 8.0]];
        let points = resample_closed(&square, 32);
        assert_eq!(points.len(), 32);
        assert!((shoelace(&points) - 64.0).abs() < 1e-9);
    }

    #[test]
    fn brute_force_agrees_with_the_calipers() {
        let mut draws = crate::numeric::Draws::new(3, 0);
        for _ in 0..200 {
            let cloud: Vec<[f64; 2]> = (0..12).map(|_| [draws.uniform() * 5.0, draws.uniform()]).collect();
            let hull = convex_hull(&cloud);
            let (max, min) = feret(&hull);
            let mut longest = 0.0f64;
            for p in &cloud {
                for q in &cloud {
                    longest = longest.max((p[0] - q[0]).hypot(p[1] - q[1]));
                }
            }
            let narrowest = pairs(&hull)
                .map(|(a, b)| {
                    let length = (b[0] - a[0]).hypot(b[1] - a[1]);
                    hull.iter().map(|&p| cross(a, b, p) / length).fold(0.0, f64::max)
                })
                .fold(f64::INFINITY, f64::min);
            assert!((max - longest).abs() < 1e-12, "{max} {longest}");
            assert!((min - narrowest).abs() < 1e-12, "{min} {narrowest}");
        }
    }
}
