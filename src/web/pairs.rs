//! Trays held against each other, and against what a balance said.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use serde::Deserialize;
use serde_json::{Value, json};

use super::store::{Bench, Tray, Weights};
use super::trays::{Room, answer, file};
use super::work::App;
use super::{Refusal, reasons, tell};
use crate::compare::sieve::{Stack, Weighed, predicted};
use crate::compare::{Comparison, Grounds, Question, compare};
use crate::distribution::{Sample, SieveShape};
use crate::pipeline::{particles_of, scale_uncertainty};
use crate::report::sieve::{self as sieve_report, Sieved};
use crate::report::{comparison as comparison_report, comparison_plot as report_plot, html, plot, words};

/// Differences up to so much do not matter, as on the command line: all figures, and the share of fines.
const MARGINS: (f64, f64) = (0.05, 0.20);
const LEVEL: f64 = 0.95;
const SEED: u64 = 1;

#[derive(Deserialize)]
pub(super) struct Which {
    /// The tray with which the others are compared.
    base: u64,
    /// The one other that is shown; all where it is absent.
    other: Option<u64>,
    fines_um: Option<f64>,
    #[serde(default)]
    room: Room,
}

/// The comparisons of all trays that have an answer with one of them.
struct Compared {
    bench: Bench,
    /// The trays that stand against the base.
    others: Vec<u64>,
    found: Vec<Comparison>,
    /// What could be better about the photos.
    advice: Vec<String>,
}

impl Compared {
    fn of(app: &App, which: &Which) -> Result<Self, Refusal> {
        let mut bench = app.bench();
        bench.fines_um = which.fines_um.unwrap_or(bench.fines_um);
        let (base, mut advice) = grounds(app, &bench, bench.tray(which.base)?)?;
        let mut others: Vec<Grounds> = Vec::new();
        let mut ids = Vec::new();
        for tray in bench.shown().filter(|t| t.id != which.base && which.other.is_none_or(|o| o == t.id)) {
            // A tray without an answer is no reason to keep quiet about the rest.
            if let Ok((mut side, of_photos)) = grounds(app, &bench, tray) {
                advice.extend(of_photos);
                if side.name == base.name || others.iter().any(|o| o.name == side.name) {
                    side.name = format!("{} ({})", side.name, tray.id);
                }
                others.push(side);
                ids.push(tray.id);
            }
        }
        if others.is_empty() {
            return Err(Refusal::wrong("A comparison takes two samples with measured photos."));
        }
        let question = Question {
            level: LEVEL,
            fines_um: bench.fines_um,
            shares_above_um: Vec::new(),
            margin: MARGINS.0,
            fines_margin: MARGINS.1,
            seed: SEED,
        };
        let found =
            compare(&base, &others, &question).map_err(|e| Refusal::wrong(reasons::sentence(&e.to_string())))?;
        Ok(Compared { bench, others: ids, found, advice })
    }
}

/// The sample of a tray, and what could be better about its photos.
fn grounds(app: &App, bench: &Bench, tray: &Tray) -> Result<(Grounds, Vec<String>), Refusal> {
    let answer = answer(app, bench, tray)?;
    let wrong = |e: &dyn std::fmt::Display| Refusal::wrong(format!("{}: {e}", tray.name));
    let particles = particles_of(&answer.photos).map_err(|e| wrong(&e))?;
    let sample = Sample::new(particles).map_err(|e| wrong(&e))?;
    let grounds = Grounds { name: tray.name.clone(), sample, scale_uncertainty: scale_uncertainty(&answer.photos) };
    Ok((grounds, words::advice(&answer.photos)))
}

/// The verdicts, with the figures behind them.
pub(super) async fn comparison(
    State(app): State<Arc<App>>,
    Query(which): Query<Which>,
) -> Result<Json<Value>, Refusal> {
    app.reckon(move |app| {
        let Compared { bench, others, found, .. } = Compared::of(app, &which)?;
        let told = found.iter().zip(others).map(|(c, tray)| {
            let mut told = tell::comparison(c, bench.fines_um);
            told["tray"] = json!(tray);
            told
        });
        Ok(Json(json!({ "against": told.collect::<Vec<_>>() })))
    })
    .await
}

