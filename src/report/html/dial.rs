use super::{Carried, MASS, escape, figure_for_all, method, noted, of_photos, page, table};
use crate::compare::{DialSet, Dials};
use crate::report::comparison::{kind, p_text, signed};
use crate::report::dial::{between, ends, notes, said, sentences, shown, verdict};
use crate::report::format::{decimals, percent, significant, value};
use crate::report::plot::Kind;
use crate::report::verdict::label;
use crate::report::{ReportError, dial_plot};

/// Sets of burrs compared at the same median, as a page; `data` is their JSON.
///
/// # Errors
/// None in practice: the drawing stays in memory.
pub fn dials(d: &Dials, fines_um: f64, advice: &[String], data: &[u8]) -> Result<Vec<u8>, ReportError> {
    let others: Vec<&str> = d.sets[1..].iter().map(|s| s.name.as_str()).collect();
    let title = format!("{} against {} at the same median", others.join(", "), d.sets[0].name);
    let body = compared(d, fines_um)? + &of_photos(advice) + &method(&METHOD);
    Ok(page(&title, &body, &[Carried { name: "dial.json", content: data }]))
}

/// Size of the picture: letters stay legible where a page is printed.
const SIZE: (u32, u32) = (760, 640);
/// For the screen of a phone.
const NARROW: (u32, u32) = (420, 960);

/// Verdicts, picture and tables.
///
/// # Errors
/// None in practice: the drawing stays in memory.
pub(in crate::report) fn compared(d: &Dials, fines_um: f64) -> Result<String, ReportError> {
    let mut body = String::new();
    for pair in &d.pairs {
        body += &format!("<p class=\"verdict {}\">{}</p>\n", kind(verdict(pair)), escape(&sentences(d, pair)));
    }
    body += &noted(&notes(d, fines_um));
    let told = "Above, the median of each sample against the setting of its dial, with a line for each set of burrs; below, the share \
                of fines and the span against the median. A dotted line marks the median of the comparison. The numbers are in the \
                tables.";
    let drawn = |size| dial_plot::dials_of_size(d, fines_um, Kind::Svg, size);
    body += &figure_for_all(drawn(SIZE)?, drawn(NARROW)?, told)?;
    let level = percent(d.level);
    body += "<div class=\"tables\">\n";
    for pair in &d.pairs {
        let names = [&d.sets[0].name, &d.sets[pair.other].name];
        let caption = format!("{} against {} at D50 = {} µm", names[1], names[0], significant(d.median_um, 3));
        let change = format!("change ({level} % interval)");
        let head = ["figure", names[0], names[1], &change, "p, all figures", "could have shown", "verdict"];
        let rows = pair.figures.iter().map(|f| {
            let places = decimals(f.relative_pct.half_width());
            let signed = |v| signed(v, places);
            let e = &f.relative_pct;
            vec![
                label(f.quantity, fines_um),
                shown(f, 0),
                shown(f, 1),
                format!("{} % ({} to {})", signed(e.value), signed(e.low), signed(e.high)),
                p_text(f.p_adjusted),
                format!("{} %", significant(f.smallest_detectable_pct, 2)),
                said(f).to_owned(),
            ]
        });
        body += &table(&caption, &head, rows);
    }
    body += &table(
        "The dials",
        &["set", "samples", "medians on its line", "one step of the dial", "setting for that median"],
        d.sets.iter().map(dial_row),
    );
    body += "</div>\n";
    Ok(body)
}

fn dial_row(set: &DialSet) -> Vec<String> {
    let [low, high] = ends(set);
    vec![
        set.name.clone(),
        set.points.len().to_string(),
        format!("{low:.0} – {high:.0} µm"),
        format!("{} % ({})", value(&set.per_step_pct), between(&set.per_step_pct)),
        format!("{} ({})", value(&set.setting), between(&set.setting)),
    ]
}

const METHOD: [&str; 3] = [
    MASS,
    "After burrs are swapped the same number on the dial is another gap, so the sets are compared where their medians are the same. \
     The logarithm of each figure is taken as a straight line over the setting; how far the samples stray from the lines tells how \
     well a difference is known (Student's t; spreading, grinding again, setting again and the misfit of the line are all in it). \
     The p-values hold for all figures together.",
    "Whoever swaps burrs: unplug the grinder first, mind the edges, and follow the maker's manual.",
];
