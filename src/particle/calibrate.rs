//! From readings to size: discs of known radius under the photo's own blur and shade are examined by the same code as
//! its particles, and the table so made is read backwards.

use rayon::prelude::*;

use super::examine::{Examiner, Reading, margin_px};
use super::shade::{Shade, lit_fall};
use super::shape::Raw;
use crate::backdrop::{Patch, Scene};
use crate::numeric::GaussKernel;

const PI: f64 = std::f64::consts::PI;

/// Radii of the synthetic discs, in blur widths: rising in equal ratio.
const RADII: [f64; 13] = [0.45, 0.65, 0.9, 1.2, 1.5, 1.85, 2.3, 2.8, 3.5, 4.5, 6.0, 8.5, 12.0];

/// Radii, in blur widths, below which the size comes from the integrated deficit alone, and above which from the
/// outline alone; between them the two are blended.
const BLEND: [f64; 2] = [2.3, 3.3];

/// Radii, in blur widths, of the particles that the shadow's length is learnt on.
const LEARN: [f64; 2] = [2.5, 6.0];

/// Radius, in blur widths, of a disc whose edge is as good as straight.
const LARGE: f64 = 10.0;

/// Rounds of learning the shadow's length; it settles within 2 % in three.
const ROUNDS: usize = 4;

/// What discs of known radius read as in this photo, by rising radius.
#[derive(Clone, Debug, Default)]
struct Table {
    /// Radius inside the steepest edge, px, and true radius, px; without the discs too small for an edge.
    edge: Vec<[f64; 2]>,
    /// Square root of the integrated deficit, px, and true radius, px.
    darkness: Vec<[f64; 2]>,
}

/// The photo's own calibration.
#[derive(Clone, Debug)]
pub struct Calibration {
    /// Blur that the readings were taken with, px: sets the widths of kernels and skirts.
    sigma: f64,
    /// Blur of the photo, read at the edges that face the light, px.
    pub blur_px: f64,
    table: Table,
    /// The shadow found.
    pub shade: Shade,
}

impl Calibration {
    /// Learns blur and shade from the readings of a photo.
    pub(super) fn learn(raw: &[Option<Raw>], scene: &Scene) -> Self {
        let sigma = scene.blur_px;
        let mut shade = Shade::direction_of(raw, sigma, scene.core);
        // While learning, only the discs around the sizes learnt on are needed.
        let learning = 1.8..9.0;
        let blur_px = lit_fall(raw, &shade, sigma).map_or(sigma, |fall| blur_of(fall, sigma));
        let mut calibration = Calibration { sigma, blur_px, table: Table::default(), shade };
        // Rounds: the shadow's length moves the outline of the particles that it is learnt on.
        for round in 0..ROUNDS {
            calibration.table = table(sigma, blur_px, scene.core, &shade, learning.clone());
            let sizes: Vec<[f64; 3]> = raw
                .iter()
                .flatten()
                .filter(|r| !r.crowded && !r.split)
                .filter_map(|r| {
                    let radius = calibration.radius_from_edge(r.reading.edge_radius?);
                    let own = scene.core * PI * radius * radius;
                    let made = if round == 0 { 0.0 } else { calibration.integrated(radius) - own };
                    (LEARN[0] * sigma..LEARN[1] * sigma).contains(&radius).then_some([
                        2.0 * radius,
                        r.reading.integrated - own,
                        made,
                    ])
                })
                .collect();
            if sizes.len() < 8 {
                break;
            }
            shade.fit_length(&sizes, sigma);
        }
        calibration.shade = shade;
        calibration.table = table(sigma, blur_px, scene.core, &shade, 0.0..f64::INFINITY);
        calibration
    }

    /// Radius (px) of the particle, and true when its outline had no part in it.
    pub(super) fn radius(&self, reading: &Reading) -> (f64, bool) {
        let small = self.radius_from_integrated(reading.integrated);
        let t = ((small / self.sigma - BLEND[0]) / (BLEND[1] - BLEND[0])).clamp(0.0, 1.0);
        match reading.edge_radius {
            Some(edge) if t > 0.0 => {
                let large = self.radius_from_edge(edge);
                (t * large + (1.0 - t) * small, false)
            }
            _ => (small, true),
        }
    }

