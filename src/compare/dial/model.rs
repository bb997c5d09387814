use nalgebra::{DMatrix, RowDVector};

use super::{AtMedian, DialError, DialPair, DialQuestion, DialSet, Point};
use crate::compare::regression::{Regression, random_effects};
use crate::compare::{Quantity, holm};
use crate::distribution::Figures;
use crate::numeric::{Estimate, student_t_cdf, student_t_quantile};

/// A detectable difference would be shown so often.
const POWER: f64 = 0.8;
/// Slopes of the sets that differ with a smaller chance than this are kept apart.
const SLOPES_DIFFER: f64 = 0.05;

/// With fewer samples beyond those that the lines take, intervals of the shift held in 83 to 90 % of simulated studies.
const LEAST_FREEDOM: f64 = 2.0;

/// The lines of all sets.
pub(super) struct Model {
    sets: Vec<Vec<Point>>,
    design: DMatrix<f64>,
    /// Lines of the medians.
    pub median: Regression,
    /// True where all sets share the slope.
    pub same_slope: bool,
    level: f64,
}

impl Model {
    pub fn of(sets: Vec<Vec<Point>>, names: &[&str], level: f64) -> Result<Self, DialError> {
        let value: Vec<f64> = sets.iter().flatten().map(|p| p.figures[1].ln()).collect();
        let known = counting(&sets, |p| p.counted[1].powi(2));
        let with = |same_slope: bool| {
            let design = design(&sets, same_slope);
            random_effects(&design, &value, &known).map(|fit| (design, fit))
        };
        let apart = with(false).filter(|(_, fit)| fit.freedom >= 2.0 && slopes_differ(fit, sets.len()));
        let same_slope = apart.is_none();
        let (design, fit) =
            apart.or_else(|| with(true)).filter(|(_, fit)| fit.freedom >= LEAST_FREEDOM).ok_or(DialError::TooFew)?;
        let model = Model { sets, design, median: fit, same_slope, level };
        let reach = student_t_quantile(0.5 + 0.5 * level, model.median.freedom);
        for (k, name) in names.iter().enumerate() {
            let slope = model.slope_row(k);
            if model.median.at(&slope).abs() <= reach * model.median.error(&slope) {
                return Err(DialError::Flat((*name).to_owned()));
            }
        }
        Ok(model)
    }

    fn slope_row(&self, k: usize) -> RowDVector<f64> {
        let mut row = RowDVector::zeros(self.design.ncols());
        row[self.sets.len() + if self.same_slope { 0 } else { k }] = 1.0;
        row
    }

    /// What the design holds for set `k` at `setting`.
    fn row(&self, k: usize, setting: f64) -> RowDVector<f64> {
        let mut row = self.slope_row(k) * setting;
        row[k] = 1.0;
        row
    }

    /// Setting at which set `k` reaches the median `um`.
    fn setting(&self, k: usize, um: f64) -> f64 {
        (um.ln() - self.median.at(&self.row(k, 0.0))) / self.median.at(&self.slope_row(k))
    }

    /// Medians on the line of set `k` at its outermost settings, µm, rising.
    fn covered(&self, k: usize) -> [f64; 2] {
        let points = &self.sets[k];
        let at = |p: &Point| self.median.at(&self.row(k, p.setting)).exp();
        let (first, last) = (at(&points[0]), at(&points[points.len() - 1]));
        [first.min(last), first.max(last)]
    }

    pub fn common_median(&self, names: &[&str], question: &DialQuestion) -> Result<f64, DialError> {
        let covered: Vec<[f64; 2]> = (0..self.sets.len()).map(|k| self.covered(k)).collect();
        let low = covered.iter().map(|c| c[0]).fold(0.0, f64::max);
        let high = covered.iter().map(|c| c[1]).fold(f64::INFINITY, f64::min);
        let text = |c: [f64; 2]| format!("{:.0} to {:.0}", c[0], c[1]);
        if low > high {
            let finest = (0..names.len()).min_by(|&a, &b| covered[a][1].total_cmp(&covered[b][1])).unwrap_or(0);
            let coarsest = (0..names.len()).max_by(|&a, &b| covered[a][0].total_cmp(&covered[b][0])).unwrap_or(0);
            // The base stays as it is.
            let (first, second) = if coarsest == 0 { (coarsest, finest) } else { (finest, coarsest) };
            let middle = (covered[first][0] * covered[first][1]).sqrt();
            return Err(DialError::Apart {
                first: names[first].to_owned(),
                first_um: text(covered[first]),
                second: names[second].to_owned(),
                second_um: text(covered[second]),
                wanted: format!("{:.1}", self.setting(second, middle)),
            });
        }
        match question.median_um {
            Some(um) if !(low..=high).contains(&um) => Err(DialError::Outside(um, text([low, high]))),
            Some(um) => Ok(um),
            None => Ok((low * high).sqrt()),
        }
    }

