//! Files that are no photo of grounds, and photos with little to see.

use image::{ImageFormat, RgbImage};
use lightsieve::render::{SceneSpec, render};

use crate::pictures::{
    broken_jpeg, cmyk_jpeg, discs, encoded, grounds, grounds_jpeg, jpeg_that_claims, plain, png, png_that_claims,
    scene, with_orientation,
};
use crate::support::{Desk, FIGURES, figure, has_null, near, number};

#[test]
fn a_missing_file_is_refused() {
    Desk::empty().refuses_photo("away.jpg", &["no such file", "Check the name"]);
}

#[test]
fn an_empty_file_is_refused() {
    Desk::with("a.jpg", b"").refuses_photo("a.jpg", &["empty", "Copy the photo again"]);
}

#[test]
fn a_jpeg_cut_in_half_is_refused() {
    Desk::with("a.jpg", broken_jpeg()).refuses_photo("a.jpg", &["cut short", "Copy it again"]);
}

#[test]
fn a_jpeg_that_lacks_its_last_hundredth_is_refused() {
    let whole = grounds_jpeg();
    Desk::with("a.jpg", &whole[..whole.len() * 99 / 100]).refuses_photo("a.jpg", &["cut short", "Copy it again"]);
}

#[test]
fn a_png_cut_in_half_is_refused() {
    let whole = plain(200);
    Desk::with("a.png", &whole[..whole.len() / 2]).refuses_photo("a.png", &["cut short", "Copy it again"]);
}

#[test]
fn a_text_file_named_jpg_is_refused() {
    Desk::with("a.jpg", b"ground coffee, medium\n").refuses_photo("a.jpg", &["not a picture", "JPEG"]);
}

#[test]
fn a_gif_is_refused_and_the_kinds_that_can_be_read_are_named() {
    let gif = b"GIF89a\x01\0\x01\0\x80\0\0\xff\xff\xff\0\0\0,\0\0\0\0\x01\0\x01\0\0\x02\x02D\x01\0;";
    Desk::with("a.gif", gif).refuses_photo("a.gif", &["JPEG", "PNG", "TIFF", "WebP"]);
}

#[test]
fn a_png_that_claims_3600_megapixels_is_refused() {
    Desk::with("a.png", &png_that_claims(60_000, 60_000)).refuses_photo("a.png", &["60000", "at most", "px"]);
}

#[test]
fn a_jpeg_that_claims_4225_megapixels_is_refused() {
    Desk::with("a.jpg", &jpeg_that_claims(65_000, 65_000)).refuses_photo("a.jpg", &["65000", "at most", "px"]);
}

#[test]

fn a_jpeg_that_claims_more_rows_than_it_holds_is_refused() {
    Desk::with("a.jpg", &jpeg_that_claims(900, 1400)).refuses_photo("a.jpg", &["cut short", "Copy it again"]);
}

#[test]

fn a_jpeg_cut_in_half_and_closed_with_an_end_mark_is_refused() {
    let closed = [broken_jpeg(), &[0xFF, 0xD9]].concat();
    Desk::with("a.jpg", &closed).refuses_photo("a.jpg", &["cut short", "Copy it again"]);
}

#[test]
fn what_follows_the_end_of_a_jpeg_does_not_matter() {
    let film = [grounds_jpeg(), b"\0\0\0\x18ftypmp42", &[0x55; 100_000]].concat();
    let desk = Desk::with("a.jpg", grounds_jpeg()).and("b.jpg", &film);
    desk.run("measure a.jpg --scale 20 --json a.json").is_done();
    desk.run("measure b.jpg --scale 20 --json b.json").is_done();
    assert_eq!(desk.json("a.json")["distribution"], desk.json("b.json")["distribution"]);
}

#[test]
fn photos_with_flipped_bytes_end_cleanly() {
    let small = render(&SceneSpec { width_px: 240, height_px: 180, ..scene(3) }).unwrap();
    let turned = with_orientation(&small.jpeg(), 6);
    let kinds = [ImageFormat::Png, ImageFormat::Tiff, ImageFormat::WebP];
    let files = kinds.map(|kind| encoded(small.image.clone(), kind)).into_iter().chain([turned]);
    for (kind, whole) in files.enumerate() {
        for (at, byte) in flips(whole.len(), 12) {
            let mut file = whole.clone();
            file[at] = byte;
            let status = Desk::with("a", &file).run("measure a --scale 20 --json out.json").status;
            assert!(matches!(status, Some(0 | 1)), "{status:?} after byte {at} of file {kind} became {byte}");
        }
    }
}

