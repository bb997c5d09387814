//! lightsieve
pub mod backdrop;
pub mod distribution;
pub mod numeric;
pub mod particle;
pub mod photo;
pub mod render;
pub mod scale;
pub mod pipeline;
pub mod segment;
