use std::cell::OnceCell;

use super::besides::Besides;
use super::contrast::{Contrast, Side, contrast};
use super::power::{photos_a_side, smallest_detectable};
use super::quantity::{PhotoValues, photo_values, values};
use super::{
    CompareError, Comparison, Difference, Grounds, Quantity, Question, SideOf, Verdict, curves, family, holm,
    quantities,
};
use crate::distribution::{Basis, Figures, IntervalSettings, Sizes, Unseen, intervals, pale, support};
use crate::numeric::{Estimate, normal_quantile, student_t_cdf, student_t_quantile};

/// With one photo a side a difference is claimed only where it would hold even if spreads of the same grounds scattered
/// by as much as this (relative standard deviation): what careless spreading may reach. An assumption, not a measurement.
const UNKNOWN_SPREAD: f64 = 0.06;

/// The same for the figures of the fine end: fines cling and segregate, and a shift of all sizes moves them most.
const UNKNOWN_FINE_SPREAD: f64 = 0.20;

/// The same for shares above a size, % of the mass.
const UNKNOWN_SHARE_SPREAD: f64 = 3.0;

/// Where a photo holds few particles beyond D90, leaving it out moves D90 in steps from one large particle to the next, and the
/// scatter of the photos comes out too small. The variances of D90 and of span grow by so much of themselves for one effective particle
/// beyond D90 on a photo, and by less the more there are; D10 and D50, which are known better, have a part in that of span. The figures are what
/// simulated studies of two grinds ask for (`tests/comparing.rs`).
const STEPS: [f64; 2] = [0.25, 0.15];

/// Bootstrap draws behind the intervals by counting alone.
const DRAWS: usize = 300;

/// A sample with its photos' figures.
pub(super) struct Prepared<'a> {
    pub grounds: &'a Grounds,
    /// All photos together, and each.
    sizes: Sizes,
    photos: Vec<Sizes>,
    values: Vec<PhotoValues>,
    pooled: Vec<f64>,
    /// Quantities without each photo in turn; of no use with one photo.
    without: Vec<Vec<f64>>,
    support: Vec<f64>,
    /// Intervals of the figures by counting and scale alone, found when they are asked for.
    intervals: OnceCell<[Estimate; 7]>,
    /// Fines that its photos cannot show, % of the mass at most.
    unseen_pct: f64,
    /// Smallest size that all its photos show, µm.
    floor_um: f64,
}

impl<'a> Prepared<'a> {
    /// Name of each quantity and how it varies from photo to photo: as a share of itself, or in % of the mass.
    pub fn variances(&self, question: &Question) -> Vec<(Quantity, f64, Contrast<1>)> {
        let all = quantities(question).into_iter().enumerate();
        all.filter(|&(q, _)| self.pooled[q] > 0.0)
            .map(|(q, quantity)| {
                let log = quantity.is_ratio() && self.has_logarithm(q);
                let mut known = contrast([&self.side(q, log, quantity.is_ratio())]);
                if quantity.is_ratio() && !log {
                    // Plain shares as a part of their own size.
                    known.photo_variance /= self.pooled[q].powi(2);
                }
                (quantity, self.pooled[q], known)
            })
            .collect()
    }

