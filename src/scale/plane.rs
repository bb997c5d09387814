//! The paper as a camera sees it: tilted, and bent by the lens.

use nalgebra::{DMatrix, Matrix3};

use super::homography::{fit_homography, of_parameters, parameters, project, with_unit_corner};
use super::lens::Lens;
use crate::numeric::{determinant, levenberg_marquardt, mean_point, normal_quantile, student_t_quantile};

/// From the picture to the paper and back.
#[derive(Clone, Debug, PartialEq)]
pub struct Plane {
    /// Paper (mm) to the picture of a lens without bend (px).
    to_px: Matrix3<f64>,
    to_mm: Matrix3<f64>,
    lens: Lens,
}

impl Plane {
    /// `to_px` takes the paper (mm) to the picture (px) that a lens without bend would give. `None` when it has no inverse.
    pub fn new(to_px: Matrix3<f64>, lens: Lens) -> Option<Self> {
        let to_mm = with_unit_corner(to_px.try_inverse()?)?;
        Some(Plane { to_px, to_mm, lens })
    }

    /// As [`Plane::new`], with the homography by its rows.
    pub fn of_rows(to_px: [[f64; 3]; 3], lens: Lens) -> Option<Self> {
        Plane::new(Matrix3::from_fn(|r, c| to_px[r][c]), lens)
    }

    /// The same paper with its x and y stretched: for a printer that shrinks.
    #[must_use]
    pub fn stretched(&self, [sx, sy]: [f64; 2]) -> Self {
        let to_mm = Matrix3::from_diagonal(&[sx, sy, 1.0].into()) * self.to_mm;
        let to_px = self.to_px * Matrix3::from_diagonal(&[1.0 / sx, 1.0 / sy, 1.0].into());
        Plane { to_px, to_mm, lens: self.lens }
    }

    /// Homography from the paper (mm) to the picture (px) that a lens without bend would give.
    pub fn to_px(&self) -> &Matrix3<f64> {
        &self.to_px
    }

    /// The lens.
    pub fn lens(&self) -> &Lens {
        &self.lens
    }

    /// Where a point of the paper (mm) is seen, px.
    pub fn px(&self, mm: [f64; 2]) -> [f64; 2] {
        self.lens.bend(project(&self.to_px, mm))
    }

    /// What point of the paper (mm) is seen at `px`. `None` where the lens model folds over.
    pub fn mm(&self, px: [f64; 2]) -> Option<[f64; 2]> {
        Some(project(&self.to_mm, self.lens.unbend(px)?))
    }

    /// Derivatives of [`Plane::mm`], mm per px: `[[dx/du, dx/dv], [dy/du, dy/dv]]`.
    pub fn mm_per_px(&self, [u, v]: [f64; 2]) -> Option<[[f64; 2]; 2]> {
        // The map is smooth over hundreds of pixels: half a pixel to each side is as good as the limit.
        let along = |a: Option<[f64; 2]>, b: Option<[f64; 2]>| a.zip(b).map(|(a, b)| [b[0] - a[0], b[1] - a[1]]);
        let du = along(self.mm([u - 0.5, v]), self.mm([u + 0.5, v]))?;
        let dv = along(self.mm([u, v - 0.5]), self.mm([u, v + 0.5]))?;
        Some([[du[0], dv[0]], [du[1], dv[1]]])
    }
}

/// A plane fitted to points, and how well it is known.
#[derive(Clone, Debug)]
pub struct PlaneFit {
    /// The plane.
    pub plane: Plane,
    /// Root of the mean squared coordinate residual, by the degrees of freedom, px.
    pub residual_px: f64,
    normal: Normal,
    fitted: Vec<f64>,
    covariance: DMatrix<f64>,
    freedom: f64,
}

/// Makes mm and px dimensionless, so that every parameter is of the order of 1.
#[derive(Clone, Copy, Debug)]
pub(super) struct Normal {
    middle_mm: [f64; 2],
    half_mm: f64,
    optics: Optics,
}

/// Usual size of the radial terms (standard deviations), with which points too few to fix them are helped out. Lenses of
/// phones and of single-lens cameras stay below some tenths (common practice, no source).
const USUAL_K: [f64; 2] = [0.2, 0.05];

/// What is known of the camera before a plane is fitted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Optics {
    /// Centre of the bend, px.
    pub centre_px: [f64; 2],
    /// Length that makes the radial terms dimensionless, px: the focal length where it is known.
    pub focal_px: f64,
    /// Expectation and standard deviation of k1 and k2.
    pub terms: [(f64, f64); 2],
}

impl Optics {
    /// Of a lens of which nothing is known, in a picture of that width and height (px).
    pub fn usual(size_px: [f64; 2], focal_px: f64) -> Self {
        Optics { centre_px: size_px.map(|s| 0.5 * s), focal_px, terms: USUAL_K.map(|k| (0.0, k)) }
    }
}

/// Usual error of a mark's centre, px, against which that help is weighed.
const USUAL_ERROR_PX: f64 = 0.05;

