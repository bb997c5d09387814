//! Photos that are sharp on one side and soft on the other, as a phone held at a slant takes them.

use std::path::Path;

use lightsieve::particle::Particle;
use lightsieve::photo;
use lightsieve::pipeline::{MeasuredPhoto, ScaleChoice, Settings, measure_photo};
use lightsieve::render::{Rendered, SceneSpec, TrueParticle, render};

/// The same grounds drawn with two blurs, and joined over a seam in the middle of the picture; with the blur that is read in
/// either alone, px.
fn joined(seed: u64) -> (Rendered, MeasuredPhoto, [f64; 2]) {
    let drawn = |blur: f64| {
        let mut spec = SceneSpec {
            seed,
            width_px: 2400,
            height_px: 1800,
            um_per_px: 20.0,
            coverage: 0.05,
            ..SceneSpec::default()
        };
        spec.camera.blur_sigma_px = blur;
        spec.grind.fines.median_um = 75.0;
        spec.grind.fines_number_share = 0.92;
        spec.grind.min_um = 30.0;
        spec.grind.max_um = 1600.0;
        render(&spec).unwrap()
    };
    let (mut sharp, soft) = (drawn(0.9), drawn(2.2));
    let alone = [&sharp, &soft].map(|photo| measured(photo).quality.blur_px);
    let width = f64::from(sharp.image.width());
    for (x, y, pixel) in sharp.image.enumerate_pixels_mut() {
        let share = ((f64::from(x) / width - 0.5) / 0.06).clamp(0.0, 1.0);
        let other = soft.image.get_pixel(x, y);
        for (a, b) in pixel.0.iter_mut().zip(other.0) {
            *a = (f64::from(*a) + share * (f64::from(b) - f64::from(*a))).round() as u8;
        }
    }
    let photo = measured(&sharp);
    (sharp, photo, alone)
}

fn measured(rendered: &Rendered) -> MeasuredPhoto {
    let settings = Settings::new(ScaleChoice::Given(20.0)).unwrap();
    measure_photo(photo::decode(&rendered.jpeg()).unwrap(), Path::new("joined.jpg"), &settings).unwrap()
}

/// Share found of the true particles of `from..to` px that lie in the soft third, and median relative error of their size.
fn in_the_soft_third(all: &[(Rendered, MeasuredPhoto, [f64; 2])], from: f64, to: f64) -> (f64, f64) {
    let (mut wanted, mut ratios) = (0, Vec::new());
    for (rendered, photo, _) in all {
        let [w, h] = photo.size_px.map(|v| v as f64);
        let inside = |t: &&TrueParticle| {
            (0.67 * w..w - 60.0).contains(&t.x_px) && (60.0..h - 60.0).contains(&t.y_px) && !t.touching
        };
        for t in rendered.truth.iter().filter(inside).filter(|t| (from..to).contains(&(t.ecd_um / 20.0))) {
            wanted += 1;
            let off = |p: &&Particle| (p.x_px - t.x_px).hypot(p.y_px - t.y_px);
            let near = photo.particles.iter().min_by(|a, b| off(a).total_cmp(&off(b))).unwrap();
            if off(&near) < 2.0 + 0.15 * t.ecd_um / 20.0 {
                ratios.push(near.ecd_um / t.ecd_um - 1.0);
            }
        }
    }
    ratios.sort_by(f64::total_cmp);
    (ratios.len() as f64 / f64::from(wanted), 100.0 * ratios[ratios.len() / 2])
}

#[test]
fn sizes_and_the_limit_go_by_the_blur_of_their_place() {
    let all = [joined(1), joined(2)];
    for (_, photo, alone) in &all {
        let blur = &photo.quality.blur_by_ninth_px;
        let (left, right) = (blur[3], blur[5]);
        println!("blur {blur:.2?}, alone {alone:.2?}");
        assert!(
            (left / alone[0] - 1.0).abs() < 0.15 && (right / alone[1] - 1.0).abs() < 0.15,
            "{blur:.2?}, alone {alone:.2?}"
        );
        // Places are told apart by how soft they look, and sharpening makes sharp edges look sharper than the lens drew them.
        assert!((right / left / (alone[1] / alone[0]) - 1.0).abs() < 0.13, "{blur:.2?}, alone {alone:.2?}");
        let limit = &photo.smallest_by_ninth_um;
        assert!(
            limit[5] > 1.3 * limit[3] && (limit[3]..1.1 * limit[5]).contains(&photo.smallest_ecd_um),
            "{limit:.0?} {}",
            photo.smallest_ecd_um
        );
        let advice = photo.checks.iter().find(|c| c.name == "depth").unwrap();
        assert!(advice.fires() && advice.sentence.contains("right"), "{}", advice.sentence);
    }
    // With one blur for the whole photo particles of 10 to 20 px come out 3 % too small there.
    for (from, to, most) in [(4.0, 6.0, 2.5), (6.0, 10.0, 1.5), (10.0, 20.0, 1.0), (20.0, 60.0, 0.5)] {
        let (found, bias) = in_the_soft_third(&all, from, to);
        println!("{from}..{to} px: {found:.3} found, {bias:+.2} %");
        assert!(found > 0.98 && bias.abs() < most, "{from}..{to} px: {found} found, {bias} %");
    }
    // The limit of the soft third is its own.
    let limit_px = all.iter().map(|(_, photo, _)| photo.smallest_by_ninth_um[5]).sum::<f64>() / 40.0;
    let (found, _) = in_the_soft_third(&all, 0.93 * limit_px, 1.07 * limit_px);
    println!("at {limit_px:.2} px: {found:.3} found");
    assert!((0.88..0.995).contains(&found), "at {limit_px:.2} px: {found} found");
}
