//! The file that keeps the calibration of a stand.

use serde::{Deserialize, Serialize};

use crate::scale::{Calibration, CameraModel, Lens, Plane, StandError, StandFit};

/// Schema of the file.
pub const CALIBRATION: &str = "lightsieve/calibration/1";

#[derive(Serialize, Deserialize)]
struct CalibrationV1 {
    schema: String,
    photos: Vec<String>,
    photo: PhotoV1,
    plane: PlaneV1,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    bars_measured_mm: Option<[f64; 2]>,
    uncertainty: Vec<PartV1>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    camera: Option<CameraV1>,
}

#[derive(Serialize, Deserialize)]
struct PhotoV1 {
    width_px: usize,
    height_px: usize,
    camera: Option<String>,
    focal_length_mm: Option<f64>,
}

#[derive(Serialize, Deserialize)]
struct PlaneV1 {
    /// Rows of the homography from mm on the paper to px of a lens without bend.
    to_px: [[f64; 3]; 3],
    lens_centre_px: [f64; 2],
    lens_focal_px: f64,
    k1: f64,
    k2: f64,
}

#[derive(Serialize, Deserialize)]
struct PartV1 {
    from: String,
    relative: f64,
}

#[derive(Serialize, Deserialize)]
struct CameraV1 {
    focal_px: [f64; 2],
    centre_px: [f64; 2],
    k1: f64,
    k2: f64,
    rms_px: f64,
}

/// Why a calibration file cannot be used.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs, reason = "each variant is its message")]
pub enum CalibrationFileError {
    #[error("this is no calibration file of lightsieve ({0}). Make one: lightsieve calibrate PHOTO --output FILE.json")]
    Damaged(String),
    #[error(
        "this calibration file is of another version ({0}; this program reads {CALIBRATION}). Update lightsieve, or calibrate anew"
    )]
    Version(String),
    #[error(transparent)]
    Field(#[from] StandError),
}

/// The file's text; `photos` are the names of the photos it was made from.
pub fn text(fit: &StandFit, photos: Vec<String>) -> Vec<u8> {
    let c = &fit.calibration;
    let h = c.plane.to_px();
    let lens = c.plane.lens();
    let file = CalibrationV1 {
        schema: CALIBRATION.to_owned(),
        photos,
        photo: PhotoV1 {
            width_px: c.size_px[0],
            height_px: c.size_px[1],
            camera: c.camera.clone(),
            focal_length_mm: c.focal_length_mm,
        },
        plane: PlaneV1 {
            to_px: [0, 1, 2].map(|r| [0, 1, 2].map(|k| h[(r, k)])),
            lens_centre_px: lens.centre,
            lens_focal_px: lens.focal_px,
            k1: lens.k1,
            k2: lens.k2,
        },
        bars_measured_mm: c.bars_mm,
        uncertainty: c
            .parts
            .iter()
            .map(|(from, relative)| PartV1 { from: from.clone(), relative: *relative })
            .collect(),
        camera: fit.camera.as_ref().map(|&CameraModel { focal_px, centre_px, k1, k2, rms_px, .. }| CameraV1 {
            focal_px,
            centre_px,
            k1,
            k2,
            rms_px,
        }),
    };
    super::json::text(&file)
}

/// Reads the file's text.
///
/// # Errors
/// Another version, no such file at all, or numbers that make no sense.
pub fn read(text: &[u8]) -> Result<Calibration, CalibrationFileError> {
    let damaged = |why: &str| CalibrationFileError::Damaged(why.to_owned());
    let value: serde_json::Value = serde_json::from_slice(text).map_err(|e| damaged(&e.to_string()))?;
    let schema = value.get("schema").and_then(|s| s.as_str()).unwrap_or("");
    if schema != CALIBRATION {
        return Err(match schema.strip_prefix("lightsieve/calibration/") {
            Some(_) => CalibrationFileError::Version(schema.to_owned()),
            None => damaged("it does not say so"),
        });
    }
    let file: CalibrationV1 = serde_json::from_value(value).map_err(|e| damaged(&e.to_string()))?;
    let PlaneV1 { to_px, lens_centre_px, lens_focal_px, k1, k2 } = file.plane;
    let lens = Lens { centre: lens_centre_px, focal_px: lens_focal_px, k1, k2 };
    let plane = Plane::of_rows(to_px, lens)
        .ok_or(StandError::Field { field: "plane.to_px", why: "has no inverse".to_owned() })?;
    let calibration = Calibration {
        size_px: [file.photo.width_px, file.photo.height_px],
        camera: file.photo.camera,
        focal_length_mm: file.photo.focal_length_mm,
        plane,
        bars_mm: file.bars_measured_mm,
        parts: file.uncertainty.into_iter().map(|p| (p.from, p.relative)).collect(),
    };
    calibration.check()?;
    Ok(calibration)
}
