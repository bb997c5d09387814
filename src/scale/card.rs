//! Scale from a card of the usual size: its four edges tell tilt and bend too.

use nalgebra::{Matrix3, Vector3};

use super::homography::{fit_homography, with_unit_corner};
use super::plane::{Normal, Optics, Plane, PlaneFit, fit_residuals};
use super::sheet::{grid, rectangle};
use super::small::{Row, Small};
use super::{Focal, Part, Scale, ScaleError, Source};
use crate::numeric::{convex_hull, determinant, median, shoelace};
use crate::photo::Photo;

/// Width, height and thickness of a card, mm.
///
/// Source: ISO/IEC 7810, format ID-1.
pub const CARD_MM: [f64; 3] = [85.60, 53.98, 0.76];
/// Edges of new cards lie within ± 0.13 mm along and ± 0.06 mm across (ISO/IEC 7810, from memory): as uniform, of the
/// root of the area.
const CARD_UNSURE: f64 = 0.0008;
/// Shares of the paper's light at which the card may stand out.
const LEVELS: [f32; 6] = [0.85, 0.7, 0.5, 0.3, 0.18, 0.1];
/// Places along each side; they leave out a tenth at either end, where the corners are round.
const PLACES: usize = 60;
/// Largest departure from the card's proportions, by any tilt that a camera can have: the edges of rendered cards leave
/// 0.23 % at most, tolerances of cards 0.26 %, a shadow of 0.1 mm at an edge 0.2 %, a focal length rounded to a mm 0.3 %.
const PROPORTIONS: f64 = 0.01;
/// Shadow of the card on the paper, mm.
const SHADOW_MM: f64 = 2.0;

/// A card as found.
#[derive(Clone, Debug, PartialEq)]
pub struct Card {
    /// Its edge, px.
    pub outline: Vec<[f64; 2]>,
    /// The edge with its shadow, px: nothing is measured there.
    pub covered: Vec<[f64; 2]>,
    /// Angle between the camera's axis and the normal of the paper, degrees.
    pub tilt_deg: f64,
    /// Root of the mean squared distance of the edge from straight, px.
    pub residual_px: f64,
}

/// Finds a card of format ID-1 that is darker than the paper and lies wholly in the picture.
///
/// # Errors
/// No such card, or a rectangle whose proportions are more than 1 % off; what they are off goes into the uncertainty.
pub fn find_card(photo: &Photo, focal: Focal) -> Result<Scale, ScaleError> {
    let corners = rough_corners(photo)?;
    // The rough corners lie on the round ones, 1 mm inside of where the sides would meet; bend comes on top.
    let reach = 0.035 * shoelace(&corners).abs().sqrt();
    let points: Vec<(usize, [f64; 2])> = (0..4)
        .flat_map(|side| {
            edge_points(photo, [corners[side], corners[(side + 1) % 4]], reach).into_iter().map(move |p| (side, p))
        })
        .collect();
    let centre = [0.5 * photo.width() as f64, 0.5 * photo.height() as f64];
    let first = fit(photo, corners, points.clone(), focal, [0.0; 4]).ok_or(ScaleError::NoCard)?;
    let (focal_px, off) = best_focal(first.plane.to_px(), centre, focal);
    if off > PROPORTIONS {
        return Err(ScaleError::OtherCard(100.0 * off));
    }
    let used = Focal { px: if focal.known { focal.px } else { focal_px.unwrap_or(focal.px) }, known: focal.known };
    let walls = walls(first.plane.to_px(), centre, used.px).ok_or(ScaleError::NoCard)?;
    let fit = fit(photo, corners, points, focal, walls).ok_or(ScaleError::NoCard)?;
    let (plane, tilt_deg) = lowered(&fit.plane, centre, used.px).ok_or(ScaleError::NoCard)?;
    let spots: Vec<[f64; 2]> = grid([photo.width() as f64, photo.height() as f64]).collect();
    let upper = determinant(fit.plane.mm_per_px(centre).ok_or(ScaleError::NoCard)?).abs().sqrt();
    let (_, height) = used.down_to_paper(1000.0 * upper, CARD_MM[2]);
    let [cw, ch, _] = CARD_MM;
    let around =
        |plane: &Plane, g: f64| rectangle([-g, -g, cw + g, ch + g], 16).map(|p| plane.px(p)).collect::<Vec<_>>();
    let card = Card {
        outline: around(&fit.plane, 0.0),
        covered: around(&fit.plane, SHADOW_MM),
        tilt_deg,
        residual_px: fit.residual_px,
    };
    let parts = vec![
        Part::new("edges of the card", fit.scale_uncertainty(&spots)),
        Part::new("size of the card", CARD_UNSURE),
        // When one side is right, the other is off by all of it, and the root of the area by a half.
        Part::new("proportions of the card", 0.5 * off),
        height,
    ];
    Ok(Scale::of_plane(plane, centre, parts, Source::Card(Box::new(card))))
}

