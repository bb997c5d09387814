//! Files of studies with mistakes: each must be named with its line and with what to write instead.

use std::path::PathBuf;

use lightsieve::study::file::{Mistake, Study, TEMPLATE, read};

const GOOD: &str = r#"title = "Bench"
question = "Did it change?"
confidence_pct = 95

[scale]
um_per_px = 20.0

[instruments]
balance_step_g = 0.1

[[grinder]]
name = "bench"

[[burrs]]
name = "new set"
grinder = "bench"

[[sample]]
name = "new-02"
burrs = "new set"
kg = 2.5
setting = 6
photos = ["a.jpg", "b.jpg"]
[sample.sieve]
charge_g = 25.0
retained_g = { 710 = 8.6, 355 = 12.9 }
receiver_g = 3.2

[[sample]]
name = "worn-02"
burrs = "new set"
kg = 30
setting = 6
photos = "c.csv"

[[comparison]]
base = "new-02"
other = "worn-02"

[[brew]]
sample = "new-02"
kind = "filter"
dose_g = 15.0
beverage_g = 240.0
time_s = 165
tds_pct = 1.35

[[triangle]]
samples = ["new-02", "worn-02"]
presented = 24
correct = 13

[[preference]]
samples = ["new-02", "worn-02"]
pairs = 24
prefer_first = 15
"#;

fn of(text: &str) -> Result<Study, Vec<Mistake>> {
    let files = |name: &str| match name {
        "a.jpg" | "b.jpg" | "c.csv" => Ok(vec![PathBuf::from(name)]),
        _ => Err("there is no such file. Check the name".to_owned()),
    };
    read(text, &files)
}

/// What is changed in the good file, into what, where the mistake then stands, and words that the message holds.
const BROKEN: [(&str, &str, &str, &[&str]); 37] = [
    ("title = \"Bench\"\n", "", "question =", &["title is missing", "title = \""]),
    ("question = \"Did it change?\"", "question = \"\"", "question =", &["question is empty", "question = \""]),
    ("title = \"Bench\"", "title = Bench", "title =", &["a text stands in quotes", "\"Bench\""]),
    ("title = \"Bench\"", "title = \"Bench", "title =", &["a quote is open"]),
    ("title = \"Bench\"", "titel = \"x\"\ntitle = \"Bench\"", "titel =", &["titel is unknown", "write title"]),
    ("confidence_pct = 95", "confidence_pct = 9.5", "confidence_pct", &["between 50 and 99.9", "confidence_pct = 95"]),
    ("um_per_px = 20.0", "um_per_px = 20,0", "um_per_px", &["decimals with a point", "20.0"]),
    ("um_per_px = 20.0", "um_per_px = \"20.0\"", "um_per_px", &["is a text", "without quotes", "um_per_px = 20"]),
    ("um_per_px = 20.0", "um_per_px = -3", "um_per_px", &["between 0.05 and 2000"]),
    ("um_per_px = 20.0", "um_per_px = 20.0\nreference = \"card\"", "um_per_px", &["keep one"]),
    ("um_per_px = 20.0", "reference = \"coin:penny-9\"", "reference", &["no coin of this name", "euro-1"]),
    ("um_per_px = 20.0", "reference = \"a coin\"", "reference", &["\"card\"", "\"disc=24.25\""]),
    ("um_per_px = 20.0", "calibration = \"away.json\"", "calibration", &["there is no such file"]),
    ("um_per_px = 20.0", "bar_measured_mm = 99", "bar_measured_mm", &["two numbers", "[100.0, 100.0]"]),
    ("balance_step_g = 0.1", "balance_setp_g = 0.1", "balance_setp_g", &["unknown", "write balance_step_g"]),
    ("[[grinder]]", "[grinder]", "[grinder]", &["double brackets", "[[grinder]]"]),
    ("[[burrs]]\n", "[[burrs]\n", "[[burrs]", &["brackets"]),
    ("grinder = \"bench\"", "grinder = \"bnech\"", "bnech", &["no grinder has this name", "write \"bench\""]),
    ("grinder = \"bench\"\n", "", "[[burrs]]", &["grinder is missing", "grinder = \"bench\""]),
    ("burrs = \"new set\"\nkg = 2.5", "burrs = \"old\"\nkg = 2.5", "\"old\"", &["no burrs has this name", "new set"]),
    (
        "[[comparison]]",
        "[[sample]]\nburrs = \"new set\"\nname = \"new-02\"\n\n[[comparison]]",
        "name = \"new-02\"\n\n",
        &["stands on line 19 already", "its own"],
    ),
    ("kg = 2.5", "kg = -2.5", "kg = -2.5", &["between 0 and 1000000"]),
    ("kg = 2.5", "kg = 2.5\nkg = 3", "kg = 3\n", &["second time", "leave one out"]),
    ("kg = 2.5", "kilos = 2.5", "kilos", &["kilos is unknown", "known are", "kg"]),
    ("setting = 6\nphotos = [", "setting = \"six\"\nphotos = [", "\"six\"", &["is a text", "setting = 6"]),
    ("\"b.jpg\"", "\"d.jpg\"", "d.jpg", &["there is no such file"]),
    ("\"b.jpg\"", "\"a.jpg\"", "a.jpg", &["counted on line 23 already", "one sample, once"]),
    ("\"b.jpg\"", "7", "photos = [\"a.jpg\"", &["photos holds a number", "photos = ["]),
    ("receiver_g = 3.2", "receiver_g = 9.2", "retained_g", &["more than the charge"]),
    ("{ 710 = 8.6,", "{ 7.10e9 = 8.6,", "retained_g", &["retained_g"]),
    ("{ 710 = 8.6, 355 = 12.9 }", "8.6", "retained_g", &["is a number", "{ 710 = 8.6"]),
    ("other = \"worn-02\"", "other = \"new-02\"", "other =", &["same sample", "name two"]),
    ("kind = \"filter\"", "kind = \"drip\"", "kind =", &["\"filter\", \"espresso\" or \"immersion\""]),
    ("beverage_g = 240.0\n", "", "[[brew]]", &["beverage", "Give beverage_g"]),
    ("tds_pct = 1.35", "tds_pct = 13.5", "[[brew]]", &["more than coffee holds"]),
    ("correct = 13", "correct = 31", "correct = 31", &["more than presented = 24"]),
    ("prefer_first = 15", "prefer_first = 15.5", "prefer_first", &["no whole number"]),
];

