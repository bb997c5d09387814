//! A comparison as a table on the terminal and as JSON.

use std::collections::BTreeMap;
use std::fmt::Write;

use serde::Serialize;

use super::format::{count, decimals, percent, significant};
use super::verdict::{label, sentences};
use crate::compare::{Comparison, Difference, Quantity, SideOf, Verdict};
use crate::numeric::Estimate;

/// Schema of [`json`].
pub const COMPARISON: &str = "lightsieve/comparison/1";

/// A side with its counts.
pub fn who(s: &SideOf) -> String {
    format!("{} ({}, {})", s.name, count(s.photos, "photo"), count(s.particles, "particle"))
}

/// What must be said besides the verdict.
pub fn notes(c: &Comparison, fines_um: f64) -> Vec<String> {
    let mut notes = Vec::new();
    for side in &c.sides {
        if side.smallest_ecd_um > fines_um {
            notes.push(format!(
                "{}: its photos show particles reliably only from {} µm up. What is said of the fines below {} µm rests on a \
                 part of them; move the camera closer to judge them.",
                side.name,
                significant(side.smallest_ecd_um, 2),
                significant(fines_um, 3)
            ));
        }
    }
    if c.spread_unknown() {
        notes.push(
            "One photo a side: the intervals cover the count of particles, not how much spreads of the same grounds differ."
                .to_owned(),
        );
    }
    notes
}

fn how(c: &Comparison) -> &'static str {
    match (c.spread_unknown(), c.exchanged) {
        (true, _) => "by counting alone",
        (_, true) => "photos exchanged between the sides",
        _ => "Student's t on the photos, adjusted by Holm's method",
    }
}

/// The comparisons with one base as a text for people.
pub fn table(all: &[Comparison], fines_um: f64) -> String {
    let mut out = String::new();
    for c in all {
        let _ = writeln!(out, "{}  against  {}\n", who(&c.sides[1]), who(&c.sides[0]));
        let _ = writeln!(out, "{}\n", wrapped(&sentences(c), 100));
        let level = format!("{} % interval", percent(c.level));
        let _ = writeln!(
            out,
            "  {:<16}{:>12}{:>12}{:>12}{:>20}{:>10}{:>16}",
            "",
            short(&c.sides[0].name, 11),
            short(&c.sides[1].name, 11),
            "change",
            level,
            "p, all",
            "could show"
        );
        for d in &c.differences {
            let mark = mark(said(c, d));
            let places = decimals(d.difference.half_width());
            let value = |v: f64| format!("{v:.places$}{}", unit(d));
            let (e, sign) = changed(d);
            let places = decimals(e.half_width());
            let _ = writeln!(
                out,
                "{mark} {:<16}{:>12}{:>12}{:>12}{:>20}{:>10}{:>16}",
                label(d.quantity, fines_um),
                value(d.values[0]),
                value(d.values[1]),
                format!("{}{sign}", signed(e.value, places)),
                format!("{} … {}", signed(e.low, places), signed(e.high, places)),
                p_text(d.p_adjusted),
                format!("{}{}", significant(d.smallest_detectable, 2), unit(d)),
            );
        }
        let _ = writeln!(
            out,
            "\n  * differs   = alike within the margin (two one-sided tests)   p for all figures together: {}\n  could show: the difference that \
             this many photos would show four times out of five",
            how(c)
        );
        for note in notes(c, fines_um) {
            let _ = writeln!(out, "  ! {note}");
        }
        out.push('\n');
    }
    if all.len() > 1 {
        let _ = writeln!(out, "p-values are adjusted for {} comparisons.", all.len());
    }
    out
}

/// Verdict on a figure in a word.
pub fn said(c: &Comparison, d: &Difference) -> &'static str {
    if c.is_clear(d) {
        "differs"
    } else if d.alike {
        "alike"
    } else {
        "open"
    }
}

/// Sign of that word before a row.
pub(super) fn mark(said: &str) -> char {
    match said {
        "differs" => '*',
        "alike" => '=',
        _ => ' ',
    }
}

/// Change of a figure as it is shown, with its unit: relative, but a share above a size in % of the mass.
pub fn changed(d: &Difference) -> (&Estimate, &'static str) {
    match (&d.relative_pct, d.quantity) {
        (Some(e), Quantity::Figure(_)) => (e, " %"),
        (_, Quantity::ShareAbove(_)) => (&d.difference, " % of the mass"),
        _ => (&d.difference, ""),
    }
}

/// A number with its sign, and none on zero.
pub fn signed(v: f64, places: usize) -> String {
    let text = format!("{v:+.places$}");
    if text.trim_start_matches(['+', '-', '0', '.']).is_empty() { text[1..].to_owned() } else { text }
}

fn unit(d: &Difference) -> String {
    let unit = d.quantity.unit();
    if unit.is_empty() { String::new() } else { format!(" {unit}") }
}

fn short(name: &str, most: usize) -> String {
    if name.chars().count() <= most {
        return name.to_owned();
    }
    name.chars().take(most - 1).chain(['…']).collect()
}

