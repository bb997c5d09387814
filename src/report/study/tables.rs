//! Everything found as tidy CSV tables: one row per observation, one column per quantity.

use super::super::ReportError;
use super::words;
use crate::distribution::Figures;
use crate::study::file::TastingKind;
use crate::study::findings::{Findings, TastingVerdict};
use crate::study::wear::Shape;

/// Names of the tables, in the order in which [`tables`] gives them.
pub const TABLES: [&str; 8] = [
    "samples.csv",
    "photos.csv",
    "comparisons.csv",
    "sieves.csv",
    "wear.csv",
    "trends.csv",
    "brews.csv",
    "tastings.csv",
];

/// Name of a shape in files.
pub(super) fn shape(shape: Shape) -> &'static str {
    match shape {
        Shape::NoChange => "no_change",
        Shape::Line => "line",
        Shape::Plateau => "plateau",
    }
}

/// A cell: empty where there is nothing.
fn cell(v: Option<f64>) -> String {
    v.filter(|v| v.is_finite()).map_or(String::new(), |v| format!("{v}"))
}

fn csv(header: &[&str], rows: Vec<Vec<String>>) -> Result<Vec<u8>, ReportError> {
    let failed = |e: ::csv::Error| ReportError::Draw(e.to_string());
    let mut writer = ::csv::Writer::from_writer(Vec::new());
    writer.write_record(header).map_err(failed)?;
    for row in rows {
        writer.write_record(row).map_err(failed)?;
    }
    writer.into_inner().map_err(|e| ReportError::Draw(e.to_string()))
}

/// The tables in the order of [`TABLES`]; what a study does not have is a table without rows.
///
/// # Errors
/// None in practice: the writer works in memory.
pub fn tables(f: &Findings) -> Result<Vec<Vec<u8>>, ReportError> {
    Ok(vec![samples(f)?, photos(f)?, comparisons(f)?, sieves(f)?, wear(f)?, trends(f)?, brews(f)?, tastings(f)?])
}

fn samples(f: &Findings) -> Result<Vec<u8>, ReportError> {
    let mut header: Vec<String> =
        ["sample", "burrs", "grinder", "kg", "setting", "photos", "particles", "smallest_ecd_um", "fines_at_least"]
            .map(String::from)
            .to_vec();
    for name in Figures::NAMES {
        header.extend([name.to_owned(), format!("{name}_low"), format!("{name}_high")]);
    }
    let rows = f.study.samples.iter().zip(&f.grinds).map(|(s, grind)| {
        let burrs = &f.study.burrs[s.burrs];
        let mut row = vec![
            s.name.clone(),
            burrs.name.clone(),
            f.study.grinders[burrs.grinder].0.clone(),
            cell(s.kg),
            cell(s.setting),
        ];
        match grind {
            None => row.resize(header.len(), String::new()),
            Some(g) => {
                row.extend([
                    g.of_photos.len().to_string(),
                    g.grounds.sample.count().to_string(),
                    cell(Some(g.smallest_ecd_um)),
                    g.fines_at_least.to_string(),
                ]);
                row.extend(g.figures.iter().flat_map(|e| [e.value, e.low, e.high]).map(|v| cell(Some(v))));
            }
        }
        row
    });
    let rows = rows.collect();
    csv(&header.iter().map(String::as_str).collect::<Vec<_>>(), rows)
}

fn photos(f: &Findings) -> Result<Vec<u8>, ReportError> {
    let mut rows = Vec::new();
    for (s, grind) in f.study.samples.iter().zip(&f.grinds) {
        let Some(g) = grind else { continue };
        let shown = g.grounds.sample.photos().iter().filter(|p| !p.particles.is_empty());
        for (photo, figures) in shown.zip(&g.of_photos) {
            let mut row = vec![s.name.clone(), photo.name.clone(), photo.particles.len().to_string()];
            row.extend(figures.iter().map(|v| cell(Some(*v))));
            rows.push(row);
        }
    }
    csv(&[&["sample", "photo", "particles"], &Figures::NAMES[..]].concat(), rows)
}

fn comparisons(f: &Findings) -> Result<Vec<u8>, ReportError> {
    let mut rows = Vec::new();
    for c in &f.comparisons {
        for d in &c.differences {
            let relative = d.relative_pct;
            rows.push(vec![
                c.sides[0].name.clone(),
                c.sides[1].name.clone(),
                super::super::comparison::kind(c.verdict).to_owned(),
                d.quantity.name(),
                cell(Some(d.values[0])),
                cell(Some(d.values[1])),
                cell(relative.map(|e| e.value)),
                cell(relative.map(|e| e.low)),
                cell(relative.map(|e| e.high)),
                cell(Some(d.p)),
                cell(Some(d.p_adjusted)),
                d.alike.to_string(),
                c.is_clear(d).to_string(),
            ]);
        }
    }
    let header = [
        "base",
        "other",
        "verdict",
        "figure",
        "base_value",
        "other_value",
        "change_pct",
        "change_pct_low",
        "change_pct_high",
        "p",
        "p_adjusted",
        "alike",
        "differs",
    ];
    csv(&header, rows)
}

