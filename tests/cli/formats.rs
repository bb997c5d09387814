//! The same picture in every format and way up gives the same sizes.

use std::collections::BTreeMap;

use image::metadata::Orientation;
use image::{DynamicImage, GrayImage, ImageFormat, Luma};

use crate::pictures::{encoded, fine_jpeg, grounds, png, with_orientation};
use crate::support::{Desk, figure, near};

/// What is seen in a picture file.
#[derive(Debug, PartialEq)]
struct Seen {
    d50_um: f64,
    overlay_px: (u32, u32),
    /// Centre of the largest particle, px.
    largest: [f64; 2],
}

#[track_caller]
fn see(name: &str, bytes: &[u8]) -> Seen {
    let desk = Desk::with(name, bytes);
    let outputs = "--json out.json --particles out.csv --overlay out.png";
    desk.run(&format!("measure {name} --scale 20 {outputs}")).is_done();
    let overlay = image::load_from_memory(&desk.bytes("out.png")).unwrap();
    let rows = desk.csv("out.csv");
    let of = |row: &BTreeMap<String, String>, column: &str| row[column].parse::<f64>().unwrap();
    let largest = rows.iter().max_by(|a, b| of(a, "ecd_um").total_cmp(&of(b, "ecd_um"))).unwrap();
    Seen {
        d50_um: figure(&desk.json("out.json"), "d50_um"),
        overlay_px: (overlay.width(), overlay.height()),
        largest: [of(largest, "x_px"), of(largest, "y_px")],
    }
}

/// Asserts the same sizes and places as in `first`.
#[track_caller]
fn alike(seen: &Seen, first: &Seen, what: &str) {
    near(seen.d50_um, first.d50_um, 0.005, what);
    assert_eq!((seen.overlay_px.0, seen.overlay_px), (900, first.overlay_px), "{what}");
    for (a, b) in seen.largest.into_iter().zip(first.largest) {
        assert!((a - b).abs() < 1.0, "{what}: {seen:?} {first:?}");
    }
}

#[test]
fn every_lossless_format_gives_the_same_sizes() {
    let rgb = &grounds().image;
    let picture = DynamicImage::from(rgb.clone());
    let grey = GrayImage::from_fn(900, 700, |x, y| {
        let [r, g, b] = rgb[(x, y)].0.map(f64::from);
        Luma([(0.299 * r + 0.587 * g + 0.114 * b).round() as u8])
    });
    let files = [
        ("rgb8.png", png(rgb.clone())),
        ("rgb16.png", png(picture.to_rgb16())),
        ("rgb8.tif", encoded(rgb.clone(), ImageFormat::Tiff)),
        ("rgb16.tiff", encoded(picture.to_rgb16(), ImageFormat::Tiff)),
        ("grey8.png", png(grey)),
        ("rgb8.webp", encoded(rgb.clone(), ImageFormat::WebP)),
        ("rgba8.png", png(picture.to_rgba8())),
    ];
    let seen = files.each_ref().map(|(name, bytes)| see(name, bytes));
    for ((name, _), one) in files.iter().zip(&seen) {
        alike(one, &seen[0], name);
    }
}

#[test]
fn a_clear_pixel_counts_as_white_paper() {
    let mut rgba = DynamicImage::from(grounds().image.clone()).to_rgba8();
    for (_, _, pixel) in rgba.enumerate_pixels_mut().filter(|(x, y, _)| *x < 40 && *y < 40) {
        pixel.0 = [0, 0, 0, 0];
    }
    near(see("a.png", &png(rgba)).d50_um, see("b.png", &png(grounds().image.clone())).d50_um, 0.02, "D50");
}

#[test]
fn the_ending_of_the_name_does_not_matter() {
    let jpeg = grounds().jpeg();
    assert_eq!(see("photo", &jpeg), see("a.jpg", &jpeg));
    assert_eq!(see("a.png", &jpeg), see("a.jpg", &jpeg));
}

#[test]
fn a_way_up_that_does_not_exist_is_taken_as_upright() {
    let jpeg = grounds().jpeg();
    for orientation in [0, 9, 65_535] {
        assert_eq!(see("a.jpg", &with_orientation(&jpeg, orientation)), see("a.jpg", &jpeg));
    }
}

#[test]
fn all_eight_ways_up_give_the_same_sizes() {
    let upright = see("a.jpg", &fine_jpeg(&grounds().image));
    for orientation in 1..=8 {
        // A quarter turn is undone by the other one; every other way up is its own inverse.
        let inverse = match orientation {
            6 => 8,
            8 => 6,
            same => same,
        };
        let mut turned = DynamicImage::from(grounds().image.clone());
        turned.apply_orientation(Orientation::from_exif(inverse).unwrap());
        let file = with_orientation(&fine_jpeg(&turned.into_rgb8()), orientation.into());
        alike(&see("turned.jpg", &file), &upright, &format!("orientation {orientation}"));
    }
}

/// A photo as phones write it by default: HEVC, turned a quarter. Without libheif on the computer the error must say so.
#[test]
fn a_heic_photo_gives_the_sizes_of_its_picture() {
    let bytes = include_bytes!("../data/turned.heic");
    let desk = Desk::with("a.heic", bytes);
    let outcome = desk.run("measure a.heic --scale 20");
    if outcome.stderr.contains("libheif is not installed") {
        desk.refuses_photo("a.heic", &["HEIC", "JPEG"]);
        return;
    }
    alike(&see("a.heic", bytes), &see("a.png", &png(grounds().image.clone())), "HEIC");
}