    pub fn of(grounds: &'a Grounds, question: &Question) -> Result<Self, CompareError> {
        let quantities = quantities(question);
        let sizes = Sizes::of(&grounds.sample);
        let photos: Vec<Sizes> =
            (0..sizes.photos()).map(|i| sizes.of_photo(i)).filter(|s| !s.ecd_um.is_empty()).collect();
        if photos.is_empty() {
            return Err(CompareError::Empty(grounds.name.clone()));
        }
        grounds.enough()?;
        let figures = Figures::of(&sizes, Basis::Mass, question.fines_um).to_array();
        let behind = support(&sizes, question.fines_um, &figures);
        // A share above a size rests on at least as many particles as the median's thinner side.
        let support = quantities.iter().map(|q| if let Quantity::Figure(i) = q { behind[*i] } else { behind[1] });
        let floor_um = grounds.sample.smallest_ecd_um();
        let without = |photo: usize| {
            let rows = (0..sizes.ecd_um.len()).filter(|&i| sizes.photo[i] != photo);
            let rest = Sizes::from_rows(rows.map(|i| (sizes.ecd_um[i], sizes.weight[i], 0)).collect());
            values(&quantities, &rest, question.fines_um)
        };
        let used = (0..sizes.photos()).filter(|&i| photos.len() > 1 && sizes.photo.contains(&i));
        Ok(Prepared {
            grounds,
            without: used.map(without).collect(),
            values: shared_counting(&photos, photos.iter().map(|s| photo_values(s, &quantities, question.fines_um))),
            pooled: quantities.iter().map(|q| q.of(&sizes, &figures)).collect(),
            support: support.collect(),
            intervals: OnceCell::new(),
            unseen_pct: Unseen::below(&sizes, floor_um, question.fines_um, question.level).most_pct,
            floor_um,
            photos,
            sizes,
        })
    }

    /// Interval of figure number `f` by counting and scale alone, as if all particles lay on one photo.
    fn counted(&self, f: usize, question: &Question) -> Estimate {
        self.intervals.get_or_init(|| {
            let how = IntervalSettings {
                level: question.level,
                draws: DRAWS,
                seed: question.seed,
                scale_uncertainty: self.grounds.scale_uncertainty,
            };
            let rows = self.sizes.ecd_um.iter().zip(&self.sizes.weight).map(|(d, w)| (*d, *w, 0)).collect();
            intervals(&Sizes::from_rows(rows), Basis::Mass, question.fines_um, &how)
        })[f]
    }

    /// What it may hide beside `other`.
    fn besides(&self, other: &Prepared, question: &Question) -> Besides {
        Besides::of(&self.sizes, &self.pooled, self.floor_um, other.floor_um, question)
    }

    /// True where quantity number `q` is above 0 on every photo, and without every one.
    fn has_logarithm(&self, q: usize) -> bool {
        self.values.iter().all(|p| p.value[q] > 0.0) && self.without.iter().all(|w| w[q] > 0.0)
    }

    /// Quantity number `q` for each photo, as its logarithm or plain: by how much the photo moves the pooled figure.
    ///
    /// Pseudo-values of the jackknife that leaves out a photo at a time. The photos' own figures would scatter less than
    /// the pooled one where a photo holds few large particles. Photos count by their particles, not by mass: mass goes with
    /// the figure itself, and what a photo with one huge particle adds to the scatter would be taken for too little.
    /// Source: F. M. T. A. Busing, E. Meijer & R. van der Leeden, Stat. Comput. 9 (1999) 3–8 (from memory).
    fn side(&self, q: usize, log: bool, is_ratio: bool) -> Side {
        let mut side = self.own(q, log, is_ratio);
        let value = |v: f64| if log { v.ln() } else { v };
        let count: f64 = side.weight.iter().sum();
        // Nothing is left without the only photo: its own value stands.
        for (i, rest) in self.without.iter().enumerate() {
            let times = count / side.weight[i];
            side.value[i] = times * value(self.pooled[q]) - (times - 1.0) * value(rest[q]);
        }
        side
    }

    /// Quantity number `q` as each photo shows it by itself: what may be exchanged between the sides.
    fn own(&self, q: usize, log: bool, is_ratio: bool) -> Side {
        let value = |v: f64| if log { v.ln() } else { v };
        // Variances of logarithms become those of plain values.
        let counting = |p: &PhotoValues| {
            if is_ratio && !log { p.counting[q] * p.value[q].powi(2) } else { p.counting[q] }
        };
        Side {
            value: self.values.iter().map(|p| value(p.value[q])).collect(),
            counting: self.values.iter().map(counting).collect(),
            weight: self.values.iter().map(|p| p.count).collect(),
            particles: self.values.iter().map(|p| p.count).collect(),
        }
    }
}

