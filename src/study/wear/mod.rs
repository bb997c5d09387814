//! A figure against the kilograms that a set of burrs has ground: no change, a straight line, or an approach to a plateau.

mod family;

use crate::compare::holm;
use crate::numeric::{Draws, Estimate, quantile_of_sorted, student_t_quantile};
use family::Family;
pub use family::{Curve, FIRST_95};

/// Fewest samples for which a trend is reckoned.
pub const FEWEST: usize = 4;
/// Fewest samples that let a bend be part of what is looked for.
const FEWEST_FOR_BENDS: usize = 5;
/// Fewest samples for which it is said when a change is done.
pub const FEWEST_FOR_PLATEAU: usize = 7;
/// Draws under "no change" behind the p-value: its own standard error near 0.05 is 0.005, and is added to it.
const DRAWS: usize = 1999;
/// Differences are called detectable that would be shown so often.
const POWER: f64 = 0.8;

/// One sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Ground before it was taken, kg.
    pub kg: f64,
    /// Logarithm of the figure.
    pub value: f64,
    /// Variance of that by counting and by the spread of photos; only the relation between samples matters.
    pub variance: f64,
}

/// An error that all samples share, such as that of a slope by which they were brought to one median: each is off by its own
/// multiple of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Common {
    /// Standard error of what is shared.
    pub error: f64,
    /// By how much of it each point is off, in the order of the points.
    pub by: Vec<f64>,
}

/// What is said of the shape.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// No change beyond chance.
    NoChange,
    /// It changes; a straight line explains that as well as a bend does.
    Line,
    /// It changes and levels off: a straight line is excluded.
    Plateau,
}

/// Kilograms at which 95 % of the change since the first sample is done; ends that the data leave open are absent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Done {
    /// Best value, kg; absent where the best curve is the straight line.
    pub kg: Option<f64>,
    /// Lower end, kg; absent where it may all have happened before the second sample.
    pub low_kg: Option<f64>,
    /// Upper end, kg; absent where a straight line fits as well.
    pub high_kg: Option<f64>,
}

/// A figure over the kilograms.
#[derive(Clone, Debug, PartialEq)]
pub struct Trend {
    /// Samples.
    pub points: Vec<Point>,
    /// Chance of so strong a trend of any of these shapes when nothing changes.
    pub p: f64,
    /// The same for all trends that are looked at.
    pub p_adjusted: f64,
    /// Confidence of intervals and verdict, 0..1.
    pub level: f64,
    /// Change of the logarithm from the first sample to the last, over all these shapes.
    pub change: Estimate,
    /// When it is done; absent with too few samples for a bent curve.
    pub done: Option<Done>,
    /// The straight line, and the best curve of the family where there are samples enough.
    pub line: Curve,
    /// See `line`.
    pub bent: Option<Curve>,
    /// Change of the logarithm that these samples would have shown four times out of five.
    pub smallest_detectable: f64,
    /// How many times as many samples would tell the best curve from a line four times out of five; absent where they are
    /// told apart already, or where the best curve is the line.
    pub times_for_plateau: Option<f64>,
    /// Scatter from sample to sample about the curve (standard deviation of the logarithm), photos aside.
    pub added_deviation: f64,
}

impl Trend {
    /// The shape that is said.
    pub fn shape(&self) -> Shape {
        if self.p_adjusted >= 1.0 - self.level {
            Shape::NoChange
        } else if self.done.is_some_and(|d| d.high_kg.is_some()) {
            Shape::Plateau
        } else {
            Shape::Line
        }
    }

    /// The curve of that shape.
    pub fn curve(&self) -> Curve {
        match (self.shape(), self.bent) {
            (Shape::Plateau, Some(bent)) => bent,
            (Shape::NoChange, _) => Curve { start: self.mean(), change: 0.0, ..self.line },
            _ => self.line,
        }
    }

    fn mean(&self) -> f64 {
        self.points.iter().map(|p| p.value).sum::<f64>() / self.points.len() as f64
    }
}

/// Why there is no trend.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs, reason = "each variant is its message")]
pub enum WearError {
    #[error("{samples} samples at {places} different kilograms: a trend takes at least {FEWEST} samples at 3")]
    TooFew { samples: usize, places: usize },
}

