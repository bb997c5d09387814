//! Sets of burrs over several settings of the dial.

use crate::support::Desk;

/// Particles about `median` µm, with `fines` dust particles in ten thousand.
fn table(median: f64, fines: usize, seed: usize) -> String {
    let mut text = String::from("photo,ecd_um,weight\n");
    for i in 0..600 {
        let u = ((i as f64 + 0.5) * 0.618_033_988_75 + 0.377 * seed as f64).fract();
        text.push_str(&format!("p{seed}.jpg,{:.2},1\n", median * (0.8 * (u - 0.5)).exp()));
    }
    for i in 0..fines {
        text.push_str(&format!("p{seed}.jpg,{:.2},1\n", 60.0 + 0.05 * i as f64));
    }
    text
}

/// Two sets at three settings each; the dial of the worn one says two steps more, and it makes twice the fines.
fn desk() -> Desk {
    let mut desk = Desk::empty();
    let mut rows = String::from("set,setting,sample\n");
    for (set, more, fines) in [("new", 0.0, 500), ("worn", 2.0, 1000)] {
        for (i, wobble) in [-0.01, 0.012, -0.004, 0.006].into_iter().enumerate() {
            let setting = 10.0 + i as f64;
            let median = 500.0 * (0.1f64 * (setting - more) + wobble).exp() / 1.0f64.exp();
            let name = format!("{set}-{setting}.csv");
            let seed = i + 10 * fines;
            desk = desk.and(&name, table(median, fines + 17 * i, seed).as_bytes());
            rows.push_str(&format!("{set},{setting},{name}\n"));
        }
    }
    desk.and("all.csv", rows.as_bytes())
}

#[test]
fn the_shift_of_the_dial_and_the_fines_at_the_same_median_are_told() {
    let desk = desk();
    let out = desk.run("dial --table all.csv --json d.json --plot d.svg --report d.html");
    out.is_done();
    assert!(out.stdout.contains("Different at the same median: worn against new"), "{}", out.stdout);
    let json = desk.json("d.json");
    assert_eq!(json["schema"], "lightsieve/dial/1");
    let pair = &json["pairs"][0];
    let ends = |v: &serde_json::Value| [v[0].as_f64().unwrap(), v[1].as_f64().unwrap()];
    let [low, high] = ends(&pair["shift_interval_steps"]);
    assert!(low < 2.0 && 2.0 < high && high - low < 1.0, "{pair}");
    let [low, high] = ends(&pair["figures"]["fines_pct"]["relative_interval_pct"]);
    assert!(low > 50.0 && low < 100.0 && high > 90.0, "{pair}");
    let page = desk.text("d.html");
    assert!(page.find("Different").unwrap() < page.find("<svg").unwrap(), "the verdict comes first");
    assert_eq!(page.matches("http").count(), page.matches("http://www.w3.org").count(), "nothing from outside");
    // The same samples by name, the other set as the base: the shift turns round.
    let named: Vec<String> = ["worn", "new"]
        .into_iter()
        .flat_map(|set| (10..14).map(move |setting| format!("{set}@{setting}={set}-{setting}.csv")))
        .collect();
    desk.run(&format!("dial {} --json turned.json", named.join(" "))).is_done();
    let turned = desk.json("turned.json")["pairs"][0]["shift_steps"].as_f64().unwrap();
    assert!((turned + pair["shift_steps"].as_f64().unwrap()).abs() < 1e-9);
    desk.run("dial --table all.csv --base worn --json based.json").is_done();
    assert_eq!(desk.json("based.json")["pairs"][0]["shift_steps"].as_f64().unwrap(), turned);
}

#[test]
fn samples_that_make_no_dial_are_refused_with_a_way_out() {
    let desk = desk()
        .and("short.csv", b"set,setting,sample\nnew,ten,new-10.csv\n")
        .and("gone.csv", b"set,setting,sample\nnew,10,new-10.csv\nnew,11,nowhere.csv\n")
        .and("head.csv", b"burrs,setting,sample\n")
        .and("finer.csv", table(150.0, 300, 1).as_bytes())
        .and("finest.csv", table(130.0, 300, 2).as_bytes())
        .and("finestof.csv", table(112.0, 300, 3).as_bytes());
    for (line, status, said) in [
        ("dial", 2, "required"),
        ("dial new@10=new-10.csv new@11=new-11.csv", 1, "two sets"),
        ("dial new=new-10.csv worn@10=worn-10.csv", 2, "worn@12=worn-12.csv"),
        ("dial new@10=new-10.csv worn@10=worn-10.csv worn@11=worn-11.csv", 1, "two settings"),
        ("dial new@10=new-10.csv new@11=new-11.csv worn@10=worn-10.csv worn@11=worn-11.csv", 1, "third setting"),
        ("dial new@10=new-10.csv new@11=new-10.csv worn@10=worn-10.csv", 2, "given twice"),
        ("dial --table short.csv", 2, "line 2"),
        ("dial --table gone.csv", 1, "line 3"),
        ("dial --table head.csv", 1, "set,setting,sample"),
        ("dial --table all.csv --base old", 2, "no set"),
        ("dial --table all.csv --median 5000", 1, "Choose one within"),
        ("dial --table all.csv --json all.csv", 2, "overwrite"),
        (
            "dial new@10=new-10.csv new@11=new-11.csv new@12=new-12.csv \
             worn@3=finer.csv worn@2=finest.csv worn@1=finestof.csv",
            1,
            "share no median",
        ),
    ] {
        desk.refuses(line, status, &[said]);
    }
}

#[test]
fn dials_that_run_against_each_other_are_pointed_out() {
    let desk = desk();
    let line: Vec<String> = (10..14)
        .map(|i| format!("new@{i}=new-{i}.csv"))
        .chain((10..14).map(|i| format!("worn@{}=worn-{i}.csv", 30 - i)))
        .collect();
    let out = desk.run(&format!("dial {}", line.join(" ")));
    out.is_done();
    assert!(out.stdout.contains("opposite directions"), "{}", out.stdout);
}

#[test]
fn settings_that_no_dial_has_are_refused() {
    let desk = desk();
    for setting in ["1e308", "-1e308", "nan", "inf", "x"] {
        desk.refuses(&format!("dial new@{setting}=new-10.csv worn@10=worn-10.csv"), 2, &[setting, "1000000"]);
    }
}
