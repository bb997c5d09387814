//! Parse, run, exit code.

use std::process::ExitCode;

fn main() -> ExitCode {
    lightsieve::cli::run(std::env::args_os())
}
