//! A whole investigation: grinds, kilograms, sieves, brews and tastings held in one file, and what they say together.

pub mod cup;
pub mod serving;
pub mod tasting;
pub mod wear;
