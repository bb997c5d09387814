//! Everything but the particles: table, paper, disc, thumb, and the light on them.

use super::noise::{Job, ease, lerp, mix, value};
use super::plate::Plate;
use super::spec::SceneSpec;
use super::stage::{Stage, Thumb};
use super::view::Projection;

pub(super) type Rgb = [f32; 3];

/// Thumbs have no setting of their own.
const SKIN: Rgb = [0.56, 0.31, 0.21];
const NAIL: Rgb = [0.66, 0.41, 0.33];

pub(super) fn rgb(colour: &[f64; 3]) -> Rgb {
    colour.map(|v| v as f32)
}

/// Light, relative to the mean, as a function of place.
pub(super) struct Illumination {
    centre: [f32; 2],
    slope: [f32; 2],
    vignette: f32,
    cast: Option<Cast>,
}

/// Across the edge of a cast shadow, as a share of its width: `along` times the place plus `offset`.
struct Cast {
    along: [f32; 2],
    offset: f32,
    strength: f32,
}

impl Illumination {
    pub(super) fn new(spec: &SceneSpec) -> Self {
        let (cx, cy) = (0.5 * f64::from(spec.width_px), 0.5 * f64::from(spec.height_px));
        let (sin, cos) = spec.light.direction_deg.to_radians().sin_cos();
        let reach = cx * cos.abs() + cy * sin.abs();
        let k = 0.5 * spec.light.gradient / reach;
        Self {
            centre: [cx as f32, cy as f32],
            slope: [(k * cos) as f32, (k * sin) as f32],
            vignette: (spec.light.vignette / (cx * cx + cy * cy)) as f32,
            cast: spec.light.cast.map(|cast| {
                let (sin, cos) = cast.direction_deg.to_radians().sin_cos();
                let [x, y] = cast.through_px;
                let k = 1.0 / cast.softness_px.max(1e-3);
                Cast {
                    along: [(k * cos) as f32, (k * sin) as f32],
                    offset: (0.5 - k * (x * cos + y * sin)) as f32,
                    strength: cast.strength as f32,
                }
            }),
        }
    }

    pub(super) fn at(&self, x: f32, y: f32) -> f32 {
        let (dx, dy) = (x - self.centre[0], y - self.centre[1]);
        let light = (1.0 + dx * self.slope[0] + dy * self.slope[1]) * (1.0 - self.vignette * (dx * dx + dy * dy));
        self.cast
            .as_ref()
            .map_or(light, |c| light * (1.0 - c.strength * ease(x * c.along[0] + y * c.along[1] + c.offset)))
    }
}

/// Paper and table.
pub(super) struct Ground<'a> {
    stage: &'a Stage,
    paper: Rgb,
    paper_texture: f32,
    table: Rgb,
    grain: f32,
    seed: [u32; 2],
    px_per_mm: f32,
    shadow: [f32; 3],
}

impl<'a> Ground<'a> {
    pub(super) fn new(spec: &SceneSpec, stage: &'a Stage) -> Self {
        let (sin, cos) = spec.shadow.direction_deg.to_radians().sin_cos();
        Self {
            stage,
            paper: rgb(&spec.paper.reflectance),
            paper_texture: spec.paper.texture as f32,
            table: spec.surround.as_ref().map_or([0.0; 3], |s| rgb(&s.table)),
            grain: spec.surround.as_ref().map_or(0.0, |s| s.grain as f32),
            seed: [mix(spec.seed, Job::Paper, 0) as u32, mix(spec.seed, Job::Table, 0) as u32],
            px_per_mm: stage.px_per_mm as f32,
            shadow: [cos as f32, sin as f32, spec.shadow.strength as f32],
        }
    }

