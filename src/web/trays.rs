//! What is asked of a tray: its name and scale, its answer, its files.

use std::sync::Arc;
use std::time::Duration;

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use serde_json::{Value, json};

use super::scale::ScaleWish;
use super::store::{Bench, Tray, Weights, clean};
use super::work::{App, Status, centre};
use super::{Refusal, reasons, tell, upload};
use crate::photo;
use crate::pipeline::Measurement;
use crate::report::json::HandExcluded;
use crate::report::{csv as particles_csv, html, json as report_json, plot};

/// The demo photos, drawn by `lightsieve render`, each with its tray's name and scale.
const DEMO: [(&str, &str, &[u8], Option<ScaleWish>); 2] = [
    ("Filter setting (demo)", "on-the-sheet.jpg", include_bytes!("../../demo-images/on-the-sheet.jpg"), None),
    (
        "Finer setting (demo)",
        "finer-grind.jpg",
        include_bytes!("../../demo-images/finer-grind.jpg"),
        Some(ScaleWish::Given { um_per_px: 16.0 }),
    ),
];
/// A file is asked for while photos are still measured: it waits so long for them.
const PATIENCE: Duration = Duration::from_secs(120);

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct New {
    #[serde(default)]
    name: String,
}

/// One tray more.
pub(super) async fn add(
    State(app): State<Arc<App>>,
    Json(new): Json<New>,
) -> Result<(StatusCode, Json<Value>), Refusal> {
    let id = app.change(|bench| bench.add_tray(&new.name))?;
    Ok((StatusCode::CREATED, Json(json!({ "id": id }))))
}

