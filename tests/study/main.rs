//! Studies: tastings, cups and wear against numbers from outside, and simulated.

mod bench;
mod broken;
mod cup;
mod tasting;
mod wear;