/// Places and bytes without order: half of them in the first 300 bytes, where the headers are.
fn flips(length: usize, count: usize) -> impl Iterator<Item = (usize, u8)> {
    (1..=count).map(move |i| {
        let draw = (i as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 16;
        let reach = if i % 2 == 0 { length } else { length.min(300) };
        (draw as usize % reach, (draw >> 40) as u8)
    })
}

#[test]
fn a_jpeg_without_pixels_is_refused() {
    // No height: it may stand behind the picture.
    Desk::with("a.jpg", &jpeg_that_claims(0, 0)).refuses_photo("a.jpg", &["rare kind", "save it anew"]);
    Desk::with("a.jpg", &jpeg_that_claims(0, 9)).refuses_photo("a.jpg", &["damaged"]);
}

#[test]
fn a_jpeg_whose_data_do_not_fit_the_picture_is_refused() {
    // Ever so many pixels decode from it.
    for (width, height) in [(900, 350), (800, 700), (900, 720)] {
        Desk::with("a.jpg", &jpeg_that_claims(width, height)).refuses_photo("a.jpg", &["damaged", "do not fit"]);
    }
}

#[test]
fn half_of_the_paper_in_shade_is_told() {
    let mut image = grounds().image.clone();
    // 0.73 of the sRGB code is half of the light.
    let shaded = image.enumerate_pixels_mut().filter(|(x, ..)| *x >= 450);
    shaded.for_each(|(.., pixel)| pixel.0 = pixel.0.map(|c| (0.73 * f64::from(c)) as u8));
    let desk = Desk::with("a.png", &png(image));
    let outcome = desk.run("measure a.png --scale 20");
    assert!(outcome.stdout.contains("of the picture"), "{}", outcome.stdout);
    let whole = Desk::with("a.png", &png(grounds().image.clone())).run("measure a.png --scale 20");
    assert!(!whole.stdout.contains("of the picture"), "{}", whole.stdout);
}

#[test]
fn a_cmyk_jpeg_is_refused() {
    Desk::with("a.jpg", &cmyk_jpeg()).refuses_photo("a.jpg", &["CMYK", "RGB JPEG"]);
}

#[test]

fn a_heic_stub_is_refused_with_the_way_to_a_jpeg() {
    let stub = b"\0\0\0\x18ftypheic\0\0\0\0mif1heic and then nothing of use";
    Desk::with("a.heic", stub).refuses_photo("a.heic", &["HEIC", "JPEG"]);
}

#[test]
fn a_folder_in_place_of_a_photo_is_refused() {
    Desk::empty().and_folder("photos").refuses_photo("photos", &["folder", "lightsieve batch"]);
}

#[test]
fn an_all_white_picture_is_refused() {
    Desk::with("a.png", &plain(255)).refuses_photo("a.png", &["no particles"]);
}

#[test]
fn an_all_black_picture_is_refused() {
    Desk::with("a.png", &plain(0)).refuses_photo("a.png", &["paper", "light"]);
}

#[test]
fn paper_with_noise_and_no_particles_is_refused() {
    Desk::with("a.png", &discs(900, 700, &[])).refuses_photo("a.png", &["no particles"]);
}

#[test]
fn a_picture_of_one_pixel_is_refused() {
    let dot = RgbImage::from_pixel(1, 1, image::Rgb([255; 3]));
    Desk::with("a.tif", &encoded(dot, ImageFormat::Tiff)).refuses_photo("a.tif", &["paper"]);
}

/// Asserts a clean end: measured, or refused with a message that names the photo.
#[track_caller]
fn ends_cleanly(photo: &[u8]) {
    let desk = Desk::with("a.png", photo);
    let before = desk.contents();
    let outcome = desk.run("measure a.png --scale 20 --json out.json");
    if outcome.status == Some(0) {
        outcome.is_done();
        assert!(!has_null(&desk.json("out.json")), "a null in {}", desk.text("out.json"));
    } else {
        outcome.is_refused(1, &["a.png", "paper"]);
        desk.is_as(&before);
    }
}

#[test]
fn a_little_paper_beside_much_black_ends_cleanly() {
    ends_cleanly(&discs(900, 700, &[(300.0, 350.0, 900.0)]));
    ends_cleanly(&discs(900, 700, &[(-300.0, 350.0, 2000.0)]));
}

#[test]
fn grounds_that_all_touch_end_cleanly() {
    let heap: Vec<_> =
        (0..30 * 23).map(|i| (f64::from(i % 30) * 30.0 + 15.0, f64::from(i / 30) * 30.0 + 15.0, 34.0)).collect();
    ends_cleanly(&discs(900, 700, &heap));
}

#[test]
fn one_heap_in_the_middle_ends_cleanly() {
    let heap: Vec<_> =
        (0..100).map(|i| (f64::from(i % 10) * 30.0 + 300.0, f64::from(i / 10) * 30.0 + 200.0, 33.0)).collect();
    ends_cleanly(&discs(900, 700, &heap));
}

#[test]
fn one_particle_is_measured_and_every_figure_is_its_size() {
    let desk = Desk::with("a.png", &discs(900, 700, &[(450.3, 350.6, 60.0)]));
    desk.run("measure a.png --scale 20 --json out.json --particles out.csv --plot out.svg --overlay out.png").is_done();
    let measured = desk.json("out.json");
    assert!(!has_null(&measured), "a null in {measured}");
    assert_eq!(measured["particles"]["counted"], 1);
    for name in ["d10_um", "d50_um", "d90_um", "d32_um", "d43_um"] {
        near(figure(&measured, name), 1200.0, 0.01, name);
    }
    assert!(figure(&measured, "span").abs() < 0.01);
    for name in FIGURES {
        let interval = &measured["distribution"]["intervals"][name];
        assert!(number(&interval[0]) <= number(&interval[1]), "{name}: {interval}");
    }
    assert_eq!(desk.csv("out.csv").len(), 1);
}
