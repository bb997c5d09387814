//! Studies: tastings, cups and wear against numbers from outside, and simulated.

mod cup;
mod tasting;
mod wear;