/// The curves of one pair.
pub(super) async fn comparison_plot(
    State(app): State<Arc<App>>,
    Query(which): Query<Which>,
) -> Result<Response, Refusal> {
    app.reckon(move |app| {
        let Compared { bench, found, .. } = Compared::of(app, &which)?;
        let width = which.room.size().0;
        let svg = report_plot::comparison_of_width(&found[0], bench.fines_um, plot::Kind::Svg, width);
        Ok(file("image/svg+xml", "comparison", "svg", svg.map_err(|e| Refusal::broken(e.to_string()))?))
    })
    .await
}

/// The page to keep and to share.
pub(super) async fn comparison_page(
    State(app): State<Arc<App>>,
    Query(which): Query<Which>,
) -> Result<Response, Refusal> {
    app.reckon(move |app| {
        let Compared { bench, found, advice, .. } = Compared::of(app, &which)?;
        let data = comparison_report::json(&found, bench.fines_um);
        let page =
            html::comparison(&found, bench.fines_um, &advice, &data).map_err(|e| Refusal::broken(e.to_string()))?;
        Ok(file("text/html; charset=utf-8", "comparison", "html", page))
    })
    .await
}

/// The same as JSON: what `lightsieve compare --json` writes.
pub(super) async fn comparison_json(
    State(app): State<Arc<App>>,
    Query(which): Query<Which>,
) -> Result<Response, Refusal> {
    app.reckon(move |app| {
        let Compared { bench, found, .. } = Compared::of(app, &which)?;
        Ok(file("application/json", "comparison", "json", comparison_report::json(&found, bench.fines_um)))
    })
    .await
}

/// The stack that these weights make.
pub(super) fn stack(weights: &Weights) -> Result<Stack, Refusal> {
    let weighed = Weighed {
        charge_g: weights.charge_g,
        retained: weights.retained.iter().map(|[aperture, mass]| (*aperture, *mass)).collect(),
        receiver_g: weights.receiver_g,
        step_g: weights.step_g,
    };
    if let Some([aperture, _]) = weights.retained.iter().find(|[um, _]| !(1.0..=100_000.0).contains(um)) {
        return Err(Refusal::wrong(format!("An aperture of {aperture} µm is no sieve. Expected 1 to 100000.")));
    }
    weighed.stack().map_err(|e| Refusal::wrong(reasons::sentence(&e.to_string())))
}

fn sieved(app: &App, id: u64) -> Result<Sieved, Refusal> {
    let bench = app.bench();
    let tray = bench.tray(id)?;
    let stack = stack(tray.weights.as_ref().ok_or_else(|| Refusal::missing("set of weights"))?)?;
    let (grounds, _) = grounds(app, &bench, tray)?;
    let shape = SieveShape::default();
    Ok(Sieved {
        name: grounds.name.clone(),
        counted: [grounds.sample.photos().len(), grounds.sample.count()],
        predicted: predicted(&grounds.sample, &stack.apertures_um, &shape, LEVEL),
        shape,
        fitted: None,
        stack,
    })
}

/// The weighed layers beside those that the photos predict.
pub(super) async fn sieve(State(app): State<Arc<App>>, Path(id): Path<u64>) -> Result<Json<Value>, Refusal> {
    app.reckon(move |app| Ok(Json(tell::sieve(&sieved(app, id)?)))).await
}

#[derive(Deserialize)]
pub(super) struct Shown {
    #[serde(default)]
    room: Room,
}

/// The same as a picture.
pub(super) async fn sieve_plot(
    State(app): State<Arc<App>>,
    Path(id): Path<u64>,
    Query(shown): Query<Shown>,
) -> Result<Response, Refusal> {
    app.reckon(move |app| {
        let svg = sieve_report::plot_of_size(&sieved(app, id)?, plot::Kind::Svg, shown.room.size());
        Ok(file("image/svg+xml", "sieve", "svg", svg.map_err(|e| Refusal::broken(e.to_string()))?))
    })
    .await
}
