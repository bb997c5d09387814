//! Moves an outline to the steepest place of the edge, which shade beside the particle does not displace.

use crate::backdrop::Patch;
use crate::numeric::GaussKernel;

/// Width of the kernel that looks for the steepest place, in blur widths: wide enough against noise, narrow enough
/// that the slow fall of a contact shadow does not pull.
const SEARCH_WIDTH: f64 = 0.8;

/// Distances outside the edge at which shade is read, in blur widths (half a pixel is added): beyond the blurred edge.
const RING: [f64; 2] = [2.0, 3.5];

/// Step of the profiles across the edge, px: below the narrowest blur that pixels allow.
pub(super) const STEP_PX: f64 = 0.5;

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
}

/// Finds steepest edges, with room that it keeps from one particle to the next.
pub(super) struct EdgeFinder {
    sigma: f64,
    /// Samples of a profile that are searched to each side of the outline.
    half: usize,
    /// Derivative of a Gaussian 0, 1, 2 … samples from its middle.
    weights: Vec<f32>,
    normals: Vec<[f64; 2]>,
    /// One profile.
    line: Vec<f32>,
    /// All of them, by distance and then by point.
    profiles: Vec<f32>,
    /// Response at one distance, by point.
    response: Vec<f32>,
    /// The same at all distances, smoothed along the outline.
    smooth: Vec<f32>,
}

impl EdgeFinder {
    /// For photos with a blur of `sigma` px.
    pub fn new(sigma: f64) -> Self {
        let kernel = SEARCH_WIDTH * sigma;
        // Search ± this far; a half-level outline lies within a pixel or so of the edge even in hard shade.
        let half = ((1.2 * sigma + 0.8) / STEP_PX).ceil() as usize;
        let skirt = (2.5 * kernel / STEP_PX).ceil() as usize;
        let weight = |k: usize| {
            let u = k as f64 * STEP_PX;
            (u * (-0.5 * (u / kernel).powi(2)).exp()) as f32
        };
        EdgeFinder {
            sigma,
            half,
            weights: (0..=skirt).map(weight).collect(),
            normals: Vec::new(),
            line: Vec::new(),
            profiles: Vec::new(),
            response: Vec::new(),
            smooth: Vec::new(),
        }
    }

    /// Moves each point of the closed outline `points` (patch pixels, steps of about one pixel; `radius` px of a circle
    /// of its area) along its normal to the steepest place of the profile; points beside `others` stay.
    pub fn steepest(&mut self, patch: &Patch, others: Option<&[bool]>, points: &[[f64; 2]], radius: f64) -> Edge {
        let (sigma, half, skirt) = (self.sigma, self.half, self.weights.len() - 1);
        let (n, samples, searched) = (points.len(), 2 * (half + skirt) + 1, 2 * half + 1);
        find_normals(points, &mut self.normals);
        // The profiles side by side: samples at the same distance from the outline lie together, so that everything after
        // is done for many points at once.
        self.profiles.resize(samples * n, 0.0);
        self.line.resize(samples, 0.0);
        let start = -((half + skirt) as f64) * STEP_PX;
        for (i, (p, normal)) in points.iter().zip(&self.normals).enumerate() {
            sample_line(patch, along(*p, *normal, start), normal.map(|v| STEP_PX * v), &mut self.line);
            self.profiles[i..].iter_mut().step_by(n).zip(&self.line).for_each(|(to, v)| *to = *v);
        }
        let width = (0.2 * radius).clamp(0.7, 2.5);
        let kernel = GaussKernel::cut(width, ((2.0 * width).ceil() as usize).min(n / 2));
        let reach = kernel.radius();
        self.response.resize(n + 2 * reach, 0.0);
        self.smooth.resize(searched * n, 0.0);
        for (at, smooth) in self.smooth.chunks_exact_mut(n).enumerate() {
            // Response to the derivative: positive where the deficit falls outwards.
            let response = &mut self.response[reach..reach + n];
            response.fill(0.0);
            let row = |sample: usize| &self.profiles[sample * n..][..n];
            for (k, &w) in self.weights.iter().enumerate().skip(1) {
                for ((r, a), b) in response.iter_mut().zip(row(at + skirt - k)).zip(row(at + skirt + k)) {
                    *r += w * (a - b);
                }
            }
            // Smoothed with its neighbours along the outline, which is closed.
            self.response.copy_within(n..n + reach, 0);
            self.response.copy_within(reach..2 * reach, reach + n);
            kernel.smooth(smooth, |k| (&self.response[reach - k..][..n], &self.response[reach + k..][..n]));
        }
        let mut sectors = [(0.0, 0u32); 8];
        let mut moved = Vec::with_capacity(n);
        for (i, (p, normal)) in points.iter().zip(&self.normals).enumerate() {
            if others.is_some_and(|others| holds(patch, others, along(*p, *normal, 1.5 * sigma + 0.5))) {
                moved.push(*p);
                continue;
            }
            self.line.clear();
            self.line.extend(self.smooth[i..].iter().step_by(n));
            let best = peak(&self.line);
            let shift = best * STEP_PX - half as f64 * STEP_PX;
            let outside = |s: f64| {
                let [x, y] = along(*p, *normal, shift + s);
                f64::from(bilinear(patch, x, y))
            };
            let (ring, count) = &mut sectors[sector(*normal)];
            *ring += at_contact(outside(RING[0] * sigma + 0.5), outside(RING[1] * sigma + 0.5), sigma);
            *count += 1;
            moved.push(along(*p, *normal, shift));
        }
        Edge { points: moved, ring: sectors.map(|(ring, n)| (n > 0).then(|| ring / f64::from(n))) }
    }
}

