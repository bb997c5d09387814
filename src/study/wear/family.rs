use super::{Common, Point};
use crate::numeric::levenberg_marquardt;

/// Of the change that a curve comes to in the end, this share is called "done": 95 %.
pub const FIRST_95: f64 = 0.95;
/// Rates that are tried between the fastest and the slowest.
const RATES: usize = 90;
/// The fastest rate does 95 % within this part of the smallest step between samples: all happens before the second.
const FASTEST: f64 = 0.2;
/// The slowest does 95 % within so many times the range: hardly told from a line.
const SLOWEST: f64 = 60.0;

/// start + change·h(x), with h from 0 at the first sample to 1 at the last.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Curve {
    /// Kilograms of the first sample.
    pub first_kg: f64,
    /// Kilograms from the first sample to the last.
    pub range_kg: f64,
    /// Value at the first sample.
    pub start: f64,
    /// Change from the first sample to the last.
    pub change: f64,
    /// Rate of the approach, 1/kg; 0 for the straight line.
    pub rate: f64,
}

impl Curve {
    /// Value at `kg`.
    pub fn at(&self, kg: f64) -> f64 {
        self.start + self.change * rise(self.rate, kg - self.first_kg, self.range_kg)
    }

    /// Kilograms at which 95 % of the change since the first sample is done; `None` for the straight line.
    pub fn done_kg(&self) -> Option<f64> {
        (self.rate > 0.0).then(|| self.first_kg + -(1.0 - FIRST_95).ln() / self.rate)
    }
}

/// Share of the change between 0 and `range` that is done at `x`.
fn rise(rate: f64, x: f64, range: f64) -> f64 {
    if rate * range < 1e-9 { x / range } else { (-rate * x).exp_m1() / (-rate * range).exp_m1() }
}

/// What turns values into weighted ones.
struct Weights {
    root: Vec<f64>,
    /// Direction, of length 1, in which an error that all samples share moves the weighted values, and the share of them along
    /// it that is taken out.
    shared: Option<(Vec<f64>, f64)>,
}

impl Weights {
    fn of(points: &[Point], tau: f64, common: Option<&Common>) -> Self {
        let root: Vec<f64> = points.iter().map(|p| (tau + p.variance).max(1e-18).sqrt().recip()).collect();
        // The covariance is that of each for itself and d·dᵀ; its inverse root takes 1 − 1/√(1 + |d|²) of what lies along d away.
        let shared = common.and_then(|c| {
            let moved: Vec<f64> = c.by.iter().zip(&root).map(|(b, r)| c.error * b * r).collect();
            let square = dot(&moved, &moved);
            (square > 0.0).then(|| {
                let length = square.sqrt();
                (moved.iter().map(|m| m / length).collect(), 1.0 - (1.0 + square).sqrt().recip())
            })
        });
        Weights { root, shared }
    }

    fn on(&self, values: impl Iterator<Item = f64>) -> Vec<f64> {
        let mut weighted: Vec<f64> = values.zip(&self.root).map(|(v, r)| r * v).collect();
        if let Some((along, share)) = &self.shared {
            let part = share * dot(along, &weighted);
            weighted.iter_mut().zip(along).for_each(|(w, a)| *w -= part * a);
        }
        weighted
    }
}

/// One rate: its column with the mean taken out and of length 1, in the weighted values.
struct Bend {
    rate: f64,
    unit: Vec<f64>,
    /// Length of the column before.
    length: f64,
    /// Weighted mean of the column.
    mean: f64,
}

/// All curves over the kilograms of the samples, ready for any values.
///
/// Values, and the columns of the curves, are weighted so that chance moves each by as much and none with another.
pub(super) struct Family {
    x: Vec<f64>,
    y: Vec<f64>,
    weights: Weights,
    /// The column of a constant, weighted.
    constant: Vec<f64>,
    first_kg: f64,
    /// The line first, then from the slowest rate to the fastest.
    bends: Vec<Bend>,
}

/// The values held against the family.
pub(super) struct Fit {
    /// Least squares over the family.
    pub least: f64,
    /// Those of the line.
    pub squares_of_line: f64,
    /// Observations less parameters.
    pub freedom: f64,
    /// Reduction of the squares over what is left.
    pub statistic: f64,
    at: usize,
    whole: f64,
    along: Vec<f64>,
}

