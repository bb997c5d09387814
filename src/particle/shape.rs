//! Size and shape of one particle.

use super::calibrate::Calibration;
use super::edge::mean_profile;
use super::examine::{Examiner, Levels, Reading, margin_px};
use super::fall::Seen;
use super::flag::Flags;
use super::territory::{Occupied, Territory};
use crate::backdrop::{Patch, Scene};
use crate::numeric::{convex_hull, determinant, feret, perimeter, shoelace};
use crate::photo::Photo;
use crate::scale::Scale;
use crate::segment::Part;

const PI: f64 = std::f64::consts::PI;

/// P²/4A of a fibre: nine times as long as wide. Whole particles of photos with known truth stay below 6.8, those of a
/// light roast with torn flakes included.
const FIBRE: f64 = 11.0;
/// ECD from which on outlines are fine enough to judge, px.
const FIBRE_ECD_PX: f64 = 6.0;

/// Darkness of the middle of a pale flake, share of that of the photo's large particles, at most. In a rendered light roast
/// a sixth of the chaff lies below it (29 % of its mass), and no coffee; flakes in darker ones all do.
const PALE: f64 = 0.7;
/// ECD from which on blur leaves the middle as dark as it is, in blur widths.
const PALE_ECD: f64 = 10.0;

/// A particle measured in pixels.
#[derive(Clone, Debug)]
pub struct Shape {
    /// Centroid, px.
    pub centre: [f64; 2],
    /// Projected area, px².
    pub area: f64,
    /// Largest and smallest Feret diameter, px.
    pub feret: [f64; 2],
    /// Length of the outline, px.
    pub perimeter: f64,
    /// Area of the convex hull, px².
    pub hull_area: f64,
    /// Outline, px.
    pub outline: Vec<[f64; 2]>,
    /// Deficit in the middle, dimensionless.
    pub core: f64,
    /// What happened to the figures.
    pub flags: Flags,
}

/// A particle in micrometres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Particle {
    /// Centroid, px of the upright photo.
    pub x_px: f64,
    /// Centroid, px of the upright photo.
    pub y_px: f64,
    /// Centroid on the paper, mm: from the upper left corner of the sheet's field, or of the photo.
    pub x_mm: f64,
    /// Centroid on the paper, mm.
    pub y_mm: f64,
    /// Equivalent circular diameter, µm.
    pub ecd_um: f64,
    /// Largest Feret diameter, µm.
    pub feret_max_um: f64,
    /// Smallest Feret diameter, µm.
    pub feret_min_um: f64,
    /// Projected area, µm².
    pub area_um2: f64,
    /// Length of the outline, µm.
    pub perimeter_um: f64,
    /// [`aspect_ratio`], dimensionless.
    pub aspect_ratio: f64,
    /// [`circularity`], dimensionless.
    pub circularity: f64,
    /// [`solidity`], dimensionless.
    pub solidity: f64,
    /// Inverse chance that the frame leaves such a particle whole, ≥ 1, dimensionless.
    pub weight: f64,
    /// What happened to the figures.
    pub flags: Flags,
}

impl Particle {
    /// Mass that it stands for, in units of its density: weight times ECD cubed, µm³.
    pub fn mass(&self) -> f64 {
        self.weight * self.ecd_um.powi(3)
    }

    /// A disc of the diameter `ecd_um` (µm) in the corner of the photo that stands for itself alone: what a particle is
    /// taken for where nothing more is known of it.
    pub fn disc(ecd_um: f64) -> Self {
        Particle {
            x_px: 0.0,
            y_px: 0.0,
            x_mm: 0.0,
            y_mm: 0.0,
            ecd_um,
            feret_max_um: ecd_um,
            feret_min_um: ecd_um,
            area_um2: 0.25 * PI * ecd_um * ecd_um,
            perimeter_um: PI * ecd_um,
            aspect_ratio: 1.0,
            circularity: 1.0,
            solidity: 1.0,
            weight: 1.0,
            flags: Flags::default(),
        }
    }
}

/// Equivalent circular diameter: diameter of the circle of the area `area_um2` (µm², > 0), in µm.
///
/// Source: area-equivalent diameter, ISO 9276-6. Checked in `tests/published.rs`.
///
/// ```
/// # use lightsieve::particle::ecd_um;
/// assert!((ecd_um(std::f64::consts::PI * 50.0 * 50.0) - 100.0).abs() < 1e-9); // disc of radius 50 µm
/// ```
pub fn ecd_um(area_um2: f64) -> f64 {
    (4.0 * area_um2 / PI).sqrt()
}

/// Smallest over largest Feret diameter, 0..1, dimensionless.
///
/// Source: ISO 9276-6 (from memory). Checked in `tests/published.rs`.
pub fn aspect_ratio(feret_min: f64, feret_max: f64) -> f64 {
    feret_min / feret_max
}

