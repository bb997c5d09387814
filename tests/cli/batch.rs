//! A folder of samples.

use std::collections::BTreeSet;

use crate::pictures::{broken_jpeg, grounds_jpeg, more_grounds_jpeg};
use crate::support::{Desk, has_null};

/// Two samples of two photos, a loose photo, a broken photo and a note.
fn folder() -> Desk {
    Desk::with("day/coarse/1.jpg", grounds_jpeg())
        .and("day/coarse/2.jpg", more_grounds_jpeg())
        .and("day/помол 2/1.jpg", grounds_jpeg())
        .and("day/помол 2/2.jpg", more_grounds_jpeg())
        .and("day/loose.jpg", more_grounds_jpeg())
        .and("day/broken.jpg", broken_jpeg())
        .and("day/notes.txt", b"bought on Monday\n")
}

#[track_caller]
fn measured_but_for_the_broken_one(desk: &Desk) {
    let outcome = desk.run("batch day --scale 20");
    assert_eq!(outcome.status, Some(1), "{}", outcome.stderr);
    let last = outcome.stderr.lines().last().unwrap();
    assert!(last.contains("broken.jpg") && last.contains("cut short"), "last line: {last}");
    assert!(!outcome.stderr.contains("notes.txt"));
    let rows = desk.csv("day/lightsieve-results/overview.csv");
    let names: Vec<&str> = rows.iter().map(|row| &row["sample"][..]).collect();
    assert_eq!(names, ["coarse", "loose", "помол 2"]);
    let photos: Vec<&str> = rows.iter().map(|row| &row["photos"][..]).collect();
    assert_eq!(photos, ["2", "1", "2"]);
    for name in names {
        assert!(outcome.stdout.contains(name), "{name} is missing in:\n{}", outcome.stdout);
    }
}

#[test]
fn a_broken_photo_is_named_last_and_the_rest_is_measured() {
    let desk = folder();
    let before = desk.contents();
    measured_but_for_the_broken_one(&desk);
    let overview = desk.json("day/lightsieve-results/overview.json");
    assert!(!has_null(&overview), "a null in {overview}");
    assert_eq!(overview["samples"].as_array().unwrap().len(), 3);
    assert!(overview["failed"][0]["file"].as_str().unwrap().ends_with("broken.jpg"));
    assert!(desk.text("day/lightsieve-results/overview.svg").starts_with("<svg"));
    for sample in ["coarse", "loose", "помол 2"] {
        let file = |ending: &str| format!("day/lightsieve-results/{sample}{ending}");
        let measurement = desk.json(&file(".json"));
        assert_eq!(measurement["schema"], "lightsieve/measurement/1");
        assert_eq!(measurement["particles"]["counted"], desk.csv(&file("-particles.csv")).len());
        assert!(desk.text(&file(".svg")).starts_with("<svg"));
    }
    let after = desk.contents();
    let made = after.keys().filter(|name| !before.contains_key(*name)).count();
    assert_eq!(made, 1 + 3 + 9, "a folder, the overview and three files a sample: {:?}", after.keys());
    assert!(before.iter().all(|(name, bytes)| after[name] == *bytes), "the photos are as before");
}

#[test]
fn a_second_run_gives_the_same() {
    let desk = folder();
    measured_but_for_the_broken_one(&desk);
    let first = desk.contents();
    measured_but_for_the_broken_one(&desk);
    desk.is_as(&first);
}

#[test]
fn the_number_of_threads_changes_nothing() {
    let on = |threads| {
        let desk = folder();
        desk.run_on_threads(threads, "batch day --scale 20");
        desk.contents()
    };
    assert!(on("1") == on("4"));
}

#[test]
fn a_sample_is_measured_as_if_alone() {
    let desk = folder();
    desk.run("batch day --scale 20 --output results");
    desk.run("measure day/coarse/1.jpg day/coarse/2.jpg --scale 20 --json alone.json").is_done();
    assert_eq!(desk.json("results/coarse.json"), desk.json("alone.json"));
    assert!(!desk.path("day/lightsieve-results").exists());
}

