//! The only place that chains the stages.

mod measured;
mod repeated;
mod settings;
mod sight;

pub use measured::{MeasuredPhoto, Measurement, Quality};
pub use settings::{ScaleChoice, Settings, SettingsError};

use std::path::Path;

use rayon::prelude::*;

use crate::advice;
use crate::backdrop::{self, BackdropError, Region, Scene};
use crate::distribution::{
    Basis, Curve, Figures, IntervalSettings, KnownCheck, KnownError, KnownSize, LARGEST_UM, LEAST_RECALL,
    PhotoParticles, Sample, SampleError, Sizes, check_known, intervals, mass_figures, share_above,
};
use crate::numeric::{Spans, convex_hull};
use crate::particle::{self, Calibration, Flags, Particle, Shape};
use crate::photo::{self, Photo, PhotoError};
use crate::scale::sheet::{DISC_FRAME, find_sheet, find_sheet_or_why, looks_like_mark};
use crate::scale::{Candidate, Focal, Scale, ScaleError, Source, find_card, find_disc};
use crate::segment::{self, Regions, Rejection, Run};

/// Bootstrap draws: the standard error of 300 draws is itself known to 4 %.
const DRAWS: usize = 300;

/// Why a photo or sample could not be measured.
#[derive(Debug, thiserror::Error)]
pub enum MeasureError {
    /// The file is no readable picture.
    #[error(transparent)]
    Photo(#[from] PhotoError),
    /// No usable paper.
    #[error(transparent)]
    Backdrop(#[from] BackdropError),
    /// No usable scale.
    #[error(transparent)]
    Scale(#[from] ScaleError),
    /// No usable particles.
    #[error(transparent)]
    Sample(#[from] SampleError),
    /// A photo of the frame that holds discs, and no grounds.
    #[error(
        "{0}: frame {DISC_FRAME} of the scale sheet holds printed discs, which would be measured as if they were grounds. \
         Spread the grounds in frame L, M or S; the discs tell the tool's bias: lightsieve calibrate PHOTO --known 1000±50"
    )]
    PrintedDiscs(String),
}

/// Reads and measures the photo at `path`.
///
/// # Errors
/// The file, its backdrop or its scale is unusable.
pub fn measure_file(path: &Path, settings: &Settings) -> Result<MeasuredPhoto, MeasureError> {
    measure_photo(photo::read(path)?, path, settings)
}

/// Measures a photo, which is used up: trial particles are laid on it. `path` is its name in results.
///
/// # Errors
/// Its backdrop or its scale is unusable.
pub fn measure_photo(mut photo: Photo, path: &Path, settings: &Settings) -> Result<MeasuredPhoto, MeasureError> {
    let focal = Focal::of(&photo);
    let before = scale_before(&photo, focal, &settings.scale)?;
    let spans = |polygon: &Vec<[f64; 2]>| Some(Spans::of_polygon(polygon, photo.width(), photo.height()));
    let region = match before.as_ref().map(Scale::from) {
        Some(Source::Sheet(sheet)) => Region { within: spans(&sheet.region), without: None },
        Some(Source::Card(card)) => Region { within: None, without: spans(&card.covered) },
        _ => Region::default(),
    };
    let plain = before.is_some() && region.is_everywhere();
    let mut of_sheet = None;
    let mut seen = look(&photo, region)?;
    if plain && seen.shapes.par_iter().flatten().filter(|s| is_like_mark(&photo, s)).count() >= 3 {
        // The marks of a sheet whose scale is not wanted are no particles either.
        if let Ok(sheet) = find_sheet(&photo) {
            seen = look(&photo, Region { within: spans(&sheet.region), without: None })?;
            if let ScaleChoice::Calibration(calibration, false) = &settings.scale {
                calibration.agrees_with(sheet).map_err(ScaleError::from)?;
            } else {
                of_sheet = Scale::of_sheet(sheet, None).ok().map(|scale| scale.typical());
            }
        }
    }
    let Seen { scene, regions, mut shapes, calibration } = seen;
    // A particle counts when the circle about its centroid as wide as its largest Feret diameter lies in the field: a
    // rule by which each size has a known chance to count, which is what the edge weight undoes.
    let is_whole = |s: &Shape| scene.field.holds(s.centre, s.feret[0]);
    let scale = match (before, &settings.scale) {
        (Some(scale), _) => scale,
        (None, ScaleChoice::Disc(object)) => {
            let candidate = |s: &Shape| Candidate {
                centre: s.centre,
                ecd_px: s.ecd_px(),
                feret_px: [s.feret[1], s.feret[0]],
                solidity: particle::solidity(s.area, s.hull_area),
            };
            let candidates: Vec<Option<Candidate>> =
                shapes.iter().map(|s| s.as_ref().filter(|s| is_whole(s)).map(candidate)).collect();
            find_disc(&candidates, object, focal)?
        }
        (None, _) => unreachable!("every other choice gives a scale before the particles are known"),
    };
    let reference = match scale.from() {
        Source::Disc(disc) => shapes[disc.index].take().map(|s| s.outline).into_iter().collect(),
        Source::Sheet(sheet) => sheet.rims.iter().chain([&sheet.field_px]).cloned().collect(),
        Source::Card(card) => vec![card.outline.clone()],
        Source::Given | Source::Points | Source::Calibration => Vec::new(),
    };
    let size_px = [photo.width(), photo.height()];
    let found = |(i, shape): (usize, &Option<Shape>)| Object::of(i, shape.as_ref()?, &scale, size_px);
    let objects: Vec<Object> = shapes.iter().enumerate().filter_map(found).collect();
    let sight = sight::sight(&mut photo, &scene, &regions, &calibration);
    let mut parts = regions.parts;
    let mut particles = Vec::new();
    let mut whole = Vec::new();
    let mut pieces = Vec::new();
    for (part, shape) in parts.iter_mut().zip(shapes) {
        let Some(shape) = shape.filter(|s| !on_reference(&scale, s)) else { continue };
        let mut particle = shape.at_scale(&scale);
        let weight = match scale.sheet() {
            // Where nothing else reaches into the frame, its field is a rectangle on the paper.
            Some(sheet) if scene.field.is_whole() => {
                sheet.edge_weight([particle.x_mm, particle.y_mm], particle.feret_max_um / 1000.0)
            }
            _ => scene.field.edge_weight(shape.feret[0], shape.feret[0]).filter(|_| is_whole(&shape)),
        };
        let Some(weight) = weight else {
            part.rejected = Some(Rejection::CutByFrame);
            continue;
        };
        if particle.ecd_um > LARGEST_UM {
            part.rejected = Some(Rejection::TooLarge);
            continue;
        }
        if let Some(object) = objects.iter().find(|object| object.holds(&shape)) {
            pieces.extend(part.runs.drain(..).map(|run| (object.part, run)));
            continue;
        }
        if shape.is_fibre() {
            part.rejected = Some(Rejection::Fibre);
            continue;
        }
        if shape.is_pale(&scene) {
            if !settings.takes_chaff() {
                part.rejected = Some(Rejection::Chaff);
                continue;
            }
            particle.flags.insert(Flags::PALE);
        }
        particle.weight = weight * sight.recall.weight(shape.ecd_px());
        if shape.ecd_px() < sight.limit_px(scene.softness.at(shape.centre)) {
            particle.flags.insert(Flags::BELOW_LIMIT);
        }
        particles.push(particle);
        whole.push(shape);
    }
    for (object, run) in pieces {
        let runs: &mut Vec<Run> = &mut parts[object].runs;
        runs.insert(runs.partition_point(|r| (r.y, r.x0) < (run.y, run.x0)), run);
    }
    let smallest_ecd_um = sight.recall.limit_px() * scale.typical();
    let ninths = scene.softness.ratios();
    let mut checks = advice::checks(&advice::Seen {
        photo: &photo,
        scene: &scene,
        smoothed_noise: regions.smoothed_noise,
        calibration: &calibration,
        particles: &particles,
        shapes: &whole,
        smallest_ecd_um,
        fines_um: settings.fines_um,
        um_per_px: scale.typical(),
    });
    checks.extend(of_sheet.map(|of_sheet| advice::other_scale(scale.typical(), of_sheet)));
    // A coin or a bean beside the grounds covers no paper of theirs.
    let is_disc = |i: usize| matches!(scale.from(), Source::Disc(disc) if disc.index == i);
    let covers = |(i, p): &(usize, &segment::Part)| {
        !is_disc(*i) && !matches!(p.rejected, Some(Rejection::OffPaper | Rejection::TooLarge))
    };
    let largest_px2 = std::f64::consts::FRAC_PI_4 * (LARGEST_UM / scale.typical()).powi(2);
    let areas = parts.iter().enumerate().filter(covers).map(|(_, p)| p.runs.iter().map(Run::len).sum::<usize>());
    // Nor does one that the frame cuts.
    let dark: usize = areas.filter(|&area| (area as f64) < largest_px2).sum();
    let paper_px = scene.field.share() * (photo.width() * photo.height()) as f64;
    Ok(MeasuredPhoto {
        path: path.to_owned(),
        size_px,
        origin: photo.origin().clone(),
        smallest_ecd_um,
        smallest_by_ninth_um: ninths.iter().map(|&softness| sight.limit_px(softness) * scale.typical()).collect(),
        recall: sight.recall,
        checks,
        scale,
        particles,
        shapes: whole,
        reference,
        rejected: parts.into_iter().filter_map(|p| p.rejected.map(|r| (p.runs, r))).collect(),
        quality: Quality {
            blur_px: calibration.look.blur_px,
            blur_by_ninth_px: ninths.iter().map(|ratio| ratio * calibration.look.blur_px).collect(),
            noise: scene.noise,
            core: scene.core,
            shade: calibration.shade.strength,
            paper_level: scene.level,
            paper_share: scene.field.share(),
            coverage: dark as f64 / paper_px,
        },
    })
}

/// What the stages before the scale make of a photo.
struct Seen {
    scene: Scene,
    regions: Regions,
    shapes: Vec<Option<Shape>>,
    calibration: Calibration,
}

fn look(photo: &Photo, region: Region) -> Result<Seen, BackdropError> {
    let scene = backdrop::read(photo, region)?;
    let regions = segment::find(photo, &scene);
    let (shapes, calibration) = particle::shapes(photo, &scene, &regions);
    Ok(Seen { scene, regions, shapes, calibration })
}

fn is_like_mark(photo: &Photo, shape: &Shape) -> bool {
    shape.ecd_px() > 18.0 && looks_like_mark(photo, shape.centre, &shape.outline)
}

/// The scale, where it does not take particles to find it.
fn scale_before(photo: &Photo, focal: Focal, choice: &ScaleChoice) -> Result<Option<Scale>, ScaleError> {
    Ok(match choice {
        ScaleChoice::Sheet(bars) => {
            Some(Scale::of_sheet(find_sheet_or_why(photo).map_err(ScaleError::without_sheet)?, *bars)?)
        }
        ScaleChoice::Calibration(calibration, trusted) => Some(calibration.scale(photo, *trusted)?),
        ScaleChoice::Card => Some(find_card(photo, focal)?),
        ScaleChoice::Given(um) => Some(Scale::given(*um)?),
        ScaleChoice::Points(ends, mm) => {
            Scale::check_places(*ends, [photo.width(), photo.height()])?;
            Some(Scale::between_points(*ends, *mm)?)
        }
        ScaleChoice::Disc(_) => None,
    })
}

/// True for relief and glints on the reference disc and for breaks in its shadow, which are no grounds.
fn on_reference(scale: &Scale, shape: &Shape) -> bool {
    let Source::Disc(disc) = scale.from() else { return false };
    let off = (shape.centre[0] - disc.centre[0]).hypot(shape.centre[1] - disc.centre[1]);
    // The shadow of a coin reaches a fifth of its width at most; what is parted there was joined to the coin.
    off < 0.5 * disc.diameter_px || off < 0.7 * disc.diameter_px && shape.flags.contains(Flags::SPLIT)
}

/// Something wider than any grounds.
struct Object {
    /// Number of its part.
    part: usize,
    hull: Spans,
    centre: [f64; 2],
    /// How far from its centre something was a part of it, px: a coin of which a piece is missing is still nearly as wide as
    /// before, something long and narrow is not to take grounds beside it.
    reach_px: f64,
}

impl Object {
    fn of(part: usize, shape: &Shape, scale: &Scale, [width, height]: [usize; 2]) -> Option<Self> {
        (shape.at_scale(scale).ecd_um > LARGEST_UM).then(|| Object {
            part,
            hull: Spans::of_polygon(&convex_hull(&shape.outline), width, height),
            centre: shape.centre,
            reach_px: 0.55 * shape.feret[0].min(1.3 * shape.feret[1]),
        })
    }

    /// True for its relief and glints, and for what was parted from its edge.
    fn holds(&self, shape: &Shape) -> bool {
        let [x, y] = shape.centre;
        let off = (x - self.centre[0]).hypot(y - self.centre[1]);
        self.hull.contains(x as usize, y as usize) || off < self.reach_px && shape.flags.contains(Flags::SPLIT)
    }
}

/// What the tool makes of objects of a known diameter in `photos`.
///
/// # Errors
/// Too few of them, or objects that differ too much for beads.
pub fn check_size(photos: &[MeasuredPhoto], known: KnownSize, settings: &Settings) -> Result<KnownCheck, KnownError> {
    let particles: Vec<Particle> = photos.iter().flat_map(|p| p.particles.iter().copied()).collect();
    let coarsest = photos.iter().map(|p| p.scale.typical()).fold(0.0, f64::max);
    check_known(&particles, known, scale_uncertainty(photos), coarsest, settings.level)
}

/// Relative standard uncertainty of the scale of several photos: the largest, as its main parts are common to all.
pub fn scale_uncertainty(photos: &[MeasuredPhoto]) -> f64 {
    photos.iter().map(|p| p.scale.relative_uncertainty()).fold(0.0, f64::max)
}

/// The particles of the photos of one sample.
///
/// # Errors
/// A photo of the sheet's printed discs.
pub fn particles_of(photos: &[MeasuredPhoto]) -> Result<Vec<PhotoParticles>, MeasureError> {
    let has_discs = |p: &&MeasuredPhoto| p.scale.sheet().is_some_and(|s| s.frame == DISC_FRAME);
    if let Some(photo) = photos.iter().find(has_discs) {
        return Err(MeasureError::PrintedDiscs(photo.path.display().to_string()));
    }
    let particles = |p: &MeasuredPhoto| PhotoParticles {
        name: p.path.display().to_string(),
        particles: p.particles.clone(),
        smallest_ecd_um: p.smallest_ecd_um,
    };
    Ok(photos.iter().map(particles).collect())
}

/// Joins the photos of one sample.
///
/// # Errors
/// No whole particle in any photo, or a photo of the sheet's printed discs.
pub fn join(photos: Vec<MeasuredPhoto>, settings: &Settings) -> Result<Measurement, MeasureError> {
    let sample = Sample::new(particles_of(&photos)?)?;
    let sizes = Sizes::of(&sample);
    let uncertainty = scale_uncertainty(&photos);
    let how =
        IntervalSettings { level: settings.level, draws: DRAWS, seed: settings.seed, scale_uncertainty: uncertainty };
    let smallest_ecd_um = sample.smallest_ecd_um();
    let fines_at_least = smallest_ecd_um > settings.fines_um;
    let floors = photos.iter().map(|p| p.recall.size_px(LEAST_RECALL) * p.scale.typical());
    let floor = floors.fold(0.0, f64::max);
    let by_mass = mass_figures(&sizes, floor, settings.fines_um, &how);
    let as_sieved = settings.sieve_shape.map(|shape| {
        let how = IntervalSettings { scale_uncertainty: uncertainty.hypot(shape.shift_uncertainty), ..how };
        (shape, intervals(&shape.sizes(&sample), Basis::Mass, settings.fines_um, &how))
    });
    Ok(Measurement {
        as_sieved,
        by_mass,
        by_number: Figures::of(&sizes, Basis::Number, settings.fines_um),
        curve: Curve::of(&sizes, Basis::Mass, 20),
        cumulative: Curve::of(&sizes, Basis::Mass, 200),
        shares_above: settings
            .shares_above_um
            .iter()
            .map(|&um| (um, share_above(&sizes, um, floor, settings.fines_um, &how)))
            .collect(),
        fines_um: settings.fines_um,
        fines_at_least,
        smallest_ecd_um,
        level: settings.level,
        photos,
        sizes,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn disc([x, y]: [f64; 2], radius: f64, flags: Flags) -> Shape {
        let outline: Vec<[f64; 2]> = (0..60)
            .map(|i| f64::from(i) * std::f64::consts::TAU / 60.0)
            .map(|angle| [x + radius * angle.cos(), y + radius * angle.sin()])
            .collect();
        let area = std::f64::consts::PI * radius * radius;
        let (feret, perimeter) = ([2.0 * radius; 2], std::f64::consts::TAU * radius);
        Shape { centre: [x, y], area, feret, perimeter, hull_area: area, outline, core: 0.8, flags }
    }

    #[test]
    fn what_lies_on_a_coin_and_what_was_parted_from_its_rim_is_no_grain() {
        let scale = Scale::given(20.0).unwrap();
        let mut parted = Flags::default();
        parted.insert(Flags::SPLIT);
        // 12 mm across, with a piece missing on its left.
        let mut coin = disc([400.0, 400.0], 300.0, Flags::default());
        coin.outline.retain(|p| p[0] > 200.0);
        let object = Object::of(7, &coin, &scale, [1000, 900]).unwrap();
        assert_eq!(object.part, 7);
        assert!(object.holds(&disc([300.0, 380.0], 20.0, Flags::default())), "relief");
        assert!(object.holds(&disc([150.0, 400.0], 40.0, parted)), "a piece of the rim");
        assert!(!object.holds(&disc([150.0, 400.0], 40.0, Flags::default())));
        assert!(!object.holds(&disc([710.0, 400.0], 8.0, Flags::default())), "a grain beside it");
        assert!(Object::of(0, &disc([400.0, 400.0], 200.0, parted), &scale, [1000, 900]).is_none(), "8 mm");
    }
}
