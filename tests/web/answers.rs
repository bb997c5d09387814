//! The page says what the command line says, to the last digit.

use std::path::Path;
use std::process::Command;

use lightsieve::photo;
use lightsieve::pipeline::{ScaleChoice, Settings, join, measure_photo};
use serde_json::{Value, json};

use crate::server::{Server, demo, demo_folder, folder};

/// What the command line writes to the file that stands as `OUT` in `line`, run where the demo photos are.
fn command_line(line: &str) -> Vec<u8> {
    command_line_in(demo_folder(), line)
}

fn command_line_in(photos: impl AsRef<Path>, line: &str) -> Vec<u8> {
    let place = folder();
    let out = place.path().join(if line.contains("--report OUT") { "out.html" } else { "out.json" });
    let words = line.split(' ').map(|w| if w == "OUT" { out.to_str().unwrap() } else { w });
    let run = Command::new(env!("CARGO_BIN_EXE_lightsieve")).args(words).current_dir(photos).output().unwrap();
    assert!(run.status.success(), "{line}: {}", String::from_utf8_lossy(&run.stderr));
    std::fs::read(out).unwrap()
}

fn same(server: &Server, path: &str, line: &str) {
    let answer = server.get(path);
    assert_eq!(answer.status, 200, "{path}: {}", answer.text());
    assert!(answer.body == command_line(line), "{path} differs from {line}");
}

#[test]
fn files_are_byte_for_byte_those_of_the_command_line() {
    let place = folder();
    let server = Server::start(place.path());
    let one = server.tray_with(&["on-the-sheet.jpg"], &json!({ "from": "sheet" }));
    let two = server.tray_with(&["filter-grind.jpg", "finer-grind.jpg"], &json!({ "from": "given", "um_per_px": 20 }));
    server.settled();
    same(&server, &format!("/api/trays/{one}/measurement.json"), "measure on-the-sheet.jpg --json OUT");
    same(&server, &format!("/api/trays/{one}/particles.csv"), "measure on-the-sheet.jpg --particles OUT");
    for paper in ["a4", "letter"] {
        let known =
            std::fs::read(demo_folder().join(format!("../calibration-targets/scale-sheet-{paper}.pdf"))).unwrap();
        assert!(server.get(&format!("/sheet/scale-sheet-{paper}.pdf")).body == known, "{paper}");
    }
    let both = "measure filter-grind.jpg finer-grind.jpg --scale 20";
    same(&server, &format!("/api/trays/{two}/measurement.json"), &format!("{both} --json OUT"));
    same(&server, &format!("/api/trays/{two}/particles.csv"), &format!("{both} --particles OUT"));
    // The advice speaks of the limit of the fines, too.
    server.done("/api/settings", &json!({ "fines_um": 42.5 }));
    same(&server, &format!("/api/trays/{one}/measurement.json"), "measure on-the-sheet.jpg --fines 42.5 --json OUT");
    same(&server, &format!("/api/trays/{two}/measurement.json"), &format!("{both} --fines 42.5 --json OUT"));
}

#[test]
fn every_way_to_a_scale_gives_what_it_gives_on_the_command_line() {
    let place = folder();
    let server = Server::start(place.path());
    let calibration = String::from_utf8(command_line("calibrate on-the-sheet.jpg --output OUT")).unwrap();
    let file = place.path().join("stand.json");
    std::fs::write(&file, &calibration).unwrap();
    let stand = format!("--calibration {}", file.display());
    for (photo, scale, option) in [
        ("filter-grind.jpg", json!({ "from": "coin", "name": "euro-1c" }), "--reference coin:euro-1c"),
        (
            "filter-grind.jpg",
            json!({ "from": "disc", "diameter_mm": 16.25, "thickness_mm": 0 }),
            "--reference disc=16.25",
        ),
        ("on-the-sheet.jpg", json!({ "from": "sheet", "bars_mm": [99.2, 100.1] }), "--bar-measured 99.2,100.1"),
        ("on-the-sheet.jpg", json!({ "from": "calibration", "file": calibration, "trusted": false }), stand.as_str()),
    ] {
        let tray = server.tray_with(&[photo], &scale);
        server.settled();
        same(&server, &format!("/api/trays/{tray}/measurement.json"), &format!("measure {photo} {option} --json OUT"));
    }
    // None of the demo photos shows a card.
    let photo = place.path().join("card.jpg");
    let mut draw = Command::new(env!("CARGO_BIN_EXE_lightsieve"));
    draw.arg("render").arg(&photo).args(["--card", "--tilt", "6", "--size", "2600x1950", "--scale", "60"]);
    assert!(draw.status().unwrap().success());
    let tray = server.tray();
    server.done(&format!("/api/trays/{tray}"), &json!({ "scale": { "from": "card" } }));
    assert_eq!(server.upload(tray, "card.jpg", &std::fs::read(&photo).unwrap()).status, 201);
    server.settled();
    for (file, option) in [("measurement.json", "--json"), ("particles.csv", "--particles")] {
        let known = command_line_in(place.path(), &format!("measure card.jpg --reference card {option} OUT"));
        assert!(server.get(&format!("/api/trays/{tray}/{file}")).body == known, "{file}");
    }

    let tray = server.tray_with(&["finer-grind.jpg"], &json!({ "from": "places" }));
    let state = server.settled();
    let photo = state["trays"].as_array().unwrap().iter().find(|t| t["id"] == tray).unwrap()["photos"][0].clone();
    assert_eq!(photo["status"], "places");
    assert_eq!(server.get(&format!("/api/trays/{tray}/measurement.json")).status, 409);
    let places = json!({ "places": { "ends": [[310, 1200.5], [1850, 1188]], "mm": 24.6 } });
    server.done(&format!("/api/photos/{}", photo["id"]), &places);
    server.settled();
    let line = "measure finer-grind.jpg --points 310,1200.5,1850,1188=24.6 --json OUT";
    same(&server, &format!("/api/trays/{tray}/measurement.json"), line);
}

