//! What is asked of one photo, and the phone's first call.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::http::header::{CONTENT_TYPE, SET_COOKIE};
use axum::response::{IntoResponse, Response};
use image::codecs::jpeg::JpegEncoder;
use image::{ImageEncoder, RgbImage};
use serde::Deserialize;
use serde_json::json;

use super::guard::COOKIE_NAME;
use super::scale::{Places, ScaleWish};
use super::store::MOST_LEFT_OUT;
use super::work::{App, Measured, Status, centre};
use super::{Refusal, reasons};
use crate::photo;
use crate::report::viewer;

/// Endings of the files of photos: the formats that are read.
pub(super) const KINDS: [&str; 5] = ["jpg", "png", "tiff", "webp", "heic"];
/// Longest side of the small pictures, px.
const SMALL: u32 = 320;

/// Ending for a file of this content, which was decoded before.
pub(super) fn kind(bytes: &[u8]) -> &'static str {
    match image::guess_format(bytes) {
        Ok(image::ImageFormat::Jpeg) => "jpg",
        Ok(image::ImageFormat::Png) => "png",
        Ok(image::ImageFormat::Tiff) => "tiff",
        Ok(image::ImageFormat::WebP) => "webp",
        _ => "heic",
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Change {
    removed: Option<bool>,
    places: Option<Places>,
    /// Brings back every particle that was left out.
    bring_back: Option<bool>,
}

/// Takes a photo away or brings it back, or sets the places that its scale is taken from.
pub(super) async fn change(
    State(app): State<Arc<App>>,
    Path(id): Path<u64>,
    Json(change): Json<Change>,
) -> Result<StatusCode, Refusal> {
    if let Some(places) = &change.places {
        ScaleWish::Places.settings(Some(places), 100.0).map_err(Refusal::wrong)?;
    }
    app.change(|bench| {
        let photo = bench.photo_mut(id)?;
        photo.removed = change.removed.unwrap_or(photo.removed);
        photo.places = change.places.or(photo.places);
        if change.bring_back == Some(true) {
            photo.left_out.clear();
        }
        Ok(StatusCode::NO_CONTENT)
    })
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Pick {
    id: usize,
    /// The measurement that the outlines came from.
    serial: u64,
    out: bool,
}

/// Leaves a particle out, or brings it back.
pub(super) async fn particle(
    State(app): State<Arc<App>>,
    Path(id): Path<u64>,
    Json(pick): Json<Pick>,
) -> Result<StatusCode, Refusal> {
    let measured = measured(&app, id)?;
    let particle = measured.photo.particles.get(pick.id).filter(|_| measured.serial == pick.serial);
    let at = centre(particle.ok_or_else(|| {
        Refusal(StatusCode::CONFLICT, "The photo was measured again meanwhile. Open it once more.".to_owned())
    })?);
    app.change(|bench| {
        let photo = bench.photo_mut(id)?;
        photo.left_out.retain(|p| *p != at);
        if pick.out {
            if photo.left_out.len() >= MOST_LEFT_OUT {
                return Err(Refusal::full(format!(
                    "At most {MOST_LEFT_OUT} particles of a photo can be left out by hand."
                )));
            }
            photo.left_out.push(at);
        }
        Ok(StatusCode::NO_CONTENT)
    })
}

fn measured(app: &App, id: u64) -> Result<Measured, Refusal> {
    let bench = app.bench();
    let (tray, photo) = bench.photo(id)?;
    match app.status(&bench, tray, photo) {
        Status::Measured(measured) => Ok(measured),
        Status::Failed(failure) => Err(Refusal::wrong(failure.why)),
        Status::Waiting | Status::Places => {
            Err(Refusal(StatusCode::CONFLICT, "The photo is not measured yet.".to_owned()))
        }
    }
}

/// The outlines, as the viewer takes them.
pub(super) async fn outlines(State(app): State<Arc<App>>, Path(id): Path<u64>) -> Result<Response, Refusal> {
    let measured = measured(&app, id)?;
    let left_out = app.bench().photo(id)?.1.left_out.clone();
    app.reckon(move |_| {
        let photo = &measured.photo;
        let outlines = viewer::outlines(photo, |i| left_out.contains(&centre(&photo.particles[i])));
        let [width, height] = photo.size_px;
        let um_per_px = photo.scale.typical();
        let serial = measured.serial;
        Ok(Json(json!({
            "width": width, "height": height, "um_per_px": um_per_px, "serial": serial, "particles": outlines,
        }))
        .into_response())
    })
    .await
}

/// The photo as a browser shows it.
pub(super) async fn picture(State(app): State<Arc<App>>, Path(id): Path<u64>) -> Result<Response, Refusal> {
    shown(app, id, None).await
}

/// A small copy.
pub(super) async fn small(State(app): State<Arc<App>>, Path(id): Path<u64>) -> Result<Response, Refusal> {
    if let Some(bytes) = app.small(id) {
        return Ok(([(CONTENT_TYPE, "image/jpeg")], bytes).into_response());
    }
    shown(app, id, Some(SMALL)).await
}

/// A JPEG goes out as it came in; anything else, and a copy with a longest side of `most` px, is made of the decoded picture.
async fn shown(app: Arc<App>, id: u64, most: Option<u32>) -> Result<Response, Refusal> {
    let file = app.folder.file_of(app.bench().photo(id)?.1);
    let turn = app.decoding.acquire().await.map_err(|_| Refusal::busy())?;
    let work = tokio::task::spawn_blocking(move || {
        let bytes = photo::read_bytes(&file).map_err(|e| reasons::photo(&e))?;
        if most.is_none() && kind(&bytes) == "jpg" {
            return Ok(bytes);
        }
        let picture = photo::decode_rgb(&bytes).map_err(|e| reasons::photo(&e))?;
        jpeg(&most.map_or(picture.clone(), |most| shrunk(&picture, most)))
    });
    let bytes = work.await.unwrap_or_else(|_| Err("The picture cannot be decoded.".to_owned()));
    drop(turn);
    let bytes = bytes.map_err(Refusal::broken)?;
    if most.is_some() {
        app.keep_small(id, bytes.clone());
    }
    Ok(([(CONTENT_TYPE, "image/jpeg")], bytes).into_response())
}

fn shrunk(picture: &RgbImage, most: u32) -> RgbImage {
    let by = (f64::from(most) / f64::from(picture.width().max(picture.height()))).min(1.0);
    let side = |px: u32| ((f64::from(px) * by).round() as u32).max(1);
    image::imageops::thumbnail(picture, side(picture.width()), side(picture.height()))
}

fn jpeg(picture: &RgbImage) -> Result<Vec<u8>, String> {
    let mut out = Vec::new();
    let encoder = JpegEncoder::new_with_quality(&mut out, 90);
    let written =
        encoder.write_image(picture.as_raw(), picture.width(), picture.height(), image::ExtendedColorType::Rgb8);
    written.map(|()| out).map_err(|e| e.to_string())
}

/// The code that lets the next phone in.
pub(super) async fn phone_code(State(app): State<Arc<App>>) -> Result<Response, Refusal> {
    let keys = app.lan.as_ref().ok_or_else(|| Refusal::missing("door for phones"))?;
    Ok(([(CONTENT_TYPE, "image/svg+xml")], keys.qr_svg()?).into_response())
}

#[derive(Deserialize)]
pub(super) struct Key {
    key: String,
}

/// Lets a phone in that has the key.
pub(super) async fn join(State(app): State<Arc<App>>, Json(key): Json<Key>) -> Result<Response, Refusal> {
    let keys = app.lan.as_ref().ok_or_else(|| Refusal::missing("door for phones"))?;
    let phone = keys.let_in(&key.key)?;
    // The page on the computer shows the next code.
    app.tell();
    let cookie = format!("{COOKIE_NAME}={phone}; Path=/; HttpOnly; SameSite=Strict; Max-Age=86400");
    Ok((StatusCode::NO_CONTENT, [(SET_COOKIE, cookie)]).into_response())
}