/// Corners of the dark rectangle that is most like a card, px; clockwise, the first side a long one.
fn rough_corners(photo: &Photo) -> Result<[[f64; 2]; 4], ScaleError> {
    let small = Small::of(photo);
    let mut found: Vec<(f64, [[f64; 2]; 4])> = Vec::new();
    let mut other = None;
    for level in LEVELS {
        small.shapes_below(level * small.paper, |rows| match rectangle_of(&small, rows) {
            Some((area, corners, ratio)) if (ratio / (CARD_MM[0] / CARD_MM[1]) - 1.0).abs() < 0.25 => {
                found.push((area, corners));
            }
            Some((_, _, ratio)) => other = Some(ratio),
            None => {}
        });
    }
    let largest = found.iter().map(|f| f.0).fold(0.0, f64::max);
    // The darkest level that still holds the whole card leaves most of its shadow out.
    let best = found.iter().rev().find(|f| f.0 > 0.9 * largest);
    match (best, other) {
        (Some(&(_, corners)), _) => Ok(corners),
        (None, Some(ratio)) => Err(ScaleError::OtherCard(100.0 * (ratio / (CARD_MM[0] / CARD_MM[1]) - 1.0).abs())),
        (None, None) => Err(ScaleError::NoCard),
    }
}

/// Area (px²), corners and ratio of the sides of a shape that is a large filled quadrilateral within the picture.
fn rectangle_of(small: &Small, rows: &[Row]) -> Option<(f64, [[f64; 2]; 4], f64)> {
    let n: usize = rows.iter().map(|r| r.2 - r.1).sum();
    let whole = small.width * small.height;
    if n * 100 < whole || n * 10 > 7 * whole {
        return None;
    }
    let at_frame = rows.iter().any(|r| r.0 == 0 || r.0 + 1 == small.height || r.1 == 0 || r.2 == small.width);
    let ends =
        rows.iter().flat_map(|&(y, x0, x1)| [[x0, y], [x1, y], [x0, y + 1], [x1, y + 1]].map(|p| p.map(|v| v as f64)));
    let hull = convex_hull(&ends.collect::<Vec<_>>());
    let hull_area = shoelace(&hull).abs();
    if at_frame || (n as f64) < 0.94 * hull_area {
        return None;
    }
    // The smallest rectangle about the hull lies along one of its sides.
    let extent = |u: [f64; 2]| {
        let along = || hull.iter().map(|p| p[0] * u[0] + p[1] * u[1]);
        along().fold(f64::NEG_INFINITY, f64::max) - along().fold(f64::INFINITY, f64::min)
    };
    let sides = (0..hull.len()).map(|i| {
        let (a, b) = (hull[i], hull[(i + 1) % hull.len()]);
        let length = (b[0] - a[0]).hypot(b[1] - a[1]);
        [(b[0] - a[0]) / length, (b[1] - a[1]) / length]
    });
    let (u, across, down) =
        sides.map(|u| (u, extent(u), extent([-u[1], u[0]]))).min_by(|a, b| (a.1 * a.2).total_cmp(&(b.1 * b.2)))?;
    if (n as f64) < 0.8 * across * down {
        return None;
    }
    let (u, long, short) = if across >= down { (u, across, down) } else { ([-u[1], u[0]], down, across) };
    let v = [-u[1], u[0]];
    let step = small.step as f64;
    let corner = |su: f64, sv: f64| {
        let reach = |p: &[f64; 2]| su * (p[0] * u[0] + p[1] * u[1]) / long + sv * (p[0] * v[0] + p[1] * v[1]) / short;
        hull.iter().max_by(|a, b| reach(a).total_cmp(&reach(b))).map(|p| p.map(|c| c * step))
    };
    let corners = [corner(-1.0, -1.0)?, corner(1.0, -1.0)?, corner(1.0, 1.0)?, corner(-1.0, 1.0)?];
    Some((n as f64 * step * step, corners, long / short))
}

