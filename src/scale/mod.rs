//! Stage 2: micrometres per pixel, and how sure.
//!
//! Every way to a scale ends in one [`Scale`]; a way of its own (a sheet, a disc, a stand) is a module that makes one.

mod camera;
mod card;
mod coins;
mod disc;
mod focal;
mod homography;
mod lens;
mod plane;
pub mod sheet;
mod small;
mod stand;

pub use camera::{CameraError, CameraModel, CameraSpread, PlaneView, Pose, fit_camera};
pub use card::{CARD_MM, Card, find_card};
pub use coins::{coin, coin_names};
pub use disc::{Candidate, Disc, RoundObject, check_diameter, find_disc};
pub use focal::Focal;
pub use homography::{fit_homography, project};
pub use lens::Lens;
pub use plane::{Optics, Plane, PlaneFit, fit_plane};
pub use stand::{Calibration, StandError, StandFit, calibrate};

use std::borrow::Cow;

use crate::numeric::determinant;

use sheet::{Sheet, SheetError};

/// Micrometres per pixel over the picture, with its uncertainty. Never 0, never NaN (checked in `new`).
#[derive(Clone, Debug, PartialEq)]
pub struct Scale {
    map: Map,
    parts: Vec<Part>,
    from: Source,
}

/// From the picture to the paper.
#[derive(Clone, Debug, PartialEq)]
enum Map {
    /// µm per pixel, everywhere and in every direction.
    Even(f64),
    /// A plane, and the place in the picture (px) whose scale is called typical.
    Plane(Box<Plane>, [f64; 2]),
}

/// One source of uncertainty.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// What it comes from.
    pub name: Cow<'static, str>,
    /// Relative standard uncertainty, dimensionless.
    pub relative: f64,
}

impl Part {
    fn new(name: &'static str, relative: f64) -> Self {
        Part { name: Cow::Borrowed(name), relative }
    }
}

/// How a scale was obtained.
#[derive(Clone, Debug, PartialEq)]
pub enum Source {
    /// Given as a number.
    Given,
    /// From a round object of known diameter in the picture.
    Disc(Disc),
    /// From a calibration of the stand.
    Calibration,
    /// From a card of format ID-1.
    Card(Box<Card>),
    /// From two places in the picture and their distance.
    Points,
    /// From a frame of the printed sheet.
    Sheet(Box<Sheet>),
}

