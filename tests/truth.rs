//! Rendered photos with known particles: the whole way from a picture to figures, against truth from outlines.
//!
//! The renderer shares no code with the measuring; tolerances are the aims in DEVELOPERS.md.

use std::path::Path;

use lightsieve::particle::Flags;
use lightsieve::photo;
use lightsieve::pipeline::{MeasuredPhoto, Measurement, ScaleChoice, Settings, join, measure_photo};
use lightsieve::render::{ReferenceDisc, Rendered, SceneSpec, Surround, TrueParticle, render};
use lightsieve::scale::RoundObject;
use lightsieve::segment::Rejection;

fn scene() -> SceneSpec {
    let mut spec =
        SceneSpec { width_px: 2000, height_px: 1500, um_per_px: 20.0, coverage: 0.05, ..SceneSpec::default() };
    spec.grind.coarse.median_um = 520.0;
    spec.grind.fines.median_um = 85.0;
    spec.grind.fines_number_share = 0.88;
    spec.grind.min_um = 40.0;
    spec.grind.max_um = 1600.0;
    spec
}

struct Outcome {
    rendered: Rendered,
    photo: MeasuredPhoto,
    whole: Measurement,
}

fn outcome(spec: &SceneSpec, choice: ScaleChoice) -> Outcome {
    let rendered = render(spec).unwrap();
    let settings = Settings::new(choice).unwrap();
    let picture = photo::decode(&rendered.jpeg()).unwrap();
    let photo = measure_photo(picture, Path::new("rendered.jpg"), &settings).unwrap();
    let whole = join(vec![photo.clone()], &settings).unwrap();
    Outcome { rendered, photo, whole }
}

impl Outcome {
    /// Relative error of D10, D50, D90 in percent and error of the fines share in points.
    fn errors(&self) -> [f64; 4] {
        let truth = self.rendered.mass_figures(100.0);
        let found = self.whole.by_mass;
        let relative = |f: usize, t: f64| 100.0 * (found[f].value / t - 1.0);
        [
            relative(0, truth.d10_um),
            relative(1, truth.d50_um),
            relative(2, truth.d90_um),
            found[4].value - truth.fines_pct,
        ]
    }

    fn assert_errors(&self, d10_pct: f64, d50_pct: f64, d90_pct: f64, fines_points: f64) {
        let errors = self.errors();
        for (error, bound) in errors.iter().zip([d10_pct, d50_pct, d90_pct, fines_points]) {
            assert!(error.abs() < bound, "errors of D10, D50, D90 (%) and fines (points): {errors:.2?}");
        }
    }

    /// For true particles of `from..to` px inside the frame: share found, and median relative error of the ECD.
    fn by_size(&self, from: f64, to: f64) -> (f64, f64) {
        let um = self.rendered.um_per_px;
        let [w, h] = self.photo.size_px.map(|v| v as f64);
        let mut wanted = 0;
        let mut ratios = Vec::new();
        for t in &self.rendered.truth {
            let d = t.ecd_um / um;
            if !(from..to).contains(&d) || t.x_px < 50.0 || t.y_px < 50.0 || t.x_px > w - 50.0 || t.y_px > h - 50.0 {
                continue;
            }
            wanted += 1;
            let near = self.photo.particles.iter().min_by(|a, b| {
                let off = |p: &lightsieve::particle::Particle| (p.x_px - t.x_px).hypot(p.y_px - t.y_px);
                off(a).total_cmp(&off(b))
            });
            if let Some(p) = near.filter(|p| (p.x_px - t.x_px).hypot(p.y_px - t.y_px) < 1.0 + 0.2 * d) {
                ratios.push(p.ecd_um / t.ecd_um - 1.0);
            }
        }
        ratios.sort_by(f64::total_cmp);
        assert!(ratios.len() >= 10, "too few particles of {from}..{to} px to judge");
        (ratios.len() as f64 / f64::from(wanted), ratios[ratios.len() / 2])
    }
}

#[test]
fn a_good_phone_photo_gives_the_true_distribution() {
    let o = outcome(&scene(), ScaleChoice::Given(20.0));
    o.assert_errors(2.0, 0.7, 1.5, 0.06);
    for (from, to, bias) in [(4.0, 6.0, 0.04), (6.0, 10.0, 0.02), (10.0, 20.0, 0.01), (20.0, 80.0, 0.005)] {
        let (found, error) = o.by_size(from, to);
        assert!(found > 0.98, "{from}..{to} px: {found} found");
        assert!(error.abs() < bias, "{from}..{to} px: {error}");
    }
    let extra = o.photo.particles.len() as f64 / o.rendered.truth.len() as f64;
    assert!(extra < 1.005, "more particles than there are: {extra}");
}

