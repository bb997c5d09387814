//! Particles measured earlier, read back from their CSV.

use std::collections::HashMap;

use super::ReportError;
use super::format::count;
use crate::distribution::PhotoParticles;
use crate::particle::{Flags, Particle};

/// No diameter (µm) is larger: twice the largest that is measured.
const LARGEST_UM: f64 = 20_000.0;
/// No weight is larger: far more than any edge weight.
const LARGEST: f64 = 100_000.0;

/// Why a table whose bytes are no text is not read.
pub const NO_TEXT: &str = "it is not UTF-8 text. Save the table as CSV in UTF-8";

/// Columns without which nothing can be made of a file; the others may be missing.
const NEEDED: [&str; 3] = ["photo", "ecd_um", "weight"];

/// The particles of `text` (CSV as written by [`super::csv::particles`]), photo by photo in the order in which they come.
///
/// The smallest size that a photo shows is taken from its largest particle marked as smaller; without one it is that of its
/// smallest particle.
///
/// # Errors
/// Columns that are missing, and rows that are broken or of a newer version; the line is named.
pub fn photos(text: &[u8]) -> Result<Vec<PhotoParticles>, ReportError> {
    let wrong = |line: u64, what: String| ReportError::Measured(format!("line {line}: {what}"));
    let mut reader = ::csv::ReaderBuilder::new().flexible(true).from_reader(text);
    let header = reader.headers().map_err(|_| wrong(1, NO_TEXT.to_owned()))?.clone();
    let columns: HashMap<String, usize> =
        header.iter().enumerate().map(|(i, name)| (name.trim().trim_start_matches('\u{feff}').to_owned(), i)).collect();
    let missing: Vec<&str> = NEEDED.into_iter().filter(|n| !columns.contains_key(*n)).collect();
    if !missing.is_empty() {
        let why = if header.len() == 1 && header[0].contains([';', '\t']) {
            "its columns are not parted by commas. Save it as CSV with commas, or give".to_owned()
        } else {
            format!("the column {} is missing. Give", missing.join(", "))
        };
        return Err(ReportError::Measured(format!(
            "this is no table of particles: {why} the file that `lightsieve measure --particles` writes"
        )));
    }
    let mut photos: Vec<PhotoParticles> = Vec::new();
    let mut places: HashMap<String, usize> = HashMap::new();
    // Particles that have a place of their own, by photo, with their lines.
    let mut rows: HashMap<(usize, [u64; 3]), u64> = HashMap::new();
    let placed = ["x_px", "y_px"].iter().all(|name| columns.contains_key(*name));
    for record in reader.records() {
        let record = record.map_err(|e| {
            let line = e.position().map_or(0, ::csv::Position::line);
            wrong(line, NO_TEXT.to_owned())
        })?;
        let line = record.position().map_or(0, ::csv::Position::line);
        if record.len() != header.len() {
            let text = format!(
                "{} where the header names {}. The row is broken off",
                count(record.len(), "value"),
                header.len()
            );
            return Err(wrong(line, text));
        }
        let number = |name: &str| -> Result<Option<f64>, ReportError> {
            let Some(&column) = columns.get(name) else { return Ok(None) };
            let text = record[column].trim();
            if text.is_empty() {
                return Ok(None);
            }
            match text.parse::<f64>() {
                Ok(v) if v.is_finite() => Ok(Some(v)),
                _ => Err(wrong(line, format!("{name} is `{text}`, which is no number"))),
            }
        };
        let size = |name: &str| -> Result<f64, ReportError> {
            match number(name)? {
                Some(v) if v > if name == "weight" { LARGEST } else { LARGEST_UM } => {
                    Err(wrong(line, format!("{name} is {v}, which no particle has")))
                }
                Some(v) if v > 0.0 => Ok(v),
                Some(v) => Err(wrong(line, format!("{name} is {v} and must be above 0"))),
                None => Err(wrong(line, format!("{name} is empty"))),
            }
        };
        let ecd_um = size("ecd_um")?;
        let weight = size("weight")?;
        let or = |name: &str, otherwise: f64| Ok::<f64, ReportError>(number(name)?.unwrap_or(otherwise));
        let flags = match columns.get("flags") {
            None => Flags::default(),
            Some(&column) => Flags::parse(&record[column]).map_err(|name| {
                wrong(line, format!("the flag `{name}` is unknown: a newer version wrote this file"))
            })?,
        };
        let feret = |name: &str, otherwise: f64| match number(name)? {
            None => Ok(otherwise),
            Some(_) => size(name),
        };
        let disc = Particle::disc(ecd_um);
        let particle = Particle {
            x_px: or("x_px", disc.x_px)?,
            y_px: or("y_px", disc.y_px)?,
            x_mm: or("x_mm", disc.x_mm)?,
            y_mm: or("y_mm", disc.y_mm)?,
            ecd_um,
            feret_max_um: feret("feret_max_um", disc.feret_max_um)?,
            feret_min_um: feret("feret_min_um", disc.feret_min_um)?,
            area_um2: or("area_um2", disc.area_um2)?,
            perimeter_um: or("perimeter_um", disc.perimeter_um)?,
            aspect_ratio: or("aspect_ratio", disc.aspect_ratio)?,
            circularity: or("circularity", disc.circularity)?,
            solidity: or("solidity", disc.solidity)?,
            weight,
            flags,
        };
        let name = &record[columns["photo"]];
        if name.trim().is_empty() {
            return Err(wrong(line, "photo is empty. Write the name of the particle's photo".to_owned()));
        }
        let place = *places.entry(name.to_owned()).or_insert_with(|| {
            photos.push(PhotoParticles { name: name.to_owned(), particles: Vec::new(), smallest_ecd_um: 0.0 });
            photos.len() - 1
        });
        let key = [particle.x_px, particle.y_px, particle.ecd_um].map(f64::to_bits);
        if placed && let Some(first) = rows.insert((place, key), line) {
            let text =
                format!("the same particle as in line {first}. Each may stand in the table once: remove the copies");
            return Err(wrong(line, text));
        }
        let photo = &mut photos[place];
        if flags.contains(Flags::BELOW_LIMIT) {
            photo.smallest_ecd_um = photo.smallest_ecd_um.max(ecd_um);
        }
        photo.particles.push(particle);
    }
    if photos.is_empty() {
        return Err(ReportError::Measured("no particle in this file".to_owned()));
    }
    for photo in photos.iter_mut().filter(|p| p.smallest_ecd_um == 0.0) {
        photo.smallest_ecd_um = photo.particles.iter().map(|p| p.ecd_um).fold(f64::INFINITY, f64::min);
    }
    Ok(photos)
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEADER: &str = "photo,ecd_um,weight,flags\n";

    fn said(text: &str) -> String {
        photos(text.as_bytes()).unwrap_err().to_string()
    }

    #[test]
    fn rows_come_back_photo_by_photo() {
        let text = format!("{HEADER}a.jpg,100,1,\n\"b, c.jpg\",50,1.5,below_limit|split\na.jpg,200,1,\n");
        let photos = photos(text.as_bytes()).unwrap();
        assert_eq!(photos.iter().map(|p| p.particles.len()).collect::<Vec<_>>(), [2, 1]);
        assert_eq!((photos[1].name.as_str(), photos[1].smallest_ecd_um), ("b, c.jpg", 50.0));
        assert!(photos[1].particles[0].flags.contains(Flags::SPLIT));
    }

    #[test]
    fn broken_rows_are_named_by_their_line() {
        assert!(said(&format!("{HEADER}a,100,1,\na,10O,1,\n")).contains("line 3"));
        assert!(said(&format!("{HEADER}a,100,1,\na,100\n")).contains("line 3"));
        assert!(said(&format!("{HEADER}a,-1,1,\n")).contains("above 0"));
        assert!(said(&format!("{HEADER}a,99999,1,\n")).contains("no particle has"));
        assert!(said("photo,ecd_um,weight,feret_min_um\na,100,1,-3\n").contains("feret_min_um"));
        assert!(said(&format!("{HEADER}a,1,1,sparkling\n")).contains("newer version"));
        assert!(said("photo,size\n").contains("ecd_um, weight"));
        assert!(said("photo;ecd_um;weight\na;100;1\n").contains("with commas"));
        assert!(photos(b"\xff\xfep\0h\0o\0t\0o\0").unwrap_err().to_string().contains("UTF-8"));
        assert!(said(HEADER).contains("no particle"));
        assert!(said(&format!("{HEADER}a,100,1,\n,100,1,\n")).contains("line 3: photo is empty"));
        // The same size may come again, the same particle may not.
        assert!(photos(format!("{HEADER}a,100,1,\na,100,1,\n").as_bytes()).is_ok());
        let placed = "photo,ecd_um,weight,x_px,y_px\na,100,1,5.5,7\na,100,1,9,7\n";
        assert!(photos(placed.as_bytes()).is_ok());
        assert!(said(&format!("{placed}a,100,1,5.5,7\n")).contains("line 4: the same particle as in line 2"));
    }
}
