//! Photos of a frame of the sheet, made by chance from a seed.

use std::path::Path;

use lightsieve::numeric::Draws;
use lightsieve::particle::Particle;
use lightsieve::photo;
use lightsieve::pipeline::{MeasureError, MeasuredPhoto, ScaleChoice, Settings, measure_photo};
use lightsieve::render::{CastShadow, Ink, Rendered, SceneSpec, TrueParticle, View, render};
use lightsieve::scale::sheet::{Frame, Mark, frames};

/// A frame with grounds in its field; the paper's origin is the middle of the frame.
pub struct Shot {
    pub spec: SceneSpec,
    pub frame: Frame,
    /// Shift of the frame's middle from the middle of the picture, paper mm.
    pub shift: [f64; 2],
}

/// A place of the page in the paper coordinates of the renderer.
pub fn on_paper(frame: &Frame, shift: [f64; 2], page: [f64; 2]) -> [f64; 2] {
    [0, 1].map(|i| page[i] - frame.middle()[i] + shift[i])
}

/// The marks of the frame in the paper coordinates of the renderer, `share` times their size about the origin.
pub fn inks(frame: &Frame, shift: [f64; 2], share: f64) -> Vec<Ink> {
    let ink = |(centre, radius, white): ([f64; 2], f64, bool)| {
        let at = on_paper(frame, shift, centre).map(|v| share * v);
        if white { Ink::white_disc(at, share * radius) } else { Ink::disc(at, share * radius) }
    };
    frame.marks.iter().flat_map(Mark::discs).map(ink).collect()
}

/// Frame `which` straight from above, filling a picture of `width` × `height` px as far as the tilt and turn of `view`
/// allow.
pub fn shot(which: usize, [width, height]: [u32; 2], view: View, seed: u64) -> Shot {
    let frame = frames().swap_remove(which);
    let mut draws = Draws::new(seed, 77);
    let mm = frame.outer[2] - frame.outer[0];
    let shift = [0, 1].map(|_| 0.02 * mm * (draws.uniform() - 0.5));
    let field = [frame.field[0], frame.field[1], frame.field[2], frame.field[3]];
    let [x0, y0] = on_paper(&frame, shift, [field[0], field[1]]);
    let [x1, y1] = on_paper(&frame, shift, [field[2], field[3]]);
    let mut spec = SceneSpec {
        width_px: width,
        height_px: height,
        um_per_px: 1000.0 * 1.08 * mm / f64::from(width),
        seed,
        coverage: 0.05,
        spread_mm: Some([x0, y0, x1, y1]),
        view: Some(view),
        ..SceneSpec::default()
    };
    let um = spec.um_per_px;
    spec.grind.coarse.median_um = 14.0 * um;
    spec.grind.fines.median_um = 4.5 * um;
    spec.grind.fines_number_share = 0.6;
    (spec.grind.min_um, spec.grind.max_um) = (3.0 * um, 45.0 * um);
    let mut shot = Shot { spec, frame, shift };
    shot.print();
    shot.fill();
    shot
}

impl Shot {
    fn print(&mut self) {
        self.spec.print.extend(inks(&self.frame, self.shift, 1.0));
    }

    /// Steps nearer or away until the frame just lies in the picture.
    fn fill(&mut self) {
        let mut bare = self.spec.clone();
        (bare.coverage, bare.print) = (0.0, Vec::new());
        bare.spread_mm = None;
        for _ in 0..3 {
            let (w, h) = (f64::from(bare.width_px), f64::from(bare.height_px));
            // A small picture has the same geometry in its own pixels.
            let small = SceneSpec {
                width_px: 200,
                height_px: (200.0 * h / w).round() as u32,
                um_per_px: bare.um_per_px * w / 200.0,
                ..bare.clone()
            };
            let seen = render(&small).unwrap();
            let [x0, y0, x1, y1] = self.frame.outer;
            let middle = [100.0, 100.0 * h / w];
            let reach = [[x0, y0], [x1, y0], [x1, y1], [x0, y1]]
                .map(|p| seen.px_of(on_paper(&self.frame, self.shift, p), 0.0))
                .iter()
                .map(|p| ((p[0] - middle[0]).abs() / middle[0]).max((p[1] - middle[1]).abs() / middle[1]))
                .fold(0.0, f64::max);
            bare.um_per_px *= reach / 0.96;
        }
        let factor = bare.um_per_px / self.spec.um_per_px;
        self.spec.um_per_px = bare.um_per_px;
        for size in [
            &mut self.spec.grind.coarse.median_um,
            &mut self.spec.grind.fines.median_um,
            &mut self.spec.grind.min_um,
            &mut self.spec.grind.max_um,
        ] {
            *size *= factor;
        }
    }

    /// Covers the marks `which` with paper or with something dark.
    pub fn cover(&mut self, which: &[usize], dark: bool) {
        for &i in which {
            let mark = self.frame.marks[i];
            let [x, y] = on_paper(&self.frame, self.shift, mark.centre);
            let r = 1.1 * mark.radius;
            // Over one half of the mark and beyond.
            let outline_mm = vec![[x - r, y - 0.2 * r], [x + r, y - 0.6 * r], [x + r, y + r], [x - r, y + r]];
            self.spec.print.push(Ink { outline_mm, reflectance: dark.then_some([0.06, 0.04, 0.03]) });
        }
    }
}