#[test]
fn other_seeds_blurs_and_noises_do_as_well() {
    for (seed, blur, noise) in [(2, 0.7, 0.004), (3, 1.3, 0.01), (4, 1.0, 0.02)] {
        let mut spec = SceneSpec { seed, ..scene() };
        spec.camera.blur_sigma_px = blur;
        spec.camera.photon_noise = noise;
        outcome(&spec, ScaleChoice::Given(20.0)).assert_errors(3.0, 1.0, 1.5, 0.08);
    }
}

#[test]
fn uneven_light_and_a_deep_vignette_do_not_matter() {
    let mut spec = SceneSpec { seed: 5, ..scene() };
    spec.light.gradient = 0.35;
    spec.light.vignette = 0.35;
    outcome(&spec, ScaleChoice::Given(20.0)).assert_errors(3.0, 1.0, 1.5, 0.08);
}

#[test]
fn short_soft_shade_is_told_from_sharpening() {
    // It ends within a few pixels of the outline, where sharpening leaves its halo.
    for (seed, strength) in [(6, 0.25), (8, 0.3)] {
        let mut spec = SceneSpec { seed, ..scene() };
        spec.shadow.strength = strength;
        let o = outcome(&spec, ScaleChoice::Given(20.0));
        for (from, to, bound) in [(4.0, 6.0, 0.03), (6.0, 10.0, 0.012), (10.0, 20.0, 0.006), (20.0, 80.0, 0.003)] {
            let (_, error) = o.by_size(from, to);
            assert!(error.abs() < bound, "{strength}: {from} to {to} px: {error}");
        }
    }
}

#[test]
fn neither_a_hard_lamp_nor_shade_all_round_changes_the_sizes() {
    // Of one lamp half the light is gone beside a particle, and the shadow is half as long as the particle is wide. Of light
    // from all sides three tenths are gone, and the shade lies all round.
    for (strength, reach, softness) in [(0.5, 0.5, 0.0), (0.3, 0.6, 1.0), (0.15, 0.6, 0.5)] {
        let mut spec = SceneSpec { seed: 6, ..scene() };
        (spec.shadow.strength, spec.shadow.reach, spec.shadow.softness) = (strength, reach, softness);
        let o = outcome(&spec, ScaleChoice::Given(20.0));
        for (from, to, bound) in [(4.0, 6.0, 0.03), (6.0, 10.0, 0.02), (10.0, 20.0, 0.012), (20.0, 80.0, 0.006)] {
            let (_, error) = o.by_size(from, to);
            assert!(error.abs() < bound, "{strength} {softness}: {from} to {to} px: {error}");
        }
        o.assert_errors(3.0, 1.0, 1.5, 0.08);
    }
}

#[test]
fn shadows_broken_by_noise_are_no_specks() {
    // Where a pixel is much smaller than the grounds, shadows are wide, and near the level of detection noise breaks them.
    for strength in [0.12, 0.3] {
        let mut spec = SceneSpec { seed: 4, um_per_px: 8.0, ..scene() };
        spec.camera.blur_sigma_px = 0.5;
        spec.shadow.strength = strength;
        let o = outcome(&spec, ScaleChoice::Given(8.0));
        let on_truth = |x: f64, y: f64| {
            o.rendered.truth.iter().any(|t| (t.x_px - x).hypot(t.y_px - y) < 2.0 + 0.2 * t.ecd_um / 8.0)
        };
        let (all, wrong) = (&o.photo.particles, o.photo.particles.iter().filter(|p| !on_truth(p.x_px, p.y_px)).count());
        assert!(all.len() > 100 && wrong * 50 < all.len(), "{strength}: {wrong} of {}", all.len());
    }
}

#[test]
fn a_coin_gives_the_scale_and_is_no_particle() {
    let mut spec = SceneSpec { seed: 7, width_px: 2400, height_px: 1800, ..scene() };
    spec.reference = Some(ReferenceDisc { diameter_mm: 16.25, centre: (0.25, 0.3), ..ReferenceDisc::default() });
    let o = outcome(&spec, ScaleChoice::Disc(RoundObject { diameter_mm: 16.25, thickness_mm: 0.0 }));
    assert!((o.photo.scale.typical() / 20.0 - 1.0).abs() < 0.003, "{}", o.photo.scale.typical());
    assert!(o.photo.reference.len() == 1);
    assert!(o.photo.particles.iter().all(|p| p.ecd_um < 3000.0), "the coin is counted as a particle");
    let disc = o.rendered.reference.as_ref().unwrap();
    let on_coin = |x: f64, y: f64| (x - disc.x_px).hypot(y - disc.y_px) < 0.5 * disc.diameter_px;
    assert!(!o.photo.particles.iter().any(|p| on_coin(p.x_px, p.y_px)));
    o.assert_errors(3.0, 1.0, 1.5, 0.08);
}

