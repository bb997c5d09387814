//! Advice on photos made to deserve it, and silence on good ones.
//!
//! The table of `docs/advice.md`: `cargo test --release --test advice -- --ignored --nocapture`.

use std::path::Path;

use image::RgbImage;
use lightsieve::photo;
use lightsieve::pipeline::{MeasuredPhoto, ScaleChoice, Settings, measure_photo};
use lightsieve::render::{Rendered, SceneSpec, render};
use rayon::prelude::*;

/// Faults, each called by the name of the check that should fire on it.
const FAULTS: [&str; 13] = [
    "focus",
    "depth",
    "motion",
    "clipped",
    "dark",
    "uneven",
    "shadows",
    "noise",
    "texture",
    "compressed",
    "touching",
    "few",
    "resolution",
];

fn good(seed: u64) -> SceneSpec {
    let mut spec = SceneSpec { seed, width_px: 1800, height_px: 1350, um_per_px: 22.0, ..SceneSpec::default() };
    // Photos differ: each has its own blur, light and noise, all of them fair.
    let vary = |k: u64| (seed * 7919 + k * 104_729) % 1000;
    let between = |k: u64, low: f64, high: f64| low + (high - low) * vary(k) as f64 / 1000.0;
    spec.coverage = between(1, 0.03, 0.07);
    spec.camera.blur_sigma_px = between(2, 0.7, 1.2);
    spec.camera.photon_noise = between(3, 0.008, 0.018);
    spec.light.gradient = between(4, 0.0, 0.25);
    spec.light.vignette = between(5, 0.0, 0.2);
    spec.shadow.strength = between(6, 0.08, 0.2);
    spec.grind.coarse.median_um = 480.0;
    spec.grind.max_um = 1500.0;
    spec
}

fn faulty(fault: &str, seed: u64) -> SceneSpec {
    let mut spec = good(seed);
    let gross = (seed % 5) as f64 / 4.0;
    let between = |low: f64, high: f64| low + (high - low) * gross;
    match fault {
        "focus" => spec.camera.blur_sigma_px = between(2.4, 4.0),
        "dark" => {
            let share = between(0.12, 0.06);
            spec.paper.reflectance = spec.paper.reflectance.map(|r| share * r);
            spec.coffee.reflectance = spec.coffee.reflectance.map(|r| share * r);
        }
        "uneven" => (spec.light.gradient, spec.light.vignette) = (between(0.7, 0.9), 0.5),
        "shadows" => {
            (spec.shadow.strength, spec.shadow.softness, spec.shadow.reach) = (between(0.5, 0.6), 0.0, 0.5);
        }
        "noise" => spec.camera.photon_noise = between(0.05, 0.09),
        "texture" => spec.paper.texture = between(0.06, 0.15),
        "compressed" => spec.camera.jpeg_quality = between(40.0, 15.0) as u8,
        "touching" => spec.touching_share = between(0.4, 0.7),
        "few" => spec.coverage = 0.002,
        "resolution" => {
            spec.um_per_px = between(70.0, 100.0);
            spec.grind.coarse.median_um = 900.0;
            spec.grind.max_um = 3000.0;
        }
        _ => {}
    }
    spec
}

/// The picture drawn out along a line of `length` px.
fn shaken(image: &RgbImage, length: i64, steep: bool) -> RgbImage {
    let (w, h) = (i64::from(image.width()), i64::from(image.height()));
    RgbImage::from_fn(image.width(), image.height(), |x, y| {
        let mut sum = [0u32; 3];
        for k in 0..length {
            let (dx, dy) = if steep { (k - length / 2, k - length / 2) } else { (k - length / 2, 0) };
            let p =
                image.get_pixel((i64::from(x) + dx).clamp(0, w - 1) as u32, (i64::from(y) + dy).clamp(0, h - 1) as u32);
            (0..3).for_each(|c| sum[c] += u32::from(p.0[c]));
        }
        image::Rgb(sum.map(|s| (s / length as u32) as u8))
    })
}

/// The picture as a phone held at a slant sees it: blurred by `sigma` px more from three fifths of its width on.
fn softer_to_the_right(image: &RgbImage, sigma: f32) -> RgbImage {
    let soft = image::imageops::blur(image, sigma);
    RgbImage::from_fn(image.width(), image.height(), |x, y| {
        let share = ((x as f32 / image.width() as f32 - 0.5) / 0.1).clamp(0.0, 1.0);
        let mix = |a: u8, b: u8| (f32::from(a) + share * (f32::from(b) - f32::from(a))).round() as u8;
        image::Rgb(std::array::from_fn(|c| mix(image.get_pixel(x, y).0[c], soft.get_pixel(x, y).0[c])))
    })
}

