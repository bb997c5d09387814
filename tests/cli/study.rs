//! `study` as people meet it: the file, the cache, what fails, the outputs.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use crate::pictures::grounds_jpeg;
use crate::support::{Desk, Outcome};

const HEAD: &str = "title = \"T\"\nquestion = \"Q?\"\n[scale]\num_per_px = 20\n[[grinder]]\nname = \"g\"\n\
                    [[burrs]]\nname = \"b\"\ngrinder = \"g\"\n";

/// A photo of the same grounds that is another file: bytes after the end of the picture are left unread.
fn photo(i: u8) -> Vec<u8> {
    let mut bytes = grounds_jpeg().to_vec();
    bytes.extend([i, i]);
    bytes
}

/// A study with a sample for each of `photos`.
fn bench(photos: u8) -> Desk {
    let mut desk = Desk::empty();
    let mut text = HEAD.to_owned();
    for i in 0..photos {
        desk = desk.and(&format!("photos/{i}.jpg"), &photo(i));
        text += &format!("[[sample]]\nname = \"s{i}\"\nburrs = \"b\"\nkg = {i}\nphotos = [\"photos/{i}.jpg\"]\n");
    }
    desk.and("study.toml", text.as_bytes())
}

/// A run that must do all that was asked.
#[track_caller]
fn good(desk: &Desk, line: &str) -> Outcome {
    let outcome = desk.run(line);
    outcome.is_done();
    outcome
}

fn entries(desk: &Desk) -> usize {
    let entries = fs::read_dir(desk.path(".lightsieve-cache")).map(|d| d.filter_map(Result::ok).collect::<Vec<_>>());
    entries.unwrap_or_default().iter().filter(|e| e.file_name().to_string_lossy().ends_with(".csv")).count()
}

#[test]
fn a_file_to_start_from_is_written_once_and_checked() {
    let desk = Desk::empty();
    good(&desk, "study new mine.toml");
    assert!(good(&desk, "study check mine.toml").stdout.contains("no mistakes"));
    desk.refuses("study new mine.toml", 2, &["exists already"]);
    let desk = Desk::with("bad.toml", HEAD.replace("grinder = \"g\"", "griner = \"g\"").as_bytes());
    desk.refuses("study check bad.toml", 1, &["line 7: ", "line 9: ", "write grinder", "no sample"]);
    desk.refuses("study bad.toml", 1, &["line 9: "]);
    desk.refuses("study check away.toml", 1, &["away.toml", "no such file"]);
    desk.refuses("study", 2, &["STUDY.toml"]);
}

#[test]
fn a_second_run_measures_nothing_and_says_the_same() {
    let desk = bench(3);
    let first = good(&desk, "study study.toml --json a.json --tables t");
    assert!(first.stdout.contains("3 photos measured, 0 found"), "{}", first.stdout);
    let second = good(&desk, "study study.toml --json b.json --report r.html");
    assert!(second.stdout.contains("0 photos measured, 3 found"), "{}", second.stdout);
    assert_eq!(desk.bytes("a.json"), desk.bytes("b.json"));
    assert_eq!(desk.bytes("study-report.html"), desk.bytes("r.html"));
    let json = desk.json("a.json");
    assert_eq!(json["schema"], "lightsieve/study/1");
    // The same photo under `measure`, but for what the tables round.
    good(&desk, "measure photos/0.jpg --scale 20 --json m.json");
    let d50 = |v: &serde_json::Value| v.as_f64().unwrap();
    let (found, measured) =
        (d50(&json["samples"][0]["figures"]["d50_um"]["value"]), d50(&desk.json("m.json")["distribution"]["d50_um"]));
    assert!((found / measured - 1.0).abs() < 1e-4, "{found} {measured}");
    assert_eq!(desk.csv("t/samples.csv").len(), 3);
    assert_eq!(desk.csv("t/photos.csv").len(), 3);
    // A damaged entry is measured again; so is a photo under another setting.
    let entry = fs::read_dir(desk.path(".lightsieve-cache")).unwrap().next().unwrap().unwrap().path();
    let bytes = fs::read(&entry).unwrap();
    fs::write(&entry, &bytes[..bytes.len() / 2]).unwrap();
    assert!(good(&desk, "study study.toml --json c.json").stdout.contains("1 photo measured, 2 found"));
    assert_eq!(desk.bytes("a.json"), desk.bytes("c.json"));
    fs::write(desk.path("study.toml"), desk.text("study.toml").replace("um_per_px = 20", "um_per_px = 21")).unwrap();
    assert!(good(&desk, "study study.toml").stdout.contains("3 photos measured, 0 found"));
}

