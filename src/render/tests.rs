//! Whole scenes.

use super::layout::Particle;
use super::lens::Lens;
use super::noise::{Job, rng};
use super::paint::{Scene, radiance};
use super::stage::Stage;
use super::*;

fn small() -> SceneSpec {
    SceneSpec { width_px: 320, height_px: 300, coverage: 0.08, ..SceneSpec::default() }
}

fn plain(spec: SceneSpec) -> SceneSpec {
    SceneSpec {
        coffee: Coffee { spread: 0.0, texture: 0.0, ..Coffee::default() },
        paper: Paper { texture: 0.0, ..Paper::default() },
        light: Light { gradient: 0.0, vignette: 0.0, ..Light::default() },
        shadow: Shadow { strength: 0.0, ..Shadow::default() },
        ..spec
    }
}

#[test]
fn darkness_of_a_blurred_particle_is_area_times_contrast() {
    for (i, ecd) in [1.3, 4.0, 11.0, 60.0].into_iter().enumerate() {
        let spec = plain(SceneSpec { width_px: 160, height_px: 160, ..SceneSpec::default() });
        let outline = outline::grain(ecd, false, &mut rng(9, Job::Outline, i as u64));
        let particle =
            Particle { index: 0, x: 80.3, y: 79.6, outline, ecd, radius: ecd, touching: false, chaff: false };
        let scene = Scene::new(spec.clone(), Stage::new(&spec, 0.0), vec![particle]);
        let mut strip = radiance(&scene, 0..160);
        Lens::of(&spec).blur(&mut strip);
        for c in 0..3 {
            let paper = spec.paper.reflectance[c];
            let dark: f64 = strip.planes[c].iter().map(|&v| paper - f64::from(v)).sum();
            let area = std::f64::consts::FRAC_PI_4 * ecd * ecd;
            let asked = area * (paper - spec.coffee.reflectance[c]);
            assert!((dark / asked - 1.0).abs() < 0.005, "ecd {ecd}: {dark} for {asked}");
        }
    }
}

#[test]
fn same_seed_same_bytes_on_any_number_of_threads() {
    let spec = SceneSpec {
        touching_share: 0.3,
        reference: Some(ReferenceDisc { diameter_mm: 2.0, ..ReferenceDisc::default() }),
        ..small()
    };
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| render(&spec).unwrap())
    };
    let (one, four) = (on(1), on(4));
    assert!(one.image == four.image && one.truth == four.truth);
    assert!(one.truth_csv() == four.truth_csv() && one.jpeg() == four.jpeg());
    let other = render(&SceneSpec { seed: 2, ..spec }).unwrap();
    assert!(other.image != one.image);
}

#[test]
fn strips_leave_no_seam() {
    let spec =
        SceneSpec { touching_share: 0.2, shadow: Shadow { strength: 0.5, reach: 1.0, ..Shadow::default() }, ..small() };
    let (scene, _) = set(&spec).unwrap();
    let whole = camera::photograph(&scene, 300);
    assert!(camera::photograph(&scene, 128) == whole);
    assert!(camera::photograph(&scene, 13) == whole);
}

#[test]
fn coverage_gaps_and_sheet_are_kept() {
    let spec = SceneSpec {
        width_px: 700,
        height_px: 500,
        coverage: 0.05,
        surround: Some(Surround { rotation_deg: 0.0, ..Surround::default() }),
        ..SceneSpec::default()
    };
    let made = render(&spec).unwrap();
    let margin = 2000.0 / spec.um_per_px;
    let mut area = 0.0;
    for p in &made.truth {
        assert!(!p.cut_by_frame && !p.touching);
        assert!(p.x_px > 0.09 * 700.0 + margin && p.x_px < 0.92 * 700.0 - margin);
        assert!(p.y_px > 0.1 * 500.0 + margin && p.y_px < 0.9 * 500.0 - margin);
        area += p.area_um2 / spec.um_per_px.powi(2);
    }
    let share = area / (0.83 * 700.0 * 0.8 * 500.0);
    // The last particle may go well over.
    assert!((0.0495..0.06).contains(&share), "{share}");
}

#[test]
fn touching_share_is_met() {
    let spec = SceneSpec { width_px: 900, height_px: 700, touching_share: 0.4, ..small() };
    let made = render(&spec).unwrap();
    let touching = made.truth.iter().filter(|p| p.touching).count() as f64;
    let share = touching / made.truth.len() as f64;
    assert!((share - 0.4).abs() < 0.06, "{share}");
}

#[test]
fn everything_at_once_can_be_drawn() {
    let spec = SceneSpec {
        um_per_px: 150.0,
        reference: Some(ReferenceDisc { diameter_mm: 8.0, ..ReferenceDisc::default() }),
        surround: Some(Surround::default()),
        thumb: true,
        ..small()
    };
    let made = render(&spec).unwrap();
    let disc = made.reference.unwrap();
    assert!((disc.diameter_px - 8000.0 / 150.0).abs() < 1e-9);
    let inside = |p: &&TrueParticle| (p.x_px - disc.x_px).hypot(p.y_px - disc.y_px) < 0.5 * disc.diameter_px;
    assert_eq!(made.truth.iter().filter(inside).count(), 0);
    assert!(!made.truth.is_empty() && made.mass_figures(100.0).d50_um > 0.0);
}

#[test]
fn nonsense_is_refused() {
    let refused = |change: fn(&mut SceneSpec), field: &str| {
        let mut spec = small();
        change(&mut spec);
        let message = render(&spec).unwrap_err().to_string();
        assert!(message.contains(field), "{message}");
    };
    refused(|s| s.width_px = 0, "width_px");
    refused(|s| s.height_px = 4_000_000, "height_px");
    refused(|s| s.um_per_px = f64::NAN, "um_per_px");
    refused(|s| s.grind.coarse.median_um = 0.0, "grind.coarse.median_um");
    refused(|s| s.grind.fines.gsd = 0.9, "grind.fines.gsd");
    refused(|s| s.grind.max_um = 100.0, "grind.coarse.median_um");
    refused(|s| s.coverage = -0.1, "coverage");
    refused(|s| s.shadow.strength = 0.7, "shadow.strength");
    refused(|s| s.camera.jpeg_quality = 0, "camera.jpeg_quality");
    refused(|s| s.camera.blur_sigma_px = f64::INFINITY, "camera.blur_sigma_px");
    refused(|s| s.coverage = 0.5, "found room");
    refused(|s| s.surround = Some(Surround { left: 0.9, right: 0.1, ..Surround::default() }), "surround.right");
}

#[test]
fn no_coverage_is_bare_paper() {
    let made = render(&SceneSpec { coverage: 0.0, ..small() }).unwrap();
    assert!(made.truth.is_empty() && made.mass_figures(100.0).d50_um.is_nan());
}