fn measured(fault: &str, seed: u64) -> MeasuredPhoto {
    let spec = faulty(fault, seed);
    let mut rendered: Rendered = render(&spec).unwrap();
    if fault == "motion" {
        rendered.image = shaken(&rendered.image, 6 + (seed % 5) as i64, seed.is_multiple_of(2));
    }
    if fault == "clipped" {
        let gain = 1.25 + 0.05 * (seed % 5) as f32;
        rendered.image.iter_mut().for_each(|code| *code = (gain * f32::from(*code)).min(255.0) as u8);
    }
    if fault == "depth" {
        let blur = spec.camera.blur_sigma_px;
        let most = blur * (2.0 + 0.2 * (seed % 5) as f64);
        rendered.image = softer_to_the_right(&rendered.image, (most * most - blur * blur).sqrt() as f32);
    }
    let settings = Settings::new(ScaleChoice::Given(spec.um_per_px)).unwrap();
    measure_photo(photo::decode(&rendered.jpeg()).unwrap(), Path::new("photo.jpg"), &settings).unwrap()
}

fn fired(photo: &MeasuredPhoto) -> Vec<&'static str> {
    photo.checks.iter().filter(|c| c.fires()).map(|c| c.name).collect()
}

#[test]
fn good_photos_get_no_advice() {
    let photos: Vec<_> = (1..=6u64).into_par_iter().map(|seed| fired(&measured("", seed))).collect();
    assert!(photos.iter().all(Vec::is_empty), "{photos:?}");
}

#[test]
fn every_fault_is_named() {
    let all: Vec<_> = FAULTS.par_iter().map(|fault| (fault, fired(&measured(fault, 3)))).collect();
    for (fault, fired) in all {
        assert!(fired.contains(fault), "{fault}: {fired:?}");
    }
}

#[test]
fn a_picture_far_too_coarse_is_measured_and_says_so() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-images/on-the-sheet.jpg");
    let small = image::open(demo).unwrap().resize_exact(450, 338, image::imageops::FilterType::Triangle).into_rgb8();
    let mut png = std::io::Cursor::new(Vec::new());
    small.write_to(&mut png, image::ImageFormat::Png).unwrap();
    let settings = Settings::new(ScaleChoice::Given(248.0)).unwrap();
    let photo = measure_photo(photo::decode(png.get_ref()).unwrap(), Path::new("small.png"), &settings).unwrap();
    assert!(photo.particles.iter().all(|p| p.ecd_um > 0.0 && p.ecd_um.is_finite()));
    assert!(fired(&photo).contains(&"resolution"), "{:?}", fired(&photo));
}

#[test]
fn a_field_half_in_deep_shadow_says_so() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-images/on-the-sheet.jpg");
    let mut picture = image::open(demo).unwrap().into_rgb8();
    for (x, _, pixel) in picture.enumerate_pixels_mut() {
        if x > 1500 {
            // Two thirds of the code are two fifths of the light.
            pixel.0 = pixel.0.map(|c| (0.66 * f32::from(c)) as u8);
        }
    }
    let mut png = std::io::Cursor::new(Vec::new());
    picture.write_to(&mut png, image::ImageFormat::Png).unwrap();
    let settings = Settings::new(ScaleChoice::Sheet(None)).unwrap();
    let photo = measure_photo(photo::decode(png.get_ref()).unwrap(), Path::new("half.png"), &settings).unwrap();
    assert!(fired(&photo).contains(&"covered"), "{:?}", fired(&photo));
}

#[test]
#[ignore = "204 photos"]
fn two_hundred_photos() {
    println!("| fault | photos | named | other advice on these |");
    let mut quiet = 0;
    for fault in [""].iter().chain(&FAULTS) {
        let seeds = if fault.is_empty() { 100..160u64 } else { 100..112 };
        let all: Vec<Vec<&str>> = seeds.clone().into_par_iter().map(|seed| fired(&measured(fault, seed))).collect();
        let named = all.iter().filter(|f| f.contains(fault)).count();
        let mut others: Vec<&str> = all.iter().flatten().copied().filter(|f| f != fault).collect();
        others.sort_unstable();
        others.dedup();
        if fault.is_empty() {
            quiet = all.iter().filter(|f| f.is_empty()).count();
            println!("| none | {} | {quiet} without any | {} |", all.len(), others.join(", "));
        } else {
            println!("| {fault} | {} | {named} | {} |", all.len(), others.join(", "));
        }
    }
    assert!(quiet >= 57, "{quiet} of 60 good photos got no advice");
}