#[test]
fn a_table_round_the_sheet_and_a_thumb_are_no_particles() {
    for seed in [8, 9] {
        let mut spec = SceneSpec { seed, width_px: 2400, height_px: 1800, thumb: true, ..scene() };
        spec.surround = Some(Surround::default());
        let o = outcome(&spec, ScaleChoice::Given(20.0));
        assert!(o.photo.quality.paper_share < 0.8, "the table was taken for paper");
        let largest = o.photo.particles.iter().map(|p| p.ecd_um).fold(0.0, f64::max);
        let true_largest = o.rendered.truth.iter().map(|t| t.ecd_um).fold(0.0, f64::max);
        assert!(largest < 1.02 * true_largest, "{largest} µm, and the largest particle has {true_largest} µm");
        assert!(o.photo.particles.len() as f64 <= 1.01 * o.rendered.truth.len() as f64);
        o.assert_errors(4.0, 1.5, 2.0, 0.1);
    }
}

#[test]
fn particles_at_each_edge_of_the_frame_are_either_whole_or_left_out() {
    let o = outcome(&SceneSpec { seed: 10, ..scene() }, ScaleChoice::Given(20.0));
    let cut = o.rendered.truth.iter().filter(|t| t.cut_by_frame && t.ecd_um > 100.0).count();
    assert!(cut > 3, "the picture has cut particles to leave out");
    for t in o.rendered.truth.iter().filter(|t| t.cut_by_frame && t.ecd_um > 200.0) {
        // A sliver beyond the frame cannot be told from none.
        let measured = o.photo.particles.iter().find(|p| (p.x_px - t.x_px).hypot(p.y_px - t.y_px) < 3.0);
        assert!(
            measured.is_none_or(|p| (p.ecd_um / t.ecd_um - 1.0).abs() < 0.03),
            "a cut particle of {} µm counts",
            t.ecd_um
        );
    }
}

#[test]
fn at_the_stated_limit_nearly_all_particles_are_found() {
    for (seed, blur, noise) in [(11, 0.9, 0.008), (12, 1.6, 0.02)] {
        let mut spec = SceneSpec { seed, coverage: 0.02, ..scene() };
        spec.camera.blur_sigma_px = blur;
        spec.camera.photon_noise = noise;
        spec.grind.fines.median_um = 60.0;
        spec.grind.min_um = 20.0;
        let o = outcome(&spec, ScaleChoice::Given(20.0));
        let limit_px = o.photo.smallest_ecd_um / 20.0;
        let (found, _) = o.by_size(limit_px, 1.25 * limit_px);
        assert!(found > 0.95, "from {limit_px:.2} px up only {found} are found");
        assert!(o.photo.particles.iter().any(|p| p.flags.contains(Flags::BELOW_LIMIT)));
        assert!(limit_px < 4.5, "{limit_px}");
    }
}

#[test]
fn doubling_the_scale_doubles_every_length_and_leaves_every_ratio() {
    let rendered = render(&SceneSpec { width_px: 900, height_px: 700, seed: 13, ..scene() }).unwrap();
    let picture = photo::decode(&rendered.jpeg()).unwrap();
    let at =
        |um| measure_photo(picture.clone(), Path::new("x"), &Settings::new(ScaleChoice::Given(um)).unwrap()).unwrap();
    let (one, two) = (at(10.0), at(20.0));
    assert_eq!(one.particles.len(), two.particles.len());
    for (a, b) in one.particles.iter().zip(&two.particles) {
        assert!((b.ecd_um / a.ecd_um - 2.0).abs() < 1e-12);
        assert!((b.feret_min_um / a.feret_min_um - 2.0).abs() < 1e-12);
        assert_eq!((a.circularity, a.weight, a.aspect_ratio), (b.circularity, b.weight, b.aspect_ratio));
    }
}

#[test]
fn touching_particles_are_parted() {
    let spec = SceneSpec { touching_share: 0.3, ..scene() };
    let o = outcome(&spec, ScaleChoice::Given(20.0));
    let split = o.photo.particles.iter().filter(|p| p.flags.contains(Flags::SPLIT)).count();
    // By far the most of those that touch are specks.
    assert!(split >= 20, "{split}");
    // Specks that lie against a large particle are lost in it: fines come out low (docs/limits.md).
    o.assert_errors(2.0, 1.0, 2.0, 0.2);
    for (from, to, least) in [(6.0, 10.0, 0.96), (10.0, 20.0, 0.98), (20.0, 40.0, 0.98)] {
        let (found, _) = o.by_size(from, to);
        println!("{from}..{to} px: {found} found");
        assert!(found > least, "{from}..{to} px: {found} found");
    }
}