fn sieves(f: &Findings) -> Result<Vec<u8>, ReportError> {
    let mut rows = Vec::new();
    for (i, predicted) in &f.sieves {
        let sample = &f.study.samples[*i];
        let Some(stack) = &sample.sieve else { continue };
        for (k, share) in stack.share.iter().enumerate() {
            let aperture = stack.apertures_um.get(k).map_or("receiver".to_owned(), |um| format!("{um}"));
            let photo = predicted.get(k);
            rows.push(vec![
                sample.name.clone(),
                aperture,
                cell(Some(stack.mass_g[k])),
                cell(Some(share.pct)),
                cell(Some(share.low_pct)),
                cell(Some(share.high_pct)),
                cell(photo.map(|e| e.value)),
                cell(photo.map(|e| e.low)),
                cell(photo.map(|e| e.high)),
            ]);
        }
    }
    let header = [
        "sample",
        "aperture_um",
        "weighed_g",
        "weighed_pct",
        "weighed_pct_low",
        "weighed_pct_high",
        "photo_pct",
        "photo_pct_low",
        "photo_pct_high",
    ];
    csv(&header, rows)
}

fn wear(f: &Findings) -> Result<Vec<u8>, ReportError> {
    let mut rows = Vec::new();
    for s in &f.series {
        let Ok(t) = &s.trend else { continue };
        for (sample, point) in s.samples.iter().zip(&t.points) {
            rows.push(vec![
                f.study.burrs[s.burrs].name.clone(),
                Figures::NAMES[s.figure].to_owned(),
                words::basis(s.basis),
                f.study.samples[*sample].name.clone(),
                cell(Some(point.kg)),
                cell(Some(point.value.exp())),
                cell(Some(t.curve().at(point.kg).exp())),
            ]);
        }
    }
    csv(&["burrs", "figure", "compared", "sample", "kg", "value", "fitted"], rows)
}

fn trends(f: &Findings) -> Result<Vec<u8>, ReportError> {
    let mut rows = Vec::new();
    for s in &f.series {
        let Ok(t) = &s.trend else { continue };
        let pct = |v: f64| cell(Some(words::pct(v)));
        rows.push(vec![
            f.study.burrs[s.burrs].name.clone(),
            Figures::NAMES[s.figure].to_owned(),
            t.points.len().to_string(),
            shape(t.shape()).to_owned(),
            cell(Some(t.p)),
            cell(Some(t.p_adjusted)),
            pct(t.change.value),
            pct(t.change.low),
            pct(t.change.high),
            cell(t.done.and_then(|d| d.kg)),
            cell(t.done.and_then(|d| d.low_kg)),
            cell(t.done.and_then(|d| d.high_kg)),
            pct(t.smallest_detectable),
        ]);
    }
    let header = [
        "burrs",
        "figure",
        "samples",
        "shape",
        "p",
        "p_adjusted",
        "change_pct",
        "change_pct_low",
        "change_pct_high",
        "done_95_kg",
        "done_95_kg_low",
        "done_95_kg_high",
        "smallest_detectable_pct",
    ];
    csv(&header, rows)
}

fn brews(f: &Findings) -> Result<Vec<u8>, ReportError> {
    let row = |(i, b): (usize, &crate::study::file::Brew)| {
        let found = f.cups.iter().find(|c| c.0 == i).map(|c| c.1);
        vec![
            f.study.samples[b.sample].name.clone(),
            b.kind.name().to_owned(),
            cell(Some(b.dose_g)),
            cell(b.brewed.and_then(|b| b.water_g)),
            cell(b.brewed.and_then(|b| b.beverage_g)),
            cell(b.time_s),
            cell(b.brewed.map(|b| b.tds_pct)),
            cell(found.map(|e| e.yield_pct.value)),
            cell(found.map(|e| e.yield_pct.low)),
            cell(found.map(|e| e.yield_pct.high)),
            cell(found.and_then(|e| e.retained_ratio)),
        ]
    };
    let header = [
        "sample",
        "kind",
        "dose_g",
        "water_g",
        "beverage_g",
        "time_s",
        "tds_pct",
        "yield_pct",
        "yield_pct_low",
        "yield_pct_high",
        "retained_g_per_g",
    ];
    csv(&header, f.study.brews.iter().enumerate().map(row).collect())
}

fn tastings(f: &Findings) -> Result<Vec<u8>, ReportError> {
    let row = |((t, v), adjusted): ((&crate::study::file::Tasting, &TastingVerdict), &f64)| {
        let [a, b] = words::names(f, t.samples).map(str::to_owned);
        let (kind, counts, p, share, ends) = match (t.kind, v) {
            (TastingKind::Triangle(t, _), TastingVerdict::Triangle(v)) => (
                "triangle",
                [t.presented, t.correct],
                v.p,
                v.can_tell,
                [v.at_least, v.at_most].map(|e| Some(100.0 * e)),
            ),
            (TastingKind::Preference(p), TastingVerdict::Preference(v)) => {
                ("preference", [p.pairs, p.prefer_first], v.p, v.first, [None; 2])
            }
            _ => unreachable!("verdicts are made in the order of the tastings"),
        };
        let mut row = vec![
            a,
            b,
            kind.to_owned(),
            counts[0].to_string(),
            counts[1].to_string(),
            cell(Some(p)),
            cell(Some(*adjusted)),
        ];
        row.extend([share.value, share.low, share.high].map(|v| cell(Some(100.0 * v))));
        row.extend(ends.map(cell));
        row
    };
    let header = [
        "a",
        "b",
        "test",
        "tests",
        "answers",
        "p",
        "p_adjusted",
        "share_pct",
        "share_pct_low",
        "share_pct_high",
        "can_tell_at_least_pct",
        "can_tell_at_most_pct",
    ];
    csv(&header, f.study.tastings.iter().zip(&f.tastings).zip(&f.tastings_p).map(row).collect())
}