impl Family {
    /// The family with the weights of the points, and τ².
    pub fn of(points: &[Point], with_bends: bool, common: Option<&Common>) -> (Self, f64) {
        let freedom = (points.len() - parameters(with_bends, common.is_some())) as f64;
        let squares = |tau: f64| Family::weighted(points, tau, with_bends, common).fit().least;
        let smallest = points.iter().map(|p| p.variance).fold(f64::INFINITY, f64::min).max(1e-18);
        let mut tau = 0.0;
        if squares(0.0) > freedom {
            let (mut low, mut high) = (0.0, smallest);
            while squares(high) > freedom {
                (low, high) = (high, 4.0 * high);
            }
            for _ in 0..30 {
                let middle = 0.5 * (low + high);
                if squares(middle) > freedom { low = middle } else { high = middle }
            }
            tau = 0.5 * (low + high);
        }
        (Family::weighted(points, tau, with_bends, common), tau)
    }

    fn weighted(points: &[Point], tau: f64, with_bends: bool, common: Option<&Common>) -> Self {
        let first_kg = points[0].kg;
        let x: Vec<f64> = points.iter().map(|p| p.kg - first_kg).collect();
        let range = x[x.len() - 1];
        let weights = Weights::of(points, tau, common);
        let gap = x.windows(2).map(|w| w[1] - w[0]).filter(|g| *g > 0.0).fold(range, f64::min);
        let (slow, fast) = (SLOWEST * range, FASTEST * gap);
        let done = |i: usize| slow * (fast / slow).powf(i as f64 / (RATES - 1) as f64);
        let mut rates = vec![0.0];
        if with_bends {
            rates.extend((0..RATES).map(|i| -(1.0 - FIRST_95).ln() / done(i)));
        }
        let constant = weights.on(x.iter().map(|_| 1.0));
        let y = points.iter().map(|p| p.value).collect();
        let mut family = Family { x, y, weights, constant, first_kg, bends: Vec::new() };
        family.bends = rates.into_iter().map(|rate| family.bend(rate)).collect();
        family
    }

    pub fn len(&self) -> usize {
        self.x.len()
    }

    fn range(&self) -> f64 {
        self.x[self.x.len() - 1]
    }

    fn bend(&self, rate: f64) -> Bend {
        let mut unit = self.weights.on(self.x.iter().map(|x| rise(rate, *x, self.range())));
        let mean = self.mean(&unit);
        unit.iter_mut().zip(&self.constant).for_each(|(u, c)| *u -= mean * c);
        let length = dot(&unit, &unit).sqrt();
        unit.iter_mut().for_each(|u| *u /= length);
        Bend { rate, unit, length, mean }
    }

    /// The constant that fits the samples best.
    fn level(&self) -> f64 {
        self.mean(&self.weights.on(self.y.iter().copied()))
    }

    /// The constant that fits weighted values best.
    fn mean(&self, weighted: &[f64]) -> f64 {
        dot(&self.constant, weighted) / dot(&self.constant, &self.constant)
    }

    /// Squares about the mean, and the part of the values along each bend; `values` are weighted already.
    fn split(&self, values: &[f64]) -> (f64, Vec<f64>) {
        let along_mean = dot(&self.constant, values);
        let whole = dot(values, values) - along_mean * along_mean / dot(&self.constant, &self.constant);
        (whole, self.bends.iter().map(|b| dot(&b.unit, values)).collect())
    }

    /// Largest reduction of the squares of weighted `values` by a curve, over what is left.
    pub fn statistic(&self, values: &[f64]) -> f64 {
        let (whole, along) = self.split(values);
        let most = along.iter().map(|a| a * a).fold(0.0, f64::max);
        most / (whole - most).max(f64::MIN_POSITIVE)
    }

