#![doc = include_str!("../README.md")]
#![deny(missing_docs)]

pub mod advice;
pub mod backdrop;
pub mod cli;
pub mod compare;
pub mod distribution;
pub mod numeric;
pub mod particle;
pub mod photo;
pub mod pipeline;
pub mod render;
pub mod report;
pub mod scale;
pub mod segment;
pub mod study;
#[cfg(feature = "web")]
pub mod web;

/// Stands in the comment of every picture that the tool draws as PNG, so that none is taken for a photo of grounds.
const DRAWN_MARK: &str = "drawn by lightsieve";
