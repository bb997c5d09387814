//! The command line: options become [`Settings`](crate::pipeline::Settings), results become files. No science.

mod batch;
mod calibrate;
mod compare;
mod dial;
mod measure;
mod options;
mod plan;
mod render;
mod samples;
#[cfg(feature = "web")]
mod serve;
mod sieve;
mod study;
mod target;

use std::ffi::OsString;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::anyhow;
use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};

use crate::report::write::{reason, same_place};

#[derive(Parser)]
#[command(
    name = "lightsieve",
    version,
    about = "Measures ground coffee in photos: from grounds on white paper to a particle size distribution by mass",
    after_help = "A first try:  lightsieve measure demo-images/on-the-sheet.jpg --overlay seen.png\n\
                  Exit status: 0 all done; 1 some input failed (the message says which and why); 2 wrong usage."
)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Measure one sample from one or several photos of the same grounds
    Measure(measure::Args),
    /// Measure every photo in a folder: a sub-folder is one sample, a photo outside of sub-folders is one sample
    Batch(batch::Args),
    /// Compare samples: what differs, by how much, and how sure that is
    Compare(compare::Args),
    /// Compare sets of burrs at the same median, over several settings of the dial
    Dial(dial::Args),
    /// Hold weighed sieve layers against what photos of the same grounds predict
    Sieve(sieve::Args),
    /// A whole investigation from one file: settings, kilograms, sieves, brews and tastings, and one report
    Study(study::Args),
    /// How many photos and particles a wanted certainty takes
    Plan(plan::Args),
    /// Keep the scale of a fixed stand, from photos of the printed sheet; or check the tool on objects of known diameter
    Calibrate(calibrate::Args),
    /// Write the scale sheet to print: frames of marks round white fields for the grounds
    Target(target::Args),
    /// Open the local page: photos dropped or sent by a phone, measured and compared in the browser
    #[cfg(feature = "web")]
    Serve(serve::Args),
    /// Draw a photo of grounds with known truth, to try the tool on
    Render(render::Args),
}

/// Why a command did not do all that was asked.
enum Failure {
    /// The options make no sense together: exit status 2.
    Usage(anyhow::Error),
    /// Some input failed: exit status 1.
    Input(anyhow::Error),
}

impl Failure {
    /// The same, with what it is about said first.
    fn context(self, what: String) -> Self {
        match self {
            Failure::Usage(e) => Failure::Usage(e.context(what)),
            Failure::Input(e) => Failure::Input(e.context(what)),
        }
    }
}

impl<E: Into<anyhow::Error>> From<E> for Failure {
    fn from(e: E) -> Self {
        Failure::Input(e.into())
    }
}

/// Runs the command line `args` (the first is the program's name) and gives its exit status.
pub fn run(args: impl IntoIterator<Item = OsString>) -> ExitCode {
    // A negative number is a wrong value of the option before it, and no unknown option.
    let command = Cli::command().mut_subcommands(|c| c.allow_negative_numbers(true));
    let cli = match command.try_get_matches_from(args).and_then(|m| Cli::from_arg_matches(&m)) {
        Ok(cli) => cli,
        Err(e) => {
            // Help and version go to standard output and are a success; a closed pipe is nobody's fault.
            let _ = e.print();
            return ExitCode::from(if e.use_stderr() { 2 } else { 0 });
        }
    };
    let done = match cli.command {
        Command::Measure(args) => measure::run(&args),
        Command::Batch(args) => batch::run(&args),
        Command::Compare(args) => compare::run(&args),
        Command::Dial(args) => dial::run(&args),
        Command::Sieve(args) => sieve::run(&args),
        Command::Study(args) => study::run(&args),
        Command::Plan(args) => plan::run(&args),
        Command::Calibrate(args) => calibrate::run(&args),
        Command::Target(args) => target::run(&args),
        #[cfg(feature = "web")]
        Command::Serve(args) => serve::run(&args),
        Command::Render(args) => render::run(&args),
    };
    let (error, status) = match done {
        Ok(()) => return ExitCode::SUCCESS,
        Err(Failure::Usage(e)) => (e, 2),
        Err(Failure::Input(e)) => (e, 1),
    };
    if error.downcast_ref::<std::io::Error>().is_some_and(|e| e.kind() == std::io::ErrorKind::BrokenPipe) {
        return ExitCode::SUCCESS;
    }
    let _ = writeln!(std::io::stderr(), "lightsieve: {error:#}");
    ExitCode::from(status)
}

/// What was `read` from the file at `path`, or why it cannot be read.
fn readable<T>(path: &Path, read: std::io::Result<T>) -> Result<T, Failure> {
    let wrong =
        |e: std::io::Error| anyhow!("{}: cannot be read ({})", path.display(), reason(&e, "there is no such file"));
    Ok(read.map_err(wrong)?)
}

/// Refuses `outputs` that would overwrite one of `inputs` (`what` they are, as in "a photo") or each other.
fn refuse_clashes(inputs: &[PathBuf], what: &str, outputs: &[&Path]) -> Result<(), Failure> {
    for (i, output) in outputs.iter().enumerate() {
        if inputs.iter().any(|input| same_place(input, output)) {
            return Err(Failure::Usage(anyhow!(
                "{}: this output would overwrite {what}. Choose another name",
                output.display()
            )));
        }
        if outputs[..i].iter().any(|other| same_place(other, output)) {
            return Err(Failure::Usage(anyhow!(
                "{}: two outputs have the same name. Give each its own",
                output.display()
            )));
        }
    }
    Ok(())
}

/// Says of what lies at `path` that it stays, and in `rest` why, and what to do.
fn stays(path: &Path, rest: &str) -> Failure {
    Failure::Usage(anyhow!("{}: exists already and is left as it is{rest}", path.display()))
}

/// Prints to standard output; a closed pipe ends the program quietly.
fn say(text: &str) -> Result<(), Failure> {
    let mut out = std::io::stdout().lock();
    out.write_all(text.as_bytes())?;
    out.flush()?;
    Ok(())
}
