//! Pages that need nothing from outside: answer first, then pictures, figures, and how they were reckoned.

mod batch;
mod comparison;
mod dial;
mod measurement;
mod sieve;

pub use batch::batch;
pub use comparison::comparison;
pub(super) use dial::compared as dials_compared;
pub use dial::dials;
pub use measurement::{Picture, measurement};
pub use sieve::{sieved, sieved_pair};

use std::fmt::Write;

use base64::Engine;

use super::{ReportError, viewer};

pub(super) const STYLE: &str = include_str!("page.css");
const SCRIPT: &str = include_str!("page.js");
const PHOTOS: &str = include_str!("photos.js");

/// Text that stands for itself in HTML.
pub(super) fn escape(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// A file that the page carries along, for download.
pub(super) struct Carried<'a> {
    /// Its name when it is saved.
    pub name: &'a str,
    /// Its content: text.
    pub content: &'a [u8],
}

/// Text for a script element: `<` could end it. JSON reads the same; the page's script turns it back for the rest.
fn within_script(text: &[u8]) -> String {
    String::from_utf8_lossy(text).replace('<', "\\u003c")
}

/// A whole page. `body` is HTML.
pub(super) fn page(title: &str, body: &str, carried: &[Carried<'_>]) -> Vec<u8> {
    page_with(title, body, carried, "", None)
}

/// A whole page with a style of its own besides that of all pages; `photos` is what the viewer needs of them (JSON).
pub(super) fn page_with(
    title: &str,
    body: &str,
    carried: &[Carried<'_>],
    style: &str,
    photos: Option<&str>,
) -> Vec<u8> {
    let title = escape(title);
    let mut data = String::new();
    for file in carried {
        let kind = if file.name.ends_with(".json") { "application/json" } else { "text/csv" };
        let _ = writeln!(
            data,
            "<script type=\"{kind}\" class=\"carried\" data-name=\"{}\">{}</script>",
            escape(file.name),
            within_script(file.content)
        );
    }
    let (mut style, mut script) = (format!("{STYLE}{style}"), SCRIPT.to_owned());
    if let Some(photos) = photos {
        let photos = within_script(photos.as_bytes());
        let _ = writeln!(data, "<script type=\"application/json\" id=\"photos\">{photos}</script>");
        style += viewer::STYLE;
        script = format!("{}\n{script}\n{PHOTOS}", viewer::SCRIPT);
    }
    format!(
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"generator\" content=\"lightsieve {version}\">\n<title>{title}</title>\n<style>\n{style}</style>\n</head>\n\
         <body>\n<main>\n<h1>{title}</h1>\n{body}<section class=\"downloads\" hidden>\n<h2>The data</h2>\n\
         <p>This page carries its data along:</p>\n</section>\n</main>\n<footer>Made by lightsieve {version}.</footer>\n{data}\
         <script>\n{script}</script>\n</body>\n</html>\n",
        version = env!("CARGO_PKG_VERSION"),
    )
    .into_bytes()
}

/// Bytes as base64 (RFC 4648).
fn base64(bytes: &[u8]) -> String {
    base64::engine::general_purpose::STANDARD.encode(bytes)
}

/// An SVG drawing as a figure; `told` says in words what it shows.
pub(super) fn figure(svg: Vec<u8>, told: &str) -> Result<String, ReportError> {
    Ok(figure_of(&String::from_utf8(svg).map_err(|e| ReportError::Draw(e.to_string()))?, told))
}

/// The same of text. Narrow screens scroll it, which keys must reach.
pub(super) fn figure_of(svg: &str, told: &str) -> String {
    format!("<figure role=\"img\" aria-label=\"{}\" tabindex=\"0\">{svg}</figure>\n", escape(told))
}

/// The same with another drawing for narrow screens.
pub(super) fn figure_for_all(wide: Vec<u8>, narrow: Vec<u8>, told: &str) -> Result<String, ReportError> {
    let [wide, narrow] = [figure(wide, told)?, figure(narrow, told)?];
    Ok(format!("<div class=\"on-wide\">{wide}</div>\n<div class=\"on-narrow\">{narrow}</div>\n"))
}

/// Remarks that stand out.
pub(super) fn noted(notes: &[String]) -> String {
    notes.iter().map(|note| format!("<p class=\"note\">{}</p>\n", escape(note))).collect()
}

/// What could be better about the photos that a page rests on.
pub(super) fn of_photos(advice: &[String]) -> String {
    if advice.is_empty() {
        return String::new();
    }
    format!("<section>\n<h2>The photos</h2>\n{}</section>\n", noted(advice))
}

/// Rows of a table that narrow screens show as blocks, at most.
const MOST_STACKED: usize = 8;

/// A cell that names its row, with what that tells below it.
pub(super) fn told(name: &str, says: &str) -> String {
    if says.is_empty() { name.to_owned() } else { format!("{name}\n{says}") }
}

/// A table; the first cell of each row names it, and says more after a line break. `caption` and cells are plain text.
/// Narrow screens show each row as a block, where every cell carries its head; but a long table, which is looked up and not read,
/// stays one and is scrolled.
pub(super) fn table(caption: &str, head: &[&str], rows: impl IntoIterator<Item = Vec<String>>) -> String {
    let rows: Vec<Vec<String>> = rows.into_iter().collect();
    let kind = if rows.len() <= MOST_STACKED { "wide stack" } else { "wide" };
    let heads: String =
        head.iter().map(|h| format!("<th scope=\"col\" role=\"columnheader\">{}</th>", escape(h))).collect();
    // Shown as blocks, a table is none to a screen reader but for its roles.
    let mut out = format!(
        "<div class=\"{kind}\" tabindex=\"0\" role=\"region\" aria-label=\"{caption}\"><table role=\"table\">\n\
         <caption>{caption}</caption>\n<thead role=\"rowgroup\"><tr role=\"row\">{heads}</tr></thead>\n\
         <tbody role=\"rowgroup\">\n",
        caption = escape(caption)
    );
    for row in rows {
        let mut cells = row.iter();
        let name = cells.next().map(|n| escape(n)).unwrap_or_default();
        let name = name.split_once('\n').map_or(name.clone(), |(n, says)| format!("{n}<small>{says}</small>"));
        let cells: String = cells
            .zip(head.iter().skip(1))
            .map(|(c, h)| format!("<td role=\"cell\" data-head=\"{}\">{}</td>", escape(h), escape(c)))
            .collect();
        let _ = writeln!(out, "<tr role=\"row\"><th scope=\"row\" role=\"rowheader\">{name}</th>{cells}</tr>");
    }
    out + "</tbody>\n</table></div>\n"
}

/// How the numbers came about: paragraphs of plain text.
pub(super) fn method(paragraphs: &[&str]) -> String {
    let text: String = paragraphs.iter().map(|p| format!("<p>{}</p>\n", escape(p))).collect();
    format!("<section class=\"method\">\n<h2>How this was reckoned</h2>\n{text}</section>\n")
}

/// What every page says of mass.
const MASS: &str = "Sizes are diameters of circles of the same area as the particle's picture (equivalent circular diameter). Mass is \
                    taken as the cube of the diameter: constant shape and density are assumed. Terms follow ISO 9276.";
