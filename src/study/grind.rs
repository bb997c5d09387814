//! The figures of a sample of a study, and of each of its photos.

use crate::compare::Grounds;
use crate::distribution::{
    Basis, Curve, Figures, IntervalSettings, PhotoParticles, Sample, SampleError, Sizes, mass_figures,
};
use crate::numeric::Estimate;

/// Bootstrap draws behind the intervals, as of a measurement.
const DRAWS: usize = 300;

/// What was measured of a sample.
#[derive(Clone, Debug, Default)]
pub struct Measured {
    /// Its photos.
    pub photos: Vec<PhotoParticles>,
    /// Relative standard uncertainty of the scale, dimensionless.
    pub scale_uncertainty: f64,
    /// Below this size a photo shows less than half of all particles, µm; 0 where it is not known.
    pub floor_um: f64,
    /// Advice: photo and sentence.
    pub advice: Vec<(String, String)>,
    /// What could not be measured: file and reason.
    pub failed: Vec<(String, String)>,
}

/// Figures of a sample.
#[derive(Clone, Debug)]
pub struct Grind {
    /// Its particles.
    pub grounds: Grounds,
    /// Figures by mass with intervals, in the order of [`Figures::NAMES`].
    pub figures: [Estimate; 7],
    /// The same of each photo.
    pub of_photos: Vec<[f64; 7]>,
    /// Cumulative curve, 200 steps to a factor of ten.
    pub curve: Curve,
    /// Smallest ECD of which every photo shows 95 %, µm.
    pub smallest_ecd_um: f64,
    /// True when some fines are smaller than that.
    pub fines_at_least: bool,
}

impl Grind {
    /// Figures of what was `measured` of the sample `name`.
    ///
    /// # Errors
    /// No particle at all.
    pub fn of(name: &str, measured: &Measured, fines_um: f64, level: f64, seed: u64) -> Result<Grind, SampleError> {
        let sample = Sample::new(measured.photos.clone())?;
        let sizes = Sizes::of(&sample);
        let how = IntervalSettings { level, draws: DRAWS, seed, scale_uncertainty: measured.scale_uncertainty };
        let photos = (0..sizes.photos()).map(|i| sizes.of_photo(i)).filter(|s| !s.ecd_um.is_empty());
        let smallest_ecd_um = sample.smallest_ecd_um();
        Ok(Grind {
            figures: mass_figures(&sizes, measured.floor_um, fines_um, &how),
            of_photos: photos.map(|s| Figures::of(&s, Basis::Mass, fines_um).to_array()).collect(),
            curve: Curve::of(&sizes, Basis::Mass, 200),
            smallest_ecd_um,
            fines_at_least: smallest_ecd_um > fines_um,
            grounds: Grounds { name: name.to_owned(), sample, scale_uncertainty: measured.scale_uncertainty },
        })
    }
}
