//! Cup and tasting as parts of the page.

use std::fmt::Write;

use super::super::ReportError;
use super::super::comparison::p_text;
use super::super::format::{decimals, interval, value};
use super::super::html::{escape, figure_of as figure, table};
use super::dots::{Row, dots};
use super::sections::{beside, number};
use super::wear_plot::scatter;
use super::words;
use crate::study::file::{BrewKind, TastingKind};
use crate::study::findings::{Findings, TastingVerdict};

fn list(sentences: impl Iterator<Item = String>) -> String {
    // On paper they stand on the first page, and there alone.
    let mut out = String::from("<ul class=\"again\">\n");
    sentences.for_each(|s| {
        let _ = writeln!(out, "<li>{}</li>", escape(&s));
    });
    out + "</ul>\n"
}

/// Extraction and time.
pub(super) fn cup(f: &Findings) -> Result<String, ReportError> {
    let mut out = String::new();
    let mut pictures = String::new();
    for kind in BrewKind::ALL {
        let rows: Vec<Row> = f
            .study
            .samples
            .iter()
            .enumerate()
            .filter_map(|(s, sample)| {
                let of = |(b, e): &&(usize, _)| {
                    let _: &crate::study::cup::Extraction = e;
                    f.study.brews[*b].sample == s && f.study.brews[*b].kind == kind
                };
                let values: Vec<[f64; 3]> = f
                    .cups
                    .iter()
                    .filter(of)
                    .map(|(_, e)| [e.yield_pct.value, e.yield_pct.low, e.yield_pct.high])
                    .collect();
                (!values.is_empty()).then(|| Row { name: sample.name.clone(), values })
            })
            .collect();
        if !rows.is_empty() {
            let caption = format!("Extraction of each {} brew", kind.name());
            let svg = dots(&caption, "extraction yield, % of the dose", &rows, &[])?;
            pictures += &figure(&svg, &format!("{caption}. The numbers are in the table."));
        }
    }
    for b in f.brew_times.iter().filter(|b| b.rows.len() > 2) {
        let points: Vec<(f64, f64)> = b.rows.iter().map(|r| (r.2, r.3)).collect();
        let caption = format!("Time of {} brews against fines; one dot a sample", b.kind.name());
        pictures += &figure(&scatter(&caption, ("fines, % of the mass", "time, s"), &points)?, &format!("{caption}."));
    }
    let bars = "<p class=\"small\">Bars of extraction are the instruments' steps alone.</p>\n";
    let told = list(f.cup_differences.iter().map(|c| words::cup_pair(f, c).1))
        + &list(f.brew_times.iter().map(|b| words::brew_time(b).1));
    out += &beside(&format!("{pictures}<div>{bars}{told}</div>\n"));
    let rows: Vec<Vec<String>> = f
        .study
        .brews
        .iter()
        .enumerate()
        .map(|(i, b)| {
            let found = f.cups.iter().find(|c| c.0 == i).map(|c| &c.1);
            let brewed = b.brewed.as_ref();
            vec![
                f.study.samples[b.sample].name.clone(),
                b.kind.name().to_owned(),
                number(Some(b.dose_g)),
                number(brewed.and_then(|b| b.water_g)),
                number(brewed.and_then(|b| b.beverage_g)),
                number(b.time_s),
                number(brewed.map(|b| b.tds_pct)),
                found.map_or("–".to_owned(), |e| {
                    let places = decimals(e.yield_pct.half_width());
                    format!("{:.places$} ({})", e.yield_pct.value, interval(&e.yield_pct))
                }),
                found.and_then(|e| e.retained_ratio).map_or("–".to_owned(), |r| format!("{r:.2}")),
            ]
        })
        .collect();
    let brews = table(
        "Brews",
        &[
            "sample",
            "kind",
            "dose g",
            "water g",
            "beverage g",
            "time s",
            "solids %",
            "yield % (steps of instruments)",
            "kept g per g",
        ],
        rows,
    );
    // What was weighed, one row a brew, is no reading on paper.
    let _ = write!(
        out,
        "<div class=\"on-screen\">{brews}</div>\n<p class=\"printed small\">What was weighed of each brew is on the page itself, and in its data.</p>\n"
    );
    Ok(out)
}

/// Triangle tests and preferences.
pub(super) fn tasting(f: &Findings) -> Result<String, ReportError> {
    let mut rows = Vec::new();
    let mut dotted = Vec::new();
    let mut limit: Option<f64> = None;
    for (i, verdict) in f.tastings.iter().enumerate() {
        let [a, b] = words::names(f, f.study.tastings[i].samples);
        let name = format!("{a} and {b}");
        match (verdict, f.study.tastings[i].kind) {
            (TastingVerdict::Triangle(v), TastingKind::Triangle(t, similar)) => {
                limit = Some(100.0 * similar);
                let e = v.can_tell;
                dotted.push(Row { name: name.clone(), values: vec![[e.value, e.low, e.high].map(|v| 100.0 * v)] });
                rows.push(vec![
                    name,
                    "triangle".to_owned(),
                    format!("{} of {} right", t.correct, t.presented),
                    p_text(f.tastings_p[i]),
                    v.critical.map_or("more than all".to_owned(), |c| format!("{c} right")),
                    share(&e, "can tell"),
                    format!("{:.0} %", 100.0 * v.at_most),
                ]);
            }
            (TastingVerdict::Preference(v), TastingKind::Preference(p)) => rows.push(vec![
                name,
                "preference".to_owned(),
                format!("{} of {} preferred {a}", p.prefer_first, p.pairs),
                p_text(f.tastings_p[i]),
                "–".to_owned(),
                share(&v.first, &format!("prefer {a}")),
                "–".to_owned(),
            ]),
            _ => {}
        }
    }
    let mut parts = String::new();
    if !dotted.is_empty() {
        let mark = limit.map(|l| (l, "similar below"));
        let svg =
            dots("Share of people who can tell, with its exact interval", "% of people", &dotted, mark.as_slice())?;
        parts += &figure(&svg, "Share of people who can tell the samples apart. The numbers are in the table.");
    }
    parts += &list((0..f.tastings.len()).map(|i| words::tasting(f, i).1));
    let mut out = beside(&parts);
    out += &table(
        "Tastings",
        &["samples", "test", "answers", "p, all", "shown from", "share of people (interval)", "at most"],
        rows,
    );
    if f.tastings.len() > 1 {
        let _ = writeln!(
            out,
            "<p class=\"under\">Differences and preferences are told with all {} tastings counted (Holm). The shares of people, and what is \
             said to taste similar, hold for each tasting by itself.</p>",
            f.tastings.len()
        );
    }
    Ok(out)
}

fn share(e: &crate::numeric::Estimate, what: &str) -> String {
    let pct = crate::numeric::Estimate { value: 100.0 * e.value, low: 100.0 * e.low, high: 100.0 * e.high, ..*e };
    format!("{} % {what} ({})", value(&pct), interval(&pct))
}