/// Figures of the photos, with counting variances of a particle taken from all photos together: a single photo tells the density
/// at a quantile badly, and one that by chance holds few large particles would look both small and sure.
fn shared_counting(photos: &[Sizes], values: impl Iterator<Item = PhotoValues>) -> Vec<PhotoValues> {
    let mut values: Vec<PhotoValues> = values.collect();
    let count = |i: usize| photos[i].ecd_um.len() as f64;
    for q in 0..values[0].counting.len() {
        let known: Vec<f64> =
            (0..photos.len()).map(|i| values[i].counting[q] * count(i)).filter(|c| c.is_finite()).collect();
        let one = known.iter().sum::<f64>() / known.len().max(1) as f64;
        for (i, photo) in values.iter_mut().enumerate().filter(|(_, v)| v.counting[q].is_finite()) {
            photo.counting[q] = one / count(i);
        }
    }
    values
}

/// A quantity ready to be compared.
struct Compared {
    quantity: Quantity,
    log: bool,
    /// The photos' own values, which may be exchanged between the sides.
    own: [Side; 2],
    values: [f64; 2],
    contrast: Contrast,
    /// Other less base on the scale of comparison, photos pooled.
    difference: f64,
    support: f64,
    /// By how much the true difference may lie below and above for what the photos cannot show.
    unseen: [f64; 2],
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
    /// independent, as in [`Unseen::opened`].
    fn reaches(&self, half: f64) -> [f64; 2] {
        self.unseen.map(|u| half.hypot(u))
    }
}

/// Compares `other` with `base`, one of `samples` that are.
pub(super) fn pair(base: &Prepared, other: &Prepared, samples: usize, question: &Question) -> Comparison {
    let besides = [base.besides(other, question), other.besides(base, question)];
    let compared: Vec<Compared> = quantities(question)
        .into_iter()
        .enumerate()
        .filter_map(|(q, of)| prepare([base, other], &besides, q, of, question))
        .collect();
    let p: Vec<f64> = compared.iter().map(|c| p_value(c, 0.0)).collect();
    // The chances that remain if spreads scatter as much as is met.
    let careful: Vec<f64> =
        holm(&compared.iter().map(|c| p_value(c, 2.0 * unknown_spread(c).powi(2))).collect::<Vec<_>>(), samples);
    let sides: Vec<[&Side; 2]> = compared.iter().map(|c| [&c.own[0], &c.own[1]]).collect();
    let exchanged = family::permuted(&sides, question.seed);
    let adjusted: Vec<f64> = match &exchanged {
        Some(adjusted) => adjusted.iter().zip(&p).map(|(a, p)| (a * samples as f64).clamp(*p, 1.0)).collect(),
        None => holm(&p, samples),
    };
    let mut differences: Vec<Difference> =
        compared.iter().zip(p).zip(adjusted).map(|((c, p), adjusted)| difference(c, p, adjusted, question)).collect();
    for (difference, careful) in differences.iter_mut().zip(careful) {
        difference.holds_under_spread = careful < 1.0 - question.level;
    }
    let told = |side: &Prepared| SideOf {
        name: side.grounds.name.clone(),
        photos: side.photos.len(),
        particles: side.grounds.sample.count(),
        smallest_ecd_um: side.grounds.sample.smallest_ecd_um(),
        pale: pale(side.grounds.sample.particles()),
    };
    let mut comparison = Comparison {
        sides: [told(base), told(other)],
        curves: curves::curves(&base.photos, &other.photos, question.level, question.seed),
        differences,
        verdict: Verdict::Undecided,
        level: question.level,
        spread_unknown: compared.iter().all(|c| c.contrast.freedom.is_none()),
        exchanged: exchanged.is_some(),
    };
    comparison.verdict = if comparison.differences.iter().any(|d| comparison.is_clear(d)) {
        Verdict::Different
    } else if comparison.differences.iter().all(|d| d.alike) && !comparison.spread_unknown {
        Verdict::Alike
    } else {
        Verdict::Undecided
    };
    comparison
}

