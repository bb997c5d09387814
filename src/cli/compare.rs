use std::path::{Path, PathBuf};

use anyhow::anyhow;

use super::measure::refuse_twice;
use super::options::{Alike, Measuring, Outputs};
use super::samples::Named;
use super::{Failure, refuse_clashes, say};
use crate::compare::{Grounds, Question, compare};
use crate::report::write::Target;
use crate::report::{comparison, comparison_plot, html, plot};

#[derive(clap::Args)]
#[command(
    after_help = "A sample is a photo, a folder of photos, a CSV written by `measure --particles`, a pattern in quotes \
                        such as 'worn-*.jpg', or several of these joined by commas; NAME= before it gives it a name.\n\
                        With more than two samples --plot draws one file for each but the first, named after it.\n\
                        An example:  lightsieve compare new='new-*.jpg' worn='worn-*.jpg' --report worn.html"
)]
pub(super) struct Args {
    /// The samples: the first is the base with which the others are compared
    #[arg(required = true, num_args = 2.., value_name = "[NAME=]SAMPLE")]
    samples: Vec<String>,
    #[command(flatten)]
    measuring: Measuring,
    /// Name of the sample with which the others are compared [default: the first]
    #[arg(long, value_name = "NAME")]
    base: Option<String>,
    #[command(flatten)]
    alike: Alike,
    #[command(flatten)]
    outputs: Outputs,
}

pub(super) fn run(args: &Args) -> Result<(), Failure> {
    let settings = args.measuring.settings()?;
    let (margin, fines_margin) = args.alike.margins()?;
    let mut named: Vec<Named> = args.samples.iter().map(|s| Named::parse(s)).collect::<Result<_, _>>()?;
    refuse_mixed_up(&named)?;
    if let Some(base) = &args.base {
        let known = named.iter().map(|n| n.name.clone()).collect::<Vec<_>>().join(", ");
        let at = named.iter().position(|n| n.name == *base);
        let at =
            at.ok_or_else(|| Failure::Usage(anyhow!("--base {base}: no sample has this name. There are {known}")))?;
        let base = named.remove(at);
        named.insert(0, base);
    }
    let kind = args.outputs.kind()?;
    let plot_paths = plot_paths(args, &named);
    let inputs: Vec<PathBuf> =
        named.iter().flat_map(|n| n.files()).chain(args.measuring.scale_file()).cloned().collect();
    let outputs: Vec<&Path> = plot_paths.iter().map(PathBuf::as_path).chain(args.outputs.texts_paths()).collect();
    refuse_clashes(&inputs, "an input", &outputs)?;
    let plots: Vec<Target> = plot_paths.iter().map(|p| Target::create(p)).collect::<Result<_, _>>()?;
    let (json, report) = args.outputs.texts()?;
    let mut advice = Vec::new();
    let grounds: Vec<Grounds> = named.iter().map(|n| n.grounds(&settings, &mut advice)).collect::<Result<_, _>>()?;
    let question = Question {
        level: settings.level(),
        fines_um: settings.fines_um(),
        shares_above_um: settings.shares_above_um().to_vec(),
        margin,
        fines_margin,
        seed: settings.seed(),
    };
    let found = compare(&grounds[0], &grounds[1..], &question)?;
    let data = comparison::json(&found, question.fines_um);
    let mut files = Vec::new();
    for (file, c) in plots.into_iter().zip(&found) {
        files.push((file, comparison_plot::comparison(c, question.fines_um, kind.unwrap_or(plot::Kind::Svg))?));
    }
    if let Some(file) = report {
        files.push((file, html::comparison(&found, question.fines_um, &advice, &data)?));
    }
    if let Some(file) = json {
        files.push((file, data));
    }
    for (file, content) in files {
        file.finish(&content)?;
    }
    say(&comparison::table(&found, question.fines_um))
}

fn plot_paths(args: &Args, named: &[Named]) -> Vec<PathBuf> {
    let Some(plot) = &args.outputs.plot else { return Vec::new() };
    if named.len() == 2 {
        return vec![plot.clone()];
    }
    let stem = plot.file_stem().unwrap_or_default().to_string_lossy();
    let ending = plot.extension().unwrap_or_default().to_string_lossy();
    let safe = |name: &str| name.replace(['/', '\\', ':'], "-");
    named[1..].iter().map(|n| plot.with_file_name(format!("{stem}-{}.{ending}", safe(&n.name)))).collect()
}

fn refuse_mixed_up(named: &[Named]) -> Result<(), Failure> {
    for (i, n) in named.iter().enumerate() {
        if named[..i].iter().any(|o| o.name == n.name) {
            return Err(Failure::Usage(anyhow!("two samples are named {}. Give them names: new=… worn=…", n.name)));
        }
    }
    let all: Vec<PathBuf> = named.iter().flat_map(|n| n.files().iter().cloned()).collect();
    refuse_twice(&all)
}
