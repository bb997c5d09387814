//! The printed scale sheet: what lies where on it, and how it is found in a photo.

mod find;
mod layout;
mod mark;
mod round;

pub(super) use find::rectangle;
pub use find::{Sheet, SheetError, find_sheet};
pub use layout::{Bar, Frame, Mark, PRINTED_DISCS, Paper, Row, bars, frames};
