//! Gaussian blur of strips.

use super::paint::Strip;
use super::spec::SceneSpec;

/// Steps in which the blur grows towards the corners.
const BLUR_LEVELS: usize = 32;

pub(super) fn kernel_radius(sigma: f64) -> usize {
    (4.0 * sigma).ceil() as usize
}

/// Gaussian blur whose width may grow with the square of the distance from the middle.
pub(super) struct Lens {
    /// Rows and columns it takes from on each side.
    pub radius: usize,
    kernels: Vec<Vec<f32>>,
    centre: [f32; 2],
    /// Level for each square pixel of distance.
    growth: f32,
}

impl Lens {
    pub(super) fn of(spec: &SceneSpec) -> Self {
        let camera = &spec.camera;
        if camera.corner_blur == 0.0 {
            return Self::even(camera.blur_sigma_px);
        }
        let (cx, cy) = (0.5 * f64::from(spec.width_px), 0.5 * f64::from(spec.height_px));
        let radius = kernel_radius(camera.blur_sigma_px * (1.0 + camera.corner_blur));
        let last = BLUR_LEVELS as f64 - 1.0;
        let kernels = (0..BLUR_LEVELS)
            .map(|level| 1.0 + camera.corner_blur * level as f64 / last)
            .map(|wider| kernel(camera.blur_sigma_px * wider, radius))
            .collect();
        let growth = (last / (cx * cx + cy * cy)) as f32;
        Self { radius, kernels, centre: [cx as f32, cy as f32], growth }
    }

    pub(super) fn even(sigma: f64) -> Self {
        let radius = kernel_radius(sigma);
        Self { radius, kernels: vec![kernel(sigma, radius)], centre: [0.0; 2], growth: 0.0 }
    }

    /// Blurs in place, along rows and then along columns; beyond the strip its edge is repeated.
    pub(super) fn blur(&self, strip: &mut Strip) {
        if self.radius == 0 {
            return;
        }
        let (width, radius) = (strip.width, self.radius);
        let runs: Vec<_> = (strip.first..strip.first + strip.rows).map(|y| self.runs(y, width)).collect();
        let mut padded = vec![0.0_f32; width + 2 * radius];
        for plane in &mut strip.planes {
            for (row, runs) in plane.chunks_exact_mut(width).zip(&runs) {
                padded[..radius].fill(row[0]);
                padded[radius..radius + width].copy_from_slice(row);
                padded[radius + width..].fill(row[width - 1]);
                row.fill(0.0);
                for &(from, to, level) in runs {
                    for (k, &tap) in self.kernels[level].iter().enumerate() {
                        add(&mut row[from..to], &padded[from + k..to + k], tap);
                    }
                }
            }
            let source = plane.clone();
            plane.fill(0.0);
            for (y, row) in plane.chunks_exact_mut(width).enumerate() {
                for k in 0..=2 * radius {
                    let from_row = (y + k).saturating_sub(radius).min(strip.rows - 1) * width;
                    for &(from, to, level) in &runs[y] {
                        let source = &source[from_row + from..from_row + to];
                        add(&mut row[from..to], source, self.kernels[level][k]);
                    }
                }
            }
        }
    }

    /// Stretches of a row with the same blur: from, to, level.
    fn runs(&self, y: usize, width: usize) -> Vec<(usize, usize, usize)> {
        if self.kernels.len() == 1 {
            return vec![(0, width, 0)];
        }
        let dy = y as f32 + 0.5 - self.centre[1];
        let level = |x: usize| {
            let dx = x as f32 + 0.5 - self.centre[0];
            (((dx * dx + dy * dy) * self.growth).round() as usize).min(BLUR_LEVELS - 1)
        };
        let mut runs = Vec::new();
        let mut from = 0;
        for x in 1..=width {
            if x == width || level(x) != level(from) {
                runs.push((from, x, level(from)));
                from = x;
            }
        }
        runs
    }
}

fn add(out: &mut [f32], source: &[f32], tap: f32) {
    for (o, s) in out.iter_mut().zip(source) {
        *o += tap * s;
    }
}

fn kernel(sigma: f64, radius: usize) -> Vec<f32> {
    if sigma == 0.0 {
        return (0..=2 * radius).map(|k| if k == radius { 1.0 } else { 0.0 }).collect();
    }
    let weight = |k: usize| (-0.5 * ((k as f64 - radius as f64) / sigma).powi(2)).exp();
    let sum: f64 = (0..=2 * radius).map(weight).sum();
    (0..=2 * radius).map(|k| (weight(k) / sum) as f32).collect()
}
