//! The light that leaves the scene, in strips of rows, before any lens. Linear.

use super::backdrop::{Ground, Illumination, Metal, Rgb, rgb, thumb_at};
use super::layout::Particle;
use super::look::Look;
use super::noise::{Job, lerp, mix};
use super::outline::Point;
use super::plate::Plate;
use super::print::{Printed, printed};
use super::raster::{Patch, cover, cover_within};
use super::shade::{Fall, particle_shadow};
use super::spec::SceneSpec;
use super::stage::Stage;
use std::ops::Range;

/// Metal or plastic on paper: the shadow is thin but always there.
const PLATE_SHADOW: f32 = 0.25;
/// Brightness of a plate's wall beside that of its top.
const WALL: f32 = 0.6;
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
    /// As the camera sees them.
    pub particles: Vec<Particle>,
    print: Vec<Printed>,
}

impl Scene {
    pub(super) fn new(spec: SceneSpec, stage: Stage, particles: Vec<Particle>) -> Self {
        let print = printed(&spec, &stage.projection);
        Self { spec, stage, particles, print }
    }
}

pub(super) fn radiance(scene: &Scene, rows: Range<usize>) -> Strip {
    let Scene { spec, stage, particles, print } = scene;
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

    for ink in print.iter().filter(|i| i.rows[1] > rows.start as f64 && i.rows[0] < rows.end as f64) {
        strip.fill(&ink.outline, |x, y| ink.colour.unwrap_or_else(|| ground.at(x, y)));
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
    if let (Some(disc), Some(metal)) = (&stage.disc, Metal::new(spec, stage)) {
        strip.shade_about(disc, spec, stage);
        if stage.projection.is_flat() {
            strip.each_in(box_about(disc.centre[0], disc.centre[1], disc.corner + 1.0), |x, y| {
                let (share, colour) = metal.at(x, y);
                Mix::Over(share, colour)
            });
        } else {
            strip.put(disc, metal.colour(), stage, |x, y| metal.at(x, y).1);
        }
    }
    if let (Some(plate), Some(card)) = (&stage.card, &spec.card) {
        let colour = rgb(&card.reflectance);
        strip.shade_about(plate, spec, stage);
        strip.put(plate, colour, stage, |_, _| colour);
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

    /// Contact shadow of a plate.
    fn shade_about(&mut self, plate: &Plate, spec: &SceneSpec, stage: &Stage) {
        let projection = &stage.projection;
        let strength = spec.shadow.strength.max(0.1) as f32 + PLATE_SHADOW;
        let fall = Fall::new(&spec.shadow, strength, plate.reach as f32);
        self.each_in(plate.shadow_box(projection), |x, y| {
            let [u, v] = projection.px_to_flat([f64::from(x), f64::from(y)], 0.0);
            let (distance, nx, ny) = plate.way_out(u as f32, v as f32);
            let [nx, ny] = projection.turned([f64::from(nx), f64::from(ny)]);
            Mix::Shade(fall.deficit(distance, nx as f32, ny as f32))
        });
    }

    /// The plate itself: what is seen of its wall, then its top.
    fn put(&mut self, plate: &Plate, wall: Rgb, stage: &Stage, top: impl Fn(f32, f32) -> Rgb) {
        if let Some(body) = plate.body(&stage.projection) {
            self.fill(&body, |_, _| wall.map(|v| WALL * v));
        }
        self.fill(&plate.top(&stage.projection), top);
    }

    /// Lays a polygon over what of it the strip holds.
    fn fill(&mut self, outline: &[Point], colour: impl Fn(f32, f32) -> Rgb) {
        if let Some(patch) = cover_within(outline, 0..self.width, self.first..self.first + self.rows) {
            self.lay(&patch, colour);
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
