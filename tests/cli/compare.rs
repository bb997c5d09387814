//! Two samples and a decision; sieve layers beside photos.

use crate::support::Desk;

/// A table of particles: `photos` of `each`, of about `median` µm.
fn table(photos: usize, each: usize, median: f64, seed: usize) -> String {
    let mut text = String::from("photo,x_px,y_px,ecd_um,feret_min_um,weight,flags\n");
    for photo in 0..photos {
        for i in 0..each {
            // A plain low-discrepancy walk through a broad law.
            let u = ((i as f64 + 0.5) * 0.618_033_988_75 + 0.377 * (photo + 10 * seed) as f64).fract();
            let d = median * (0.8 * (u - 0.5) + 0.02 * ((photo * 7 + seed * 3) % 5) as f64).exp();
            text.push_str(&format!("p{photo}-{seed}.jpg,{i},{seed},{d:.2},{:.2},1,\n", 0.85 * d));
        }
    }
    text
}

fn desk() -> Desk {
    Desk::with("new.csv", table(3, 400, 500.0, 1).as_bytes())
        .and("worn.csv", table(3, 400, 620.0, 2).as_bytes())
        .and("same.csv", table(3, 400, 500.0, 3).as_bytes())
}

#[test]
fn a_clear_difference_is_said_first_and_written_everywhere() {
    let desk = desk();
    let out = desk.run("compare new.csv worn.csv --json c.json --plot c.svg --report c.html");
    out.is_done();
    assert!(out.stdout.contains("Different: worn against new"), "{}", out.stdout);
    let json = desk.json("c.json");
    assert_eq!(json["schema"], "lightsieve/comparison/1");
    assert_eq!(json["verdict"]["kind"], "different");
    let d50 = &json["figures"]["d50_um"];
    let interval = &d50["relative_interval_pct"];
    assert!(interval[0].as_f64().unwrap() < 24.0 && interval[1].as_f64().unwrap() > 24.0, "{d50}");
    assert!(d50["p_adjusted"].as_f64().unwrap() >= d50["p"].as_f64().unwrap());
    let page = desk.text("c.html");
    assert!(page.find("Different").unwrap() < page.find("<svg").unwrap(), "the verdict comes first");
    assert_eq!(page.matches("http").count(), page.matches("http://www.w3.org").count(), "nothing from outside");
    assert!(desk.text("c.svg").contains("worn"));
}

#[test]
fn several_samples_are_held_against_a_named_base() {
    let desk = desk();
    let out = desk.run("compare a=new.csv b=worn.csv c=same.csv --base c --json c.json --plot c.png");
    out.is_done();
    assert!(out.stdout.contains("against  c"), "{}", out.stdout);
    assert!(desk.path("c-a.png").exists() && desk.path("c-b.png").exists());
    let json = desk.json("c.json");
    assert_eq!((json["samples"].as_array().unwrap().len(), json["others"].as_array().unwrap().len()), (3, 1));
}

#[test]
fn photos_and_their_tables_give_the_same_comparison() {
    let desk = Desk::with_grounds("a.jpg").and("b/one.csv", b"");
    desk.run("render other.jpg --seed 5").is_done();
    desk.run("measure a.jpg --scale 20 --particles a.csv").is_done();
    desk.run("measure other.jpg --scale 20 --particles other.csv").is_done();
    desk.run("compare a.jpg other.jpg --scale 20 --json photos.json").is_done();
    desk.run("compare a.csv other.csv --json tables.json").is_done();
    let (photos, tables) = (desk.json("photos.json"), desk.json("tables.json"));
    for figure in ["d50_um", "span", "fines_pct"] {
        for value in ["a", "b", "p"] {
            let of = |json: &serde_json::Value| json["figures"][figure][value].as_f64().unwrap();
            // The table keeps hundredths of a µm, and tells the limit of sight, which the fines' p rests on, by the
            // largest particle below it.
            // One of some hundred fines may be rounded over their limit.
            let room = match (figure, value) {
                ("fines_pct", "p") => 0.02,
                ("fines_pct", _) => 5e-3,
                _ => 1e-3,
            };
            let off = (of(&photos) / of(&tables) - 1.0).abs();
            assert!(off < room, "{figure} {value}: {off}");
        }
    }
}

