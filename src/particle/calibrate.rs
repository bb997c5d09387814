//! From readings to size: discs of known radius under the photo's own blur and shade are examined by the same code as
//! its particles, and the table so made is read backwards.

use std::ops::Range;

use rayon::prelude::*;

use super::examine::{Examiner, Levels, Reading};
use super::look::Look;
use super::shade::Shade;
use super::survey::Survey;
use super::synthetic::disc;
use crate::backdrop::{Scene, Softness};
use crate::numeric::along;

/// Radii of the synthetic discs, in blur widths: rising in equal ratio.
const RADII: [f64; 13] = [0.45, 0.65, 0.9, 1.2, 1.5, 1.85, 2.3, 2.8, 3.5, 4.5, 6.0, 8.5, 12.0];

/// Radii, in blur widths, below which the size comes from the integrated deficit alone, and above which from the
/// outline alone; between them the two are blended.
const BLEND: [f64; 2] = [2.3, 3.3];

/// The same under hard shade: a shadow half as dark as the particle leads its outline astray while it is small.
const BLEND_IN_HARD_SHADE: [f64; 2] = [6.0, 12.0];

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
    /// Levels that the readings were taken with.
    pub(super) levels: Levels,
    /// The shadow found.
    pub shade: Shade,
}

impl Calibration {
    /// Learns how the shadow falls from all readings of the photo.
    pub(super) fn learn(survey: &Survey, scene: &Scene) -> Self {
        let Survey { raw, levels, look, shade } = survey;
        let (sigma, look, levels, mut shade) = (scene.blur_px, *look, *levels, *shade);
        let discs = Discs::new(sigma, look, scene.core, levels);
        let bare = discs.table_of(0, &discs.bare);
        // While learning, only discs about the sizes learnt on are needed.
        let near = RADII.partition_point(|&r| r < 0.7 * LEARN[0])..RADII.partition_point(|&r| r <= LEARN[1]);
        let mut learnt = discs.table(&shade, near.clone());
        // Rounds: the shadow's length moves the outline of the particles that it is learnt on.
        for _ in 0..ROUNDS {
            let sizes: Vec<[f64; 3]> = raw
                .iter()
                .flatten()
                .filter(|r| !r.crowded && !r.split)
                .filter_map(|r| {
                    let radius = learnt.radius_from_edge(r.reading.edge_radius?);
                    let own = bare.integrated(radius);
                    let made = learnt.integrated(radius) - own;
                    (LEARN[0] * sigma..LEARN[1] * sigma).contains(&radius).then_some([
                        2.0 * radius,
                        r.reading.integrated - own,
                        made,
                    ])
                })
                .collect();
            if sizes.len() < 8 || shade.strength == 0.0 {
                break;
            }
            shade.fit_length(&sizes, sigma);
            learnt = discs.table(&shade, near.clone());
        }
        let whole = |ratio: f64| {
            let of_part;
            let discs = if ratio == 1.0 {
                &discs
            } else {
                of_part = Discs::new(sigma, look.softened(ratio), scene.core, levels);
                &of_part
            };
            (ratio, discs.table(&shade, 0..RADII.len()))
        };
        Calibration {
            sigma,
            look,
            softness: scene.softness.clone(),
            tables: scene.softness.steps().into_iter().map(whole).collect(),
            levels,
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
        let blend = [0, 1].map(|i| BLEND[i] + self.shade.hardness * (BLEND_IN_HARD_SHADE[i] - BLEND[i]));
        let t = along(blend, small / (ratio * self.sigma));
        match reading.edge_radius {
            Some(edge) if t > 0.0 => (t * table.radius_from_edge(edge) + (1.0 - t) * small, false),
            _ => (small, true),
        }
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

/// Radius (px) and sum of the deficit (px²) that a disc reads as.
type Read = (Option<f64>, f64);

/// The synthetic discs of a photo, one for each of [`RADII`].
struct Discs {
    sigma: f64,
    look: Look,
    core: f64,
    levels: Levels,
    /// What they read as without shade.
    bare: Vec<Read>,
}

impl Discs {
    fn new(sigma: f64, look: Look, core: f64, levels: Levels) -> Self {
        let mut discs = Discs { sigma, look, core, levels, bare: Vec::new() };
        discs.bare = discs.read(&Shade::default(), 0..RADII.len());
        discs
    }

    /// What those of `range` read as.
    fn read(&self, shade: &Shade, range: Range<usize>) -> Vec<Read> {
        let Discs { sigma, core, .. } = *self;
        // Largest first: they take longest.
        let mut read: Vec<Read> = RADII[range]
            .par_iter()
            .rev()
            .map(|r| {
                let mut examiner = Examiner::new(sigma, self.levels);
                // Two places against the pixel grid stand for all; for large discs one is enough.
                let places: &[[f64; 2]] = if *r < 3.0 { &[[0.0, 0.0], [0.37, 0.5]] } else { &[[0.2, 0.3]] };
                let readings: Vec<Reading> = places
                    .iter()
                    .filter_map(|&at| examiner.examine_lone(&disc(r * sigma, &self.look, core, shade, at, sigma)))
                    .collect();
                let n = readings.len().max(1) as f64;
                let edges: Option<Vec<f64>> = readings.iter().map(|r| r.edge_radius).collect();
                let edge = edges.filter(|e| !e.is_empty()).map(|e| e.iter().sum::<f64>() / n);
                (edge, readings.iter().map(|r| r.integrated).sum::<f64>() / n)
            })
            .collect();
        read.reverse();
        read
    }

    /// Table of those of `range` with their shade.
    fn table(&self, shade: &Shade, range: Range<usize>) -> Table {
        if shade.strength == 0.0 {
            return self.table_of(0, &self.bare);
        }
        // What shade adds grows with the length of the outline that it falls from.
        let longer = |bare: f64, dark: f64| bare + shade.breadth * (dark - bare);
        let first = range.start;
        let read = self.read(shade, range);
        let read = read
            .iter()
            .zip(&self.bare[first..])
            .map(|(dark, bare)| (dark.0.map(|e| longer(bare.0.unwrap_or(e), e)), longer(bare.1, dark.1)));
        self.table_of(first, &read.collect::<Vec<_>>())
    }

    /// Table of what those from `first` on read as.
    fn table_of(&self, first: usize, read: &[Read]) -> Table {
        let rows = || RADII[first..].iter().map(|r| r * self.sigma).zip(read);
        Table {
            edge: rows().filter_map(|(radius, (edge, _))| Some([(*edge)?, radius])).collect(),
            darkness: rows().map(|(radius, (_, integrated))| [integrated.max(0.0).sqrt(), radius]).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::shade::Falls;
    use super::*;

    #[test]
    fn the_table_gives_back_the_radius_of_its_own_discs() {
        let mut falls = Falls::default();
        falls.lee[..12].fill(0.3);
        let shade = Shade { direction: [0.8, 0.6], floor_px: 1.0, breadth: 1.0, ..Shade::default() }.with(falls, 0.9);
        for sharpen in [0.0, 0.5] {
            let look = Look { blur_px: 1.0, sharpen, level: 0.7, excess: 1.0 };
            let table = Discs::new(1.1, look, 0.9, Levels::USUAL).table(&shade, 0..RADII.len());
            let softness = Softness::uniform([100, 100]);
            let calibration =
                Calibration { sigma: 1.1, look, softness, tables: vec![(1.0, table)], levels: Levels::USUAL, shade };
            for radius in [1.0, 2.2, 5.0, 9.0, 20.0] {
                let patch = disc(radius, &look, 0.9, &shade, [0.2, 0.1], 1.1);
                let reading = Examiner::new(1.1, Levels::USUAL).examine_lone(&patch).unwrap();
                let (found, _) = calibration.radius(&reading);
                assert!((found / radius - 1.0).abs() < 0.01, "{radius}: {found}");
            }
        }
    }
}
