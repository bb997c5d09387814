/// Median of `values`, which are reordered; `None` when empty.
pub fn median(values: &mut [f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let mid = values.len() / 2;
    let (_, &mut upper, _) = values.select_nth_unstable_by(mid, f64::total_cmp);
    if values.len() % 2 == 1 {
        return Some(upper);
    }
    let lower = values[..mid].iter().copied().fold(f64::NEG_INFINITY, f64::max);
    Some(0.5 * (lower + upper))
}

/// Quantile of sorted, equally weighted values by linear interpolation between order statistics.
///
/// `p` in 0..=1. Source: the type 7 rule of Hyndman & Fan (1996), Am. Stat. 50, 361–365, NumPy's default.
pub fn quantile_of_sorted(sorted: &[f64], p: f64) -> f64 {
    let position = p * (sorted.len() - 1) as f64;
    let low = position.floor() as usize;
    let high = (low + 1).min(sorted.len() - 1);
    sorted[low] + (position - low as f64) * (sorted[high] - sorted[low])
}

/// Quantile of a weighted sample: each value stands in the middle of its own share of the total weight, and between
/// two values the cumulative share rises linearly.
///
/// `values` sorted upwards, `weights` of the same length, not negative, with a positive sum; `p` in 0..=1. Values with
/// zero weight have no influence. Below the first and above the last midpoint the end value is returned.
/// Source: midpoint (Hazen) plotting position, A. Hazen (1914), Trans. ASCE 77, 1539–1640 (from memory), carried over
/// to weights. Checked against a slow twin that repeats each value weight times.
pub fn weighted_quantile(values: &[f64], weights: &[f64], p: f64) -> f64 {
    let total: f64 = weights.iter().sum();
    let target = p * total;
    let mut below = 0.0;
    let mut previous: Option<(f64, f64)> = None;
    for (&value, &weight) in values.iter().zip(weights) {
        if weight <= 0.0 {
            continue;
        }
        let midpoint = below + 0.5 * weight;
        if midpoint >= target {
            return match previous {
                None => value,
                Some((v, m)) => v + (value - v) * (target - m) / (midpoint - m),
            };
        }
        previous = Some((value, midpoint));
        below += weight;
    }
    previous.map_or(f64::NAN, |(v, _)| v)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn median_of_odd_and_even_counts() {
        assert_eq!(median(&mut [3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(&mut [4.0, 1.0, 2.0, 3.0]), Some(2.5));
        assert_eq!(median(&mut []), None);
    }

    #[test]
    fn a_single_value_is_every_quantile() {
        for p in [0.0, 0.1, 0.5, 1.0] {
            assert_eq!(weighted_quantile(&[7.0], &[2.5], p), 7.0);
        }
    }

    #[test]
    fn doubling_every_weight_changes_nothing() {
        let (v, w) = ([1.0, 2.0, 4.0, 8.0], [1.0, 3.0, 2.0, 5.0]);
        let twice: Vec<f64> = w.iter().map(|x| 2.0 * x).collect();
        for i in 0..=20 {
            let p = f64::from(i) / 20.0;
            assert!((weighted_quantile(&v, &w, p) - weighted_quantile(&v, &twice, p)).abs() < 1e-12);
        }
    }

    #[test]
    fn the_median_of_equal_weights_is_the_plain_median() {
        assert_eq!(weighted_quantile(&[1.0, 2.0, 3.0], &[1.0; 3], 0.5), 2.0);
        assert_eq!(weighted_quantile(&[1.0, 2.0, 3.0, 4.0], &[1.0; 4], 0.5), 2.5);
    }
}
