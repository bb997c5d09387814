//! Stage 8: values become files and a table. Nothing is computed here but the way things look.

mod axes;
pub mod calibration;
pub mod comparison;
mod comparison_json;
pub mod comparison_plot;
pub mod csv;
pub mod dial;
pub mod dial_plot;
mod drawn;
mod font;
pub mod format;
pub mod html;
pub mod json;
pub mod measured;
pub mod overlay;
pub mod page;
pub mod plan;
pub mod plot;
pub mod sieve;
pub mod sieve_pair;
mod sieve_plot;
pub mod study;
pub mod terminal;
pub mod verdict;
pub mod viewer;
pub mod words;
pub mod write;

/// Why an output could not be made.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs, reason = "each variant is its message")]
pub enum ReportError {
    #[error(
        "{path}: cannot be written ({why}). Choose a place with room, in a folder that exists and is yours to write in"
    )]
    Write { path: String, why: String },
    #[error("{0}: this is a folder, and a file name is expected. Add a name for the file")]
    Folder(String),
    #[error("{path}: unknown kind of file; {wanted}")]
    Kind { path: String, wanted: &'static str },
    #[error("{0}")]
    Measured(String),
    #[error("the picture could not be drawn: {0}")]
    Draw(String),
}