/// `None` where no photo shows the quantity.
fn prepare(
    both: [&Prepared; 2],
    besides: &[Besides; 2],
    q: usize,
    quantity: Quantity,
    question: &Question,
) -> Option<Compared> {
    let [base, other] = both;
    let values = both.map(|s| s.pooled[q]);
    // Particles of one size have no span, and nothing is in a ratio to it.
    let no_span = quantity == Quantity::SPAN && values.contains(&0.0);
    if values == [0.0; 2] || no_span || values.iter().any(|v| !v.is_finite()) {
        return None;
    }
    // A photo without any fines has no logarithm; the plain shares are compared then.
    let log = quantity.is_ratio() && both.iter().all(|s| s.has_logarithm(q));
    let mut sides = both.map(|s| s.side(q, log, quantity.is_ratio()));
    let mut own = both.map(|s| s.own(q, log, quantity.is_ratio()));
    if quantity.is_ratio() && !log {
        // And it shows no scatter by counting: the largest of the other photos stands for it.
        let largest = sides.iter().flat_map(|s| &s.counting).copied().filter(|c| c.is_finite()).fold(0.0, f64::max);
        sides.iter_mut().chain(&mut own).flat_map(|s| &mut s.counting).for_each(|c| {
            if c.is_nan() || *c <= 0.0 {
                *c = largest;
            }
        });
    }
    let mut contrast = contrast([&sides[0], &sides[1]]);
    let mut support = base.support[q].min(other.support[q]);
    if let (None, true, Quantity::Figure(f)) = (contrast.freedom, log, quantity) {
        // The spread is unknown: what the intervals of the two measurements, which hold counting and scale, join to.
        let known = both.map(|s| {
            let freedom = s.support[q].max(1.0);
            let Estimate { low, high, .. } = s.counted(f, question);
            let half = 0.5 * (high / low).ln();
            [(half / student_t_quantile(0.5 + 0.5 * question.level, freedom)).powi(2), freedom]
        });
        contrast.variance = known[0][0] + known[1][0];
        support = joint_freedom(known);
    }
    if let (Some(_), Quantity::Figure(f @ (2 | 3))) = (contrast.freedom, quantity) {
        for (variance, side) in contrast.side_variance.iter_mut().zip(both) {
            let beyond_d90 = side.support[2].max(1.0) / side.photos.len() as f64;
            *variance *= 1.0 + STEPS[f - 2] / beyond_d90;
        }
        contrast.variance = contrast.side_variance.iter().sum();
    }
    let difference = if log { (values[1] / values[0]).ln() } else { values[1] - values[0] };
    let [of_base, of_other] = [0, 1].map(|i| besides[i].reach(q, quantity, values[i], log, both[i].unseen_pct));
    let unseen = [of_base[1] + of_other[0], of_base[0] + of_other[1]];
    Some(Compared { quantity, log, own, values, contrast, difference, support, unseen })
}

/// Degrees of freedom of a difference, of two variances each with its own.
///
/// Source: F. E. Satterthwaite, Biometrics Bull. 2 (1946) 110–114 (from memory).
fn joint_freedom(known: [[f64; 2]; 2]) -> f64 {
    let sum: f64 = known.iter().map(|[variance, _]| variance).sum();
    let squares: f64 = known.iter().map(|[variance, freedom]| variance * variance / freedom).sum();
    if squares > 0.0 { sum * sum / squares } else { f64::INFINITY }
}

/// Two-sided p-value, with `more` variance than the photos show.
fn p_value(c: &Compared, more: f64) -> f64 {
    if c.difference == 0.0 {
        return 1.0;
    }
    // Significant where the interval that is opened for what is unseen leaves out 0.
    let beyond = (c.difference.powi(2) - c.unseen_towards_nothing().powi(2)).max(0.0).sqrt();
    let t = beyond / (c.contrast.variance + more).sqrt();
    2.0 * (1.0 - student_t_cdf(t, c.contrast.freedom.unwrap_or(c.support.max(1.0))))
}

fn difference(c: &Compared, p: f64, p_adjusted: f64, question: &Question) -> Difference {
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
    let one_sided = student_t_quantile(level, contrast.freedom.unwrap_or(support.max(1.0))) * contrast.error();
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
fn unknown_spread(c: &Compared) -> f64 {
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
