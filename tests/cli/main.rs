//! The program as its users meet it: every test runs the real binary in a fresh folder.

mod batch;
mod compare;
mod dial;
mod formats;
mod good;
mod options;
mod outputs;
mod photos;
mod pictures;
mod refusals;
mod render;
mod scale;
mod study;
mod support;
