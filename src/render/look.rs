//! Colour and texture of single particles.

use super::backdrop::{Rgb, rgb};
use super::layout::Particle;
use super::noise::{Job, normal, rng, value};
use super::spec::SceneSpec;
use rand::RngExt;

/// Colour of one particle as a function of place.
pub(super) struct Look {
    colour: Rgb,
    texture: f32,
    grain: f32,
    facet: f32,
    seed: u32,
    centre: [f32; 2],
    /// Brightening for each pixel towards the lamp.
    shade: [f32; 2],
}

impl Look {
    pub(super) fn new(spec: &SceneSpec, p: &Particle) -> Self {
        let coffee = &spec.coffee;
        let mut rng = rng(spec.seed, Job::Look, p.index);
        let (sin, cos) = spec.shadow.direction_deg.to_radians().sin_cos();
        let spread = coffee.spread;
        // A lognormal factor of mean 1.
        let bright = (spread * normal(&mut rng) - 0.5 * spread * spread).exp();
        let warm = 0.3 * spread * normal(&mut rng);
        let deficit = rng.random_range(0.3..0.5);
        let (colour, texture) = if p.chaff {
            let left = 1.0 - deficit;
            (rgb(&coffee.chaff_reflectance).map(|v| v * left as f32), 0.2 * coffee.texture)
        } else {
            let [r, g, b] = coffee.reflectance.map(|v| v * bright);
            (rgb(&[r * (1.0 + warm).max(0.2), g, b * (1.0 - warm).max(0.2)]), coffee.texture)
        };
        let slope = 0.55 * texture / p.radius;
        Self {
            colour,
            texture: texture as f32,
            grain: 1.0 / coffee.grain_px as f32,
            facet: (1.0 / (0.4 * p.ecd).max(coffee.grain_px)) as f32,
            seed: rng.random(),
            centre: [p.x as f32, p.y as f32],
            shade: [(-slope * cos) as f32, (-slope * sin) as f32],
        }
    }

    pub(super) fn at(&self, x: f32, y: f32) -> Rgb {
        if self.texture == 0.0 {
            return self.colour;
        }
        let (dx, dy) = (x - self.centre[0], y - self.centre[1]);
        let fine = value(dx * self.grain, dy * self.grain, self.seed);
        let facet = value(dx * self.facet, dy * self.facet, self.seed ^ 0x33);
        let tone = 1.0 + self.texture * (0.9 * fine + 0.7 * facet) + dx * self.shade[0] + dy * self.shade[1];
        self.colour.map(|v| v * tone.max(0.1))
    }
}
