//! The only place that chains the stages.

use std::path::{Path, PathBuf};

use crate::backdrop::{self, BackdropError};
use crate::distribution::{Basis, Figures, Intervals, PhotoParticles, Sample, SampleError, Sizes, bootstrap, smallest_ecd_px};
use crate::particle::{self, Calibration, Flags, Particle, Shape};
use crate::photo::{self, Photo, PhotoError};
use crate::scale::{Candidate, Scale, ScaleError, Source, find_disc};
use crate::segment::{self, Part, Rejection};

/// Where the scale of a photo comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ScaleChoice {
    /// µm per pixel.
    Given(f64),
    /// Diameter in mm of a round object in the picture.
    Disc(f64),
}

/// What a measurement needs to know; checked by [`Settings::new`].
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    scale: ScaleChoice,
    /// Fines are finer than this, µm.
    pub fines_um: f64,
    /// Coverage of the intervals, 0..1.
    pub level: f64,
    /// Seed of the bootstrap.
    pub seed: u64,
    /// Number of bootstrap draws.
    pub draws: usize,
}
/// One photo after measuring.
#[derive(Clone, Debug)]
pub struct MeasuredPhoto {
    /// File, as given.
    pub path: PathBuf,
    /// Width and height, px, upright.
    pub size_px: [usize; 2],
    /// The scale used.
    pub scale: Scale,
    /// Particles.
    pub particles: Vec<Particle>,
    /// Outlines.
    pub shapes: Vec<Shape>,
    /// What was left out, with the reason.
    pub rejected: Vec<(Part, Rejection)>,
    /// Blur.
    pub blur_px: f64,
    /// Core.
    pub core: f64,
    /// Noise.
    pub noise: f64,
    /// Limit.
    pub smallest_ecd_um: f64,
    /// Model.
    pub model: Calibration,
}
/// Why
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)]
pub enum MeasureError {
    #[error(transparent)]
    Photo(#[from] PhotoError),
    #[error(transparent)]
    Backdrop(#[from] BackdropError),
    #[error(transparent)]
    Scale(#[from] ScaleError),
    #[error(transparent)]
    Sample(#[from] SampleError),
}
impl Settings {
    /// new
    pub fn new(scale: ScaleChoice) -> Self {
        Settings { scale, fines_um: 100.0, level: 0.95, seed: 1, draws: 1000 }
    }
}
/// m
pub fn measure_photo(path: &Path, settings: &Settings) -> Result<MeasuredPhoto, MeasureError> {
    let t = std::time::Instant::now();
    let photo = photo::read(path)?;
    let debug = std::env::var_os("LS_DEBUG").is_some();
    if debug { eprintln!("decode {:?}", t.elapsed()); }
    measure(&photo, path, settings)
}
fn measure(photo: &Photo, path: &Path, settings: &Settings) -> Result<MeasuredPhoto, MeasureError> {
    let debug = std::env::var_os("LS_DEBUG").is_some();
    let t = std::time::Instant::now();
    let scene = backdrop::read(photo)?;
    if debug { eprintln!("backdrop {:?} noise {:.4} blur {:.3} core {:.3} level {:.3}", t.elapsed(), scene.noise, scene.blur_px, scene.core, scene.level); }
    let t = std::time::Instant::now();
    let regions = segment::find(photo, &scene);
    if debug { eprintln!("segment {:?} parts {} thr {:.4} sn {:.5}", t.elapsed(), regions.parts.len(), regions.threshold, regions.smoothed_noise); }
    let t = std::time::Instant::now();
    let (shapes, model) = particle::shapes(photo, &scene, &regions);
    if debug { eprintln!("shapes {:?} model {:?}", t.elapsed(), model.shade); }
    let scale = match settings.scale {
        ScaleChoice::Given(um) => Scale::new(um, 0.0, Source::Given)?,
        ScaleChoice::Disc(mm) => {
            let candidates: Vec<Option<Candidate>> = shapes
                .iter()
                .map(|s| s.as_ref().map(|s| Candidate { centre: s.centre, ecd_px: s.ecd_px(), feret_px: [s.feret[1], s.feret[0]], solidity: s.area / s.hull_area }))
                .collect();
            find_disc(&candidates, mm)?
        }
    };
    let limit = smallest_ecd_px(regions.threshold, regions.smoothed_noise, scene.core, scene.blur_px);
    let mut particles = Vec::new();
    let mut kept = Vec::new();
    for shape in shapes.into_iter().flatten() {
        let Some(weight) = scene.field.edge_weight(shape.extent[0], shape.extent[1]) else { continue };
        let mut p = shape.at_scale(&scale, weight);
        if shape.ecd_px() < limit { p.flags.insert(Flags::BELOW_LIMIT); }
        particles.push(p);
        kept.push(shape);
    }
    Ok(MeasuredPhoto {
        path: path.to_owned(), size_px: [photo.width(), photo.height()],
        smallest_ecd_um: limit * scale.typical(), scale, particles, shapes: kept,
        rejected: regions.parts.into_iter().filter_map(|p| p.rejected.map(|r| (p, r))).collect(),
        blur_px: scene.blur_px, core: scene.core, noise: scene.noise, model,
    })
}
/// d
pub fn distribution(photos: &[MeasuredPhoto], settings: &Settings) -> Result<(Sample, Figures, Intervals), MeasureError> {
    let sample = Sample::new(photos.iter().map(|p| PhotoParticles { name: p.path.display().to_string(), particles: p.particles.clone(), smallest_ecd_um: p.smallest_ecd_um }).collect())?;
    let sizes = Sizes::of(&sample);
    let f = Figures::of(&sizes, Basis::Mass, settings.fines_um);
    let t = std::time::Instant::now();
    let i = bootstrap(&sizes, Basis::Mass, settings.fines_um, 0.0, settings.level, settings.draws, settings.seed);
    if std::env::var_os("LS_DEBUG").is_some() { eprintln!("boot {:?}", t.elapsed()); }
    Ok((sample, f, i))
}
