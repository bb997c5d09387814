use std::cell::OnceCell;

use super::besides::Besides;
use super::compared::{Compared, difference, p_value, unknown_spread};
use super::contrast::{Contrast, Side, contrast};
use super::quantity::{PhotoValues, photo_values, values};
use super::{
    CompareError, Comparison, Difference, Grounds, Quantity, Question, SideOf, Verdict, curves, family, holm,
    quantities,
};
use crate::distribution::{Basis, Figures, IntervalSettings, Sizes, Unseen, pale, standard_errors, support};
use crate::numeric::student_t_quantile;

/// Where a photo holds few particles beyond D90, leaving it out moves D90 in steps from one large particle to the next, and the
/// scatter of the photos comes out too small. The variances of D90 and of span grow by so much of themselves for one effective particle
/// beyond D90 on a photo, and by less the more there are; D10 and D50, which are known better, have a part in that of span. The figures are what
/// simulated studies of two grinds ask for (`tests/comparing.rs`).
const STEPS: [f64; 2] = [0.25, 0.15];

/// By how much D90 and span of two single photos are surer than the effective particles beyond their quantiles tell: where these
/// are few, both sides err upwards alike, and the difference by less. From the same studies.
const SURER: [f64; 2] = [1.5, 3.0];

/// A side with so many times the other's photos is held against it by counting, too. By the scatter of the photos alone, D90
/// of one photo against five and ten held 82 to 89 %, and 7 to 16 % of comparisons of the same grounds were alarms.
const MANY_MORE: usize = 3;

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
    /// Standard errors of the figures' logarithms by counting and scale alone, found when they are asked for.
    errors: OnceCell<[f64; 7]>,
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
            errors: OnceCell::new(),
            unseen_pct: Unseen::below(&sizes, floor_um, question.fines_um, question.level).most_pct,
            floor_um,
            photos,
            sizes,
        })
    }

    /// Standard error of the logarithm of figure number `f` by counting and scale alone, as if all particles lay on one photo.
    fn counted(&self, f: usize, question: &Question) -> f64 {
        self.errors.get_or_init(|| {
            let how = IntervalSettings {
                level: question.level,
                draws: DRAWS,
                seed: question.seed,
                scale_uncertainty: self.grounds.scale_uncertainty,
            };
            standard_errors(&self.sizes, question.fines_um, &how)
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
    let wanted_p = (1.0 - question.level) / samples as f64;
    let exchanged = family::permuted(&sides, wanted_p, question.seed);
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
    let is_share = |of: &Quantity| matches!(of, Quantity::Figure(Figures::FINES) | Quantity::ShareAbove(_));
    let of_none = |q: usize| [base, other].iter().all(|side| side.pooled[q] == 0.0);
    let all = quantities(question).into_iter().enumerate();
    let mut comparison = Comparison {
        sides: [told(base), told(other)],
        curves: curves::curves(&base.photos, &other.photos, question.level, question.seed),
        differences,
        shown_by_none: all.filter(|(q, of)| is_share(of) && of_none(*q)).map(|(_, of)| of).collect(),
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
    if let (Some(_), Quantity::Figure(f @ (Figures::D90 | Figures::SPAN))) = (contrast.freedom, quantity) {
        for (variance, side) in contrast.side_variance.iter_mut().zip(both) {
            let beyond_d90 = side.support[Figures::D90].max(1.0) / side.photos.len() as f64;
            *variance *= 1.0 + STEPS[f - Figures::D90] / beyond_d90;
        }
        contrast.variance = contrast.side_variance.iter().sum();
    }
    if let (true, Quantity::Figure(f)) = (log, quantity) {
        let [fewer, more] = [base.photos.len().min(other.photos.len()), base.photos.len().max(other.photos.len())];
        let counted = || by_counting(both, q, f, question);
        match contrast.freedom {
            None => (contrast.variance, support) = counted(),
            // What many photos scatter by about their mean tells little of how far off a figure of one is: the wider of both holds.
            Some(_) if more >= MANY_MORE * fewer => {
                let (variance, freedom) = counted();
                let reach = student_t_quantile(0.5 + 0.5 * question.level, freedom) * variance.sqrt();
                if reach > contrast.reach(question.level, support) * contrast.error() {
                    (contrast.variance, contrast.freedom) = (variance, Some(freedom));
                }
            }
            Some(_) => {}
        }
    }
    let difference = if log { (values[1] / values[0]).ln() } else { values[1] - values[0] };
    let [of_base, of_other] = [0, 1].map(|i| besides[i].reach(q, quantity, values[i], log, both[i].unseen_pct));
    let unseen = [of_base[1] + of_other[0], of_base[0] + of_other[1]];
    Some(Compared { quantity, log, own, values, contrast, difference, support, unseen })
}

/// Variance of the difference of figure number `f` (quantity number `q`) by counting and scale alone, and its degrees of freedom.
fn by_counting(both: [&Prepared; 2], q: usize, f: usize, question: &Question) -> (f64, f64) {
    let known = both.map(|s| [s.counted(f, question).powi(2), s.support[q].max(1.0)]);
    let surer = if let Figures::D90 | Figures::SPAN = f { SURER[f - Figures::D90] } else { 1.0 };
    (known[0][0] + known[1][0], surer * joint_freedom(known))
}

/// Degrees of freedom of a difference, of two variances each with its own.
///
/// Source: F. E. Satterthwaite, Biometrics Bull. 2 (1946) 110–114 (from memory).
fn joint_freedom(known: [[f64; 2]; 2]) -> f64 {
    let sum: f64 = known.iter().map(|[variance, _]| variance).sum();
    let squares: f64 = known.iter().map(|[variance, freedom]| variance * variance / freedom).sum();
    if squares > 0.0 { sum * sum / squares } else { f64::INFINITY }
}
