//! The local page: trays of photos, measured as the command line measures them. Holds no science.
//!
//! Three doors: this machine's own address; where asked for, its address in the network, behind which there is only what a
//! phone needs, and only with a key; nothing else. Names and numbers come from outside, paths never.

mod assets;
mod guard;
mod lan;
mod listen;
mod pairs;
mod photos;
mod reasons;
mod scale;
mod store;
mod tell;
mod trays;
mod upload;
mod work;

use std::net::IpAddr;
use std::path::PathBuf;

use axum::Json;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

pub use listen::serve;

/// What the server is asked to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Options {
    /// Port on this machine; 0 for any free one.
    pub port: u16,
    /// Folder in which photos and choices are kept.
    pub folder: PathBuf,
    /// Where phones of the network may send photos to.
    pub lan: Option<Lan>,
}

/// Address of this machine in the network.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lan {
    /// The one through which the network is reached.
    Found,
    /// This one.
    At(IpAddr),
}

/// Why the page cannot be served.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs, reason = "each variant is its message")]
pub enum WebError {
    #[error("{path}: cannot be used to keep photos in ({why}). Choose another with --folder")]
    Folder { path: String, why: String },
    #[error("{0}: another lightsieve serve is at work in this folder. Close it, or choose another with --folder")]
    InUse(String),
    #[error(
        "{path}: what was kept cannot be read ({why}). Put this file aside to begin anew; the photos are not touched"
    )]
    State { path: String, why: String },
    #[error("{address}: cannot be listened on ({why}). Choose another with {option}")]
    Listen { address: String, why: String, option: &'static str },
    #[error("this machine has no address in a network. Connect it, or give the address: --lan=192.168.1.20")]
    NoNetwork,
    #[error("the system cannot give the server what it needs ({0})")]
    System(std::io::Error),
    #[error(transparent)]
    Say(std::io::Error),
}

/// Why a request is not done: a status and a sentence that the page shows.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Refusal(StatusCode, String);

impl Refusal {
    fn missing(what: &str) -> Self {
        Refusal(StatusCode::NOT_FOUND, format!("There is no such {what}."))
    }

    fn wrong(why: impl Into<String>) -> Self {
        Refusal(StatusCode::UNPROCESSABLE_ENTITY, why.into())
    }

    fn forbidden(why: &str) -> Self {
        Refusal(StatusCode::FORBIDDEN, why.to_owned())
    }

    fn full(why: String) -> Self {
        Refusal(StatusCode::INSUFFICIENT_STORAGE, why)
    }

    fn broken(why: String) -> Self {
        Refusal(StatusCode::INTERNAL_SERVER_ERROR, why)
    }

    fn busy() -> Self {
        Refusal(StatusCode::SERVICE_UNAVAILABLE, "Too much is asked for at once. Try again in a moment.".to_owned())
    }
}

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        (self.0, Json(serde_json::json!({ "error": self.1 }))).into_response()
    }
}
