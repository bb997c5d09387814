//! Contact shadow, learnt on the larger particles of the photo.

use super::edge::{Ring, STEP_PX, sector};
use crate::numeric::{along, median};

/// Steps of a shadow's profile, shares of the particle's diameter.
pub(super) const STEP: f64 = 0.025;
/// Number of them, the outline included: shadows that reach further than a particle is wide are cut there.
pub(super) const STEPS: usize = 41;

/// Deficit of the paper beside a particle by the way from the outline, in steps of [`STEP`].
pub(super) type Fall = [f64; STEPS];

/// How shade falls off beside the particles that it was read at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Falls {
    /// Along the way of the light.
    pub lee: Fall,
    /// Outwards, where the particle faces the light: shade that lies all round it.
    pub ring: Fall,
}

impl Falls {
    /// The `profile` across an edge (as of [`super::edge::mean_profile`]) of a particle of `diameter` px and the deficit `core`,
    /// had it no shade all round.
    pub fn taken_off(&self, profile: &mut [f64], diameter: f64, core: f64) {
        let middle = profile.len() / 2;
        for (i, v) in profile.iter_mut().enumerate() {
            let ring = at(&self.ring, (i as f64 - middle as f64) * STEP_PX / diameter);
            // Shade makes the step at the edge smaller.
            *v = (*v - ring) / (1.0 - ring / core);
        }
    }

    /// Length of a shadow as dark all along as at the outline that takes as much light, share of the diameter.
    fn width(&self) -> f64 {
        let [dark, all] =
            [self.lee[0].max(self.ring[0]), self.lee.iter().zip(&self.ring).map(|(l, r)| l.max(*r)).sum()];
        if dark > 0.0 { STEP * all / dark } else { 0.0 }
    }
}

impl Default for Falls {
    fn default() -> Self {
        Falls { lee: [0.0; STEPS], ring: [0.0; STEPS] }
    }
}

/// Shadow that particles throw on the paper: the silhouette swept in one direction, and what lies all round.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Shade {
    /// Deficit of the paper beside a particle where the shadow is darkest, dimensionless.
    pub strength: f64,
    /// Unit vector from the light.
    pub direction: [f64; 2],
    /// Length of the shadow of the smallest particles, px, were it as dark all along as at the outline.
    pub floor_px: f64,
    /// The same of a large particle, share of its diameter.
    pub share: f64,
    /// 0 … 1 from soft to hard: how near the shadow comes to the particle in darkness.
    pub hardness: f64,
    /// Length of the convex outline of particles over that of discs of their area: shade is longer by so much.
    pub(super) breadth: f64,
    pub(super) falls: Falls,
}

/// Strengths of shade, share of the core, from which on it is hard, and as hard as can be.
const HARD: [f64; 2] = [0.38, 0.5];

/// Darkest shadow that is learnt, share of the core: beyond it the first outline would take the shadow in.
pub(super) const DARKEST: f64 = 0.62;

/// Strength below which shade is none, share of the core: texture and noise look like it.
const FAINT: f64 = 0.01;

/// Longest shadow of the smallest particles that is learnt, in blur widths: longer ones are cut by the skirt over which
/// deficits are summed.
const LONGEST: f64 = 3.0;

/// The shadow of one disc.
pub(super) struct Thrown<'a> {
    shade: &'a Shade,
    radius: f64,
    /// Length over which the profile is spread, px.
    length: f64,
    /// Way along the light before the shadow begins to fade, px.
    plateau: f64,
    /// Square of the distance from the middle beyond which there is no shade, px².
    farthest: f64,
}

impl Thrown<'_> {
    /// Deficit of the paper `[x, y]` px from the middle of the disc, outside of it.
    pub fn at(&self, [x, y]: [f64; 2]) -> f64 {
        let square = x * x + y * y;
        if square > self.farthest {
            return 0.0;
        }
        let Shade { falls, direction, .. } = self.shade;
        let ring = at(&falls.ring, (square.sqrt() - self.radius) / self.length);
        let along = x * direction[0] + y * direction[1];
        let across = y * direction[0] - x * direction[1];
        let half = self.radius * self.radius - across * across;
        if half <= 0.0 || along <= 0.0 {
            return ring;
        }
        ring.max(at(&falls.lee, (along - half.sqrt() - self.plateau) / self.length))
    }

    /// How far from the disc it can be seen, px.
    pub fn reach_px(&self) -> f64 {
        let Shade { falls, strength, .. } = self.shade;
        let last = (0..STEPS).rev().find(|&i| falls.lee[i].max(falls.ring[i]) > 0.1 * strength);
        last.map_or(0.0, |i| (i + 1) as f64 * STEP * self.length + self.plateau)
    }
}