#[test]
fn results_may_lie_in_the_folder_itself() {
    let desk = Desk::with("day/a.jpg", grounds_jpeg());
    for _ in 0..2 {
        desk.run("batch day --scale 20 --output day").is_done();
        assert_eq!(desk.csv("day/overview.csv").len(), 1);
    }
}

#[test]
fn photos_of_one_name_are_kept_apart() {
    let desk = Desk::with("day/a.jpg", grounds_jpeg()).and("day/a.jpeg", more_grounds_jpeg());
    desk.run("batch day --scale 20").is_done();
    let rows = desk.csv("day/lightsieve-results/overview.csv");
    assert_eq!(rows.len(), 2);
    assert_ne!(rows[0]["sample"], rows[1]["sample"]);
    for row in rows {
        assert!(desk.path(&format!("day/lightsieve-results/{}.json", row["sample"])).is_file());
    }
}

#[test]

fn photos_of_one_name_are_kept_apart_from_a_numbered_one() {
    let desk = Desk::with("day/a.jpg", grounds_jpeg())
        .and("day/a.jpeg", more_grounds_jpeg())
        .and("day/a (2).jpg", grounds_jpeg());
    desk.run("batch day --scale 20").is_done();
    let rows = desk.csv("day/lightsieve-results/overview.csv");
    let names: BTreeSet<&String> = rows.iter().map(|row| &row["sample"]).collect();
    assert_eq!(names.len(), 3, "{names:?}");
}

#[test]

fn a_sample_named_as_the_overview_does_not_replace_it() {
    let desk = Desk::with("day/overview.jpg", grounds_jpeg());
    desk.run("batch day --scale 20").is_done();
    assert_eq!(desk.json("day/lightsieve-results/overview.json")["schema"], "lightsieve/batch/1");
    let measurements = desk.contents().into_values().filter_map(|bytes| {
        serde_json::from_slice::<serde_json::Value>(&bytes?).ok().filter(|j| j["schema"] == "lightsieve/measurement/1")
    });
    assert_eq!(measurements.count(), 1, "the sample's own JSON is there too");
}

#[test]
fn a_broken_photo_in_a_sample_is_named_and_the_others_count() {
    let desk = Desk::with("day/coarse/1.jpg", grounds_jpeg()).and("day/coarse/2.jpg", broken_jpeg());
    let outcome = desk.run("batch day --scale 20");
    assert_eq!(outcome.status, Some(1));
    assert!(outcome.stderr.contains("2.jpg"), "{}", outcome.stderr);
    assert_eq!(desk.csv("day/lightsieve-results/overview.csv")[0]["photos"], "1");
}

#[test]
fn a_file_where_a_folder_is_expected_is_wrong_usage() {
    Desk::with_grounds("a.jpg").refuses("batch a.jpg --scale 20", 2, &["a.jpg", "folder", "lightsieve measure"]);
}

#[test]
fn a_folder_without_photos_is_refused() {
    Desk::empty().and_folder("day").refuses("batch day --scale 20", 1, &["day", "no photo", "JPEG"]);
    Desk::with("day/notes.txt", b"none").refuses("batch day --scale 20", 1, &["day", "no photo", "JPEG"]);
}

#[test]
fn a_missing_folder_is_refused() {
    Desk::empty().refuses("batch away --scale 20", 1, &["away", "cannot be listed"]);
}

#[test]
fn without_a_scale_the_choices_are_explained() {
    folder().refuses("batch day", 1, &["no scale", "--scale 20", "--reference coin:"]);
}

#[test]
fn an_output_that_is_a_file_is_refused() {
    folder().and("out", b"mine").refuses("batch day --scale 20 --output out", 1, &["out"]);
}

#[test]

fn a_folder_of_broken_photos_leaves_nothing() {
    let desk = Desk::with("day/a.jpg", broken_jpeg()).and("day/b.jpg", b"");
    desk.refuses("batch day --scale 20", 1, &["a.jpg", "b.jpg", "no photo could be measured"]);
}

#[test]

fn a_closed_pipe_hides_no_failure() {
    assert_eq!(folder().run_into_closed_pipe("batch day --scale 20"), Some(1));
}

