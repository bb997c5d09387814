//! A stand that keeps its scale from photo to photo.

use std::borrow::Cow;

use super::camera::{CameraModel, PlaneView, fit_camera};
use super::plane::{Optics, Plane, fit_plane};
use super::sheet::{Sheet, SheetError, grid};
use super::{Focal, Part, Scale, ScaleError, Source, print};
use crate::numeric::determinant;
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
    /// What a ruler read on the two bars of the print, along and across, mm, where they were measured.
    pub bars_mm: Option<[f64; 2]>,
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
    #[error(
        "{0}. A stand is calibrated by the printed sheet alone: photograph one of its frames where the grounds will lie \
         (lightsieve target --output sheet.pdf writes the sheet to print)"
    )]
    NoSheet(SheetError),
    #[error("the marks do not fit a flat sheet in these photos: press the sheet flat and let all of its frame be seen")]
    NoFit,
    #[error(
        "the calibration was made with photos of {0} × {1} px, and this one has {2} × {3}: another size is another scale. \
         Calibrate again with photos of this size, or take photos of the old one"
    )]
    Size(usize, usize, usize, usize),
    #[error(
        "the calibration was made with photos of {0}, and this one is of {1}. Calibrate again, or add --trust-calibration if \
         camera, zoom and distance are truly the same"
    )]
    Mismatch(String, String),
    #[error(
        "the marks of the scale sheet in view say {sheet:.2} µm per pixel and the calibration {stand:.2}, up to {pct:.1} % \
         apart: the stand has moved, or the calibration is of another. Calibrate again; or leave --calibration out, and the \
         sheet gives the scale; or add --trust-calibration if it is the print that is wrong"
    )]
    Contradicted { sheet: f64, stand: f64, pct: f64 },
    #[error("{field} in the calibration file {why}. Calibrate again: lightsieve calibrate PHOTO --output FILE.json")]
    Field { field: &'static str, why: String },
}

/// Two photos are from one place when no mark has moved by more than this, px: what a stand gives way.
const ALIKE_PX: f64 = 3.0;
/// How far a stand's distance comes back after the paper or the phone was changed: 0.3 mm in 200 (common practice, no
/// source).
const STAND_MOVES: f64 = 0.0015;
/// Largest disagreement between a stand and the sheet in view, relative, where their uncertainties do not explain more:
/// above what a stand gives way and two prints differ.
const AGREES: f64 = 0.01;
/// Local scales that a camera over a sheet has, µm per px.
const PLAUSIBLE_UM: [f64; 2] = [0.5, 1000.0];

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
    let first = sheets.first().ok_or(StandError::NoSheet(SheetError::NoMarks))?;
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
            bars_mm,
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

impl StandError {
    /// Why a photo for a calibration has no sheet.
    pub fn without_sheet(error: SheetError) -> ScaleError {
        match error {
            SheetError::NoMarks | SheetError::Faint(_) => StandError::NoSheet(error).into(),
            other => other.into(),
        }
    }
}

impl Calibration {
    /// The scale of `photo`, which must be of the same size, camera and focal length unless `trusted`. Size always counts.
    ///
    /// # Errors
    /// A photo that does not match.
    pub fn scale(&self, photo: &Photo, trusted: bool) -> Result<Scale, ScaleError> {
        let origin = photo.origin();
        let told = |camera: &Option<String>, focal: Option<f64>| {
            let camera = camera.as_deref().unwrap_or("an unnamed camera");
            let focal = focal.map_or(String::new(), |f| format!(" at {f} mm"));
            format!("{camera}{focal}")
        };
        let size = [photo.width(), photo.height()];
        if size != self.size_px {
            return Err(StandError::Size(self.size_px[0], self.size_px[1], size[0], size[1]).into());
        }
        let same = self.camera == origin.camera && self.focal_length_mm == origin.focal_length_mm;
        if !same && !trusted {
            let mine = told(&self.camera, self.focal_length_mm);
            return Err(StandError::Mismatch(mine, told(&origin.camera, origin.focal_length_mm)).into());
        }
        let parts = self.parts.iter().map(|(n, r)| Part { name: Cow::Owned(n.clone()), relative: *r }).collect();
        let middle = size.map(|s| 0.5 * s as f64);
        Ok(Scale::of_plane(self.plane.clone(), middle, parts, Source::Calibration))
    }