impl Shade {
    /// The shadow of a disc of `radius` px.
    pub(super) fn thrown(&self, radius: f64) -> Thrown<'_> {
        let faded = self.share * 2.0 * radius;
        // The shadows of small particles are longer for their size than those of large ones; what they are longer by is as
        // dark as at the outline.
        let plateau = self.floor_px.hypot(faded) - faded;
        let length = (faded / self.falls.width().max(STEP)).max(1e-6);
        let last = (0..STEPS).rev().find(|&i| self.falls.lee[i] > 0.0 || self.falls.ring[i] > 0.0);
        let most = last.map_or(0.0, |i| (i + 1) as f64 * STEP * length + plateau);
        Thrown { shade: self, radius, length, plateau, farthest: (radius + most).powi(2) }
    }

    /// Strength and direction of the shade `around` the larger particles; no profile yet.
    pub(super) fn direction_of(around: &Ring, core: f64) -> Shade {
        let (mut x, mut y) = (0.0, 0.0);
        for (k, level) in around.iter().enumerate() {
            let (sin, cos) = (k as f64 * std::f64::consts::FRAC_PI_4).sin_cos();
            x += level.unwrap_or(0.0) * cos;
            y += level.unwrap_or(0.0) * sin;
        }
        let first = x.hypot(y);
        if first == 0.0 {
            return Shade::default();
        }
        let mut shade = Shade { direction: [x / first, y / first], breadth: 1.0, ..Shade::default() };
        shade.strength = shade.lee(around).clamp(0.0, DARKEST * core);
        shade.hardness = along(HARD, shade.strength / core);
        shade
    }

    /// The same with the profile `falls`.
    pub(super) fn with(self, mut falls: Falls, core: f64) -> Shade {
        falls.lee.iter_mut().chain(&mut falls.ring).for_each(|v| *v = v.clamp(0.0, DARKEST * core));
        let strength = falls.lee[0].max(falls.ring[0]);
        if strength < FAINT * core {
            return Shade { strength: 0.0, hardness: 0.0, ..self };
        }
        Shade { strength, hardness: along(HARD, strength / core), share: falls.width(), falls, ..self }
    }

    /// Shade of a ring on the side away from the light: the darkest of the sector and its two neighbours, since the
    /// direction may lie between two sectors.
    fn lee(&self, ring: &Ring) -> f64 {
        let lee = sector(self.direction);
        [lee + 7, lee, lee + 1].into_iter().filter_map(|k| ring[k % 8]).fold(0.0, f64::max)
    }

    /// Fits the length of the smallest particles' shadows to the deficit that mid-sized ones show beyond their own area; that
    /// of large ones is known from their profile.
    ///
    /// `sizes` holds (diameter, px; that deficit as seen, px²; the same of a synthetic disc with the present length).
    pub(super) fn fit_length(&mut self, sizes: &[[f64; 3]], sigma: f64) {
        // Squares are linear: length² = floor² + share²·d².
        let (mut weights, mut sum) = (0.0, 0.0);
        for class in classes(sizes) {
            let middle =
                |f: &dyn Fn(&[f64; 3]) -> f64| median(&mut class.iter().map(f).collect::<Vec<_>>()).unwrap_or(0.0);
            let d = middle(&|s| s[0]);
            let seen = middle(&|s| s[1] / s[0]).max(0.0);
            let made = middle(&|s| s[2] / s[0]);
            let length = self.floor_px.hypot(self.share * d) * (seen / made.max(1e-9)).clamp(0.3, 3.0);
            // Relative scatter is alike in all classes, so the squares of large lengths weigh less.
            let weight = class.len() as f64 / (1.0 + d * d).powi(2);
            weights += weight;
            sum += weight * (length * length - (self.share * d).powi(2));
        }
        if weights > 0.0 {
            self.floor_px = (sum / weights).clamp(0.0, (LONGEST * sigma).powi(2)).sqrt();
        }
    }
}

/// The profile at `way`, a share of its length.
fn at(fall: &Fall, way: f64) -> f64 {
    let way = way.max(0.0) / STEP;
    let i = way as usize;
    if i + 1 >= STEPS { 0.0 } else { fall[i] + (way - i as f64) * (fall[i + 1] - fall[i]) }
}

/// Groups of like diameter, each of at least eight.
fn classes(sizes: &[[f64; 3]]) -> Vec<Vec<[f64; 3]>> {
    let mut sorted = sizes.to_vec();
    sorted.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let groups = (sorted.len() / 8).clamp(1, 6);
    sorted.chunks(sorted.len().div_ceil(groups).max(1)).map(<[_]>::to_vec).collect()
}
