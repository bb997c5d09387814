//! The whole study as one page that needs nothing from outside.

use std::fmt::Write;

use super::super::ReportError;
use super::super::html::{Carried, dials_compared, escape, page_with};
use super::answer::{answer, standings};
use super::{cups, sections};
use crate::study::findings::Findings;

/// What the page of a study has besides the style of all pages.
const MORE_STYLE: &str = include_str!("page.css");

/// The page; `data` is the JSON that it carries along.
///
/// # Errors
/// None in practice: the drawing stays in memory.
pub fn page(f: &Findings, data: &[u8]) -> Result<Vec<u8>, ReportError> {
    let mut body = String::new();
    let study = &f.study;
    if study.invented {
        body.push_str("<p class=\"invented\"><strong>Invented:</strong> this study is made up to show what a report looks like. Nothing in it was measured.</p>\n");
    }
    let _ = writeln!(body, "<section>\n<h2>What was asked</h2>\n<p>{}</p>", escape(&study.question));
    if !study.notes.is_empty() {
        let _ = writeln!(body, "<p class=\"small\">{}</p>", escape(&study.notes));
    }
    body.push_str("<h2>The answer</h2>\n<div class=\"verdict\">\n");
    for sentence in answer(f) {
        let _ = writeln!(body, "<p>{}</p>", escape(&sentence));
    }
    body.push_str("</div>\n");
    let [known, open] = standings(f);
    for (heading, sentences, none) in [
        ("What is known", known, "Nothing yet."),
        ("What is not known", open, "Of what was asked, nothing stays open."),
    ] {
        let _ = writeln!(body, "<h2>{heading}</h2>");
        if sentences.is_empty() {
            let _ = writeln!(body, "<p>{none}</p>");
        } else {
            body.push_str("<ul>\n");
            sentences.iter().for_each(|s| {
                let _ = writeln!(body, "<li>{}</li>", escape(s));
            });
            body.push_str("</ul>\n");
        }
    }
    if !f.failed.is_empty() {
        body.push_str("<h2>What could not be used</h2>\n<ul class=\"failed\">\n");
        for (what, why) in &f.failed {
            let _ = writeln!(body, "<li><strong>{}</strong>: {}</li>", escape(what), escape(why));
        }
        body.push_str("</ul>\n");
    }
    body.push_str("</section>\n");
    let mut section = |id: &str, heading: &str, text: String| {
        let _ = write!(body, "<section id=\"{id}\">\n<h2>{heading}</h2>\n{text}</section>\n");
    };
    section("grind", "Grind", sections::grind(f)?);
    if !f.sieves.is_empty() {
        section("sieves", "Sieves", sections::sieves(f)?);
    }
    if let Some(found) = &f.dials {
        let text = match found {
            Ok(d) => dials_compared(d, study.fines_um)?,
            Err(e) => format!("<p>{}</p>\n", escape(&e.to_string())),
        };
        section("dial", "Same dial, different gap", text);
    }
    if !f.series.is_empty() {
        section("wear", "Wear", sections::wears(f)?);
    }
    if !study.brews.is_empty() {
        section("cup", "Cup", cups::cup(f)?);
    }
    if !study.tastings.is_empty() {
        section("tasting", "Tasting", cups::tasting(f)?);
    }
    section("bench", "Bench and notes", bench(f));
    body.push_str(METHOD);
    let carried = [Carried { name: "study.json", content: data }];
    Ok(page_with(&study.title, &body, &carried, MORE_STYLE, None))
}

fn bench(f: &Findings) -> String {
    let mut out = String::from("<ul>\n");
    let note = |notes: &str| if notes.is_empty() { String::new() } else { format!(": {}", escape(notes)) };
    for (name, notes) in &f.study.grinders {
        let _ = writeln!(out, "<li>Grinder {}{}</li>", escape(name), note(notes));
    }
    for b in &f.study.burrs {
        let grinder = f.study.grinders.get(b.grinder).map_or("", |g| g.0.as_str());
        let _ = writeln!(out, "<li>Burrs {} in {}{}</li>", escape(&b.name), escape(grinder), note(&b.notes));
    }
    for s in f.study.samples.iter().filter(|s| !s.notes.is_empty()) {
        let _ = writeln!(out, "<li>Sample {}{}</li>", escape(&s.name), note(&s.notes));
    }
    for b in f.study.brews.iter().filter(|b| !b.notes.is_empty()) {
        let _ = writeln!(out, "<li>Brew of {}{}</li>", escape(&f.study.samples[b.sample].name), note(&b.notes));
    }
    for t in f.study.tastings.iter().filter(|t| !t.notes.is_empty()) {
        let [a, b] = super::words::names(f, t.samples);
        let _ = writeln!(out, "<li>Tasting of {} and {}{}</li>", escape(a), escape(b), note(&t.notes));
    }
    for (photo, advice) in &f.advice {
        let _ = writeln!(out, "<li>Photo {}: {}</li>", escape(photo), escape(advice));
    }
    out + "</ul>\n"
}

const METHOD: &str = "<section class=\"method\">\n<h2>How this was reckoned</h2>\n\
<p><strong>Grind.</strong> Mass is taken as the cube of the diameter: constant shape and density are assumed. Intervals hold counting, \
the spread of the photos and the scale. Comparisons take photos as what varies, and their p-values hold for all figures together.</p>\n\
<p><strong>Dial.</strong> The logarithm of each figure is a straight line over the setting; sets are compared where their medians are the same, with \
Student's t on the samples.</p>\n\
<p><strong>Wear.</strong> &#8220;No change&#8221; is given up where so strong a trend comes about by chance less often than the confidence \
allows, with all trends counted. &#8220;Plateau&#8221; is said where a straight line is excluded. The change and the kilograms are intervals by \
profile likelihood over straight lines and exponential approaches; where figures are brought to one median, the error of that is in them. That a figure changes with the kilograms does not say that wear is the cause: beans, \
dial and hands change with time as well.</p>\n\
<p><strong>Cup.</strong> Percolation: beverage times dissolved solids over dose. Immersion: all the water holds solids, also what the grounds keep. The bars \
are the instruments' steps alone; the differences between samples take the scatter from brew to brew (Student's t).</p>\n\
<p><strong>Tasting.</strong> Exact binomial tests, as in ISO 4120. Who cannot tell is right once in three; the share who can tell is what lies above that.</p>\n\
</section>\n";
