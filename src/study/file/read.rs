use std::path::PathBuf;

use toml::de::DeTable;

use super::fields::{Fields, Reader};
use super::links::Names;
use super::rows;
use super::{Burrs, Mistake, Study, Way};
use crate::scale::{RoundObject, coin, coin_names};
use crate::study::cup::Steps;

/// Finds the files that a text such as `photos/new-*.jpg` names, or says why there are none.
pub type Resolve<'r> = &'r dyn Fn(&str) -> Result<Vec<PathBuf>, String>;

/// Reads the study that `text` tells; `resolve` finds the files that it names.
///
/// # Errors
/// All mistakes, in the order of their lines.
pub fn read(text: &str, resolve: Resolve<'_>) -> Result<Study, Vec<Mistake>> {
    let (table, errors) = DeTable::parse_recoverable(text);
    let mut reader = Reader::new(text);
    reader.syntax(&errors);
    let study = {
        let fields = Fields::new(&reader, "the file", 0, table.get_ref());
        let study = whole(&fields, resolve);
        fields.finish();
        study
    };
    let mistakes = reader.into_mistakes();
    if mistakes.is_empty() { Ok(study) } else { Err(mistakes) }
}

fn whole(fields: &Fields<'_>, resolve: Resolve<'_>) -> Study {
    let title = fields.needed_text("title", "Do the worn burrs grind differently?").unwrap_or_default();
    let question = fields.needed_text("question", "Did the grind change, when did it stop, and does it matter?");
    let notes = fields.text("notes").unwrap_or_default();
    let invented = fields.flag("invented");
    let level = fields.number("confidence_pct", 50.0..=99.9, 95.0).unwrap_or(95.0) / 100.0;
    let fines_um = fields.number("fines_um", 1.0..=100_000.0, 100.0).unwrap_or(100.0);
    let margin = fields.number("alike_within_pct", 0.1..=100.0, 5.0).unwrap_or(5.0) / 100.0;
    let fines_margin = fields.number("fines_alike_within_pct", 0.1..=100.0, 20.0).unwrap_or(20.0) / 100.0;
    let seed = fields.number("seed", 0.0..=1e9, 1.0).unwrap_or(1.0) as u64;
    let scale = fields.table("scale").map_or(Way::Sheet(None), |f| way(&f, resolve));
    let (steps, sieve_step) = instruments(fields);

    let mut names = Names::new("grinder");
    let mut grinders = Vec::new();
    for f in fields.tables("grinder") {
        grinders.push((names.add(&f, "bench grinder"), f.text("notes").unwrap_or_default()));
        f.finish();
    }
    let mut burr_names = Names::new("burrs");
    let mut burrs = Vec::new();
    for f in fields.tables("burrs") {
        let name = burr_names.add(&f, "new set");
        let grinder = names.link(&f, "grinder").unwrap_or(0);
        burrs.push(Burrs { name, grinder, notes: f.text("notes").unwrap_or_default() });
        f.finish();
    }
    let mut sample_names = Names::new("sample");
    let samples = rows::samples(fields, &burr_names, &mut sample_names, sieve_step, resolve);
    if samples.is_empty() {
        fields
            .reader
            .missing(1, "there is no sample: add a [[sample]] with a name, its burrs and its photos".to_owned());
    }
    Study {
        title,
        question: question.unwrap_or_default(),
        notes,
        invented,
        level,
        fines_um,
        margins: [margin, fines_margin],
        seed,
        scale,
        steps,
        grinders,
        burrs,
        comparisons: rows::comparisons(fields, &sample_names),
        brews: rows::brews(fields, &sample_names, &steps, level),
        tastings: rows::tastings(fields, &sample_names),
        samples,
    }
}

/// Steps of the instruments for brews, and that of the balance for sieves, g.
fn instruments(fields: &Fields<'_>) -> (Steps, f64) {
    let default = Steps { mass_g: 0.1, tds_pct: 0.01, tds_accuracy_pct: 0.0 };
    let Some(f) = fields.table("instruments") else { return (default, 0.1) };
    let steps = Steps {
        mass_g: f.number("balance_step_g", 0.0001..=10.0, 0.1).unwrap_or(default.mass_g),
        tds_pct: f.number("tds_step_pct", 0.0001..=1.0, 0.01).unwrap_or(default.tds_pct),
        tds_accuracy_pct: f.number("tds_accuracy_pct", 0.0..=1.0, 0.03).unwrap_or(default.tds_accuracy_pct),
    };
    let sieve = f.number("sieve_balance_step_g", 0.0001..=10.0, 0.1).unwrap_or(steps.mass_g);
    f.finish();
    (steps, sieve)
}

/// The scale of photos, in one way of several.
pub(super) fn way(f: &Fields<'_>, resolve: Resolve<'_>) -> Way {
    let given = f.number("um_per_px", 0.05..=2000.0, 20.0);
    let reference = f.text("reference");
    let thickness = f.number("thickness_mm", 0.0..=50.0, 2.0);
    let calibration = f.text("calibration");
    let bars = f.pair("bar_measured_mm", "[100.0, 100.0]");
    f.finish();
    let ways = ["um_per_px", "reference", "calibration", "bar_measured_mm"].iter().filter(|w| f.has(w)).count();
    if ways > 1 {
        f.wrong(
            "um_per_px",
            "um_per_px, reference, calibration and bar_measured_mm are ways to one scale: keep one".to_owned(),
        );
    }
    if let Some(um) = given {
        return Way::Given(um);
    }
    if let Some(file) = calibration {
        return match resolve(&file) {
            Ok(files) => Way::Calibration(files.into_iter().next().unwrap_or_default()),
            Err(why) => {
                f.wrong("calibration", format!("calibration = \"{file}\": {why}"));
                Way::Sheet(None)
            }
        };
    }
    match reference.as_deref() {
        None => Way::Sheet(bars),
        Some("card") => Way::Card,
        Some(text) => match object(text) {
            Ok(object) => Way::Disc(RoundObject { thickness_mm: thickness.unwrap_or(object.thickness_mm), ..object }),
            Err(why) => {
                f.wrong("reference", why);
                Way::Sheet(None)
            }
        },
    }
}

fn object(text: &str) -> Result<RoundObject, String> {
    if let Some(name) = text.strip_prefix("coin:") {
        let known = coin_names().collect::<Vec<_>>().join(", ");
        return coin(name)
            .ok_or_else(|| format!("reference = \"{text}\": no coin of this name is known: there are {known}"));
    }
    let diameter = text.strip_prefix("disc=").and_then(|mm| mm.parse().ok()).filter(|mm| (1.0..=200.0).contains(mm));
    let diameter_mm = diameter.ok_or_else(|| {
        format!("reference = \"{text}\": write \"card\", \"coin:euro-1\" or, with the diameter in mm, \"disc=24.25\"")
    })?;
    Ok(RoundObject { diameter_mm, thickness_mm: 0.0 })
}
