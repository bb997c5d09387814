//! Why something is not done, in words of the page: what to do stands on it, and no option of the command line is named.

use crate::photo::PhotoError;
use crate::pipeline::{MeasureError, SettingsError};
use crate::scale::{ScaleError, StandError};

/// Why a photo is not measured.
pub(super) fn measure(error: &MeasureError) -> String {
    match error {
        MeasureError::Photo(e) => photo(e),
        MeasureError::Scale(e) => scale(e),
        MeasureError::PrintedDiscs(_) => {
            "This is the frame of the scale sheet that holds printed discs, which would be measured as if \
                                          they were grounds. Spread the grounds in frame L, M or S."
                .to_owned()
        }
        MeasureError::Backdrop(_) | MeasureError::Sample(_) => sentence(&error.to_string()),
    }
}

/// Why a file is no photo that can be read.
pub(super) fn photo(error: &PhotoError) -> String {
    match error {
        // What the decoder met says nothing to the one who took the photo.
        PhotoError::Damaged(_) => {
            "The picture is damaged or cut short. Copy it again from the phone, or take it anew.".to_owned()
        }
        PhotoError::Missing | PhotoError::Folder | PhotoError::Io(_) => {
            "The photo cannot be read from the folder of this page. Take it away here, and add it again.".to_owned()
        }
        _ => sentence(&error.to_string()),
    }
}

/// Why settings make no sense.
pub(super) fn settings(error: &SettingsError) -> String {
    match error {
        SettingsError::Scale(e) => scale(e),
        SettingsError::Size(_) | SettingsError::Level(_) => sentence(&error.to_string()),
    }
}

/// Why there is no scale, and what to do under Scale.
pub(super) fn scale(error: &ScaleError) -> String {
    let other = "choose another way under Scale";
    match error {
        ScaleError::OutOfRange(um) => format!(
            "{um} µm per pixel is no scale of a photo of grounds. A phone photo of a hand-sized sheet has about 20: type that number, \
             or {other}."
        ),
        ScaleError::NoCard => format!(
            "No card was found. Lay it flat on the paper, its darker side up, wholly in the picture, clear of the grounds; or {other}."
        ),
        ScaleError::NoDisc => format!(
            "No round object was found to take the scale from. Lay the coin or disc flat on the paper, wholly in the picture, clear of \
             the grounds, larger than any particle; or {other}."
        ),
        ScaleError::NoScale(why) => format!(
            "No scale: {why}. How large a pixel is cannot be read from the photo alone. Print the sheet and spread the grounds in one of \
             its frames; or lay a bank card or a coin beside them, click on two places of known distance, or type the µm per pixel: \
             all of it under Scale."
        ),
        ScaleError::Stand(e) => stand(e),
        ScaleError::Points => "The two places and their distance make no scale: they must lie 10 px apart at least, and the distance between \
                               0.1 and 2000 mm. Click on both again."
            .to_owned(),
        ScaleError::PointOutside(..) => {
            "One of the two places lies outside of this picture. Open the photo and click on both again.".to_owned()
        }
        ScaleError::Sheet(e) => format!("{} Or {other}.", sentence(&e.to_string())),
        _ => sentence(&error.to_string()),
    }
}

fn stand(error: &StandError) -> String {
    let trust = "tick “Use it for another camera, too” under Scale";
    let again = "make a new calibration on the command line and choose its file under Scale";
    match error {
        StandError::Mismatch(of, is) => format!(
            "The calibration was made with photos of {of}, and this one is of {is}. Where camera, zoom and distance are truly the same, \
             {trust}; else {again}."
        ),
        StandError::Contradicted { sheet, stand, pct } => format!(
            "The marks of the scale sheet in view say {sheet:.2} µm per pixel and the calibration {stand:.2}, up to {pct:.1} % apart: \
             the stand has moved, or the calibration is of another. Choose the printed sheet under Scale; or, where the print is \
             wrong, {trust}."
        ),
        StandError::Field { field, why } => {
            format!(
                "{} in the calibration file {why}. Choose the file as it was written, or {again}.",
                sentence_start(field)
            )
        }
        StandError::NoSheet(e) => sentence(&e.to_string()),
        _ => sentence(&error.to_string()),
    }
}

/// With a capital and a full stop.
pub(super) fn sentence(text: &str) -> String {
    let text = sentence_start(text.trim());
    if text.ends_with(['.', '?', '!']) { text } else { text + "." }
}

fn sentence_start(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scale::sheet::SheetError;

    #[test]
    fn reasons_are_sentences_that_say_what_to_do_and_name_no_option() {
        let sheet = || SheetError::NoMarks;
        let scales = [
            ScaleError::OutOfRange(0.0),
            ScaleError::NoCard,
            ScaleError::OtherCard(7.0),
            ScaleError::Bar(3.0),
            ScaleError::Points,
            ScaleError::PointOutside(1.0, 2.0, 3, 4),
            ScaleError::Thickness(-1.0),
            ScaleError::DiscDiameter(0.0),
            ScaleError::NoDisc,
            ScaleError::NoScale(sheet()),
            ScaleError::Sheet(SheetError::OneSided),
            ScaleError::Stand(StandError::Sizes(1, 2, 3, 4)),
            ScaleError::Stand(StandError::NoSheet(sheet())),
            ScaleError::Stand(StandError::NoFit),
            ScaleError::Stand(StandError::Size(1, 2, 3, 4)),
            ScaleError::Stand(StandError::Mismatch("A".into(), "B".into())),
            ScaleError::Stand(StandError::Contradicted { sheet: 1.0, stand: 2.0, pct: 50.0 }),
            ScaleError::Stand(StandError::Field { field: "the lens", why: "is missing".into() }),
        ];
        let photos = [
            PhotoError::Missing,
            PhotoError::Folder,
            PhotoError::Io(std::io::ErrorKind::PermissionDenied),
            PhotoError::Empty,
            PhotoError::LargeFile { mib: 600, max: 512 },
            PhotoError::UnknownFormat,
            PhotoError::Heic { why: "the system cannot".into() },
            PhotoError::TooLarge { width: 9, height: 9, max_side: 1, max_megapixels: 1 },
            PhotoError::Colour { what: "CMYK".into() },
            PhotoError::Damaged("Huffman table 3".into()),
        ];
        let scales = scales.into_iter().map(|e| measure(&MeasureError::Scale(e)));
        let photos = photos.into_iter().map(|e| measure(&MeasureError::Photo(e)));
        let rest = [
            measure(&MeasureError::PrintedDiscs("a.jpg".into())),
            settings(&SettingsError::Size(-1.0)),
            settings(&SettingsError::Scale(ScaleError::OutOfRange(1e9))),
        ];
        for told in scales.chain(photos).chain(rest) {
            assert!(told.len() > 40 && told.ends_with('.'), "{told}");
            assert!(!told.starts_with(char::is_lowercase) && !told.contains("Huffman"), "{told}");
            assert!(!told.contains("--") && !told.contains("lightsieve ") && !told.contains('\n'), "{told}");
        }
    }
}
