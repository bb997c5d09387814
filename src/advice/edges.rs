//! How wide edges are in each direction: motion blurs across it and not along it.

use rayon::prelude::*;

use crate::numeric::median;
use crate::particle::{Flags, Shape};
use crate::photo::Photo;

/// Largest number of particles looked at.
const MOST: usize = 80;
/// Directions, over half a turn.
const SECTORS: usize = 6;
/// Reach of a profile to either side, in blur widths.
const REACH: f64 = 3.5;

/// Width of edges in the blurriest direction over that across it; 1 when too few large particles are there to tell.
pub(super) fn anisotropy(photo: &Photo, shapes: &[Shape], sigma: f64) -> f64 {
    let mut large: Vec<&Shape> =
        shapes.iter().filter(|s| s.ecd_px() > 10.0 * sigma && !s.flags.contains(Flags::SPLIT)).collect();
    large.sort_by(|a, b| b.area.total_cmp(&a.area));
    let seen: Vec<(usize, f64)> = large.par_iter().take(MOST).flat_map_iter(|s| widths(photo, s, sigma)).collect();
    let mut widths: [Vec<f64>; SECTORS] = Default::default();
    for (sector, width) in seen {
        widths[sector].push(width);
    }
    if widths.iter().any(|w| w.len() < 12) {
        return 1.0;
    }
    let middle = widths.map(|mut w| median(&mut w).unwrap_or(1.0));
    let ratio = |k: usize| middle[k] / middle[(k + SECTORS / 2) % SECTORS];
    (0..SECTORS).map(ratio).fold(1.0, f64::max)
}

/// Sector of the normal and width of the edge, at every second point of the outline.
fn widths<'a>(photo: &'a Photo, shape: &'a Shape, sigma: f64) -> impl Iterator<Item = (usize, f64)> + 'a {
    let points = &shape.outline;
    let n = points.len();
    (0..n).step_by(2).filter_map(move |i| {
        let (a, b) = (points[(i + n - 2) % n], points[(i + 2) % n]);
        let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
        let length = dx.hypot(dy);
        let normal = [dy / length, -dx / length];
        let turn = normal[1].atan2(normal[0]).rem_euclid(std::f64::consts::PI) / std::f64::consts::PI;
        let width = width(photo, points[i], normal, sigma).filter(|_| length >= 1.0)?;
        Some(((turn * SECTORS as f64) as usize % SECTORS, width))
    })
}

/// Standard deviation of the blur that the edge at `p` shows across it: the height of the step over its steepest slope.
fn width(photo: &Photo, p: [f64; 2], normal: [f64; 2], sigma: f64) -> Option<f64> {
    const STEPS: usize = 14;
    let step = 2.0 * REACH * sigma / STEPS as f64;
    let at = |k: usize| {
        let t = -REACH * sigma + step * k as f64;
        photo.light_at([p[0] + t * normal[0], p[1] + t * normal[1]])
    };
    let profile: Vec<f64> = (0..=STEPS).map(at).collect::<Option<_>>()?;
    let height = (profile[0] + profile[1] - profile[STEPS - 1] - profile[STEPS]).abs() / 2.0;
    let steepest = profile.windows(3).map(|w| (w[2] - w[0]).abs() / (2.0 * step)).fold(0.0, f64::max);
    (steepest > 0.0 && height > 0.05).then(|| height / steepest / (2.0 * std::f64::consts::PI).sqrt())
}