    /// Compares the stand with a sheet that lies in one of its photos.
    ///
    /// # Errors
    /// Local scales in the sheet's field that differ by more than 1 % and by more than twice the joint uncertainty.
    pub fn agrees_with(&self, mut sheet: Sheet) -> Result<(), StandError> {
        // The print in view is taken as that of the calibration: another one's stretch is not known.
        let (stretch, _) = print(self.bars_mm).unwrap_or(([1.0; 2], Part::new("", 0.0)));
        sheet.stretch(stretch);
        let [x0, y0, x1, y1] = sheet.field_mm;
        let unsure = self.parts.iter().map(|p| p.1 * p.1).sum::<f64>() + sheet.fit_uncertainty * sheet.fit_uncertainty;
        let scales = grid([x1 - x0, y1 - y0]).filter_map(|p| {
            let px = sheet.plane.px(p);
            Some([local_um(&sheet.plane, px)?.abs(), local_um(&self.plane, px)?.abs()])
        });
        let off = |s: &[f64; 2]| (s[1] / s[0] - 1.0).abs();
        match scales.max_by(|a, b| off(a).total_cmp(&off(b))) {
            Some(worst) if off(&worst) > AGREES.max(2.0 * unsure.sqrt()) => {
                Err(StandError::Contradicted { sheet: worst[0], stand: worst[1], pct: 100.0 * off(&worst) })
            }
            _ => Ok(()),
        }
    }

    /// Refuses numbers that no camera over a sheet can have, as in a file changed by hand.
    ///
    /// # Errors
    /// A lens that folds inside the picture, a plane that does, local scales outside 0.5..1000 µm per px, or an
    /// uncertainty that is absent or no share between 0 and 0.5.
    pub fn check(&self) -> Result<(), StandError> {
        let fault = |field, why: &str| Err(StandError::Field { field, why: why.to_owned() });
        let [w, h] = self.size_px.map(|s| s as f64);
        if !(1.0..=1e5).contains(&w) || !(1.0..=1e5).contains(&h) {
            return fault("photo.width_px or photo.height_px", "is no size of a photo");
        }
        let lens = self.plane.lens();
        if !lens.centre.iter().all(|c| c.is_finite() && c.abs() < 1e6) {
            return fault("plane.lens_centre_px", "is no place near the picture");
        }
        if !(lens.focal_px > 0.05 * w.max(h) && lens.focal_px < 1e7) {
            return fault("plane.lens_focal_px", "is no focal length for pictures of that size");
        }
        // Corners and places between them, half a pixel inside of the frame, where derivatives still lie in it.
        let places =
            || (0..81).map(|i| [0.5 + (w - 1.0) * (i % 9) as f64 / 8.0, 0.5 + (h - 1.0) * (i / 9) as f64 / 8.0]);
        if !places().all(|p| lens.is_single_at(p)) {
            return fault("plane.k1 or plane.k2", "makes the lens fold over inside of the picture");
        }
        let scales: Vec<f64> = places().map(|p| local_um(&self.plane, p).unwrap_or(f64::NAN)).collect();
        let [least, most] = PLAUSIBLE_UM;
        if let Some(um) = scales.iter().find(|um| !(least..=most).contains(&um.abs())) {
            let why = format!("gives {:.3} µm per pixel, and {least} to {most} are plausible", um.abs());
            return fault("plane.to_px", &why);
        }
        if scales.iter().any(|um| um.signum() != scales[0].signum()) {
            return fault("plane.to_px", "folds over inside of the picture");
        }
        let shares = || self.parts.iter().map(|p| p.1);
        if !shares().all(|r| (0.0..0.5).contains(&r)) || shares().sum::<f64>() <= 0.0 {
            return fault("uncertainty", "is absent, or holds a share that does not lie between 0 and 0.5");
        }
        Ok(())
    }
}

/// Local scale, µm per px: the root of the ratio of areas, with its sign; `None` where the map has no place.
fn local_um(plane: &Plane, at: [f64; 2]) -> Option<f64> {
    let det = determinant(plane.mm_per_px(at)?);
    Some(1000.0 * det.abs().sqrt() * det.signum())
}
