use std::collections::HashMap;
use std::path::PathBuf;

use super::fields::Fields;
use super::links::Names;
use super::read::{Resolve, way};
use super::{Brew, BrewKind, Sampled, Tasting, TastingKind};
use crate::compare::SETTINGS;
use crate::compare::sieve::{Aperture, Stack, Weighed};
use crate::study::cup::{Brewed, Steps, extraction};
use crate::study::tasting::{Preference, Triangle};

/// Up to this share who can tell, samples count as similar where the file says nothing: what ISO 4120 calls a
/// medium share is 25 to 35 % (from memory).
const SIMILAR_BELOW_PCT: f64 = 30.0;

pub(super) fn samples(
    fields: &Fields<'_>,
    burrs: &Names,
    names: &mut Names,
    sieve_step_g: f64,
    resolve: Resolve<'_>,
) -> Vec<Sampled> {
    let mut taken: HashMap<PathBuf, usize> = HashMap::new();
    let mut samples = Vec::new();
    for f in fields.tables("sample") {
        let name = names.add(&f, "new-02");
        let sample = Sampled {
            name,
            burrs: burrs.link(&f, "burrs").unwrap_or(0),
            kg: f.number("kg", 0.0..=1e6, 2.5),
            setting: f.number("setting", SETTINGS, 6.0),
            files: files(&f, &mut taken, resolve),
            scale: f.table("scale").map(|s| way(&s, resolve)),
            sieve: f.table("sieve").and_then(|s| sieve(&s, sieve_step_g)),
            notes: f.text("notes").unwrap_or_default(),
            line: f.line,
        };
        f.finish();
        samples.push(sample);
    }
    samples
}

fn files(f: &Fields<'_>, taken: &mut HashMap<PathBuf, usize>, resolve: Resolve<'_>) -> Vec<PathBuf> {
    let mut files = Vec::new();
    for (text, line) in f.texts("photos", "[\"photos/new-1.jpg\", \"photos/new-2.jpg\"]") {
        match resolve(&text) {
            Err(why) => f.reader.wrong(line, format!("photos: \"{text}\": {why}")),
            Ok(found) => {
                for file in found {
                    if let Some(first) = taken.insert(file.clone(), line) {
                        let text = format!(
                            "photos: \"{}\" is counted on line {first} already: a photo belongs to one sample, once",
                            file.display()
                        );
                        f.reader.wrong(line, text);
                    }
                    files.push(file);
                }
            }
        }
    }
    files
}

fn sieve(f: &Fields<'_>, step_g: f64) -> Option<Stack> {
    let mut weighed = Weighed {
        charge_g: f.number("charge_g", 0.0..=1e5, 25.0),
        receiver_g: f.number("receiver_g", 0.0..=1e5, 3.2),
        retained: Vec::new(),
        step_g,
    };
    let mut good = true;
    for (aperture, mass, line) in f.masses("retained_g", "{ 710 = 8.6, 355 = 12.9 }") {
        match aperture.parse::<Aperture>() {
            Ok(aperture) => weighed.retained.push((aperture.0, mass)),
            Err(e) => {
                good = false;
                f.reader.wrong(line, format!("retained_g: {e}"));
            }
        }
    }
    f.finish();
    if !good {
        return None;
    }
    if weighed.retained.is_empty() {
        f.wrong("retained_g", "[sample.sieve]: no layer: add retained_g = { 710 = 8.6, 355 = 12.9 }".to_owned());
        return None;
    }
    let stack = weighed.stack();
    if let Err(e) = &stack {
        // The command's options are fields here.
        let text = e.to_string().replace("--receiver or --charge", "receiver_g or charge_g");
        f.wrong("retained_g", format!("[sample.sieve]: {text}"));
    }
    stack.ok()
}

pub(super) fn comparisons(fields: &Fields<'_>, names: &Names) -> Vec<[usize; 2]> {
    let mut pairs: Vec<[usize; 2]> = Vec::new();
    for f in fields.tables("comparison") {
        if let (Some(base), Some(other)) = (names.link(&f, "base"), names.link(&f, "other")) {
            if base == other {
                f.wrong("other", "base and other are the same sample: name two".to_owned());
            }
            if pairs.contains(&[base, other]) || pairs.contains(&[other, base]) {
                f.wrong("other", "these two samples are compared already: leave one of the comparisons out".to_owned());
            } else {
                pairs.push([base, other]);
            }
        }
        f.finish();
    }
    pairs
}