/// Trend of `points`, with intervals of coverage `level` and the random draws of `seed`.
///
/// The family is y = a + c·(1 − exp(−k·x))/(1 − exp(−k·R)), x from the first sample on and R its range; the straight line is its limit
/// for k → 0. A sample has the variance τ² + its own; τ² makes the weighted squares of the residuals as many as their
/// degrees of freedom (Paule & Mandel 1982, from memory). What all samples share, `common`, is part of their covariance.
///
/// * **Any change**: the largest reduction of the squares over the family, held against the same of draws in which nothing
///   changes, as the rate k means nothing then (R. B. Davies, Biometrika 74 (1987) 33–43, from memory).
/// * **Kilograms of 95 %**: all rates for which the squares stay below (1 + t²/ν) times the least, the profile likelihood with the
///   F law of one and ν degrees of freedom (D. M. Bates & D. G. Watts, Nonlinear Regression Analysis (1988), from memory).
///   The shape is a plateau where the straight line lies beyond them.
/// * **Size of the change**: in the same way, with the limit that the draws give, so that it holds 0 where the test finds nothing.
///
/// Coverage, "no change" kept and plateaus found are simulated in `tests/study/wear.rs`; the table is in `docs/study.md`.
///
/// # Errors
/// Too few samples.
pub fn trend(points: &[Point], common: Option<&Common>, level: f64, seed: u64) -> Result<Trend, WearError> {
    let mut order: Vec<usize> = (0..points.len()).collect();
    order.sort_by(|&a, &b| points[a].kg.total_cmp(&points[b].kg));
    let common = common
        .filter(|c| c.error > 0.0 && c.by.iter().any(|b| *b != 0.0))
        .map(|c| Common { by: order.iter().map(|&i| c.by[i]).collect(), ..*c });
    let points: Vec<Point> = order.into_iter().map(|i| points[i]).collect();
    let mut kg: Vec<f64> = points.iter().map(|p| p.kg).collect();
    kg.dedup();
    if points.len() < FEWEST || kg.len() < 3 {
        return Err(WearError::TooFew { samples: points.len(), places: kg.len() });
    }
    let with_bends = points.len() >= FEWEST_FOR_BENDS && kg.len() >= 4;
    let (family, tau) = Family::of(&points, with_bends, common.as_ref());
    let fit = family.fit();
    let t = student_t_quantile(0.5 + 0.5 * level, fit.freedom);
    let limit = fit.least * (1.0 + t * t / fit.freedom);
    let chance = under_no_change(&family, seed);
    // The standard error of a share of the draws goes against the change, so that "no change" is kept as often as is said.
    let unsure = |share: f64| (share * (1.0 - share) / DRAWS as f64).sqrt();
    let drawn = (chance.iter().filter(|c| **c >= fit.statistic).count() + 1) as f64 / (DRAWS + 1) as f64;
    let p = (drawn + unsure(drawn)).min(1.0);
    // Where nothing changes any rate fits, so the change keeps as much room as the draws say.
    let room = quantile_of_sorted(&chance, level + unsure(level));
    let [low, high] = family.change_within(&fit, fit.least * (1.0 + room));
    let line = family.line(&fit);
    let bent = with_bends.then(|| family.best(&fit));
    let first = points[0].kg;
    let done = (with_bends && points.len() >= FEWEST_FOR_PLATEAU).then(|| {
        let [low_kg, high_kg] = family.done_within(&fit, limit);
        Done {
            kg: bent.and_then(|b| b.done_kg()),
            low_kg: low_kg.map(|x| first + x),
            high_kg: high_kg.map(|x| first + x),
        }
    });
    let variance = fit.least / fit.freedom;
    let bend = (fit.squares_of_line - fit.least) / variance.max(f64::MIN_POSITIVE);
    // Squared sum of the two quantiles of the normal law: 1.96 + 0.84 at 95 % and a power of 80 %.
    let needed = (student_t_quantile(0.5 + 0.5 * level, 1e6) + student_t_quantile(POWER, 1e6)).powi(2);
    Ok(Trend {
        p,
        p_adjusted: p,
        level,
        change: Estimate { value: bent.unwrap_or(line).change, low, high, level },
        times_for_plateau: done.filter(|d| d.high_kg.is_none() && bend > 0.1).map(|_| (needed / bend).max(1.0)),
        done,
        line,
        bent,
        // What the draws ask for, and what a change must lie beyond it, in standard errors of the change by a line.
        smallest_detectable: ((room * fit.freedom).sqrt() + student_t_quantile(POWER, fit.freedom))
            * variance.sqrt()
            * family.error_of_line(),
        added_deviation: tau.sqrt(),
        points,
    })
}

/// What chance alone makes of the reduction of the squares over what is left, in rising order.
fn under_no_change(family: &Family, seed: u64) -> Vec<f64> {
    let mut draws = Draws::new(seed, 0);
    let mut values = vec![0.0; family.len()];
    let mut found: Vec<f64> = (0..DRAWS)
        .map(|_| {
            values.iter_mut().for_each(|v| *v = draws.normal());
            family.statistic(&values)
        })
        .collect();
    found.sort_by(f64::total_cmp);
    found
}

/// Adjusts the p-values of `trends` for having looked at all of them (Holm).
pub fn adjust(trends: &mut [&mut Trend]) {
    let p: Vec<f64> = trends.iter().map(|t| t.p).collect();
    for (trend, adjusted) in trends.iter_mut().zip(holm(&p, 1)) {
        trend.p_adjusted = adjusted;
    }
}
