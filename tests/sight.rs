//! The limit of sight and the share of fines beyond it, on rendered photos of mixed blur, noise, compression and scale.
//!
//! The table of `docs/accuracy.md`: `cargo test --release --test sight -- --ignored --nocapture`.

use std::path::Path;

use lightsieve::numeric::Draws;
use lightsieve::photo;
use lightsieve::pipeline::{MeasuredPhoto, Measurement, ScaleChoice, Settings, join, measure_photo};
use lightsieve::render::{Rendered, SceneSpec, render};
use rayon::prelude::*;

/// The fines limit that measuring takes by itself, µm.
const FINES_UM: f64 = 100.0;

/// Kinds of photos: what is drawn at random in each is in [`scene`].
const KINDS: [&str; 5] = ["plain", "phone", "compressed", "textured", "overexposed"];

fn scene(kind: &str, seed: u64) -> SceneSpec {
    let mut draws = Draws::new(77, seed);
    let mut between = |low: f64, high: f64| low + (high - low) * draws.uniform();
    let mut spec = SceneSpec { seed, width_px: 1800, height_px: 1350, coverage: 0.04, ..SceneSpec::default() };
    spec.um_per_px = between(20f64.ln(), 60f64.ln()).exp();
    spec.camera.blur_sigma_px = between(0.7, 1.7);
    spec.camera.photon_noise = between(0.004, 0.03);
    spec.camera.jpeg_quality = between(85.0, 96.0) as u8;
    spec.light.gradient = between(0.0, 0.25);
    spec.shadow.strength = between(0.05, 0.2);
    spec.grind.coarse.median_um = between(16.0, 26.0) * spec.um_per_px;
    spec.grind.max_um = 3.0 * spec.grind.coarse.median_um;
    spec.grind.fines.median_um = between(60.0, 100.0);
    spec.grind.fines.gsd = between(1.3, 1.6);
    spec.grind.fines_number_share = between(0.90, 0.95);
    spec.grind.min_um = 0.5 * spec.um_per_px;
    spec.camera.sharpen.amount = 0.0;
    spec.camera.smooth_sigma_px = 0.0;
    match kind {
        "phone" => {
            spec.camera.sharpen.amount = between(0.2, 0.8);
            spec.camera.smooth_sigma_px = between(0.3, 0.8);
        }
        "compressed" => spec.camera.jpeg_quality = between(15.0, 60.0) as u8,
        "textured" => spec.paper.texture = between(0.04, 0.12),
        _ => {}
    }
    spec
}

/// The picture with `gain` times the light, cut at full scale.
fn expose(image: &mut image::RgbImage, gain: f64) {
    let coded = |c: u8| photo::srgb_from_linear((gain * photo::linear_from_srgb(f64::from(c) / 255.0)).min(1.0));
    let table: Vec<u8> = (0..=255).map(|c| (255.0 * coded(c)).round() as u8).collect();
    image.iter_mut().for_each(|c| *c = table[usize::from(*c)]);
}

struct Outcome {
    spec: SceneSpec,
    rendered: Rendered,
    photo: MeasuredPhoto,
    whole: Measurement,
}

fn outcome(kind: &str, seed: u64) -> Outcome {
    let spec = scene(kind, seed);
    let mut rendered = render(&spec).unwrap();
    if kind == "overexposed" {
        // 1.05 to 1.4 times full scale on the paper.
        expose(&mut rendered.image, 1.4 + 0.5 * Draws::new(78, seed).uniform());
    }
    let settings = Settings::new(ScaleChoice::Given(spec.um_per_px)).unwrap();
    let picture = photo::decode(&rendered.jpeg()).unwrap();
    let photo = measure_photo(picture, Path::new("rendered.jpg"), &settings).unwrap();
    let whole = join(vec![photo.clone()], &settings).unwrap();
    Outcome { spec, rendered, photo, whole }
}

impl Outcome {
    /// How many true particles of `from..to` limits there are inside the frame, and how many of them were found.
    fn seen(&self, from: f64, to: f64) -> [usize; 2] {
        let limit = self.photo.smallest_ecd_um;
        let [w, h] = self.photo.size_px.map(|v| v as f64);
        let inside = |x: f64, y: f64| x > 30.0 && y > 30.0 && x < w - 30.0 && y < h - 30.0;
        let wanted = self
            .rendered
            .truth
            .iter()
            .filter(|t| (from * limit..to * limit).contains(&t.ecd_um) && inside(t.x_px, t.y_px) && !t.chaff);
        wanted.fold([0, 0], |[all, found], t| {
            let d = t.ecd_um / self.spec.um_per_px;
            let near = |p: &lightsieve::particle::Particle| (p.x_px - t.x_px).hypot(p.y_px - t.y_px) < 1.0 + 0.5 * d;
            [all + 1, found + usize::from(self.photo.particles.iter().any(near))]
        })
    }