#[test]
fn pale_particles_of_a_table_are_left_out_where_wished() {
    let row = |i: u32, flags: &str| format!("a.jpg,{},1,{flags}\n", 400 + 3 * i);
    let grains: String = (0..60).map(|i| row(i, "")).collect();
    let flakes: String = (0..7).map(|i| row(i, "pale")).collect();
    let head = "photo,ecd_um,weight,flags\n";
    let desk = desk().and("flaky.csv", format!("{head}{grains}{flakes}").as_bytes());
    for (chaff, particles) in [("in", 67), ("out", 60)] {
        let out = desk.run(&format!("compare new.csv flaky.csv --chaff {chaff} --json c.json"));
        out.is_done();
        let told = out.stdout.contains("flaky: 7 particles far paler than the rest");
        assert_eq!(told, chaff == "in", "{}", out.stdout);
        let samples = desk.json("c.json")["samples"].clone();
        let flaky = samples.as_array().unwrap().iter().find(|s| s["name"] == "flaky").unwrap().clone();
        assert_eq!(flaky["particles"], particles, "{flaky}");
    }
}

#[test]
fn samples_that_cannot_be_compared_are_refused() {
    let desk = desk()
        .and("copy.csv", table(3, 400, 500.0, 1).as_bytes())
        .and("broken.csv", b"photo,ecd_um,weight\na,100,1\na,1OO,1\n")
        .and("empty.csv", b"photo,ecd_um,weight\n");
    for (line, status, said) in [
        ("compare new.csv", 2, "2 values required"),
        ("compare new.csv new.csv", 2, "two samples are named new"),
        ("compare a=new.csv b=new.csv", 2, "twice"),
        ("compare new.csv b=copy.csv", 2, "copy.csv"),
        ("compare new.csv broken.csv", 1, "line 3"),
        ("compare new.csv empty.csv", 1, "no particle"),
        ("compare new.csv none.csv", 1, "no such file"),
        ("compare new.csv none-*.csv", 1, "no photo or table"),
        ("compare new.csv worn.csv --base x", 2, "There are new, worn"),
        ("compare new.csv worn.csv --alike-within x", 2, "expected a percentage"),
        ("compare new.csv worn.csv --json new.csv", 2, "overwrite"),
        ("compare new.csv worn.csv --plot a.gif", 2, ".svg or .png"),
    ] {
        desk.refuses(line, status, &[said]);
    }
}

#[test]
fn layers_weighed_and_seen_stand_side_by_side() {
    let desk = desk().and("w.csv", b"aperture_um,retained_g\n500,8.6\n355,12.9\nreceiver,3.2\ncharge,25\n");
    let out = desk.run(
        "sieve new.csv --json s.json --plot s.png --shape-out shape.json --charge 25 --retained 355=12.9 --retained 0.5mm=8.6 \
         --receiver 3.2",
    );
    out.is_done();
    assert!(out.stdout.find("on 500 µm").unwrap() < out.stdout.find("on 355 µm").unwrap(), "{}", out.stdout);
    assert!(out.stdout.contains("Lost in sieving: 0.30 g, 1.2 %"), "{}", out.stdout);
    let json = desk.json("s.json");
    assert_eq!(json["schema"], "lightsieve/sieve/1");
    assert_eq!(json["layers"][0]["aperture_um"], 500.0);
    desk.run("sieve new.csv --weights w.csv --shape shape.json --report s.html").is_done();
    assert!(desk.text("s.html").find("Sieve and photos").unwrap() < desk.text("s.html").find("<svg").unwrap());
}

#[test]
fn a_fitted_shape_tells_how_sieves_would_sort_a_photo() {
    let shape = |schema: &str, shift: f64| {
        format!("{{\"schema\": \"{schema}\", \"size_shift\": {shift}, \"mass_exponent\": 0.0}}").into_bytes()
    };
    let desk = Desk::with_grounds("a.jpg")
        .and("narrow.json", &shape("lightsieve/shape/1", 0.8))
        .and("wide.json", &shape("lightsieve/shape/1", 1.0))
        .and("newer.json", &shape("lightsieve/shape/2", 1.0));
    let median = |file: &str| {
        let out = desk.run(&format!("measure a.jpg --scale 20 --shape {file} --json m.json"));
        out.is_done();
        assert!(out.stdout.contains("D50 as sieved"), "{}", out.stdout);
        let json = desk.json("m.json");
        [&json["as_sieved"]["figures"]["d50_um"], &json["distribution"]["d50_um"]].map(|v| v.as_f64().unwrap())
    };
    let ([narrow, plain], [wide, same]) = (median("narrow.json"), median("wide.json"));
    assert!((narrow / wide - 0.8).abs() < 1e-9 && plain == same, "the shift moves what sieves tell and nothing else");
    desk.refuses("measure a.jpg --scale 20 --shape newer.json", 1, &["newer version"]);
    desk.refuses("measure a.jpg --scale 20 --shape gone.json", 1, &["no such file"]);
}

