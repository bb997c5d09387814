//! Which samples make a series over the kilograms, and its trend.

use super::file::Study;
use super::grind::Grind;
use super::matched::{Row, Slope, slope};
use super::wear::{Common, Point, Trend, WearError, adjust, trend};
use crate::distribution::Figures;

/// Places in [`Figures::NAMES`] of the figures that are followed: median, span, fines.
pub const FOLLOWED: [usize; 3] = [1, 3, Figures::FINES];
/// Variance of a photo's logarithm where no sample has two photos: only relations between samples matter then.
const UNKNOWN_VARIANCE: f64 = 1e-3;

/// How samples at unlike settings are made comparable.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Basis {
    /// Only samples at this setting of the dial count (absent: those without one).
    Setting(Option<f64>),
    /// All samples, brought to this median (µm) by what the dial alone does to the figure.
    Median(f64),
}

/// One figure of one set of burrs over the kilograms.
#[derive(Clone, Debug)]
pub struct Series {
    /// Set of burrs.
    pub burrs: usize,
    /// Place of the figure in [`Figures::NAMES`].
    pub figure: usize,
    /// How settings are made comparable.
    pub basis: Basis,
    /// The samples, in the order of their kilograms.
    pub samples: Vec<usize>,
    /// Their trend, or why there is none.
    pub trend: Result<Trend, WearError>,
}

/// A sample with what the series take of it.
struct Taken<'a> {
    sample: usize,
    burrs: usize,
    kg: f64,
    setting: Option<f64>,
    grind: &'a Grind,
}

/// The series of all sets of burrs that have samples at different kilograms.
pub fn series(study: &Study, grinds: &[Option<Grind>]) -> Vec<Series> {
    let mut taken: Vec<Taken<'_>> = study
        .samples
        .iter()
        .zip(grinds)
        .enumerate()
        .filter_map(|(sample, (s, grind))| {
            Some(Taken { sample, burrs: s.burrs, kg: s.kg?, setting: s.setting, grind: grind.as_ref()? })
        })
        .collect();
    taken.sort_by(|a, b| a.kg.total_cmp(&b.kg));
    let mut all = Vec::new();
    for burrs in 0..study.burrs.len() {
        let own: Vec<&Taken<'_>> = taken.iter().filter(|t| t.burrs == burrs).collect();
        if own.windows(2).all(|w| w[0].kg == w[1].kg) {
            continue;
        }
        all.extend(FOLLOWED.map(|figure| one(study, burrs, figure, &own, &taken)));
    }
    adjust(&mut all.iter_mut().filter_map(|s| s.trend.as_mut().ok()).collect::<Vec<_>>());
    all
}

fn one(study: &Study, burrs: usize, figure: usize, own: &[&Taken<'_>], all: &[Taken<'_>]) -> Series {
    let variance = photo_variance(all, figure).unwrap_or(UNKNOWN_VARIANCE);
    let shown = |t: &&&Taken<'_>| t.grind.figures[figure].value > 0.0;
    let matched = (figure != 1).then(|| slope(&rows(all, figure))).flatten();
    let (basis, samples, shift): (Basis, Vec<&Taken<'_>>, Option<Slope>) = match matched {
        Some(slope) => {
            let samples: Vec<&Taken<'_>> = own.iter().filter(shown).copied().collect();
            let mean = samples.iter().map(|t| ln(t, 1)).sum::<f64>() / samples.len().max(1) as f64;
            (Basis::Median(mean.exp()), samples, Some(slope))
        }
        None => {
            let setting = commonest(own);
            let at = |t: &&&Taken<'_>| t.setting == setting;
            (Basis::Setting(setting), own.iter().filter(at).filter(shown).copied().collect(), None)
        }
    };
    let off = |t: &Taken<'_>| if let Basis::Median(um) = basis { ln(t, 1) - um.ln() } else { 0.0 };
    let points: Vec<Point> = samples
        .iter()
        .map(|t| Point {
            kg: t.kg,
            value: ln(t, figure) - shift.map_or(0.0, |s| s.value * off(t)),
            variance: variance / t.grind.of_photos.len().max(1) as f64,
        })
        .collect();
    let common = Common {
        error: shift.map_or(0.0, |s| s.sure_error(study.level)),
        by: samples.iter().map(|t| off(t)).collect(),
    };
    Series {
        burrs,
        figure,
        basis,
        samples: samples.iter().map(|t| t.sample).collect(),
        trend: trend(&points, Some(&common), study.level, study.seed),
    }
}

fn ln(t: &Taken<'_>, figure: usize) -> f64 {
    t.grind.figures[figure].value.ln()
}

fn rows(all: &[Taken<'_>], figure: usize) -> Vec<Row> {
    let mut places: Vec<(usize, f64)> = Vec::new();
    let mut rows = Vec::new();
    for t in all.iter().filter(|t| t.grind.figures[figure].value > 0.0) {
        let place = (t.burrs, t.kg);
        let group = places.iter().position(|p| *p == place).unwrap_or_else(|| {
            places.push(place);
            places.len() - 1
        });
        rows.push(Row { group, ln_median: ln(t, 1), ln_figure: ln(t, figure) });
    }
    rows
}

/// The setting that most samples have; of several, the first.
fn commonest(own: &[&Taken<'_>]) -> Option<f64> {
    let times = |setting: Option<f64>| own.iter().filter(|t| t.setting == setting).count();
    let mut best = own.first()?.setting;
    for t in own {
        if times(t.setting) > times(best) {
            best = t.setting;
        }
    }
    best
}

/// Variance of the logarithm from photo to photo of one sample, over all samples; `None` where none has two photos.
fn photo_variance(all: &[Taken<'_>], figure: usize) -> Option<f64> {
    let (mut squares, mut freedom) = (0.0, 0usize);
    for t in all {
        let values: Vec<f64> = t.grind.of_photos.iter().map(|p| p[figure].ln()).filter(|v| v.is_finite()).collect();
        let mean = values.iter().sum::<f64>() / values.len().max(1) as f64;
        squares += values.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
        freedom += values.len().saturating_sub(1);
    }
    (freedom > 0 && squares > 0.0).then(|| squares / freedom as f64)
}