    fn reach(&self) -> f64 {
        student_t_quantile(0.5 + 0.5 * self.level, self.median.freedom)
    }

    /// Ratio of `above` (with `constant` added) to `below`, both rows times the coefficients of the medians' lines.
    ///
    /// The interval holds the ratios that the data do not contradict. `below` must differ from 0 at the level asked for.
    /// Source: E. C. Fieller, J. R. Stat. Soc. B 16 (1954) 175–185 (from memory).
    fn ratio(&self, above: &RowDVector<f64>, constant: f64, below: &RowDVector<f64>) -> Estimate {
        let fit = &self.median;
        let (u, v) = (fit.at(above) + constant, fit.at(below));
        let covariance = |a: &RowDVector<f64>, b: &RowDVector<f64>| (a * &fit.covariance * b.transpose())[0];
        let t = self.reach().powi(2);
        let a = v * v - t * covariance(below, below);
        let b = u * v - t * covariance(above, below);
        let c = u * u - t * covariance(above, above);
        let root = (b * b - a * c).max(0.0).sqrt();
        Estimate { value: u / v, low: (b - root) / a, high: (b + root) / a, level: self.level }
    }

    fn estimate(&self, value: f64, error: f64) -> Estimate {
        let half = self.reach() * error;
        Estimate { value, low: value - half, high: value + half, level: self.level }
    }

    /// Row whose product with the coefficients changes as the setting of `median_um` does.
    fn setting_row(&self, k: usize, median_um: f64) -> RowDVector<f64> {
        self.row(k, self.setting(k, median_um)) / -self.median.at(&self.slope_row(k))
    }

    pub fn set(&self, k: usize, name: &str, median_um: f64) -> DialSet {
        let slope = self.slope_row(k);
        let step = self.estimate(self.median.at(&slope), self.median.error(&slope));
        let pct = |v: f64| 100.0 * v.exp_m1();
        let line = |i: usize| {
            let fit = if i == 1 { Some(self.median.clone()) } else { self.fit(i, &vec![0.0; self.sets.len()]) };
            fit.map(|f| [f.at(&self.row(k, 0.0)), f.at(&slope)])
        };
        DialSet {
            name: name.to_owned(),
            points: self.sets[k].clone(),
            per_step_pct: Estimate {
                value: pct(step.value),
                low: pct(step.low),
                high: pct(step.high),
                level: self.level,
            },
            setting: self.ratio(&-self.row(k, 0.0), median_um.ln(), &slope),
            lines: std::array::from_fn(line),
        }
    }

    /// Lines of the logarithm of figure `i` less `follows` (for each set) times that of the median; `None` where a sample
    /// shows none of the figure.
    fn fit(&self, i: usize, follows: &[f64]) -> Option<Regression> {
        let points = || self.sets.iter().zip(follows).flat_map(|(set, g)| set.iter().map(move |p| (p, g)));
        if points().any(|(p, _)| p.figures[i].is_nan() || p.figures[i] <= 0.0) {
            return None;
        }
        let value: Vec<f64> = points().map(|(p, g)| p.figures[i].ln() - g * p.figures[1].ln()).collect();
        random_effects(&self.design, &value, &counting(&self.sets, |p| p.counted[i].powi(2)))
    }