#[test]
fn comparison_and_sieving_are_those_of_the_command_line() {
    let place = folder();
    let server = Server::start(place.path());
    let scale = json!({ "from": "given", "um_per_px": 20 });
    let base = server.tray_with(&["filter-grind.jpg"], &scale);
    let other = server.tray_with(&["finer-grind.jpg"], &scale);
    for (tray, name) in [(base, "a"), (other, "b")] {
        server.done(&format!("/api/trays/{tray}"), &json!({ "name": name }));
    }
    server.settled();
    let line = "compare a=filter-grind.jpg b=finer-grind.jpg --scale 20 --json OUT";
    same(&server, &format!("/api/comparison.json?base={base}"), line);
    same(&server, &format!("/api/comparison.html?base={base}"), &line.replace("--json", "--report"));
    let told = server.get(&format!("/api/comparison?base={base}")).json();
    let known: Value = serde_json::from_slice(&command_line(line)).unwrap();
    assert_eq!(told["against"][0]["text"], known["verdict"]["text"]);
    assert_eq!(told["against"][0]["verdict"], known["verdict"]["kind"]);

    let third = server.tray_with(&["on-the-sheet.jpg"], &scale);
    server.done(&format!("/api/trays/{third}"), &json!({ "name": "c" }));
    server.settled();
    let line = "compare b=finer-grind.jpg a=filter-grind.jpg c=on-the-sheet.jpg --scale 20 --json OUT";
    same(&server, &format!("/api/comparison.json?base={other}"), line);
    let told = server.get(&format!("/api/comparison?base={other}")).json();
    assert_eq!([&told["against"][0]["tray"], &told["against"][1]["tray"]], [base, third]);
    for room in ["wide", "narrow"] {
        let plot = server.get(&format!("/api/comparison.svg?base={other}&other={third}&room={room}"));
        assert!(plot.status == 200 && plot.text().lines().any(|l| l == "c"), "{room}");
    }

    let weights = json!({ "charge_g": 25, "retained": [[710, 8.6], [355, 12.9]], "receiver_g": 3.2, "step_g": 0.1 });
    server.done(&format!("/api/trays/{other}"), &json!({ "weights": weights }));
    let told = server.get(&format!("/api/trays/{other}/sieve")).json();
    let line = "sieve b=finer-grind.jpg --scale 20 --charge 25 --retained 710=8.6 --retained 355=12.9 --receiver 3.2";
    let known: Value = serde_json::from_slice(&command_line(&format!("{line} --json OUT"))).unwrap();
    for (row, layer) in told["rows"].as_array().unwrap().iter().zip(known["layers"].as_array().unwrap()) {
        let close = |text: &Value, value: &Value| {
            let shown: f64 = text.as_str().unwrap().trim_end_matches([' ', '%', 'g']).parse().unwrap();
            (shown - value.as_f64().unwrap()).abs() < 0.051
        };
        assert!(
            close(&row["weighed"], &layer["weighed_pct"]) && close(&row["photo"], &layer["photo_pct"]),
            "{row} {layer}"
        );
    }
    let bad = json!({ "weights": { "charge_g": 1, "retained": [[710, 8.6]], "receiver_g": 3.2, "step_g": 0.1 } });
    let refused = server.post(&format!("/api/trays/{other}"), &bad);
    assert!(refused.status == 422 && refused.text().contains("more than the charge"), "{}", refused.text());
}

