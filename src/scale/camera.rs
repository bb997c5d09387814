//! What a camera does to a scene, from several photos of one plane.

use nalgebra::{DMatrix, Matrix3, Rotation3, UnitQuaternion, Vector3};

use super::{Lens, fit_homography};
use crate::numeric::levenberg_marquardt;

/// Points of a plane and where one photo shows them, in the same order.
#[derive(Clone, Debug, PartialEq)]
pub struct PlaneView {
    /// Points of the plane, mm.
    pub plane_mm: Vec<[f64; 2]>,
    /// The same points in the photo, px.
    pub shown_px: Vec<[f64; 2]>,
}

/// Where the plane lies before the camera: a point p of the plane is at R p + t in the frame of the camera (x right,
/// y down, z ahead).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pose {
    /// Rotation R as a vector: its direction is the axis, its length the angle in radians.
    pub rotation: [f64; 3],
    /// Translation t, mm.
    pub translation_mm: [f64; 3],
}

impl Pose {
    fn matrix(&self) -> Matrix3<f64> {
        Rotation3::from_scaled_axis(Vector3::from(self.rotation)).into_inner()
    }
}

/// A pinhole camera with a lens of two radial terms (the model of [`Lens`], with a focal length for each direction), and
/// the poses of the plane it was fitted to.
#[derive(Clone, Debug, PartialEq)]
pub struct CameraModel {
    /// Focal length along x and along y, px.
    pub focal_px: [f64; 2],
    /// Where the optical axis meets the photo, px; also the centre of the bend.
    pub centre_px: [f64; 2],
    /// First radial term, dimensionless.
    pub k1: f64,
    /// Second radial term, dimensionless.
    pub k2: f64,
    /// The plane in each view.
    pub poses: Vec<Pose>,
    /// Root of the mean squared distance between points of the photos and of the model, px.
    pub rms_px: f64,
    /// Standard uncertainties, for points whose errors are independent and alike in all views.
    pub spread: CameraSpread,
}

/// Standard uncertainties of a [`CameraModel`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CameraSpread {
    /// Of the focal lengths, px.
    pub focal_px: [f64; 2],
    /// Of the centre, px.
    pub centre_px: [f64; 2],
    /// Of the first radial term, dimensionless.
    pub k1: f64,
    /// Of the second radial term, dimensionless.
    pub k2: f64,
}

/// Why views give no camera.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[allow(missing_docs, reason = "each variant is its message")]
pub enum CameraError {
    #[error("a camera is calibrated from at least {LEAST_VIEWS} views of a plane, and there are {0}")]
    FewViews(usize),
    #[error("view {0} has too few points, or they lie on a line")]
    Points(usize),
    #[error("the views have no more points than it takes to place a camera; show more of the plane")]
    FewPoints,
    #[error(
        "the views are too alike to calibrate a camera: tilt the plane in at least {LEAST_VIEWS} ways, by 20° and more"
    )]
    Alike,
}

const LEAST_VIEWS: usize = 3;
/// Planes that differ in tilt by less than this count as one: parallel planes tell no more of the camera than one of
/// them (Zhang, section 4), and between nearly parallel ones the errors of the points decide. Common practice, no source.
const LEAST_TILT_DEG: f64 = 5.0;
/// Largest relative standard uncertainty of a focal length that still counts as calibrated. Common practice, no source.
const MOST_SPREAD: f64 = 0.1;
/// Focal lengths, centre and radial terms come before the poses among the parameters.
const OF_CAMERA: usize = 6;
const OF_POSE: usize = 6;

impl CameraModel {
    /// Where the camera shows a point of the plane in this pose, px.
    pub fn show(&self, pose: &Pose, plane_mm: [f64; 2]) -> [f64; 2] {
        let camera = [self.focal_px[0], self.focal_px[1], self.centre_px[0], self.centre_px[1], self.k1, self.k2];
        show(&camera, &pose.matrix(), pose.translation_mm, plane_mm)
    }
}

fn show(camera: &[f64], rotation: &Matrix3<f64>, translation: [f64; 3], [x, y]: [f64; 2]) -> [f64; 2] {
    let p = rotation * Vector3::new(x, y, 0.0) + Vector3::from(translation);
    let lens = Lens { centre: [0.0; 2], focal_px: 1.0, k1: camera[4], k2: camera[5] };
    let bent = lens.bend([p.x / p.z, p.y / p.z]);
    [0, 1].map(|i| camera[2 + i] + camera[i] * bent[i])
}

