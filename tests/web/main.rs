//! The local page's server as programs and attackers meet it: the real binary, over real connections.
#![cfg(feature = "web")]

mod answers;
mod attacks;
mod kept;
mod phone;
mod server;