    pub fn pairs(&self, median_um: f64, question: &DialQuestion) -> Vec<DialPair> {
        let others = 1..self.sets.len();
        let figures = (0..Figures::NAMES.len()).filter(|&i| Quantity::Figure(i) != Quantity::MEDIAN);
        let rests: Vec<(usize, Vec<f64>, Regression)> = figures
            .filter_map(|i| {
                let plain = self.fit(i, &vec![0.0; self.sets.len()])?;
                let follows: Vec<f64> = (0..self.sets.len())
                    .map(|k| plain.at(&self.slope_row(k)) / self.median.at(&self.slope_row(k)))
                    .collect();
                let rest = self.fit(i, &follows)?;
                Some((i, follows, rest))
            })
            .collect();
        let setting = |k: usize| self.setting(k, median_um);
        let mut pairs: Vec<DialPair> = others
            .map(|k| DialPair {
                other: k,
                shift: if self.same_slope {
                    self.ratio(&(self.row(0, 0.0) - self.row(k, 0.0)), 0.0, &self.slope_row(0))
                } else {
                    let row = self.setting_row(k, median_um) - self.setting_row(0, median_um);
                    self.estimate(setting(k) - setting(0), self.median.error(&row))
                },
                figures: rests
                    .iter()
                    .map(|(i, follows, rest)| {
                        let value = |k: usize| rest.at(&self.row(k, setting(k))) + follows[k] * median_um.ln();
                        let error = rest.error(&(self.row(k, setting(k)) - self.row(0, setting(0))));
                        self.at_median(Quantity::Figure(*i), [value(0), value(k)], error, question)
                    })
                    .collect(),
            })
            .collect();
        let adjusted = holm(&pairs.iter().flat_map(|p| &p.figures).map(|f| f.p).collect::<Vec<_>>(), 1);
        for (figure, p) in pairs.iter_mut().flat_map(|p| &mut p.figures).zip(adjusted) {
            figure.p_adjusted = p;
        }
        pairs
    }

    /// Two values (logarithms) and the standard error of their difference as a figure.
    fn at_median(&self, quantity: Quantity, logs: [f64; 2], error: f64, question: &DialQuestion) -> AtMedian {
        let freedom = self.median.freedom;
        let difference = logs[1] - logs[0];
        let e = self.estimate(difference, error);
        let pct = |v: f64| 100.0 * v.exp_m1();
        let margin = if quantity == Quantity::FINES { question.fines_margin } else { question.margin };
        let p = 2.0 * (1.0 - student_t_cdf(difference.abs() / error, freedom));
        AtMedian {
            quantity,
            values: logs.map(f64::exp),
            relative_pct: Estimate { value: pct(e.value), low: pct(e.low), high: pct(e.high), level: self.level },
            p,
            p_adjusted: p,
            smallest_detectable_pct: pct((self.reach() + student_t_quantile(POWER, freedom)) * error),
            margin_pct: 100.0 * margin,
            alike: difference.abs() + student_t_quantile(self.level, freedom) * error < margin.ln_1p(),
        }
    }
}

/// Variance by counting of each sample: that of a particle is taken from all samples together. Left to itself, a sample that
/// by chance holds few large particles would look both small and sure, and pull the line down.
fn counting(sets: &[Vec<Point>], variance: impl Fn(&Point) -> f64) -> Vec<f64> {
    let points = || sets.iter().flatten();
    let one = points().map(|p| variance(p) * p.particles as f64).sum::<f64>() / points().count() as f64;
    points().map(|p| one / p.particles as f64).collect()
}

/// A column for each set, then one for the setting, or one for each set's.
fn design(sets: &[Vec<Point>], same_slope: bool) -> DMatrix<f64> {
    let rows: Vec<(usize, f64)> =
        sets.iter().enumerate().flat_map(|(k, points)| points.iter().map(move |p| (k, p.setting))).collect();
    let slopes = if same_slope { 1 } else { sets.len() };
    DMatrix::from_fn(rows.len(), sets.len() + slopes, |i, column| {
        let (k, setting) = rows[i];
        match column.checked_sub(sets.len()) {
            None => f64::from(u8::from(column == k)),
            Some(slope) if same_slope || slope == k => setting,
            Some(_) => 0.0,
        }
    })
}

/// True where a set's slope differs visibly from the base's.
fn slopes_differ(fit: &Regression, sets: usize) -> bool {
    (1..sets).any(|k| {
        let mut row = RowDVector::zeros(2 * sets);
        (row[sets], row[sets + k]) = (-1.0, 1.0);
        let p = 2.0 * (1.0 - student_t_cdf(fit.at(&row).abs() / fit.error(&row), fit.freedom));
        p * ((sets - 1) as f64) < SLOPES_DIFFER
    })
}