/// The camera for which the points of all views lie closest to where it would show them (least squares in the photos).
///
/// `size_px`: width and height of the photos. Any convention for pixel centres will do: the centre follows that of the
/// points.
///
/// Source: Z. Zhang, IEEE Trans. Pattern Anal. Mach. Intell. 22 (2000) 1330–1334: closed form without skew, then maximum
/// likelihood, here by Levenberg–Marquardt (closed form from memory). Checked against OpenCV's `calibrateCamera` in
/// `tests/views.rs`.
///
/// # Errors
/// When there are fewer than three views, when the points of one do not determine a homography, when all points together
/// leave no residual, or when the plane is tilted in fewer than three ways.
pub fn fit_camera(views: &[PlaneView], size_px: [usize; 2]) -> Result<CameraModel, CameraError> {
    if views.len() < LEAST_VIEWS {
        return Err(CameraError::FewViews(views.len()));
    }
    let maps: Vec<Matrix3<f64>> = views
        .iter()
        .enumerate()
        .map(|(i, v)| fit_homography(&v.plane_mm, &v.shown_px).ok_or(CameraError::Points(i + 1)))
        .collect::<Result<_, _>>()?;
    let residual_count = 2 * views.iter().map(|v| v.plane_mm.len()).sum::<usize>();
    let freedom = residual_count
        .checked_sub(OF_CAMERA + OF_POSE * views.len())
        .filter(|&n| n > 0)
        .ok_or(CameraError::FewPoints)?;
    let k = closed_form(&maps, size_px).ok_or(CameraError::Alike)?;

    let mut start = vec![k[(0, 0)], k[(1, 1)], k[(0, 2)], k[(1, 2)], 0.0, 0.0];
    let side = size_px[0].max(size_px[1]) as f64;
    let mut typical = vec![k[(0, 0)], k[(1, 1)], side, side, 0.1, 0.1];
    for map in &maps {
        let pose = pose(&k, map).ok_or(CameraError::Alike)?;
        let away = Vector3::from(pose.translation_mm).norm();
        start.extend(pose.rotation.into_iter().chain(pose.translation_mm));
        typical.extend([1.0, 1.0, 1.0, away, away, away]);
    }
    let residuals = |p: &[f64]| {
        let poses = p[OF_CAMERA..].chunks_exact(OF_POSE).map(pose_of);
        views
            .iter()
            .zip(poses)
            .flat_map(|(view, pose)| {
                let rotation = pose.matrix();
                view.plane_mm.iter().zip(&view.shown_px).flat_map(move |(&plane, shown)| {
                    let q = show(p, &rotation, pose.translation_mm, plane);
                    [q[0] - shown[0], q[1] - shown[1]]
                })
            })
            .collect()
    };
    let fit = levenberg_marquardt(&start, &typical, residuals).ok_or(CameraError::Alike)?;

    let p = fit.parameters.as_slice();
    let variance = fit.sum_of_squares() / freedom as f64;
    let spread = |i: usize| (variance * fit.spread[(i, i)]).sqrt();
    let model = CameraModel {
        focal_px: [p[0], p[1]],
        centre_px: [p[2], p[3]],
        k1: p[4],
        k2: p[5],
        poses: p[OF_CAMERA..].chunks_exact(OF_POSE).map(pose_of).collect(),
        rms_px: (2.0 * fit.sum_of_squares() / residual_count as f64).sqrt(),
        spread: CameraSpread {
            focal_px: [spread(0), spread(1)],
            centre_px: [spread(2), spread(3)],
            k1: spread(4),
            k2: spread(5),
        },
    };
    let determined = [0, 1].iter().all(|&i| model.spread.focal_px[i] < MOST_SPREAD * model.focal_px[i]);
    (determined && ways(&model.poses) >= LEAST_VIEWS).then_some(model).ok_or(CameraError::Alike)
}

/// Parameters as a pose.
fn pose_of(p: &[f64]) -> Pose {
    Pose { rotation: [p[0], p[1], p[2]], translation_mm: [p[3], p[4], p[5]] }
}

