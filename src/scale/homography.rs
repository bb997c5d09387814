//! The perspective map from one plane to another.

use nalgebra::{DMatrix, Matrix3, Vector3};

use crate::numeric::{levenberg_marquardt, mean_point};

/// Image of the point `p` under the homography `h`.
pub fn project(h: &Matrix3<f64>, p: [f64; 2]) -> [f64; 2] {
    let v = h * Vector3::new(p[0], p[1], 1.0);
    [v.x / v.z, v.y / v.z]
}

/// The homography (lower right entry 1) that takes the points `from` to the points `to` with the smallest sum of squared
/// distances in the plane of `to`. `None` with fewer than four points, or when they do not determine it.
///
/// Source: R. Hartley & A. Zisserman, Multiple View Geometry in Computer Vision, algorithms 4.2 (normalised direct
/// linear transform) and 4.3 (transfer error, by Levenberg–Marquardt) (numbers from memory). Checked against OpenCV's
/// `findHomography` in `tests/views.rs`.
pub fn fit_homography(from: &[[f64; 2]], to: &[[f64; 2]]) -> Option<Matrix3<f64>> {
    if from.len() < 4 || from.len() != to.len() {
        return None;
    }
    let (t_from, t_to) = (normalising(from)?, normalising(to)?);
    let apply =
        |t: &Matrix3<f64>, points: &[[f64; 2]]| -> Vec<[f64; 2]> { points.iter().map(|&p| project(t, p)).collect() };
    let (source, target) = (apply(&t_from, from), apply(&t_to, to));
    // Nine rows at least, so that the decomposition has nine right singular vectors.
    let mut rows = DMatrix::zeros((2 * source.len()).max(9), 9);
    for (i, ([x, y], [u, v])) in source.iter().zip(&target).enumerate() {
        let first = [-x, -y, -1.0, 0.0, 0.0, 0.0, u * x, u * y, *u];
        let second = [0.0, 0.0, 0.0, -x, -y, -1.0, v * x, v * y, *v];
        for k in 0..9 {
            rows[(2 * i, k)] = first[k];
            rows[(2 * i + 1, k)] = second[k];
        }
    }
    let svd = rows.svd(false, true);
    let last = svd.singular_values.imin();
    let v = svd.v_t?;
    let linear = Matrix3::from_fn(|r, c| v[(last, 3 * r + c)]);
    let linear = with_unit_corner(linear)?;
    let residuals = |p: &[f64]| {
        let h = of_parameters(p);
        source
            .iter()
            .zip(&target)
            .flat_map(|(&s, t)| {
                let q = project(&h, s);
                [q[0] - t[0], q[1] - t[1]]
            })
            .collect()
    };
    // In normalised coordinates every entry is of the order of 1; the scale of the target does not move the minimum.
    let fit = levenberg_marquardt(&parameters(&linear), &[1.0; 8], residuals)?;
    with_unit_corner(t_to.try_inverse()? * of_parameters(fit.parameters.as_slice()) * t_from)
}

/// The first eight entries, row by row, of a homography whose ninth is 1.
pub(super) fn parameters(h: &Matrix3<f64>) -> [f64; 8] {
    std::array::from_fn(|i| h[(i / 3, i % 3)])
}

/// Inverse of [`parameters`].
pub(super) fn of_parameters(p: &[f64]) -> Matrix3<f64> {
    Matrix3::new(p[0], p[1], p[2], p[3], p[4], p[5], p[6], p[7], 1.0)
}

pub(super) fn with_unit_corner(h: Matrix3<f64>) -> Option<Matrix3<f64>> {
    let h = h / h[(2, 2)];
    h.iter().all(|v| v.is_finite()).then_some(h)
}

/// Similarity that puts the centroid at the origin and the mean distance at √2.
fn normalising(points: &[[f64; 2]]) -> Option<Matrix3<f64>> {
    let n = points.len() as f64;
    let middle = mean_point(points);
    let mean = points.iter().map(|p| (p[0] - middle[0]).hypot(p[1] - middle[1])).sum::<f64>() / n;
    let s = std::f64::consts::SQRT_2 / mean;
    s.is_finite().then(|| Matrix3::new(s, 0.0, -s * middle[0], 0.0, s, -s * middle[1], 0.0, 0.0, 1.0))
}
