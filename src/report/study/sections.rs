//! Grind, sieves and wear as parts of the page.

use std::fmt::Write;

use super::super::comparison_plot;
use super::super::format::{interval, percent, significant, value};
use super::super::html::{escape, figure_of as figure, noted, table};
use super::super::plot::Kind;
use super::super::sieve::{self, Sieved};
use super::super::sieve_pair::layer;
use super::super::{ReportError, verdict};
use super::dots::{Row, dots};
use super::wear_plot::{Line, wear};
use super::words;
use crate::distribution::SieveShape;
use crate::study::findings::Findings;
use crate::study::series::FOLLOWED;
use crate::study::wear::Shape;

/// Size of a comparison's picture, beside its table.
const BESIDE: (u32, u32) = (420, 520);
/// Size of the picture of sieve layers, beside its table.
const LAYERS: (u32, u32) = (420, 320);

/// Parts that stand side by side where there is room.
pub(super) fn beside(parts: &str) -> String {
    format!("<div class=\"pair\">\n{parts}</div>\n")
}

/// A picture with its table, which needs more room.
fn with_table(picture: &str, table: &str) -> String {
    format!("<div class=\"pair tabled\">\n{picture}{table}</div>\n")
}

pub(super) fn number(v: Option<f64>) -> String {
    v.map_or("–".to_owned(), |v| format!("{}", (1e3 * v).round() / 1e3))
}

/// Figures of all samples, and the comparisons.
pub(super) fn grind(f: &Findings) -> Result<String, ReportError> {
    let measured: Vec<usize> = (0..f.grinds.len()).filter(|&i| f.grinds[i].is_some()).collect();
    if measured.is_empty() {
        return Ok("<p>No photo of any sample was measured.</p>\n".to_owned());
    }
    let fines = format!("fines < {} µm", significant(f.study.fines_um, 3));
    let mut out = String::new();
    let row = |figure: usize| -> Vec<Row> {
        let values = |i: &usize| {
            let e = f.grinds[*i].as_ref().map(|g| g.figures[figure]);
            Row { name: f.study.samples[*i].name.clone(), values: e.iter().map(|e| [e.value, e.low, e.high]).collect() }
        };
        measured.iter().map(values).collect()
    };
    let alt = "The numbers are in the table.";
    let pictures = figure(
        &dots("Median D50 of each sample, with its interval", "D50 by mass, µm", &row(1), &[])?,
        &format!("Median D50 of each sample. {alt}"),
    ) + &figure(
        &dots("Share of fines of each sample, with its interval", &format!("{fines}, % of the mass"), &row(4), &[])?,
        &format!("Share of fines of each sample. {alt}"),
    );
    out += &beside(&pictures);
    let rows: Vec<Vec<String>> = measured
        .iter()
        .filter_map(|&i| {
            let (s, g) = (&f.study.samples[i], f.grinds[i].as_ref()?);
            let figure = |k: usize| format!("{} ({})", value(&g.figures[k]), interval(&g.figures[k]));
            let least = if g.fines_at_least { "≥ " } else { "" };
            Some(vec![
                s.name.clone(),
                f.study.burrs[s.burrs].name.clone(),
                number(s.kg),
                number(s.setting),
                g.of_photos.len().to_string(),
                value(&g.figures[0]),
                figure(1),
                value(&g.figures[2]),
                figure(3),
                format!("{least}{}", figure(4)),
            ])
        })
        .collect();
    let level = percent(f.study.level);
    out += &table(
        &format!("Figures by mass, with {level} % intervals"),
        &["sample", "burrs", "kg", "setting", "photos", "D10 µm", "D50 µm", "D90 µm", "span", &format!("{fines} %")],
        rows,
    );
    for c in &f.comparisons {
        let svg = String::from_utf8(comparison_plot::comparison_of_size(c, f.study.fines_um, Kind::Svg, BESIDE)?)
            .map_err(|e| ReportError::Draw(e.to_string()))?;
        let _ = write!(
            out,
            "<h3>{} against {}</h3>\n<p class=\"verdict {}\">{}</p>\n{}",
            escape(&c.sides[1].name),
            escape(&c.sides[0].name),
            super::super::comparison::kind(c.verdict),
            escape(&verdict::sentences(c)),
            noted(&super::super::comparison::notes(c, f.study.fines_um)),
        );
        let told = format!(
            "Cumulative curves of {} and {} with bands, their difference, and the shares by size. {alt}",
            c.sides[0].name, c.sides[1].name
        );
        let rows = super::super::comparison::rows(c, f.study.fines_um).into_iter().map(|r| {
            let [a, b] = r.values;
            vec![r.name, a, b, format!("{} ({})", r.change, r.ends.join(" to ")), r.p, r.said.to_owned()]
        });
        let heads = ["figure", &c.sides[0].name, &c.sides[1].name, "change (interval)", "p, all figures", "verdict"];
        out += &with_table(&figure(&svg, &told), &table("Differences", &heads, rows));
    }
    if let Some(c) = f.comparisons.first() {
        let _ = writeln!(
            out,
            "<p class=\"under\">{} Alike: {}.</p>",
            escape(verdict::P_MEANS),
            escape(&super::super::comparison::alike_means(c))
        );
    }
    Ok(out)
}

