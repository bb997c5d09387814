//! What measuring gives.

use std::path::PathBuf;

use crate::advice::Check;
use crate::distribution::{Curve, Figures, Recall, SieveShape, Sizes, pale};
use crate::numeric::Estimate;
use crate::particle::{Particle, Shape};
use crate::photo::Origin;
use crate::scale::Scale;
use crate::segment::{Rejection, Run};

/// What was read of a photo besides its particles.
#[derive(Clone, Debug)]
pub struct Quality {
    /// Blur at the edges that face the light, px.
    pub blur_px: f64,
    /// The same in every ninth of the picture, row by row, px; alike where it hardly varies.
    pub blur_by_ninth_px: Vec<f64>,
    /// Standard deviation of single paper pixels, share of the paper's light.
    pub noise: f64,
    /// Deficit in the middle of large particles, dimensionless.
    pub core: f64,
    /// Deficit of the paper in the contact shadow, dimensionless.
    pub shade: f64,
    /// Light of the paper, share of full scale.
    pub paper_level: f64,
    /// Share of the picture that is paper.
    pub paper_share: f64,
    /// Share of the paper that is covered by whole and cut particles.
    pub coverage: f64,
}

/// One photo, measured.
#[derive(Clone, Debug)]
pub struct MeasuredPhoto {
    /// File, as given.
    pub path: PathBuf,
    /// Width and height, px, upright.
    pub size_px: [usize; 2],
    /// What the file says of itself.
    pub origin: Origin,
    /// The scale used.
    pub scale: Scale,
    /// Whole particles on the paper.
    pub particles: Vec<Particle>,
    /// Their outlines, in the same order.
    pub shapes: Vec<Shape>,
    /// Outlines of what gave the scale, px: a disc, the marks of a sheet.
    pub reference: Vec<Vec<[f64; 2]>>,
    /// What was left out, with the reason.
    pub rejected: Vec<(Vec<Run>, Rejection)>,
    /// Smallest ECD of which the photo shows 95 %, µm.
    pub smallest_ecd_um: f64,
    /// The same in every ninth of the picture, row by row, µm.
    pub smallest_by_ninth_um: Vec<f64>,
    /// Share of particles of each size that the photo shows.
    pub recall: Recall,
    /// How good the photo is.
    pub quality: Quality,
    /// What was looked at, with advice where it is needed.
    pub checks: Vec<Check>,
}

/// Several photos of the same grounds, measured: the end of the pipeline.
#[derive(Clone, Debug)]
pub struct Measurement {
    /// The photos.
    pub photos: Vec<MeasuredPhoto>,
    /// Diameters in rising order.
    pub sizes: Sizes,
    /// Figures by mass with intervals, in the order of [`Figures::NAMES`].
    pub by_mass: [Estimate; 7],
    /// Figures by number.
    pub by_number: Figures,
    /// Histogram by mass, 20 classes to a factor of ten.
    pub curve: Curve,
    /// The same in fine steps, 200 to a factor of ten, for drawing the cumulative line.
    pub cumulative: Curve,
    /// Share of the mass coarser than each size asked for: (size in µm, share in %).
    pub shares_above: Vec<(f64, Estimate)>,
    /// How sieves would sort the grounds, where their shape is known: figures by mass, sizes being the widths by which particles pass.
    pub as_sieved: Option<(SieveShape, [Estimate; 7])>,
    /// Fines are finer than this, µm.
    pub fines_um: f64,
    /// True when some fines are smaller than the limit of a photo: their share is at least that given.
    pub fines_at_least: bool,
    /// Smallest ECD of which every photo shows 95 %, µm.
    pub smallest_ecd_um: f64,
    /// Coverage of the intervals, 0..1.
    pub level: f64,
}

impl Measurement {
    /// Number of particles as pale as chaff that count, and their share of the mass, %.
    pub fn pale(&self) -> (usize, f64) {
        pale(self.photos.iter().flat_map(|p| &p.particles))
    }

    /// The same with the photos named by their files alone.
    #[must_use]
    pub fn without_folders(mut self) -> Self {
        for photo in &mut self.photos {
            photo.path = photo.path.file_name().map_or_else(|| photo.path.clone(), PathBuf::from);
        }
        self
    }
}
