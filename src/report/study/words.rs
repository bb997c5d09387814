//! Findings as sentences for people without statistics.

use super::super::comparison::signed;
use super::super::format::{count, decimals, significant};
use crate::compare::{Comparison, Quantity, Verdict};
use crate::numeric::Estimate;
use crate::study::brew_time::{BrewTime, FEWEST};
use crate::study::file::TastingKind;
use crate::study::findings::{CupPair, Findings, TastingVerdict};
use crate::study::series::{Basis, Series};
use crate::study::wear::{FEWEST_FOR_PLATEAU, Shape, Trend};

/// Whether a sentence tells something known or something open.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Standing {
    Known,
    Open,
}

/// A sentence with what it is.
pub(super) type Said = (Standing, String);

/// Name of a figure within a sentence.
pub(super) fn figure(i: usize) -> &'static str {
    match i {
        1 => "the median D50",
        3 => "the span",
        4 => "the share of fines",
        0 => "D10",
        2 => "D90",
        5 => "D[3,2]",
        _ => "D[4,3]",
    }
}

/// A share of a logarithm's change as a percentage.
pub(super) fn pct(ln: f64) -> f64 {
    100.0 * ln.exp_m1()
}

/// "12 (8 to 16)" for an estimate, turned so that its value is positive.
fn unsigned(e: &Estimate) -> String {
    let (value, low, high) = if e.value < 0.0 { (-e.value, -e.high, -e.low) } else { (e.value, e.low, e.high) };
    let places = decimals(0.5 * (high - low)).min(2);
    format!("{value:.places$} % ({low:.places$} to {high:.places$} %)")
}

fn in_pct(e: &Estimate) -> Estimate {
    Estimate { value: pct(e.value), low: pct(e.low), high: pct(e.high), level: e.level }
}

/// Kilograms without digits that say nothing.
pub(super) fn kg(v: f64) -> String {
    format!("{} kg", significant(v, 2))
}

/// How settings were made comparable.
pub(super) fn basis(basis: Basis) -> String {
    match basis {
        Basis::Setting(Some(setting)) => format!("at setting {}", (1e3 * setting).round() / 1e3),
        Basis::Setting(None) => "all samples".to_owned(),
        Basis::Median(um) => format!("brought to a median of {} µm", significant(um, 3)),
    }
}

/// A comparison in one sentence.
pub(super) fn comparison(c: &Comparison) -> Said {
    let [base, other] = [0, 1].map(|i| quoted(&c.sides[i].name));
    match c.verdict {
        Verdict::Different => {
            let clear = |q: Quantity| c.differences.iter().find(|d| d.quantity == q && c.is_clear(d));
            let told: Vec<String> = [1, 4, 3, 2, 0, 5, 6]
                .into_iter()
                .filter_map(|i| Some((i, clear(Quantity::Figure(i))?.relative_pct?)))
                .take(2)
                .map(|(i, e)| {
                    let word = if e.value > 0.0 { "larger" } else { "smaller" };
                    format!("{} is {} {word}", figure(i), unsigned(&e))
                })
                .collect();
            (Standing::Known, format!("{other} grinds differently from {base}: {}.", told.join(" and ")))
        }
        Verdict::Alike => (
            Standing::Known,
            format!("{other} and {base} grind alike: every figure lies within the margin that was set."),
        ),
        Verdict::Undecided => {
            let needed = c.differences.iter().find(|d| d.quantity == Quantity::MEDIAN).map_or(0, |d| d.photos_needed);
            let more = if needed > c.sides.iter().map(|s| s.photos).min().unwrap_or(0) && needed < 1000 {
                format!(" To see a difference as large as the margin in D50 takes about {needed} photos a side.")
            } else {
                String::new()
            };
            (Standing::Open, format!("Whether {other} and {base} grind differently cannot be told yet.{more}"))
        }
    }
}

/// A series in a few sentences.
pub(super) fn series(f: &Findings, s: &Series) -> Said {
    let burrs = &quoted(&f.study.burrs[s.burrs].name);
    match &s.trend {
        Err(e) => (Standing::Open, format!("Burrs {burrs}: nothing can be said of wear: {e}.")),
        Ok(t) => trend(burrs, s, t),
    }
}

