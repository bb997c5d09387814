use super::contrast::Contrast;
use crate::numeric::student_t_quantile;

/// Differences are called detectable that would be shown so often.
const POWER: f64 = 0.8;
/// No plan asks for more photos than this.
const MOST_PHOTOS: usize = 10_000;

/// Difference on the scale of comparison that would be shown with a power of 80 % at the confidence `level`.
///
/// The two quantiles of Student's law add up: the usual short form of the noncentral law, right to some percent from four
/// degrees of freedom on (common practice, no source); the power is simulated in `tests/comparing.rs`.
pub(super) fn smallest_detectable(contrast: Contrast, support: f64, level: f64) -> f64 {
    let freedom = contrast.degrees(support);
    (contrast.reach(level, support) + student_t_quantile(POWER, freedom)) * contrast.error()
}

/// Photos on each of two sides that show a difference of `difference` with a power of 80 % at the confidence `level`,
/// when a photo's value has the variance `photo_variance`; at least 2.
pub(super) fn photos_a_side(photo_variance: f64, difference: f64, level: f64) -> usize {
    let shows = |n: usize| {
        let freedom = 2.0 * n as f64 - 2.0;
        let reach = student_t_quantile(0.5 + 0.5 * level, freedom) + student_t_quantile(POWER, freedom);
        reach * (2.0 * photo_variance / n as f64).sqrt() <= difference
    };
    fewest(shows)
}

/// Fewest photos, at least 2, that are `enough`; more are enough, too. Ends at `MOST_PHOTOS`.
pub(super) fn fewest(enough: impl Fn(usize) -> bool) -> usize {
    let (mut few, mut many) = (1, 2);
    while !enough(many) {
        if many >= MOST_PHOTOS {
            return MOST_PHOTOS;
        }
        (few, many) = (many, 2 * many);
    }
    while many - few > 1 {
        let middle = (few + many) / 2;
        if enough(middle) { many = middle } else { few = middle }
    }
    many
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn halving_the_difference_takes_four_times_the_photos() {
        let (wide, narrow) = (photos_a_side(0.01, 0.05, 0.95), photos_a_side(0.01, 0.025, 0.95));
        // Large-sample form: 2·(1.96 + 0.84)²·0.01/0.05² = 62.8.
        assert!((63..=65).contains(&wide), "{wide}");
        assert!((3.9..4.1).contains(&(narrow as f64 / wide as f64)), "{narrow}");
        assert_eq!(photos_a_side(1e-9, 0.05, 0.95), 2);
    }
}
