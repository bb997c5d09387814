use super::{Carried, MASS, escape, figure_for_all, method, noted, of_photos, page, table};
use crate::report::ReportError;
use crate::report::format::percent;
use crate::report::plot::{self, Kind};
use crate::report::sieve::{self as report, Sieved};
use crate::report::sieve_pair::{self, SievedPair};

/// Weighed layers beside the photos' as a page; `data` is their JSON.
///
/// # Errors
/// None in practice: the drawing stays in memory.
pub fn sieved(s: &Sieved, advice: &[String], data: &[u8]) -> Result<Vec<u8>, ReportError> {
    let mut body = format!(
        "<p class=\"who\">{}</p>\n<p class=\"verdict {}\">{}</p>\n",
        escape(&report::counted(s)),
        if report::agrees(s) { "alike" } else { "different" },
        escape(&report::headline(s)),
    );
    body += &noted(&report::warnings(s));
    let told = "For each layer of the stack a filled bar with the share weighed and an open one with the share that the photos \
                predict; thin lines show what rounding allows and the interval. The numbers are in the table.";
    body += &figure_for_all(report::plot(s, Kind::Svg)?, report::plot_of_size(s, Kind::Svg, plot::NARROW)?, told)?;
    let mut head = vec!["layer", "weighed", "share", "rounding allows", "photo", "interval"];
    head.extend(s.fitted.as_ref().map(|_| "fitted"));
    body += &table("Layers", &head, report::rows(s));
    if let Some(line) = report::balance(s) {
        body += &format!("<p>{}</p>\n", escape(&line));
    }
    body += &of_photos(advice);
    let mut lines = vec![MASS.to_owned()];
    lines.extend(report::explanations(s));
    lines.push("Apertures are those of square holes (ISO 3310-1).".to_owned());
    body += &method(&lines.iter().map(String::as_str).collect::<Vec<_>>());
    Ok(page(&format!("{}: sieve layers and photos", s.name), &body, &[Carried { name: "sieve.json", content: data }]))
}

/// Two sieved samples as a page; `data` is their JSON.
pub fn sieved_pair(p: &SievedPair, advice: &[String], data: &[u8]) -> Vec<u8> {
    let mut body = format!("<p class=\"verdict undecided\">{}</p>\n", escape(&sieve_pair::sentences(p)));
    body += &noted(&sieve_pair::notes(p));
    let photos = format!("photos ({} %, all layers)", percent(p.level));
    let head = ["layer", &p.names[0], &p.names[1], "weighed (rounding allows)", &photos];
    body += &table("Differences of the layers", &head, sieve_pair::rows(p).into_iter().map(Vec::from));
    body += &of_photos(advice);
    body += &method(&[
        MASS,
        "Apertures are those of square holes (ISO 3310-1). The bounds of the weights take every reading at its worst; the \
                     intervals of the photos hold for all layers together.",
    ]);
    let title = format!("{} against {}: sieve layers", p.names[1], p.names[0]);
    page(&title, &body, &[Carried { name: "sieve-pair.json", content: data }])
}