/// All series in sentences; a set of burrs that has no trend at all tells so once.
pub(super) fn wears(f: &Findings) -> Vec<Said> {
    let mut all = Vec::new();
    for (i, s) in f.series.iter().enumerate() {
        let told = f.series[..i].iter().any(|o| o.burrs == s.burrs && o.trend.is_err());
        if s.trend.is_ok() || !told {
            all.push(series(f, s));
        }
    }
    all
}

/// How settings were made comparable, within a sentence.
fn compared(s: &Series) -> String {
    match s.basis {
        Basis::Setting(None) => String::new(),
        Basis::Setting(_) => format!(" {}", basis(s.basis)),
        Basis::Median(_) => " at a matched median".to_owned(),
    }
}

fn trend(burrs: &str, s: &Series, t: &Trend) -> Said {
    let (name, at) = (figure(s.figure), compared(s));
    let last = t.points[t.points.len() - 1].kg;
    let range = format!("from {} to {}", kg(t.points[0].kg), kg(last));
    let change = in_pct(&t.change);
    if t.shape() == Shape::NoChange {
        let text = format!(
            "Burrs {burrs}: no change of {name}{at} is shown {range}; a change of {} % would have been, four times out of five.",
            significant(pct(t.smallest_detectable), 2)
        );
        return (Standing::Open, text);
    }
    let word = if change.value < 0.0 { "fell" } else { "rose" };
    let mut text = format!("Burrs {burrs}: {name}{at} {word} by {} {range}", unsigned(&change));
    let Some(done) = t.done else {
        text.push_str(&format!(
            "; when it stops cannot be told from {}: that takes {FEWEST_FOR_PLATEAU}.",
            count(t.points.len(), "sample")
        ));
        return (Standing::Open, text);
    };
    match (done.kg, done.high_kg) {
        (Some(at), Some(high)) => {
            let low = done.low_kg.map_or("0 kg".to_owned(), kg);
            text.push_str(&format!("; 95 % of that was done by {} ({low} to {})", kg(at), kg(high)));
            if high > last {
                text.push_str(", which reaches beyond the last sample");
                text.push('.');
                return (Standing::Open, text);
            }
            text.push('.');
            (Standing::Known, text)
        }
        _ => {
            text.push_str("; a straight line fits as well as a levelling off, so the data cannot tell when it stops");
            if let Some(low) = done.low_kg {
                text.push_str(&format!(" (not before {})", kg(low)));
            }
            match t.times_for_plateau.map(f64::ceil) {
                Some(times) if times <= 20.0 => text.push_str(&format!(
                    ". About {times} times as many samples over these kilograms would, or samples at more kilograms."
                )),
                _ => text.push_str(". Samples at more kilograms would."),
            }
            (Standing::Open, text)
        }
    }
}

/// A name that stands out in a sentence.
fn quoted(name: &str) -> String {
    format!("\u{201c}{name}\u{201d}")
}

/// Names of two samples.
pub(super) fn names(f: &Findings, samples: [usize; 2]) -> [&str; 2] {
    samples.map(|s| f.study.samples[s].name.as_str())
}

/// Said where a tasting by itself would show more.
fn counted(f: &Findings) -> String {
    match f.tastings.len() {
        1 => String::new(),
        n => format!(", with all {n} tastings counted"),
    }
}