/// In how many ways the plane is tilted.
fn ways(poses: &[Pose]) -> usize {
    let mut normals: Vec<Vector3<f64>> = Vec::new();
    for pose in poses {
        let normal = pose.matrix().column(2).into_owned();
        if normals.iter().all(|n| n.angle(&normal) >= LEAST_TILT_DEG.to_radians()) {
            normals.push(normal);
        }
    }
    normals.len()
}

/// Camera matrix without skew from homographies plane to photo (Zhang, section 3.1). Where bend or errors leave none that
/// is real and has its centre in the photo, the one with one focal length and the centre in the middle; `None` where the
/// homographies do not tell that either.
fn closed_form(maps: &[Matrix3<f64>], size_px: [usize; 2]) -> Option<Matrix3<f64>> {
    // With the middle of the photo as the origin and half its side as the unit, all terms are of the order of 1.
    let [width, height] = size_px.map(|s| s as f64);
    let unit = width.max(height) / 2.0;
    let to_px = Matrix3::new(unit, 0.0, width / 2.0, 0.0, unit, height / 2.0, 0.0, 0.0, 1.0);
    let from_px = to_px.try_inverse()?;
    // Two rows a view: the images of the plane's axes are orthogonal and of one length under B = K⁻ᵀ K⁻¹.
    let mut rows = DMatrix::zeros(2 * maps.len(), 5);
    for (i, map) in maps.iter().enumerate() {
        let h = from_px * map;
        let h = h / (h.column(0).norm() * h.column(1).norm()).sqrt();
        // Coefficients of (B11, B22, B13, B23, B33); B12 is the skew.
        let terms = |a: usize, b: usize| {
            let (a, b) = (h.column(a), h.column(b));
            [a[0] * b[0], a[1] * b[1], a[0] * b[2] + a[2] * b[0], a[1] * b[2] + a[2] * b[1], a[2] * b[2]]
        };
        let (across, first, second) = (terms(0, 1), terms(0, 0), terms(1, 1));
        for k in 0..5 {
            rows[(2 * i, k)] = across[k];
            rows[(2 * i + 1, k)] = first[k] - second[k];
        }
    }
    let svd = rows.clone().svd(false, true);
    let v = svd.v_t?;
    let [b11, b22, b13, b23, b33]: [f64; 5] = std::array::from_fn(|k| v[(svd.singular_values.imin(), k)]);
    let lambda = b33 - b13 * b13 / b11 - b23 * b23 / b22;
    let (alpha2, beta2, centre) = (lambda / b11, lambda / b22, [-b13 / b11, -b23 / b22]);
    let real = [alpha2, beta2].iter().all(|v| *v > 0.0 && v.is_finite());
    let inner = if real && centre.iter().all(|c| c.abs() < 1.0) {
        Matrix3::new(alpha2.sqrt(), 0.0, centre[0], 0.0, beta2.sqrt(), centre[1], 0.0, 0.0, 1.0)
    } else {
        // B = diag(w, w, 1): one unknown.
        let (mut above, mut below) = (0.0, 0.0);
        for row in rows.row_iter() {
            let factor = row[0] + row[1];
            above -= factor * row[4];
            below += factor * factor;
        }
        let focal = (below / above).sqrt();
        (focal > 0.0 && focal.is_finite()).then(|| Matrix3::from_diagonal(&Vector3::new(focal, focal, 1.0)))?
    };
    Some(to_px * inner)
}

