use statrs::distribution::{Continuous, ContinuousCDF, StudentsT};

/// Error function, absolute error below 1.2e-7 near 0 and relative error below 1.2e-7 elsewhere.
///
/// Source: Chebyshev form of erfc in W. H. Press et al., Numerical Recipes, section 6.2 (from memory); checked in
/// `tests/published.rs` against values from SciPy.
pub fn erf(x: f64) -> f64 {
    let z = x.abs();
    let t = 1.0 / (1.0 + 0.5 * z);
    let poly = -1.26551223
        + t * (1.00002368
            + t * (0.37409196
                + t * (0.09678418
                    + t * (-0.18628806
                        + t * (0.27886807
                            + t * (-1.13520398 + t * (1.48851587 + t * (-0.82215223 + t * 0.17087277))))))));
    let erfc = t * (-z * z + poly).exp();
    if x >= 0.0 { 1.0 - erfc } else { erfc - 1.0 }
}

/// Cumulative distribution of the standard normal law, dimensionless.
pub fn normal_cdf(x: f64) -> f64 {
    0.5 * (1.0 + erf(x / std::f64::consts::SQRT_2))
}

/// Quantile of the standard normal law for `p` in (0, 1); infinite at the ends.
///
/// Solved from [`normal_cdf`] by bisection, so the two agree.
pub fn normal_quantile(p: f64) -> f64 {
    if p <= 0.0 {
        return f64::NEG_INFINITY;
    }
    if p >= 1.0 {
        return f64::INFINITY;
    }
    bisect(-40.0, 40.0, |x| normal_cdf(x) - p)
}

/// Quantile of Student's t law with `df` degrees of freedom (`df` > 0, may be infinite), for `p` in (0, 1).
///
/// Solves the library's cumulative law by Newton's method.
pub fn student_t_quantile(p: f64, df: f64) -> f64 {
    let z = normal_quantile(p);
    if df > 1e4 {
        // Two terms of Cornish and Fisher's series are right to 1e-8 here.
        return z + (z * z * z + z) / (4.0 * df);
    }
    if p < 0.5 {
        return -student_t_quantile(1.0 - p, df);
    }
    let Ok(law) = StudentsT::new(0.0, 1.0, df) else { return f64::NAN };
    // The normal quantile lies below the sought one, and the cumulative law bends downwards: each step comes nearer
    // without passing it.
    let mut t = z;
    for _ in 0..200 {
        let step = (p - law.cdf(t)) / law.pdf(t);
        t += step;
        if step <= 1e-12 * t {
            break;
        }
    }
    t
}

/// Cumulative Student's t law with `df` degrees of freedom (`df` > 0, may be infinite), dimensionless.
///
/// By the incomplete beta function of the library `statrs`.
pub fn student_t_cdf(t: f64, df: f64) -> f64 {
    if df.is_infinite() {
        return normal_cdf(t);
    }
    StudentsT::new(0.0, 1.0, df).map_or(f64::NAN, |law| law.cdf(t))
}

fn bisect(mut low: f64, mut high: f64, rising: impl Fn(f64) -> f64) -> f64 {
    for _ in 0..90 {
        let mid = 0.5 * (low + high);
        if rising(mid) < 0.0 { low = mid } else { high = mid }
    }
    0.5 * (low + high)
}

/// Symmetric sampled Gaussian with unit sum, for smoothing rows and patches.
#[derive(Clone, Debug)]
pub struct GaussKernel {
    /// Weights of the distances 0, 1, 2 … px (dimensionless).
    pub weights: Vec<f32>,
}

impl GaussKernel {
    /// Kernel of standard deviation `sigma_px`, cut at three sigma.
    pub fn new(sigma_px: f64) -> Self {
        GaussKernel::cut(sigma_px, (3.0 * sigma_px).ceil().max(1.0) as usize)
    }