/// A photo by hand: everything by chance.
pub fn by_hand(seed: u64, size: [u32; 2], tilt_deg: f64, k1: f64) -> Shot {
    let mut draws = Draws::new(seed, 5);
    let mut between = |low: f64, high: f64| low + (high - low) * draws.uniform();
    let view = View {
        tilt_deg,
        tilt_direction_deg: between(0.0, 360.0),
        turn_deg: between(0.0, 360.0),
        focal_35mm: between(24.0, 75.0),
        k1,
        k2: 0.0,
    };
    let which = between(0.0, 2.999) as usize;
    let mut shot = shot(which, size, view, seed);
    shot.spec.camera.blur_sigma_px = between(0.6, 1.5);
    shot.spec.camera.photon_noise = between(0.008, 0.03);
    shot.spec.light.gradient = between(0.0, 0.4);
    shot.spec.light.vignette = between(0.0, 0.3);
    shot.spec.light.direction_deg = between(0.0, 360.0);
    if between(0.0, 1.0) < 0.3 {
        let through_px = [between(0.2, 0.8) * f64::from(size[0]), between(0.2, 0.8) * f64::from(size[1])];
        let direction_deg = between(0.0, 360.0);
        shot.spec.light.cast = Some(CastShadow { through_px, direction_deg, strength: 0.4, softness_px: 400.0 });
    }
    let marks = shot.frame.marks.len();
    let covered = (between(0.0, 1.0) * marks as f64 / 3.0).round() as usize;
    let first = between(0.0, marks as f64) as usize;
    // In one piece (a hand, a heap) or here and there.
    let stride = if between(0.0, 1.0) < 0.5 { 1 } else { 3 };
    let which: Vec<usize> = (0..covered).map(|i| (first + stride * i) % marks).collect();
    let dark = between(0.0, 1.0) < 0.5;
    shot.cover(&which, dark);
    shot
}

pub struct Result {
    pub rendered: Rendered,
    pub photo: MeasuredPhoto,
}

pub fn try_measure(rendered: &Rendered, choice: ScaleChoice) -> std::result::Result<MeasuredPhoto, MeasureError> {
    let settings = Settings::new(choice).unwrap();
    measure_photo(photo::decode(&rendered.jpeg()).unwrap(), Path::new("rendered.jpg"), &settings)
}

pub fn measure(rendered: Rendered, choice: ScaleChoice) -> std::result::Result<Result, MeasureError> {
    let photo = try_measure(&rendered, choice)?;
    Ok(Result { rendered, photo })
}

impl Result {
    /// Relative errors of the local scale at 25 places of the field.
    pub fn scale_errors(&self, shot: &Shot) -> Vec<f64> {
        let [x0, y0, x1, y1] = shot.frame.field;
        let at = |i: usize| {
            let page = [x0 + (x1 - x0) * (i % 5) as f64 / 4.0, y0 + (y1 - y0) * (i / 5) as f64 / 4.0];
            on_paper(&shot.frame, shot.shift, page)
        };
        (0..25)
            .map(|i| {
                let px = self.rendered.px_of(at(i), 0.0);
                self.photo.scale.um_per_px(px) / self.rendered.um_per_px_at(at(i), 0.0) - 1.0
            })
            .collect()
    }

    /// Of the particles counted, true size, measured size (µm) and weight.
    fn pairs(&self, shot: &Shot) -> Vec<[f64; 3]> {
        let [x0, y0, ..] = shot.spec.spread_mm.unwrap();
        let pair = |p: &Particle| {
            let off = |t: &&TrueParticle| (t.x_mm - x0 - p.x_mm).hypot(t.y_mm - y0 - p.y_mm);
            let nearest = self.rendered.truth.iter().min_by(|a, b| off(a).total_cmp(&off(b))).unwrap();
            (off(&nearest) < 0.25 * nearest.ecd_um / 1000.0).then_some([nearest.ecd_um, p.ecd_um, p.weight])
        };
        self.photo.particles.iter().filter_map(pair).collect()
    }

    /// Mass median of the particles counted, measured over true, less 1: each by its own true size, so that chance at the
    /// edge of the field does not matter.
    pub fn d50_error(&self, shot: &Shot) -> f64 {
        let mut pairs = self.pairs(shot);
        let mut median = |which: usize| {
            pairs.sort_by(|a, b| a[which].total_cmp(&b[which]));
            let sizes: Vec<f64> = pairs.iter().map(|p| p[which]).collect();
            let shares: Vec<f64> = pairs.iter().map(|p| p[2] * p[which].powi(3)).collect();
            lightsieve::numeric::weighted_quantile(&sizes, &shares, 0.5)
        };
        median(1) / median(0) - 1.0
    }

    /// Mean relative error of the diameter, by mass: the median of few particles jumps from one to the next, this does not.
    pub fn size_error(&self, shot: &Shot) -> f64 {
        let pairs = self.pairs(shot);
        let mass = |p: &[f64; 3]| p[2] * p[0].powi(3);
        pairs.iter().map(|p| mass(p) * (p[1] / p[0] - 1.0)).sum::<f64>() / pairs.iter().map(mass).sum::<f64>()
    }
}

/// Renders and measures a shot of the sheet.
pub fn develop(shot: &Shot) -> std::result::Result<Result, MeasureError> {
    measure(render(&shot.spec).unwrap(), ScaleChoice::Sheet(None))
}
