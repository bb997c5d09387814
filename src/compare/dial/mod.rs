//! Sets of burrs over several settings of the dial: what differs at the same median, and by how many steps the dials differ.

mod model;

use super::quantity::photo_values;
use super::{Grounds, Quantity};
use crate::distribution::{Figures, Sizes};
use crate::numeric::Estimate;
use model::Model;

/// Numbers that a dial may show.
pub const SETTINGS: std::ops::RangeInclusive<f64> = -1e6..=1e6;

/// Grounds of one set of burrs at one setting.
#[derive(Clone, Debug)]
pub struct Ground {
    /// Name of the set.
    pub set: String,
    /// What the dial says, in its own steps.
    pub setting: f64,
    /// What came out.
    pub grounds: Grounds,
}

/// What is asked of sets of burrs.
#[derive(Clone, Debug, PartialEq)]
pub struct DialQuestion {
    /// Confidence of intervals, 0..1.
    pub level: f64,
    /// Fines are finer than this, µm.
    pub fines_um: f64,
    /// Median at which the sets are compared, µm; the middle of what all sets reach where `None`.
    pub median_um: Option<f64>,
    /// Differences up to so much do not matter, relative.
    pub margin: f64,
    /// The same for the share of fines.
    pub fines_margin: f64,
}

/// One sample as a point.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// Name of the sample.
    pub name: String,
    /// What the dial says.
    pub setting: f64,
    /// Number of photos.
    pub photos: usize,
    /// Number of particles.
    pub particles: usize,
    /// Figures by mass in the order of [`Figures::NAMES`], photos pooled.
    pub figures: [f64; 7],
    /// Relative standard error of each by the count of particles.
    pub counted: [f64; 7],
    /// Smallest ECD of which every photo shows 95 %, µm.
    pub smallest_ecd_um: f64,
}

/// A set of burrs over its settings.
#[derive(Clone, Debug, PartialEq)]
pub struct DialSet {
    /// Name of the set.
    pub name: String,
    /// Its samples, by rising setting.
    pub points: Vec<Point>,
    /// Change of the median with one step of the dial, %.
    pub per_step_pct: Estimate,
    /// Setting at which the set reaches the median of the comparison, with its interval.
    pub setting: Estimate,
    /// Natural logarithm of each figure against the setting: value at setting 0 and change with a step; `None` where a sample
    /// shows none of it.
    pub lines: [Option<[f64; 2]>; 7],
}

impl DialSet {
    /// Figure number `i` that the set's line gives at a median of `median_um`.
    pub fn at_median(&self, i: usize, median_um: f64) -> Option<f64> {
        let ([start, step], [median, by]) = (self.lines[i]?, self.lines[1]?);
        Some((start + step * (median_um.ln() - median) / by).exp())
    }
}

/// A figure of two sets at the same median.
#[derive(Clone, Debug, PartialEq)]
pub struct AtMedian {
    /// Which figure.
    pub quantity: Quantity,
    /// Its value for the base and for the other set.
    pub values: [f64; 2],
    /// Other less base, % of the base.
    pub relative_pct: Estimate,
    /// Chance of so large a difference where the sets are the same.
    pub p: f64,
    /// The same for all figures and sets that are looked at.
    pub p_adjusted: f64,
    /// Difference that these samples would have shown four times out of five, %.
    pub smallest_detectable_pct: f64,
    /// Differences up to so much do not matter, %.
    pub margin_pct: f64,
    /// True where the difference lies within the margin with the confidence asked for.
    pub alike: bool,
}

/// Another set against the base.
#[derive(Clone, Debug, PartialEq)]
pub struct DialPair {
    /// Number of the other set.
    pub other: usize,
    /// Steps that the other set's dial must say more for the same median.
    pub shift: Estimate,
    /// Figures at that median, without the median itself and without what a sample shows none of.
    pub figures: Vec<AtMedian>,
}

impl DialPair {
    /// Figures that differ.
    pub fn clear(&self) -> impl Iterator<Item = &AtMedian> {
        self.figures.iter().filter(|f| f.p_adjusted < 1.0 - f.relative_pct.level)
    }
}