    pub(super) fn at(&self, x: f32, y: f32) -> Rgb {
        let Some(sheet) = &self.stage.sheet else {
            return self.paper_at(x, y);
        };
        let sheet_distance = |x: f32, y: f32| {
            let [x, y] = self.stage.projection.px_to_flat([f64::from(x), f64::from(y)], 0.0);
            sheet.distance(x, y) as f32
        };
        let distance = sheet_distance(x, y);
        let share = (0.5 - distance).clamp(0.0, 1.0);
        if share >= 1.0 {
            return self.paper_at(x, y);
        }
        // The sheet stands a little off the table, more so on its lee side.
        let [cos, sin, strength] = self.shadow;
        let reach = 0.9 * self.px_per_mm;
        let lee = sheet_distance(x - cos * reach, y - sin * reach);
        let near = 1.0 - ease(distance.max(0.0) / reach);
        let cast = ease(0.5 - lee / (1.6 * reach));
        let shade = 1.0 - 0.25 * near - 0.6 * strength.max(0.15) * cast;
        let (paper, table) = (self.paper_at(x, y), self.table_at(x, y));
        std::array::from_fn(|c| lerp(table[c] * shade, paper[c], share))
    }

    fn paper_at(&self, x: f32, y: f32) -> Rgb {
        if self.paper_texture == 0.0 {
            return self.paper;
        }
        let fine = value(x / 1.7, y / 1.7, self.seed[0]);
        let fibre = value(x / 9.0, y / 5.0, self.seed[0] ^ 0x55);
        let k = 1.0 + self.paper_texture * (0.65 * fine + 0.35 * fibre);
        self.paper.map(|v| v * k)
    }

    /// Long streaks along the picture, bent a little, with short dark pores.
    fn table_at(&self, x: f32, y: f32) -> Rgb {
        let (u, v) = (x / self.px_per_mm, y / self.px_per_mm);
        let seed = self.seed[1];
        let bent = v + 5.0 * value(u / 45.0, v / 25.0, seed ^ 1);
        let streak = value(u / 60.0, bent / 2.6, seed ^ 2) + 0.6 * value(u / 25.0, bent / 0.7, seed ^ 3);
        let broad = value(u / 150.0, bent / 11.0, seed ^ 4);
        let pore = ease((value(u / 5.0, bent / 0.3, seed ^ 5) - 0.45) / 0.3);
        let tone = 1.0 + self.grain * (0.4 * streak + 0.6 * broad - 0.7 * pore);
        // Darker wood is redder.
        [self.table[0] * tone, self.table[1] * tone.powf(1.15), self.table[2] * tone.powf(1.3)]
    }
}

/// The metal disc: rim, ring of bosses and rough relief, lit from the side away from the shadow.
pub(super) struct Metal<'a> {
    disc: &'a Plate,
    projection: &'a Projection,
    colour: Rgb,
    relief: f32,
    /// Unit vector towards the lamp.
    lamp: [f32; 2],
    seed: u32,
}

impl<'a> Metal<'a> {
    pub(super) fn new(spec: &SceneSpec, stage: &'a Stage) -> Option<Self> {
        let (Some(disc), Some(reference)) = (&stage.disc, &spec.reference) else {
            return None;
        };
        let (sin, cos) = spec.shadow.direction_deg.to_radians().sin_cos();
        let lamp = stage.projection.unturned([-cos, -sin]);
        Some(Self {
            disc,
            projection: &stage.projection,
            colour: rgb(&reference.reflectance),
            relief: reference.relief as f32,
            lamp: lamp.map(|v| v as f32),
            seed: mix(spec.seed, Job::Disc, 0) as u32,
        })
    }

    pub(super) fn colour(&self) -> Rgb {
        self.colour
    }

