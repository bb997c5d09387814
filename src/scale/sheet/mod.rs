//! The printed scale sheet: what lies where on it, and how it is found in a photo.

mod faint;
mod find;
mod layout;
mod mark;
mod round;

pub use faint::Faint;
pub use find::{Sheet, SheetError, find_sheet, find_sheet_or_why};
pub(super) use find::{grid, rectangle};
pub use layout::{Bar, DISC_FRAME, Frame, Mark, PRINTED_DISCS, Paper, Row, bars, frames};
pub use mark::looks_like_mark;
