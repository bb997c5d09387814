//! The file of a study: what it holds, and every mistake in it with its line.

mod fields;
mod links;
mod read;
mod rows;

pub use read::read;

use std::path::PathBuf;

use super::cup::{Brewed, Method, Steps};
use super::tasting::{Preference, Triangle};
use crate::compare::sieve::Stack;
use crate::scale::RoundObject;

/// A file to start from: `lightsieve study new`.
pub const TEMPLATE: &str = include_str!("template.toml");

/// Something in the file that cannot be.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Mistake {
    /// Line in the file, from 1.
    pub line: usize,
    /// What is wrong, and what to write instead.
    pub text: String,
}

/// A whole investigation, as its file tells it.
#[derive(Clone, Debug)]
pub struct Study {
    /// Title of the report.
    pub title: String,
    /// What was asked.
    pub question: String,
    /// What else must be known.
    pub notes: String,
    /// True for a made-up study, which the report says of itself.
    pub invented: bool,
    /// Confidence of intervals and verdicts, 0..1.
    pub level: f64,
    /// Fines are finer than this, µm.
    pub fines_um: f64,
    /// Differences up to so much do not matter, relative; of all figures, and of fines.
    pub margins: [f64; 2],
    /// Seed of the random draws.
    pub seed: u64,
    /// Scale of the photos that have none of their own.
    pub scale: Way,
    /// Steps of the instruments.
    pub steps: Steps,
    /// Grinders by name, with a note.
    pub grinders: Vec<(String, String)>,
    /// Sets of burrs.
    pub burrs: Vec<Burrs>,
    /// Samples.
    pub samples: Vec<Sampled>,
    /// Pairs of samples to compare: base and other.
    pub comparisons: Vec<[usize; 2]>,
    /// Brews.
    pub brews: Vec<Brew>,
    /// Tastings.
    pub tastings: Vec<Tasting>,
}

/// A set of burrs.
#[derive(Clone, Debug, PartialEq)]
pub struct Burrs {
    /// Name.
    pub name: String,
    /// Its grinder.
    pub grinder: usize,
    /// What else must be known.
    pub notes: String,
}

/// Where the scale of photos comes from.
#[derive(Clone, Debug, PartialEq)]
pub enum Way {
    /// The printed sheet, with what a ruler reads on its bars, mm.
    Sheet(Option<[f64; 2]>),
    /// µm per pixel.
    Given(f64),
    /// A bank card.
    Card,
    /// A round object.
    Disc(RoundObject),
    /// A calibration file.
    Calibration(PathBuf),
}

/// A sample of grounds.
#[derive(Clone, Debug)]
pub struct Sampled {
    /// Name.
    pub name: String,
    /// Its set of burrs.
    pub burrs: usize,
    /// What that set had ground before, kg.
    pub kg: Option<f64>,
    /// Setting of the dial.
    pub setting: Option<f64>,
    /// Photos and tables of particles.
    pub files: Vec<PathBuf>,
    /// Scale of its photos.
    pub scale: Option<Way>,
    /// Its weighed sieves.
    pub sieve: Option<Stack>,
    /// What else must be known.
    pub notes: String,
    /// Line in the file.
    pub line: usize,
}

/// A brew.
#[derive(Clone, Debug)]
pub struct Brew {
    /// Of which sample.
    pub sample: usize,
    /// `filter`, `espresso` or `immersion`.
    pub kind: BrewKind,
    /// What was weighed; absent where the dissolved solids were not measured.
    pub brewed: Option<Brewed>,
    /// Dry grounds, g.
    pub dose_g: f64,
    /// From first water to the end, s.
    pub time_s: Option<f64>,
    /// What else must be known.
    pub notes: String,
}

/// Kinds of brew.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs, reason = "the names say it")]
pub enum BrewKind {
    Filter,
    Espresso,
    Immersion,
}

impl BrewKind {
    /// All of them.
    pub const ALL: [BrewKind; 3] = [BrewKind::Filter, BrewKind::Espresso, BrewKind::Immersion];

    /// Name in the file.
    pub fn name(self) -> &'static str {
        ["filter", "espresso", "immersion"][self as usize]
    }

    /// How water meets the grounds.
    pub fn method(self) -> Method {
        if self == BrewKind::Immersion { Method::Immersion } else { Method::Percolation }
    }
}

/// A tasting of two samples.
#[derive(Clone, Debug)]
pub struct Tasting {
    /// The samples, A and B.
    pub samples: [usize; 2],
    /// What came of it.
    pub kind: TastingKind,
    /// What else must be known.
    pub notes: String,
}

/// What came of a tasting.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TastingKind {
    /// Triangle tests, and the share who can tell below which the samples count as similar.
    Triangle(Triangle, f64),
    /// Preferences in pairs.
    Preference(Preference),
}
