//! Moves an outline to the steepest place of the edge, which shade beside the particle does not displace.

use super::territory::{Owners, is_other};
use crate::backdrop::Patch;

/// Width of the kernel that looks for the steepest place, in blur widths: wide enough against noise, narrow enough
/// that the slow fall of a contact shadow does not pull.
pub(super) const SEARCH_WIDTH: f64 = 0.8;

/// Distances outside the edge at which shade is read, in blur widths (half a pixel is added): beyond the blurred edge.
const RING: [f64; 2] = [2.0, 3.5];

/// Step of the profiles across the edge, px: a third of the narrowest blur that pixels allow.
const STEP_PX: f64 = 0.4;

/// Readings round a particle by direction of the outward normal: eight sectors, the first to the right, then clockwise
/// on the picture; `None` where the outline faces no such direction.
pub(super) type Ring = [Option<f64>; 8];

/// Sector of [`Ring`] that an outward direction falls into.
pub(super) fn sector([x, y]: [f64; 2]) -> usize {
    // tan 22.5°: the border between a side and a corner sector.
    const BORDER: f64 = std::f64::consts::SQRT_2 - 1.0;
    let (across, down) = (x.abs(), y.abs());
    match (down < BORDER * across, across < BORDER * down, x >= 0.0, y >= 0.0) {
        (true, _, true, _) => 0,
        (true, _, false, _) => 4,
        (_, true, _, true) => 2,
        (_, true, _, false) => 6,
        (_, _, true, true) => 1,
        (_, _, false, true) => 3,
        (_, _, false, false) => 5,
        (_, _, true, false) => 7,
    }
}

/// An outline moved to the steepest edge, with what lies round it.
pub(super) struct Edge {
    pub points: Vec<[f64; 2]>,
    /// Mean shade where it meets the edge.
    pub ring: Ring,
    /// Mean fall of the deficit over 2 × [`STEP_PX`] at the steepest place.
    pub fall: Ring,
}

/// Moves each point of the closed outline `points` (patch pixels, steps of about one pixel) along its normal to the
/// steepest place of the profile; points beside another particle stay.
pub(super) fn to_steepest(patch: &Patch, owners: Owners<'_>, points: &[[f64; 2]], sigma: f64, radius: f64) -> Edge {
    let n = points.len();
    let kernel = SEARCH_WIDTH * sigma;
    // Search ± this far; a half-level outline lies within a pixel or so of the edge even in hard shade.
    let reach = 1.2 * sigma + 0.8;
    let half = (reach / STEP_PX).ceil() as usize;
    let skirt = (2.5 * kernel / STEP_PX).ceil() as usize;
    let samples = 2 * (half + skirt) + 1;
    let normals = normals(points);
    let mut profiles = vec![0.0f32; n * samples];
    for (i, (p, normal)) in points.iter().zip(&normals).enumerate() {
        let start = -((half + skirt) as f64) * STEP_PX;
        sample_line(
            patch,
            [p[0] + start * normal[0], p[1] + start * normal[1]],
            [STEP_PX * normal[0], STEP_PX * normal[1]],
            &mut profiles[i * samples..(i + 1) * samples],
        );
    }
    let profiles = smooth_along(&profiles, n, samples, (0.2 * radius).clamp(0.7, 2.5));
    // Response to the derivative of a Gaussian: positive where the deficit falls outwards.
    let weights: Vec<f32> = (0..=skirt)
        .map(|k| {
            let u = k as f64 * STEP_PX;
            (u * (-0.5 * (u / kernel).powi(2)).exp()) as f32
        })
        .collect();
    let mut response = vec![0.0f32; 2 * half + 1];
    let mut ring = [(0.0, 0.0, 0u32); 8];
    let points: Vec<[f64; 2]> = points
        .iter()
        .zip(&normals)
        .enumerate()
        .map(|(i, (p, normal))| {
            let beyond = [p[0] + (1.5 * sigma + 0.5) * normal[0], p[1] + (1.5 * sigma + 0.5) * normal[1]];
            if beside_other(patch, owners, beyond) {
                return *p;
            }
            let profile = &profiles[i * samples..(i + 1) * samples];
            for (j, r) in response.iter_mut().enumerate() {
                let centre = j + skirt;
                *r = (1..=skirt).map(|k| weights[k] * (profile[centre - k] - profile[centre + k])).sum();
            }
            let best = peak(&response);
            let shift = best * STEP_PX - half as f64 * STEP_PX;
            let outside =
                |s: f64| f64::from(bilinear(patch, p[0] + (shift + s) * normal[0], p[1] + (shift + s) * normal[1]));
            let sum = &mut ring[sector(*normal)];
            sum.0 += at_contact(outside(RING[0] * sigma + 0.5), outside(RING[1] * sigma + 0.5), sigma);
            let at = (best.round() as usize).clamp(1, 2 * half - 1) + skirt;
            sum.1 += f64::from(profile[at - 1] - profile[at + 1]);
            sum.2 += 1;
            [p[0] + shift * normal[0], p[1] + shift * normal[1]]
        })
        .collect();
    let fall = ring.map(|(_, sum, n)| (n > 0).then(|| sum / f64::from(n)));
    let ring = ring.map(|(sum, _, n)| (n > 0).then(|| sum / f64::from(n)));
    Edge { points, ring, fall }
}

