//! What was once taken in silence: stands that do not fit, numbers and files that mislead.

use serde_json::{Value, json};

use crate::pictures::{broken_jpeg, grounds_jpeg, more_grounds_jpeg};
use crate::support::Desk;

/// A photo of frame L, taken by hand, and the calibration of its stand.
fn stand() -> (Desk, Value) {
    let desk = Desk::empty();
    desk.run("render s.jpg --sheet L --size 1500x1125 --scale 70 --coarse 1000 --fine 400 --tilt 10 --bend -0.04")
        .is_done();
    desk.run("calibrate s.jpg --output stand.json").is_done();
    let file = desk.json("stand.json");
    (desk, file)
}

/// The homography with the paper `share` times as large in the picture.
fn larger(file: &Value, share: f64) -> Value {
    let mut rows = file["plane"]["to_px"].clone();
    for row in rows.as_array_mut().unwrap() {
        for k in 0..2 {
            row[k] = json!(row[k].as_f64().unwrap() * share);
        }
    }
    rows
}

fn with(file: &Value, path: &str, value: Value) -> Vec<u8> {
    let mut changed = file.clone();
    *changed.pointer_mut(path).unwrap() = value;
    serde_json::to_vec(&changed).unwrap()
}

#[test]
fn a_stand_that_the_marks_in_view_contradict_is_refused_unless_trusted() {
    let (desk, file) = stand();
    let moved = with(&file, "/plane/to_px", larger(&file, 1.02));
    let within = with(&file, "/plane/to_px", larger(&file, 1.004));
    let desk = desk.and("moved.json", &moved).and("within.json", &within);
    desk.refuses(
        "measure s.jpg --calibration moved.json",
        1,
        &["s.jpg", "2.0 %", "Calibrate again", "--trust-calibration"],
    );
    desk.run("measure s.jpg --calibration moved.json --trust-calibration").is_done();
    desk.run("measure s.jpg --calibration within.json").is_done();
}

#[test]
fn a_stand_whose_print_was_measured_agrees_with_that_print() {
    let (desk, _) = stand();
    desk.run("calibrate s.jpg --output bars.json --bar-measured 97,98").is_done();
    assert_eq!(desk.json("bars.json")["bars_measured_mm"], json!([97.0, 98.0]));
    desk.run("measure s.jpg --calibration bars.json").is_done();
}

#[test]
fn a_calibration_changed_by_hand_names_the_field() {
    let (desk, file) = stand();
    let cases = [
        ("a.json", with(&file, "/plane/k1", json!(-1.5)), "k1"),
        ("b.json", with(&file, "/plane/k2", json!(-3.0)), "k2"),
        ("c.json", with(&file, "/plane/to_px", larger(&file, 1000.0)), "plane.to_px"),
        ("d.json", with(&file, "/plane/to_px", json!([[1, 0, 0], [1, 0, 0], [0, 0, 1]])), "plane.to_px"),
        ("e.json", with(&file, "/plane/to_px/2", json!([0.03, 0.0, 1.0])), "plane.to_px"),
        ("f.json", with(&file, "/uncertainty", json!([])), "uncertainty"),
        ("g.json", with(&file, "/uncertainty/0/relative", json!(0.7)), "uncertainty"),
        ("h.json", with(&file, "/plane/lens_focal_px", json!(-3000.0)), "lens_focal_px"),
    ];
    for (name, text, field) in cases {
        std::fs::write(desk.path(name), text).unwrap();
        desk.refuses(&format!("measure s.jpg --calibration {name}"), 1, &[name, field, "Calibrate again"]);
    }
}

#[test]
fn a_photo_of_another_size_is_not_told_to_trust() {
    let (desk, _) = stand();
    let desk = desk.and("a.jpg", grounds_jpeg());
    let outcome = desk.run("measure a.jpg --calibration stand.json");
    outcome.is_refused(1, &["another size", "Calibrate again"]);
    assert!(!outcome.stderr.contains("--trust-calibration"), "{}", outcome.stderr);
}

#[test]
fn a_calibration_without_a_sheet_lists_no_way_that_it_refuses() {
    let outcome = Desk::with_grounds("a.jpg").run("calibrate a.jpg --output stand.json");
    outcome.is_refused(1, &["a.jpg", "no mark", "lightsieve target"]);
    for way in ["--scale", "--points", "--reference"] {
        assert!(!outcome.stderr.contains(way), "{}", outcome.stderr);
    }
}

#[test]
fn help_of_calibrate_shows_its_own_options_only() {
    let help = Desk::empty().run("calibrate --help").stdout;
    for option in ["--fines", "--share-above", "--seed"] {
        assert!(!help.contains(option), "{option}:\n{help}");
    }
    assert!(help.contains("--bar-measured") && help.contains("--confidence"));
    Desk::with_grounds("a.jpg").refuses("calibrate a.jpg --output s.json --fines 50", 2, &["--fines"]);
}

