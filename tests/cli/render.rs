//! Photos with known truth.

use crate::support::Desk;

#[test]
fn a_picture_and_its_truth_are_written() {
    let desk = Desk::empty();
    let outcome = desk.run("render a.jpg --size 400x300 --truth a.csv");
    outcome.is_done();
    assert!(outcome.stdout.contains("a.jpg") && outcome.stdout.contains("D50"), "{}", outcome.stdout);
    let picture = image::load_from_memory(&desk.bytes("a.jpg")).unwrap();
    assert_eq!((picture.width(), picture.height()), (400, 300));
    let rows = desk.csv("a.csv");
    assert!(outcome.stdout.contains(&format!("{} particles", rows.len())), "{}", outcome.stdout);
    assert!(rows.iter().all(|row| row["ecd_um"].parse::<f64>().unwrap() > 0.0));
    desk.run("render a.png --size 400x300").is_done();
    assert_eq!(image::load_from_memory(&desk.bytes("a.png")).unwrap().width(), 400);
}

#[test]
fn the_same_seed_gives_the_same_bytes_and_another_seed_others() {
    let with = |seed: &str, threads: &str| {
        let desk = Desk::empty();
        let line = format!("render a.jpg --size 400x300 --truth a.csv --seed {seed}");
        desk.run_on_threads(threads, &line).is_done();
        (desk.bytes("a.jpg"), desk.bytes("a.csv"))
    };
    assert!(with("5", "1") == with("5", "4"));
    assert!(with("5", "1") != with("6", "1"));
}

#[test]
fn what_is_rendered_can_be_measured() {
    let desk = Desk::empty();
    desk.run("render a.jpg --size 900x700").is_done();
    desk.run("measure a.jpg --scale 20").is_done();
}

#[test]
fn sizes_that_make_no_sense_are_refused() {
    for size in ["0x0", "5x5", "0x300", "100000x100", "30000x30000"] {
        Desk::empty().refuses(&format!("render a.jpg --size {size} --truth a.csv"), 2, &[]);
    }
    for size in ["abc", "300", "300x", "x", "axb", "3e2x300", "99999999999x300"] {
        Desk::empty().refuses(&format!("render a.jpg --size {size} --truth a.csv"), 2, &["--size", "3000x2250"]);
    }
    Desk::empty().refuses("render a.jpg --size -300x300", 2, &[]);
}

#[test]
fn numbers_that_make_no_sense_are_refused() {
    for option in [
        "--scale 0",
        "--scale nan",
        "--coarse 0",
        "--fine nan",
        "--fine-share 2",
        "--coverage 0.9",
        "--touching 1.5",
        "--blur 1000",
        "--shadow 5",
        "--disc 0",
        "--seed abc",
    ] {
        Desk::empty().refuses(&format!("render a.jpg --size 300x300 {option}"), 2, &[]);
    }
}

#[test]

fn a_refused_number_names_its_option() {
    for option in ["--scale 0", "--scale -1", "--coarse 0", "--fine-share 2", "--coverage 0.9", "--touching 2"] {
        let name = option.split_once(' ').unwrap().0.trim_start_matches('-');
        Desk::empty().refuses(&format!("render a.jpg --size 300x300 {option}"), 2, &[name]);
    }
}

#[test]

fn a_disc_that_does_not_fit_is_refused_in_words() {
    Desk::empty().refuses("render a.jpg --size 300x300 --disc 50", 2, &["disc"]);
}

#[test]
fn more_grounds_than_the_paper_holds_are_refused() {
    Desk::empty().refuses("render a.jpg --size 900x700 --coverage 0.45", 2, &["room", "less coverage"]);
}

#[test]

fn an_empty_paper_has_no_figures_that_are_not_numbers() {
    let desk = Desk::empty();
    let outcome = desk.run("render a.jpg --size 300x300 --coverage 0");
    assert!(!outcome.stdout.contains("NaN") && !outcome.stderr.contains("NaN"), "{}{}", outcome.stdout, outcome.stderr);
}

#[test]
fn places_that_cannot_be_written_are_refused() {
    let desk = Desk::empty().and_folder("taken.jpg");
    desk.refuses("render a.gif --size 300x300", 2, &["a.gif", ".jpg", ".png"]);
    desk.refuses("render away/a.jpg --size 300x300", 1, &["away/a.jpg", "folder that exists"]);
    desk.refuses("render taken.jpg --size 300x300", 1, &["taken.jpg", "folder"]);
    desk.refuses("render a.jpg --size 300x300 --truth away/a.csv", 1, &["away/a.csv", "folder that exists"]);
}

#[test]

fn a_truth_that_would_replace_the_picture_is_refused() {
    Desk::empty().refuses("render a.png --size 300x300 --truth a.png", 2, &["a.png", "same name"]);
}