fn line_of(text: &str, marker: &str) -> usize {
    let at = text.find(marker).unwrap_or_else(|| panic!("{marker} is not in the broken file"));
    text[..at].lines().count() + usize::from(text[..at].is_empty() || text[..at].ends_with('\n'))
}

#[test]
fn each_mistake_is_named_with_its_line_and_its_remedy() {
    assert!(of(GOOD).is_ok(), "{:?}", of(GOOD).err());
    for (from, to, marker, words) in BROKEN {
        assert_eq!(GOOD.matches(from).count(), 1, "{from} must stand once in the good file");
        let text = GOOD.replacen(from, to, 1);
        let mistakes = of(&text).expect_err(to);
        let line = line_of(&text, marker);
        let named = |m: &&Mistake| m.line == line && words.iter().all(|w| m.text.contains(w));
        assert!(mistakes.iter().any(|m| named(&m)), "{to:?}: line {line}, {words:?}, in {mistakes:#?}");
        assert!(mistakes.len() <= 2, "one mistake brings others along: {to:?}: {mistakes:#?}");
    }
}

#[test]
fn all_mistakes_are_named_at_once() {
    let text = GOOD
        .replacen("kg = 2.5", "kg = \"2.5\"", 1)
        .replacen("kind = \"filter\"", "kind = \"drip\"", 1)
        .replacen("correct = 13", "correct = 31", 1)
        .replacen("other = \"worn-02\"", "other = \"worn\"", 1);
    let mistakes = of(&text).unwrap_err();
    let lines: Vec<usize> = mistakes.iter().map(|m| m.line).collect();
    assert_eq!(lines.len(), 4, "{mistakes:#?}");
    assert!(lines.is_sorted());
}

#[test]
fn the_template_is_a_file_to_start_from() {
    let study = of(TEMPLATE).expect("the file to start from has no mistake");
    assert_eq!(study.samples.len(), 1);
    // With its notes taken off it is a whole study: all fields that it shows are known.
    let whole: String = TEMPLATE
        .lines()
        .map(|line| {
            let field = line.strip_prefix("# ").filter(|l| l.starts_with('[') || l.contains(" = "));
            field.unwrap_or(line).to_owned() + "\n"
        })
        .collect();
    let mistakes = of(&whole).unwrap_err();
    let about =
        |m: &Mistake| ["no sample has this name", "keep one", "no such file"].iter().any(|w| m.text.contains(w));
    assert!(mistakes.iter().all(about), "{mistakes:#?}");
}
