//! What a comparison comes to, in sentences for people without statistics.

use super::format::{count, significant};
use crate::compare::{Comparison, Difference, Quantity, Verdict};
use crate::numeric::Estimate;

/// Figures in the order in which they are told.
const FIRST: [usize; 7] = [1, 4, 2, 0, 3, 5, 6];
/// No sentence lists more figures than this.
const MOST: usize = 3;

/// Confidence below which a verdict says how often it errs: people take it for surer.
const USUAL: f64 = 0.95;

/// Name of a figure as people read it.
pub fn label(quantity: Quantity, fines_um: f64) -> String {
    match quantity {
        Quantity::Figure(4) => format!("fines < {} µm", significant(fines_um, 3)),
        Quantity::Figure(i) => ["D10", "D50", "D90", "span", "fines", "D[3,2]", "D[4,3]"][i].to_owned(),
        Quantity::ShareAbove(um) => format!("> {um} µm"),
    }
}

/// What a figure tells, in plain words.
pub fn meaning(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Figure(i) => [
            "a tenth of the mass is finer",
            "half of the mass is finer: the median",
            "nine tenths of the mass are finer",
            "(D90 − D10) / D50: how wide the sizes spread; smaller is more even",
            "share of the mass that is so fine",
            "mean size by surface: fines pull it down",
            "mean size by mass: coarse particles pull it up",
        ][i],
        Quantity::ShareAbove(_) => "share of the mass that is so coarse",
    }
}

/// What the p-values of a comparison tell, in plain words.
pub const P_MEANS: &str = "p: how often chance alone would make photos of the same grounds differ by so much, all figures taken \
                           together; 0.05 is 1 in 20.";

/// Name of a figure within a sentence.
fn spoken(quantity: Quantity) -> String {
    match quantity {
        Quantity::Figure(4) => "the share of fines".to_owned(),
        Quantity::Figure(1) => "the median D50".to_owned(),
        Quantity::Figure(3) => "the span".to_owned(),
        Quantity::ShareAbove(um) => format!("the share above {} µm", significant(um, 3)),
        Quantity::Figure(_) => label(quantity, 0.0),
    }
}

/// The verdict in a few sentences.
pub fn sentences(c: &Comparison) -> String {
    let [base, other] = [&c.sides[0].name, &c.sides[1].name];
    let clear = clear(c);
    let mut out = match c.verdict {
        Verdict::Different => {
            let told: Vec<String> = clear.iter().take(MOST).map(|d| by_how_much(d)).collect();
            let more = clear.len().saturating_sub(MOST);
            let more = if more > 0 { format!("; {} more", count(more, "figure")) } else { String::new() };
            format!("Different: {other} against {base}: {}{more}.", told.join("; "))
        }
        Verdict::Alike => format!(
            "Alike: every figure of {other} lies within {}, with {} % confidence.",
            margins(c, base),
            pct(100.0 * c.level)
        ),
        Verdict::Undecided if c.spread_unknown => match strongest(c) {
            Some((d, spread)) => format!(
                "Cannot tell from {}. The photos differ by more than counting explains ({}), but two spreads \
                 of the same grounds that scatter by {} % would explain it, and one photo a side cannot show how much they do.",
                one_photo(c),
                by_how_much(d),
                significant(spread, 2)
            ),
            None => format!(
                "Cannot tell from {}: no figure differs by more than the count of particles explains.",
                one_photo(c)
            ),
        },
        Verdict::Undecided => {
            format!(
                "Cannot tell yet: {other} and {base} differ by no more than chance explains, which does not make them alike."
            )
        }
    };
    if c.verdict == Verdict::Different {
        if c.level < USUAL {
            out.push_str(&format!(
                " With {} % confidence up to {} of 100 comparisons of the same grounds come out so.",
                pct(100.0 * c.level),
                pct(100.0 - 100.0 * c.level)
            ));
        }
        if clear.iter().all(|d| d.alike) {
            out.push_str(&format!(" All of it lies within {}, so it may not matter.", margins(c, base)));
        }
        if c.spread_unknown {
            out.push_str(
                " This takes for granted that two spreads of the same grounds scatter by no more than 6 % (20 % at the \
                 fine end), which one photo a side cannot show: photograph two more spreads of each to be sure.",
            );
        }
    }
    out.push_str(&more_photos(c, &clear));
    out
}

/// What leaves the spread unknown.
fn one_photo(c: &Comparison) -> &'static str {
    if c.sides.iter().all(|s| s.photos == 1) {
        "one photo a side"
    } else {
        "what is one photo a side, since the others hold few particles beside it"
    }
}

