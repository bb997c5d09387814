//! A study as one page, as JSON, as tables, and on the terminal.

mod answer;
mod cups;
mod dots;
mod json;
mod page;
mod sections;
pub mod serving;
mod summary;
mod tables;
mod wear_plot;
mod words;

pub use json::{STUDY, json};
pub use page::page;
pub use summary::summary;
pub use tables::{TABLES, tables};