/// Sieve layers beside what the photos predict.
pub(super) fn sieves(f: &Findings) -> Result<String, ReportError> {
    let mut out = String::new();
    for (i, predicted) in &f.sieves {
        let sample = &f.study.samples[*i];
        let Some(stack) = &sample.sieve else { continue };
        let _ = writeln!(out, "<h3>{}</h3>", escape(&sample.name));
        let mut picture = String::new();
        if let Some(grind) = f.grinds[*i].as_ref().filter(|_| !predicted.is_empty()) {
            let sieved = Sieved {
                name: sample.name.clone(),
                counted: [grind.of_photos.len(), grind.grounds.sample.count()],
                stack: stack.clone(),
                predicted: predicted.clone(),
                shape: SieveShape::default(),
                fitted: None,
            };
            let svg = String::from_utf8(sieve::plot_of_size(&sieved, Kind::Svg, LAYERS)?)
                .map_err(|e| ReportError::Draw(e.to_string()))?;
            picture += &figure(
                &svg,
                "Weighed sieve layers beside those that the photos predict. The numbers are in the table.",
            );
        }
        let rows: Vec<Vec<String>> = stack
            .share
            .iter()
            .enumerate()
            .map(|(k, share)| {
                let layer = layer(stack, k);
                let photo = predicted.get(k).map_or("–".to_owned(), |e| format!("{} ({})", value(e), interval(e)));
                vec![
                    layer,
                    format!("{:.2}", stack.mass_g[k]),
                    format!("{:.1} ({:.1} – {:.1})", share.pct, share.low_pct, share.high_pct),
                    photo,
                ]
            })
            .collect();
        let layers = table(
            "Sieve layers",
            &["layer", "weighed g", "weighed % (rounding allows)", "photos predict % (interval)"],
            rows,
        );
        out += &with_table(&picture, &layers);
        out += &noted(&sieve::warnings_of(stack));
        if let (Some(loss), Some(pct)) = (stack.loss_g, stack.loss_pct()) {
            let text = if loss < 0.0 { "Gained by rounding" } else { "Lost in sieving" };
            let said = match loss.abs() < 0.5 * stack.step_g {
                true => "Nothing was lost in sieving.".to_owned(),
                false => format!("{text}: {:.1} g, {:.1} % of the charge.", loss.abs(), pct.abs()),
            };
            let _ = writeln!(out, "<p>{said}</p>");
        }
    }
    Ok(out)
}

const BARS: &str = "<p class=\"small\">One dot a sample. The bars show how far single samples scatter about the line: photos, doses and \
                    settings. A dashed line is the mean where no change is shown.</p>\n";

/// Figures over the kilograms.
pub(super) fn wears(f: &Findings) -> Result<String, ReportError> {
    let mut out = String::new();
    let mut pictures = String::new();
    for figure_at in FOLLOWED {
        let all: Vec<_> = f.series.iter().filter(|s| s.figure == figure_at).collect();
        let lines: Vec<Line<'_>> = all
            .iter()
            .filter_map(|s| Some(Line { name: f.study.burrs[s.burrs].name.clone(), trend: s.trend.as_ref().ok()? }))
            .collect();
        if !lines.is_empty() {
            let desc = match figure_at {
                1 => "D50 by mass, µm",
                3 => "span",
                _ => "fines, % of the mass",
            };
            let mut name = words::figure(figure_at).to_owned();
            name.replace_range(..1, "T");
            let basis = words::basis(all[0].basis).replace("brought to", "at");
            pictures += &figure(
                &wear(&format!("{name} ({basis})"), desc, &lines)?,
                &format!("{name} over the kilograms ({basis}). The numbers are in the table."),
            );
        }
    }
    let mut told = String::new();
    if f.series.iter().any(|s| s.trend.is_ok()) {
        told.push_str(BARS);
    }
    told.push_str("<ul class=\"again\">\n");
    for (_, sentence) in words::wears(f) {
        let _ = writeln!(told, "<li>{}</li>", escape(&sentence));
    }
    told.push_str("</ul>\n");
    out += &beside(&format!("{pictures}<div>{told}</div>"));
    let rows: Vec<Vec<String>> = f
        .series
        .iter()
        .filter_map(|s| {
            let t = s.trend.as_ref().ok()?;
            let change = |v: f64| format!("{:+.1}", words::pct(v));
            let kg = |v: Option<f64>| v.map_or("open".to_owned(), words::kg);
            let done = t.done.map_or("–".to_owned(), |d| {
                format!("{} ({} – {})", kg(d.kg), d.low_kg.map_or("0 kg".to_owned(), words::kg), kg(d.high_kg))
            });
            Some(vec![
                format!("{}, {}", f.study.burrs[s.burrs].name, words::figure(s.figure)),
                words::basis(s.basis).replace("brought to a ", ""),
                t.points.len().to_string(),
                ["no change", "straight line", "plateau"][match t.shape() {
                    Shape::NoChange => 0,
                    Shape::Line => 1,
                    Shape::Plateau => 2,
                }]
                .to_owned(),
                format!("{} ({} to {})", change(t.change.value), change(t.change.low), change(t.change.high)),
                done,
                super::super::comparison::p_text(t.p_adjusted),
                significant(words::pct(t.smallest_detectable), 2),
            ])
        })
        .collect();
    if !rows.is_empty() {
        out += &table(
            "Trends over the kilograms",
            &[
                "figure",
                "compared",
                "samples",
                "shape",
                "change % (interval)",
                "95 % of it by (interval)",
                "p, all",
                "shows from %",
            ],
            rows,
        );
    }
    Ok(out)
}