#[test]
fn weights_that_cannot_be_are_refused() {
    let desk = desk()
        .and("w.csv", b"aperture_um,retained_g\n710,8.6\n355;12.9\n")
        .and("other.json", b"{\"schema\": \"lightsieve/measurement/1\"}");
    for (line, status, said) in [
        ("--retained 710=20 --receiver 9 --charge 25", 2, "more than the charge"),
        ("--retained 710=8 --retained 0.71mm=1 --receiver 9", 2, "given twice"),
        ("--retained 250mm=8 --receiver 9", 2, "write the unit"),
        ("--retained 710:8 --receiver 9", 2, "--retained 710=8.6"),
        ("--retained 710=-8 --receiver 9", 2, "from 0 to 100000"),
        ("--receiver 9", 2, "no layer was weighed"),
        ("--retained 710=8", 2, "neither the receiver nor the charge"),
        ("--retained 710=8 --charge 0", 2, "a charge of 0 g"),
        ("--retained 710=8 --charge 25 --share-above 500", 2, "--share-above"),
        ("--weights w.csv", 1, "line 3"),
        ("--retained 710=8 --receiver 9 --shape other.json", 1, "no file of a fitted shape"),
    ] {
        desk.refuses(&format!("sieve new.csv {line}"), status, &[said]);
    }
}

#[test]
fn a_pilot_tells_how_many_photos_it_takes() {
    let desk = desk();
    let out = desk.run("plan new.csv --within 3% --json p.json");
    out.is_done();
    let json = desk.json("p.json");
    assert_eq!(json["schema"], "lightsieve/plan/1");
    let of = |within: &str| {
        desk.run(&format!("plan new.csv --within {within} --json q.json")).is_done();
        desk.json("q.json")["figures"][1]["photos_within"].as_u64().unwrap()
    };
    assert!(of("0.5%") > of("5%") && of("5%") >= 2, "a narrower interval takes more photos");
    assert!(desk.run("plan --gsd 1.6").stdout.contains("3894"));
    assert!(desk.run("plan --gsd 1.6 --d50 800").stdout.contains("in frame L"));
    let desk = Desk::with_grounds("a.jpg");
    let near = desk.run("plan a.jpg --scale 20 --see 400");
    assert!(
        near.stdout.contains("close enough for 400 µm") && near.stdout.contains("The pilot covers"),
        "{}",
        near.stdout
    );
    let far = desk.run("plan a.jpg --scale 20 --see 10").stdout;
    assert!(far.contains("move closer"), "{far}");
    desk.refuses("plan a.jpg --scale 20 --see 0", 2, &["between 1 and"]);
}

#[test]
fn plans_that_make_no_sense_are_refused() {
    let desk = desk();
    desk.refuses("plan", 2, &["SAMPLE"]);
    desk.refuses("plan --gsd 9", 2, &["between 1.05 and 4"]);
    desk.refuses("plan new.csv --within 0", 2, &["--within 0", "percentage"]);
    desk.refuses("plan new.csv --json new.csv", 2, &["overwrite an input"]);
    desk.refuses("plan none.csv", 1, &["no such file"]);
    desk.refuses("plan new.csv --see 50", 2, &["--see 50", "table of particles"]);
    // A pilot of several files is not told by the first alone.
    let out = desk.run("plan new.csv,worn.csv");
    assert!(out.stdout.starts_with("new and 1 more: "), "{}", out.stdout);
}

