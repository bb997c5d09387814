use nalgebra::{DMatrix, DVector};

/// Where a fit came to rest.
#[derive(Clone, Debug)]
pub struct Fit {
    /// The parameters.
    pub parameters: DVector<f64>,
    /// Residuals at the parameters.
    pub residuals: DVector<f64>,
    /// (JᵀJ)⁻¹ at the parameters: times the variance of a residual it is their covariance.
    pub spread: DMatrix<f64>,
}

impl Fit {
    /// Sum of the squares of the residuals.
    pub fn sum_of_squares(&self) -> f64 {
        self.residuals.norm_squared()
    }
}

const MOST_STEPS: usize = 200;

/// Parameters that make the sum of the squares of `residuals(parameters)` smallest, from `start` on.
///
/// Derivatives are central differences, over 1e-6 of a parameter's size or of its `typical` size where that is larger.
/// `None` when the residuals are not numbers or leave a parameter undetermined.
/// Source: K. Levenberg (1944) and D. W. Marquardt, J. Soc. Indust. Appl. Math. 11 (1963) 431–441 (from memory); checked
/// against certified values of the NIST reference problems in `tests/fitting.rs`.
pub fn levenberg_marquardt(start: &[f64], typical: &[f64], residuals: impl Fn(&[f64]) -> Vec<f64>) -> Option<Fit> {
    assert_eq!(start.len(), typical.len(), "every parameter has a typical size");
    let of = |p: &DVector<f64>| DVector::from_vec(residuals(p.as_slice()));
    let mut parameters = DVector::from_column_slice(start);
    let mut now = of(&parameters);
    if !now.iter().all(|r| r.is_finite()) {
        return None;
    }
    let mut damping = 1e-3;
    let mut jacobian = derivatives(&parameters, typical, now.len(), of);
    for _ in 0..MOST_STEPS {
        let normal = jacobian.tr_mul(&jacobian);
        let slope = jacobian.tr_mul(&now);
        let mut damped = normal.clone();
        for i in 0..start.len() {
            damped[(i, i)] += damping * normal[(i, i)].max(f64::MIN_POSITIVE);
        }
        let Some(step) = damped.cholesky().map(|c| c.solve(&slope)) else {
            damping *= 10.0;
            if damping > 1e12 {
                break;
            }
            continue;
        };
        let next = &parameters - &step;
        let there = of(&next);
        let (before, after) = (now.norm_squared(), there.norm_squared());
        let small = (0..start.len()).all(|i| step[i].abs() <= 1e-12 * parameters[i].abs().max(typical[i]));
        if after <= before {
            (parameters, now) = (next, there);
            damping = (damping * 0.1).max(1e-15);
            jacobian = derivatives(&parameters, typical, now.len(), of);
        } else {
            // Also when `after` is not a number.
            damping *= 10.0;
        }
        if small || damping > 1e12 {
            break;
        }
    }
    let spread = jacobian.tr_mul(&jacobian).try_inverse()?;
    spread.iter().all(|v| v.is_finite()).then_some(Fit { parameters, residuals: now, spread })
}

fn derivatives(
    at: &DVector<f64>,
    typical: &[f64],
    rows: usize,
    of: impl Fn(&DVector<f64>) -> DVector<f64>,
) -> DMatrix<f64> {
    let mut jacobian = DMatrix::zeros(rows, at.len());
    let mut moved = at.clone();
    for i in 0..at.len() {
        let step = 1e-6 * at[i].abs().max(typical[i]);
        moved[i] = at[i] + step;
        let ahead = of(&moved);
        moved[i] = at[i] - step;
        let behind = of(&moved);
        moved[i] = at[i];
        jacobian.set_column(i, &((ahead - behind) / (2.0 * step)));
    }
    jacobian
}
