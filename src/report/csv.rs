//! One row per particle: the exchange format that later commands read back.

use std::fmt::Write;

use rayon::prelude::*;

use super::ReportError;
use crate::particle::Particle;
use crate::pipeline::MeasuredPhoto;

/// Columns, in order. Positions in px of the upright photo and in mm on the paper, sizes in µm, areas in µm².
pub const COLUMNS: [&str; 15] = [
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
    "x_mm",
    "y_mm",
];

/// The particles of `photos` as CSV (RFC 4180, UTF-8).
///
/// # Errors
/// None in practice: the writer works in memory.
pub fn particles(photos: &[MeasuredPhoto]) -> Result<Vec<u8>, ReportError> {
    let mut text = record(&COLUMNS)?;
    for photo in photos {
        // Only the name can need quotes. The numbers are written by all cores: there are thousands of rows.
        let name = record(&[photo.path.display().to_string()])?;
        let name = String::from_utf8_lossy(name.strip_suffix(b"\n").unwrap_or(&name)).into_owned();
        let rows: Vec<String> = photo
            .particles
            .par_chunks(256)
            .map(|chunk| {
                let mut rows = String::with_capacity(128 * chunk.len());
                chunk.iter().for_each(|particle| push_row(&mut rows, &name, particle));
                rows
            })
            .collect();
        rows.iter().for_each(|rows| text.extend_from_slice(rows.as_bytes()));
    }
    Ok(text)
}

fn record(fields: &[impl AsRef<[u8]>]) -> Result<Vec<u8>, ReportError> {
    let failed = |e: ::csv::Error| ReportError::Draw(e.to_string());
    let mut writer = ::csv::Writer::from_writer(Vec::new());
    writer.write_record(fields).map_err(failed)?;
    writer.into_inner().map_err(|e| ReportError::Draw(e.to_string()))
}

fn push_row(out: &mut String, name: &str, p: &Particle) {
    out.push_str(name);
    for (value, decimals) in [
        (p.x_px, 2),
        (p.y_px, 2),
        (p.ecd_um, 2),
        (p.feret_max_um, 2),
        (p.feret_min_um, 2),
        (p.aspect_ratio, 4),
        (p.circularity, 4),
        (p.solidity, 4),
        (p.weight, 5),
    ] {
        push_number(out, value, decimals);
    }
    out.push(',');
    out.push_str(&p.flags.names());
    push_number(out, p.area_um2, 0);
    push_number(out, p.perimeter_um, 1);
    push_number(out, p.x_mm, 3);
    push_number(out, p.y_mm, 3);
    out.push('\n');
}

/// Appends a comma and the number with that many decimals, through whole numbers: formatting the fraction exactly would
/// take five times as long.
fn push_number(out: &mut String, value: f64, decimals: u32) {
    let unit = 10u64.pow(decimals);
    let scaled = (value.abs() * unit as f64).round() as u64;
    let sign = if value < 0.0 && scaled > 0 { "-" } else { "" };
    let (whole, rest) = (scaled / unit, scaled % unit);
    // Writing to a string cannot fail.
    let _ = match decimals {
        0 => write!(out, ",{sign}{whole}"),
        _ => write!(out, ",{sign}{whole}.{rest:0width$}", width = decimals as usize),
    };
}

#[cfg(test)]
mod tests {
    use super::push_number;

    #[test]
    fn numbers_have_their_decimals_and_their_sign() {
        let text = |value, decimals| {
            let mut out = String::new();
            push_number(&mut out, value, decimals);
            out
        };
        assert_eq!(text(12.3456, 2), ",12.35");
        assert_eq!(text(0.05, 4), ",0.0500");
        assert_eq!(text(-0.004, 2), ",0.00");
        assert_eq!(text(-7.5, 1), ",-7.5");
        assert_eq!(text(1_234_567.4, 0), ",1234567");
    }
}