#[test]
fn two_weighed_samples_say_what_weights_and_photos_tell() {
    let weights =
        |on: f64, under: f64| format!("aperture_um,retained_g\n500,{on}\n355,{under}\nreceiver,3.0\n").into_bytes();
    let desk = desk()
        .and("a.csv", &weights(10.0, 7.0))
        .and("b.csv", &weights(12.0, 5.0))
        .and("c.csv", &weights(10.1, 6.9))
        .and("other.csv", b"aperture_um,retained_g\n400,3\nreceiver,3\n");
    let out = desk.run("sieve new.csv worn.csv --weights a.csv --weights b.csv --json s.json --report s.html");
    out.is_done();
    assert!(out.stdout.contains("By weight worn holds"), "{}", out.stdout);
    let json = desk.json("s.json");
    assert_eq!(json["schema"], "lightsieve/sieve-pair/1");
    let first = &json["layers"][0];
    assert!((first["weighed_difference_pct"].as_f64().unwrap() - 10.0).abs() < 1e-9, "{first}");
    assert!(first["photo_interval_pct"][0].as_f64().unwrap() > 0.0, "{first}");
    assert!(desk.text("s.html").contains("By weight worn holds"));
    let out = desk.run("sieve new.csv same.csv --weights a.csv --weights c.csv");
    assert!(out.stdout.contains("weights alone tell no layer apart"), "{}", out.stdout);
    // By the photos the two differ by more than the weights allow.
    let out = desk.run("sieve new.csv worn.csv --weights a.csv --weights c.csv").stdout.replace('\n', " ");
    assert!(out.contains("contradict each other") && out.contains("on 500 µm"), "{out}");
    for (line, said) in [
        ("sieve new.csv worn.csv --weights a.csv", "two tables of weights"),
        ("sieve new.csv worn.csv --weights a.csv --weights other.csv", "different sieves"),
        ("sieve new.csv worn.csv --weights a.csv --weights b.csv --plot p.svg", "one sample"),
        ("sieve new.csv --weights a.csv --weights b.csv", "give one"),
        ("sieve new.csv worn.csv --weights a.csv --weights a.csv", "the same table"),
    ] {
        desk.refuses(line, 2, &[said]);
    }
}

#[test]
fn what_no_grounds_can_be_is_refused() {
    let mut few = table(1, 20, 500.0, 7);
    let huge = table(1, 400, 500.0, 8) + "p0-8.jpg,1,8,1e110,400,1,\n";
    few.push('\n');
    let desk = desk()
        .and("few.csv", few.as_bytes())
        .and("huge.csv", huge.as_bytes())
        .and("two.csv", b"aperture_um,retained_g\n500,8\nreceiver,3\nreceiver,2\n");
    desk.refuses("compare new.csv few.csv", 1, &["20 of the 30 particles"]);
    desk.refuses("compare new.csv huge.csv", 1, &["no particle has"]);
    desk.refuses("sieve new.csv --weights two.csv", 1, &["line 4", "a second receiver"]);
    desk.refuses("sieve new.csv --retained 500=1e300 --receiver 1", 2, &["from 0 to 100000"]);
}

#[test]
fn a_photo_that_stands_twice_in_a_sample_is_refused_everywhere() {
    // Under another name, as a photo that was saved anew.
    let one = table(1, 400, 500.0, 1);
    let again = one.replace("p0-1.jpg", "saved-anew.jpg");
    let desk = desk().and("one.csv", one.as_bytes()).and("again.csv", again.as_bytes());
    let words = ["same particles at the same places", "Leave one out"];
    desk.refuses("compare one.csv,again.csv worn.csv", 1, &words);
    desk.refuses("plan one.csv,again.csv", 1, &words);
    desk.refuses("sieve one.csv,again.csv --charge 5 --retained 400=2 --receiver 3", 1, &words);
    desk.refuses("dial a@1=one.csv,again.csv a@2=same.csv b@1=new.csv b@2=worn.csv", 1, &words);
}

#[test]
fn a_page_tells_what_could_be_better_about_its_photos() {
    let desk = Desk::empty();
    desk.run("render sharp.jpg --size 1200x900").is_done();
    desk.run("render soft.jpg --size 1200x900 --blur 4 --seed 2").is_done();
    let out = desk.run("compare sharp.jpg soft.jpg --scale 20 --report c.html");
    out.is_done();
    assert!(out.stdout.contains("soft.jpg: The photo is soft"), "{}", out.stdout);
    let page = desk.text("c.html");
    assert!(page.contains("<h2>The photos</h2>") && page.contains("soft.jpg: The photo is soft"));
}
