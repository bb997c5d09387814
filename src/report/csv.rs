//! One row per particle: the exchange format that later commands read back.

use std::fmt::Write;

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
    let mut writer = ::csv::Writer::from_writer(Vec::with_capacity(1 << 20));
    writer.write_record(COLUMNS).map_err(failed)?;
    let mut field = String::new();
    for photo in photos {
        let name = photo.path.display().to_string();
        for p in &photo.particles {
            writer.write_field(&name).map_err(failed)?;
            let flags = p.flags.names();
            let numbers = [
                (p.x_px, 2),
                (p.y_px, 2),
                (p.ecd_um, 2),
                (p.feret_max_um, 2),
                (p.feret_min_um, 2),
                (p.aspect_ratio, 4),
                (p.circularity, 4),
                (p.solidity, 4),
                (p.weight, 5),
                (p.area_um2, 0),
                (p.perimeter_um, 1),
            ];
            for (i, (value, decimals)) in numbers.into_iter().enumerate() {
                if COLUMNS[i + 1] == "flags" {
                    writer.write_field(&flags).map_err(failed)?;
                }
                field.clear();
                // Writing to a string cannot fail.
                let _ = write!(field, "{value:.decimals$}");
                writer.write_field(&field).map_err(failed)?;
            }
            writer.write_record(None::<&[u8]>).map_err(failed)?;
        }
    }
    writer.into_inner().map_err(|e| ReportError::Draw(e.to_string()))
}
