//! A whole investigation: grinds, kilograms, sieves, brews and tastings held in one file, and what they say together.

pub mod brew_time;
pub mod cup;
mod dialled;
pub mod file;
pub mod findings;
pub mod grind;
pub mod matched;
pub mod series;
pub mod serving;
pub mod tasting;
pub mod wear;
