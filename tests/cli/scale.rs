//! Ways to the scale: the printed sheet, a stand, objects, two points; and what is refused.

use crate::pictures::grounds_jpeg;
use crate::support::Desk;

/// A photo of frame L with grounds, taken by hand.
fn sheet_photo() -> Desk {
    let desk = Desk::empty();
    desk.run(
        "render s.jpg --sheet L --size 1800x1350 --scale 60 --coarse 900 --fine 300 --tilt 10 --bend -0.04 --turn 8",
    )
    .is_done();
    desk
}

#[test]
fn a_sheet_is_written_in_every_kind() {
    let desk = Desk::empty();
    for (file, start) in [("s.pdf", &b"%PDF-"[..]), ("s.svg", b"<svg "), ("s.png", b"\x89PNG")] {
        desk.run(&format!("target --output {file} --layout s.json --dpi 150")).is_done();
        assert!(desk.bytes(file).starts_with(start), "{file}");
    }
    let layout = desk.json("s.json");
    assert_eq!(layout["schema"], "lightsieve/sheet/1");
    assert_eq!(layout["frames"].as_array().unwrap().len(), 4);
    assert_eq!(layout["page_mm"][1], 297.0);
    // Asks the viewer not to scale.
    assert!(String::from_utf8_lossy(&desk.bytes("s.pdf")).contains("/PrintScaling /None"));
}

#[test]
fn a_sheet_of_unknown_kind_or_paper_is_refused() {
    let desk = Desk::empty();
    desk.refuses("target --output s.docx", 2, &["s.docx", ".pdf, .svg or .png"]);
    desk.refuses("target --output s", 2, &[".pdf, .svg or .png"]);
    desk.refuses("target --paper a9 --output s.pdf", 2, &["a9", "a4", "letter"]);
    desk.refuses("target --output s.png --dpi 10", 2, &["--dpi", "between 150 and 2400"]);
    desk.refuses("target --output s.svg --layout s.svg", 2, &["same name"]);
    desk.refuses("target", 2, &["--output"]);
}

#[test]
fn a_sheet_in_view_needs_no_option() {
    let desk = sheet_photo();
    let outcome = desk.run("measure s.jpg --json s.json --particles s.csv --overlay seen.png");
    outcome.is_done();
    assert!(outcome.stdout.contains("frame L of the scale sheet"), "{}", outcome.stdout);
    let json = desk.json("s.json");
    assert_eq!(json["scale"]["from"], "sheet");
    assert!((json["scale"]["sheet"]["k1"].as_f64().unwrap() + 0.04).abs() < 0.003);
    assert_eq!(json["scale"]["uncertainty"][1]["from"], "printer, unchecked");
    let rows = desk.csv("s.csv");
    let inside = |row: &std::collections::BTreeMap<String, String>| {
        let mm = |name: &str| row[name].parse::<f64>().unwrap();
        (0.0..76.0).contains(&mm("x_mm")) && (0.0..54.0).contains(&mm("y_mm"))
    };
    assert!(rows.len() > 300 && rows.iter().all(inside));
}

#[test]
fn measured_bars_correct_the_print() {
    let desk = sheet_photo();
    desk.run("measure s.jpg --json a.json").is_done();
    desk.run("measure s.jpg --bar-measured 99,98 --json b.json").is_done();
    let d50 = |name: &str| desk.json(name)["distribution"]["d50_um"].as_f64().unwrap();
    assert!((d50("b.json") / d50("a.json") - (0.99f64 * 0.98).sqrt()).abs() < 2e-3);
    desk.refuses("measure s.jpg --bar-measured 99", 2, &["--bar-measured 99.2,100.1"]);
}

#[test]
fn another_scale_than_that_of_the_sheet_in_view_is_told() {
    let desk = sheet_photo();
    desk.run("measure s.jpg --json a.json").is_done();
    let of_sheet = desk.json("a.json")["scale"]["um_per_px"].as_f64().unwrap();
    for (times, told) in [(0.5, true), (1.1, true), (1.0, false)] {
        let outcome = desk.run(&format!("measure s.jpg --scale {}", times * of_sheet));
        outcome.is_done();
        assert_eq!(outcome.stdout.contains("The scale sheet in view says"), told, "{times}: {}", outcome.stdout);
        assert!(!outcome.stdout.contains("of the picture"), "{}", outcome.stdout);
    }
}

#[test]
fn bars_that_no_printer_makes_are_refused() {
    let desk = Desk::with_grounds("a.jpg");
    desk.refuses("measure a.jpg --bar-measured 9.9,10", 2, &["check bar", "100 mm"]);
    desk.refuses("measure a.jpg --bar-measured 92,108", 2, &["92 and 108 mm", "Measure both again"]);
    desk.refuses("measure a.jpg --bar-measured x", 2, &["--bar-measured", "ruler"]);
    desk.refuses("measure a.jpg --bar-measured 100,100 --scale 20", 2, &["--bar-measured", "--scale"]);
}

#[test]
fn a_photo_without_a_sheet_names_the_ways_to_a_scale() {
    let desk = Desk::with_grounds("a.jpg");
    desk.refuses("measure a.jpg --json out.json", 1, &["a.jpg", "no scale", "lightsieve target", "--scale 20"]);
}

