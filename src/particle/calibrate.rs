//! From readings to size: discs of known radius under the photo's own blur and shade are examined by the same code as
//! its particles, and the table so made is read backwards.

use rayon::prelude::*;

use super::examine::{Examiner, Reading};
use super::look::Look;
use super::shade::Shade;
use super::shape::Raw;
use super::synthetic::disc;
use crate::backdrop::{Scene, Softness};

/// Radii of the synthetic discs, in blur widths: rising in equal ratio.
const RADII: [f64; 13] = [0.45, 0.65, 0.9, 1.2, 1.5, 1.85, 2.3, 2.8, 3.5, 4.5, 6.0, 8.5, 12.0];

/// Radii, in blur widths, below which the size comes from the integrated deficit alone, and above which from the
/// outline alone; between them the two are blended.
const BLEND: [f64; 2] = [2.3, 3.3];

/// The same under hard shade: a shadow half as dark as the particle leads its outline astray while it is small.
const BLEND_IN_HARD_SHADE: [f64; 2] = [3.5, 6.0];

/// Strengths of shade, share of the core, between which the blend moves from the one to the other.
const HARD_SHADE: [f64; 2] = [0.38, 0.5];

/// Radii, in blur widths, of the particles that the shadow's length is learnt on.
const LEARN: [f64; 2] = [2.5, 6.0];

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

impl Table {
    /// Deficit that a disc of `radius` px sums to.
    fn integrated(&self, radius: f64) -> f64 {
        interpolate(&self.darkness, [1, 0], radius).powi(2)
    }

    fn radius_from_edge(&self, edge: f64) -> f64 {
        let Some(last) = self.edge.last() else { return edge };
        if edge >= last[0] {
            // Blur and shade act along the outline, so beyond the table the shift in pixels stays as it is.
            return edge + (last[1] - last[0]) * (last[0] / edge);
        }
        interpolate(&self.edge, [0, 1], edge)
    }

    fn radius_from_integrated(&self, integrated: f64) -> f64 {
        interpolate(&self.darkness, [0, 1], integrated.max(0.0).sqrt())
    }
}

/// The photo's own calibration.
#[derive(Clone, Debug)]
pub struct Calibration {
    /// Blur that the readings were taken with, px: sets the widths of kernels and skirts.
    sigma: f64,
    /// Blur and sharpening of the photo.
    pub look: Look,
    softness: Softness,
    /// Tables for parts of the photo, each with its blur over that of the whole, rising.
    tables: Vec<(f64, Table)>,
    /// 0 … 1 from soft to hard shade.
    hardness: f64,
    /// The shadow found.
    pub shade: Shade,
}

impl Calibration {
    /// Learns how the shadow falls from the readings of a photo with the `look`; `shade` has its strength and direction.
    pub(super) fn learn(raw: &[Option<Raw>], scene: &Scene, look: Look, mut shade: Shade) -> Self {
        let sigma = scene.blur_px;
        // While learning, only the discs around the sizes learnt on are needed.
        let table_of = |shade: &Shade| table(sigma, &look, scene.core, shade, 1.8..9.0);
        let bare = table_of(&Shade::default());
        let mut learnt = table_of(&shade);
        // Rounds: the shadow's length moves the outline of the particles that it is learnt on.
        for round in 0..ROUNDS {
            let sizes: Vec<[f64; 3]> = raw
                .iter()
                .flatten()
                .filter(|r| !r.crowded && !r.split)
                .filter_map(|r| {
                    let radius = learnt.radius_from_edge(r.reading.edge_radius?);
                    let own = bare.integrated(radius);
                    let made = if round == 0 { 0.0 } else { learnt.integrated(radius) - own };
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
            learnt = table_of(&shade);
        }
        let whole = |ratio: f64| (ratio, table(sigma, &look.softened(ratio), scene.core, &shade, 0.0..f64::INFINITY));
        Calibration {
            sigma,
            look,
            softness: scene.softness.clone(),
            tables: scene.softness.steps().into_iter().map(whole).collect(),
            hardness: along(HARD_SHADE, shade.strength / scene.core),
            shade,
        }
    }

    /// Radius (px) of the particle, and true when its outline had no part in it.
    pub(super) fn radius(&self, reading: &Reading) -> (f64, bool) {
        let ratio = self.softness.at(reading.centroid);
        // Between the tables for a blur below and above its own.
        let above = self.tables.iter().position(|(of, _)| *of >= ratio).unwrap_or(self.tables.len() - 1);
        let (radius, integrated) = self.radius_by(above, reading);
        if above == 0 {
            return (radius, integrated);
        }
        let below = above - 1;
        let share = along([self.tables[above].0, self.tables[below].0], ratio);
        (radius + share * (self.radius_by(below, reading).0 - radius), integrated)
    }

    /// The same by one of the tables.
    fn radius_by(&self, table: usize, reading: &Reading) -> (f64, bool) {
        let (ratio, table) = &self.tables[table];
        let small = table.radius_from_integrated(reading.integrated);
        let blend = [0, 1].map(|i| BLEND[i] + self.hardness * (BLEND_IN_HARD_SHADE[i] - BLEND[i]));
        let t = along(blend, small / (ratio * self.sigma));
        match reading.edge_radius {
            Some(edge) if t > 0.0 => (t * table.radius_from_edge(edge) + (1.0 - t) * small, false),
            _ => (small, true),
        }
    }
}

/// How far `x` lies along the range, 0 … 1.
fn along([start, end]: [f64; 2], x: f64) -> f64 {
    ((x - start) / (end - start)).clamp(0.0, 1.0)
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

/// Table for the radii of `range`, in blur widths.
fn table(sigma: f64, look: &Look, core: f64, shade: &Shade, range: std::ops::Range<f64>) -> Table {
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
                    let patch = disc(radius, look, core, shade, at, sigma);
                    examiner.examine_lone(&patch)
                })
                .collect();
            let n = readings.len().max(1) as f64;
            let edges: Option<Vec<f64>> = readings.iter().map(|r| r.edge_radius).collect();
            let edge = edges.filter(|e| !e.is_empty()).map(|e| e.iter().sum::<f64>() / n);
            (radius, edge, readings.iter().map(|r| r.integrated).sum::<f64>() / n)
        })
        .collect();
    let rising = || rows.iter().rev();
    Table {
        edge: rising().filter_map(|&(radius, edge, _)| Some([edge?, radius])).collect(),
        darkness: rising().map(|&(radius, _, integrated)| [integrated.max(0.0).sqrt(), radius]).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_gives_back_the_radius_of_its_own_discs() {
        let shade = Shade { strength: 0.3, direction: [0.8, 0.6], floor_px: 1.0, share: 0.2 };
        for sharpen in [0.0, 0.5] {
            let look = Look { blur_px: 1.0, sharpen, level: 0.7, excess: 1.0 };
            let table = table(1.1, &look, 0.9, &shade, 0.0..99.0);
            let softness = Softness::uniform([100, 100]);
            let calibration =
                Calibration { sigma: 1.1, look, softness, tables: vec![(1.0, table)], hardness: 0.0, shade };
            for radius in [1.0, 2.2, 5.0, 9.0, 20.0] {
                let patch = disc(radius, &look, 0.9, &shade, [0.2, 0.1], 1.1);
                let reading = Examiner::new(1.1).examine_lone(&patch).unwrap();
                let (found, _) = calibration.radius(&reading);
                assert!((found / radius - 1.0).abs() < 0.01, "{radius}: {found}");
            }
        }
    }
}