    fn radius_from_edge(&self, edge: f64) -> f64 {
        let Some(last) = self.table.edge.last() else { return edge };
        if edge >= last[0] {
            // Blur and shade act along the outline, so beyond the table the shift in pixels stays as it is.
            return edge + (last[1] - last[0]) * (last[0] / edge);
        }
        interpolate(&self.table.edge, [0, 1], edge)
    }

    /// Deficit that a disc of `radius` px sums to.
    fn integrated(&self, radius: f64) -> f64 {
        interpolate(&self.table.darkness, [1, 0], radius).powi(2)
    }

    fn radius_from_integrated(&self, integrated: f64) -> f64 {
        interpolate(&self.table.darkness, [0, 1], integrated.max(0.0).sqrt())
    }
}

/// Value in the column `to` of the line through `rows` where the column `from` is `x`, continued at both ends; where
/// `from` does not rise the later row holds.
fn interpolate(rows: &[[f64; 2]], [from, to]: [usize; 2], x: f64) -> f64 {
    let mut i = rows.len().saturating_sub(1);
    while i > 1 && rows[i - 1][from] > x {
        i -= 1;
    }
    if i == 0 {
        return rows.first().map_or(x, |r| r[to] * x / r[from].max(1e-9));
    }
    let (a, b) = (rows[i - 1], rows[i]);
    if b[from] - a[from] < 1e-9 {
        return b[to];
    }
    (a[to] + (x - a[from]) / (b[from] - a[from]) * (b[to] - a[to])).max(0.0)
}

/// Blur (px) at which a large disc shows the `fall` of the photo's edges, when read with `sigma`.
fn blur_of(fall: f64, sigma: f64) -> f64 {
    let mut examiner = Examiner::new(sigma);
    let mut fall_at = |blur: f64| {
        let patch = synthetic(LARGE * sigma, blur, 1.0, &Shade::default(), [0.2, 0.4], sigma);
        let reading = examiner.examine(&patch, [0, 0, patch.width, patch.height], None)?;
        let falls: Vec<f64> = reading.fall.iter().flatten().copied().collect();
        Some(falls.iter().sum::<f64>() / falls.len() as f64)
    };
    let mut blur = sigma;
    // The fall is nearly inverse to the blur, so a few corrections by the ratio settle.
    for _ in 0..4 {
        let Some(found) = fall_at(blur) else { break };
        blur = (blur * found / fall).clamp(0.4 * sigma, 1.6 * sigma);
    }
    blur
}

/// Table for the radii of `range`, in blur widths.
fn table(sigma: f64, blur_px: f64, core: f64, shade: &Shade, range: std::ops::Range<f64>) -> Table {
    // Largest first: they take longest.
    let rows: Vec<(f64, Option<f64>, f64)> = RADII
        .into_par_iter()
        .rev()
        .filter(|r| range.contains(r))
        .map(|r| {
            let mut examiner = Examiner::new(sigma);
            let radius = r * sigma;
            // Two places against the pixel grid stand for all; for large discs one is enough.
            let places: &[[f64; 2]] = if r < 3.0 { &[[0.0, 0.0], [0.37, 0.5]] } else { &[[0.2, 0.3]] };
            let readings: Vec<Reading> = places
                .iter()
                .filter_map(|&at| {
                    let patch = synthetic(radius, blur_px, core, shade, at, sigma);
                    examiner.examine(&patch, [0, 0, patch.width, patch.height], None)
                })
                .collect();
            let n = readings.len().max(1) as f64;
            let edges: Option<Vec<f64>> = readings.iter().map(|r| r.edge_radius).collect();
            let edge = edges.filter(|e| !e.is_empty()).map(|e| e.iter().sum::<f64>() / n);
            (radius, edge, readings.iter().map(|r| r.integrated).sum::<f64>() / n)
        })
        .collect();
    let rows = || rows.iter().rev();
    Table {
        edge: rows().filter_map(|&(radius, edge, _)| Some([edge?, radius])).collect(),
        darkness: rows().map(|&(radius, _, integrated)| [integrated.max(0.0).sqrt(), radius]).collect(),
    }
}