impl Normal {
    /// For points of the paper about their centroid, and a picture about the centre of its bend.
    pub fn new(mm: &[[f64; 2]], optics: Optics) -> Self {
        let middle_mm = mean_point(mm);
        let half_mm = mm.iter().map(|p| (p[0] - middle_mm[0]).hypot(p[1] - middle_mm[1])).fold(0.0, f64::max);
        Normal { middle_mm, half_mm, optics }
    }

    pub fn of_mm(&self, p: [f64; 2]) -> [f64; 2] {
        [0, 1].map(|i| (p[i] - self.middle_mm[i]) / self.half_mm)
    }

    pub fn of_px(&self, p: [f64; 2]) -> [f64; 2] {
        [0, 1].map(|i| (p[i] - self.optics.centre_px[i]) / self.optics.focal_px)
    }

    fn plane(&self, p: &[f64]) -> Option<Plane> {
        let ([x, y], [cx, cy], f) = (self.middle_mm, self.optics.centre_px, self.optics.focal_px);
        let mm = Matrix3::new(1.0, 0.0, -x, 0.0, 1.0, -y, 0.0, 0.0, self.half_mm);
        let px = Matrix3::new(f, 0.0, cx, 0.0, f, cy, 0.0, 0.0, 1.0);
        let lens = Lens { centre: [cx, cy], focal_px: f, k1: p[8], k2: p[9] };
        Plane::new(with_unit_corner(px * of_parameters(&p[..8]) * mm)?, lens)
    }
}

/// Fits a plane to `residuals` (px over the focal length), from the homography `start` between dimensionless coordinates on.
pub(super) fn fit_residuals(
    normal: Normal,
    start: &Matrix3<f64>,
    residuals: impl Fn(&Plane) -> Vec<f64>,
) -> Option<PlaneFit> {
    let Optics { focal_px, terms, .. } = normal.optics;
    let with_usual = |p: &[f64]| -> Vec<f64> {
        let mut all = normal.plane(p).map_or_else(|| vec![f64::NAN], |plane| residuals(&plane));
        all.extend((0..2).map(|i| (p[8 + i] - terms[i].0) / terms[i].1 * USUAL_ERROR_PX / focal_px));
        all
    };
    let mut guess = parameters(start).to_vec();
    guess.extend(terms.map(|t| t.0));
    let fit = levenberg_marquardt(&guess, &[0.1; 10], with_usual)?;
    let fitted = fit.parameters.as_slice().to_vec();
    let plane = normal.plane(&fitted)?;
    let freedom = (fit.residuals.len() as f64 - 10.0).max(1.0);
    let variance = fit.sum_of_squares() / freedom;
    let residual_px = focal_px * variance.sqrt();
    Some(PlaneFit { plane, residual_px, normal, fitted, covariance: fit.spread * variance, freedom })
}

/// Fits the homography and two radial terms together to points of the paper (mm) and where they are seen (px).
///
/// `None` with fewer than five points or when they do not determine the
/// plane.
/// Source: the homography with radial terms of Z. Zhang (2000), as [`Lens`]; fitted by Levenberg–Marquardt.
pub fn fit_plane(mm: &[[f64; 2]], px: &[[f64; 2]], optics: Optics) -> Option<PlaneFit> {
    if mm.len() < 5 || mm.len() != px.len() {
        return None;
    }
    let normal = Normal::new(mm, optics);
    let from: Vec<[f64; 2]> = mm.iter().map(|&p| normal.of_mm(p)).collect();
    let to: Vec<[f64; 2]> = px.iter().map(|&p| normal.of_px(p)).collect();
    let start = fit_homography(&from, &to)?;
    fit_residuals(normal, &start, |plane| {
        let off = |(&mm, px): (&[f64; 2], &[f64; 2])| {
            let q = plane.px(mm);
            [0, 1].map(|i| (q[i] - px[i]) / optics.focal_px)
        };
        mm.iter().zip(px).flat_map(off).collect()
    })
}

impl PlaneFit {
    /// Relative standard uncertainty of the scale (root of mm² per px²), the root of its mean square over the points `px`.
    ///
    /// Widened as Student's t asks for, so that 1.96 times it holds the truth 95 times in 100 with few marks, too.
    pub fn scale_uncertainty(&self, px: &[[f64; 2]]) -> f64 {
        let log_scale =
            |p: &[f64], at: [f64; 2]| Some(0.5 * determinant(self.normal.plane(p)?.mm_per_px(at)?).abs().ln());
        let variances: Vec<f64> = px
            .iter()
            .filter_map(|&at| {
                let slope: Vec<f64> = (0..10)
                    .map(|i| {
                        let step = 1e-5;
                        let mut moved = self.fitted.clone();
                        moved[i] += step;
                        let ahead = log_scale(&moved, at)?;
                        moved[i] -= 2.0 * step;
                        Some((ahead - log_scale(&moved, at)?) / (2.0 * step))
                    })
                    .collect::<Option<_>>()?;
                let slope = nalgebra::DVector::from_vec(slope);
                Some((&self.covariance * &slope).dot(&slope))
            })
            .collect();
        let few = student_t_quantile(0.975, self.freedom) / normal_quantile(0.975);
        few * (variances.iter().sum::<f64>() / variances.len().max(1) as f64).sqrt()
    }
}