/// Two trays with demo photos.
pub(super) async fn demo(State(app): State<Arc<App>>) -> Result<StatusCode, Refusal> {
    for (tray, name, bytes, scale) in DEMO {
        let id = app.change(|bench| {
            bench.has_room()?;
            let id = bench.add_tray(tray)?;
            // The sheet is in the picture, whatever was chosen for all.
            bench.tray_mut(id)?.scale = Some(scale.unwrap_or_default());
            Ok(id)
        })?;
        upload::add_own(&app, id, name, bytes)?;
    }
    Ok(StatusCode::NO_CONTENT)
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Change {
    name: Option<String>,
    removed: Option<bool>,
    scale: Option<ScaleWish>,
    /// Takes the scale that is set for all.
    as_all: Option<bool>,
    weights: Option<Weights>,
    no_weights: Option<bool>,
}

/// Renames a tray, takes it away or brings it back, sets its scale or weights.
pub(super) async fn change(
    State(app): State<Arc<App>>,
    Path(id): Path<u64>,
    Json(change): Json<Change>,
) -> Result<StatusCode, Refusal> {
    if let Some(scale) = &change.scale {
        scale.settings(None, 100.0).map_err(Refusal::wrong)?;
    }
    if let Some(weights) = &change.weights {
        super::pairs::stack(weights)?;
    }
    app.change(|bench| {
        let tray = bench.tray_mut(id)?;
        if let Some(name) = change.name.as_deref().map(clean).filter(|n| !n.is_empty()) {
            tray.name = name;
        }
        tray.removed = change.removed.unwrap_or(tray.removed);
        if change.as_all == Some(true) {
            tray.scale = None;
        }
        tray.scale = change.scale.or_else(|| tray.scale.take());
        if change.no_weights == Some(true) {
            tray.weights = None;
        }
        tray.weights = change.weights.or_else(|| tray.weights.take());
        Ok(StatusCode::NO_CONTENT)
    })
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Common {
    fines_um: Option<f64>,
    scale: Option<ScaleWish>,
}

/// Sets what holds for all trays.
pub(super) async fn settings(State(app): State<Arc<App>>, Json(common): Json<Common>) -> Result<StatusCode, Refusal> {
    app.change(|bench| {
        bench.fines_um = common.fines_um.unwrap_or(bench.fines_um);
        bench.scale = common.scale.unwrap_or_else(|| bench.scale.clone());
        bench.scale.settings(None, bench.fines_um).map_err(Refusal::wrong)?;
        // A wish for two places says nothing of the limit until they are there.
        ScaleWish::default().settings(None, bench.fines_um).map_err(Refusal::wrong)?;
        Ok(StatusCode::NO_CONTENT)
    })
}

/// What may be asked otherwise than it is set: to see what it would change.
#[derive(Deserialize)]
pub(super) struct Otherwise {
    fines_um: Option<f64>,
    #[serde(default)]
    room: Room,
    /// On the axes that hold the curves of all trays, so that they can be compared by eye.
    #[serde(default)]
    shared: bool,
}

/// How much room a plot has on the page.
#[derive(Clone, Copy, Default, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum Room {
    #[default]
    Wide,
    Half,
    Narrow,
}

impl Room {
    /// Size of a plot that fills it.
    pub fn size(self) -> (u32, u32) {
        match self {
            Room::Wide => plot::WIDE,
            Room::Half => plot::HALF,
            Room::Narrow => plot::NARROW,
        }
    }
}

impl Otherwise {
    /// What is kept, with this limit of the fines.
    pub fn bench(&self, app: &App) -> Result<Bench, Refusal> {
        let mut bench = app.bench();
        if let Some(um) = self.fines_um {
            ScaleWish::default().settings(None, um).map_err(Refusal::wrong)?;
            bench.fines_um = um;
        }
        Ok(bench)
    }
}

/// What a tray comes to.
pub(super) async fn result(
    State(app): State<Arc<App>>,
    Path(id): Path<u64>,
    Query(otherwise): Query<Otherwise>,
) -> Result<Json<Value>, Refusal> {
    app.reckon(move |app| {
        let bench = otherwise.bench(app)?;
        Ok(Json(tell::result(app, &bench, bench.tray(id)?)))
    })
    .await
}

/// Its curve.
pub(super) async fn curve(
    State(app): State<Arc<App>>,
    Path(id): Path<u64>,
    Query(otherwise): Query<Otherwise>,
) -> Result<Response, Refusal> {
    app.reckon(move |app| {
        let bench = otherwise.bench(app)?;
        let tray = bench.tray(id)?;
        let answer = answer(app, &bench, tray)?;
        // On the page the name stands above.
        let title = if otherwise.shared { "" } else { tray.name.as_str() };
        let mut beside = Vec::new();
        if otherwise.shared {
            beside.extend(bench.shown().filter(|t| t.id != id).filter_map(|t| app.answer(&bench, t).ok()?));
        }
        let svg = plot::distribution_beside(&answer, &beside, title, plot::Kind::Svg, otherwise.room.size());
        Ok(file("image/svg+xml", &tray.name, "svg", svg.map_err(|e| Refusal::broken(e.to_string()))?))
    })
    .await
}

/// Its measurement as JSON: what `lightsieve measure --json` writes, with what was left out by hand.
pub(super) async fn json(State(app): State<Arc<App>>, Path(id): Path<u64>) -> Result<Response, Refusal> {
    settle(&app, id).await?;
    app.reckon(move |app| {
        let bench = app.bench();
        let tray = bench.tray(id)?;
        let answer = answer(app, &bench, tray)?;
        let text = report_json::measurement_without(&answer, &left_out(app, &bench, tray));
        Ok(file("application/json", &tray.name, "json", text))
    })
    .await
}

/// Its particles as CSV.
pub(super) async fn csv(State(app): State<Arc<App>>, Path(id): Path<u64>) -> Result<Response, Refusal> {
    settle(&app, id).await?;
    app.reckon(move |app| {
        let bench = app.bench();
        let tray = bench.tray(id)?;
        let text = particles_csv::particles(&answer(app, &bench, tray)?.photos);
        Ok(file("text/csv; charset=utf-8", &tray.name, "csv", text.map_err(|e| Refusal::broken(e.to_string()))?))
    })
    .await
}

/// The page to share, with the photos of the tray.
pub(super) async fn report(State(app): State<Arc<App>>, Path(id): Path<u64>) -> Result<Response, Refusal> {
    settle(&app, id).await?;
    let turn = app.decoding.acquire().await.map_err(|_| Refusal::busy())?;
    let made = app.reckon(move |app| {
        let bench = app.bench();
        let tray = bench.tray(id)?;
        let answer = answer(app, &bench, tray)?;
        let broken = |e: String| Refusal::broken(e);
        let mut pictures = Vec::new();
        for photo in tray.shown().filter(|p| matches!(app.status(&bench, tray, p), Status::Measured(_))) {
            let read = photo::read_bytes(&app.folder.file_of(photo)).and_then(|bytes| photo::decode_rgb(&bytes));
            let picture = read.map_err(|e| broken(reasons::photo(&e)))?;
            pictures.push(html::Picture::of(picture, answer.photos.len()).map_err(|e| broken(e.to_string()))?);
        }
        let page = html::measurement(&answer, &tray.name, &pictures, &left_out(app, &bench, tray));
        Ok(file("text/html; charset=utf-8", &tray.name, "html", page.map_err(|e| broken(e.to_string()))?))
    });
    let made = made.await;
    drop(turn);
    made
}

/// What the tray comes to, or why it comes to nothing.
pub(super) fn answer(app: &App, bench: &Bench, tray: &Tray) -> Result<Arc<Measurement>, Refusal> {
    let answer = app.answer(bench, tray).map_err(Refusal::wrong)?;
    answer.ok_or_else(|| Refusal(StatusCode::CONFLICT, format!("{}: no photo is measured yet.", tray.name)))
}

/// Waits until every photo of the tray is measured as the settings say.
async fn settle(app: &Arc<App>, id: u64) -> Result<(), Refusal> {
    let mut changes = app.follow();
    let settled = async {
        loop {
            let bench = app.bench();
            if app.is_settled(&bench, bench.tray(id)?) {
                return Ok(());
            }
            changes.changed().await.map_err(|_| Refusal::busy())?;
        }
    };
    tokio::time::timeout(PATIENCE, settled).await.unwrap_or_else(|_| Err(Refusal::busy()))
}

/// The particles left out by hand, as the JSON tells them.
fn left_out(app: &App, bench: &Bench, tray: &Tray) -> Vec<HandExcluded> {
    let mut all = Vec::new();
    for photo in tray.shown() {
        if let Status::Measured(measured) = app.status(bench, tray, photo) {
            let particles = measured.photo.particles.iter().filter(|p| photo.left_out.contains(&centre(p)));
            all.extend(particles.map(|p| HandExcluded {
                file: photo.name.clone(),
                x_px: p.x_px,
                y_px: p.y_px,
                ecd_um: p.ecd_um,
            }));
        }
    }
    all
}

/// A file to show or to keep, named after the sample.
pub(super) fn file(kind: &'static str, name: &str, ending: &str, content: Vec<u8>) -> Response {
    let safe = |c: char| if c.is_ascii_alphanumeric() || matches!(c, '-' | '_') { c } else { '-' };
    let name: String = name.chars().map(safe).collect();
    let disposition = format!("attachment; filename=\"{}.{ending}\"", name.trim_matches('-'));
    ([(CONTENT_TYPE, kind.to_owned()), (CONTENT_DISPOSITION, disposition)], content).into_response()
}