#[test]
fn one_bad_photo_and_a_copy_stop_nothing() {
    let desk = bench(2).and("photos/bad.jpg", b"no picture").and("photos/copy.jpg", &photo(0));
    let more = "[[sample]]\nname = \"bad\"\nburrs = \"b\"\nphotos = [\"photos/bad.jpg\", \"photos/copy.jpg\"]\n";
    fs::write(desk.path("study.toml"), desk.text("study.toml") + more).unwrap();
    let outcome = desk.run("study study.toml --json a.json");
    assert_eq!(outcome.status, Some(1));
    for words in ["photos/bad.jpg", "photos/copy.jpg", "the same photo as photos/0.jpg"] {
        assert!(outcome.stderr.contains(words), "{words}: {}", outcome.stderr);
    }
    assert!(desk.text("study-report.html").contains("photos/bad.jpg"));
    let json = desk.json("a.json");
    assert_eq!(json["failed"].as_array().unwrap().len(), 2);
    assert!(json["samples"][1]["figures"]["d50_um"]["value"].as_f64().unwrap() > 100.0);
}

#[test]
fn one_table_as_two_samples_is_counted_once() {
    let desk = bench(2);
    desk.run("measure photos/0.jpg --scale 20 --particles photos/a.csv").is_done();
    fs::copy(desk.path("photos/a.csv"), desk.path("photos/b.csv")).unwrap();
    let more = "[[sample]]\nname = \"tables\"\nburrs = \"b\"\nphotos = [\"photos/a.csv\", \"photos/b.csv\"]\n";
    fs::write(desk.path("study.toml"), desk.text("study.toml") + more).unwrap();
    let outcome = desk.run("study study.toml");
    assert_eq!(outcome.status, Some(1));
    assert!(outcome.stderr.contains("photos/b.csv: the same table as photos/a.csv"), "{}", outcome.stderr);
    desk.refuses("study check study.toml", 1, &["1 file cannot be used", "photos/b.csv", "byte for byte"]);
    fs::write(desk.path("photos/b.csv"), "").unwrap();
    desk.refuses("study check study.toml", 1, &["1 file cannot be used", "photos/b.csv"]);
}

#[test]
fn a_run_that_is_ended_half_way_loses_nothing_that_was_done() {
    let whole = bench(12);
    good(&whole, "study study.toml --json a.json");
    let desk = bench(12);
    let mut child = Command::new(env!("CARGO_BIN_EXE_lightsieve"))
        .args(["study", "study.toml", "--json", "a.json"])
        .current_dir(desk.path("."))
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let started = Instant::now();
    while entries(&desk) < 2 && started.elapsed() < Duration::from_secs(120) {
        std::thread::sleep(Duration::from_millis(1));
    }
    child.kill().unwrap();
    child.wait().unwrap();
    let done = entries(&desk);
    assert!((2..12).contains(&done), "it was to be ended half-way, and {done} of 12 were done");
    assert!(!Path::new(&desk.path("a.json")).exists(), "nothing half-written is left");
    let outcome = good(&desk, "study study.toml --json a.json");
    let said = format!(
        "{} measured, {done} found",
        if done == 11 { "1 photo".into() } else { format!("{} photos", 12 - done) }
    );
    assert!(outcome.stdout.contains(&said), "{said}: {}", outcome.stdout);
    assert_eq!(whole.bytes("a.json"), desk.bytes("a.json"));
}

#[test]
fn two_runs_at_once_say_the_same() {
    let desk = bench(4);
    let spawn = |json: &str| {
        Command::new(env!("CARGO_BIN_EXE_lightsieve"))
            .args(["study", "study.toml", "--json", json, "--report", &format!("{json}.html")])
            .current_dir(desk.path("."))
            .stdout(Stdio::null())
            .spawn()
            .unwrap()
    };
    let mut both = ["a.json", "b.json"].map(spawn);
    both.iter_mut().for_each(|c| assert!(c.wait().unwrap().success()));
    assert_eq!(desk.bytes("a.json"), desk.bytes("b.json"));
    assert_eq!(entries(&desk), 4);
    assert!(good(&desk, "study study.toml").stdout.contains("0 photos measured, 4 found"));
}

#[test]
fn losses_in_sieving_are_told_and_tastings_counted_together() {
    let desk = bench(2);
    let sieve = "[sample.sieve]\ncharge_g = 25\nretained_g = { 710 = 8, 355 = 12 }\nreceiver_g = 3\n";
    let asked =
        |correct: u32| format!("[[triangle]]\nsamples = [\"s0\", \"s1\"]\npresented = 36\ncorrect = {correct}\n");
    let file = desk.text("study.toml") + sieve + &asked(18) + &asked(13) + &asked(12);
    fs::write(desk.path("study.toml"), file).unwrap();
    let outcome = good(&desk, "study study.toml --json a.json --tables t");
    assert!(outcome.stdout.contains("s1, sieved: More than 1 % was lost"), "{}", outcome.stdout);
    let json = desk.json("a.json");
    let tastings = json["tastings"].as_array().unwrap();
    // 18 of 36 are enough by themselves (ISO 4120), and not with three tastings.
    assert!(tastings[0]["p"].as_f64().unwrap() < 0.05 && tastings[0]["p_adjusted"].as_f64().unwrap() > 0.05);
    assert_eq!(tastings[0]["differs"], false);
    assert!(tastings[0]["text"].as_str().unwrap().contains("with all 3 tastings counted"));
    assert!(tastings[0]["can_tell_at_least_pct"].as_f64().unwrap() > 0.0);
    assert!(desk.csv("t/tastings.csv")[0].contains_key("can_tell_at_least_pct"));
    fs::write(desk.path("file"), "x").unwrap();
    desk.refuses("study study.toml --tables file", 2, &["--tables file", "folder"]);
}