/// √(4πA) / P for the area A and the perimeter P: 1 for a circle, smaller for every other shape, dimensionless.
///
/// This is the root form; its square 4πA/P² is the form factor.
/// Source: ISO 9276-6 (from memory). Checked in `tests/published.rs`.
pub fn circularity(area: f64, perimeter: f64) -> f64 {
    (4.0 * PI * area).sqrt() / perimeter
}

/// Area over the area of the convex hull, 0..1, dimensionless.
///
/// Source: ISO 9276-6 (from memory). Checked in `tests/published.rs`.
pub fn solidity(area: f64, hull_area: f64) -> f64 {
    area / hull_area
}

impl Shape {
    /// The particle in micrometres, standing for itself alone.
    pub fn at_scale(&self, scale: &Scale) -> Particle {
        let [x_mm, y_mm] = scale.mm(self.centre);
        let Square { um, area, feret, perimeter, hull_area } = self.squared(scale);
        let area_um2 = area * um * um;
        Particle {
            x_px: self.centre[0],
            y_px: self.centre[1],
            x_mm,
            y_mm,
            ecd_um: ecd_um(area_um2),
            feret_max_um: feret[0] * um,
            feret_min_um: feret[1] * um,
            area_um2,
            perimeter_um: perimeter * um,
            aspect_ratio: aspect_ratio(feret[1], feret[0]),
            circularity: circularity(area, perimeter).min(1.0),
            solidity: solidity(area, hull_area).min(1.0),
            weight: 1.0,
            flags: self.flags,
        }
    }

    /// The figures as a camera square above the particle would give them, by the local derivatives of the scale.
    fn squared(&self, scale: &Scale) -> Square {
        let Some(j) = scale.local(self.centre) else {
            let Shape { area, feret, perimeter, hull_area, .. } = *self;
            return Square { um: scale.um_per_px(self.centre), area, feret, perimeter, hull_area };
        };
        let um = determinant(j).abs().sqrt();
        let outline: Vec<[f64; 2]> = self
            .outline
            .iter()
            .map(|p| {
                let [u, v] = [0, 1].map(|i| (p[i] - self.centre[i]) / um);
                [j[0][0] * u + j[0][1] * v, j[1][0] * u + j[1][1] * v]
            })
            .collect();
        let hull = convex_hull(&outline);
        let (feret_max, feret_min) = feret(&hull);
        let (perimeter, hull_area) = (perimeter(&outline), shoelace(&hull).abs());
        Square { um, area: self.area, feret: [feret_max, feret_min], perimeter, hull_area }
    }

    /// True for what is far longer than wide, straight or curled: a hair, a fibre.
    ///
    /// A ribbon of length l and width w has P²/4A = l/w + 2 + w/l, for the perimeter P and the area A. Shapes of few pixels
    /// and parts of a parted group have ragged outlines and are not judged.
    pub fn is_fibre(&self) -> bool {
        let judged = self.ecd_px() >= FIBRE_ECD_PX && !self.flags.contains(Flags::SPLIT);
        judged && self.perimeter * self.perimeter > 4.0 * FIBRE * self.area
    }

    /// True for what lets light through, as thin flakes of chaff do, in the photo of `scene`; small ones cannot be told.
    pub fn is_pale(&self, scene: &Scene) -> bool {
        let blur_px = scene.blur_px * scene.softness.at(self.centre);
        self.ecd_px() > PALE_ECD * blur_px && self.core < PALE * scene.core
    }

    /// Equivalent circular diameter, px: the formula of [`ecd_um`] with the area in px².
    pub fn ecd_px(&self) -> f64 {
        ecd_um(self.area)
    }
}

/// Figures of a shape seen square on, in pixels of `um` µm.
struct Square {
    um: f64,
    area: f64,
    feret: [f64; 2],
    perimeter: f64,
    hull_area: f64,
}

/// One part as read, before the photo's own calibration.
pub(super) struct Raw {
    /// Readings, in photo pixels.
    pub reading: Reading,
    pub split: bool,
    /// True when another particle lies within the skirt.
    pub crowded: bool,
}

/// Reads the parts of a photo one after the other, with room that it keeps from one to the next.
pub(super) struct Reader<'a> {
    photo: &'a Photo,
    scene: &'a Scene,
    occupied: &'a Occupied,
    patch: Patch,
    territory: Territory,
    examiner: Examiner,
}

impl<'a> Reader<'a> {
    pub fn new(photo: &'a Photo, scene: &'a Scene, occupied: &'a Occupied, levels: Levels) -> Self {
        let examiner = Examiner::new(scene.blur_px, levels);
        Reader { photo, scene, occupied, patch: Patch::default(), territory: Territory::default(), examiner }
    }

