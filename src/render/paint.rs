//! The light that leaves the scene, in strips of rows, before any lens. Linear.

use super::backdrop::{Ground, Illumination, Metal, Rgb, thumb_at};
use super::layout::Particle;
use super::look::Look;
use super::noise::{Job, lerp, mix};
use super::outline::Point;
use super::raster::{Patch, cover};
use super::shade::{Fall, particle_shadow};
use super::spec::SceneSpec;
use super::stage::Stage;
use std::ops::Range;

/// Metal on paper: the shadow is thin but always there.
const DISC_SHADOW: f32 = 0.25;
const THUMB_SHADOW: f32 = 0.5;

/// Rows `first..first + rows` of a picture, three planes.
pub(super) struct Strip {
    pub width: usize,
    pub first: usize,
    pub rows: usize,
    pub planes: [Vec<f32>; 3],
}

pub(super) struct Scene {
    pub spec: SceneSpec,
    pub stage: Stage,
    pub particles: Vec<Particle>,
}

pub(super) fn radiance(scene: &Scene, rows: Range<usize>) -> Strip {
    let Scene { spec, stage, particles } = scene;
    let width = spec.width_px as usize;
    let pixels = width * rows.len();
    let ground = Ground::new(spec, stage);
    let mut strip = Strip {
        width,
        first: rows.start,
        rows: rows.len(),
        planes: std::array::from_fn(|_| Vec::with_capacity(pixels)),
    };
    for y in rows.clone() {
        for x in 0..width {
            let colour = ground.at(x as f32 + 0.5, y as f32 + 0.5);
            strip.planes.iter_mut().zip(colour).for_each(|(plane, v)| plane.push(v));
        }
    }

    // All shadows fall before anything is laid over the paper.
    let reach = |p: &Particle| (spec.shadow.reach * p.ecd).ceil() + 1.0;
    let seen: Vec<(&Particle, Patch)> = particles
        .iter()
        .filter(|p| {
            let r = p.radius + reach(p);
            p.y + r > rows.start as f64 && p.y - r < rows.end as f64
        })
        .map(|p| {
            let (low, high) = p.bounds();
            (p, cover(&p.outline, p.x, p.y, low, high))
        })
        .collect();
    if spec.shadow.strength > 0.0 && spec.shadow.reach > 0.0 {
        for (p, patch) in &seen {
            particle_shadow(&mut strip, &spec.shadow, p, patch, reach(p));
        }
    }
    let metal = Metal::new(spec, stage);
    if let Some(metal) = &metal {
        let disc = metal.disc();
        let centre = [disc.x as f32, disc.y as f32];
        let length = disc.shadow_reach() as f32;
        let fall = Fall::new(&spec.shadow, spec.shadow.strength.max(0.1) as f32 + DISC_SHADOW, length);
        strip.each_in(box_about(disc.x, disc.y, disc.radius + disc.shadow_reach()), |x, y| {
            let (dx, dy) = (x - centre[0], y - centre[1]);
            let r = dx.hypot(dy).max(1e-3);
            Mix::Shade(fall.deficit((r - disc.radius as f32).max(0.0), dx / r, dy / r))
        });
        strip.each_in(box_about(disc.x, disc.y, disc.radius + 1.0), |x, y| {
            let (share, colour) = metal.at(x, y);
            Mix::Over(share, colour)
        });
    }
    for (p, patch) in &seen {
        let look = Look::new(spec, p);
        strip.lay(patch, |x, y| look.at(x, y));
    }
    if let Some(thumb) = &stage.thumb {
        let seed = mix(spec.seed, Job::Skin, 0) as u32;
        let r = 1.5 * thumb.radius;
        // The thumb widens towards the bottom edge by its tilt only.
        let low = [thumb.tip[0] - r, thumb.tip[1] - r];
        let high = [thumb.tip[0] + r + stage.height - thumb.tip[1], stage.height];
        let radius = thumb.radius as f32;
        let fall = Fall::new(&spec.shadow, THUMB_SHADOW, 0.4 * radius);
        strip.each_in((low, high), |x, y| {
            let (dx, dy) = thumb.way_from_axis(f64::from(x), f64::from(y));
            let (dx, dy) = (dx as f32, dy as f32);
            let distance = dx.hypot(dy).max(1e-3);
            let off = (distance - radius).max(0.0);
            Mix::Shade(fall.deficit(off, dx / distance, dy / distance))
        });
        strip.each_in((low, high), |x, y| {
            let (share, colour) = thumb_at(thumb, stage, seed, x, y);
            Mix::Over(share, colour)
        });
    }

    let light = Illumination::new(spec);
    for plane in &mut strip.planes {
        for (row, y) in plane.chunks_exact_mut(width).zip(rows.clone()) {
            for (x, v) in row.iter_mut().enumerate() {
                *v *= light.at(x as f32 + 0.5, y as f32 + 0.5);
            }
        }
    }
    strip
}

pub(super) fn box_about(x: f64, y: f64, r: f64) -> (Point, Point) {
    ([x - r, y - r], [x + r, y + r])
}

/// What happens to a pixel.
pub(super) enum Mix {
    /// Loses this share of its light.
    Shade(f32),
    /// Is covered to this share by a colour.
    Over(f32, Rgb),
}

impl Strip {
    fn apply(&mut self, at: usize, mix: Mix) {
        match mix {
            Mix::Shade(0.0) | Mix::Over(0.0, _) => {}
            Mix::Shade(deficit) => self.planes.iter_mut().for_each(|p| p[at] *= 1.0 - deficit),
            Mix::Over(share, colour) => {
                for (plane, v) in self.planes.iter_mut().zip(colour) {
                    plane[at] = lerp(plane[at], v, share);
                }
            }
        }
    }

    /// Columns and rows of the strip within a box.
    fn clip(&self, (low, high): (Point, Point)) -> (Range<usize>, Range<usize>) {
        let range = |low: f64, high: f64, from: usize, to: usize| {
            let from = (low.floor().max(from as f64)) as usize;
            from..(high.ceil().max(0.0) as usize).min(to).max(from)
        };
        (range(low[0], high[0], 0, self.width), range(low[1], high[1], self.first, self.first + self.rows))
    }

    pub(super) fn each_in(&mut self, within: (Point, Point), f: impl Fn(f32, f32) -> Mix) {
        let (columns, rows) = self.clip(within);
        for y in rows {
            for x in columns.clone() {
                let mix = f(x as f32 + 0.5, y as f32 + 0.5);
                self.apply((y - self.first) * self.width + x, mix);
            }
        }
    }

    fn lay(&mut self, patch: &Patch, colour: impl Fn(f32, f32) -> Rgb) {
        let low = [patch.left as f64, patch.top as f64];
        let high = [low[0] + patch.width as f64, low[1] + patch.height as f64];
        self.each_in((low, high), |x, y| {
            let share = patch.at(x, y);
            if share > 0.0 { Mix::Over(share, colour(x, y)) } else { Mix::Shade(0.0) }
        });
    }
}
