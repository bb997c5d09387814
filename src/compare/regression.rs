use nalgebra::{DMatrix, DVector, RowDVector};

use crate::numeric::regression;

/// Coefficients of a linear model and how well they are known.
#[derive(Clone, Debug)]
pub(super) struct Regression {
    /// The coefficients, one for each column of the design.
    pub coefficients: DVector<f64>,
    /// Their covariance.
    pub covariance: DMatrix<f64>,
    /// Degrees of freedom of the residuals.
    pub freedom: f64,
}

impl Regression {
    /// Value of the model at `row`.
    pub fn at(&self, row: &RowDVector<f64>) -> f64 {
        (row * &self.coefficients)[0]
    }

    /// Standard error of `row` times the coefficients.
    pub fn error(&self, row: &RowDVector<f64>) -> f64 {
        (row * &self.covariance * row.transpose())[0].max(0.0).sqrt()
    }
}

/// Fits `value = design · coefficients`, where each value has the variance `known` of its own and one more that is common
/// to all and is read from the residuals.
///
/// The common variance is the one under which the weighted squares of the residuals are as many as their degrees of freedom; where
/// even none leaves fewer, the known ones are scaled down to the residuals, as in [`super::contrast`]. `None` where there are no more values than columns, or columns that depend on each other.
/// Source: R. C. Paule & J. Mandel, J. Res. NBS 87 (1982) 377–385; G. Knapp & J. Hartung, Stat. Med. 22 (2003) 2693–2710
/// (both from memory).
pub(super) fn random_effects(design: &DMatrix<f64>, value: &[f64], known: &[f64]) -> Option<Regression> {
    let rows: Vec<Vec<f64>> = design.row_iter().map(|r| r.iter().copied().collect()).collect();
    let solve = |common: f64| {
        let weight: Vec<f64> = known.iter().map(|k| 1.0 / (k + common)).collect();
        let fit = regression(&rows, value, &weight)?;
        let coefficients = DVector::from_vec(fit.coefficients);
        Some((Regression { coefficients, covariance: fit.spread, freedom: fit.freedom }, fit.squares))
    };
    // A perfect fit of values without variance of their own leaves nothing to weigh by.
    let least = 1e-12 * value.iter().map(|v| v * v).fold(f64::MIN_POSITIVE, f64::max);
    let (plain, squares) = solve(least)?;
    let freedom = plain.freedom;
    if squares <= freedom {
        let covariance = plain.covariance * (squares / freedom);
        return Some(Regression { covariance, ..plain });
    }
    // The squares fall as the common variance grows: bisect on a scale of factors.
    let (mut low, mut high) = (least, least);
    while solve(high)?.1 > freedom {
        high *= 16.0;
    }
    for _ in 0..200 {
        let middle = (low * high).sqrt();
        if solve(middle)?.1 > freedom {
            low = middle;
        } else {
            high = middle;
        }
        if high / low < 1.0 + 1e-13 {
            break;
        }
    }
    solve((low * high).sqrt()).map(|(fit, _)| fit)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(x: &[f64]) -> DMatrix<f64> {
        DMatrix::from_fn(x.len(), 2, |i, j| if j == 0 { 1.0 } else { x[i] })
    }

    #[test]
    fn without_known_variances_it_is_the_least_squares_line() {
        // NIST Statistical Reference Datasets, linear regression, Norris: certified values.
        let data = [
            (0.1, 0.2),
            (338.8, 337.4),
            (118.1, 118.2),
            (888.0, 884.6),
            (9.2, 10.1),
            (228.1, 226.5),
            (668.5, 666.3),
            (998.5, 996.3),
            (449.1, 448.6),
            (778.9, 777.0),
            (559.2, 558.2),
            (0.3, 0.4),
            (0.1, 0.6),
            (778.1, 775.5),
            (668.8, 666.9),
            (339.3, 338.0),
            (448.9, 447.5),
            (10.8, 11.6),
            (557.7, 556.0),
            (228.3, 228.1),
            (998.0, 995.8),
            (888.8, 887.6),
            (119.6, 120.2),
            (0.3, 0.3),
            (0.6, 0.3),
            (557.6, 556.8),
            (339.3, 339.1),
            (888.0, 887.2),
            (998.5, 999.0),
            (778.9, 779.0),
            (10.2, 11.1),
            (117.6, 118.3),
            (228.9, 229.2),
            (668.4, 669.1),
            (449.2, 448.9),
            (0.2, 0.5),
        ];
        let (y, x): (Vec<f64>, Vec<f64>) = data.into_iter().unzip();
        let fit = random_effects(&line(&x), &y, &vec![0.0; y.len()]).unwrap();
        let near = |found: f64, certified: f64| assert!((found / certified - 1.0).abs() < 1e-8, "{found} {certified}");
        near(fit.coefficients[0], -0.262_323_073_774_029);
        near(fit.coefficients[1], 1.002_116_818_020_45);
        near(fit.covariance[(0, 0)].sqrt(), 0.232_818_234_301_152);
        near(fit.covariance[(1, 1)].sqrt(), 0.429_796_848_199_937e-3);
        assert_eq!(fit.freedom, 34.0);
    }

    #[test]
    fn what_residuals_show_beyond_the_known_variances_is_added() {
        // Recomputed with numpy, the common variance by scipy.optimize.brentq: 0.09628217416612568.
        let x = [8.0, 9.0, 10.0, 11.0, 12.0, 9.0, 10.5, 12.0];
        let y = [1.0, 1.6, 1.9, 2.8, 3.0, 2.1, 2.4, 3.9];
        let fit = random_effects(&line(&x), &y, &[0.01, 0.02, 0.01, 0.05, 0.02, 0.03, 0.01, 0.04]).unwrap();
        let near = |found: f64, computed: f64| assert!((found / computed - 1.0).abs() < 1e-6, "{found} {computed}");
        near(fit.coefficients[0], -3.470_944_09);
        near(fit.coefficients[1], 0.568_105_17);
        near(fit.covariance[(0, 0)], 0.826_758_04);
        near(fit.covariance[(0, 1)], -0.080_234_67);
        near(fit.error(&RowDVector::from_vec(vec![0.0, 1.0])), 0.007_928_59f64.sqrt());
    }

    #[test]
    fn too_few_points_are_no_line() {
        assert!(random_effects(&line(&[1.0, 2.0]), &[1.0, 2.0], &[0.1, 0.1]).is_none());
        assert!(random_effects(&line(&[1.0, 1.0, 1.0]), &[1.0, 2.0, 3.0], &[0.1; 3]).is_none());
    }
}