    /// Share of fines (%) of the grind that the scene is drawn from.
    fn fines_of_grind(&self) -> f64 {
        let g = &self.spec.grind;
        let part = |mode: &lightsieve::render::Lognormal| {
            let (mut n, mut below, mut all) = (0.0, 0.0, 0.0);
            for i in 0..40_000 {
                let z = -6.0 + 12.0 * (f64::from(i) + 0.5) / 40_000.0;
                let (d, p) = (mode.median_um * (mode.gsd.ln() * z).exp(), (-0.5 * z * z).exp());
                if (g.min_um..=g.max_um).contains(&d) {
                    n += p;
                    all += p * d.powi(3);
                    below += if d < FINES_UM { p * d.powi(3) } else { 0.0 };
                }
            }
            [below / n, all / n]
        };
        let (fine, coarse) = (part(&g.fines), part(&g.coarse));
        let mix = |i: usize| g.fines_number_share * fine[i] + (1.0 - g.fines_number_share) * coarse[i];
        100.0 * mix(0) / mix(1)
    }
}

/// What photos of one kind gave together.
#[derive(Default)]
struct Tally {
    photos: usize,
    at_limit: [usize; 2],
    below: [usize; 2],
    held: usize,
    held_in_picture: usize,
    at_least: usize,
    limits_px: Vec<f64>,
    errors: Vec<f64>,
    uncorrected: Vec<f64>,
}

impl Tally {
    fn of(outcomes: &[Outcome]) -> Tally {
        let mut tally = Tally { photos: outcomes.len(), ..Tally::default() };
        for o in outcomes {
            let add = |sum: &mut [usize; 2], more: [usize; 2]| *sum = [sum[0] + more[0], sum[1] + more[1]];
            add(&mut tally.at_limit, o.seen(0.98, 1.02));
            add(&mut tally.below, o.seen(0.7, 0.8));
            let fines = o.whole.by_mass[4];
            let (truth, picture) = (o.fines_of_grind(), o.rendered.mass_figures(FINES_UM).fines_pct);
            tally.held += usize::from((fines.low..=fines.high).contains(&truth));
            tally.held_in_picture += usize::from((fines.low..=fines.high).contains(&picture));
            tally.at_least += usize::from(o.whole.fines_at_least);
            tally.limits_px.push(o.photo.smallest_ecd_um / o.spec.um_per_px);
            tally.errors.push(fines.value / picture - 1.0);
            // Without what trials add, and with the weight that the frame gives.
            let plain = |below: f64| {
                let seen = o.photo.particles.iter().filter(|p| p.ecd_um < below);
                seen.map(|p| p.weight / o.photo.recall.weight(p.ecd_um / o.spec.um_per_px) * p.ecd_um.powi(3))
                    .sum::<f64>()
            };
            tally.uncorrected.push(100.0 * plain(FINES_UM) / plain(f64::INFINITY) / picture - 1.0);
        }
        tally
    }

    fn recall(&self) -> f64 {
        self.at_limit[1] as f64 / self.at_limit[0] as f64
    }

    fn row(&self, kind: &str) -> String {
        let middle = |values: &[f64]| {
            let mut sorted = values.to_vec();
            sorted.sort_by(f64::total_cmp);
            sorted[sorted.len() / 2]
        };
        let pct = |part: usize, all: usize| 100.0 * part as f64 / all as f64;
        format!(
            "| {kind} ({}) | {:.2} | {:.1} ({}) | {:.1} | {:+.1} | {:+.1} | {} | {:.0} | {:.0} |",
            self.photos,
            middle(&self.limits_px),
            pct(self.at_limit[1], self.at_limit[0]),
            self.at_limit[0],
            pct(self.below[1], self.below[0]),
            100.0 * middle(&self.uncorrected),
            100.0 * middle(&self.errors),
            self.at_least,
            pct(self.held, self.photos),
            pct(self.held_in_picture, self.photos),
        )
    }
}

fn outcomes(kind: &str, count: u64) -> Vec<Outcome> {
    (0..count).into_par_iter().map(|i| outcome(kind, 1000 + i)).collect()
}

#[test]
fn of_particles_at_the_stated_limit_nineteen_in_twenty_are_seen_and_intervals_hold_the_fines() {
    // Bounds: chance leaves 1.5 % with so few photos, twice that where quality differs from one to the next. Of compressed ones 90 %
    // are seen, and of overexposed paper only the limit is claimed: its intervals hold the fines less often than they say
    // (docs/accuracy.md).
    for (kind, recall, held) in [("plain", 0.92, 7), ("compressed", 0.84, 7), ("overexposed", 0.89, 0)] {
        let tally = Tally::of(&outcomes(kind, 8));
        println!("{}", tally.row(kind));
        assert!(tally.at_limit[0] > 200, "{kind}: too few particles to judge: {:?}", tally.at_limit);
        assert!(tally.recall() > recall, "{kind}: {}", tally.recall());
        // The limit is no larger than it must be: at three quarters of it most are lost.
        let [all, found] = tally.below;
        assert!(found * 2 < all, "{kind}: {found} of {all}");
        assert!(tally.held >= held, "{kind}: {} of 8", tally.held);
    }
}

#[test]
#[ignore = "100 photos take minutes"]
fn print_the_whole_table() {
    println!("| photos | limit, px | recall at it, % | at 0.75 | as seen, % | given, % | at least | law | picture |");
    println!("|---|---|---|---|---|---|---|---|---|");
    for kind in KINDS {
        println!("{}", Tally::of(&outcomes(kind, 20)).row(kind));
    }
}
