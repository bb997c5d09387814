//! Sets of burrs over the settings of the dial: sentences, table and JSON.

use std::collections::BTreeMap;
use std::fmt::Write;

use serde::Serialize;

use super::comparison::{mark, p_text, signed, wrapped};
use super::format::{count, decimals, percent, significant, value};
use super::verdict::{label, relatively};
use crate::compare::{AtMedian, DialPair, DialSet, Dials, Quantity, Verdict};
use crate::distribution::Figures;
use crate::numeric::Estimate;

/// Schema of [`json`].
pub const DIAL: &str = "lightsieve/dial/1";

/// What a pair comes to at the same median.
pub(super) fn verdict(pair: &DialPair) -> Verdict {
    if pair.clear().next().is_some() {
        Verdict::Different
    } else if pair.figures.iter().all(|f| f.alike) {
        Verdict::Alike
    } else {
        Verdict::Undecided
    }
}

/// A pair in a few sentences for people without statistics.
pub(super) fn sentences(d: &Dials, pair: &DialPair) -> String {
    let [base, other] = [&d.sets[0].name, &d.sets[pair.other].name];
    let median = significant(d.median_um, 3);
    let mut out = match verdict(pair) {
        Verdict::Different => {
            let told: Vec<String> = pair.clear().map(|f| relatively(f.quantity, &f.relative_pct)).collect();
            format!("Different at the same median: {other} against {base} at D50 = {median} µm: {}.", told.join("; "))
        }
        Verdict::Alike => format!(
            "Alike at the same median: every figure of {other} at D50 = {median} µm lies within the margin of {base}."
        ),
        Verdict::Undecided => format!(
            "Cannot tell yet at the same median: at D50 = {median} µm {other} and {base} differ by no more than chance explains, which \
             does not make them alike. More settings, or the same settings ground again, narrow the intervals."
        ),
    };
    let shift = &pair.shift;
    let places = decimals(shift.half_width()).min(2);
    let (way, low, high) =
        if shift.value < 0.0 { ("lower", -shift.high, -shift.low) } else { ("higher", shift.low, shift.high) };
    let _ = if low > 0.0 {
        write!(
            out,
            " For that median the dial stands {:.places$} steps ({low:.places$} to {high:.places$}) {way} with {other} than with {base}.",
            shift.value.abs()
        )
    } else {
        write!(
            out,
            " The dials may agree: for that median {other} stands between {:.places$} steps lower and {:.places$} steps higher than \
             {base}.",
            -shift.low, shift.high
        )
    };
    out
}

/// What must be said besides.
pub(super) fn notes(d: &Dials, fines_um: f64) -> Vec<String> {
    let mut notes = Vec::new();
    if d.sets.iter().any(|s| s.per_step_pct.value * d.sets[0].per_step_pct.value < 0.0) {
        notes.push(
            "The dials run in opposite directions: a higher setting is coarser with one set and finer with another. Check that the settings \
             belong to their samples before trusting anything here."
                .to_owned(),
        );
    }
    let coarsest = d.sets.iter().flat_map(|s| &s.points).max_by(|a, b| a.smallest_ecd_um.total_cmp(&b.smallest_ecd_um));
    if let Some(point) = coarsest.filter(|p| p.smallest_ecd_um > fines_um) {
        notes.push(format!(
            "{}: its photos show particles reliably only from {} µm up, so fines below {} µm are judged by a part of them.",
            point.name,
            significant(point.smallest_ecd_um, 2),
            significant(fines_um, 3)
        ));
    }
    if d.freedom < 3 {
        notes.push(format!(
            "Only {} more than the lines take: the intervals are wide for that reason. A further setting helps most.",
            count(d.freedom, "sample")
        ));
    }
    if !d.same_slope {
        notes.push(
            "One step changes the median by different shares with these sets, so the shift holds at this median only."
                .into(),
        );
    }
    notes
}

/// The comparison as a text for people.
pub fn table(d: &Dials, fines_um: f64) -> String {
    let level = format!("{} % interval", percent(d.level));
    let mut out = format!(
        "  {:<16}{:>9}{:>20}{:>24}{:>26}\n",
        "set",
        "samples",
        "medians on its line",
        "one step of the dial",
        format!("setting for {} µm", significant(d.median_um, 3)),
    );
    for set in &d.sets {
        let [low, high] = ends(set);
        let _ = writeln!(
            out,
            "  {:<16}{:>9}{:>20}{:>24}{:>26}",
            set.name,
            set.points.len(),
            format!("{low:.0} – {high:.0} µm"),
            format!("{} % ({})", value(&set.per_step_pct), between(&set.per_step_pct)),
            format!("{} ({})", value(&set.setting), between(&set.setting)),
        );
    }
    for pair in &d.pairs {
        let _ = writeln!(out, "\n{}\n", wrapped(&sentences(d, pair), 100));
        let [base, other] = [&d.sets[0].name, &d.sets[pair.other].name];
        let _ = writeln!(
            out,
            "  {:<16}{:>14}{:>14}{:>12}{:>20}{:>10}{:>14}",
            "", base, other, "change", level, "p, all", "could show"
        );
        for f in &pair.figures {
            let mark = mark(said(f));
            let places = decimals(f.relative_pct.half_width());
            let _ = writeln!(
                out,
                "{mark} {:<16}{:>14}{:>14}{:>12}{:>20}{:>10}{:>14}",
                label(f.quantity, fines_um),
                shown(f, 0),
                shown(f, 1),
                format!("{} %", signed(f.relative_pct.value, places)),
                format!("{} … {}", signed(f.relative_pct.low, places), signed(f.relative_pct.high, places)),
                p_text(f.p_adjusted),
                format!("{} %", significant(f.smallest_detectable_pct, 2)),
            );
        }
    }
    let _ = writeln!(
        out,
        "\n  * differs   = alike within the margin   p for all figures together: Student's t on the samples, by Holm's method"
    );
    for note in notes(d, fines_um) {
        let _ = writeln!(out, "  ! {note}");
    }
    out
}

