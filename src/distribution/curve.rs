use super::{Basis, Sizes};

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
        let shares = sizes.shares(basis);
        let total: f64 = shares.iter().sum();
        let (mut at, mut sum) = (0, 0.0);
        let mut finer_pct: Vec<f64> = limits_um
            .iter()
            .map(|limit| {
                while at < sizes.ecd_um.len() && sizes.ecd_um[at] < *limit {
                    sum += shares[at];
                    at += 1;
                }
                100.0 * sum / total
            })
            .collect();
        // The last limit lies above every particle; rounding must not say otherwise.
        if let Some(end) = finer_pct.last_mut() {
            *end = 100.0;
        }
        let share_pct = finer_pct.windows(2).map(|w| w[1] - w[0]).collect();
        Curve { limits_um, share_pct, finer_pct }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn classes_add_up_and_hold_every_particle() {
        let sizes = Sizes::from_rows((1..200).map(|i| (f64::from(i) * 7.3, 1.0, 0)).collect());
        let curve = Curve::of(&sizes, Basis::Mass, 20);
        assert!((curve.share_pct.iter().sum::<f64>() - 100.0).abs() < 1e-9);
        assert_eq!(curve.limits_um.len(), curve.share_pct.len() + 1);
        assert!(curve.limits_um[0] <= 7.3 && *curve.limits_um.last().unwrap() > 199.0 * 7.3);
        assert_eq!(curve.finer_pct[0], 0.0);
    }
}
