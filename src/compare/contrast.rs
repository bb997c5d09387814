use crate::numeric::student_t_quantile;

/// One figure on the photos of one side.
#[derive(Clone, Debug)]
pub(super) struct Side {
    /// Value on each photo.
    pub value: Vec<f64>,
    /// Counting variance of each.
    pub counting: Vec<f64>,
    /// What each counts in the mean.
    pub weight: Vec<f64>,
    /// Particles on each: how much it tells of the scatter.
    pub particles: Vec<f64>,
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
    /// Degrees of freedom of the spread between photos; `None` where it is unknown, with one photo a side or with others
    /// that count for next to nothing beside it.
    pub freedom: Option<f64>,
    /// Variance of the value of a single photo of as many particles as they have on average, counting and spread.
    pub photo_variance: f64,
}

impl<const N: usize> Contrast<N> {
    /// Standard error of the difference.
    pub fn error(&self) -> f64 {
        self.variance.sqrt()
    }

    /// Degrees of freedom of its error: counting alone takes `support` effective particles for them.
    pub fn degrees(&self, support: f64) -> f64 {
        self.freedom.unwrap_or(support.max(1.0))
    }

    /// How many standard errors a two-sided interval of coverage `level` reaches to each side; `support` as for
    /// [`Contrast::degrees`].
    pub fn reach(&self, level: f64, support: f64) -> f64 {
        student_t_quantile(0.5 + 0.5 * level, self.degrees(support))
    }
}

/// Fewer degrees of freedom than this tell no spread.
const LEAST_FREEDOM: f64 = 0.5;

/// Difference of two sides, or the mean of one, under a spread between photos that is the same on both.
///
/// A photo's value has the variance τ² + its counting variance. τ² is the one under which the squares of the residuals
/// are as many as is expected of them; where even τ² = 0 leaves fewer, the counting variances are scaled down to the
/// residuals. A residual counts by its photo's particles: that of a photo with few particles tells little of those with many. The
/// degrees of freedom are those of a sum of squares so weighted. With equal counts and counting variances this is Student's
/// two-sample t test with a pooled variance. Without residuals the counting variances stand alone.
/// Source: R. C. Paule & J. Mandel, J. Res. NBS 87 (1982) 377–385; G. Knapp & J. Hartung, Stat. Med. 22 (2003)
/// 2693–2710; F. E. Satterthwaite, Biometrics Bull. 2 (1946) 110–114 (all from memory). Held to SciPy's t test in
/// `tests/compare.rs` and by simulated coverage.
pub(super) fn contrast<const N: usize>(sides: [&Side; N]) -> Contrast<N> {
    let most = sides.iter().flat_map(|s| &s.particles).copied().fold(0.0, f64::max);
    // A residual about a mean in which its photo has the share p holds 1 - p of the photo's variance, where weights go by variances.
    // Where spread makes the variances of photos of many and of few particles alike, their residuals hold more, and the spread is
    // taken for larger than it is: by a third with three times as many.
    let (mut expected, mut squared) = (0.0, 0.0);
    for side in sides {
        let all = side.weight.iter().sum::<f64>();
        for (weight, particles) in side.weight.iter().zip(&side.particles) {
            let (counts, left) = (particles / most, 1.0 - weight / all);
            expected += counts * left;
            squared += counts * counts * left;
        }
    }
    let freedom = if expected > 0.0 { expected * expected / squared } else { 0.0 };
    let is_known = freedom >= LEAST_FREEDOM;
    let (mut spread, mut scale) = (0.0, 1.0);
    if is_known {
        // Newton's steps from below: the squares fall and bend upwards, so no step goes too far.
        for step in 0..100 {
            let found = sides.map(|s| weighted_squares(s, most, spread));
            let [squares, fall] = [0, 1].map(|i| found.iter().map(|f| f[i]).sum::<f64>());
            if step == 0 && squares <= expected {
                scale = squares / expected;
                break;
            }
            spread += (squares - expected) / fall;
            if squares < expected * (1.0 + 1e-9) {
                break;
            }
        }
    }
    let by_particles = sides.iter().flat_map(|s| s.counting.iter().zip(&s.particles)).map(|(c, n)| c * n).sum::<f64>();
    let counting = by_particles / sides.iter().flat_map(|s| &s.particles).sum::<f64>();
    let side_variance = sides.map(|s| scale * s.variance(spread));
    Contrast {
        variance: side_variance.iter().sum(),
        counted: sides.iter().map(|s| s.variance(0.0)).sum(),
        side_variance,
        freedom: is_known.then_some(freedom),
        photo_variance: scale * (spread + counting),
    }
}

/// Residuals about the side's mean weighted by 1/(spread + counting variance), squared, each by that and by its photo's particles
/// (`most` count as 1); and by how much that falls for each unit of spread.
fn weighted_squares(side: &Side, most: f64, spread: f64) -> [f64; 2] {
    // A photo on which a figure cannot vary (no counting variance) must not take all the weight.
    let by = |c: &f64| 1.0 / (spread + c).max(1e-18);
    let (mut total, mut sum) = (0.0, 0.0);
    for (v, c) in side.value.iter().zip(&side.counting) {
        total += by(c);
        sum += v * by(c);
    }
    let mean = sum / total;
    let mut squares = [0.0; 2];
    for ((v, c), particles) in side.value.iter().zip(&side.counting).zip(&side.particles) {
        let part = particles / most * (v - mean).powi(2) * by(c);
        squares[0] += part;
        squares[1] += part * by(c);
    }
    squares
}

#[cfg(test)]
mod tests {
    use super::*;

    fn side(value: &[f64], counting: f64) -> Side {
        let n = value.len();
        Side { value: value.to_vec(), counting: vec![counting; n], weight: vec![2.0; n], particles: vec![7.0; n] }
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
    fn photos_of_few_particles_tell_no_spread_of_those_of_many() {
        let unequal = |weight: &[f64]| {
            // What the small ones show happens to be the same.
            let (n, counting) = (weight.len(), weight.iter().map(|w| 1.0 / w).collect());
            Side { value: vec![1.0; n], counting, weight: weight.to_vec(), particles: weight.to_vec() }
        };
        let one = unequal(&[3000.0]);
        let c = contrast([&one, &unequal(&[4000.0, 40.0, 40.0, 40.0, 40.0])]);
        assert_eq!(c.freedom, None);
        assert!((c.variance - 1.0 / 3000.0 - 1.0 / 4160.0).abs() < 1e-12, "counting stands alone: {c:?}");
        let freedom = |weight: &[f64]| contrast([&one, &unequal(weight)]).freedom.unwrap();
        assert!((freedom(&[500.0; 4]) - 3.0).abs() < 1e-9);
        assert!((2.5..3.0).contains(&freedom(&[600.0, 500.0, 500.0, 400.0])));
        assert!((0.7..0.8).contains(&freedom(&[3000.0, 1000.0])));
    }

    #[test]
    fn one_photo_a_side_leaves_counting_alone() {
        let c = contrast([&side(&[1.0], 0.04), &side(&[2.0], 0.09)]);
        assert_eq!(c.freedom, None);
        assert!((c.variance - 0.13).abs() < 1e-12);
    }
}
