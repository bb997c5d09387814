//! The scale as chosen on the page.

use serde::{Deserialize, Serialize};

use super::reasons;
use crate::pipeline::{ScaleChoice, Settings};
use crate::report::calibration;
use crate::scale::{RoundObject, coin};

/// Where the scale of a tray comes from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "from", rename_all = "snake_case")]
pub(super) enum ScaleWish {
    /// The printed sheet; what a ruler reads on its bars, mm.
    Sheet {
        #[serde(default)]
        bars_mm: Option<[f64; 2]>,
    },
    /// A card of format ID-1.
    Card,
    /// A coin known by name.
    Coin { name: String },
    /// A round object.
    Disc { diameter_mm: f64, thickness_mm: f64 },
    /// µm per pixel.
    Given { um_per_px: f64 },
    /// Two places of known distance in every photo.
    Places,
    /// The text of a calibration file.
    Calibration { file: String, trusted: bool },
}

/// Two places in a photo, px, and their distance, mm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Places {
    pub ends: [[f64; 2]; 2],
    pub mm: f64,
}

impl Default for ScaleWish {
    fn default() -> Self {
        ScaleWish::Sheet { bars_mm: None }
    }
}

impl ScaleWish {
    /// Settings for a photo with these `places`; `None` where the places are still wanted.
    ///
    /// The error says what is wrong with the wish.
    pub fn settings(&self, places: Option<&Places>, fines_um: f64) -> Result<Option<Settings>, String> {
        let choice = match self {
            ScaleWish::Sheet { bars_mm } => ScaleChoice::Sheet(*bars_mm),
            ScaleWish::Card => ScaleChoice::Card,
            ScaleWish::Coin { name } => {
                ScaleChoice::Disc(coin(name).ok_or_else(|| "No coin of this name is known.".to_owned())?)
            }
            ScaleWish::Disc { diameter_mm, thickness_mm } => {
                ScaleChoice::Disc(RoundObject { diameter_mm: *diameter_mm, thickness_mm: *thickness_mm })
            }
            ScaleWish::Given { um_per_px } => ScaleChoice::Given(*um_per_px),
            ScaleWish::Places => match places {
                Some(places) => ScaleChoice::Points(places.ends, places.mm),
                None => return Ok(None),
            },
            ScaleWish::Calibration { file, trusted } => {
                let calibration = calibration::read(file.as_bytes()).map_err(|e| reasons::sentence(&e.to_string()))?;
                ScaleChoice::Calibration(Box::new(calibration), *trusted)
            }
        };
        let settings = Settings::new(choice).and_then(|s| s.with_fines(fines_um));
        settings.map(Some).map_err(|e| reasons::settings(&e))
    }

    /// The wish as a text that is the same for the same scale of a photo.
    pub fn key(&self, places: Option<&Places>) -> String {
        let places = places.filter(|_| *self == ScaleWish::Places);
        serde_json::to_string(&(self, places)).expect("plain structs always serialise")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_wish_has_settings_or_says_why_not() {
        let said = |wish: ScaleWish| wish.settings(None, 100.0);
        assert!(said(ScaleWish::default()).unwrap().is_some());
        assert!(said(ScaleWish::Coin { name: "euro-1".into() }).unwrap().is_some());
        assert!(said(ScaleWish::Coin { name: "doubloon".into() }).is_err());
        assert!(said(ScaleWish::Given { um_per_px: 0.0 }).is_err());
        assert!(said(ScaleWish::Disc { diameter_mm: 24.25, thickness_mm: 900.0 }).is_err());
        assert!(said(ScaleWish::Calibration { file: "{}".into(), trusted: false }).is_err());
        assert_eq!(said(ScaleWish::Places), Ok(None));
        let places = Places { ends: [[1.0, 1.0], [500.0, 1.0]], mm: 50.0 };
        assert!(ScaleWish::Places.settings(Some(&places), 100.0).unwrap().is_some());
        assert!(ScaleWish::default().settings(None, -1.0).is_err());
    }

    #[test]
    fn places_matter_to_the_key_only_where_the_scale_is_taken_from_them() {
        let places = Places { ends: [[1.0, 1.0], [500.0, 1.0]], mm: 50.0 };
        assert_eq!(ScaleWish::Card.key(Some(&places)), ScaleWish::Card.key(None));
        assert_ne!(ScaleWish::Places.key(Some(&places)), ScaleWish::Places.key(None));
    }
}