#[test]
fn outputs_overwrite_no_file_of_the_study() {
    let desk = bench(1);
    std::fs::copy(desk.path("study.toml"), desk.path("study.html")).unwrap();
    desk.refuses("study study.html --report study.html", 2, &["overwrite"]);
    std::fs::copy(desk.path("study.toml"), desk.path("study")).unwrap();
    desk.refuses("study study --json study", 2, &["overwrite"]);
    desk.refuses("study study.toml --json study.toml", 2, &["ends in .json"]);
    desk.refuses("study study.toml --json photos/0.jpg", 2, &["ends in .json"]);
}

#[test]
fn a_serving_plan_tells_the_tasters_nothing_and_its_key_all() {
    let desk = Desk::empty();
    let outcome = good(&desk, "study serving --a early --b late --assessors 12 --output plan.html");
    assert!(outcome.stdout.contains("8 right answers"), "{}", outcome.stdout);
    let (plan, key) = (desk.text("plan.html"), desk.text("plan-key.html"));
    assert!(!plan.contains("early") && !plan.contains("late") && key.contains("A is early, B is late"));
    let codes = |text: &str| -> Vec<String> {
        text.split("<td>")
            .skip(1)
            .filter_map(|c| c.get(..3).filter(|c| c.chars().all(|c| c.is_ascii_digit())).map(str::to_owned))
            .collect()
    };
    assert_eq!(codes(&plan).len(), 36);
    assert!(codes(&plan).iter().all(|c| key.contains(c)));
    // Without a number of people: as many as 30 % who can tell take (the table of tests/study/tasting.rs).
    let outcome = good(&desk, "study serving --a x --b y --output p2.html");
    assert!(outcome.stdout.contains("42 triangle tests"), "{}", outcome.stdout);
    // Another plan each time, and the seed that gives it again.
    // A plan is never replaced: answers are read by it.
    desk.run("study serving --a x --b y --output p2.html").is_refused(2, &["p2.html", "exists already"]);
    let again = good(&desk, "study serving --a x --b y --output p3.html");
    assert_ne!(codes(&desk.text("p2.html")), codes(&desk.text("p3.html")));
    let seed = again.stdout.split("--seed ").nth(1).unwrap().split(' ').next().unwrap();
    good(&desk, &format!("study serving --a x --b y --seed {seed} --output p4.html"));
    assert_eq!(desk.bytes("p3-key.html"), desk.bytes("p4-key.html"));
    desk.refuses("study serving --a x --b x --output p.html", 2, &["both x"]);
    desk.refuses("study serving --a x --b y --assessors 301 --output p.html", 2, &["1 to 300"]);
}

#[test]
fn the_bench_study_answers_its_question() {
    let desk = Desk::empty();
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-images/bench-study");
    for entry in fs::read_dir(from).unwrap().map(|e| e.unwrap().path()).filter(|p| p.is_file()) {
        fs::copy(&entry, desk.path(&entry.file_name().unwrap().to_string_lossy())).unwrap();
    }
    let outcome = good(&desk, "study study.toml --json s.json");
    assert!(outcome.stdout.contains("Invented"));
    let json = desk.json("s.json");
    // The truth that tests/study/bench.rs draws: 95 % at 9 kg, fines 45 % more at the start.
    let fines =
        json["wear"].as_array().unwrap().iter().find(|w| w["burrs"] == "new" && w["figure"] == "fines_pct").unwrap();
    assert_eq!(fines["shape"], "plateau");
    let ends = |v: &serde_json::Value| [0, 1].map(|i| v["interval"][i].as_f64().unwrap());
    let [low, high] = ends(&fines["done_95_kg"]);
    assert!(low <= 9.0 && 9.0 <= high, "{low} {high}");
    // The gap of the worn burrs is 6 % wider at the same setting, one step being 9 %; the run-in ones are the second set.
    let worn = json["dial"]["pairs"].as_array().unwrap().iter().find(|p| p["other"] == "worn at 410 kg").unwrap();
    assert!(worn["shift_interval_steps"][1].as_f64().unwrap() < 0.0, "{worn}");
    let page = desk.text("study-report.html");
    for heading in [
        "What was asked",
        "The answer",
        "What is not known",
        "Grind",
        "Sieves",
        "Same dial, different gap",
        "Wear",
        "Cup",
        "Tasting",
    ] {
        assert!(page.contains(&format!("<h2>{heading}</h2>")), "{heading}");
    }
    // Nothing from outside, a text for every picture.
    let outside = |what: &str| page.contains(&format!("{what}=\"http")) || page.contains(&format!("{what}=\"//"));
    assert!(!outside("src") && !outside("href"));
    assert_eq!(page.matches("<figure").count(), page.matches("role=\"img\" aria-label=\"").count());
}