/// Tasting number `i` in a sentence.
pub(super) fn tasting(f: &Findings, i: usize) -> Said {
    let asked = &f.study.tastings[i];
    let [a, b] = names(f, asked.samples).map(quoted);
    let whole = |v: f64| format!("{:.0} %", 100.0 * v);
    match (&f.tastings[i], asked.kind) {
        (TastingVerdict::Triangle(v), TastingKind::Triangle(t, similar)) => {
            let scored = format!("{} of {} found the odd cup", t.correct, t.presented);
            let share = format!(
                "{} can tell ({} to {})",
                whole(v.can_tell.value),
                whole(v.can_tell.low),
                whole(v.can_tell.high)
            );
            let fine = |v: f64| if v < 0.01 { format!("{:.1} %", 100.0 * v) } else { whole(v) };
            let shown = format!("{} can tell, at least {}", whole(v.can_tell.value), fine(v.at_least));
            match (v.differs, v.similar) {
                _ if v.below_guessing => (
                    Standing::Open,
                    format!(
                        "{a} and {b}: {scored}, which is fewer than guessing gives. Check how the answers were written down."
                    ),
                ),
                (true, false) => (Standing::Known, format!("People can tell {a} from {b}: {scored}; {shown}.")),
                (true, true) => (
                    Standing::Known,
                    format!("Some people can tell {a} from {b}, but fewer than {}: {scored}; {shown}.", whole(similar)),
                ),
                (false, true) => (
                    Standing::Known,
                    format!(
                        "{a} and {b} taste similar: {scored}, so {} can tell.",
                        if v.at_most < 0.01 {
                            "fewer than 1 %".to_owned()
                        } else {
                            format!("at most {}", whole(v.at_most))
                        }
                    ),
                ),
                (false, false) => {
                    let takes =
                        v.critical.map_or(String::new(), |c| format!(" ({c} would have shown it{})", counted(f)));
                    (Standing::Open, format!("Whether people can tell {a} from {b} is open: {scored}{takes}; {share}."))
                }
            }
        }
        (TastingVerdict::Preference(v), TastingKind::Preference(p)) => {
            let scored = format!(
                "{} of {} preferred {a}, {} to {} of all such people",
                p.prefer_first,
                p.pairs,
                whole(v.first.low),
                whole(v.first.high)
            );
            if v.differs {
                let liked = if v.first.value > 0.5 { a } else { b };
                (Standing::Known, format!("{liked} is preferred: {scored}."))
            } else {
                let more = if v.p <= 1.0 - f.study.level { counted(f) } else { String::new() };
                (Standing::Open, format!("No preference between {a} and {b} is shown{more}: {scored}."))
            }
        }
        _ => unreachable!("verdicts are made in the order of the tastings"),
    }
}

/// Yields of two samples in a sentence.
pub(super) fn cup_pair(f: &Findings, c: &CupPair) -> Said {
    let [a, b] = names(f, c.samples).map(quoted);
    let kind = c.kind.name();
    let Some(d) = &c.difference else {
        let text = format!(
            "Whether {b} extracts differently from {a} ({kind}) cannot be told: it takes two brews of each at least, and there are {} and {}.",
            c.brews[0], c.brews[1]
        );
        return (Standing::Open, text);
    };
    let e = &d.difference;
    let places = decimals(e.half_width()).min(2);
    let points =
        format!("{} points ({} to {})", signed(e.value, places), signed(e.low, places), signed(e.high, places));
    if c.p_adjusted.is_some_and(|p| p < 1.0 - f.study.level) {
        let word = if e.value > 0.0 { "more" } else { "less" };
        (Standing::Known, format!("{b} extracts {word} than {a} ({kind}): {points} of the dose."))
    } else {
        let text = format!(
            "No difference in extraction between {b} and {a} is shown ({kind}): {points}; one of {} points would have been, four times out of five.",
            significant(d.smallest_detectable, 2)
        );
        (Standing::Open, text)
    }
}

/// Brew time against the grind, in sentences.
pub(super) fn brew_time(b: &BrewTime) -> Said {
    let kind = b.kind.name();
    let Some([median, fines]) = &b.effects else {
        let text = format!(
            "How {kind} time goes with the grind cannot be told from {}: it takes {FEWEST} samples with times.",
            count(b.rows.len(), "sample")
        );
        return (Standing::Open, text);
    };
    let part = |name: &str, e: &Estimate| {
        let places = decimals(e.half_width()).min(1);
        let [value, low, high] = [e.value, e.low, e.high].map(|v| signed(v, places));
        format!("10 % more {name} goes with {value} % in {kind} time ({low} to {high} %)")
    };
    let mut text = format!("{}; {}", part("D50", &median.per_tenth_pct), part("fines", &fines.per_tenth_pct));
    if b.together() {
        text.push_str(". D50 and fines go together too closely here to be told apart");
    }
    text.push_str(". An association among these brews, not a cause.");
    let clear = [median, fines].iter().any(|e| 2.0 * e.p < 1.0 - e.per_tenth_pct.level);
    (if clear { Standing::Known } else { Standing::Open }, text)
}
