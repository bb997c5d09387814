//! One figure of two samples: what is known of its difference, and what is told of it.

use super::contrast::{Contrast, Side};
use super::power::{photos_a_side, smallest_detectable};
use super::{Difference, Quantity, Question};
use crate::numeric::{Estimate, normal_quantile, student_t_cdf, student_t_quantile};

/// With one photo a side a difference is claimed only where it would hold even if spreads of the same grounds scattered
/// by as much as this (relative standard deviation): what careless spreading may reach. An assumption, not a measurement.
const UNKNOWN_SPREAD: f64 = 0.06;

/// The same for the figures of the fine end: fines cling and segregate, and a shift of all sizes moves them most.
const UNKNOWN_FINE_SPREAD: f64 = 0.20;

/// The same for shares above a size, % of the mass.
const UNKNOWN_SHARE_SPREAD: f64 = 3.0;

/// A quantity ready to be compared.
pub(super) struct Compared {
    pub quantity: Quantity,
    pub log: bool,
    /// The photos' own values, which may be exchanged between the sides.
    pub own: [Side; 2],
    pub values: [f64; 2],
    pub contrast: Contrast,
    /// Other less base on the scale of comparison, photos pooled.
    pub difference: f64,
    pub support: f64,
    /// By how much the true difference may lie below and above for what the photos cannot show.
    pub unseen: [f64; 2],
}

impl Compared {
    /// What is unseen that may be all that differs.
    fn unseen_towards_nothing(&self) -> f64 {
        self.unseen[usize::from(self.difference < 0.0)]
    }

    fn largest_unseen(&self) -> f64 {
        self.unseen[0].max(self.unseen[1])
    }

    /// Distances from the difference to the ends of an interval that is `half` wide to each side by chance: both sources are
    /// independent, as in [`crate::distribution::Unseen::opened`].
    fn reaches(&self, half: f64) -> [f64; 2] {
        self.unseen.map(|u| half.hypot(u))
    }
}

/// Two-sided p-value, with `more` variance than the photos show.
pub(super) fn p_value(c: &Compared, more: f64) -> f64 {
    if c.difference == 0.0 {
        return 1.0;
    }
    // Significant where the interval that is opened for what is unseen leaves out 0.
    let beyond = (c.difference.powi(2) - c.unseen_towards_nothing().powi(2)).max(0.0).sqrt();
    let t = beyond / (c.contrast.variance + more).sqrt();
    2.0 * (1.0 - student_t_cdf(t, c.contrast.degrees(c.support)))
}

/// What is told of it; `p_adjusted` is that of the whole family.
pub(super) fn difference(c: &Compared, p: f64, p_adjusted: f64, question: &Question) -> Difference {
    let Compared { quantity, log, values: [a, b], contrast, difference, support, .. } = *c;
    let level = question.level;
    let half = contrast.reach(level, support) * contrast.error();
    let [mut down, up] = c.reaches(half);
    if quantity == Quantity::FINES && !log {
        // No side holds less than none.
        down = down.min(difference + a);
    }
    // From logarithms to the unit of the figure by the mean that makes the difference exact.
    let unit = if !log {
        1.0
    } else if difference.abs() < 1e-9 {
        a
    } else {
        (b - a) / difference
    };
    let estimate = |value: f64, low: f64, high: f64| Estimate { value, low, high, level };
    let pct = |v: f64| if log { 100.0 * v.exp_m1() } else { 100.0 * v / a };
    let margin = if quantity == Quantity::FINES { question.fines_margin } else { question.margin };
    // On the scale of comparison; a share above counts relative to the base's, as every other figure.
    let reach = if log { margin.ln_1p() } else { margin * a };
    let one_sided = student_t_quantile(level, contrast.degrees(support)) * contrast.error();
    let [less, more] = c.reaches(one_sided);
    Difference {
        quantity,
        values: [a, b],
        difference: estimate(unit * difference, unit * (difference - down), unit * (difference + up)),
        relative_pct: (a > 0.0).then(|| estimate(pct(difference), pct(difference - down), pct(difference + up))),
        p,
        p_adjusted,
        smallest_detectable: unit * c.largest_unseen().hypot(smallest_detectable(contrast, support, level)),
        margin_pct: 100.0 * margin,
        alike: difference - less > -reach && difference + more < reach,
        equivalence_pct: Estimate {
            value: pct(difference),
            low: pct(difference - less),
            high: pct(difference + more),
            level: 2.0 * level - 1.0,
        },
        reaches_beyond: difference - down <= -reach || difference + up >= reach,
        photos_needed: photos_a_side(contrast.photo_variance, reach, level),
        beyond_photos: c.largest_unseen() >= reach,
        explained_by_spread: explained_by_spread(c, level),
        holds_under_spread: false,
    }
}

/// Standard deviation between spreads that is reckoned with where it is unknown, on the scale of comparison.
pub(super) fn unknown_spread(c: &Compared) -> f64 {
    // A plain share of fines is held against the same relative spread.
    let size = if c.quantity.is_ratio() && !c.log { c.values[0].max(c.values[1]) } else { 1.0 };
    match c.quantity {
        Quantity::Figure(0 | 4 | 5) => UNKNOWN_FINE_SPREAD * size,
        Quantity::Figure(_) => UNKNOWN_SPREAD * size,
        Quantity::ShareAbove(_) => UNKNOWN_SHARE_SPREAD,
    }
}

/// The spread (%) that would explain what counting does not.
fn explained_by_spread(c: &Compared, level: f64) -> Option<f64> {
    let reach = normal_quantile(0.5 + 0.5 * level);
    let beyond = (c.difference / reach).powi(2) - c.contrast.variance;
    let percent = if c.log { 100.0 } else { 1.0 };
    (c.contrast.freedom.is_none() && beyond > 0.0).then(|| percent * (0.5 * beyond).sqrt())
}
