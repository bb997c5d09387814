//! The pages and what they need, all in the binary.

use axum::extract::Path;
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};

use super::Refusal;
use crate::report::page::{Page, pdf};
use crate::report::viewer;
use crate::scale::sheet::Paper;

const HTML: &str = "text/html; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";
const STYLE: &str = "text/css; charset=utf-8";
const PICTURE: &str = "image/svg+xml";

/// Name, kind, content; those that a phone needs first.
const ASSETS: [(&str, &str, &str); 15] = [
    ("base.css", STYLE, include_str!("page/base.css")),
    ("phone.js", SCRIPT, include_str!("page/phone.js")),
    ("dom.js", SCRIPT, include_str!("page/dom.js")),
    ("net.js", SCRIPT, include_str!("page/net.js")),
    ("icon.svg", PICTURE, include_str!("page/icon.svg")),
    ("page.css", STYLE, include_str!("page/page.css")),
    ("app.js", SCRIPT, include_str!("page/app.js")),
    ("tray.js", SCRIPT, include_str!("page/tray.js")),
    ("result.js", SCRIPT, include_str!("page/result.js")),
    ("scale.js", SCRIPT, include_str!("page/scale.js")),
    ("look.js", SCRIPT, include_str!("page/look.js")),
    ("verdict.js", SCRIPT, include_str!("page/verdict.js")),
    ("sieve.js", SCRIPT, include_str!("page/sieve.js")),
    ("viewer.js", SCRIPT, viewer::SCRIPT),
    ("viewer.css", STYLE, viewer::STYLE),
];
const FOR_PHONES: usize = 5;

/// The page for a browser on this machine.
pub(super) async fn page() -> Response {
    ([(CONTENT_TYPE, HTML)], include_str!("page/index.html")).into_response()
}

/// The page for a phone.
pub(super) async fn phone_page() -> Response {
    ([(CONTENT_TYPE, HTML)], include_str!("page/phone.html")).into_response()
}

/// A script, style or picture by its name.
pub(super) async fn asset(Path(name): Path<String>) -> Result<Response, Refusal> {
    one_of(&ASSETS, &name)
}

/// The same for a phone.
pub(super) async fn phone_asset(Path(name): Path<String>) -> Result<Response, Refusal> {
    one_of(&ASSETS[..FOR_PHONES], &name)
}

fn one_of(assets: &[(&str, &'static str, &'static str)], name: &str) -> Result<Response, Refusal> {
    let found = assets.iter().find(|a| a.0 == name).ok_or_else(|| Refusal::missing("page"))?;
    Ok(([(CONTENT_TYPE, found.1)], found.2).into_response())
}

/// The scale sheet to print, as `lightsieve target` writes it.
pub(super) async fn sheet(Path(name): Path<String>) -> Result<Response, Refusal> {
    let paper = match name.as_str() {
        "scale-sheet-a4.pdf" => Paper::A4,
        "scale-sheet-letter.pdf" => Paper::Letter,
        _ => return Err(Refusal::missing("sheet")),
    };
    Ok(([(CONTENT_TYPE, "application/pdf")], pdf(&Page::scale_sheet(paper))).into_response())
}

/// Everything else.
pub(super) async fn nothing() -> (StatusCode, &'static str) {
    (StatusCode::NOT_FOUND, "There is no such page.")
}