#[test]
fn a_particle_left_out_is_told_and_changes_the_result_as_if_it_were_not_there() {
    let place = folder();
    let server = Server::start(place.path());
    let tray = server.tray_with(&["finer-grind.jpg"], &json!({ "from": "given", "um_per_px": 16 }));
    let state = server.settled();
    let photo = state["trays"][0]["photos"][0]["id"].as_u64().unwrap();
    let file = format!("/api/trays/{tray}/measurement.json");
    let before = server.get(&file).body;
    let outlines = server.get(&format!("/api/photos/{photo}/outlines")).json();
    let all = outlines["particles"].as_array().unwrap();
    let size = |p: &&Value| p["size_um"].as_f64().unwrap_or(0.0);
    let largest = all.iter().max_by(|a, b| size(a).total_cmp(&size(b))).unwrap()["id"].as_u64().unwrap();
    let pick = |out: bool, serial: &Value| {
        server.post(&format!("/api/photos/{photo}/particle"), &json!({ "id": largest, "serial": serial, "out": out }))
    };
    assert_eq!(pick(true, &json!(999)).status, 409, "outlines of an older measurement");
    assert_eq!(pick(true, &outlines["serial"]).status, 204);
    let after = server.get(&file).json();
    assert_eq!(after["excluded_by_hand"].as_array().unwrap().len(), 1);
    let seen = server.get(&format!("/api/photos/{photo}/outlines")).json();
    assert_eq!(seen["particles"][largest as usize]["state"], "out");

    let settings = Settings::new(ScaleChoice::Given(16.0)).unwrap();
    let decoded = photo::decode(&demo("finer-grind.jpg")).unwrap();
    let mut measured = measure_photo(decoded, Path::new("finer-grind.jpg"), &settings).unwrap();
    let gone = measured.particles.remove(largest as usize);
    measured.shapes.remove(largest as usize);
    // Reading a number back from JSON may miss its last bit.
    let same = |json: &serde_json::Value, value: f64| (json.as_f64().unwrap() / value - 1.0).abs() < 1e-12;
    assert!(same(&after["excluded_by_hand"][0]["ecd_um"], gone.ecd_um));
    let known = join(vec![measured], &settings).unwrap();
    assert!(same(&after["distribution"]["d50_um"], known.by_mass[1].value));
    let ends = &after["distribution"]["intervals"]["d50_um"];
    assert!(same(&ends[0], known.by_mass[1].low) && same(&ends[1], known.by_mass[1].high));
    assert_eq!(after["particles"]["counted"], known.photos[0].particles.len());
    let page = server.get(&format!("/api/trays/{tray}/report.html"));
    assert_eq!(page.status, 200);
    assert!(page.text().contains("1 particle left out by hand") && page.text().contains("data:image/jpeg;base64,"));

    assert_eq!(pick(false, &outlines["serial"]).status, 204);
    assert!(server.get(&file).body == before, "brought back, everything is as it was");
}

#[test]
fn a_limit_that_is_only_tried_changes_nothing_that_is_kept() {
    let place = folder();
    let server = Server::start(place.path());
    let tray = server.tray_with(&["finer-grind.jpg"], &json!({ "from": "given", "um_per_px": 16 }));
    server.settled();
    let fines = |path: &str| server.get(path).json()["rows"][4].clone();
    let path = format!("/api/trays/{tray}/result");
    let (set, tried) = (fines(&path), fines(&format!("{path}?fines_um=300")));
    assert!(set["name"] == "fines < 100 µm" && tried["name"] == "fines < 300 µm", "{set} {tried}");
    let number = |v: &Value| v["value"].as_str().unwrap().parse::<f64>().unwrap();
    assert!(number(&tried) > number(&set));
    assert_eq!(server.state()["fines_um"], 100.0);
    assert_eq!(server.get(&format!("{path}?fines_um=-3")).status, 422);
    assert_eq!(server.post("/api/settings", &json!({ "fines_um": 0 })).status, 422);
    for room in ["wide", "half", "narrow"] {
        let curve = server.get(&format!("/api/trays/{tray}/curve.svg?room={room}"));
        assert!(curve.status == 200 && curve.text().starts_with("<svg"), "{room}");
    }
}
