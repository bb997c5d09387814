//! Two sieved samples: what the weights alone can tell, and what the photos add.

use std::fmt::Write;

use serde::Serialize;

use super::comparison::{signed, wrapped};
use super::format::{count, decimals, percent, significant};
use crate::compare::sieve::{LayerDifference, Stack};
use crate::numeric::Estimate;

/// Schema of [`json`].
pub const SIEVE_PAIR: &str = "lightsieve/sieve-pair/1";

/// Two samples sieved and photographed.
pub struct SievedPair {
    /// Names of base and other.
    pub names: [String; 2],
    /// Photos of each.
    pub photos: [usize; 2],
    /// Weights of each.
    pub stacks: [Stack; 2],
    /// Other less base for each layer, receiver last.
    pub layers: Vec<LayerDifference>,
    /// Confidence with which all intervals of the photos hold together, 0..1.
    pub level: f64,
}

/// Name of layer `i` of a stack.
pub fn layer(stack: &Stack, i: usize) -> String {
    match stack.apertures_um.get(i) {
        Some(um) => format!("on {} µm", significant(*um, 3)),
        None => "receiver".to_owned(),
    }
}

/// "1.0 to 2.1 % more on 710 µm" for the layers of which that can be said.
fn told(p: &SievedPair, of: impl Fn(&LayerDifference) -> (f64, f64)) -> Vec<String> {
    let said = |(i, d): (usize, &LayerDifference)| {
        let (low, high) = of(d);
        let (word, low, high) = if high < 0.0 { ("less", -high, -low) } else { ("more", low, high) };
        let place =
            if i < p.stacks[0].apertures_um.len() { layer(&p.stacks[0], i) } else { "in the receiver".to_owned() };
        (low > 0.0).then(|| format!("{low:.1} to {high:.1} % of the mass {word} {place}"))
    };
    p.layers.iter().enumerate().filter_map(said).collect()
}

/// The layers of which weights and photos cannot both be right.
fn contradicted(p: &SievedPair) -> Vec<String> {
    let said = |(i, d): (usize, &LayerDifference)| {
        let between = |low: f64, high: f64| format!("{} to {} %", signed(low, 1), signed(high, 1));
        let (w, by_photos) = (d.weighed, between(d.photos.low, d.photos.high));
        format!(
            "{}, {} by weight and {by_photos} by the photos",
            layer(&p.stacks[0], i),
            between(w.low_pct, w.high_pct)
        )
    };
    p.layers.iter().enumerate().filter(|(_, d)| d.weighed.apart_from(&d.photos) > 0.0).map(said).collect()
}

/// What can be said, in sentences.
pub(super) fn sentences(p: &SievedPair) -> String {
    let [base, other] = &p.names;
    let weighed = told(p, |d| (d.weighed.low_pct, d.weighed.high_pct));
    let photos = told(p, |d| (d.photos.low, d.photos.high));
    let mut out = if weighed.is_empty() {
        let most = p.layers.iter().map(|d| d.weighed.low_pct.abs().max(d.weighed.high_pct.abs())).fold(0.0, f64::max);
        format!(
            "The weights alone tell no layer apart: what {other} and {base} differ by, {most:.1} % of the mass at most, may all come from \
             the rounding of the balance (steps of {} g).",
            significant(p.stacks[0].step_g.max(p.stacks[1].step_g), 2)
        )
    } else {
        format!("By weight {other} holds {} than {base}.", weighed.join(", "))
    };
    if photos.is_empty() {
        out += " The photos tell no layer apart.";
    } else {
        let _ = write!(out, " By the photos it holds {}.", photos.join(", "));
    }
    let against = contradicted(p);
    if !against.is_empty() {
        let _ = write!(out, " Weights and photos contradict each other: {}.", against.join("; "));
        out += " Check that both are of the same grounds, and that the charge was weighed right.";
    }
    out
}

