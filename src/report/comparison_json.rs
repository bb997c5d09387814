//! A comparison as JSON.

use std::collections::BTreeMap;

use serde::Serialize;

use super::comparison::{kind, notes};
use super::verdict::sentences;
use crate::compare::{Comparison, Difference, SideOf};
use crate::numeric::Estimate;

/// Schema of [`json`].
pub const COMPARISON: &str = "lightsieve/comparison/1";

#[derive(Serialize)]
struct ComparisonV1 {
    schema: &'static str,
    confidence_pct: f64,
    fines_below_um: f64,
    samples: Vec<SampleV1>,
    #[serde(flatten)]
    first: PairV1,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    others: Vec<PairV1>,
}

#[derive(Serialize)]
struct SampleV1 {
    name: String,
    photos: usize,
    particles: usize,
    smallest_ecd_um: f64,
}

#[derive(Serialize)]
struct PairV1 {
    base: String,
    other: String,
    figures: BTreeMap<String, FigureV1>,
    verdict: VerdictV1,
    p_adjusted_by: &'static str,
    spread_to_spread: &'static str,
    notes: Vec<String>,
    curve: CurveV1,
}

#[derive(Serialize)]
struct FigureV1 {
    a: f64,
    b: f64,
    difference: f64,
    interval: [f64; 2],
    relative_pct: Option<f64>,
    relative_interval_pct: Option<[f64; 2]>,
    p: f64,
    p_adjusted: f64,
    smallest_detectable: f64,
    margin_pct: f64,
    alike: bool,
    equivalence_interval_pct: [f64; 2],
    photos_needed: usize,
    beyond_photos: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    explained_by_spread_pct: Option<f64>,
}

#[derive(Serialize)]
struct VerdictV1 {
    kind: &'static str,
    text: String,
    margin_pct: f64,
    clear: Vec<String>,
}

#[derive(Serialize)]
struct CurveV1 {
    size_um: Vec<f64>,
    a_finer_pct: Vec<f64>,
    b_finer_pct: Vec<f64>,
    difference_pct: Vec<f64>,
    difference_half_width_pct: Vec<Option<f64>>,
}

fn pair(c: &Comparison, fines_um: f64) -> PairV1 {
    let ends = |e: &Estimate| [e.low, e.high];
    let figure = |d: &Difference| FigureV1 {
        a: d.values[0],
        b: d.values[1],
        difference: d.difference.value,
        interval: ends(&d.difference),
        relative_pct: d.relative_pct.map(|e| e.value),
        relative_interval_pct: d.relative_pct.as_ref().map(ends),
        p: d.p,
        p_adjusted: d.p_adjusted,
        smallest_detectable: d.smallest_detectable,
        margin_pct: d.margin_pct,
        alike: d.alike,
        equivalence_interval_pct: ends(&d.equivalence_pct),
        photos_needed: d.photos_needed,
        beyond_photos: d.beyond_photos,
        explained_by_spread_pct: d.explained_by_spread,
    };
    PairV1 {
        base: c.sides[0].name.clone(),
        other: c.sides[1].name.clone(),
        figures: c.differences.iter().map(|d| (d.quantity.name(), figure(d))).collect(),
        verdict: VerdictV1 {
            kind: kind(c.verdict),
            text: sentences(c),
            margin_pct: c.differences.first().map_or(0.0, |d| d.margin_pct),
            clear: c.differences.iter().filter(|d| c.is_clear(d)).map(|d| d.quantity.name()).collect(),
        },
        p_adjusted_by: match (c.spread_unknown, c.exchanged) {
            (true, _) => "counting",
            (_, true) => "exchange",
            _ => "holm",
        },
        spread_to_spread: if c.spread_unknown { "unknown" } else { "included" },
        notes: notes(c, fines_um),
        curve: CurveV1 {
            size_um: c.curves.size_um.clone(),
            a_finer_pct: c.curves.finer_pct[0].clone(),
            b_finer_pct: c.curves.finer_pct[1].clone(),
            difference_pct: c.curves.difference_pct.clone(),
            difference_half_width_pct: c.curves.difference_half_pct.clone(),
        },
    }
}

/// The comparisons with one base as JSON; documented in `docs/json.md`. `all` holds at least one.
pub fn json(all: &[Comparison], fines_um: f64) -> Vec<u8> {
    let sample = |s: &SideOf| SampleV1 {
        name: s.name.clone(),
        photos: s.photos,
        particles: s.particles,
        smallest_ecd_um: s.smallest_ecd_um,
    };
    let document = ComparisonV1 {
        schema: COMPARISON,
        confidence_pct: 100.0 * all[0].level,
        fines_below_um: fines_um,
        samples: std::iter::once(&all[0].sides[0]).chain(all.iter().map(|c| &c.sides[1])).map(sample).collect(),
        first: pair(&all[0], fines_um),
        others: all[1..].iter().map(|c| pair(c, fines_um)).collect(),
    };
    super::json::text(&document)
}
