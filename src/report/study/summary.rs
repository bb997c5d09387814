//! The study on the terminal.

use std::fmt::Write;

use super::super::comparison::wrapped;
use super::super::format::value;
use super::super::sieve::warnings_of;
use super::answer::{answer, standings};
use crate::study::findings::Findings;

/// Characters in a line of text.
const WIDTH: usize = 100;

/// `text` in lines that begin below its first.
fn indented(text: &str) -> String {
    wrapped(text, WIDTH - 4).replace('\n', "\n  ")
}

/// Answer, figures, and what is known and open, as text.
pub fn summary(f: &Findings) -> String {
    let mut out = format!("{}\n", f.study.title);
    if f.study.invented {
        out.push_str("Invented: made up to show what a study looks like.\n");
    }
    let _ = writeln!(out, "\n{}\n", wrapped(&f.study.question, WIDTH));
    for sentence in answer(f) {
        let _ = writeln!(out, "  {}", indented(&sentence));
    }
    let width = f.study.samples.iter().map(|s| s.name.chars().count()).max().unwrap_or(6).clamp(6, 30);
    let _ = writeln!(
        out,
        "\n  {:<width$} {:>8} {:>8} {:>7} {:>9} {:>9} {:>7} {:>9}",
        "sample", "kg", "setting", "photos", "D50 µm", "D90 µm", "span", "fines %"
    );
    for (s, grind) in f.study.samples.iter().zip(&f.grinds) {
        let number = |v: Option<f64>| v.map_or("–".to_owned(), |v| format!("{}", (100.0 * v).round() / 100.0));
        let _ = write!(out, "  {:<width$} {:>8} {:>8}", s.name, number(s.kg), number(s.setting));
        match grind {
            None => out.push_str("   no photo measured\n"),
            Some(g) => {
                let figure = |i: usize| value(&g.figures[i]);
                let _ = writeln!(
                    out,
                    " {:>7} {:>9} {:>9} {:>7} {:>9}",
                    g.of_photos.len(),
                    figure(1),
                    figure(2),
                    figure(3),
                    figure(4)
                );
            }
        }
    }
    for (i, _) in &f.sieves {
        let sample = &f.study.samples[*i];
        for warning in sample.sieve.iter().flat_map(warnings_of) {
            let _ = writeln!(out, "  ! {}", indented(&format!("{}, sieved: {warning}", sample.name)));
        }
    }
    let [known, open] = standings(f);
    for (heading, sentences) in [("Known", known), ("Not known", open)] {
        if !sentences.is_empty() {
            let _ = writeln!(out, "\n  {heading}");
            sentences.iter().for_each(|s| {
                let _ = writeln!(out, "  - {}", indented(s).replace('\n', "\n  "));
            });
        }
    }
    out
}
