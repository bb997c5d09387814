/// Solves the small symmetric system `a · x = b` by Gaussian elimination with pivoting; `None` where it is singular.
pub fn solve<const N: usize>(mut a: [[f64; N]; N], mut b: [f64; N]) -> Option<[f64; N]> {
    for col in 0..N {
        let pivot = (col..N).max_by(|&i, &j| a[i][col].abs().total_cmp(&a[j][col].abs()))?;
        if a[pivot][col].abs() < 1e-12 {
            return None;
        }
        a.swap(col, pivot);
        b.swap(col, pivot);
        for row in col + 1..N {
            let factor = a[row][col] / a[col][col];
            let pivot_row = a[col];
            for (value, above) in a[row].iter_mut().zip(pivot_row).skip(col) {
                *value -= factor * above;
            }
            b[row] -= factor * b[col];
        }
    }
    for col in (0..N).rev() {
        for k in col + 1..N {
            b[col] -= a[col][k] * b[k];
        }
        b[col] /= a[col][col];
    }
    Some(b)
}

/// Least-squares surface `z ≈ c0 + c1·x + c2·y + c3·x² + c4·xy + c5·y²` through `(x, y, z)`.
///
/// Keep x and y of the order of 1. `None` with fewer than six points that span the plane.
pub fn quadratic_surface(points: impl Iterator<Item = (f64, f64, f64)>) -> Option<[f64; 6]> {
    let (mut normal, mut right) = ([[0.0; 6]; 6], [0.0; 6]);
    for (x, y, z) in points {
        let terms = surface_terms(x, y);
        for i in 0..6 {
            for j in 0..6 {
                normal[i][j] += terms[i] * terms[j];
            }
            right[i] += terms[i] * z;
        }
    }
    solve(normal, right)
}

/// The terms that [`quadratic_surface`] weights: 1, x, y, x², xy, y².
pub(crate) fn surface_terms(x: f64, y: f64) -> [f64; 6] {
    [1.0, x, y, x * x, x * y, y * y]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quadratic_surface_is_found_exactly() {
        let truth = [2.0, -0.5, 0.25, 0.1, -0.3, 0.7];
        let grid = (0..25).map(|i| (f64::from(i % 5) / 2.0 - 1.0, f64::from(i / 5) / 2.0 - 1.0));
        let z = |x: f64, y: f64| surface_terms(x, y).iter().zip(truth).map(|(t, c)| t * c).sum::<f64>();
        let found = quadratic_surface(grid.map(|(x, y)| (x, y, z(x, y)))).unwrap();
        for (f, t) in found.iter().zip(truth) {
            assert!((f - t).abs() < 1e-10);
        }
    }

    #[test]
    fn too_few_points_give_none() {
        assert!(quadratic_surface([(0.0, 0.0, 1.0), (1.0, 0.0, 1.0)].into_iter()).is_none());
    }
}
