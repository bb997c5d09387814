use super::contrast::{Contrast, Side, contrast};
use crate::distribution::{Basis, Sizes};
use crate::numeric::{Draws, quantile_of_sorted};

/// Classes to a factor of ten of the cumulative curves; those of the density are twice as wide.
const PER_DECADE: usize = 40;
/// Draws behind the band of the difference.
const DRAWS: usize = 2000;
/// Where less than this share of either tail is left, the variances rest on single particles and no band is stated.
const TAIL: f64 = 0.01;

/// Cumulative curves and densities of two samples, and the difference of the curves.
#[derive(Clone, Debug, PartialEq)]
pub struct Curves {
    /// Sizes, µm, rising in equal ratio.
    pub size_um: Vec<f64>,
    /// Share finer than each size, %, of base and other.
    pub finer_pct: [Vec<f64>; 2],
    /// Half width of the pointwise band about each of them, % of the mass; nothing where too little mass lies beyond.
    pub finer_half_pct: [Vec<Option<f64>>; 2],
    /// Difference of the curves, other less base, % of the mass.
    pub difference_pct: Vec<f64>,
    /// Half width of the simultaneous band: the whole true difference lies inside with the confidence asked for.
    pub difference_half_pct: Vec<Option<f64>>,
    /// Limits of the classes of the density, µm.
    pub class_um: Vec<f64>,
    /// Share in each class, %, of base and other.
    pub share_pct: [Vec<f64>; 2],
    /// Half width of its pointwise band, % of the mass.
    pub share_half_pct: [Vec<f64>; 2],
}

/// Mass of one photo by classes.
struct Classes {
    mass: f64,
    /// Number of its particles.
    particles: f64,
    /// Share of the mass in each class.
    share: Vec<f64>,
    /// Sum of the squared shares of its particles.
    squares: Vec<f64>,
}

impl Classes {
    fn of(sizes: &Sizes, limits: &[f64]) -> Self {
        let shares = sizes.shares(Basis::Mass);
        let mass: f64 = shares.iter().sum();
        let (mut share, mut squares) = (vec![0.0; limits.len() - 1], vec![0.0; limits.len() - 1]);
        for (d, s) in sizes.ecd_um.iter().zip(&shares) {
            let class = limits.partition_point(|l| l <= d).clamp(1, share.len()) - 1;
            share[class] += s / mass;
            squares[class] += (s / mass).powi(2);
        }
        Classes { mass, particles: sizes.weight.iter().sum(), share, squares }
    }

    /// Share of the classes `from..to` and its counting variance.
    fn within(&self, from: usize, to: usize) -> (f64, f64) {
        let p: f64 = self.share[from..to].iter().sum();
        let inside: f64 = self.squares[from..to].iter().sum();
        let outside = self.squares.iter().sum::<f64>() - inside;
        (p, (1.0 - p).powi(2) * inside + p * p * outside)
    }
}