#[test]
fn a_copy_under_another_name_is_no_second_photo() {
    let desk = Desk::with_grounds("a.jpg").and("b.jpg", grounds_jpeg()).and("c.jpg", more_grounds_jpeg());
    desk.refuses("measure a.jpg c.jpg b.jpg --scale 20", 2, &["a.jpg and b.jpg", "byte for byte", "surer"]);
    desk.refuses("calibrate a.jpg b.jpg --known 500", 2, &["a.jpg and b.jpg"]);
    let day = Desk::with("day/coarse/1.jpg", grounds_jpeg()).and("day/coarse/2.jpg", grounds_jpeg());
    let outcome = day.run("batch day --scale 20");
    assert_eq!(outcome.status, Some(1));
    assert!(outcome.stderr.contains("1.jpg") && outcome.stderr.contains("2.jpg"), "{}", outcome.stderr);
    assert_eq!(day.csv("day/lightsieve-results/overview.csv")[0]["photos"], "1");
}

#[test]
fn printed_discs_are_no_grounds() {
    let desk = Desk::empty();
    desk.run("render d.jpg --sheet D --size 1600x1200").is_done();
    desk.refuses("measure d.jpg --json out.json", 1, &["d.jpg", "frame D", "printed discs", "calibrate PHOTO --known"]);
}

#[test]
fn marks_that_cannot_be_read_say_why() {
    let desk = Desk::empty();
    for (photo, options, why) in [
        ("m.jpg", "--size 520x420 --scale 400 --coverage 0.01", "too small"),
        ("n.jpg", "--size 1200x900 --blur 8", "too soft"),
    ] {
        desk.run(&format!("render {photo} --sheet L --coarse 900 --fine 300 {options}")).is_done();
        desk.run(&format!("measure {photo}")).is_refused(1, &[photo, "no scale", "round shapes", why]);
        desk.run(&format!("calibrate {photo} --output s.json")).is_refused(1, &[photo, why]);
    }
}

#[test]
fn pale_marks_are_called_pale_and_grains_are_no_marks() {
    let desk = Desk::empty();
    desk.run("render m.png --sheet L --size 1200x900 --coarse 900 --fine 300").is_done();
    let mut picture = image::load_from_memory(&desk.bytes("m.png")).unwrap().into_rgb8();
    for pixel in picture.pixels_mut() {
        pixel.0 = pixel.0.map(|c| c.max((0.8 * 230.0 + 0.2 * f64::from(c)) as u8));
    }
    let desk = desk.and("pale.png", &crate::pictures::png(picture)).and("a.jpg", grounds_jpeg());
    desk.run("measure pale.png").is_refused(1, &["too pale", "full black"]);
    let grounds = desk.run("measure a.jpg");
    assert!(grounds.stderr.contains("no mark") && !grounds.stderr.contains("round shapes"), "{}", grounds.stderr);
}

#[test]
fn places_beyond_the_picture_and_scales_beyond_reason_are_refused() {
    let desk = Desk::with_grounds("a.jpg");
    desk.refuses("measure a.jpg --points 10,10,900.5,10=10", 1, &["a.jpg", "900.5,10", "900 × 700 px"]);
    desk.refuses("measure a.jpg --points -1,10,500,10=10", 1, &["-1,10"]);
    desk.run("measure a.jpg --points 0,0,900,700=20").is_done();
    for scale in ["1e-9", "0.04", "2001"] {
        let words = ["between 0.05 and 2000 µm per pixel", "--scale 20"];
        desk.refuses(&format!("measure a.jpg --scale {scale}"), 2, &words);
    }
}

#[test]
fn no_message_shows_a_number_of_the_system() {
    let desk = Desk::with_grounds("a.jpg").and_folder("folder").and("b.jpg", broken_jpeg());
    for line in [
        "measure away.jpg --scale 20",
        "measure a.jpg --calibration away.json",
        "measure a.jpg --calibration folder",
        "measure a.jpg --scale 20 --json away/x.json",
        "measure a.jpg/x --scale 20",
        "batch away --scale 20",
        "batch folder --output a.jpg/x --scale 20",
        "calibrate away.jpg --output x.json",
        "target --output away/x.pdf",
    ] {
        let outcome = desk.run(line);
        assert!(outcome.status == Some(1), "{line}: {:?}\n{}", outcome.status, outcome.stderr);
        assert!(!outcome.stderr.contains("os error"), "{line}: {}", outcome.stderr);
    }
    desk.refuses("measure a.jpg --calibration away.json", 1, &["away.json", "no such file", "lightsieve calibrate"]);
}

#[test]
fn a_bend_too_strong_to_draw_is_said_in_the_words_of_the_options() {
    let outcome = Desk::empty().run("render a.jpg --size 600x400 --bend -0.3");
    outcome.is_refused(2, &["--bend", "nearer to 0"]);
    assert!(!outcome.stderr.contains("view."), "{}", outcome.stderr);
}