/// Places of the steepest rise from the card to the paper within `reach` px of the side from `a` to `b` (the card lies to
/// its right).
fn edge_points(photo: &Photo, [a, b]: [[f64; 2]; 2], reach: f64) -> Vec<[f64; 2]> {
    const HALF: f64 = 1.5;
    let length = (b[0] - a[0]).hypot(b[1] - a[1]);
    let out = [(b[1] - a[1]) / length, -(b[0] - a[0]) / length];
    let steps = (4.0 * reach) as usize;
    (0..PLACES)
        .filter_map(|i| {
            let t = 0.1 + 0.8 * i as f64 / (PLACES - 1) as f64;
            let at = |d: f64| [0, 1].map(|k| a[k] + t * (b[k] - a[k]) + d * out[k]);
            let along = |k: usize| -reach + 0.5 * k as f64;
            let rise = |k: usize| Some(photo.light_at(at(along(k) + HALF))? - photo.light_at(at(along(k) - HALF))?);
            let rises: Vec<f64> = (0..=steps).map(rise).collect::<Option<_>>()?;
            let k = (1..steps).max_by(|&i, &j| rises[i].total_cmp(&rises[j]))?;
            let (l, m, r) = (rises[k - 1], rises[k], rises[k + 1]);
            let bow = l - 2.0 * m + r;
            let shift = if bow < 0.0 { (0.5 * (l - r) / bow).clamp(-1.0, 1.0) } else { 0.0 };
            (m > 0.02).then(|| at(along(k) + 0.5 * shift))
        })
        .collect()
}

/// The plane of the card's upper face. On side k the card is seen to end `walls[k]` mm beyond the face.
fn fit(
    photo: &Photo,
    corners: [[f64; 2]; 4],
    mut points: Vec<(usize, [f64; 2])>,
    focal: Focal,
    walls: [f64; 4],
) -> Option<PlaneFit> {
    let [w, h, _] = CARD_MM;
    let mm = [[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]];
    // Four edges tell the first radial term; a second one would only follow the shadows at the edges.
    let mut optics = Optics::usual([photo.width() as f64, photo.height() as f64], focal.px);
    optics.terms[1].1 = 1e-4;
    let normal = Normal::new(&mm, optics);
    let start = fit_homography(&mm.map(|p| normal.of_mm(p)), &corners.map(|p| normal.of_px(p)))?;
    let scale = shoelace(&corners).abs().sqrt() / (w * h).sqrt();
    let off = |plane: &Plane, (side, p): (usize, [f64; 2])| {
        let [x, y] = plane.mm(p).unwrap_or([f64::NAN; 2]);
        scale * ([-y, x - w, y - h, -x][side] - walls[side])
    };
    let mut fitted = None;
    for _ in 0..2 {
        if (0..4).any(|side| points.iter().filter(|p| p.0 == side).count() < PLACES / 2) {
            return None;
        }
        let of = |plane: &Plane| points.iter().map(|&p| off(plane, p) / focal.px).collect();
        let fit = fit_residuals(normal, &start, of)?;
        let mut offs: Vec<f64> = points.iter().map(|&p| off(&fit.plane, p).abs()).collect();
        let limit = (4.0 * median(&mut offs)?).max(0.3);
        points.retain(|&p| off(&fit.plane, p).abs() < limit);
        fitted = Some(fit);
    }
    fitted.filter(|fit| fit.residual_px < 3.0)
}