/// Curves of `base` and `other` (their photos) with bands of coverage `level`.
///
/// The simultaneous band is as many standard errors wide everywhere as the largest deviation of the whole curve reaches,
/// drawn from the covariance that counting gives the two curves, over a common Student's scale for few photos.
/// How often it holds is simulated in `tests/comparing.rs`.
pub(super) fn curves(base: &[Sizes], other: &[Sizes], level: f64, seed: u64) -> Curves {
    let all = || base.iter().chain(other).filter(|s| !s.ecd_um.is_empty());
    let class = |d: f64| (d.log10() * PER_DECADE as f64).floor() as i64;
    let first = all().map(|s| class(s.ecd_um[0])).min().unwrap_or(0) & !1;
    let last = all().map(|s| class(s.ecd_um[s.ecd_um.len() - 1])).max().unwrap_or(0) + 1;
    let last = first + ((last - first + 1) & !1);
    let size_um: Vec<f64> = (first..=last).map(|i| 10f64.powf(i as f64 / PER_DECADE as f64)).collect();
    let classes = [base, other].map(|side| side.iter().map(|s| Classes::of(s, &size_um)).collect::<Vec<_>>());
    let side = |side: usize, from: usize, to: usize| {
        let within: Vec<(f64, f64)> = classes[side].iter().map(|c| c.within(from, to)).collect();
        Side {
            value: within.iter().map(|w| w.0).collect(),
            counting: within.iter().map(|w| w.1).collect(),
            weight: classes[side].iter().map(|c| c.mass).collect(),
            particles: classes[side].iter().map(|c| c.particles).collect(),
        }
    };
    // Each side's part of the variance of the difference, by the same spread.
    let own_half = |both: &Contrast, i: usize| 100.0 * both.reach(level, f64::INFINITY) * both.side_variance[i].sqrt();
    let mut curves = Curves {
        finer_pct: [Vec::new(), Vec::new()],
        finer_half_pct: [Vec::new(), Vec::new()],
        difference_pct: Vec::new(),
        difference_half_pct: Vec::new(),
        class_um: size_um.iter().copied().step_by(2).collect(),
        share_pct: [Vec::new(), Vec::new()],
        share_half_pct: [Vec::new(), Vec::new()],
        size_um,
    };
    let (mut errors, mut inflation) = (Vec::new(), Vec::new());
    let mut freedom = None;
    for at in 0..curves.size_um.len() {
        let sides = [side(0, 0, at), side(1, 0, at)];
        let means = [sides[0].mean(), sides[1].mean()];
        let both = contrast([&sides[0], &sides[1]]);
        let shown = means.iter().all(|m| (TAIL..=1.0 - TAIL).contains(m));
        for (i, mean) in means.into_iter().enumerate() {
            curves.finer_pct[i].push(100.0 * mean);
            curves.finer_half_pct[i].push(shown.then(|| own_half(&both, i)));
        }
        freedom = both.freedom;
        curves.difference_pct.push(100.0 * (means[1] - means[0]));
        let known = shown && both.counted > 0.0;
        if known {
            inflation.push(both.variance / both.counted);
        }
        errors.push(known.then(|| both.counted.sqrt()));
    }
    // At each size by itself the spread is poorly known; over the whole curve it is one factor on what counting gives.
    let inflation = (inflation.iter().sum::<f64>() / inflation.len().max(1) as f64).sqrt();
    let errors: Vec<Option<f64>> = errors.iter().map(|e| e.map(|e| inflation * e)).collect();
    let reach = simultaneous_reach(&classes, &errors, freedom, level, seed);
    curves.difference_half_pct = errors.iter().map(|e| e.map(|e| 100.0 * reach * e)).collect();
    for at in (0..curves.size_um.len() - 1).step_by(2) {
        let sides = [side(0, at, at + 2), side(1, at, at + 2)];
        let both = contrast([&sides[0], &sides[1]]);
        for (i, side) in sides.iter().enumerate() {
            curves.share_pct[i].push(100.0 * side.mean());
            curves.share_half_pct[i].push(own_half(&both, i));
        }
    }
    curves
}

/// Quantile of the largest deviation of the difference of two cumulative curves, in standard errors.
fn simultaneous_reach(
    classes: &[Vec<Classes>; 2],
    errors: &[Option<f64>],
    freedom: Option<f64>,
    level: f64,
    seed: u64,
) -> f64 {
    // Variance of each class's mass in the pooled sample, and its share there.
    let pooled = classes.each_ref().map(|photos| {
        let mass: f64 = photos.iter().map(|c| c.mass).sum();
        let over = |of: &dyn Fn(&Classes, usize) -> f64| -> Vec<f64> {
            (0..errors.len() - 1).map(|b| photos.iter().map(|c| of(c, b)).sum()).collect()
        };
        let share = over(&|c, b| c.share[b] * c.mass / mass);
        let squares = over(&|c, b| c.squares[b] * (c.mass / mass).powi(2));
        (share, squares)
    });
    let bridge = |draws: &mut Draws| -> Vec<f64> {
        let mut total = vec![0.0; errors.len()];
        for (share, squares) in &pooled {
            let steps: Vec<f64> = squares.iter().map(|v| v.sqrt() * draws.normal()).collect();
            let end: f64 = steps.iter().sum();
            let (mut sum, mut finer) = (0.0, 0.0);
            for (b, step) in steps.iter().enumerate() {
                sum += step;
                finer += share[b];
                total[b + 1] += sum - finer * end;
            }
        }
        total
    };
    let mut draws = Draws::new(seed, 0xC0);
    let walks: Vec<Vec<f64>> = (0..DRAWS).map(|_| bridge(&mut draws)).collect();
    let shown: Vec<usize> = (0..errors.len()).filter(|&i| errors[i].is_some_and(|e| e > 0.0)).collect();
    let deviation: Vec<f64> =
        shown.iter().map(|&i| (walks.iter().map(|w| w[i] * w[i]).sum::<f64>() / DRAWS as f64).sqrt()).collect();
    let mut largest: Vec<f64> = walks
        .iter()
        .map(|walk| {
            let scale = freedom.map_or(1.0, |df| {
                // A part of a degree of freedom adds that part of a square.
                let last = (df - 1e-9).ceil() - 1.0;
                let whole: f64 = (0..last as usize).map(|_| draws.normal().powi(2)).sum();
                ((whole + (df - last) * draws.normal().powi(2)) / df).sqrt()
            });
            shown.iter().zip(&deviation).map(|(&i, d)| walk[i].abs() / d).fold(0.0, f64::max) / scale
        })
        .collect();
    largest.sort_by(f64::total_cmp);
    quantile_of_sorted(&largest, level)
}
