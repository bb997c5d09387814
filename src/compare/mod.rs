//! Stage 7: what differs between two samples, by how much, and how sure that is.

mod besides;
mod compared;
mod contrast;
mod curves;
mod dial;
mod family;
mod pair;
mod plan;
mod power;
mod quantity;
mod regression;
pub mod sieve;

pub use curves::Curves;
pub use dial::{AtMedian, DialError, DialPair, DialQuestion, DialSet, Dials, Ground, Point, SETTINGS, dials};
pub use family::holm;
pub use plan::{
    Plan, TOUCHING, Wanted, evenness, good_coverage, grounds_g, lognormal_d32, lognormal_evenness,
    particles_for_quantile, plan,
};
pub use quantity::Quantity;

use crate::distribution::{PhotoParticles, Sample, shown_twice};
use crate::numeric::Estimate;
use pair::{Prepared, pair};
use quantity::quantities;

/// A sample with its name.
#[derive(Clone, Debug)]
pub struct Grounds {
    /// Name in results.
    pub name: String,
    /// Its particles, photo by photo.
    pub sample: Sample,
    /// Relative standard uncertainty of the scale, dimensionless.
    pub scale_uncertainty: f64,
}

impl Grounds {
    /// Checks that they are enough to be judged.
    ///
    /// # Errors
    /// Too few particles, or the same ones in two photos.
    pub fn enough(&self) -> Result<(), CompareError> {
        let count = self.sample.count();
        if count < LEAST_PARTICLES {
            return Err(CompareError::TooFew { name: self.name.clone(), count });
        }
        let photos: Vec<&PhotoParticles> = self.sample.photos().iter().collect();
        if let Some(twice) = shown_twice(&photos) {
            let [first, second] = twice.map(|i| photos[i].name.clone());
            return Err(CompareError::Repeated { name: self.name.clone(), first, second });
        }
        Ok(())
    }
}

/// What is asked of a comparison.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    /// Confidence of intervals and verdict, 0..1.
    pub level: f64,
    /// Fines are finer than this, µm.
    pub fines_um: f64,
    /// Shares above these sizes are compared, too, µm.
    pub shares_above_um: Vec<f64>,
    /// Differences up to so much do not matter, relative: 0.05 for 5 %.
    pub margin: f64,
    /// The same for the share of fines.
    pub fines_margin: f64,
    /// Seed of the random draws.
    pub seed: u64,
}

/// One figure of two samples.
#[derive(Clone, Debug, PartialEq)]
pub struct Difference {
    /// Which figure.
    pub quantity: Quantity,
    /// Its value in the base and in the other sample, photos pooled.
    pub values: [f64; 2],
    /// Other less base, in the figure's unit.
    pub difference: Estimate,
    /// The same in percent of the base; absent where the base is 0.
    pub relative_pct: Option<Estimate>,
    /// Chance of so large a difference between photos of the same grounds, for this figure alone.
    pub p: f64,
    /// The same for the whole family of figures and samples that are looked at.
    pub p_adjusted: f64,
    /// Difference that this many photos would have shown four times out of five, in the figure's unit.
    pub smallest_detectable: f64,
    /// Differences up to so much do not matter, %.
    pub margin_pct: f64,
    /// True where the difference lies within the margin with the confidence asked for (two one-sided tests).
    pub alike: bool,
    /// The change in percent of the base with the interval that this rests on: two one-sided tests at 5 % leave 90 %.
    pub equivalence_pct: Estimate,
    /// True where the wider interval of [`Difference::difference`] reaches outside of the margin.
    pub reaches_beyond: bool,
    /// Photos a side that would show a difference as large as the margin four times out of five.
    pub photos_needed: usize,
    /// True where what the photos cannot show is as large as the margin by itself: no number of such photos tells it.
    pub beyond_photos: bool,
    /// With one photo a side, where counting alone does not explain the difference: how much spreads of the same grounds
    /// would have to scatter to explain it (standard deviation, relative in %, or in % of the mass for shares that are compared by their difference).
    pub explained_by_spread: Option<f64>,
    /// With one photo a side: the difference would hold even if spreads scattered as much as is met.
    pub holds_under_spread: bool,
}

/// What can be said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// At least one figure differs.
    Different,
    /// Every figure lies within its margin.
    Alike,
    /// Neither can be said yet.
    Undecided,
}

