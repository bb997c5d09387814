//! Options that make no sense are refused before a photo is read, with exit status 2.

use crate::support::Desk;

/// Asserts that `options` are refused with a message that holds `words`.
#[track_caller]
fn refused(options: &str, words: &[&str]) {
    let line = format!("measure a.jpg {options} --json out.json --overlay out.png");
    Desk::with_grounds("a.jpg").refuses(&line, 2, words);
}

#[test]
fn a_scale_of_zero_is_refused() {
    refused("--scale 0", &["scale", "µm per pixel", "between 0.05 and 2000"]);
}

#[test]
fn a_scale_below_zero_is_refused() {
    refused("--scale -3", &["scale", "µm per pixel", "-3"]);
}

#[test]
fn a_scale_that_is_not_a_number_is_refused() {
    refused("--scale nan", &["scale", "µm per pixel", "NaN"]);
    refused("--scale inf", &["scale", "µm per pixel", "inf"]);
    refused("--scale abc", &["--scale", "abc"]);
    refused("--scale", &["--scale"]);
}

#[test]
fn a_scale_beyond_reason_is_refused() {
    refused("--scale 1e9", &["scale", "µm per pixel", "1000000000"]);
}

#[test]
fn a_disc_without_a_size_is_refused() {
    refused("--reference disc=0", &["diameter", "between 1 and 500 mm"]);
    refused("--reference disc=-24", &["diameter", "between 1 and 500 mm"]);
    refused("--reference disc=nan", &["diameter", "between 1 and 500 mm"]);
    refused("--reference disc=abc", &["--reference", "disc=24.25", "mm"]);
    refused("--reference disc=", &["--reference", "disc=24.25", "mm"]);
}

#[test]
fn a_reference_of_unknown_kind_is_refused() {
    refused("--reference coin=2", &["--reference coin=2", "disc=24.25", "mm"]);
}

#[test]
fn a_scale_and_a_reference_together_are_refused() {
    refused("--scale 20 --reference disc=24.25", &["--scale", "--reference"]);
}

#[test]
fn a_reference_that_is_not_in_the_picture_is_refused() {
    let desk = Desk::with_grounds("a.jpg");
    let words = ["a.jpg", "reference disc", "flat on the paper", "--scale"];
    desk.refuses("measure a.jpg --reference disc=24.25 --json out.json", 1, &words);
}

#[test]
fn fines_that_are_no_size_are_refused() {
    for fines in ["0", "-1", "nan", "1e9"] {
        refused(&format!("--scale 20 --fines {fines}"), &["size", "µm", "between 1 and 100000"]);
    }
}

#[test]

fn a_refused_size_names_its_option() {
    refused("--scale 20 --fines 0", &["fines"]);
    refused("--scale 20 --share-above 0", &["share-above"]);
}

#[test]
fn a_confidence_beyond_reason_is_refused() {
    for confidence in ["0", "100", "-5", "nan"] {
        refused(&format!("--scale 20 --confidence {confidence}"), &["confidence", "between 50 and 99.9"]);
    }
}

#[test]
fn an_unknown_option_is_refused() {
    refused("--scale 20 --sieve 3", &["--sieve"]);
}

#[test]
fn a_seed_that_is_no_whole_number_is_refused() {
    refused("--scale 20 --seed 1.5", &["--seed", "1.5"]);
}

#[test]
fn without_a_photo_the_usage_is_shown() {
    Desk::empty().refuses("measure --scale 20", 2, &["PHOTO", "Usage"]);
}

#[test]
fn without_arguments_the_usage_is_shown() {
    Desk::empty().refuses("", 2, &["Usage", "measure", "batch", "render"]);
}

#[test]
fn an_unknown_command_is_refused() {
    Desk::empty().refuses("weigh a.jpg", 2, &["weigh", "Usage"]);
}

#[test]
fn help_and_version_go_to_standard_output() {
    for line in ["--help", "help", "measure --help", "batch --help", "render --help", "--version"] {
        let outcome = Desk::empty().run(line);
        outcome.is_done();
        assert!(outcome.stdout.contains("lightsieve"), "{line} printed:\n{}", outcome.stdout);
    }
}

#[test]
fn options_of_another_way_to_the_scale_are_refused() {
    let desk = Desk::with_grounds("a.jpg");
    desk.refuses("measure a.jpg --scale 20 --thickness 2", 2, &["--thickness", "--reference"]);
    desk.refuses("measure a.jpg --scale 20 --trust-calibration", 2, &["--trust-calibration", "--calibration"]);
}
