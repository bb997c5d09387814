use super::{Carried, MASS, escape, figure_for_all, method, noted, of_photos, page, table};
use crate::compare::Comparison;
use crate::report::comparison::{COULD_SHOW, alike_means, kind, notes, rows, who};
use crate::report::format::percent;
use crate::report::plot::{self, Kind};
use crate::report::verdict::{P_MEANS, sentences};
use crate::report::{ReportError, comparison_plot};

/// The comparisons with one base as a page, with the `advice` for their photos; `data` is their JSON.
///
/// # Errors
/// None in practice: the drawing stays in memory.
pub fn comparison(all: &[Comparison], fines_um: f64, advice: &[String], data: &[u8]) -> Result<Vec<u8>, ReportError> {
    let mut body = String::new();
    for c in all {
        let told = format!(
            "Share of the mass finer than each size for {} (whole line) and {} (dashed line), with bands; below it their \
             difference, and the share in each class of size. The numbers are in the table.",
            c.sides[0].name, c.sides[1].name
        );
        body += &format!(
            "<section>\n<p class=\"who\">{} against {}</p>\n<p class=\"verdict {}\">{}</p>\n{}{}{}</section>\n",
            escape(&who(&c.sides[1])),
            escape(&who(&c.sides[0])),
            kind(c.verdict),
            escape(&sentences(c)),
            noted(&notes(c, fines_um)),
            figure_for_all(
                comparison_plot::comparison(c, fines_um, Kind::Svg)?,
                comparison_plot::comparison_of_width(c, fines_um, Kind::Svg, plot::NARROW.0)?,
                &told
            )?,
            figures(c, fines_um),
        );
    }
    let others = all.iter().map(|c| c.sides[1].name.as_str()).collect::<Vec<_>>().join(", ");
    let by_counting = all.iter().any(|c| c.spread_unknown);
    body += &of_photos(advice);
    body += &method(&[MASS, if by_counting { COUNTED } else { SCATTERED }, FAMILY]);
    let carried = [Carried { name: "comparison.json", content: data }];
    Ok(page(&format!("{others} against {}", all[0].sides[0].name), &body, &carried))
}

fn figures(c: &Comparison, fines_um: f64) -> String {
    let change = format!("change ({} % interval)", percent(c.level));
    let head = ["figure", &c.sides[0].name, &c.sides[1].name, &change, "p, all figures", "could have shown", "verdict"];
    let cells = rows(c, fines_um).into_iter().map(|r| {
        let [a, b] = r.values;
        let change = format!("{} ({})", r.change, r.ends.join(" to "));
        vec![super::told(&r.name, r.says), a, b, change, r.p, r.could_show, r.said.to_owned()]
    });
    let under = format!("{P_MEANS} Could have shown: {COULD_SHOW}. Alike: {}. Open: neither is shown.", alike_means(c));
    table("Figures by mass", &head, cells) + &format!("<p class=\"under\">{}</p>\n", escape(&under))
}

const SCATTERED: &str = "What varies is the photo: the scatter of the photos within each sample tells how well a difference is known \
     (Student's t with a spread common to both samples).";

const COUNTED: &str = "One photo a side tells how well a difference is known by the number of its particles alone (drawn again and \
     again). How much spreads of the same grounds differ takes several photos a side.";

const FAMILY: &str =
    "The p-values hold for all figures together, so looking at many figures does not raise false alarms.";
