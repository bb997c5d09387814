//! Contact shadows on the paper.

use super::layout::Particle;
use super::outline::Point;
use super::paint::{Mix, Strip, box_about};
use super::raster::Patch;
use super::spec::Shadow;

/// A chaff flake is thin and lies flat.
const CHAFF_SHADOW: f32 = 0.3;

/// How a contact shadow fades with distance, for each side of its thrower.
pub(super) struct Fall {
    strength: f32,
    length: f32,
    softness: f32,
    dir: [f32; 2],
    power: f32,
}

impl Fall {
    pub(super) fn new(shadow: &Shadow, strength: f32, length: f32) -> Self {
        let (sin, cos) = shadow.direction_deg.to_radians().sin_cos();
        let softness = shadow.softness as f32;
        Self {
            strength: strength.min(0.6),
            length,
            softness,
            dir: [cos as f32, sin as f32],
            power: 0.5 + 1.5 * softness,
        }
    }

    /// Share of the light taken at a distance from the outline; (nx, ny) points away from it. A
    /// silhouette swept along the shadow's direction moves out by the cosine to its normal.
    pub(super) fn deficit(&self, distance: f32, nx: f32, ny: f32) -> f32 {
        let lee = (nx * self.dir[0] + ny * self.dir[1]).max(0.0);
        let side = self.softness + (1.0 - self.softness) * lee;
        let left = 1.0 - distance / (self.length * side).max(1e-6);
        if left <= 0.0 { 0.0 } else { self.strength * side * left.powf(self.power) }
    }
}

/// Rays towards the lamp; a soft lamp is wide and its rays fan out.
const RAYS: usize = 5;

/// Shadow of one particle: cast by a lamp, with a ring from the light all round.
struct Cast {
    strength: f32,
    length: f32,
    softness: f32,
    power: f32,
    /// Sides of the outline: start, way to the end, one over the square of the length.
    sides: Vec<[f32; 5]>,
    rays: Vec<Ray>,
}

/// Direction the light goes, and the sides' ends (along, across, along, across) seen from it.
struct Ray {
    dir: [f32; 2],
    sides: Vec<[f32; 4]>,
    /// What the outline spans across, and where it begins along.
    across: [f32; 2],
    begins: f32,
}

impl Cast {
    fn new(shadow: &Shadow, p: &Particle) -> Self {
        let thin = if p.chaff { CHAFF_SHADOW } else { 1.0 };
        let softness = shadow.softness as f32;
        let ends = || p.outline.iter().zip(p.outline.iter().cycle().skip(1));
        let sides = ends()
            .map(|(a, b)| {
                let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
                let inverse = 1.0 / (dx * dx + dy * dy).max(1e-12);
                [a[0] as f32, a[1] as f32, dx as f32, dy as f32, inverse as f32]
            })
            .collect();
        let rays = (0..RAYS)
            .map(|i| {
                let turn = 35.0 * shadow.softness * (2.0 * i as f64 / (RAYS - 1) as f64 - 1.0);
                let (sin, cos) = (shadow.direction_deg + turn).to_radians().sin_cos();
                let seen = |p: &Point| [(p[0] * cos + p[1] * sin) as f32, (p[1] * cos - p[0] * sin) as f32];
                let join = |([a, b], [c, d]): ([f32; 2], [f32; 2])| [a, b, c, d];
                let sides: Vec<_> = ends().map(|(a, b)| join((seen(a), seen(b)))).collect();
                let least = |k: usize| sides.iter().map(|s| s[k]).fold(f32::INFINITY, f32::min);
                let most = sides.iter().map(|s| s[1]).fold(f32::NEG_INFINITY, f32::max);
                let (across, begins) = ([least(1), most], least(0));
                Ray { dir: [cos as f32, sin as f32], sides, across, begins }
            })
            .collect();
        Self {
            strength: shadow.strength as f32 * thin,
            length: (shadow.reach * p.ecd) as f32 * thin,
            softness,
            power: 0.5 + 1.5 * softness,
            sides,
            rays,
        }
    }

    /// From the nearest point of the outline to (x, y).
    fn way_from_outline(&self, x: f32, y: f32) -> (f32, f32) {
        let mut best = (f32::INFINITY, 0.0, 0.0);
        for &[ax, ay, dx, dy, inverse] in &self.sides {
            let (px, py) = (x - ax, y - ay);
            let t = ((px * dx + py * dy) * inverse).clamp(0.0, 1.0);
            let (nx, ny) = (px - t * dx, py - t * dy);
            let squared = nx * nx + ny * ny;
            if squared < best.0 {
                best = (squared, nx, ny);
            }
        }
        (best.1, best.2)
    }

    fn fade(&self, share: f32) -> f32 {
        if share >= 1.0 { 0.0 } else { (1.0 - share).powf(self.power) }
    }

    /// Share of the light taken from paper at (x, y), so far from the outline.
    fn deficit(&self, x: f32, y: f32, distance: f32) -> f32 {
        let ring = self.softness * self.fade(distance / (self.length * self.softness).max(1e-6));
        let cast: f32 = self
            .rays
            .iter()
            .filter_map(|ray| ray.back_to_outline(x, y, self.length))
            .map(|way| self.fade(way / self.length))
            .sum();
        self.strength * ring.max(cast / self.rays.len() as f32)
    }
}

impl Ray {
    /// The way back along the ray to the outline, if it is within reach.
    fn back_to_outline(&self, x: f32, y: f32, reach: f32) -> Option<f32> {
        let along = x * self.dir[0] + y * self.dir[1];
        let across = y * self.dir[0] - x * self.dir[1];
        if across < self.across[0] || across > self.across[1] || along < self.begins {
            return None;
        }
        let mut best = reach;
        for &[a0, c0, a1, c1] in &self.sides {
            if (c0 <= across) != (c1 <= across) {
                let way = along - (a0 + (a1 - a0) * (across - c0) / (c1 - c0));
                if way >= 0.0 && way < best {
                    best = way;
                }
            }
        }
        (best < reach).then_some(best)
    }
}

pub(super) fn particle_shadow(strip: &mut Strip, shadow: &Shadow, p: &Particle, patch: &Patch, reach: f64) {
    let cast = Cast::new(shadow, p);
    let (cx, cy) = (p.x as f32, p.y as f32);
    let far = p.radius as f32 + cast.length;
    strip.each_in(box_about(p.x, p.y, p.radius + reach), |x, y| {
        let share = patch.at(x, y);
        let (x, y) = (x - cx, y - cy);
        if share >= 1.0 || x * x + y * y > far * far {
            return Mix::Shade(0.0);
        }
        if share == 0.0 && x.hypot(y) - p.radius as f32 > cast.length * cast.softness {
            // Beyond the ring only the cast shadow can be, and it asks for no distance.
            return Mix::Shade(cast.deficit(x, y, cast.length));
        }
        let (nx, ny) = cast.way_from_outline(x, y);
        let distance = nx.hypot(ny);
        if share > 0.5 && distance > 1e-3 {
            // The middle of the pixel is under the particle: what is seen of the paper lies just
            // beyond the outline.
            let out = 1.0 + 0.25 / distance;
            return Mix::Shade(cast.deficit(x - nx * out, y - ny * out, 0.25));
        }
        Mix::Shade(cast.deficit(x, y, distance))
    });
}
