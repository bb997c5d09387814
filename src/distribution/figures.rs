use super::Sample;
use crate::numeric::weighted_quantile;

/// What a particle counts for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Basis {
    /// Its mass, taken proportional to ECD³ (constant shape and density).
    Mass,
    /// One.
    Number,
}

impl Basis {
    /// Exponent of the ECD in the weight.
    fn power(self) -> i32 {
        match self {
            Basis::Mass => 3,
            Basis::Number => 0,
        }
    }
}

/// Diameters in rising order with their edge weights: what all figures are computed from.
#[derive(Clone, Debug)]
pub struct Sizes {
    /// ECD, µm, rising.
    pub ecd_um: Vec<f64>,
    /// Edge weight, dimensionless.
    pub weight: Vec<f64>,
    /// Index of the photo.
    pub photo: Vec<usize>,
}

impl Sizes {
    /// The sizes of a sample.
    pub fn of(sample: &Sample) -> Self {
        let mut rows: Vec<(f64, f64, usize)> = sample
            .photos()
            .iter()
            .enumerate()
            .flat_map(|(i, photo)| photo.particles.iter().map(move |p| (p.ecd_um, p.weight, i)))
            .collect();
        rows.sort_by(|a, b| a.0.total_cmp(&b.0));
        Sizes {
            ecd_um: rows.iter().map(|r| r.0).collect(),
            weight: rows.iter().map(|r| r.1).collect(),
            photo: rows.iter().map(|r| r.2).collect(),
        }
    }

    /// Weights of the particles on `basis`.
    pub fn weights(&self, basis: Basis) -> Vec<f64> {
        self.ecd_um.iter().zip(&self.weight).map(|(d, w)| w * d.powi(basis.power())).collect()
    }

    /// Share finer than `size_um` on `basis`, 0..1: particles of exactly that size count as coarser.
    pub fn share_below(&self, basis: Basis, size_um: f64) -> f64 {
        let weights = self.weights(basis);
        let finer = self.ecd_um.partition_point(|&d| d < size_um);
        weights[..finer].iter().sum::<f64>() / weights.iter().sum::<f64>()
    }
}

/// The figures of a distribution.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Figures {
    /// Size below which 10 % of the mass (or number) lies, µm.
    pub d10_um: f64,
    /// Median, µm.
    pub d50_um: f64,
    /// Size below which 90 % lies, µm.
    pub d90_um: f64,
    /// (D90 − D10) / D50, dimensionless (common practice, no source).
    pub span: f64,
    /// Share finer than the fines limit, %.
    pub fines_pct: f64,
    /// Surface-weighted mean D[3,2], µm.
    pub d32_um: f64,
    /// Mass-weighted mean D[4,3], µm.
    pub d43_um: f64,
}

impl Figures {
    /// Names in files, in the order of [`Figures::to_array`].
    pub const NAMES: [&'static str; 7] =
        ["d10_um", "d50_um", "d90_um", "span", "fines_pct", "d32_um", "d43_um"];

    /// Figures of `sizes` on `basis`, with fines finer than `fines_um` (µm).
    pub fn of(sizes: &Sizes, basis: Basis, fines_um: f64) -> Self {
        Figures::weighted(&sizes.ecd_um, &sizes.weights(basis), &sizes.weight, fines_um)
    }

    /// Figures of diameters `ecd_um` (rising, µm) whose share of the mass or number is `weights`, and whose number is
    /// `number`.
    ///
    /// D[p,q] = (Σ n·d^p / Σ n·d^q)^(1/(p−q)); both means are taken by number whatever the basis, as their definition
    /// asks. Source: ISO 9276-2 (moment-ratio notation). Checked in `tests/published.rs` on the table of ASTM E799
    /// and on lognormal relations.
    pub(super) fn weighted(ecd_um: &[f64], weights: &[f64], number: &[f64], fines_um: f64) -> Self {
        let quantile = |p| weighted_quantile(ecd_um, weights, p);
        let (d10_um, d50_um, d90_um) = (quantile(0.1), quantile(0.5), quantile(0.9));
        let finer = ecd_um.partition_point(|&d| d < fines_um);
        let (mut m2, mut m3, mut m4) = (0.0, 0.0, 0.0);
        for (d, n) in ecd_um.iter().zip(number) {
            let square = n * d * d;
            m2 += square;
            m3 += square * d;
            m4 += square * d * d;
        }
        Figures {
            d10_um,
            d50_um,
            d90_um,
            span: (d90_um - d10_um) / d50_um,
            fines_pct: 100.0 * weights[..finer].iter().sum::<f64>() / weights.iter().sum::<f64>(),
            d32_um: m3 / m2,
            d43_um: m4 / m3,
        }
    }

    /// The figures in the order of [`Figures::NAMES`].
    pub fn to_array(self) -> [f64; 7] {
        [self.d10_um, self.d50_um, self.d90_um, self.span, self.fines_pct, self.d32_um, self.d43_um]
    }
}

/// A histogram on a logarithmic axis with the cumulative curve.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    /// Class limits, µm, rising; one more than there are classes.
    pub limits_um: Vec<f64>,
    /// Share in each class, %.
    pub share_pct: Vec<f64>,
    /// Share finer than each limit, %.
    pub finer_pct: Vec<f64>,
}

impl Curve {
    /// Classes in equal ratio, `per_decade` to a factor of ten, from below the smallest particle to above the largest.
    pub fn of(sizes: &Sizes, basis: Basis, per_decade: usize) -> Self {
        let ratio = |i: i64| 10f64.powf(i as f64 / per_decade as f64);
        let class = |d: f64| (d.log10() * per_decade as f64).floor() as i64;
        let (first, last) = (class(sizes.ecd_um[0]), class(sizes.ecd_um[sizes.ecd_um.len() - 1]) + 1);
        let limits_um: Vec<f64> = (first..=last).map(ratio).collect();
        let weights = sizes.weights(basis);
        let total: f64 = weights.iter().sum();
        let mut finer_pct = Vec::with_capacity(limits_um.len());
        let (mut at, mut sum) = (0, 0.0);
        for limit in &limits_um {
            while at < sizes.ecd_um.len() && sizes.ecd_um[at] < *limit {
                sum += weights[at];
                at += 1;
            }
            finer_pct.push(100.0 * sum / total);
        }
        // The last limit lies above every particle; rounding must not say otherwise.
        if let Some(end) = finer_pct.last_mut() {
            *end = 100.0;
        }
        let share_pct = finer_pct.windows(2).map(|w| w[1] - w[0]).collect();
        Curve { limits_um, share_pct, finer_pct }
    }
}