/// A p-value with no more digits than it carries.
pub fn p_text(p: f64) -> String {
    if p < 0.0001 { "< 0.0001".to_owned() } else { significant(p, 2) }
}

/// Lines of at most `width` characters.
pub(super) fn wrapped(text: &str, width: usize) -> String {
    let mut out = String::new();
    let mut used = 0;
    for word in text.split(' ') {
        let long = word.chars().count();
        if used > 0 && used + 1 + long > width {
            out.push('\n');
            used = 0;
        } else if used > 0 {
            out.push(' ');
            used += 1;
        }
        out.push_str(word);
        used += long;
    }
    out
}

#[derive(Serialize)]
struct ComparisonV1 {
    schema: &'static str,
    confidence_pct: f64,
    fines_below_um: f64,
    samples: Vec<SampleV1>,
    #[serde(flatten)]
    first: PairV1,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    others: Vec<PairV1>,
}

#[derive(Serialize)]
struct SampleV1 {
    name: String,
    photos: usize,
    particles: usize,
    smallest_ecd_um: f64,
}

#[derive(Serialize)]
struct PairV1 {
    base: String,
    other: String,
    figures: BTreeMap<String, FigureV1>,
    verdict: VerdictV1,
    p_adjusted_by: &'static str,
    spread_to_spread: &'static str,
    notes: Vec<String>,
    curve: CurveV1,
}

#[derive(Serialize)]
struct FigureV1 {
    a: f64,
    b: f64,
    difference: f64,
    interval: [f64; 2],
    relative_pct: Option<f64>,
    relative_interval_pct: Option<[f64; 2]>,
    p: f64,
    p_adjusted: f64,
    smallest_detectable: f64,
    margin_pct: f64,
    alike: bool,
    photos_needed: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    explained_by_spread_pct: Option<f64>,
}

#[derive(Serialize)]
struct VerdictV1 {
    kind: &'static str,
    text: String,
    margin_pct: f64,
    clear: Vec<String>,
}

#[derive(Serialize)]
struct CurveV1 {
    size_um: Vec<f64>,
    a_finer_pct: Vec<f64>,
    b_finer_pct: Vec<f64>,
    difference_pct: Vec<f64>,
    difference_half_width_pct: Vec<Option<f64>>,
}

/// Kind of a verdict in files.
pub fn kind(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Different => "different",
        Verdict::Alike => "alike",
        Verdict::Undecided => "undecided",
    }
}

fn pair(c: &Comparison, fines_um: f64) -> PairV1 {
    let ends = |e: &Estimate| [e.low, e.high];
    let figure = |d: &Difference| FigureV1 {
        a: d.values[0],
        b: d.values[1],
        difference: d.difference.value,
        interval: ends(&d.difference),
        relative_pct: d.relative_pct.map(|e| e.value),
        relative_interval_pct: d.relative_pct.as_ref().map(ends),
        p: d.p,
        p_adjusted: d.p_adjusted,
        smallest_detectable: d.smallest_detectable,
        margin_pct: d.margin_pct,
        alike: d.alike,
        photos_needed: d.photos_needed,
        explained_by_spread_pct: d.explained_by_spread,
    };
    PairV1 {
        base: c.sides[0].name.clone(),
        other: c.sides[1].name.clone(),
        figures: c.differences.iter().map(|d| (d.quantity.name(), figure(d))).collect(),
        verdict: VerdictV1 {
            kind: kind(c.verdict),
            text: sentences(c),
            margin_pct: c.differences.first().map_or(0.0, |d| d.margin_pct),
            clear: c.differences.iter().filter(|d| c.is_clear(d)).map(|d| d.quantity.name()).collect(),
        },
        p_adjusted_by: match (c.spread_unknown(), c.exchanged) {
            (true, _) => "counting",
            (_, true) => "exchange",
            _ => "holm",
        },
        spread_to_spread: if c.spread_unknown() { "unknown" } else { "included" },
        notes: notes(c, fines_um),
        curve: CurveV1 {
            size_um: c.curves.size_um.clone(),
            a_finer_pct: c.curves.finer_pct[0].clone(),
            b_finer_pct: c.curves.finer_pct[1].clone(),
            difference_pct: c.curves.difference_pct.clone(),
            difference_half_width_pct: c.curves.difference_half_pct.clone(),
        },
    }
}

/// The comparisons with one base as JSON; documented in `docs/json.md`. `all` holds at least one.
pub fn json(all: &[Comparison], fines_um: f64) -> Vec<u8> {
    let sample = |s: &SideOf| SampleV1 {
        name: s.name.clone(),
        photos: s.photos,
        particles: s.particles,
        smallest_ecd_um: s.smallest_ecd_um,
    };
    let document = ComparisonV1 {
        schema: COMPARISON,
        confidence_pct: 100.0 * all[0].level,
        fines_below_um: fines_um,
        samples: std::iter::once(&all[0].sides[0]).chain(all.iter().map(|c| &c.sides[1])).map(sample).collect(),
        first: pair(&all[0], fines_um),
        others: all[1..].iter().map(|c| pair(c, fines_um)).collect(),
    };
    super::json::text(&document)
}
