use nalgebra::{DMatrix, DVector};

/// A linear model fitted by weighted least squares.
#[derive(Clone, Debug)]
pub struct Regression {
    /// Coefficient of each column.
    pub coefficients: Vec<f64>,
    /// (XᵀWX)⁻¹: times the variance of an observation of weight 1 it is the covariance of the coefficients.
    pub spread: DMatrix<f64>,
    /// Weighted sum of the squares of the residuals.
    pub squares: f64,
    /// Observations less coefficients.
    pub freedom: f64,
}

impl Regression {
    /// Standard error of coefficient `i`, with the variance that the residuals show.
    pub fn error(&self, i: usize) -> f64 {
        (self.squares / self.freedom * self.spread[(i, i)]).sqrt()
    }
}

/// Fits `y` by the columns of `rows` (one row per observation, all of one length) with the weights `weight`, by QR
/// decomposition; `None` with no observation to spare, or where the columns depend on each other.
///
/// Checked against the certified values of NIST's Norris set in `tests/fitting.rs`.
pub fn regression(rows: &[Vec<f64>], y: &[f64], weight: &[f64]) -> Option<Regression> {
    let columns = rows.first()?.len();
    if rows.len() <= columns {
        return None;
    }
    let x = DMatrix::from_fn(rows.len(), columns, |i, j| weight[i].sqrt() * rows[i][j]);
    let target = DVector::from_fn(rows.len(), |i, _| weight[i].sqrt() * y[i]);
    let qr = x.clone().qr();
    let r = qr.r();
    let largest = |j: usize| x.column(j).norm();
    if (0..columns).any(|j| r[(j, j)].abs() <= 1e-9 * largest(j)) {
        return None;
    }
    let coefficients = r.solve_upper_triangular(&(qr.q().transpose() * &target))?;
    let inverse = r.try_inverse()?;
    let squares = (target - &x * &coefficients).norm_squared();
    Some(Regression {
        coefficients: coefficients.as_slice().to_vec(),
        spread: &inverse * inverse.transpose(),
        squares,
        freedom: (rows.len() - columns) as f64,
    })
}
