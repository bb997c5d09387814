#![doc = include_str!("../README.md")]
#![deny(missing_docs)]

pub mod numeric;
pub mod photo;
pub mod scale;
pub mod backdrop;
pub mod segment;
pub mod particle;
pub mod distribution;
pub mod report;
pub mod pipeline;
pub mod render;
pub mod cli;