/// A disc of `radius` px with its shadow, blurred by `blur_px`, with room to be read with `sigma`; `at` shifts it
/// against the pixel grid.
fn synthetic(radius: f64, blur_px: f64, core: f64, shade: &Shade, at: [f64; 2], sigma: f64) -> Patch {
    /// Samples per pixel and axis before the blur.
    const FINE: usize = 3;
    let length = shade.length_px(2.0 * radius);
    let side = 2 * ((radius + length.min(4.0 * sigma + 2.0)).ceil() as usize + margin_px(sigma) + 2);
    let n = side * FINE;
    let centre = [side as f64 / 2.0 + at[0], side as f64 / 2.0 + at[1]];
    // Coverage along the radius stands for the share of a sample inside; only near the edge it is neither 0 nor 1.
    let band = [(radius - 0.5 / FINE as f64).max(0.0).powi(2), (radius + 0.5 / FINE as f64).powi(2)];
    let inside = |square: f64| {
        if square <= band[0] {
            1.0
        } else if square >= band[1] {
            0.0
        } else {
            (radius - square.sqrt()) * FINE as f64 + 0.5
        }
    };
    let fine: Vec<f32> = (0..n * n)
        .map(|i| {
            let x = ((i % n) as f64 + 0.5) / FINE as f64 - centre[0];
            let y = ((i / n) as f64 + 0.5) / FINE as f64 - centre[1];
            let disc = inside(x * x + y * y);
            if disc == 1.0 || shade.strength == 0.0 {
                return (core * disc) as f32;
            }
            let along = (x * shade.direction[0] + y * shade.direction[1]).clamp(0.0, length);
            let (p, q) = (x - along * shade.direction[0], y - along * shade.direction[1]);
            let swept = inside(p * p + q * q);
            (core * disc + shade.strength * (swept - disc).max(0.0)) as f32
        })
        .collect();
    let kernel = GaussKernel::new(blur_px * FINE as f64);
    let row = |y: usize| &fine[y.min(n - 1) * n..][..n];
    let (mut down, mut smooth) = (vec![0.0f32; n], vec![0.0f32; n]);
    let mut deficit = Vec::with_capacity(side * side);
    // Only the rows and columns of pixel centres are wanted.
    for y in (FINE / 2..n).step_by(FINE) {
        kernel.smooth(&mut down, |k| (row(y.saturating_sub(k)), row(y + k)));
        kernel.smooth_row(&down, &mut smooth);
        deficit.extend(smooth.iter().skip(FINE / 2).step_by(FINE));
    }
    Patch { x0: 0, y0: 0, width: side, height: side, deficit }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_blurred_disc_agrees_with_scipy() {
        // Source: scipy.special.ive with scipy.integrate.quad (SciPy 1.17.1): value at the centre of a unit disc of
        // radius R under unit blur, 1 − exp(−R²/2).
        for r in [1.0, 2.0, 3.0f64] {
            let patch = synthetic(r, 1.0, 1.0, &Shade::default(), [0.5, 0.5], 1.0);
            let peak = patch.deficit.iter().copied().fold(0.0f32, f32::max);
            let expected = 1.0 - (-r * r / 2.0).exp();
            assert!((f64::from(peak) - expected).abs() < 0.012, "{r}: {peak} {expected}");
            let sum: f32 = patch.deficit.iter().sum();
            assert!((f64::from(sum) / (PI * r * r) - 1.0).abs() < 0.01, "{sum}");
        }
    }

    #[test]
    fn the_table_gives_back_the_radius_of_its_own_discs() {
        let shade = Shade { strength: 0.3, direction: [0.8, 0.6], floor_px: 1.0, share: 0.2 };
        let calibration =
            Calibration { sigma: 1.1, blur_px: 1.0, table: table(1.1, 1.0, 0.9, &shade, 0.0..99.0), shade };
        for radius in [1.0, 2.2, 5.0, 9.0, 20.0] {
            let patch = synthetic(radius, 1.0, 0.9, &shade, [0.2, 0.1], 1.1);
            let reading = Examiner::new(1.1).examine(&patch, [0, 0, patch.width, patch.height], None).unwrap();
            let (found, _) = calibration.radius(&reading);
            assert!((found / radius - 1.0).abs() < 0.01, "{radius}: {found}");
        }
    }
}