/// Sets of burrs compared at the same median.
#[derive(Clone, Debug, PartialEq)]
pub struct Dials {
    /// The sets; the first is the base.
    pub sets: Vec<DialSet>,
    /// Each other set against the base.
    pub pairs: Vec<DialPair>,
    /// Median of the comparison, µm.
    pub median_um: f64,
    /// True where one step changes the median by the same share for all sets.
    pub same_slope: bool,
    /// Samples beyond those that the lines take.
    pub freedom: usize,
    /// Confidence of intervals, 0..1.
    pub level: f64,
}

/// Why sets of burrs cannot be compared.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs, reason = "each variant is its message")]
pub enum DialError {
    #[error("all samples are of one set of burrs ({0}). Give samples of two sets: new@10=… worn@10=…")]
    OneSet(String),
    #[error(
        "{0}: every set needs samples at two settings at least, better three, to see how its median follows the dial"
    )]
    OneSetting(String),
    #[error(
        "too few samples: hardly anything tells how far a sample strays from the lines. Add a third setting of each set, or grind again \
         at the same settings"
    )]
    TooFew,
    #[error(
        "{0}: the median does not follow the dial clearly enough to compare sets at the same median. Take settings further apart, \
         or more photos of each, and check that the settings belong to their samples"
    )]
    Flat(String),
    #[error(
        "the sets share no median: {first} covers {first_um} µm, {second} covers {second_um} µm. Grind {second} at about the \
         setting {wanted}"
    )]
    Apart { first: String, first_um: String, second: String, second_um: String, wanted: String },
    #[error(
        "--median {0} µm lies outside of what all sets cover, {1} µm. Choose one within, or grind at more settings"
    )]
    Outside(f64, String),
}

/// Compares sets of burrs, the first to come being the base, at the same median.
///
/// Logarithms of the figures are taken as straight lines over the setting; the samples are what varies (photos, grinding and
/// setting again, and misfit of the line together; see `regression.rs`). All sets share the slope unless
/// their slopes differ visibly. A figure F at the median M₀ is the line through ln F − g·ln M, read at the setting at which
/// the set reaches M₀, where g is the change of ln F with ln M: to first order this takes in that the setting of M₀ is itself
/// estimated from the same samples (the delta method). Coverage is simulated in `tests/dials.rs`.
///
/// # Errors
/// Too few sets, settings or samples; medians that do not follow the dial or do not meet.
pub fn dials(samples: &[Ground], question: &DialQuestion) -> Result<Dials, DialError> {
    let mut names: Vec<&str> = Vec::new();
    for s in samples {
        if !names.contains(&s.set.as_str()) {
            names.push(&s.set);
        }
    }
    if names.len() < 2 {
        return Err(DialError::OneSet(names.first().copied().unwrap_or_default().to_owned()));
    }
    let sets: Vec<Vec<Point>> = names
        .iter()
        .map(|name| {
            let of = samples.iter().filter(|s| s.set == *name);
            let mut points: Vec<Point> = of.map(|s| point(s, question.fines_um)).collect();
            points.sort_by(|a, b| a.setting.total_cmp(&b.setting));
            points
        })
        .collect();
    for (points, name) in sets.iter().zip(&names) {
        if points[0].setting == points[points.len() - 1].setting {
            return Err(DialError::OneSetting((*name).to_owned()));
        }
    }
    let model = Model::of(sets, &names, question.level)?;
    let median_um = model.common_median(&names, question)?;
    let pairs = model.pairs(median_um, question);
    Ok(Dials {
        sets: (0..names.len()).map(|k| model.set(k, names[k], median_um)).collect(),
        pairs,
        median_um,
        same_slope: model.same_slope,
        freedom: model.median.freedom as usize,
        level: question.level,
    })
}

fn point(s: &Ground, fines_um: f64) -> Point {
    let sizes = Sizes::of(&s.grounds.sample);
    let quantities: Vec<Quantity> = (0..Figures::NAMES.len()).map(Quantity::Figure).collect();
    let found = photo_values(&sizes, &quantities, fines_um);
    let array = |v: &[f64]| -> [f64; 7] { std::array::from_fn(|i| v[i]) };
    Point {
        name: s.grounds.name.clone(),
        setting: s.setting,
        photos: s.grounds.sample.photos().len(),
        particles: s.grounds.sample.count(),
        figures: array(&found.value),
        counted: array(&found.counting.iter().map(|v| v.sqrt()).collect::<Vec<_>>()),
        smallest_ecd_um: s.grounds.sample.smallest_ecd_um(),
    }
}