/// The pose that a homography shows under the camera matrix `k` (Zhang, section 3.1 and appendix C).
fn pose(k: &Matrix3<f64>, map: &Matrix3<f64>) -> Option<Pose> {
    let h = k.try_inverse()? * map;
    let size = (h.column(0).norm() + h.column(1).norm()) / 2.0;
    // The plane lies before the camera.
    let h = h / size.copysign(h[(2, 2)]);
    let (a, b) = (h.column(0).into_owned(), h.column(1).into_owned());
    let svd = Matrix3::from_columns(&[a, b, a.cross(&b)]).svd(true, true);
    // By way of a quaternion, which knows the axis of a half turn too.
    let turn = Rotation3::from_matrix_unchecked(svd.u? * svd.v_t?);
    let rotation = UnitQuaternion::from_rotation_matrix(&turn).scaled_axis();
    let translation = h.column(2);
    let finite = rotation.iter().chain(translation.iter()).all(|v| v.is_finite());
    finite.then(|| Pose { rotation: rotation.into(), translation_mm: translation.into_owned().into() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::Draws;

    const SIZE_PX: [usize; 2] = [4000, 3000];

    fn camera(focal_px: [f64; 2], k1: f64) -> CameraModel {
        let spread = CameraSpread { focal_px: [0.0; 2], centre_px: [0.0; 2], k1: 0.0, k2: 0.0 };
        CameraModel { focal_px, centre_px: [2050.0, 1470.0], k1, k2: 0.0, poses: vec![], rms_px: 0.0, spread }
    }

    /// Three planes, tilted by `tilt` radians towards three sides and shifted at random.
    fn poses(tilt: f64, draws: &mut Draws) -> [Pose; 3] {
        [0.0, 2.1, 4.2].map(|side: f64| {
            let turn = side + draws.uniform();
            let mut shift = || 60.0 * (draws.uniform() - 0.5);
            let translation_mm = [-43.0 + shift(), -27.0 + shift(), 280.0];
            Pose { rotation: [tilt * turn.cos(), tilt * turn.sin(), 0.0], translation_mm }
        })
    }

    fn views(camera: &CameraModel, poses: &[Pose], noise_px: f64, draws: &mut Draws) -> Vec<PlaneView> {
        let plane: Vec<[f64; 2]> = (0..48).map(|i| [f64::from(i % 8) * 12.0, f64::from(i / 8) * 10.0]).collect();
        let mut shown = |pose, p| camera.show(pose, p).map(|c| c + noise_px * draws.normal());
        poses
            .iter()
            .map(|pose| PlaneView {
                shown_px: plane.iter().map(|&p| shown(pose, p)).collect(),
                plane_mm: plane.clone(),
            })
            .collect()
    }

    fn maps(views: &[PlaneView]) -> Vec<Matrix3<f64>> {
        views.iter().map(|v| fit_homography(&v.plane_mm, &v.shown_px).unwrap()).collect()
    }

    #[test]
    fn without_bend_the_closed_form_is_exact() {
        let mut draws = Draws::new(7, 0);
        let truth = camera([3000.0, 3100.0], 0.0);
        let half_turn = Pose { rotation: [0.0, 0.0, std::f64::consts::PI], translation_mm: [43.0, 27.0, 280.0] };
        let poses: Vec<Pose> = poses(0.4, &mut draws).into_iter().chain([half_turn]).collect();
        let maps = maps(&views(&truth, &poses, 0.0, &mut draws));
        let k = closed_form(&maps, SIZE_PX).unwrap();
        let [fx, fy] = truth.focal_px;
        let [cx, cy] = truth.centre_px;
        assert!((k - Matrix3::new(fx, 0.0, cx, 0.0, fy, cy, 0.0, 0.0, 1.0)).norm() < 1e-5, "{k}");
        for (map, truth) in maps.iter().zip(&poses) {
            let found = pose(&k, map).unwrap();
            let turned = found.matrix() - truth.matrix();
            let shifted = Vector3::from(found.translation_mm) - Vector3::from(truth.translation_mm);
            assert!(turned.norm() < 1e-8 && shifted.norm() < 1e-6, "{found:?} is not {truth:?}");
        }
    }

    /// Strong bends and little tilt spoil the closed form, now and then beyond use; the fit gets there all the same.
    #[test]
    fn the_start_serves_however_poor() {
        let mut with_one_focal_length = 0;
        for k1 in [-0.4, 0.4] {
            let truth = camera([3000.0, 3000.0], k1);
            for stream in 0..40 {
                let mut draws = Draws::new(7, stream);
                let poses = poses(0.15, &mut draws);
                let views = views(&truth, &poses, 0.3, &mut draws);
                let start = closed_form(&maps(&views), SIZE_PX).unwrap();
                with_one_focal_length += usize::from(start[(0, 0)] == start[(1, 1)]);
                let found = fit_camera(&views, SIZE_PX).unwrap();
                let off = (found.focal_px[0] - 3000.0).abs();
                assert!(off < 4.0 * found.spread.focal_px[0] && found.rms_px < 0.6, "{k1} {stream} {found:?}");
            }
        }
        assert!(with_one_focal_length > 0, "{with_one_focal_length}");
    }
}
