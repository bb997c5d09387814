//! The printed sheet, a card and a coin in rendered photos taken by hand: tilted, bent, partly covered, in shadow.
//!
//! The renderer shares no code with the measuring. The large simulation behind `docs/accuracy.md` runs with
//! `cargo test --release --test sheet -- --ignored --nocapture`.

mod bench;
mod many;
mod objects;
mod print;
mod refused;