/// Mean deficit across the edge at the points of `outline` whose outward normal faces `towards` within 60° (or all); from inside
/// to outside in steps of [`STEP_PX`], [`PROFILE_REACH`] blur widths to each side. `None` with fewer than ten points.
pub(super) fn mean_profile(
    patch: &Patch,
    outline: &[[f64; 2]],
    towards: Option<[f64; 2]>,
    sigma: f64,
) -> Option<Vec<f64>> {
    let half = (PROFILE_REACH * sigma / STEP_PX).ceil() as usize;
    let mut normals = Vec::new();
    find_normals(outline, &mut normals);
    let mut sum = vec![0.0; 2 * half + 1];
    let mut line = vec![0.0f32; sum.len()];
    let mut count = 0;
    for (p, n) in outline.iter().zip(&normals) {
        if towards.is_some_and(|t| n[0] * t[0] + n[1] * t[1] < 0.5) {
            continue;
        }
        sample_line(patch, along(*p, *n, -(half as f64) * STEP_PX), [STEP_PX * n[0], STEP_PX * n[1]], &mut line);
        sum.iter_mut().zip(&line).for_each(|(s, v)| *s += f64::from(*v));
        count += 1;
    }
    (count >= 10).then(|| sum.into_iter().map(|s| s / f64::from(count)).collect())
}

/// Reach of [`mean_profile`], in blur widths: beyond the blurred edge and the halo of sharpening.
const PROFILE_REACH: f64 = 4.0;

/// The point `s` px from `p` along the unit vector `n`.
fn along(p: [f64; 2], n: [f64; 2], s: f64) -> [f64; 2] {
    [p[0] + s * n[0], p[1] + s * n[1]]
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
pub(super) fn find_normals(points: &[[f64; 2]], normals: &mut Vec<[f64; 2]>) {
    let n = points.len();
    normals.clear();
    // The outline runs with the inside on its right hand (y down), so outwards is to the left of its heading.
    normals.extend((0..n).map(|i| {
        let (a, b) = (points[(i + n - 2) % n], points[(i + 2) % n]);
        let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
        let length = (dx * dx + dy * dy).sqrt().max(1e-9);
        [dy / length, -dx / length]
    }));
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

pub(super) fn bilinear(patch: &Patch, x: f64, y: f64) -> f32 {
    let (x, y) = ((x - 0.5).clamp(0.0, patch.width as f64 - 1.0), (y - 0.5).clamp(0.0, patch.height as f64 - 1.0));
    let (ix, iy) = ((x as usize).min(patch.width.max(2) - 2), (y as usize).min(patch.height.max(2) - 2));
    let (tx, ty) = ((x - ix as f64) as f32, (y - iy as f64) as f32);
    let upper = patch.at(ix, iy) * (1.0 - tx) + patch.at(ix + 1, iy) * tx;
    let lower = patch.at(ix, iy + 1) * (1.0 - tx) + patch.at(ix + 1, iy + 1) * tx;
    upper * (1.0 - ty) + lower * ty
}

/// True when the point lies on a pixel that `others` marks.
fn holds(patch: &Patch, others: &[bool], p: [f64; 2]) -> bool {
    let (x, y) = (p[0].floor(), p[1].floor());
    let inside = x >= 0.0 && y >= 0.0 && x < patch.width as f64 && y < patch.height as f64;
    inside && others[y as usize * patch.width + x as usize]
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