    /// Cuts the patch `margin` px round the part and gives its place in the photo.
    fn cut(&mut self, part: &Part, margin: usize) -> [usize; 2] {
        let [x0, y0, x1, y1] = part.bounds;
        let at = [x0.saturating_sub(margin), y0.saturating_sub(margin)];
        self.scene.cut(self.photo, [at[0], at[1], x1 + margin, y1 + margin], &mut self.patch);
        at
    }

    /// Reads the part; `None` when nothing of it rises above the paper.
    pub fn read(&mut self, part: &Part) -> Option<Raw> {
        let margin = margin_px(self.scene.blur_px);
        let [px, py] = self.cut(part, margin);
        let patch = &self.patch;
        let others = self.territory.others(self.occupied, part, [px, py], [patch.width, patch.height], margin);
        let crowded = others.is_some();
        let [x0, y0, x1, y1] = part.bounds;
        // One pixel more than the part: smoothing may have taken the detection past a dark pixel.
        let inner = [
            (x0 - px).saturating_sub(1),
            (y0 - py).saturating_sub(1),
            (x1 - px + 1).min(patch.width),
            (y1 - py + 1).min(patch.height),
        ];
        let mut reading = self.examiner.examine(patch, inner, others)?;
        for p in reading.outline.iter_mut().chain([&mut reading.centroid]) {
            p[0] += px as f64;
            p[1] += py as f64;
        }
        Some(Raw { reading, split: part.split, crowded })
    }

    /// Mean deficit across the edges of the part that face `towards`, as read in `raw`.
    pub fn profile(&mut self, part: &Part, raw: &Raw, towards: Option<[f64; 2]>) -> Option<Vec<f64>> {
        let at = self.cut(part, margin_px(self.scene.blur_px) + 2);
        let outline = raw.outline_in(at);
        mean_profile(&self.patch, &outline, towards, self.scene.blur_px)
    }

    /// Deficits beside the part, as read in `raw`, along the `direction` of the light and against it.
    pub fn beside(&mut self, part: &Part, raw: &Raw, direction: [f64; 2]) -> Option<Seen> {
        let diameter = 2.0 * raw.reading.edge_radius?;
        let at = self.cut(part, (0.7 * diameter).ceil() as usize + 1);
        let outline = raw.outline_in(at);
        Some(Seen::read(&self.patch, &outline, diameter, raw.reading.core, direction))
    }
}

impl Raw {
    /// The outline in a patch that begins at `at`, px.
    fn outline_in(&self, at: [usize; 2]) -> Vec<[f64; 2]> {
        self.reading.outline.iter().map(|p| [p[0] - at[0] as f64, p[1] - at[1] as f64]).collect()
    }

    /// The shape; `None` when nothing is left of its darkness beside that of the shade about it.
    pub(super) fn finish(mut self, calibration: &Calibration) -> Option<Shape> {
        let (radius, integrated) = calibration.radius(&self.reading);
        let area = PI * radius * radius;
        if !(area > 0.0 && area.is_finite()) {
            return None;
        }
        let mut flags = Flags::default();
        if integrated {
            flags.insert(Flags::INTEGRATED);
        }
        if self.split {
            flags.insert(Flags::SPLIT);
        }
        // The outline takes the area's size: blur and interpolation leave it a little narrow.
        let drawn = shoelace(&self.reading.outline).abs();
        let middle = polygon_centre(&self.reading.outline, drawn).unwrap_or(self.reading.centroid);
        let centre = if integrated { self.reading.centroid } else { middle };
        let stretch = if drawn > 0.0 { (area / drawn).sqrt() } else { 1.0 };
        let mut outline = std::mem::take(&mut self.reading.outline);
        for p in &mut outline {
            *p = [centre[0] + stretch * (p[0] - middle[0]), centre[1] + stretch * (p[1] - middle[1])];
        }
        let hull = convex_hull(&outline);
        let (feret_max, feret_min) = feret(&hull);
        Some(Shape {
            centre,
            area,
            feret: [feret_max, feret_min],
            perimeter: perimeter(&outline),
            hull_area: shoelace(&hull).abs(),
            outline,
            core: self.reading.core,
            flags,
        })
    }
}

fn polygon_centre(points: &[[f64; 2]], area: f64) -> Option<[f64; 2]> {
    let first = *points.first()?;
    let (mut x, mut y, mut twice) = (0.0, 0.0, 0.0);
    for i in 0..points.len() {
        let (a, b) = (points[i], points[(i + 1) % points.len()]);
        let (ax, ay, bx, by) = (a[0] - first[0], a[1] - first[1], b[0] - first[0], b[1] - first[1]);
        let cross = ax * by - bx * ay;
        x += (ax + bx) * cross;
        y += (ay + by) * cross;
        twice += cross;
    }
    (area > 0.0).then(|| [first[0] + x / (3.0 * twice), first[1] + y / (3.0 * twice)])
}
