//! A photo comes in: counted, timed, decoded, and only then kept.

use std::io::{Cursor, Write};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use axum::Json;
use axum::body::Body;
use axum::extract::{Path, Query, State};
use axum::http::header::CONTENT_LENGTH;
use axum::http::{HeaderMap, StatusCode};
use futures_util::StreamExt;
use image::{ImageDecoder, ImageReader};
use serde::Deserialize;
use serde_json::{Value, json};
use tempfile::NamedTempFile;
use tokio::time::{Instant, timeout, timeout_at};

use super::photos::kind;
use super::store::{TEMPORARY, own_name};
use super::work::App;
use super::{Refusal, photos, reasons};
use crate::photo::{self, Photo};

/// Largest photo taken, bytes: far above what a phone makes.
const MOST_BYTES: u64 = 80 << 20;
/// Largest picture taken once it is unpacked, bytes: 200 megapixels in 8-bit colour.
const MOST_UNPACKED: u64 = 600_000_000;
/// Nothing may come for so long.
const PAUSE: Duration = Duration::from_secs(15);
/// A whole photo must have come by then.
const WHOLE: Duration = Duration::from_secs(180);
/// An upload waits so long for its turn.
const TURN: Duration = Duration::from_secs(60);

#[derive(Deserialize)]
pub(super) struct Named {
    #[serde(default)]
    name: String,
    /// The tray is made where it is not there yet: a new sample and its first photo come in one request.
    #[serde(default)]
    new: bool,
}

/// Takes a photo into a tray. The body is the file.
pub(super) async fn photo(
    State(app): State<Arc<App>>,
    Path(tray): Path<u64>,
    Query(named): Query<Named>,
    headers: HeaderMap,
    body: Body,
) -> Result<(StatusCode, Json<Value>), Refusal> {
    // Only a new tray is a change that must be written.
    if named.new && app.bench().tray(tray).is_err() {
        app.change(|bench| bench.has_room().and_then(|()| bench.add_tray_as(tray)))?;
    }
    let claimed = headers.get(CONTENT_LENGTH).and_then(|v| v.to_str().ok()?.parse::<u64>().ok());
    if claimed.is_some_and(|bytes| bytes > MOST_BYTES) {
        return Err(too_large());
    }
    let bench = app.bench();
    bench.tray(tray)?;
    bench.has_room()?;
    let turn = timeout(TURN, app.uploads.acquire()).await.map_err(|_| Refusal::busy())?.map_err(|_| Refusal::busy())?;
    let file = receive(app.folder.photos(), body).await?;
    let app = app.clone();
    let id = keep(&app, tray, &named.name, file).await?;
    drop(turn);
    Ok((StatusCode::CREATED, Json(json!({ "id": id }))))
}

/// Writes what comes to a temporary file.
async fn receive(folder: PathBuf, body: Body) -> Result<NamedTempFile, Refusal> {
    let broken = |e: std::io::Error| Refusal::broken(format!("The photo cannot be kept: {}.", e.kind()));
    let mut file = tempfile::Builder::new().prefix(TEMPORARY).tempfile_in(folder).map_err(broken)?;
    let slow = |_| Refusal(StatusCode::REQUEST_TIMEOUT, "The photo came too slowly. Send it again.".to_owned());
    let end = Instant::now() + WHOLE;
    let mut parts = body.into_data_stream();
    let mut bytes = 0;
    while let Some(part) = timeout_at(end.min(Instant::now() + PAUSE), parts.next()).await.map_err(slow)? {
        let part = part.map_err(|_| Refusal::wrong("The photo broke off on its way. Send it again."))?;
        bytes += part.len() as u64;
        if bytes > MOST_BYTES {
            return Err(too_large());
        }
        file.write_all(&part).map_err(broken)?;
    }
    Ok(file)
}

/// Keeps a file that decodes as a photo.
async fn keep(app: &Arc<App>, tray: u64, name: &str, file: NamedTempFile) -> Result<u64, Refusal> {
    let turn = app.decoding.acquire().await.map_err(|_| Refusal::busy())?;
    let checked = tokio::task::spawn_blocking(move || {
        let bytes = photo::read_bytes(file.path()).map_err(|e| reasons::photo(&e))?;
        check_claim(&bytes)?;
        let decoded = photo::decode(&bytes).map_err(|e| reasons::photo(&e))?;
        Ok::<_, String>((file, kind(&bytes), decoded))
    });
    let checked = checked.await.unwrap_or_else(|_| Err("The picture cannot be decoded. Save it as JPEG.".to_owned()));
    drop(turn);
    let (file, kind, decoded) = checked.map_err(Refusal::wrong)?;
    add(app, tray, name, file, kind, Some(decoded))
}

/// Refuses a picture that would take too much room once it is unpacked, by what its header claims. What has no readable
/// header is left for the decoder to say so; so are JPEGs, of which only the luminance is unpacked, 200 megapixels at most.
fn check_claim(bytes: &[u8]) -> Result<(), String> {
    if kind(bytes) == "jpg" {
        return Ok(());
    }
    let reader = ImageReader::new(Cursor::new(bytes)).with_guessed_format().map_err(|e| reasons::photo(&e.into()))?;
    let Ok(decoder) = reader.into_decoder() else { return Ok(()) };
    if decoder.total_bytes() <= MOST_UNPACKED {
        return Ok(());
    }
    let (w, h) = decoder.dimensions();
    Err(format!("The picture claims {w} × {h} px, which is more than this page takes. Save it as a smaller JPEG."))
}

/// Puts a file that was checked in its place, and into its tray.
fn add(
    app: &App,
    tray: u64,
    name: &str,
    file: NamedTempFile,
    kind: &'static str,
    decoded: Option<Photo>,
) -> Result<u64, Refusal> {
    app.change(|bench| {
        bench.has_room()?;
        let id = bench.number();
        let target = bench.tray_mut(tray)?;
        let others: Vec<PathBuf> = target.shown().map(|p| app.folder.file_of(p)).collect();
        if let Some(copy) = photo::copy_among(file.path(), &others) {
            let at = others.iter().position(|o| o == copy).and_then(|i| target.shown().nth(i));
            let of = at.map(|p| p.name.clone()).unwrap_or_default();
            return Err(Refusal::wrong(format!(
                "This is the same photo as {of}. Counted twice, it would make the result look surer than it is."
            )));
        }
        let own = own_name(id, kind);
        let place = app.folder.photos().join(&own);
        let broken =
            |e: tempfile::PersistError| Refusal::broken(format!("The photo cannot be kept: {}.", e.error.kind()));
        file.persist_noclobber(place).map_err(broken)?;
        let name = target.free_name(name);
        target.add(id, name, own);
        if let Some(decoded) = decoded {
            app.hand_over(id, decoded);
        }
        Ok(id)
    })
}

/// Keeps a photo that this program carries itself.
pub(super) fn add_own(app: &App, tray: u64, name: &str, bytes: &[u8]) -> Result<u64, Refusal> {
    let broken = |e: std::io::Error| Refusal::broken(format!("The photo cannot be kept: {}.", e.kind()));
    let mut file = tempfile::Builder::new().prefix(TEMPORARY).tempfile_in(app.folder.photos()).map_err(broken)?;
    file.write_all(bytes).map_err(broken)?;
    add(app, tray, name, file, photos::kind(bytes), None)
}

fn too_large() -> Refusal {
    Refusal(
        StatusCode::PAYLOAD_TOO_LARGE,
        format!("The file is larger than {} MB. Save the photo as JPEG.", MOST_BYTES >> 20),
    )
}