/// Value of a figure for the base (0) or the other set (1), with the digits that the interval of the change carries.
pub(super) fn shown(f: &AtMedian, side: usize) -> String {
    let digits = decimals(0.01 * f.relative_pct.half_width() * f.values[0]);
    format!("{:.digits$} {}", f.values[side], f.quantity.unit()).trim_end().to_owned()
}

/// Verdict on a figure in a word.
pub(super) fn said(f: &AtMedian) -> &'static str {
    if f.p_adjusted < 1.0 - f.relative_pct.level {
        "differs"
    } else if f.alike {
        "alike"
    } else {
        "open"
    }
}

/// Medians on a set's line at its outermost settings, µm.
pub(super) fn ends(set: &DialSet) -> [f64; 2] {
    let at = |setting: f64| set.lines[1].map_or(f64::NAN, |[start, step]| (start + step * setting).exp());
    let (a, b) = (at(set.points[0].setting), at(set.points[set.points.len() - 1].setting));
    [a.min(b), a.max(b)]
}

/// "1.2 to 3.4".
pub(super) fn between(e: &Estimate) -> String {
    let places = decimals(e.half_width());
    format!("{:.places$} to {:.places$}", e.low, e.high)
}

#[derive(Serialize)]
struct DialV1 {
    schema: &'static str,
    confidence_pct: f64,
    fines_below_um: f64,
    median_um: f64,
    same_slope: bool,
    degrees_of_freedom: usize,
    sets: Vec<SetV1>,
    pairs: Vec<PairV1>,
    notes: Vec<String>,
}

#[derive(Serialize)]
struct SetV1 {
    name: String,
    step_pct: f64,
    step_interval_pct: [f64; 2],
    setting_at_median: f64,
    setting_interval: [f64; 2],
    samples: Vec<SampleV1>,
}

#[derive(Serialize)]
struct SampleV1 {
    name: String,
    setting: f64,
    photos: usize,
    particles: usize,
    smallest_ecd_um: f64,
    figures: BTreeMap<&'static str, f64>,
}

#[derive(Serialize)]
struct PairV1 {
    base: String,
    other: String,
    shift_steps: f64,
    shift_interval_steps: [f64; 2],
    figures: BTreeMap<String, FigureV1>,
    verdict: VerdictV1,
}

#[derive(Serialize)]
struct FigureV1 {
    a: f64,
    b: f64,
    relative_pct: f64,
    relative_interval_pct: [f64; 2],
    p: f64,
    p_adjusted: f64,
    smallest_detectable_pct: f64,
    margin_pct: f64,
    alike: bool,
}

#[derive(Serialize)]
struct VerdictV1 {
    kind: &'static str,
    text: String,
}

/// The comparison as JSON; documented in `docs/json.md`.
pub fn json(d: &Dials, fines_um: f64) -> Vec<u8> {
    super::json::text(&document(d, fines_um))
}

/// What becomes JSON.
pub(super) fn document(d: &Dials, fines_um: f64) -> impl Serialize + use<> {
    let ends = |e: &Estimate| [e.low, e.high];
    let set = |s: &DialSet| SetV1 {
        name: s.name.clone(),
        step_pct: s.per_step_pct.value,
        step_interval_pct: ends(&s.per_step_pct),
        setting_at_median: s.setting.value,
        setting_interval: ends(&s.setting),
        samples: s
            .points
            .iter()
            .map(|p| SampleV1 {
                name: p.name.clone(),
                setting: p.setting,
                photos: p.photos,
                particles: p.particles,
                smallest_ecd_um: p.smallest_ecd_um,
                figures: Figures::NAMES.into_iter().zip(p.figures).collect(),
            })
            .collect(),
    };
    let figure = |f: &AtMedian| FigureV1 {
        a: f.values[0],
        b: f.values[1],
        relative_pct: f.relative_pct.value,
        relative_interval_pct: ends(&f.relative_pct),
        p: f.p,
        p_adjusted: f.p_adjusted,
        smallest_detectable_pct: f.smallest_detectable_pct,
        margin_pct: f.margin_pct,
        alike: f.alike,
    };
    let pair = |p: &DialPair| PairV1 {
        base: d.sets[0].name.clone(),
        other: d.sets[p.other].name.clone(),
        shift_steps: p.shift.value,
        shift_interval_steps: ends(&p.shift),
        figures: p.figures.iter().map(|f| (Quantity::name(f.quantity), figure(f))).collect(),
        verdict: VerdictV1 { kind: super::comparison::kind(verdict(p)), text: sentences(d, p) },
    };
    DialV1 {
        schema: DIAL,
        confidence_pct: 100.0 * d.level,
        fines_below_um: fines_um,
        median_um: d.median_um,
        same_slope: d.same_slope,
        degrees_of_freedom: d.freedom,
        sets: d.sets.iter().map(set).collect(),
        pairs: d.pairs.iter().map(pair).collect(),
        notes: notes(d, fines_um),
    }
}