    /// Kernel of standard deviation `sigma_px` that reaches `radius` px.
    pub fn cut(sigma_px: f64, radius: usize) -> Self {
        let raw: Vec<f64> = (0..=radius).map(|k| (-0.5 * (k as f64 / sigma_px).powi(2)).exp()).collect();
        let sum: f64 = raw[0] + 2.0 * raw[1..].iter().sum::<f64>();
        GaussKernel { weights: raw.iter().map(|w| (w / sum) as f32).collect() }
    }

    /// Reach to each side, px.
    pub fn radius(&self) -> usize {
        self.weights.len() - 1
    }

    /// Smooths `row` into `out` (same length), repeating the end values outside.
    pub fn smooth_row(&self, row: &[f32], out: &mut [f32]) {
        let (n, r) = (row.len(), self.radius());
        if n <= 2 * r {
            out.iter_mut().enumerate().for_each(|(x, o)| *o = self.clamped(row, x));
            return;
        }
        for x in (0..r).chain(n - r..n) {
            out[x] = self.clamped(row, x);
        }
        self.smooth(&mut out[r..n - r], |k| (&row[r - k..n - r - k], &row[r + k..n - r + k]));
    }

    /// Smooths into `out`: `sides(k)` gives the values at the distance `k` before and after each, both as long as `out`.
    pub fn smooth<'v>(&self, out: &mut [f32], sides: impl Fn(usize) -> (&'v [f32], &'v [f32])) {
        // Distance by distance along the whole row, two at a time, so that the sides are asked for once each.
        let (middle, rest) = self.weights.split_first().expect("a kernel has a middle");
        out.iter_mut().zip(sides(0).0).for_each(|(o, v)| *o = middle * v);
        for (k, weights) in (1..).step_by(2).zip(rest.chunks(2)) {
            let (before, after) = sides(k);
            match *weights {
                [near, far] => {
                    let (long_before, long_after) = sides(k + 1);
                    let near_sides = before.iter().zip(after);
                    let far_sides = long_before.iter().zip(long_after);
                    for ((o, (a, b)), (c, d)) in out.iter_mut().zip(near_sides).zip(far_sides) {
                        *o += near * (a + b) + far * (c + d);
                    }
                }
                [near] => out.iter_mut().zip(before.iter().zip(after)).for_each(|(o, (a, b))| *o += near * (a + b)),
                _ => unreachable!("chunks of two"),
            }
        }
    }

    /// Smooths the rows of `values`, `width` to a row, along both axes into the rows given with their numbers; rows beyond
    /// repeat the first and the last.
    pub fn smooth_picture<'o>(&self, values: &[f32], width: usize, rows: impl Iterator<Item = (usize, &'o mut [f32])>) {
        let last = values.len() / width - 1;
        let row = |y: usize| &values[y.min(last) * width..][..width];
        let mut down = vec![0.0; width];
        for (y, out) in rows {
            self.smooth(&mut down, |k| (row(y.saturating_sub(k)), row(y + k)));
            self.smooth_row(&down, out);
        }
    }

    fn clamped(&self, row: &[f32], x: usize) -> f32 {
        let last = row.len() - 1;
        let mut sum = self.weights[0] * row[x];
        for (k, &w) in self.weights.iter().enumerate().skip(1) {
            sum += w * (row[x.saturating_sub(k)] + row[(x + k).min(last)]);
        }
        sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn smoothing_keeps_a_constant_row_and_the_sum_of_a_spike() {
        let kernel = GaussKernel::new(1.3);
        let mut out = vec![0.0; 40];
        kernel.smooth_row(&[2.0; 40], &mut out);
        assert!(out.iter().all(|v| (v - 2.0).abs() < 1e-5));
        let mut spike = vec![0.0; 40];
        spike[20] = 1.0;
        kernel.smooth_row(&spike, &mut out);
        assert!((out.iter().sum::<f32>() - 1.0).abs() < 1e-5);
        assert_eq!(out[19], out[21]);
    }

    #[test]
    fn a_row_shorter_than_the_kernel_is_smoothed_too() {
        let mut out = vec![0.0; 3];
        GaussKernel::new(2.0).smooth_row(&[1.0, 1.0, 1.0], &mut out);
        assert!(out.iter().all(|v| (v - 1.0).abs() < 1e-5));
    }
}
