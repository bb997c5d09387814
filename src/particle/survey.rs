//! What all particles of a photo read as, and what they tell of the camera and the light.

use rayon::prelude::*;

use super::edge::Ring;
use super::examine::{Examiner, Levels};
use super::fall::{self, Seen};
use super::look::{LARGE, Look};
use super::shade::{Falls, Shade};
use super::shape::{Raw, Reader};
use super::territory::Occupied;
use crate::backdrop::Scene;
use crate::numeric::{convex_hull, median, perimeter, shoelace};
use crate::photo::Photo;
use crate::segment::Regions;

/// Largest number of particles that the look of the photo is read at, and half as many for its shade; the median hardly
/// moves beyond.
const LOOKED_AT: usize = 48;

/// Shade all round below which the look is read as if there were none, share of the core: led on to the outline from beyond
/// the halo, less is not sure.
const FAINT_RING: f64 = 0.03;

/// Radii, in blur widths, of particles that are narrow: wide enough for an edge of its own, which shade in proportion to the
/// particle hardly reaches beyond.
const NARROW: [f64; 2] = [4.0, 7.0];

/// What all particles of a photo read as, and what the larger ones tell of the photo.
pub(super) struct Survey {
    pub raw: Vec<Option<Raw>>,
    pub levels: Levels,
    pub look: Look,
    /// Strength and direction of the shadow; no length yet.
    pub shade: Shade,
}

impl Survey {
    pub fn new(photo: &Photo, scene: &Scene, regions: &Regions, occupied: &Occupied, levels: Levels) -> Self {
        let sigma = scene.blur_px;
        let reader = || Reader::new(photo, scene, occupied, levels);
        let raw: Vec<Option<Raw>> = regions
            .parts
            .par_iter()
            .map_init(reader, |reader, part| part.rejected.is_none().then(|| reader.read(part)).flatten())
            .collect();
        let large = largest(&raw, sigma);
        let around = middle_ring(&large);
        let mut shade = Shade::direction_of(&around, scene.core);
        let direction = shade.direction;
        // Edges that face the light carry no shade.
        let towards = (direction != [0.0; 2]).then(|| direction.map(|d| -d));
        let seen: Vec<Seen> = large
            .par_iter()
            .take(LOOKED_AT / 2)
            .map_init(reader, |reader, (i, raw)| reader.beside(&regions.parts[*i], raw, direction))
            .flatten()
            .collect();
        let far = fall::middle(&seen, scene.core, sigma, None).filter(|f| f.ring[0] > FAINT_RING * scene.core);
        let breadth = breadth(&large);
        let (large, softness) = alike(large, scene);
        let edges = |of: &[(usize, &Raw)], falls: Option<&Falls>| {
            let profiles: Vec<Vec<f64>> = of
                .par_iter()
                .take(LOOKED_AT)
                .map_init(reader, |reader, (i, raw)| {
                    let mut profile = reader.profile(&regions.parts[*i], raw, towards)?;
                    // What lies all round is shade, and no part of how the camera draws an edge.
                    if let (Some(falls), Some(radius)) = (falls, raw.reading.edge_radius) {
                        falls.taken_off(&mut profile, 2.0 * radius, raw.reading.core);
                    }
                    Some(profile)
                })
                .flatten()
                .collect();
            middle_profile(&profiles)
        };
        let mut examiner = Examiner::new(sigma, levels);
        let profile = edges(&large, far.as_ref());
        let (mut look, mut edge) = Look::learn(profile.as_deref(), LARGE, scene.core, scene.level, &mut examiner);
        // Shade that lies all round hides the halo of sharpening: less of it beside narrow particles, where it ends within the
        // blurred edge.
        let narrow = narrow(&raw, scene, softness);
        let radius = median(&mut narrow.iter().filter_map(|(_, r)| r.reading.edge_radius).collect::<Vec<_>>());
        if let (Some(profile), Some(radius)) = (edges(&narrow, None), radius.map(|r| r / sigma))
            && look.is_duller(&profile, radius, scene.core, &mut examiner)
        {
            (look, edge) = Look::learn(Some(&profile), radius, scene.core, scene.level, &mut examiner);
        }
        look.blur_px /= softness;
        if let Some(falls) = fall::middle(&seen, scene.core, sigma, Some(&edge)) {
            shade = shade.with(falls, scene.core);
        }
        shade.breadth = breadth;
        Survey { raw, levels, look, shade }
    }
}

