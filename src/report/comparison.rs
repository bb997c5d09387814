//! A comparison as a table on the terminal, and the words that the pages share with it.

use std::fmt::Write;

pub use super::comparison_json::{COMPARISON, json};
use super::format::{count, decimals, percent, short, significant};
use super::verdict::{label, meaning, sentences};
use super::words::pale_of;
use crate::compare::{Comparison, Difference, Quantity, SideOf, Verdict};
use crate::numeric::Estimate;

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
    for quantity in &c.shown_by_none {
        notes.push(format!("{}: neither side shows any, so there is nothing to compare.", label(*quantity, fines_um)));
    }
    notes.extend(c.sides.iter().filter_map(|side| pale_of(&side.name, side.pale)));
    notes.extend(alike_though_wide(c, fines_um));
    let alone = |d: &Difference| d.difference.low > 0.0 || d.difference.high < 0.0;
    if c.verdict != Verdict::Different && c.differences.iter().any(alone) {
        notes.push(
            "An interval of the table stands for its figure alone. With so many figures, one may by chance seem to show a difference \
             where there is none: p, which holds for all of them together, decides."
                .to_owned(),
        );
    }
    if c.spread_unknown {
        notes.push(
            "One photo a side: the intervals cover the count of particles, not how much spreads of the same grounds differ. A \
             difference is told only where careless spreading of the same grounds would not make it, however small p is."
                .to_owned(),
        );
    }
    notes
}

fn how(c: &Comparison) -> &'static str {
    match (c.spread_unknown, c.exchanged) {
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
        for row in rows(c, fines_um) {
            let [a, b] = row.values;
            let _ = writeln!(
                out,
                "{} {:<16}{a:>12}{b:>12}{:>12}{:>20}{:>10}{:>16}",
                mark(row.said),
                row.name,
                row.change,
                row.ends.join(" … "),
                row.p,
                row.could_show,
            );
        }
        let _ = writeln!(
            out,
            "\n  * differs   = alike: {}\n  p for all figures together: {}\n  could show: {COULD_SHOW}",
            alike_means(c),
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

/// A figure of a comparison as text.
pub struct Row {
    /// Its name.
    pub name: String,
    /// What it tells, in plain words.
    pub says: &'static str,
    /// Its value in the base and in the other sample, with the unit.
    pub values: [String; 2],
    /// Its change, with its unit.
    pub change: String,
    /// Ends of the interval of the change, without a unit.
    pub ends: [String; 2],
    /// The p-value.
    pub p: String,
    /// The difference that the photos could have shown, with its unit.
    pub could_show: String,
    /// The verdict on it in a word.
    pub said: &'static str,
}

/// The figures of a comparison.
pub fn rows(c: &Comparison, fines_um: f64) -> Vec<Row> {
    let row = |d: &Difference| {
        let unit = d.quantity.unit();
        let with_unit = |v: String| if unit.is_empty() { v } else { format!("{v} {unit}") };
        let (e, sign) = changed(d);
        let shown = decimals(e.half_width());
        let places = places_of_values(d, shown);
        Row {
            name: label(d.quantity, fines_um),
            says: meaning(d.quantity),
            values: d.values.map(|v| with_unit(format!("{v:.places$}"))),
            change: format!("{}{sign}", signed(e.value, shown)),
            ends: [e.low, e.high].map(|v| signed(v, shown)),
            p: p_text(d.p_adjusted),
            could_show: with_unit(significant(d.smallest_detectable, 2)),
            said: said(c, d),
        }
    };
    c.differences.iter().map(row).collect()
}

/// Decimals of the two values: those that the interval carries, and up to two more where the change, shown with
/// `shown` decimals, would else not follow from them.
fn places_of_values(d: &Difference, shown: usize) -> usize {
    let least = decimals(d.difference.half_width());
    let (e, _) = changed(d);
    let follows = |places: &usize| {
        let [a, b] = d.values.map(|v| format!("{v:.places$}").parse().unwrap_or(v));
        let change = if std::ptr::eq(e, &d.difference) { b - a } else { 100.0 * (b / a - 1.0) };
        (change - e.value).abs() <= 10f64.powi(-(shown as i32))
    };
    (least..=least + 2).find(follows).unwrap_or(least + 2)
}

/// What "could show" means.
pub const COULD_SHOW: &str = "the difference that this many photos would show four times out of five";

/// What "alike" means.
pub fn alike_means(c: &Comparison) -> String {
    format!(
        "the {} % interval of the change lies within the margin (two one-sided tests, each at {} %)",
        percent(2.0 * c.level - 1.0),
        percent(1.0 - c.level)
    )
}

/// Where figures count as alike though the interval that is shown reaches beyond the margin: the narrower one that this
/// rests on.
fn alike_though_wide(c: &Comparison, fines_um: f64) -> Option<String> {
    let told: Vec<String> = c
        .differences
        .iter()
        .filter(|d| d.alike && d.reaches_beyond && !c.is_clear(d))
        .map(|d| {
            let e = &d.equivalence_pct;
            let places = decimals(e.half_width());
            format!("{} {} to {} %", label(d.quantity, fines_um), signed(e.low, places), signed(e.high, places))
        })
        .collect();
    (!told.is_empty()).then(|| {
        format!(
            "Alike is told from the {} % interval of the change, which lies within the margin where that of {} % reaches \
             beyond it: {}.",
            percent(2.0 * c.level - 1.0),
            percent(c.level),
            told.join(", ")
        )
    })
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

/// Change of a figure as it is shown, with its unit: relative, but a share above a size in points of the mass (%).
pub fn changed(d: &Difference) -> (&Estimate, &'static str) {
    match (&d.relative_pct, d.quantity) {
        (Some(e), Quantity::Figure(_)) => (e, " %"),
        (_, Quantity::ShareAbove(_)) => (&d.difference, " points"),
        _ => (&d.difference, ""),
    }
}

/// A number with its sign, and none on zero.
pub fn signed(v: f64, places: usize) -> String {
    let text = format!("{v:+.places$}");
    if text.trim_start_matches(['+', '-', '0', '.']).is_empty() { text[1..].to_owned() } else { text }
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

/// Kind of a verdict in files.
pub fn kind(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Different => "different",
        Verdict::Alike => "alike",
        Verdict::Undecided => "undecided",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_change_follows_from_the_values_that_are_shown() {
        let difference = |values: [f64; 2], half: f64| {
            let e =
                |value: f64, half: f64, level: f64| Estimate { value, low: value - half, high: value + half, level };
            let (by, pct) = (values[1] - values[0], 100.0 * (values[1] / values[0] - 1.0));
            Difference {
                quantity: Quantity::FINES,
                values,
                difference: e(by, half, 0.95),
                relative_pct: Some(e(pct, 100.0 * half / values[0], 0.95)),
                p: 0.5,
                p_adjusted: 0.5,
                smallest_detectable: half,
                margin_pct: 20.0,
                alike: false,
                equivalence_pct: e(pct, 80.0 * half / values[0], 0.9),
                reaches_beyond: true,
                photos_needed: 9,
                beyond_photos: false,
                explained_by_spread: None,
                holds_under_spread: false,
            }
        };
        for (values, half, shown, places) in [
            ([1.02, 1.24], 2.1, 0, 2),
            ([11.04, 13.41], 2.3, 0, 1),
            ([823.4, 874.6], 30.0, 0, 0),
            ([5.0, 5.0], 0.3, 0, 1),
        ] {
            assert_eq!(places_of_values(&difference(values, half), shown), places, "{values:?}");
        }
    }
}