/// The figures that the verdict rests on, the weightiest first.
fn clear(c: &Comparison) -> Vec<&Difference> {
    let rank = |d: &Difference| match d.quantity {
        Quantity::Figure(i) => FIRST.iter().position(|&f| f == i),
        Quantity::ShareAbove(_) => None,
    };
    let mut clear: Vec<&Difference> = c.differences.iter().filter(|d| c.is_clear(d)).collect();
    clear.sort_by_key(|d| rank(d).unwrap_or(FIRST.len()));
    clear
}

/// The figure that it would take the most spread to explain.
fn strongest(c: &Comparison) -> Option<(&Difference, f64)> {
    let explained = c.differences.iter().filter(|d| matches!(d.quantity, Quantity::Figure(_)));
    let clear = explained.filter(|d| d.p_adjusted < 1.0 - c.level);
    clear.filter_map(|d| Some((d, d.explained_by_spread?))).max_by(|a, b| a.1.total_cmp(&b.1))
}

/// "the median D50 is 6.2 % larger (3.1 to 9.2 %)".
fn by_how_much(d: &Difference) -> String {
    match (&d.relative_pct, d.quantity) {
        (Some(e), Quantity::Figure(_)) => relatively(d.quantity, e),
        _ => {
            let (value, low, high) = unsigned(d.difference.value, d.difference.low, d.difference.high);
            let word = if d.difference.value > 0.0 { "more" } else { "less" };
            format!("{} is {value} % of the mass {word} ({low} to {high} %)", spoken(d.quantity))
        }
    }
}

/// The same for a figure that changed by `pct` percent of itself.
pub(super) fn relatively(quantity: Quantity, pct: &Estimate) -> String {
    let (value, low, high) = unsigned(pct.value, pct.low, pct.high);
    let word = match (pct.value > 0.0, quantity) {
        (true, Quantity::Figure(3)) => "wider",
        (false, Quantity::Figure(3)) => "narrower",
        (true, _) => "larger",
        (false, _) => "smaller",
    };
    format!("{} is {value} % {word} ({low} to {high} %)", spoken(quantity))
}

/// Value and interval turned so that the value is positive, with as many digits as the interval carries.
fn unsigned(value: f64, low: f64, high: f64) -> (String, String, String) {
    let (low, high) = if value < 0.0 { (-high, -low) } else { (low, high) };
    let places = super::format::decimals(0.5 * (high - low)).min(2);
    let text = |v: f64| format!("{v:.places$}");
    (text(value.abs()), text(low), text(high))
}

fn pct(v: f64) -> String {
    format!("{}", (1e4 * v).round() / 1e4)
}

fn margins(c: &Comparison, base: &str) -> String {
    let of = |fines: bool| {
        let found = c.differences.iter().find(|d| (d.quantity == Quantity::FINES) == fines);
        found.map(|d| pct(d.margin_pct))
    };
    match (of(false), of(true)) {
        (Some(all), Some(fines)) if all != fines => format!("{all} % of {base} (fines within {fines} %)"),
        (Some(all), _) => format!("{all} % of {base}"),
        (None, fines) => format!("{} % of {base}", fines.unwrap_or_default()),
    }
}

/// How many photos it takes to show a difference as large as the margin, where that is still open.
fn more_photos(c: &Comparison, clear: &[&Difference]) -> String {
    let open = |q: Quantity| {
        let d = c.differences.iter().find(|d| d.quantity == q)?;
        (!d.alike && !clear.iter().any(|c| c.quantity == q)).then_some(d)
    };
    let now = c.sides.iter().map(|s| s.photos).min().unwrap_or(1);
    let open = [Quantity::MEDIAN, Quantity::FINES].into_iter().filter_map(open);
    let (beyond, open): (Vec<&Difference>, Vec<&Difference>) = open.partition(|d| d.beyond_photos);
    let told: Vec<String> = open
        .iter()
        .filter(|d| d.photos_needed > now)
        .map(|d| {
            let many = if d.photos_needed >= 1000 {
                "more than a thousand".into()
            } else {
                format!("about {}", d.photos_needed)
            };
            format!("{many} photos a side for a difference of {} % in {}", pct(d.margin_pct), spoken(d.quantity))
        })
        .collect();
    if c.verdict == Verdict::Alike || open.is_empty() && beyond.is_empty() {
        return String::new();
    }
    let never: Vec<String> =
        beyond.iter().map(|d| format!("a difference of {} % in {}", pct(d.margin_pct), spoken(d.quantity))).collect();
    let never = if never.is_empty() {
        String::new()
    } else {
        format!(
            " However many, photos like these cannot tell {}: take them sharper and from nearer, alike on both sides.",
            never.join(" or ")
        )
    };
    if open.is_empty() {
        return never;
    }
    if told.is_empty() {
        return " The photos at hand are as many as a difference of the size that matters takes to show; more of them narrow the \
                intervals further."
            .to_owned()
            + &never;
    }
    let how = if c.spread_unknown { ", by counting alone," } else { "" };
    format!(" To tell more it would take{how} {}.{never}", told.join(", and "))
}
