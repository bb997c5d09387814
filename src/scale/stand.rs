//! A stand that keeps its scale from photo to photo.

use std::borrow::Cow;

use super::camera::{CameraModel, PlaneView, fit_camera};
use super::plane::{Optics, Plane, fit_plane};
use super::sheet::{Sheet, SheetError, grid};
use super::{Focal, Part, Scale, ScaleError, Source, print};
use crate::photo::{Origin, Photo};

/// What a stand's photos have in common: how the paper lies before the camera.
#[derive(Clone, Debug, PartialEq)]
pub struct Calibration {
    /// Width and height of the photos, px, upright.
    pub size_px: [usize; 2],
    /// Maker and model of the camera, where the photos say.
    pub camera: Option<String>,
    /// Focal length of the lens, mm, where the photos say.
    pub focal_length_mm: Option<f64>,
    /// From the photos to the paper.
    pub plane: Plane,
    /// What makes the scale unsure: name and relative standard uncertainty.
    pub parts: Vec<(String, f64)>,
}

/// How a stand was calibrated.
#[derive(Clone, Debug)]
pub struct StandFit {
    /// The calibration.
    pub calibration: Calibration,
    /// The camera, where several photos from different sides tell it.
    pub camera: Option<CameraModel>,
    /// Photos taken from the place of the first, which make the plane.
    pub alike: usize,
    /// Root of the mean squared distance of the marks from their places, px.
    pub residual_px: f64,
}

/// Why photos give no calibration, or one does not fit a photo.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs, reason = "each variant is its message")]
pub enum StandError {
    #[error(
        "the photos are of different sizes ({0} × {1} and {2} × {3} px): take all with the same camera and settings"
    )]
    Sizes(usize, usize, usize, usize),
    #[error("the marks do not fit a flat sheet in these photos: press the sheet flat and let all of its frame be seen")]
    NoFit,
    #[error(
        "the calibration was made with photos of {0}, and this one has {1}. Calibrate anew, or add --trust-calibration if \
         camera, zoom and distance are truly the same"
    )]
    Mismatch(String, String),
}

/// Two photos are from one place when no mark has moved by more than this, px: what a stand gives way.
const ALIKE_PX: f64 = 3.0;
/// How far a stand's distance comes back after the paper or the phone was changed: 0.3 mm in 200 (common practice, no
/// source).
const STAND_MOVES: f64 = 0.0015;

/// Calibrates the stand of the first photo. Photos from the same place are joined; those from other sides tell the lens.
///
/// `sheets` are the sheets found in the photos, `photo` is the first of these, and `scale` its scale by the sheet.
///
/// # Errors
/// Photos of different sizes, or marks that do not fit.
pub fn calibrate(
    photo: &Photo,
    sizes_px: &[[usize; 2]],
    sheets: &[Sheet],
    bars_mm: Option<[f64; 2]>,
) -> Result<StandFit, ScaleError> {
    let first = sheets.first().ok_or(ScaleError::Sheet(SheetError::NoMarks))?;
    let size_px = sizes_px[0];
    if let Some(other) = sizes_px.iter().find(|s| **s != size_px) {
        return Err(StandError::Sizes(size_px[0], size_px[1], other[0], other[1]).into());
    }
    let views: Vec<PlaneView> = sheets
        .iter()
        .map(|s| PlaneView {
            plane_mm: s.centres.iter().map(|c| c.0).collect(),
            shown_px: s.centres.iter().map(|c| c.1).collect(),
        })
        .collect();
    // From one place, or places too alike, the lens is what the sheet itself tells.
    let camera = fit_camera(&views, size_px).ok();
    let size = size_px.map(|s| s as f64);
    let optics = camera.as_ref().map_or(Optics::usual(size, Focal::of(photo).px), |c| Optics {
        centre_px: c.centre_px,
        focal_px: 0.5 * (c.focal_px[0] + c.focal_px[1]),
        terms: [(c.k1, c.spread.k1), (c.k2, c.spread.k2)],
    });
    let at_stand =
        |s: &&Sheet| s.frame == first.frame && s.centres.iter().all(|&(mm, px)| near(first.plane.px(mm), px));
    let alike: Vec<&Sheet> = sheets.iter().filter(at_stand).collect();
    let (mm, px): (Vec<_>, Vec<_>) = alike.iter().flat_map(|s| s.centres.iter().copied()).unzip();
    let fit = fit_plane(&mm, &px, optics).ok_or(StandError::NoFit)?;
    let [x0, y0, x1, y1] = first.field_mm;
    let spots: Vec<[f64; 2]> = grid([x1 - x0, y1 - y0]).map(|p| fit.plane.px(p)).collect();
    let (stretch, printed) = print(bars_mm)?;
    let parts =
        [Part::new("fit of the marks", fit.scale_uncertainty(&spots)), Part::new("stand", STAND_MOVES), printed];
    let Origin { camera: model, focal_length_mm, .. } = photo.origin().clone();
    Ok(StandFit {
        calibration: Calibration {
            size_px,
            camera: model,
            focal_length_mm,
            plane: fit.plane.stretched(stretch),
            parts: parts.into_iter().map(|p| (p.name.into_owned(), p.relative)).collect(),
        },
        camera,
        alike: alike.len(),
        residual_px: fit.residual_px,
    })
}

fn near(a: [f64; 2], b: [f64; 2]) -> bool {
    (a[0] - b[0]).hypot(a[1] - b[1]) < ALIKE_PX
}

impl Calibration {
    /// The scale of `photo`, which must be of the same size, camera and focal length unless `trusted`. Size always counts.
    ///
    /// # Errors
    /// A photo that does not match.
    pub fn scale(&self, photo: &Photo, trusted: bool) -> Result<Scale, ScaleError> {
        let origin = photo.origin();
        let told = |size: [usize; 2], camera: &Option<String>, focal: Option<f64>| {
            let camera = camera.as_deref().unwrap_or("an unnamed camera");
            let focal = focal.map_or(String::new(), |f| format!(" at {f} mm"));
            format!("{} × {} px, {camera}{focal}", size[0], size[1])
        };
        let size = [photo.width(), photo.height()];
        let same = self.camera == origin.camera && self.focal_length_mm == origin.focal_length_mm;
        if size != self.size_px || !same && !trusted {
            let mine = told(self.size_px, &self.camera, self.focal_length_mm);
            return Err(StandError::Mismatch(mine, told(size, &origin.camera, origin.focal_length_mm)).into());
        }
        let parts = self.parts.iter().map(|(n, r)| Part { name: Cow::Owned(n.clone()), relative: *r }).collect();
        let middle = size.map(|s| 0.5 * s as f64);
        Ok(Scale::of_plane(self.plane.clone(), middle, parts, Source::Calibration))
    }
}