/// Why there is no scale.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs, reason = "each variant is its message")]
pub enum ScaleError {
    #[error(
        "the scale must lie between {LEAST_UM} and {MOST_UM} µm per pixel, and {0} does not. A phone photo of a hand-sized \
         sheet has about 20 µm per pixel: --scale 20"
    )]
    OutOfRange(f64),
    #[error(
        "no card was found: lay it flat on the paper, its darker side up, wholly in the picture, clear of the grounds; or \
         give --scale UM_PER_PX"
    )]
    NoCard,
    #[error(
        "the dark rectangle in the picture is no card of 85.60 × 53.98 mm (ISO/IEC 7810 ID-1): its proportions are {0:.1} % \
         off. Lay a bank or library card on the paper and nothing else as large"
    )]
    OtherCard(f64),
    #[error("a check bar of the sheet is 100 mm long; {0} mm is no print of it (80 to 120 are taken)")]
    Bar(f64),
    #[error("the check bars read {0} and {1} mm: no printer stretches a page so unevenly. Measure both again")]
    BarsApart(f64, f64),
    #[error(
        "the two points and their distance make no scale: the points must lie 10 px apart at least, and the distance between 0.1 and 2000 mm"
    )]
    Points,
    #[error(
        "the place {0},{1} lies outside of the picture, which is {2} × {3} px. Read both places in the upright photo"
    )]
    PointOutside(f64, f64, usize, usize),
    #[error("the thickness of the reference must lie between 0 and 20 mm, and {0} does not")]
    Thickness(f64),
    #[error("the diameter of the reference disc must lie between 1 and 500 mm, and {0} does not")]
    DiscDiameter(f64),
    #[error(
        "no round object was found for the reference disc. Lay the coin or disc flat on the paper, wholly in the \
         picture, clear of the grounds, larger than any particle; or give --scale UM_PER_PX"
    )]
    NoDisc,
    #[error(
        "no scale: {0}. How large a pixel is cannot be read from the photo alone. Do one of:
  print a sheet and spread the grounds in one of its frames: lightsieve target --output sheet.pdf
  lay a coin beside the grounds:                             --reference coin:euro-1   (or disc=24.25, in mm; or card)
  tell how far two places are apart:                         --points X1,Y1,X2,Y2=MM   (px of the photo, and mm)
  give the scale:                                            --scale 20                (µm per pixel)"
    )]
    NoScale(SheetError),
    #[error(transparent)]
    Sheet(#[from] SheetError),
    #[error(transparent)]
    Stand(#[from] StandError),
}

impl ScaleError {
    /// Why a photo in which another way would do has no scale by the sheet.
    pub fn without_sheet(error: SheetError) -> Self {
        match error {
            SheetError::NoMarks | SheetError::Faint(_) => ScaleError::NoScale(error),
            other => ScaleError::Sheet(other),
        }
    }
}

/// Finest scale taken, µm per px: a microscope's strongest lenses reach it, and no ground coffee fits into its pictures.
const LEAST_UM: f64 = 0.05;
/// Coarsest scale taken, µm per px: a 13 dpi scan, in which the coarsest grain is a pixel or two.
const MOST_UM: f64 = 2000.0;

/// Relative standard uncertainty of a print whose bars were not measured: drivers that "fit" a page are caught by the
/// bars, what is left are some tenths of a percent of paper feed and humidity (common practice, no source).
const PRINT_UNCHECKED: f64 = 0.003;
/// No printer stretches one side against the other by more (common practice, no source).
const BARS_APART: f64 = 0.05;

/// The same with both bars read on a ruler: ± 0.25 mm (uniform) in 100 mm each, of which the mean scale has 1/√2.
const PRINT_CHECKED: f64 = 0.25 / 1.732 / 100.0 / 1.414;

/// How a print is stretched along x and y, and how sure that is.
fn print(bars_mm: Option<[f64; 2]>) -> Result<([f64; 2], Part), ScaleError> {
    Scale::check_bars(bars_mm)?;
    Ok(match bars_mm {
        Some(bars) => (bars.map(|b| b / 100.0), Part::new("printer, by the check bars", PRINT_CHECKED)),
        None => ([1.0; 2], Part::new("printer, unchecked", PRINT_UNCHECKED)),
    })
}

impl Scale {
    /// A constant scale.
    ///
    /// `um_per_px` µm per pixel; `parts` what makes it unsure.
    ///
    /// # Errors
    /// When `um_per_px` is not a number in 0.05..2000.
    pub fn new(um_per_px: f64, parts: Vec<Part>, from: Source) -> Result<Self, ScaleError> {
        if !(LEAST_UM..=MOST_UM).contains(&um_per_px) {
            return Err(ScaleError::OutOfRange(um_per_px));
        }
        Ok(Scale { map: Map::Even(um_per_px), parts, from })
    }

    /// The scale of a plane; that at `middle` (px) is called typical.
    fn of_plane(plane: Plane, middle: [f64; 2], parts: Vec<Part>, from: Source) -> Self {
        Scale { map: Map::Plane(Box::new(plane), middle), parts, from }
    }

    /// A scale given as µm per pixel, taken as exact.
    ///
    /// # Errors
    /// Not a number in 0.05..2000.
    pub fn given(um_per_px: f64) -> Result<Self, ScaleError> {
        Scale::new(um_per_px, Vec::new(), Source::Given)
    }

    /// From two places in the picture (px) that are `mm` apart on the paper. Each is taken as pointed at to ± 1 px.
    ///
    /// # Errors
    /// Points that lie together, or a distance that makes no sense.
    pub fn between_points([a, b]: [[f64; 2]; 2], mm: f64) -> Result<Self, ScaleError> {
        let apart = (a[0] - b[0]).hypot(a[1] - b[1]);
        if !(apart >= 10.0 && (0.1..=2000.0).contains(&mm)) {
            return Err(ScaleError::Points);
        }
        // ± 1 px, uniform, at both ends.
        let parts = vec![Part::new("the two points", (2.0f64 / 3.0).sqrt() / apart)];
        Scale::new(1000.0 * mm / apart, parts, Source::Points)
    }

    /// Refuses places beyond a picture of `size_px` (width and height).
    ///
    /// # Errors
    /// A place outside of it.
    pub fn check_places(ends: [[f64; 2]; 2], size_px: [usize; 2]) -> Result<(), ScaleError> {
        let inside = |p: &[f64; 2]| (0..2).all(|i| (0.0..=size_px[i] as f64).contains(&p[i]));
        ends.iter()
            .find(|p| !inside(p))
            .map_or(Ok(()), |p| Err(ScaleError::PointOutside(p[0], p[1], size_px[0], size_px[1])))
    }

    /// Refuses bars that no printer makes.
    ///
    /// # Errors
    /// A bar outside 80..120 mm, or two that differ too much.
    pub fn check_bars(bars_mm: Option<[f64; 2]>) -> Result<(), ScaleError> {
        let Some([along, across]) = bars_mm else { return Ok(()) };
        if let Some(bar) = [along, across].into_iter().find(|b| !(80.0..=120.0).contains(b)) {
            return Err(ScaleError::Bar(bar));
        }
        if (along / across - 1.0).abs() > BARS_APART { Err(ScaleError::BarsApart(along, across)) } else { Ok(()) }
    }

    /// The scale of a sheet in the picture; `bars_mm` is what a ruler reads on its two bars of 100 mm, along and across,
    /// where they were measured.
    ///
    /// # Errors
    /// A bar outside 80..120 mm.
    pub fn of_sheet(mut sheet: Sheet, bars_mm: Option<[f64; 2]>) -> Result<Self, ScaleError> {
        let (stretch, printed) = print(bars_mm)?;
        sheet.stretch(stretch);
        let [x0, y0, x1, y1] = sheet.field_mm;
        let middle = sheet.plane.px([0.5 * (x0 + x1), 0.5 * (y0 + y1)]);
        let parts = vec![Part::new("fit of the marks", sheet.fit_uncertainty), printed];
        Ok(Scale::of_plane(sheet.plane.clone(), middle, parts, Source::Sheet(Box::new(sheet))))
    }

    /// Derivatives of the place on the paper, µm per px: `[[dx/du, dx/dv], [dy/du, dy/dv]]`; `None` where the scale is
    /// the same everywhere and in every direction.
    pub fn local(&self, at: [f64; 2]) -> Option<[[f64; 2]; 2]> {
        match &self.map {
            Map::Even(_) => None,
            Map::Plane(plane, middle) => {
                let j = plane.mm_per_px(at).or_else(|| plane.mm_per_px(*middle))?;
                Some(j.map(|row| row.map(|v| 1000.0 * v)))
            }
        }
    }

    /// Micrometres per pixel at a place of the upright photo (px): the root of the ratio of areas.
    pub fn um_per_px(&self, at: [f64; 2]) -> f64 {
        match &self.map {
            Map::Even(um) => *um,
            Map::Plane(..) => self.local(at).map_or(f64::NAN, |j| determinant(j).abs().sqrt()),
        }
    }

    /// Place on the paper of a place in the picture (px), mm: from the upper left corner of the sheet's field, or of the
    /// picture where there is no sheet.
    pub fn mm(&self, at: [f64; 2]) -> [f64; 2] {
        match &self.map {
            Map::Even(um) => at.map(|p| p * um / 1000.0),
            Map::Plane(plane, _) => plane.mm(at).unwrap_or([f64::NAN; 2]),
        }
    }

    /// Micrometres per pixel in the middle of the field, or of the picture.
    pub fn typical(&self) -> f64 {
        match &self.map {
            Map::Even(um) => *um,
            Map::Plane(_, middle) => self.um_per_px(*middle),
        }
    }

    /// Relative standard uncertainty, dimensionless.
    pub fn relative_uncertainty(&self) -> f64 {
        self.parts.iter().fold(0.0, |sum, p| sum + p.relative * p.relative).sqrt()
    }

    /// What makes it unsure.
    pub fn parts(&self) -> &[Part] {
        &self.parts
    }

    /// The largest source of uncertainty.
    pub fn main_part(&self) -> Option<&Part> {
        self.parts.iter().max_by(|a, b| a.relative.total_cmp(&b.relative))
    }

    /// The frame of the sheet that gave it.
    pub fn sheet(&self) -> Option<&Sheet> {
        if let Source::Sheet(sheet) = &self.from { Some(sheet) } else { None }
    }

    /// How it was obtained.
    pub fn from(&self) -> &Source {
        &self.from
    }
}
