//! One row per particle: the exchange format that later commands read back.

use super::ReportError;
use crate::pipeline::MeasuredPhoto;

/// Columns, in order. Positions in px of the upright photo, sizes in µm, areas in µm².
pub const COLUMNS: [&str; 13] = [
    "photo",
    "x_px",
    "y_px",
    "ecd_um",
    "feret_max_um",
    "feret_min_um",
    "aspect_ratio",
    "circularity",
    "solidity",
    "weight",
    "flags",
    "area_um2",
    "perimeter_um",
];

/// The particles of `photos` as CSV (RFC 4180, UTF-8).
///
/// # Errors
/// None in practice: the writer works in memory.
pub fn particles(photos: &[MeasuredPhoto]) -> Result<Vec<u8>, ReportError> {
    let failed = |e: ::csv::Error| ReportError::Draw(e.to_string());
    let mut writer = ::csv::Writer::from_writer(Vec::new());
    writer.write_record(COLUMNS).map_err(failed)?;
    for photo in photos {
        let name = photo.path.display().to_string();
        for p in &photo.particles {
            let row = [
                name.clone(),
                format!("{:.2}", p.x_px),
                format!("{:.2}", p.y_px),
                format!("{:.2}", p.ecd_um),
                format!("{:.2}", p.feret_max_um),
                format!("{:.2}", p.feret_min_um),
                format!("{:.4}", p.aspect_ratio),
                format!("{:.4}", p.circularity),
                format!("{:.4}", p.solidity),
                format!("{:.5}", p.weight),
                p.flags.names(),
                format!("{:.0}", p.area_um2),
                format!("{:.1}", p.perimeter_um),
            ];
            writer.write_record(row).map_err(failed)?;
        }
    }
    writer.into_inner().map_err(|e| ReportError::Draw(e.to_string()))
}