/// Two samples compared.
#[derive(Clone, Debug)]
pub struct Comparison {
    /// Name, photos and particles of base and other.
    pub sides: [SideOf; 2],
    /// The figures in the order of [`crate::distribution::Figures::NAMES`], then the shares above; without those that no photo shows.
    pub differences: Vec<Difference>,
    /// Shares of which neither side shows anything.
    pub shown_by_none: Vec<Quantity>,
    /// What can be said.
    pub verdict: Verdict,
    /// Curves and their difference.
    pub curves: Curves,
    /// Confidence of intervals and verdict, 0..1.
    pub level: f64,
    /// True with one photo a side, or others that hold few particles beside it: how much spreads of the same grounds differ is unknown.
    pub spread_unknown: bool,
    /// True where the adjusted p-values come from exchanging photos between the sides.
    pub exchanged: bool,
}

/// What is told of a side.
#[derive(Clone, Debug, PartialEq)]
pub struct SideOf {
    /// Name.
    pub name: String,
    /// Number of photos.
    pub photos: usize,
    /// Number of particles.
    pub particles: usize,
    /// Smallest ECD of which every photo shows 95 %, µm.
    pub smallest_ecd_um: f64,
    /// Number of particles as pale as chaff that count, and their share of the mass, %.
    pub pale: (usize, f64),
}

impl Comparison {
    /// True where `difference` is one that the verdict rests on.
    pub fn is_clear(&self, difference: &Difference) -> bool {
        difference.p_adjusted < 1.0 - self.level && (!self.spread_unknown || difference.holds_under_spread)
    }
}

/// Why samples cannot be compared.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs, reason = "each variant is its message")]
pub enum CompareError {
    #[error(
        "{first} and {second} hold the same particles at the same places: one photo stands on both sides. Give each sample \
         its own photos"
    )]
    SamePhoto { first: String, second: String },
    #[error(
        "{name}: {first} and {second} show the same particles at the same places, so that these would count twice and make the result \
         look surer than it is. Leave one out, and spread the grounds anew for each photo"
    )]
    Repeated { name: String, first: String, second: String },
    #[error("{0}: no photo of this sample shows a whole particle")]
    Empty(String),
    #[error(
        "{name}: the sample holds {count} of the {LEAST_PARTICLES} particles that a comparison takes at least. Photograph more grounds"
    )]
    TooFew { name: String, count: usize },
}

/// With fewer particles a sample is not compared: no interval was tried below (the least simulated is ten times as many a photo).
const LEAST_PARTICLES: usize = 30;

/// Compares each of `others` with `base`.
///
/// Photos are what varies: each photo's figures are taken for themselves, and their scatter within the sides tells how well
/// a difference is known (see `contrast`). Sizes, span and fines are compared by their ratio, shares above a size by
/// their difference. p-values are adjusted over all figures and samples: by exchanging photos between the sides where
/// there are enough of them, by Holm's method otherwise. Where one side has many times the other's photos, the interval by
/// counting alone holds where it is wider. Equivalence is two one-sided t tests at the confidence asked for
/// (D. J. Schuirmann, J. Pharmacokinet. Biopharm. 15 (1987) 657–680, from memory).
/// Coverage, false alarms, power and false equivalence are simulated; the table is in `docs/comparing.md`.
///
/// # Errors
/// A photo on both sides or twice on one, or a sample without particles.
pub fn compare(base: &Grounds, others: &[Grounds], question: &Question) -> Result<Vec<Comparison>, CompareError> {
    let base_side = Prepared::of(base, question)?;
    let other_sides: Vec<Prepared> = others.iter().map(|o| Prepared::of(o, question)).collect::<Result<_, _>>()?;
    let sides = std::iter::once(base).chain(others);
    let all: Vec<(&Grounds, &PhotoParticles)> =
        sides.flat_map(|g| g.sample.photos().iter().map(move |p| (g, p))).collect();
    if let Some(twice) = shown_twice(&all.iter().map(|(_, photo)| *photo).collect::<Vec<_>>()) {
        let [first, second] = twice.map(|i| format!("{} ({})", all[i].0.name, all[i].1.name));
        return Err(CompareError::SamePhoto { first, second });
    }
    Ok(other_sides.iter().map(|other| pair(&base_side, other, others.len(), question)).collect())
}