/// Shade at the edge itself, from the deficits `near` and `far` out on the ring: shadows fade with distance, so the line
/// through both is followed back, by a quarter at most.
fn at_contact(near: f64, far: f64, sigma: f64) -> f64 {
    let slope = (near - far) / ((RING[1] - RING[0]) * sigma);
    near + (slope * (RING[0] * sigma + 0.5)).clamp(0.0, 0.25 * near.max(0.0))
}

/// Position of the largest response, by a parabola through it and its neighbours.
fn peak(response: &[f32]) -> f64 {
    let best = (0..response.len()).max_by(|&a, &b| response[a].total_cmp(&response[b])).unwrap_or(0);
    if best == 0 || best + 1 == response.len() {
        // No peak within reach: leave the point where it was.
        return (response.len() / 2) as f64;
    }
    let (a, b, c) = (f64::from(response[best - 1]), f64::from(response[best]), f64::from(response[best + 1]));
    let bend = a - 2.0 * b + c;
    best as f64 + if bend < 0.0 { 0.5 * (a - c) / bend } else { 0.0 }
}

/// Outward unit normals, from the chord over two points to each side.
fn normals(points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let n = points.len();
    // The outline runs with the inside on its right hand (y down), so outwards is to the left of its heading.
    (0..n)
        .map(|i| {
            let (a, b) = (points[(i + n - 2) % n], points[(i + 2) % n]);
            let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
            let length = (dx * dx + dy * dy).sqrt().max(1e-9);
            [dy / length, -dx / length]
        })
        .collect()
}

fn smooth_along(profiles: &[f32], n: usize, samples: usize, width: f64) -> Vec<f32> {
    let reach = ((2.0 * width).ceil() as usize).min(n / 2);
    let weights: Vec<f32> = (0..=reach).map(|k| (-0.5 * (k as f64 / width).powi(2)).exp() as f32).collect();
    let total: f32 = weights[0] + 2.0 * weights[1..].iter().sum::<f32>();
    let mut out = vec![0.0f32; profiles.len()];
    for i in 0..n {
        let target = &mut out[i * samples..(i + 1) * samples];
        let mut add = |j: usize, w: f32| {
            for (t, v) in target.iter_mut().zip(&profiles[j * samples..(j + 1) * samples]) {
                *t += w * v;
            }
        };
        add(i, weights[0] / total);
        for (k, w) in weights.iter().enumerate().skip(1) {
            add((i + k) % n, w / total);
            add((i + n - k) % n, w / total);
        }
    }
    out
}

/// Deficits at `out.len()` points from `start` on in steps of `step`, between pixels by bilinear interpolation.
fn sample_line(patch: &Patch, start: [f64; 2], step: [f64; 2], out: &mut [f32]) {
    let last = (out.len() - 1) as f64;
    let inside = |p: f64, size: usize| p >= 0.5 && p < size as f64 - 0.6;
    let ends = [start, [start[0] + last * step[0], start[1] + last * step[1]]];
    if !ends.iter().all(|e| inside(e[0], patch.width) && inside(e[1], patch.height)) {
        for (k, v) in out.iter_mut().enumerate() {
            *v = bilinear(patch, start[0] + k as f64 * step[0], start[1] + k as f64 * step[1]);
        }
        return;
    }
    // Well inside the patch no point needs to be held back at its border.
    let (mut x, mut y) = ((start[0] - 0.5) as f32, (start[1] - 0.5) as f32);
    let (dx, dy) = (step[0] as f32, step[1] as f32);
    for v in out {
        let (ix, iy) = (x as u32 as usize, y as u32 as usize);
        let (tx, ty) = (x - ix as f32, y - iy as f32);
        let at = iy * patch.width + ix;
        let (upper, lower) = (&patch.deficit[at..at + 2], &patch.deficit[at + patch.width..at + patch.width + 2]);
        let (a, b) = (upper[0] + tx * (upper[1] - upper[0]), lower[0] + tx * (lower[1] - lower[0]));
        *v = a + ty * (b - a);
        x += dx;
        y += dy;
    }
}

fn bilinear(patch: &Patch, x: f64, y: f64) -> f32 {
    let (x, y) = ((x - 0.5).clamp(0.0, patch.width as f64 - 1.0), (y - 0.5).clamp(0.0, patch.height as f64 - 1.0));
    let (ix, iy) = ((x as usize).min(patch.width.max(2) - 2), (y as usize).min(patch.height.max(2) - 2));
    let (tx, ty) = ((x - ix as f64) as f32, (y - iy as f64) as f32);
    let upper = patch.at(ix, iy) * (1.0 - tx) + patch.at(ix + 1, iy) * tx;
    let lower = patch.at(ix, iy + 1) * (1.0 - tx) + patch.at(ix + 1, iy + 1) * tx;
    upper * (1.0 - ty) + lower * ty
}

/// True when the point lies on another particle's pixel.
fn beside_other(patch: &Patch, owners: Owners<'_>, p: [f64; 2]) -> bool {
    if owners.is_none() {
        return false;
    }
    let (x, y) = (p[0].floor(), p[1].floor());
    let inside = x >= 0.0 && y >= 0.0 && x < patch.width as f64 && y < patch.height as f64;
    inside && is_other(owners, y as usize * patch.width + x as usize)
}

#[cfg(test)]
mod tests {
    use super::sector;

    #[test]
    fn sectors_go_round_clockwise_from_the_right() {
        for k in 0..16u32 {
            let (sin, cos) = (f64::from(k) * std::f64::consts::FRAC_PI_8 + 0.01).sin_cos();
            assert_eq!(sector([cos, sin]), (k.div_ceil(2) % 8) as usize, "{k}");
        }
    }
}
