//! What the page is told: values become text by the same rules as on the terminal.

use std::convert::Infallible;
use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use axum::response::sse::{Event, KeepAlive, Sse};
use futures_util::stream::{self, Stream};
use serde_json::{Value, json};

use super::store::{Bench, Tray};
use super::work::{App, Status, centre};
use crate::compare::Comparison;
use crate::pipeline::Measurement;
use crate::report::comparison::{self as comparison_report, alike_means, kind, notes, who};
use crate::report::format::{count, decimals, percent, significant};
use crate::report::sieve::{Sieved, agrees, balance, explanations, headline, warnings};
use crate::report::sieve_pair::layer;
use crate::report::verdict::{P_MEANS, sentences};
use crate::report::words::{self, Remark};
use crate::scale::coin_names;

/// All trays with their photos, and what was chosen.
pub(super) async fn state(State(app): State<Arc<App>>) -> Json<Value> {
    Json(state_of(&app))
}

/// The same again after every change.
pub(super) async fn events(State(app): State<Arc<App>>) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let mut changes = app.follow();
    changes.mark_changed();
    let told = stream::unfold((app, changes), |(app, mut changes)| async move {
        changes.changed().await.ok()?;
        changes.mark_unchanged();
        let event = Event::default().data(state_of(&app).to_string());
        Some((Ok(event), (app, changes)))
    });
    Sse::new(told).keep_alive(KeepAlive::default())
}

fn state_of(app: &App) -> Value {
    let bench = app.bench();
    let trays: Vec<Value> = bench
        .shown()
        .map(|tray| {
            json!({
                "id": tray.id,
                "name": tray.name,
                "scale": tray.scale,
                "weights": tray.weights,
                "photos": photos(app, &bench, tray),
                "answer": app.answer_key(&bench, tray),
            })
        })
        .collect();
    json!({
        "fines_um": bench.fines_um,
        "scale": bench.scale,
        "trays": trays,
        "coins": coin_names().collect::<Vec<_>>(),
        "folder": app.folder.path().display().to_string(),
        "phone": app.lan.as_ref().map(|keys| json!({ "address": keys.address().to_string(), "link": keys.link() })),
    })
}

fn photos(app: &App, bench: &Bench, tray: &Tray) -> Vec<Value> {
    let now = app.now();
    let told = tray.shown().map(|photo| {
        let mut told = json!({ "id": photo.id, "name": photo.name, "places": photo.places });
        let (status, more) = match app.status(bench, tray, photo) {
            Status::Places => ("places", Value::Null),
            Status::Waiting if now == photo.id => ("measuring", Value::Null),
            Status::Waiting => ("waiting", Value::Null),
            Status::Failed(failure) => {
                told["wants_scale"] = json!(failure.wants_scale);
                ("failed", json!(failure.why))
            }
            Status::Measured(m) => {
                // Only what is found again counts: after another scale a particle may be none any more.
                let out = m.photo.particles.iter().filter(|p| photo.left_out.contains(&centre(p))).count();
                told["serial"] = json!(m.serial);
                told["particles"] = json!(m.photo.particles.len() - out);
                told["left_out"] = json!(out);
                ("measured", Value::Null)
            }
        };
        told["status"] = json!(status);
        told["why"] = more;
        told
    });
    told.collect()
}

/// What a phone is told: trays and the photos in them, by name.
pub(super) async fn phone(State(app): State<Arc<App>>) -> Json<Value> {
    let bench = app.bench();
    let told = |tray: &Tray| {
        let photos = photos(&app, &bench, tray);
        let names: Vec<Value> =
            photos.iter().map(|p| json!({ "name": p["name"], "status": p["status"], "why": p["why"] })).collect();
        json!({ "id": tray.id, "name": tray.name, "photos": names })
    };
    Json(json!({ "trays": bench.shown().map(told).collect::<Vec<_>>() }))
}

/// What a tray comes to.
pub(super) fn result(app: &App, bench: &Bench, tray: &Tray) -> Value {
    match app.answer(bench, tray) {
        Err(why) => json!({ "error": why }),
        Ok(None) => json!({ "empty": true }),
        Ok(Some(m)) => {
            let out = tray.shown().map(|p| match app.status(bench, tray, p) {
                Status::Measured(s) => s.photo.particles.iter().filter(|q| p.left_out.contains(&centre(q))).count(),
                _ => 0,
            });
            answered(&m, out.sum())
        }
    }
}

fn answered(m: &Measurement, left_out: usize) -> Value {
    let particles: usize = m.photos.iter().map(|p| p.particles.len()).sum();
    let rows: Vec<Value> = words::rows(m)
        .into_iter()
        .map(|r| {
            json!({
                "name": r.name, "says": r.says, "value": r.mass, "interval": r.interval, "unit": r.unit,
                "number": (!r.number.is_empty()).then_some(r.number),
            })
        })
        .collect();
    let (advice, notes): (Vec<_>, Vec<_>) = words::remarks(m).into_iter().partition(|r| r.advice);
    let texts = |all: Vec<Remark>| all.into_iter().map(|r| r.text).collect::<Vec<_>>();
    json!({
        "rows": rows,
        "level": format!("{} %", percent(m.level)),
        "counted": format!("{}, {}", count(m.photos.len(), "photo"), count(particles, "whole particle")),
        "left_out": left_out,
        "advice": texts(advice),
        "notes": texts(notes),
        "by_number": words::BY_NUMBER,
        "scale": m.photos.iter().map(words::scaled).collect::<Vec<_>>(),
    })
}

/// A verdict with the figures behind it.
pub(super) fn comparison(c: &Comparison, fines_um: f64) -> Value {
    let rows: Vec<Value> = comparison_report::rows(c, fines_um)
        .into_iter()
        .map(|r| {
            json!({
                "name": r.name, "says": r.says, "values": r.values, "change": r.change,
                "interval": r.ends.join(" to "), "p": r.p, "said": r.said,
            })
        })
        .collect();
    json!({
        "verdict": kind(c.verdict),
        "text": sentences(c),
        "notes": notes(c, fines_um),
        "sides": c.sides.each_ref().map(who),
        "names": c.sides.each_ref().map(|s| s.name.as_str()),
        "level": format!("{} %", percent(c.level)),
        "means": [P_MEANS.to_owned(), format!("Alike: {}.", alike_means(c))],
        "rows": rows,
    })
}

/// Weighed layers beside predicted ones.
pub(super) fn sieve(s: &Sieved) -> Value {
    let rows: Vec<Value> = (0..s.stack.mass_g.len())
        .map(|i| {
            let (weighed, photo) = (s.stack.share[i], &s.predicted[i]);
            let places = decimals(photo.half_width()).clamp(1, 2);
            json!({
                "layer": layer(&s.stack, i),
                "mass": format!("{} g", significant(s.stack.mass_g[i], 4)),
                "weighed": format!("{:.1} %", weighed.pct),
                "allows": format!("{:.1} to {:.1} %", weighed.low_pct, weighed.high_pct),
                "photo": format!("{:.places$} %", photo.value),
                "interval": format!("{:.places$} to {:.places$} %", photo.low, photo.high),
            })
        })
        .collect();
    let notes: Vec<String> = balance(s).into_iter().chain(warnings(s)).chain(explanations(s)).collect();
    let kind = if agrees(s) { "alike" } else { "different" };
    json!({ "text": headline(s), "kind": kind, "rows": rows, "notes": notes })
}