    pub fn fit(&self) -> Fit {
        // Taken about the mean, so that squares of large values do not swallow the residuals.
        let mean = self.level();
        let values = self.weights.on(self.y.iter().map(|v| v - mean));
        let (whole, along) = self.split(&values);
        let at = (0..along.len()).max_by(|&i, &j| along[i].abs().total_cmp(&along[j].abs())).unwrap_or(0);
        let least = (whole - along[at] * along[at]).max(f64::MIN_POSITIVE);
        let parameters = parameters(self.bends.len() > 1, self.weights.shared.is_some());
        Fit {
            least,
            squares_of_line: whole - along[0] * along[0],
            freedom: (self.len() - parameters) as f64,
            statistic: along[at] * along[at] / least,
            at,
            whole,
            along,
        }
    }

    fn curve(&self, fit: &Fit, i: usize) -> Curve {
        let bend = &self.bends[i];
        let change = fit.along[i] / bend.length;
        let start = self.level() - change * bend.mean;
        Curve { first_kg: self.first_kg, range_kg: self.range(), start, change, rate: bend.rate }
    }

    pub fn line(&self, fit: &Fit) -> Curve {
        self.curve(fit, 0)
    }

    /// Standard error of the change by a line, for residuals of variance 1.
    pub fn error_of_line(&self) -> f64 {
        1.0 / self.bends[0].length
    }

    /// The best curve: the best rate tried, moved to the least squares.
    pub fn best(&self, fit: &Fit) -> Curve {
        let tried = self.curve(fit, fit.at);
        // The ends of the rates are limits: a line, a step.
        if fit.at <= 1 || fit.at + 1 == self.bends.len() {
            return if fit.at <= 1 { self.line(fit) } else { tried };
        }
        let of = |p: &[f64]| Curve { start: p[0], change: p[1], rate: p[2].exp(), ..tried };
        let residuals = |p: &[f64]| -> Vec<f64> {
            let curve = of(p);
            self.weights.on(self.x.iter().zip(&self.y).map(|(x, y)| curve.at(self.first_kg + x) - y))
        };
        let start = [tried.start, tried.change, tried.rate.ln()];
        let size = tried.change.abs().max(1e-6);
        levenberg_marquardt(&start, &[size, size, 1.0], residuals)
            .filter(|f| f.sum_of_squares() <= fit.least * (1.0 + 1e-9))
            .map_or(tried, |f| of(f.parameters.as_slice()))
    }

    /// Squares with the best mean and change at bend `i`.
    fn squares(&self, fit: &Fit, i: usize) -> f64 {
        fit.whole - fit.along[i] * fit.along[i]
    }

    /// Smallest and largest change for which the squares stay below `limit`.
    pub fn change_within(&self, fit: &Fit, limit: f64) -> [f64; 2] {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for (i, bend) in self.bends.iter().enumerate() {
            let room = limit - self.squares(fit, i);
            if room >= 0.0 {
                let (middle, half) = (fit.along[i] / bend.length, room.sqrt() / bend.length);
                (low, high) = (low.min(middle - half), high.max(middle + half));
            }
        }
        [low, high]
    }

    /// Smallest and largest kilograms since the first sample at which 95 % may be done; `None` for an end that is open.
    pub fn done_within(&self, fit: &Fit, limit: f64) -> [Option<f64>; 2] {
        let within: Vec<usize> = (0..self.bends.len()).filter(|&i| self.squares(fit, i) <= limit).collect();
        let (Some(&slowest), Some(&fastest)) = (within.first(), within.last()) else { return [None, None] };
        let done = |i: usize| -(1.0 - FIRST_95).ln() / self.bends[i].rate;
        // Between a rate within and one beyond, where the squares cross the limit on a straight line over the logarithm.
        let between = |inside: usize, outside: usize| {
            let (a, b) = (self.squares(fit, inside), self.squares(fit, outside));
            let share = (limit - a) / (b - a);
            (done(inside).ln() * (1.0 - share) + done(outside).ln() * share).exp()
        };
        let high = (slowest > 1).then(|| between(slowest, slowest - 1));
        let low = (fastest + 1 < self.bends.len()).then(|| match fastest {
            // Only the line is within.
            0 => done(1),
            i => between(i, i + 1),
        });
        [low, high]
    }
}

/// Level, change and rate; and what the samples share, which was found from them as well.
fn parameters(with_bends: bool, shared: bool) -> usize {
    2 + usize::from(with_bends) + usize::from(shared)
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}