    /// Share of the pixel at (x, y) that is metal, and its reflectance.
    pub(super) fn at(&self, x: f32, y: f32) -> (f32, Rgb) {
        let radius = self.disc.corner as f32;
        let [x, y] = self.projection.px_to_flat([f64::from(x), f64::from(y)], self.disc.thickness_mm);
        let (dx, dy) = (x as f32 - self.disc.centre[0] as f32, y as f32 - self.disc.centre[1] as f32);
        let distance = dx.hypot(dy);
        let share = (radius - distance + 0.5).clamp(0.0, 1.0);
        if share == 0.0 {
            return (0.0, self.colour);
        }
        let (u, v) = (dx / radius, dy / radius);
        let step = 0.012;
        let rise = self.height(u + self.lamp[0] * step, v + self.lamp[1] * step)
            - self.height(u - self.lamp[0] * step, v - self.lamp[1] * step);
        // A slope rising away from the lamp faces it.
        let facing = (-rise / (2.0 * step) * 0.09).clamp(-0.75, 0.9);
        let scratch = value(u * 5.0 + v * 2.0, v * 110.0 - u * 44.0, self.seed ^ 9);
        let sweep = (2.0 * (v.atan2(u) - self.lamp[1].atan2(self.lamp[0]))).cos() * u.hypot(v);
        let sheen = 0.3 * (u * self.lamp[0] + v * self.lamp[1]) + 0.24 * sweep + 0.08 * scratch;
        let bevel = ease((distance / radius - 0.975) / 0.025);
        let tone = (1.0 + self.relief * (facing + sheen)) * (1.0 - 0.4 * self.relief * bevel);
        (share, self.colour.map(|c| c * tone.max(0.15)))
    }

    fn height(&self, u: f32, v: f32) -> f32 {
        let r = u.hypot(v);
        let angle = v.atan2(u);
        let rim = ease((r - 0.88) / 0.04);
        let petals = ease((0.56 + 0.1 * (8.0 * angle).cos() - r) / 0.05);
        let heart = ease((0.3 + 0.05 * (5.0 * angle + 1.0).cos() - r) / 0.05);
        let beads = ease(((46.0 * angle).cos() - 0.2) / 0.6) * ease(1.0 - (r - 0.8).abs() / 0.03);
        let rough = value(u * 9.0, v * 9.0, self.seed) * ease((0.86 - r) / 0.1);
        rim + 0.55 * petals + 0.45 * heart + 0.35 * beads + 0.16 * rough
    }
}

/// Share of the pixel covered by the thumb and its reflectance; its edge is out of focus.
pub(super) fn thumb_at(thumb: &Thumb, stage: &Stage, seed: u32, x: f32, y: f32) -> (f32, Rgb) {
    let radius = thumb.radius as f32;
    let distance = thumb.axis_distance(f64::from(x), f64::from(y)) as f32;
    let soft = (0.004 * stage.width as f32).max(1.5);
    let share = ease(0.5 + (radius - distance) / (2.0 * soft));
    if share == 0.0 {
        return (0.0, SKIN);
    }
    let (dx, dy) = (x - thumb.tip[0] as f32, y - thumb.tip[1] as f32);
    let down = [thumb.down[0] as f32, thumb.down[1] as f32];
    // Along the thumb from its tip's centre, and across it, in radii.
    let along = (dx * down[0] + dy * down[1]) / radius;
    let across = (dy * down[0] - dx * down[1]) / radius;
    let s = (distance / radius).min(1.0);
    let lines = value(across * 14.0, along * 40.0, seed) + value(across * 45.0, along * 60.0, seed ^ 1);
    let crease = ease(1.0 - ((along - 2.3 + 0.12 * across * across).abs()) / 0.08);
    let tone = (1.02 - 0.42 * s.powi(3) - 0.1 * across) * (1.0 + 0.025 * lines) - 0.1 * crease;
    let plate = ((across / 0.62).powi(4) + ((along - 0.18) / 0.72).powi(4)).powf(0.25);
    let nail = ease((1.0 - plate) / 0.1);
    let cuticle = ease(1.0 - (plate - 1.03).abs() / 0.1);
    let shine = 0.22 * ease(1.0 - (across + 0.2).abs() / 0.25) * ease(1.0 - (along - 0.1).abs() / 0.6);
    let colour = std::array::from_fn(|c| {
        let skin = SKIN[c] * tone * (1.0 - 0.18 * cuticle);
        // Blushed skin is redder where it turns away.
        let skin = if c == 0 { skin } else { skin * (1.0 - 0.12 * s * s) };
        lerp(skin, NAIL[c] * (0.95 * tone + shine), nail)
    });
    (share, colour)
}
