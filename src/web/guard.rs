//! What every request must pass, and what every answer carries.

use std::sync::Arc;
use std::time::Duration;

use axum::extract::{Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, COOKIE, HOST, HeaderMap, HeaderName, HeaderValue, ORIGIN, REFERRER_POLICY,
    X_CONTENT_TYPE_OPTIONS, X_FRAME_OPTIONS,
};
use axum::http::{Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::Refusal;
use super::work::App;

/// Name of the cookie of a phone that was let in.
pub(super) const COOKIE_NAME: &str = "lightsieve-phone";

/// Nothing from elsewhere, nothing inline; pictures that the page makes itself are `blob:`.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; \
                      form-action 'none'; base-uri 'none'; frame-ancestors 'none'";

/// The addresses by which a door may be called.
#[derive(Clone, Debug)]
pub(super) struct Door {
    /// As the header Host names them.
    pub hosts: Arc<[String]>,
    /// True where a key is needed.
    pub is_lan: bool,
}

/// Refuses what comes by another name (a foreign page whose name was made to lead here), from another page, or through the
/// network without a key; and sets the headers of every answer.
pub(super) async fn guard(State((app, door)): State<(Arc<App>, Door)>, request: Request, next: Next) -> Response {
    let path = request.uri().path().to_owned();
    let limit = patience(&request);
    let mut response = match check(&app, &door, &request) {
        Ok(()) => tokio::time::timeout(limit, next.run(request)).await.unwrap_or_else(|_| {
            Refusal(StatusCode::REQUEST_TIMEOUT, "That took too long. Try again.".to_owned()).into_response()
        }),
        Err(refusal) => refusal.into_response(),
    };
    let headers = response.headers_mut();
    let mut set = |name: HeaderName, value: &'static str| {
        headers.insert(name, HeaderValue::from_static(value));
    };
    set(CONTENT_SECURITY_POLICY, POLICY);
    set(X_CONTENT_TYPE_OPTIONS, "nosniff");
    set(REFERRER_POLICY, "no-referrer");
    set(X_FRAME_OPTIONS, "DENY");
    set(HeaderName::from_static("cross-origin-resource-policy"), "same-origin");
    set(HeaderName::from_static("cross-origin-opener-policy"), "same-origin");
    set(CACHE_CONTROL, if path.starts_with("/api/") { "no-store" } else { "no-cache" });
    response
}

/// How long a request may take until its answer begins. A change is a few bytes that come at once; an upload has limits of
/// its own, within this one; a file may wait for photos to be measured.
fn patience(request: &Request) -> Duration {
    let is_upload = request.uri().path().ends_with("/photos");
    Duration::from_secs(match *request.method() {
        Method::POST if !is_upload => 15,
        _ => 300,
    })
}

fn check(app: &App, door: &Door, request: &Request) -> Result<(), Refusal> {
    let headers = request.headers();
    let host = text(headers, &HOST).filter(|h| door.hosts.iter().any(|own| own.eq_ignore_ascii_case(h)));
    let host = host
        .ok_or_else(|| Refusal(StatusCode::MISDIRECTED_REQUEST, "This server is not known by that name.".to_owned()))?;
    if !matches!(*request.method(), Method::GET | Method::HEAD)
        && text(headers, &ORIGIN).is_none_or(|o| !o.eq_ignore_ascii_case(&format!("http://{host}")))
    {
        return Err(Refusal::forbidden("Only this server's own page may change anything."));
    }
    let from = text(headers, &HeaderName::from_static("sec-fetch-site"));
    let path = request.uri().path();
    if path.starts_with("/api/") && from.is_some_and(|f| !matches!(f, "same-origin" | "none")) {
        return Err(Refusal::forbidden("Only this server's own page may ask for this."));
    }
    let needs_key = door.is_lan && path.starts_with("/api/") && path != "/api/join";
    if needs_key && !cookie(headers).is_some_and(|c| app.lan.as_ref().is_some_and(|keys| keys.knows(c))) {
        return Err(Refusal(StatusCode::UNAUTHORIZED, "Scan the code that the page on the computer shows.".to_owned()));
    }
    Ok(())
}

fn text<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Option<&'a str> {
    headers.get(name)?.to_str().ok()
}

/// What the phone carries.
fn cookie(headers: &HeaderMap) -> Option<&str> {
    let pairs = headers.get_all(COOKIE).iter().filter_map(|v| v.to_str().ok()).flat_map(|v| v.split(';'));
    pairs.filter_map(|pair| pair.trim().split_once('=')).find(|(name, _)| *name == COOKIE_NAME).map(|(_, value)| value)
}