/// Particles that lie alone, with their places in `raw`.
fn lone(raw: &[Option<Raw>]) -> impl Iterator<Item = (usize, &Raw)> {
    raw.iter().enumerate().filter_map(|(i, r)| r.as_ref().filter(|r| !r.crowded).map(|r| (i, r)))
}

/// The largest third of the particles that lie alone and are wide against the blur, with their places in `raw`: there the
/// shadow reaches well beyond the blur, and core and paper are seen unmixed. Narrower ones where those are too few.
fn largest(raw: &[Option<Raw>], sigma: f64) -> Vec<(usize, &Raw)> {
    let mut large: Vec<(f64, usize, &Raw)> =
        lone(raw).filter_map(|(i, r)| Some((r.reading.edge_radius?, i, r))).collect();
    large.sort_by(|a, b| b.0.total_cmp(&a.0));
    let wider = |widths: f64| large.iter().filter(|(radius, ..)| *radius > widths * sigma).count();
    let wide = [6.0, 4.0].into_iter().map(wider).find(|&n| n >= 5).unwrap_or(0);
    large.truncate((wide / 3).max(8).min(wide));
    large.into_iter().map(|(_, i, r)| (i, r)).collect()
}

/// Particles that lie alone, are [`NARROW`], and lie where the photo is about `softness` times as blurred, with their places
/// in `raw`; none of fewer than eight.
fn narrow<'r>(raw: &'r [Option<Raw>], scene: &Scene, softness: f64) -> Vec<(usize, &'r Raw)> {
    let [least, most] = NARROW.map(|widths| widths * softness * scene.blur_px);
    let is_narrow = |r: &Raw| r.reading.edge_radius.is_some_and(|r| (least..most).contains(&r));
    let narrow: Vec<_> = lone(raw).filter(|(_, r)| is_narrow(r) && is_like(r, scene, softness)).collect();
    if narrow.len() < 8 { Vec::new() } else { narrow }
}

/// Of the particles `large` those where the photo is about as soft as at most of them, and that softness: edges of several
/// blurs would look like none.
fn alike<'r>(large: Vec<(usize, &'r Raw)>, scene: &Scene) -> (Vec<(usize, &'r Raw)>, f64) {
    let of = |raw: &Raw| scene.softness.at(raw.reading.centroid);
    let usual = median(&mut large.iter().map(|(_, raw)| of(raw)).collect::<Vec<_>>()).unwrap_or(1.0);
    let near: Vec<_> = large.iter().copied().filter(|(_, raw)| is_like(raw, scene, usual)).collect();
    (if near.len() < 8 { large } else { near }, usual)
}

/// True where the photo is about `softness` times as blurred as in the middle of all.
fn is_like(raw: &Raw, scene: &Scene, softness: f64) -> bool {
    (scene.softness.at(raw.reading.centroid) / softness - 1.0).abs() < 0.1
}

/// Median shade round the particles by direction; nothing with fewer than five, which give a direction to some 10°.
fn middle_ring(large: &[(usize, &Raw)]) -> Ring {
    if large.len() < 5 {
        return Ring::default();
    }
    std::array::from_fn(|k| median(&mut large.iter().filter_map(|(_, r)| r.reading.ring[k]).collect::<Vec<_>>()))
}

/// Median length of the convex outline of the particles over that of discs of their area.
fn breadth(large: &[(usize, &Raw)]) -> f64 {
    let of = |raw: &Raw| {
        let outline = &raw.reading.outline;
        perimeter(&convex_hull(outline)) / (4.0 * std::f64::consts::PI * shoelace(outline).abs()).sqrt()
    };
    median(&mut large.iter().map(|(_, raw)| of(raw)).collect::<Vec<_>>()).unwrap_or(1.0)
}

/// Median of the profiles place by place; `None` with fewer than three.
fn middle_profile(profiles: &[Vec<f64>]) -> Option<Vec<f64>> {
    let length = profiles.first().filter(|_| profiles.len() >= 3)?.len();
    (0..length).map(|k| median(&mut profiles.iter().map(|p| p[k]).collect::<Vec<_>>())).collect()
}
