//! A blind serving plan and its key, each a page to print.

use super::super::format::percent;
use std::fmt::Write;

use super::super::html::{STYLE, escape};
use crate::study::serving::Tray;

/// A plan with what it can show.
pub struct Plan<'a> {
    /// The samples A and B.
    pub names: [&'a str; 2],
    /// A tray for each person.
    pub trays: Vec<Tray>,
    /// Right answers that show a difference.
    pub critical: Option<u32>,
    /// Confidence, 0..1.
    pub level: f64,
    /// Share of people who can tell that was asked for, 0..1.
    pub can_tell: f64,
    /// Chance to show that.
    pub power: f64,
    /// People whom a chance of 80 % takes.
    pub takes: Option<usize>,
    /// Seed of the plan.
    pub seed: u64,
}

/// What so many people can show.
pub fn design(p: &Plan<'_>) -> String {
    let people = p.trays.len();
    let shown = match p.critical {
        Some(c) => format!("a difference is shown from {c} right answers on"),
        None => "so few people cannot show a difference, even if all are right".to_owned(),
    };
    let takes = match p.takes {
        Some(n) if n > people => format!(" For a chance of 80 % it takes {n}."),
        _ => String::new(),
    };
    let level = percent(p.level);
    format!(
        "{people} triangle tests: {shown} ({level} % confidence). If {:.0} % of people can tell, that happens {:.0} times in 100.{takes}",
        100.0 * p.can_tell,
        100.0 * p.power
    )
}

fn page_of(title: &str, body: &str) -> Vec<u8> {
    format!(
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>{title}</title>\n\
         <style>\n{STYLE}td:last-child {{ min-width: 6rem; }}\n</style>\n</head>\n<body>\n<main>\n<h1>{title}</h1>\n{body}</main>\n</body>\n</html>\n",
        title = escape(title)
    )
    .into_bytes()
}

/// The page for the table: codes and room for answers, nothing that tells the samples apart.
pub fn page(p: &Plan<'_>) -> Vec<u8> {
    let mut body = String::from(
        "<p>Each person gets three cups, from left to right, and tastes them in that order. Two are alike. Write down the code of the odd \
         one; whoever is not sure guesses.</p>\n<table>\n<thead><tr><th scope=\"col\">person</th><th scope=\"col\">left</th>\
         <th scope=\"col\">middle</th><th scope=\"col\">right</th><th scope=\"col\">odd cup</th></tr></thead>\n<tbody>\n",
    );
    for (i, tray) in p.trays.iter().enumerate() {
        let [a, b, c] = tray.code;
        let _ =
            writeln!(body, "<tr><th scope=\"row\">{}</th><td>{a}</td><td>{b}</td><td>{c}</td><td></td></tr>", i + 1);
    }
    body.push_str("</tbody>\n</table>\n");
    page_of("Triangle test: serving plan", &body)
}

/// The key, for whoever fills the cups.
pub fn key(p: &Plan<'_>) -> Vec<u8> {
    let [a, b] = p.names.map(escape);
    let mut body = format!(
        "<p><strong>Not for those who taste, serve or write down answers.</strong> A is {a}, B is {b}. Fill the cups by this page, then put it \
         away until all answers are in.</p>\n<p>{}</p>\n<table>\n<thead><tr><th scope=\"col\">person</th><th scope=\"col\">left</th>\
         <th scope=\"col\">middle</th><th scope=\"col\">right</th><th scope=\"col\">odd cup</th></tr></thead>\n<tbody>\n",
        escape(&design(p))
    );
    for (i, tray) in p.trays.iter().enumerate() {
        let cup = |k: usize| format!("{} {}", tray.code[k], if tray.is_b[k] { 'B' } else { 'A' });
        let _ = writeln!(
            body,
            "<tr><th scope=\"row\">{}</th><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
            i + 1,
            cup(0),
            cup(1),
            cup(2),
            tray.code[tray.odd()]
        );
    }
    let _ = write!(body, "</tbody>\n</table>\n<p>Seed {}.</p>\n", p.seed);
    page_of("Triangle test: key", &body)
}
