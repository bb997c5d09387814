//! A comparison as one page that needs nothing from outside.

use std::fmt::Write;

use super::comparison::{kind, notes, p_text, signed, who};
use super::format::{decimals, significant};
use super::plot::Kind;
use super::verdict::{label, sentences};
use super::{ReportError, comparison_plot};
use crate::compare::Comparison;

pub(super) const STYLE: &str = include_str!("page.css");

/// Text that stands for itself in HTML.
pub(super) fn escape(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// The comparisons with one base as a page: verdict first, then curves, figures, and how it was reckoned.
///
/// # Errors
/// None in practice: the drawing stays in memory.
pub fn comparison(all: &[Comparison], fines_um: f64, data: &[u8]) -> Result<Vec<u8>, ReportError> {
    let mut body = String::new();
    for c in all {
        let svg = String::from_utf8(comparison_plot::comparison(c, fines_um, Kind::Svg)?)
            .map_err(|e| ReportError::Draw(e.to_string()))?;
        let _ = write!(
            body,
            "<section>\n<p class=\"who\">{} against {}</p>\n<p class=\"verdict {}\">{}</p>\n",
            escape(&who(&c.sides[1])),
            escape(&who(&c.sides[0])),
            kind(c.verdict),
            escape(&sentences(c)),
        );
        for note in notes(c, fines_um) {
            let _ = writeln!(body, "<p class=\"note\">{}</p>", escape(&note));
        }
        let _ = write!(
            body,
            "<figure role=\"img\" aria-label=\"{}\">{}</figure>\n{}</section>\n",
            escape(&format!(
                "Share of the mass finer than each size for {} (whole line) and {} (dashed line), with bands; below it \
                 their difference, and the share in each class of size. The numbers are in the table.",
                c.sides[0].name, c.sides[1].name
            )),
            svg,
            rows(c, fines_um),
        );
    }
    let title = format!(
        "{} against {}",
        all.iter().map(|c| c.sides[1].name.as_str()).collect::<Vec<_>>().join(", "),
        all[0].sides[0].name
    );
    let data = String::from_utf8_lossy(data).replace("</", "<\\/");
    Ok(format!(
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>{title}</title>\n\
         <style>\n{STYLE}</style>\n</head>\n<body>\n<main>\n<h1>{title}</h1>\n{body}{METHOD}\
         <script type=\"application/json\" id=\"data\">{data}</script>\n</main>\n</body>\n</html>\n",
        title = escape(&title),
    )
    .into_bytes())
}

fn rows(c: &Comparison, fines_um: f64) -> String {
    let level = (1e6 * c.level).round() / 1e4;
    let mut out = format!(
        "<div class=\"wide\"><table>\n<caption>Figures by mass</caption>\n<thead><tr><th scope=\"col\">figure</th><th scope=\"col\">{}</th>\
         <th scope=\"col\">{}</th><th scope=\"col\">change ({level} % interval)</th><th scope=\"col\">p, all figures</th>\
         <th scope=\"col\">could have shown</th><th scope=\"col\">verdict</th></tr></thead>\n<tbody>\n",
        escape(&c.sides[0].name),
        escape(&c.sides[1].name)
    );
    for d in &c.differences {
        let unit = d.quantity.unit();
        let places = decimals(d.difference.half_width());
        let (e, sign) = d.relative_pct.as_ref().map_or((&d.difference, unit), |e| (e, "%"));
        let shown = decimals(e.half_width());
        let said = if c.is_clear(d) {
            "differs"
        } else if d.alike {
            "alike"
        } else {
            "open"
        };
        let _ = writeln!(
            out,
            "<tr><th scope=\"row\">{}</th><td>{:.places$} {unit}</td><td>{:.places$} {unit}</td>\
             <td>{} {sign} ({} to {})</td><td>{}</td><td>{} {unit}</td><td>{said}</td></tr>",
            escape(&label(d.quantity, fines_um)),
            d.values[0],
            d.values[1],
            signed(e.value, shown),
            signed(e.low, shown),
            signed(e.high, shown),
            escape(&p_text(d.p_adjusted)),
            significant(d.smallest_detectable, 2),
        );
    }
    out.push_str("</tbody>\n</table></div>\n");
    out
}

const METHOD: &str = "<section class=\"method\">\n<h2>How this was reckoned</h2>\n\
<p>Mass is taken as the cube of the diameter: constant shape and density are assumed. What varies is the photo: the scatter \
of the photos within each sample tells how well a difference is known (Student's t with a spread common to both samples). \
The p-values hold for all figures together, so looking at many figures does not raise false alarms. \
&#8220;Alike&#8221; means that the whole interval of the two one-sided tests lies within the margin. \
&#8220;Could have shown&#8221; is the difference that this many photos would show four times out of five.</p>\n</section>\n";
