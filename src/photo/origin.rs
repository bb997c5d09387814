use exif::{Exif, In, Tag, Value};

/// What a picture file says of itself.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Origin {
    /// EXIF orientation as stored, 1..=8; already applied to the samples.
    pub orientation: u16,
    /// Maker and model of the camera.
    pub camera: Option<String>,
    /// Focal length of the lens, mm.
    pub focal_length_mm: Option<f64>,
    /// Focal length that gives the same view on a 36 × 24 mm frame, mm.
    pub focal_length_35mm: Option<f64>,
}

impl Origin {
    /// Reads the EXIF block of a JPEG, PNG, WebP, TIFF or HEIF file; what is absent or damaged stays unknown.
    pub(super) fn of(bytes: &[u8]) -> Self {
        let mut origin = Origin { orientation: 1, ..Origin::default() };
        let Ok(exif) = exif::Reader::new().read_from_container(&mut std::io::Cursor::new(bytes)) else {
            return origin;
        };
        if let Some(tag) = number(&exif, Tag::Orientation) {
            origin.orientation = tag as u16;
        }
        let words: Vec<String> = [Tag::Make, Tag::Model].iter().filter_map(|&tag| text(&exif, tag)).collect();
        origin.camera = (!words.is_empty()).then(|| words.join(" "));
        origin.focal_length_mm = number(&exif, Tag::FocalLength);
        origin.focal_length_35mm = number(&exif, Tag::FocalLengthIn35mmFilm);
        origin
    }
}

fn number(exif: &Exif, tag: Tag) -> Option<f64> {
    let value = match &exif.get_field(tag, In::PRIMARY)?.value {
        Value::Rational(r) => r.first()?.to_f64(),
        Value::Short(s) => f64::from(*s.first()?),
        Value::Long(l) => f64::from(*l.first()?),
        _ => return None,
    };
    (value.is_finite() && value > 0.0).then_some(value)
}

fn text(exif: &Exif, tag: Tag) -> Option<String> {
    match &exif.get_field(tag, In::PRIMARY)?.value {
        Value::Ascii(lines) => {
            let clean: String =
                String::from_utf8_lossy(lines.first()?).chars().filter(|c| !c.is_control()).take(60).collect();
            (!clean.trim().is_empty()).then(|| clean.trim().to_owned())
        }
        _ => None,
    }
}