/// From directions before the camera to px.
fn pinhole(centre: [f64; 2], focal_px: f64) -> Matrix3<f64> {
    Matrix3::new(focal_px, 0.0, centre[0], 0.0, focal_px, centre[1], 0.0, 0.0, 1.0)
}

/// The two axes and the origin of the plane as the camera has them, for a focal length.
fn axes(to_px: &Matrix3<f64>, centre: [f64; 2], focal_px: f64) -> Option<[Vector3<f64>; 3]> {
    let m = pinhole(centre, focal_px).try_inverse()? * to_px;
    Some([0, 1, 2].map(|i| m.column(i).into_owned()))
}

/// How far beyond each side of the face the wall of the card is seen, in the plane of the face, mm: where the camera
/// stands beyond that side, it sees the wall down to the paper, and the steepest rise of the light is there.
fn walls(to_px: &Matrix3<f64>, centre: [f64; 2], focal_px: f64) -> Option<[f64; 4]> {
    let [a, b, origin] = axes(to_px, centre, focal_px)?;
    let unit = 0.5 * (a.norm() + b.norm());
    let (a, b, origin) = (a / unit, b / unit, origin / unit);
    // The camera's foot on the plane, and its height.
    let (x, y, height) = (-a.dot(&origin), -b.dot(&origin), a.cross(&b).dot(&origin));
    let [w, h, thickness] = CARD_MM;
    let share = thickness / (height + thickness);
    Some([-y, x - w, y - h, -x].map(|beyond| share * beyond.max(0.0)))
}

/// Focal length that makes the plane's axes most nearly square and equal, where the tilt tells one, and how far from that
/// they remain: the sides are then of other proportions.
fn best_focal(to_px: &Matrix3<f64>, centre: [f64; 2], focal: Focal) -> (Option<f64>, f64) {
    let off = |f: f64| {
        axes(to_px, centre, f)
            .map_or(f64::INFINITY, |[a, b, _]| (a.norm() / b.norm()).ln().hypot(a.dot(&b) / (a.norm() * b.norm())))
    };
    if focal.known {
        return (None, off(focal.px));
    }
    // From wide to long: 20 to 110 mm on the 36 × 24 mm frame.
    let tried = (0..35).map(|i| focal.px * 0.77 * 1.05f64.powi(i));
    let least = tried.map(|f| (off(f), f)).min_by(|a, b| a.0.total_cmp(&b.0)).expect("many are tried");
    // A slight tilt says little of the focal length.
    let telling = off(focal.px) > least.0 + 0.005;
    (telling.then_some(least.1), least.0)
}

/// The plane of the paper, a card's thickness behind that of its face, and the tilt in degrees.
fn lowered(face: &Plane, centre: [f64; 2], focal_px: f64) -> Option<(Plane, f64)> {
    let [a, b, origin] = axes(face.to_px(), centre, focal_px)?;
    let normal = a.cross(&b).normalize();
    let down = origin + normal * (CARD_MM[2] * 0.5 * (a.norm() + b.norm()));
    let to_px = with_unit_corner(pinhole(centre, focal_px) * Matrix3::from_columns(&[a, b, down]))?;
    Some((Plane::new(to_px, *face.lens())?, normal.z.abs().min(1.0).acos().to_degrees()))
}
