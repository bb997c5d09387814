//! How the time of a brew goes with the grind: an association, never a cause.

use super::file::{BrewKind, Study};
use super::grind::Grind;
use crate::distribution::Figures;
use crate::numeric::{Estimate, regression, student_t_cdf, student_t_quantile};

/// Fewest samples: three parameters leave three degrees of freedom.
pub const FEWEST: usize = 6;
/// Brews of another recipe take another time: the dose may differ from the middle one by this share.
const SAME_DOSE: f64 = 0.05;
/// D50 and fines that explain each other to this share are not told apart.
const TOGETHER: f64 = 0.9;

/// A figure's part in the time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Effect {
    /// Change of the time that goes with 10 % more of the figure, %.
    pub per_tenth_pct: Estimate,
    /// Two-sided chance of so strong an association when there is none.
    pub p: f64,
}

/// Time against D50 and fines for one kind of brew.
#[derive(Clone, Debug, PartialEq)]
pub struct BrewTime {
    /// Kind of brew.
    pub kind: BrewKind,
    /// Sample, D50 (µm), fines (%), and the geometric mean of its times (s).
    pub rows: Vec<(usize, f64, f64, f64)>,
    /// Brews behind them.
    pub brews: usize,
    /// Brews left out: another dose, or a sample without fines or photos.
    pub left_out: usize,
    /// D50, fines; `None` with fewer samples than [`FEWEST`].
    pub effects: Option<[Effect; 2]>,
    /// Share of the one's variance that the other explains: near 1 they cannot be told apart.
    pub shared: f64,
}

impl BrewTime {
    /// True where D50 and fines go together too closely to be told apart.
    pub fn together(&self) -> bool {
        self.shared > TOGETHER
    }
}

/// Times against grinds, for each kind of brew that has times.
///
/// ln t = a + b·ln D50 + c·ln fines by least squares over the samples: brews of one sample are averaged first, since they share
/// their grind and tell nothing new of it. Student's t with samples − 3 degrees of freedom.
pub fn brew_times(study: &Study, grinds: &[Option<Grind>]) -> Vec<BrewTime> {
    BrewKind::ALL.into_iter().filter_map(|kind| one(kind, study, grinds)).collect()
}

fn one(kind: BrewKind, study: &Study, grinds: &[Option<Grind>]) -> Option<BrewTime> {
    let timed: Vec<(usize, f64, f64)> =
        study.brews.iter().filter(|b| b.kind == kind).filter_map(|b| Some((b.sample, b.dose_g, b.time_s?))).collect();
    let mut doses: Vec<f64> = timed.iter().map(|t| t.1).collect();
    doses.sort_by(f64::total_cmp);
    let middle = *doses.get(doses.len() / 2)?;
    let mut rows: Vec<(usize, f64, f64, f64)> = Vec::new();
    let mut brews = 0;
    for (sample, grind) in grinds.iter().enumerate() {
        let Some(grind) = grind else { continue };
        let [median, fines] = [1, Figures::FINES].map(|f| grind.figures[f].value);
        let own: Vec<f64> = timed
            .iter()
            .filter(|t| t.0 == sample && (t.1 / middle - 1.0).abs() <= SAME_DOSE && fines > 0.0)
            .map(|t| t.2.ln())
            .collect();
        if !own.is_empty() {
            brews += own.len();
            rows.push((sample, median, fines, (own.iter().sum::<f64>() / own.len() as f64).exp()));
        }
    }
    let [x, y, t]: [Vec<f64>; 3] = [
        rows.iter().map(|r| r.1.ln()).collect(),
        rows.iter().map(|r| r.2.ln()).collect(),
        rows.iter().map(|r| r.3.ln()).collect(),
    ];
    Some(BrewTime {
        kind,
        brews,
        left_out: timed.len() - brews,
        effects: effects(&x, &y, &t, study.level),
        shared: shared(&x, &y),
        rows,
    })
}

/// The two effects of `x` (ln D50) and `y` (ln fines) on `t` (ln time).
pub fn effects(x: &[f64], y: &[f64], t: &[f64], level: f64) -> Option<[Effect; 2]> {
    if t.len() < FEWEST {
        return None;
    }
    let rows: Vec<Vec<f64>> = x.iter().zip(y).map(|(x, y)| vec![1.0, *x, *y]).collect();
    let fit = regression(&rows, t, &vec![1.0; t.len()])?;
    let reach = student_t_quantile(0.5 + 0.5 * level, fit.freedom);
    let effect = |i: usize| {
        let (value, error) = (fit.coefficients[i], fit.error(i));
        let pct = |slope: f64| 100.0 * (1.1f64.ln() * slope).exp_m1();
        Effect {
            per_tenth_pct: Estimate {
                value: pct(value),
                low: pct(value - reach * error),
                high: pct(value + reach * error),
                level,
            },
            p: 2.0 * (1.0 - student_t_cdf(value.abs() / error, fit.freedom)),
        }
    };
    Some([effect(1), effect(2)])
}

/// Squared correlation.
fn shared(x: &[f64], y: &[f64]) -> f64 {
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len().max(1) as f64;
    let (mx, my) = (mean(x), mean(y));
    let sum = |f: &dyn Fn(f64, f64) -> f64| x.iter().zip(y).map(|(a, b)| f(a - mx, b - my)).sum::<f64>();
    let (xx, yy, xy) = (sum(&|a, _| a * a), sum(&|_, b| b * b), sum(&|a, b| a * b));
    if xx * yy > 0.0 { xy * xy / (xx * yy) } else { 0.0 }
}
