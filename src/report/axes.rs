//! How far the axes of a plot reach, and where they are labelled.

use crate::pipeline::Measurement;

/// Height of the plot over that of the highest bar: the label of D50 begins at 51.5 % of the height.
const HEADROOM: f64 = 2.05;

/// Ends of the size axis, µm, and of that of the shares, %.
pub(super) struct Axes {
    pub low: f64,
    pub high: f64,
    pub top: f64,
}

impl Axes {
    pub fn of(m: &Measurement) -> Self {
        let curve = &m.curve;
        // The axis starts where the mass starts to show, and holds the limit and a part of the fines.
        let start = curve.finer_pct.iter().position(|&f| f > 0.01).unwrap_or(0);
        let start = curve.limits_um[start.saturating_sub(1)].min(0.9 * m.smallest_ecd_um).min(0.5 * m.fines_um);
        let (low, high) =
            axis(start.max(curve.limits_um[0].min(0.5 * m.fines_um)), curve.limits_um[curve.limits_um.len() - 1]);
        // The bars keep to the lower part: the labels of D50, D90 and of the limits stand above them.
        Axes { low, high, top: curve.share_pct.iter().copied().fold(1.0, f64::max) * HEADROOM }
    }

    /// Axes that hold what both hold.
    pub fn join(self, other: Self) -> Self {
        Axes { low: self.low.min(other.low), high: self.high.max(other.high), top: self.top.max(other.top) }
    }
}

/// Ends of the size axis: rounded down to a power of ten, from which the library labels the axis, and up to 1, 2 or 5.
pub(super) fn axis(low: f64, high: f64) -> (f64, f64) {
    let steps = |v: f64| {
        let decade = 10f64.powf(v.log10().floor());
        [1.0, 2.0, 5.0, 10.0].map(|s| s * decade)
    };
    let down = 10f64.powf((low * 1.0001).log10().floor());
    let up = steps(high).into_iter().find(|&s| s >= high / 1.0001).unwrap_or(high);
    (down, up)
}

/// Labels at 1, 2 and 5 of each decade; the rest would crowd the axis.
pub(super) fn tick(v: f64) -> String {
    let decade = 10f64.powf(v.log10().floor());
    let lead = v / decade;
    let wanted = [1.0, 2.0, 5.0].iter().any(|s| (lead - s).abs() < 0.02);
    if wanted { format!("{v:.0}") } else { String::new() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn axes_end_at_round_numbers_that_hold_the_data() {
        assert_eq!(axis(33.0, 1412.0), (10.0, 2000.0));
        assert_eq!(axis(100.0, 1000.0), (100.0, 1000.0));
        assert_eq!(tick(200.0), "200");
        assert_eq!(tick(300.0), "");
    }

    #[test]
    fn shared_axes_hold_what_each_needs() {
        let [a, b] = [Axes { low: 10.0, high: 1000.0, top: 20.0 }, Axes { low: 1.0, high: 500.0, top: 30.0 }];
        let both = a.join(b);
        assert_eq!([both.low, both.high, both.top], [1.0, 1000.0, 30.0]);
    }
}