#[test]
fn two_points_give_the_scale() {
    let desk = Desk::with_grounds("a.jpg");
    desk.run("measure a.jpg --points 100,100,600,100=10 --json out.json").is_done();
    let scale = &desk.json("out.json")["scale"];
    assert_eq!(scale["from"], "points");
    assert!((scale["um_per_px"].as_f64().unwrap() - 20.0).abs() < 1e-9);
    assert!(scale["relative_uncertainty"].as_f64().unwrap() > 1e-3);
    for points in ["1,1,1,2=10", "1,1,900,1=0", "1,1,900,1=nan"] {
        desk.refuses(&format!("measure a.jpg --points {points}"), 2, &["--points", "two points"]);
    }
    desk.refuses("measure a.jpg --points 1,2,3", 2, &["--points", "310,1200,3650,1188=75.0"]);
}

#[test]
fn an_unknown_coin_names_those_known() {
    let desk = Desk::with_grounds("a.jpg");
    desk.refuses("measure a.jpg --reference coin:doubloon", 2, &["doubloon", "euro-1", "us-quarter"]);
    desk.refuses("measure a.jpg --reference card --thickness 1", 2, &["--thickness"]);
    desk.refuses("measure a.jpg --thickness 1", 2, &["--reference"]);
    desk.refuses("measure a.jpg --reference disc=20 --thickness 99", 2, &["thickness", "20 mm"]);
    desk.refuses("measure a.jpg --reference card", 1, &["no card was found"]);
}

#[test]
fn a_stand_keeps_its_scale() {
    let desk = sheet_photo();
    let outcome = desk.run("calibrate s.jpg --output stand.json");
    outcome.is_done();
    assert!(outcome.stdout.contains("µm per pixel"), "{}", outcome.stdout);
    desk.run("measure s.jpg --calibration stand.json --json b.json --particles b.csv").is_done();
    desk.run("measure s.jpg --json a.json").is_done();
    assert_eq!(desk.json("b.json")["scale"]["from"], "calibration");
    // The marks are in view, and yet no particles.
    assert!(desk.csv("b.csv").iter().all(|row| row["ecd_um"].parse::<f64>().unwrap() < 4000.0));
}

#[test]
fn a_calibration_for_other_photos_is_refused() {
    let desk = sheet_photo().and("a.jpg", grounds_jpeg());
    desk.run("calibrate s.jpg --output stand.json").is_done();
    desk.refuses("measure a.jpg --calibration stand.json", 1, &["a.jpg", "1800 × 1350", "Calibrate again"]);
    // Another size is another scale, whatever the user trusts.
    desk.refuses("measure a.jpg --calibration stand.json --trust-calibration", 1, &["1800 × 1350"]);
}

#[test]
fn a_damaged_calibration_and_one_of_the_future_are_refused() {
    let desk = sheet_photo();
    desk.run("calibrate s.jpg --output stand.json").is_done();
    let text = desk.text("stand.json");
    let desk = desk
        .and("future.json", text.replace("calibration/1", "calibration/2").as_bytes())
        .and("cut.json", &text.as_bytes()[..200])
        .and("other.json", b"{\"schema\": \"lightsieve/measurement/1\"}")
        .and("flat.json", text.replace("\"to_px\"", "\"to_mm\"").as_bytes())
        .and("folder/x.json", b"");
    for (file, word) in [
        ("future.json", "another version"),
        ("cut.json", "no calibration file"),
        ("other.json", "no calibration file"),
        ("flat.json", "no calibration file"),
        ("folder", "folder"),
        ("away.json", "away.json"),
    ] {
        desk.refuses(&format!("measure s.jpg --calibration {file}"), 1, &[file, word]);
    }
}

#[test]
fn a_stand_without_a_sheet_or_with_another_way_is_refused() {
    let desk = Desk::with_grounds("a.jpg");
    desk.refuses("calibrate a.jpg --output stand.json", 1, &["a.jpg", "no mark"]);
    desk.refuses("calibrate a.jpg --output stand.json --scale 20", 2, &["--scale"]);
    desk.refuses("calibrate a.jpg", 2, &["--output"]);
    desk.refuses("calibrate a.jpg --output a.jpg", 2, &["ends in .json"]);
    desk.refuses("calibrate a.jpg a.jpg --output stand.json", 2, &["a.jpg", "given twice"]);
    desk.refuses("calibrate away.jpg --output stand.json", 1, &["away.jpg"]);
}

#[test]
fn printed_discs_of_known_size_show_no_bias() {
    let desk = Desk::empty();
    desk.run("render d.jpg --sheet D --size 2400x1800").is_done();
    let outcome = desk.run("calibrate d.jpg --known 1000±5");
    outcome.is_done();
    assert!(outcome.stdout.contains("18 round objects") && outcome.stdout.contains("no bias"), "{}", outcome.stdout);
    desk.refuses("calibrate d.jpg --known 3100", 1, &["only 0 round objects"]);
    desk.refuses("calibrate d.jpg --known big", 2, &["--known", "1000±5"]);
}
