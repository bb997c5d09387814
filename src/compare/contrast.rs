use crate::numeric::student_t_quantile;

/// One figure on the photos of one side.
#[derive(Clone, Debug)]
pub(super) struct Side {
    /// Value on each photo.
    pub value: Vec<f64>,
    /// Counting variance of each.
    pub counting: Vec<f64>,
    /// What each counts among the others.
    pub weight: Vec<f64>,
}

impl Side {
    /// Mean of the photos as they count.
    pub fn mean(&self) -> f64 {
        self.value.iter().zip(&self.weight).map(|(v, w)| v * w).sum::<f64>() / self.weight.iter().sum::<f64>()
    }

    /// Variance of [`Side::mean`] when photos differ by the variance `spread` besides counting.
    fn variance(&self, spread: f64) -> f64 {
        let squares = self.weight.iter().zip(&self.counting).map(|(w, c)| w * w * (spread + c)).sum::<f64>();
        squares / self.weight.iter().sum::<f64>().powi(2)
    }
}

/// Other side less base, and how well it is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Contrast<const N: usize = 2> {
    /// Variance of the difference.
    pub variance: f64,
    /// The part of it that counting alone explains.
    pub counted: f64,
    /// What each side adds to it.
    pub side_variance: [f64; N],
    /// Degrees of freedom of the spread between photos; `None` where a photo a side leaves it unknown.
    pub freedom: Option<f64>,
    /// Variance of a single photo's value, counting and spread.
    pub photo_variance: f64,
}

impl<const N: usize> Contrast<N> {
    /// Standard error of the difference.
    pub fn error(&self) -> f64 {
        self.variance.sqrt()
    }

    /// How many standard errors a two-sided interval of coverage `level` reaches to each side. Counting alone takes
    /// `support` effective particles for its degrees of freedom.
    pub fn reach(&self, level: f64, support: f64) -> f64 {
        student_t_quantile(0.5 + 0.5 * level, self.freedom.unwrap_or(support.max(1.0)))
    }
}

/// Difference of two sides, or the mean of one, under a spread between photos that is the same on both.
///
/// A photo's value has the variance τ² + its counting variance. τ² is the one under which the weighted squares of the
/// residuals are as many as their degrees of freedom; where even τ² = 0 leaves fewer, the counting variances are scaled
/// down to the residuals. With equal counting variances this is Student's two-sample t test with a pooled variance.
/// With one photo a side there are no residuals, and the counting variances stand alone.
/// Source: R. C. Paule & J. Mandel, J. Res. NBS 87 (1982) 377–385; G. Knapp & J. Hartung, Stat. Med. 22 (2003)
/// 2693–2710 (both from memory). Held to SciPy's t test in `tests/compare.rs` and by simulated coverage.
pub(super) fn contrast<const N: usize>(sides: [&Side; N]) -> Contrast<N> {
    let photos = sides.iter().map(|s| s.value.len()).sum::<usize>();
    let freedom = photos as f64 - N as f64;
    let (mut spread, mut scale) = (0.0, 1.0);
    if freedom > 0.0 {
        // Newton's steps from below: the squares fall and bend upwards, so no step goes too far.
        for step in 0..100 {
            let found = sides.map(|s| weighted_squares(s, spread));
            let [squares, fall] = [0, 1].map(|i| found.iter().map(|f| f[i]).sum::<f64>());
            if step == 0 && squares <= freedom {
                scale = squares / freedom;
                break;
            }
            spread += (squares - freedom) / fall;
            if squares < freedom * (1.0 + 1e-9) {
                break;
            }
        }
    }
    let counting = sides.iter().flat_map(|s| &s.counting).sum::<f64>() / photos as f64;
    let side_variance = sides.map(|s| scale * s.variance(spread));
    Contrast {
        variance: side_variance.iter().sum(),
        counted: sides.iter().map(|s| s.variance(0.0)).sum(),
        side_variance,
        freedom: (freedom > 0.0).then_some(freedom),
        photo_variance: scale * (spread + counting),
    }
}

/// Residuals about the side's weighted mean, squared and weighted by 1/(spread + counting variance); and by how much
/// that falls for each unit of spread.
fn weighted_squares(side: &Side, spread: f64) -> [f64; 2] {
    // A photo on which a figure cannot vary (no counting variance) must not take all the weight.
    let weight = |c: &f64| 1.0 / (spread + c).max(1e-18);
    let (mut total, mut sum) = (0.0, 0.0);
    for (v, c) in side.value.iter().zip(&side.counting) {
        total += weight(c);
        sum += v * weight(c);
    }
    let mean = sum / total;
    let mut squares = [0.0; 2];
    for (v, c) in side.value.iter().zip(&side.counting) {
        let part = (v - mean).powi(2) * weight(c);
        squares[0] += part;
        squares[1] += part * weight(c);
    }
    squares
}

#[cfg(test)]
mod tests {
    use super::*;

    fn side(value: &[f64], counting: f64) -> Side {
        let n = value.len();
        Side { value: value.to_vec(), counting: vec![counting; n], weight: vec![2.0; n] }
    }

    #[test]
    fn equal_photos_give_the_pooled_t_test_whatever_counting_says() {
        // Recomputed by hand: pooled variance ((2·1) + (1·2))/3 = 4/3, times (1/3 + 1/2).
        let (a, b) = ([1.0, 2.0, 3.0], [5.0, 7.0]);
        for counting in [1e-6, 0.3, 4.0, 1e3] {
            let c = contrast([&side(&a, counting), &side(&b, counting)]);
            assert!((c.variance - 4.0 / 3.0 * (1.0 / 3.0 + 0.5)).abs() < 1e-6, "{counting}: {c:?}");
            assert_eq!(c.freedom, Some(3.0));
        }
    }

    #[test]
    fn one_photo_a_side_leaves_counting_alone() {
        let c = contrast([&side(&[1.0], 0.04), &side(&[2.0], 0.09)]);
        assert_eq!(c.freedom, None);
        assert!((c.variance - 0.13).abs() < 1e-12);
    }
}