#[test]
fn a_closed_pipe_is_no_error() {
    let desk = Desk::with("day/a.jpg", grounds_jpeg());
    assert_eq!(desk.run_into_closed_pipe("batch day --scale 20"), Some(0));
    assert_eq!(desk.csv("day/lightsieve-results/overview.csv").len(), 1);
}

#[test]
fn nested_folders_and_photos_in_two_samples_are_told() {
    let desk = folder().and("day/coarse/older/9.jpg", grounds_jpeg());
    let outcome = desk.run("batch day --scale 20 --report r.html");
    let told = |text: &str| {
        let nested = text.contains("coarse/older: not looked into") && text.contains("lightsieve batch day/coarse");
        nested && text.contains("coarse/1.jpg and day/помол 2/1.jpg are the same photo")
    };
    assert!(told(&outcome.stdout), "{}", outcome.stdout);
    assert!(told(&desk.text("r.html")));
    let notes = desk.json("day/lightsieve-results/overview.json")["notes"].clone();
    // The loose photo is the second of the first sample, and both lie in the last as well.
    let notes: Vec<&str> = notes.as_array().unwrap().iter().filter_map(|n| n.as_str()).collect();
    let those = |words: &[&str]| notes.iter().filter(|note| words.iter().any(|w| note.contains(w))).count();
    assert_eq!(those(&["not looked into", "byte for byte"]), 4, "{notes:?}");
    // In so few particles two pale ones are more than a hundredth of the mass of each of the three samples, and the photos are too
    // small to hold many large ones: told once for each sample.
    assert_eq!((those(&["far paler"]), those(&["Few large particles"])), (3, 3), "{notes:?}");
    assert_eq!(those(&["The same goes for day/coarse/2.jpg"]), 1, "{notes:?}");
    assert_eq!(notes.len(), 10, "{notes:?}");
    // The folder of the results is no sample, and nothing is said of it.
    assert!(!desk.run("batch day --scale 20").stdout.contains("lightsieve-results: not"));
}

#[test]
fn pictures_that_the_tool_drew_are_no_photos() {
    let desk = Desk::with_grounds("day/a.jpg");
    desk.run("measure day/a.jpg --scale 20 --overlay day/seen.png --plot day/plot.png").is_done();
    for picture in ["day/seen.png", "day/plot.png"] {
        desk.refuses(&format!("measure {picture} --scale 20"), 1, &["drew this picture", "the photo itself"]);
    }
    let outcome = desk.run("batch day --scale 20");
    outcome.is_done();
    assert!(outcome.stdout.contains("day/seen.png: lightsieve drew this picture"), "{}", outcome.stdout);
    assert_eq!(desk.json("day/lightsieve-results/overview.json")["samples"].as_array().unwrap().len(), 1);
}

#[test]
fn shares_above_sizes_stand_beside_the_figures_once_and_in_order() {
    let desk = Desk::with("day/one.jpg", grounds_jpeg()).and("day/two.jpg", more_grounds_jpeg());
    let outcome =
        desk.run("batch day --scale 20 --share-above 700 --share-above 400 --share-above 700 --report day.html");
    assert_eq!(outcome.status, Some(0), "{}", outcome.stderr);
    let head = outcome.stdout.lines().next().unwrap();
    assert!(head.ends_with("> 400 µm %   > 700 µm %"), "{head}");
    for (row, sample) in desk.csv("day/lightsieve-results/overview.csv").iter().zip(["one", "two"]) {
        let json = desk.json(&format!("day/lightsieve-results/{sample}.json"));
        let shares = json["distribution"]["shares_above"].as_array().unwrap();
        assert_eq!(shares.len(), 2);
        for (share, size) in shares.iter().zip(["400", "700"]) {
            let cell = |end: &str| row[&format!("above_{size}_um_pct{end}")].parse::<f64>().unwrap();
            let known = [&share["share_pct"], &share["interval_pct"][0], &share["interval_pct"][1]];
            for (cell, known) in [cell(""), cell("_low"), cell("_high")].iter().zip(known) {
                assert!((cell - known.as_f64().unwrap()).abs() < 1e-2, "{cell} {known}");
            }
        }
    }
    assert!(desk.text("day.html").contains("&gt; 400 µm %"));
}
