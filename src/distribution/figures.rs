use super::Sample;

/// What a particle counts for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Basis {
    /// Its mass, taken proportional to ECD³ (constant shape and density).
    Mass,
    /// One.
    Number,
}

/// Diameters in rising order with their edge weights: what all figures are computed from.
#[derive(Clone, Debug)]
pub struct Sizes {
    /// ECD, µm, rising.
    pub ecd_um: Vec<f64>,
    /// Edge weight: for how many particles this one stands, dimensionless.
    pub weight: Vec<f64>,
    /// Index of the photo.
    pub photo: Vec<usize>,
}

impl Sizes {
    /// The sizes of a sample.
    pub fn of(sample: &Sample) -> Self {
        Sizes::from_rows(
            sample
                .photos()
                .iter()
                .enumerate()
                .flat_map(|(i, photo)| photo.particles.iter().map(move |p| (p.ecd_um, p.weight, i)))
                .collect(),
        )
    }

    /// Sizes from rows (ECD in µm, edge weight, index of the photo) in any order.
    pub fn from_rows(mut rows: Vec<(f64, f64, usize)>) -> Self {
        rows.sort_by(|a, b| a.0.total_cmp(&b.0));
        Sizes {
            ecd_um: rows.iter().map(|r| r.0).collect(),
            weight: rows.iter().map(|r| r.1).collect(),
            photo: rows.iter().map(|r| r.2).collect(),
        }
    }

    /// Number of photos.
    pub fn photos(&self) -> usize {
        self.photo.iter().max().map_or(0, |&p| p + 1)
    }

    /// The sizes of one photo.
    pub fn of_photo(&self, photo: usize) -> Self {
        let rows = (0..self.ecd_um.len()).filter(|&i| self.photo[i] == photo);
        Sizes::from_rows(rows.map(|i| (self.ecd_um[i], self.weight[i], 0)).collect())
    }

    /// Share of each particle on `basis`: edge weight × ECD³, or the edge weight alone.
    pub fn shares(&self, basis: Basis) -> Vec<f64> {
        match basis {
            Basis::Mass => self.ecd_um.iter().zip(&self.weight).map(|(d, w)| w * d.powi(3)).collect(),
            Basis::Number => self.weight.clone(),
        }
    }

    /// Share finer than `size_um` on `basis`, 0..1: particles of exactly that size count as coarser.
    pub fn finer(&self, basis: Basis, size_um: f64) -> f64 {
        let shares = self.shares(basis);
        let finer = self.ecd_um.partition_point(|&d| d < size_um);
        shares[..finer].iter().sum::<f64>() / shares.iter().sum::<f64>()
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
    /// Surface-weighted mean D\[3,2\], µm.
    pub d32_um: f64,
    /// Mass-weighted mean D\[4,3\], µm.
    pub d43_um: f64,
}

impl Figures {
    /// Names in files, in the order of [`Figures::to_array`].
    pub const NAMES: [&'static str; 7] = ["d10_um", "d50_um", "d90_um", "span", "fines_pct", "d32_um", "d43_um"];

    /// Place of the median in [`Figures::NAMES`].
    pub const MEDIAN: usize = 1;
    /// Place of D90.
    pub const D90: usize = 2;
    /// Place of the span.
    pub const SPAN: usize = 3;
    /// Place of the share of fines; quantiles and the span come before, means after.
    pub const FINES: usize = 4;
    /// Place of D\[3,2\].
    pub const D32: usize = 5;
    /// Place of D\[4,3\].
    pub const D43: usize = 6;

    /// Figures of `sizes` on `basis`, with fines finer than `fines_um` (µm).
    ///
    /// Quantiles: each particle stands in the middle of its own share, and between two particles the cumulative share
    /// rises linearly; [`crate::numeric::weighted_quantile`] is the slow twin. D\[p,q\] = (Σ n·d^p / Σ n·d^q)^(1/(p−q));
    /// both means are taken by number whatever the basis, as their definition asks.
    /// Source: ISO 9276-2 (moment-ratio notation). Checked in `tests/published.rs` on ASTM E799 and lognormal laws.
    pub fn of(sizes: &Sizes, basis: Basis, fines_um: f64) -> Self {
        Columns::of(sizes, basis, fines_um).figures(None, &mut Vec::new())
    }

    /// The figures in the order of [`Figures::NAMES`].
    pub fn to_array(self) -> [f64; 7] {
        [self.d10_um, self.d50_um, self.d90_um, self.span, self.fines_pct, self.d32_um, self.d43_um]
    }
}

/// Columns of powers, made once for all bootstrap draws.
pub(super) struct Columns<'a> {
    ecd_um: &'a [f64],
    share: Vec<f64>,
    /// Edge weight × d², d³, d⁴ with d in units of the largest, so that sums stay near 1.
    moments: Vec<[f64; 3]>,
    largest: f64,
    finer: usize,
}

impl<'a> Columns<'a> {
    pub fn of(sizes: &'a Sizes, basis: Basis, fines_um: f64) -> Self {
        let largest = sizes.ecd_um.last().copied().unwrap_or(1.0);
        let moment = |(d, w): (&f64, &f64)| {
            let u = d / largest;
            let square = w * u * u;
            [square, square * u, square * u * u]
        };
        Columns {
            ecd_um: &sizes.ecd_um,
            share: sizes.shares(basis),
            moments: sizes.ecd_um.iter().zip(&sizes.weight).map(moment).collect(),
            largest,
            finer: sizes.ecd_um.partition_point(|&d| d < fines_um),
        }
    }