pub(super) fn brews(fields: &Fields<'_>, names: &Names, steps: &Steps, level: f64) -> Vec<Brew> {
    let mut brews = Vec::new();
    for f in fields.tables("brew") {
        let sample = names.link(&f, "sample");
        let kind = f.needed_text("kind", "filter").and_then(|text| {
            let found = BrewKind::ALL.into_iter().find(|k| k.name() == text);
            if found.is_none() {
                f.wrong("kind", format!("kind = \"{text}\": write \"filter\", \"espresso\" or \"immersion\""));
            }
            found
        });
        let dose_g = f.needed("dose_g", 0.1..=10_000.0, 18.0);
        let water_g = f.number("water_g", 0.1..=1e5, 300.0);
        let beverage_g = f.number("beverage_g", 0.1..=1e5, 36.0);
        let time_s = f.number("time_s", 1.0..=1e6, 28.0);
        let tds_pct = f.number("tds_pct", 0.05..=30.0, 1.35);
        let notes = f.text("notes").unwrap_or_default();
        f.finish();
        let (Some(sample), Some(kind), Some(dose_g)) = (sample, kind, dose_g) else { continue };
        let brewed = tds_pct.map(|tds_pct| Brewed { method: kind.method(), dose_g, water_g, beverage_g, tds_pct });
        if let Some(Err(e)) = brewed.map(|b| extraction(&b, steps, level)) {
            f.reader.missing(f.line, format!("[[brew]]: {e}"));
        }
        if brewed.is_none() && time_s.is_none() && !f.has("tds_pct") && !f.has("time_s") {
            f.reader.missing(f.line, "[[brew]] says nothing: add tds_pct = 1.35, or time_s = 28".to_owned());
        }
        brews.push(Brew { sample, kind, brewed, dose_g, time_s, notes });
    }
    brews
}

pub(super) fn tastings(fields: &Fields<'_>, names: &Names) -> Vec<Tasting> {
    let mut tastings = Vec::new();
    for f in fields.tables("triangle") {
        let samples = two(&f, names);
        let presented = f.count("presented", 100_000, 24);
        let correct = f.count("correct", 100_000, 13);
        let similar = f.number("similar_below_pct", 1.0..=99.0, SIMILAR_BELOW_PCT).unwrap_or(SIMILAR_BELOW_PCT);
        within(&f, ["presented", "correct"], presented, correct);
        push(&mut tastings, &f, samples, presented.zip(correct), |(presented, correct)| {
            TastingKind::Triangle(Triangle { presented, correct }, similar / 100.0)
        });
    }
    for f in fields.tables("preference") {
        let samples = two(&f, names);
        let pairs = f.count("pairs", 100_000, 24);
        let first = f.count("prefer_first", 100_000, 15);
        within(&f, ["pairs", "prefer_first"], pairs, first);
        push(&mut tastings, &f, samples, pairs.zip(first), |(pairs, prefer_first)| {
            TastingKind::Preference(Preference { pairs, prefer_first })
        });
    }
    tastings
}

fn push(
    tastings: &mut Vec<Tasting>,
    f: &Fields<'_>,
    samples: Option<[usize; 2]>,
    counts: Option<(u32, u32)>,
    kind: impl Fn((u32, u32)) -> TastingKind,
) {
    let notes = f.text("notes").unwrap_or_default();
    f.finish();
    if let (Some(samples), Some(counts)) = (samples, counts) {
        tastings.push(Tasting { samples, kind: kind(counts), notes });
    }
}

/// A part is no larger than its whole, and the whole is not nothing.
fn within(f: &Fields<'_>, [whole_name, part_name]: [&str; 2], whole: Option<u32>, part: Option<u32>) {
    if whole == Some(0) {
        f.wrong(whole_name, format!("{whole_name} = 0: leave the tasting out until somebody has tasted"));
    } else if let (Some(whole), Some(part)) = (whole, part)
        && part > whole
    {
        f.wrong(part_name, format!("{part_name} = {part} is more than {whole_name} = {whole}: correct one of them"));
    }
}

fn two(f: &Fields<'_>, names: &Names) -> Option<[usize; 2]> {
    let example = "[\"new-02\", \"worn-02\"]";
    let texts = f.texts("samples", example);
    if !f.has("samples") {
        f.reader.missing(f.line, format!("samples is missing: add a line such as samples = {example}"));
        return None;
    }
    let found: Vec<Option<usize>> = texts.iter().map(|(name, line)| names.find(name, f, *line, "samples")).collect();
    match found.as_slice() {
        [Some(a), Some(b)] if a == b => f.wrong("samples", "samples names one sample twice: name two".to_owned()),
        [Some(a), Some(b)] => return Some([*a, *b]),
        [_, _] => {}
        _ => f.wrong("samples", format!("samples takes two names: samples = {example}")),
    }
    None
}