#[test]
fn pale_flakes_are_told_and_left_out_where_wished() {
    let mut spec = scene();
    spec.coffee.chaff_share = 0.08;
    let o = outcome(&spec, ScaleChoice::Given(20.0));
    let truth_of = |p: &lightsieve::particle::Particle| {
        let off = |t: &&TrueParticle| (p.x_px - t.x_px).hypot(p.y_px - t.y_px);
        o.rendered.truth.iter().min_by(|a, b| off(a).total_cmp(&off(b))).unwrap()
    };
    // Blur leaves the middle of smaller ones mixed with paper.
    let resolved = |chaff: bool| {
        let of = o.photo.particles.iter().filter(move |p| p.ecd_um > 220.0 && truth_of(p).chaff == chaff);
        let pale = of.clone().filter(|p| p.flags.contains(Flags::PALE)).count();
        (of.count(), pale)
    };
    let ((chaff, found), (coffee, mistaken)) = (resolved(true), resolved(false));
    println!("{found} of {chaff} flakes, {mistaken} of {coffee} grains");
    assert!(chaff >= 10 && 10 * found >= 9 * chaff && mistaken == 0, "{found} of {chaff}, {mistaken} of {coffee}");
    let settings = Settings::new(ScaleChoice::Given(20.0)).unwrap().with_chaff(false);
    let picture = photo::decode(&o.rendered.jpeg()).unwrap();
    let without = measure_photo(picture, Path::new("rendered.jpg"), &settings).unwrap();
    let pale = o.photo.particles.iter().filter(|p| p.flags.contains(Flags::PALE)).count();
    assert_eq!(without.particles.len() + pale, o.photo.particles.len());
    assert_eq!(without.rejected.iter().filter(|(_, why)| *why == Rejection::Chaff).count(), pale);
}

#[test]
fn a_hair_is_left_out() {
    let mut rendered = render(&scene()).unwrap();
    let measured = |rendered: &Rendered| {
        let photo = photo::decode(&rendered.jpeg()).unwrap();
        measure_photo(photo, Path::new("hair.jpg"), &Settings::new(ScaleChoice::Given(20.0)).unwrap()).unwrap()
    };
    let before = measured(&rendered);
    // An arc of 130 px, 3 px wide, on bare paper: the emptiest of some places.
    let arc = |x: f64, y: f64, at: f64| [x + 120.0 * at.cos(), y + 120.0 * at.sin()];
    let steps = || (0..=260).map(|i| 0.2 + 1.1 * f64::from(i) / 260.0);
    let clear = |x: f64, y: f64| {
        let off = |[u, v]: [f64; 2]| {
            rendered
                .truth
                .iter()
                .map(|t| (t.x_px - u).hypot(t.y_px - v) - t.feret_max_um / 40.0)
                .fold(f64::MAX, f64::min)
        };
        steps().map(|at| off(arc(x, y, at))).fold(f64::MAX, f64::min)
    };
    let places = (0..600).map(|i| [60.0 + f64::from(i % 30) * 60.0, 60.0 + f64::from(i / 30) * 65.0]);
    let [x, y] = places.max_by(|a, b| clear(a[0], a[1]).total_cmp(&clear(b[0], b[1]))).unwrap();
    assert!(clear(x, y) > 6.0, "no bare place for a hair: {}", clear(x, y));
    for (u, v, pixel) in rendered.image.enumerate_pixels_mut() {
        let [u, v] = [f64::from(u) + 0.5, f64::from(v) + 0.5];
        if (u - x).hypot(v - y) > 125.0 {
            continue;
        }
        let off = steps().map(|at| arc(x, y, at)).map(|[p, q]| (p - u).hypot(q - v)).fold(f64::MAX, f64::min);
        let light = 1.0 - 0.8 * (2.0 - off).clamp(0.0, 1.0);
        pixel.0.iter_mut().for_each(|c| *c = (f64::from(*c) * light) as u8);
    }
    let after = measured(&rendered);
    let fibres = |m: &MeasuredPhoto| m.rejected.iter().filter(|(_, why)| *why == Rejection::Fibre).count();
    assert_eq!((fibres(&before), fibres(&after)), (0, 1));
    assert!(after.particles.len().abs_diff(before.particles.len()) <= 1);
}

#[test]
fn a_sharpened_photo_gives_the_same_sizes() {
    let mut spec = scene();
    spec.camera.sharpen.amount = 0.8;
    let o = outcome(&spec, ScaleChoice::Given(20.0));
    o.assert_errors(3.0, 1.0, 1.5, 0.08);
    for (from, to, bias) in [(4.0, 6.0, 0.03), (6.0, 10.0, 0.02), (10.0, 20.0, 0.015)] {
        let (found, error) = o.by_size(from, to);
        assert!(found > 0.98 && error.abs() < bias, "{from}..{to} px: {found} found, {error}");
    }
}