/// What must be heeded.
pub(super) fn notes(p: &SievedPair) -> Vec<String> {
    let mut notes = vec![
        "Each stack was weighed once: how much two sievings of the same grounds differ is not in these bounds."
            .to_owned(),
    ];
    if p.photos == [1, 1] {
        notes.push(
            "One photo a side: its intervals cover the count of particles, not how much spreads differ.".to_owned(),
        );
    }
    notes.extend((0..2).filter(|&i| p.stacks[i].loses_too_much()).map(|i| {
        format!(
            "{}: more than 1 % was lost. Brush the meshes out and weigh again; what sticks there is mostly fines.",
            p.names[i]
        )
    }));
    notes
}

/// Cells of each layer.
pub(super) fn rows(p: &SievedPair) -> Vec<[String; 5]> {
    let row = |(i, d): (usize, &LayerDifference)| {
        let places = decimals(d.photos.half_width()).clamp(1, 2);
        let s = |v: f64, places: usize| signed(v, places);
        let between = |value: f64, low: f64, high: f64, places| {
            format!("{} % ({} … {})", s(value, places), s(low, places), s(high, places))
        };
        let w = d.weighed;
        [
            layer(&p.stacks[0], i),
            format!("{:.1} %", p.stacks[0].share[i].pct),
            format!("{:.1} %", p.stacks[1].share[i].pct),
            between(w.pct, w.low_pct, w.high_pct, 1),
            between(d.photos.value, d.photos.low, d.photos.high, places),
        ]
    };
    p.layers.iter().enumerate().map(row).collect()
}

/// The two samples as a text for people.
pub fn table(p: &SievedPair) -> String {
    let mut out = format!("{}\n\n", wrapped(&sentences(p), 100));
    let head = [
        "layer".to_owned(),
        p.names[0].clone(),
        p.names[1].clone(),
        "weighed (rounding allows)".to_owned(),
        format!("photos ({} %, all layers)", percent(p.level)),
    ];
    for row in std::iter::once(head).chain(rows(p)) {
        let _ = writeln!(out, "  {:<14}{:>12}{:>12}{:>28}{:>28}", row[0], row[1], row[2], row[3], row[4]);
    }
    let _ = writeln!(out, "\n  {} and {}.", count(p.photos[0], "photo"), count(p.photos[1], "photo"));
    for note in notes(p) {
        let _ = writeln!(out, "  ! {note}");
    }
    out
}

#[derive(Serialize)]
struct SievePairV1<'a> {
    schema: &'static str,
    samples: &'a [String; 2],
    photos: [usize; 2],
    confidence_pct: f64,
    layers: Vec<LayerV1>,
    text: String,
    notes: Vec<String>,
}

#[derive(Serialize)]
struct LayerV1 {
    /// Absent for the receiver.
    #[serde(skip_serializing_if = "Option::is_none")]
    aperture_um: Option<f64>,
    a_weighed_pct: f64,
    b_weighed_pct: f64,
    weighed_difference_pct: f64,
    weighed_bounds_pct: [f64; 2],
    photo_difference_pct: f64,
    photo_interval_pct: [f64; 2],
}

/// The two samples as JSON; documented in `docs/json.md`.
pub fn json(p: &SievedPair) -> Vec<u8> {
    let ends = |e: &Estimate| [e.low, e.high];
    let layer = |(i, d): (usize, &LayerDifference)| LayerV1 {
        aperture_um: p.stacks[0].apertures_um.get(i).copied(),
        a_weighed_pct: p.stacks[0].share[i].pct,
        b_weighed_pct: p.stacks[1].share[i].pct,
        weighed_difference_pct: d.weighed.pct,
        weighed_bounds_pct: [d.weighed.low_pct, d.weighed.high_pct],
        photo_difference_pct: d.photos.value,
        photo_interval_pct: ends(&d.photos),
    };
    super::json::text(&SievePairV1 {
        schema: SIEVE_PAIR,
        samples: &p.names,
        photos: p.photos,
        confidence_pct: 100.0 * p.level,
        layers: p.layers.iter().enumerate().map(layer).collect(),
        text: sentences(p),
        notes: notes(p),
    })
}
