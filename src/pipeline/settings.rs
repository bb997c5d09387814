use crate::distribution::SieveShape;
use crate::scale::{Calibration, RoundObject, Scale, ScaleError, check_diameter};

/// Where the scale of a photo comes from.
#[derive(Clone, Debug, PartialEq)]
pub enum ScaleChoice {
    /// From the printed sheet in the picture; with what a ruler reads on its bars along and across (mm), where measured.
    Sheet(Option<[f64; 2]>),
    /// µm per pixel.
    Given(f64),
    /// From a round object in the picture.
    Disc(RoundObject),
    /// From a calibration of the stand; true where it is to be trusted for photos that say another camera or focal length.
    Calibration(Box<Calibration>, bool),
    /// From a card of format ID-1 (ISO/IEC 7810) in the picture.
    Card,
    /// From two places in the picture (px) and their distance (mm).
    Points([[f64; 2]; 2], f64),
}

/// What a measurement needs to know; valid once made.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    pub(super) scale: ScaleChoice,
    pub(super) fines_um: f64,
    pub(super) level: f64,
    pub(super) seed: u64,
    pub(super) shares_above_um: Vec<f64>,
    pub(super) sieve_shape: Option<SieveShape>,
    pub(super) chaff: bool,
}

/// A setting that makes no sense.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs, reason = "each variant is its message")]
pub enum SettingsError {
    #[error(transparent)]
    Scale(#[from] ScaleError),
    #[error("a size must be a number of µm between 1 and 100000, and {0} is not")]
    Size(f64),
    #[error("the confidence must lie between 50 and 99.9 %, and {0} % does not")]
    Level(f64),
}

impl Settings {
    /// Settings with fines below 100 µm and intervals of 95 %.
    ///
    /// # Errors
    /// A scale or size out of range.
    pub fn new(scale: ScaleChoice) -> Result<Self, SettingsError> {
        match &scale {
            ScaleChoice::Given(um) => {
                Scale::given(*um)?;
            }
            ScaleChoice::Disc(object) => check_diameter(object)?,
            ScaleChoice::Points(ends, mm) => {
                Scale::between_points(*ends, *mm)?;
            }
            ScaleChoice::Card | ScaleChoice::Calibration(..) => {}
            ScaleChoice::Sheet(bars) => Scale::check_bars(*bars)?,
        }
        Ok(Settings {
            scale,
            fines_um: 100.0,
            level: 0.95,
            seed: 1,
            shares_above_um: Vec::new(),
            sieve_shape: None,
            chaff: true,
        })
    }

    /// Fines are finer than `um` µm.
    ///
    /// # Errors
    /// A size that is not a number between 1 and 100000.
    pub fn with_fines(mut self, um: f64) -> Result<Self, SettingsError> {
        self.fines_um = size(um)?;
        Ok(self)
    }

    /// Reports the share coarser than each of `sizes_um` µm.
    ///
    /// # Errors
    /// A size that is not a number between 1 and 100000.
    pub fn with_shares_above(mut self, sizes_um: &[f64]) -> Result<Self, SettingsError> {
        self.shares_above_um = sizes_um.iter().map(|&um| size(um)).collect::<Result<_, _>>()?;
        self.shares_above_um.sort_by(f64::total_cmp);
        self.shares_above_um.dedup();
        Ok(self)
    }

    /// Coverage of the intervals, in percent.
    ///
    /// # Errors
    /// Outside 50..99.9.
    pub fn with_confidence(mut self, pct: f64) -> Result<Self, SettingsError> {
        if !(50.0..=99.9).contains(&pct) {
            return Err(SettingsError::Level(pct));
        }
        self.level = pct / 100.0;
        Ok(self)
    }

    /// Tells, too, how sieves would sort the grounds.
    #[must_use]
    pub fn with_sieve_shape(mut self, shape: Option<SieveShape>) -> Self {
        self.sieve_shape = shape;
        self
    }

    /// Leaves out what is as pale as chaff, or takes it in.
    #[must_use]
    pub fn with_chaff(mut self, taken_in: bool) -> Self {
        self.chaff = taken_in;
        self
    }

    /// False where what is as pale as chaff is left out.
    pub fn takes_chaff(&self) -> bool {
        self.chaff
    }

    /// Fines are finer than this, µm.
    pub fn fines_um(&self) -> f64 {
        self.fines_um
    }

    /// Coverage of the intervals, 0..1.
    pub fn level(&self) -> f64 {
        self.level
    }

    /// Sizes above which shares are reported, µm.
    pub fn shares_above_um(&self) -> &[f64] {
        &self.shares_above_um
    }

    /// Seed of the random draws.
    pub fn seed(&self) -> u64 {
        self.seed
    }

    /// Seed of the random draws.
    #[must_use]
    pub fn with_seed(mut self, seed: u64) -> Self {
        self.seed = seed;
        self
    }
}

fn size(um: f64) -> Result<f64, SettingsError> {
    if (1.0..=100_000.0).contains(&um) { Ok(um) } else { Err(SettingsError::Size(um)) }
}