    /// Figures with each particle counted `counts` times (once without); `cumulative` is scratch space.
    pub fn figures(&self, counts: Option<&[u8]>, cumulative: &mut Vec<f64>) -> Figures {
        cumulative.resize(self.share.len(), 0.0);
        let (mut total, mut m) = (0.0, [0.0; 3]);
        let mut add = |times: f64, share: f64, moment: &[f64; 3], sum: &mut f64| {
            total += times * share;
            *sum = total;
            for (sum, value) in m.iter_mut().zip(moment) {
                *sum += times * value;
            }
        };
        let rows = self.share.iter().zip(&self.moments).zip(cumulative.iter_mut());
        match counts {
            None => rows.for_each(|((&share, moment), sum)| add(1.0, share, moment, sum)),
            Some(counts) => {
                rows.zip(counts).for_each(|(((&share, moment), sum), &times)| add(f64::from(times), share, moment, sum))
            }
        }
        let quantile = |p: f64| self.quantile(cumulative, p * total);
        let (d10_um, d50_um, d90_um) = (quantile(0.1), quantile(0.5), quantile(0.9));
        let fine = if self.finer == 0 { 0.0 } else { cumulative[self.finer - 1] };
        Figures {
            d10_um,
            d50_um,
            d90_um,
            span: (d90_um - d10_um) / d50_um,
            fines_pct: 100.0 * fine / total,
            d32_um: self.largest * m[1] / m[0],
            d43_um: self.largest * m[2] / m[1],
        }
    }

    /// Size at which the cumulative share, through the midpoints of the particles' own shares, reaches `target`.
    fn quantile(&self, cumulative: &[f64], target: f64) -> f64 {
        let n = cumulative.len();
        let before = |i: usize| if i == 0 { 0.0 } else { cumulative[i - 1] };
        let middle = |i: usize| 0.5 * (before(i) + cumulative[i]);
        let counted = |i: &usize| cumulative[*i] > before(*i);
        // First particle whose share reaches the target; its midpoint lies before or after it.
        let at = cumulative.partition_point(|&c| c < target).min(n - 1);
        let (low, high) = if middle(at) < target {
            (Some(at), (at + 1..n).find(counted))
        } else {
            ((0..at).rev().find(counted), Some(at))
        };
        match (low, high) {
            (Some(i), Some(j)) => {
                let t = (target - middle(i)) / (middle(j) - middle(i));
                self.ecd_um[i] + t * (self.ecd_um[j] - self.ecd_um[i])
            }
            (Some(i), None) | (None, Some(i)) => self.ecd_um[i],
            (None, None) => f64::NAN,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::{Draws, weighted_quantile};

    #[test]
    fn fast_quantiles_agree_with_the_slow_twin_also_with_particles_left_out() {
        let mut draws = Draws::new(8, 0);
        for _ in 0..100 {
            let n = 1 + draws.below(60);
            let sizes =
                Sizes::from_rows((0..n).map(|_| (1.0 + draws.below(30) as f64, 1.0 + draws.uniform(), 0)).collect());
            let columns = Columns::of(&sizes, Basis::Mass, 5.0);
            let mut counts = vec![0u8; n];
            draws.poisson_one(&mut counts);
            if counts.iter().all(|&c| c == 0) {
                continue;
            }
            let found = columns.figures(Some(&counts), &mut Vec::new());
            let shares: Vec<f64> =
                sizes.shares(Basis::Mass).iter().zip(&counts).map(|(s, &c)| s * f64::from(c)).collect();
            for (p, d) in [(0.1, found.d10_um), (0.5, found.d50_um), (0.9, found.d90_um)] {
                let slow = weighted_quantile(&sizes.ecd_um, &shares, p);
                assert!((d - slow).abs() < 1e-9, "{p}: {d} {slow}");
            }
        }
    }

    #[test]
    fn one_two_three_spheres() {
        // Exact arithmetic: D[3,2] = 36/14 and D[4,3] = 98/36 for diameters 1, 2, 3.
        let sizes = Sizes::from_rows(vec![(3.0, 1.0, 0), (1.0, 1.0, 0), (2.0, 1.0, 0)]);
        let figures = Figures::of(&sizes, Basis::Mass, 2.0);
        assert!((figures.d32_um - 36.0 / 14.0).abs() < 1e-12);
        assert!((figures.d43_um - 98.0 / 36.0).abs() < 1e-12);
        assert!((figures.fines_pct - 100.0 / 36.0).abs() < 1e-12, "exactly 2 µm is not finer than 2 µm");
    }
}
