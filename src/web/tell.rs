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
use crate::compare::{Comparison, Quantity};
use crate::distribution::Figures;
use crate::pipeline::{MeasuredPhoto, Measurement};
use crate::report::comparison::{changed, kind, notes, p_text, said, signed, who};
use crate::report::format::{count, decimals, interval, percent, significant, value};
use crate::report::sieve::{Sieved, balance, warnings};
use crate::report::sieve_pair::layer;
use crate::report::verdict::{label, sentences};
use crate::report::words::origin;
use crate::scale::{Source, coin_names};
use crate::segment::Rejection;

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
    let rows: Vec<Value> = m
        .by_mass
        .iter()
        .zip(m.by_number.to_array())
        .enumerate()
        .map(|(i, (e, number))| {
            let at_least = m.fines_at_least && i == Figures::FINES;
            json!({
                "name": label(Quantity::Figure(i), m.fines_um),
                "value": format!("{}{}", if at_least { "≥ " } else { "" }, value(e)),
                "interval": interval(e),
                "unit": Quantity::Figure(i).unit(),
                // The two means are the same by their definition, whatever the basis.
                "number": (i < 5).then(|| significant(number, 2)),
            })
        })
        .collect();
    let advice: Vec<Value> = m
        .photos
        .iter()
        .flat_map(|p| p.checks.iter().filter(|c| c.fires()).map(move |c| (p, c)))
        .map(|(p, c)| json!({ "photo": p.path.display().to_string(), "sentence": c.sentence }))
        .collect();
    json!({
        "rows": rows,
        "level": format!("{} %", percent(m.level)),
        "counted": format!("{}, {}", count(m.photos.len(), "photo"), count(particles, "whole particle")),
        "left_out": left_out,
        "advice": advice,
        "notes": result_notes(m),
        "scale": m.photos.iter().map(scale).collect::<Vec<_>>(),
    })
}

/// What the figures rest on.
fn result_notes(m: &Measurement) -> Vec<String> {
    let mut notes = vec![format!(
        "Reliable from {} µm up: smaller particles are partly missed.",
        significant(m.smallest_ecd_um, 2)
    )];
    if m.fines_at_least {
        notes.push(format!(
            "The share of fines is at least that given: the photo does not show all particles below {} µm.",
            significant(m.fines_um, 3)
        ));
    }
    let rejected = |why| m.photos.iter().flat_map(|p| &p.rejected).filter(|(_, r)| *r == why).count();
    let mut left_out = vec![format!("{} that the frame cuts", count(rejected(Rejection::CutByFrame), "particle"))];
    for (n, what) in [
        (rejected(Rejection::OffPaper), count(rejected(Rejection::OffPaper), "dark area") + " off the paper"),
        (rejected(Rejection::TooLarge), count(rejected(Rejection::TooLarge), "object") + " wider than 10 mm"),
    ] {
        if n > 0 {
            left_out.push(what);
        }
    }
    notes.push(format!("Left out: {}.", left_out.join(", ")));
    let scale = &m.photos[0].scale;
    if let Some(part) = scale.main_part().filter(|_| scale.relative_uncertainty() > 0.0) {
        notes.push(format!(
            "Scale known to ± {} % (95 %); most of it: {}.",
            significant(196.0 * scale.relative_uncertainty(), 2),
            part.name
        ));
    }
    notes.push("Mass is taken as the cube of the diameter: constant shape and density are assumed.".to_owned());
    if m.photos.len() == 1 {
        notes.push(
            "One photo: the intervals do not cover how much spreads of the same grounds differ. Photograph two more spreads."
                .to_owned(),
        );
    }
    notes
}

fn scale(photo: &MeasuredPhoto) -> String {
    let from = match photo.scale.from() {
        // As the page calls them.
        Source::Points => "from two places".to_owned(),
        _ => origin(&photo.scale),
    };
    format!("{}: {} µm per pixel ({from})", photo.path.display(), significant(photo.scale.typical(), 4))
}

/// A verdict with the figures behind it.
pub(super) fn comparison(c: &Comparison, fines_um: f64) -> Value {
    let rows: Vec<Value> = c
        .differences
        .iter()
        .map(|d| {
            let places = decimals(d.difference.half_width());
            let unit = d.quantity.unit();
            let (e, sign) = changed(d);
            let shown = decimals(e.half_width());
            json!({
                "name": label(d.quantity, fines_um),
                "values": d.values.map(|v| format!("{v:.places$} {unit}")),
                "change": format!("{}{sign}", signed(e.value, shown)),
                "interval": format!("{} to {}", signed(e.low, shown), signed(e.high, shown)),
                "p": p_text(d.p_adjusted),
                "said": said(c, d),
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
    let mut notes: Vec<String> = balance(s).into_iter().chain(warnings(s)).collect();
    notes.push(
        "A particle passes a mesh by its narrower side; the photo shows two sides of three, and mass is taken as the cube of \
         the diameter."
            .into(),
    );
    json!({ "rows": rows, "notes": notes })
}
