use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow};

use super::measure::refuse_twice;
use super::options::{Measuring, Outputs, data_file, number};
use super::samples::Named;
use super::{Failure, readable, refuse_clashes, say};
use crate::compare::Grounds;
use crate::compare::sieve::{Aperture, Stack, Weighed, between, fit, predicted};
use crate::distribution::SieveShape;
use crate::pipeline::Settings;
use crate::report::html;
use crate::report::measured::NO_TEXT;
use crate::report::sieve::{self as report, Sieved};
use crate::report::sieve_pair::{self, SievedPair};
use crate::report::write::{Target, same_place};

#[derive(clap::Args)]
#[command(
    after_help = "Examples:  lightsieve sieve photos/ --charge 25 --retained 710=8.6 --retained 355=12.9 --receiver 3.2\n\
                  \x20          lightsieve sieve new=new/ worn=worn/ --weights new.csv --weights worn.csv\n\
                  A table of weights has a header and the columns aperture_um and retained_g; a row whose aperture is \
                  `receiver` or `charge` gives those."
)]
pub(super) struct Args {
    /// The sample: a photo, a folder, a CSV written by `measure --particles`, a pattern in quotes, or several joined by commas.
    /// A second one, with weights of its own, is held against the first
    #[arg(value_name = "[NAME=]SAMPLE", required = true, num_args = 1..=2)]
    samples: Vec<String>,
    #[command(flatten)]
    measuring: Measuring,
    /// Mass put on the stack, in g
    #[arg(long, value_name = "G", allow_negative_numbers = true, value_parser = number)]
    charge: Option<f64>,
    /// Aperture and mass retained on it, in g: 710=8.6, 0.71mm=8.6 or no25=8.6; once for each sieve, in any order
    #[arg(long, value_name = "APERTURE=G")]
    retained: Vec<String>,
    /// Mass in the receiver, in g
    #[arg(long, value_name = "G", allow_negative_numbers = true, value_parser = number)]
    receiver: Option<f64>,
    /// Take the weights from a table instead; with two samples, one table for each, in their order
    #[arg(long, value_name = "FILE.csv", conflicts_with_all = ["charge", "retained", "receiver"])]
    weights: Vec<PathBuf>,
    /// Smallest step that the balance shows, in g
    #[arg(long, value_name = "G", default_value_t = 0.1, allow_negative_numbers = true, value_parser = number)]
    balance_step: f64,
    /// Predict with a shape fitted earlier
    #[arg(long, value_name = "FILE.json")]
    shape: Option<PathBuf>,
    /// Fit the shape to these weights and keep it
    #[arg(long, value_name = "FILE.json", conflicts_with = "shape", value_parser = data_file())]
    shape_out: Option<PathBuf>,
    #[command(flatten)]
    outputs: Outputs,
}

pub(super) fn run(args: &Args) -> Result<(), Failure> {
    let settings = args.measuring.settings()?;
    args.measuring.without_shares("the apertures of the stack are the sizes whose shares are told")?;
    let named: Vec<Named> = args.samples.iter().map(|s| Named::parse(s)).collect::<Result<_, _>>()?;
    let files: Vec<PathBuf> = named.iter().flat_map(|n| n.files().iter().cloned()).collect();
    refuse_twice(&files)?;
    let outputs: Vec<&Path> = args.outputs.paths().into_iter().chain(args.shape_out.as_deref()).collect();
    let scale_file = args.measuring.scale_file();
    let inputs: Vec<PathBuf> =
        files.iter().chain(&args.weights).chain(&args.shape).chain(scale_file).cloned().collect();
    refuse_clashes(&inputs, "an input", &outputs)?;
    if named.len() == 2 {
        return both(args, &named, &settings);
    }
    if args.weights.len() > 1 {
        return Err(Failure::Usage(anyhow!("one sample and {} tables of weights: give one", args.weights.len())));
    }
    one(args, &named[0], &settings)
}

fn one(args: &Args, named: &Named, settings: &Settings) -> Result<(), Failure> {
    let stack = weighed(args)?.stack().map_err(|e| Failure::Usage(e.into()))?;
    let shape = args.shape.as_deref().map(read_shape).transpose()?.unwrap_or_default();
    let picture = args.outputs.picture()?;
    let kept = args.shape_out.as_deref().map(Target::create).transpose()?;
    let (json, page) = args.outputs.texts()?;
    let mut advice = Vec::new();
    let grounds = named.grounds(settings, &mut advice)?;
    grounds.enough()?;
    let shares = |shape: &SieveShape| predicted(&grounds.sample, &stack.apertures_um, shape, settings.level());
    let fitted = match &kept {
        None => None,
        Some(_) => {
            let fit = fit(&grounds.sample, &stack, settings.level()).ok_or_else(|| {
                anyhow!(
                    "no size shift between 0.4 and 2.5 makes the photos agree with these weights: check that both are of the same \
                     grounds, and the scale"
                )
            })?;
            Some((fit, shares(&fit.shape)))
        }
    };
    let sieved = Sieved {
        name: grounds.name.clone(),
        counted: [grounds.sample.photos().len(), grounds.sample.count()],
        predicted: shares(&shape),
        shape,
        fitted,
        stack,
    };
    let data = report::json(&sieved);
    let mut files = Vec::new();
    if let Some(file) = page {
        files.push((file, html::sieved(&sieved, &advice, &data)?));
    }
    if let Some((file, kind)) = picture {
        files.push((file, report::plot(&sieved, kind)?));
    }
    if let Some(file) = json {
        files.push((file, data));
    }
    if let (Some(file), Some((fit, _))) = (kept, &sieved.fitted) {
        files.push((file, report::shape_file(&fit.shape)));
    }
    for (file, content) in files {
        file.finish(&content)?;
    }
    say(&report::table(&sieved))
}

/// Two samples, each with a table of weights.
fn both(args: &Args, named: &[Named], settings: &Settings) -> Result<(), Failure> {
    if args.weights.len() != 2 {
        return Err(Failure::Usage(anyhow!(
            "two samples: give two tables of weights, in the order of the samples: --weights new.csv --weights worn.csv"
        )));
    }
    for (given, option) in [(&args.outputs.plot, "--plot"), (&args.shape, "--shape"), (&args.shape_out, "--shape-out")]
    {
        if given.is_some() {
            return Err(Failure::Usage(anyhow!("{option} takes one sample; sieve them one by one for that")));
        }
    }
    if named[0].name == named[1].name {
        return Err(Failure::Usage(anyhow!("both samples are named {}. Give them names: new=… worn=…", named[0].name)));
    }
    if same_place(&args.weights[0], &args.weights[1]) {
        return Err(Failure::Usage(anyhow!(
            "{}: the same table of weights for both samples. Give each its own",
            args.weights[0].display()
        )));
    }
    let stack = |path: &PathBuf| -> Result<Stack, Failure> {
        let mut weighed = Weighed { charge_g: None, retained: Vec::new(), receiver_g: None, step_g: args.balance_step };
        read_weights(path, &mut weighed)?;
        weighed.stack().map_err(|e| Failure::Usage(anyhow!("{}: {e}", path.display())))
    };
    let stacks = [stack(&args.weights[0])?, stack(&args.weights[1])?];
    if stacks[0].apertures_um != stacks[1].apertures_um {
        return Err(Failure::Usage(anyhow!(
            "{} and {} are of different sieves. Only the same stack can be held against itself",
            args.weights[0].display(),
            args.weights[1].display()
        )));
    }
    let (json, page) = args.outputs.texts()?;
    let mut advice = Vec::new();
    let grounds: Vec<Grounds> = named.iter().map(|n| n.grounds(settings, &mut advice)).collect::<Result<_, _>>()?;
    grounds.iter().try_for_each(Grounds::enough)?;
    // All layers together hold at the level asked for (Bonferroni's bound); the last follows from the others.
    let level = 1.0 - (1.0 - settings.level()) / stacks[0].apertures_um.len() as f64;
    let layers = between((&stacks[0], &grounds[0].sample), (&stacks[1], &grounds[1].sample), level).unwrap_or_default();
    let pair = SievedPair {
        names: [grounds[0].name.clone(), grounds[1].name.clone()],
        photos: [grounds[0].sample.photos().len(), grounds[1].sample.photos().len()],
        stacks,
        layers,
        level: settings.level(),
    };
    let data = sieve_pair::json(&pair);
    let mut files = Vec::new();
    if let Some(file) = page {
        files.push((file, html::sieved_pair(&pair, &advice, &data)));
    }
    if let Some(file) = json {
        files.push((file, data));
    }
    for (file, content) in files {
        file.finish(&content)?;
    }
    say(&sieve_pair::table(&pair))
}

pub(super) fn read_shape(path: &Path) -> Result<SieveShape, Failure> {
    let text = readable(path, std::fs::read(path))?;
    Ok(report::read_shape(&text).with_context(|| path.display().to_string())?)
}

fn weighed(args: &Args) -> Result<Weighed, Failure> {
    let mut weighed =
        Weighed { charge_g: args.charge, retained: Vec::new(), receiver_g: args.receiver, step_g: args.balance_step };
    for text in &args.retained {
        let usage = |e: String| Failure::Usage(anyhow!("--retained {text}: {e}"));
        let wanted =
            || usage("expected an aperture and the mass on it in g, for example --retained 710=8.6".to_owned());
        let (aperture, mass) = text.split_once('=').ok_or_else(wanted)?;
        let aperture: Aperture = aperture.parse().map_err(|e| usage(format!("{e}")))?;
        let mass = mass.trim().trim_end_matches('g').trim();
        weighed.retained.push((aperture.0, number(mass).map_err(usage)?));
    }
    if let Some(path) = args.weights.first() {
        read_weights(path, &mut weighed)?;
    }
    Ok(weighed)
}

fn read_weights(path: &Path, weighed: &mut Weighed) -> Result<(), Failure> {
    let text = readable(path, std::fs::read(path))?;
    let wrong = |line: u64, what: String| Failure::from(anyhow!("{}, line {line}: {what}", path.display()));
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).flexible(true).from_reader(text.as_slice());
    let header = reader.headers().map_err(|_| wrong(1, NO_TEXT.to_owned()))?.clone();
    let header: Vec<&str> = header.iter().map(|h| h.trim_start_matches('\u{feff}').trim()).collect();
    if header != ["aperture_um", "retained_g"] {
        return Err(wrong(1, "the header must be aperture_um,retained_g, with a comma between".to_owned()));
    }
    for record in reader.records() {
        let at = |position: Option<&csv::Position>| position.map_or(0, csv::Position::line);
        let record = record.map_err(|e| wrong(at(e.position()), NO_TEXT.to_owned()))?;
        let line = at(record.position());
        let [aperture, mass] = [record.get(0), record.get(1)].map(Option::unwrap_or_default);
        if record.len() != 2 {
            return Err(wrong(line, "expected an aperture and a mass, with a comma between".to_owned()));
        }
        let mass = number(mass).map_err(|e| wrong(line, e))?;
        let once = |place: &mut Option<f64>| match place.replace(mass) {
            None => Ok(()),
            Some(_) => Err(wrong(line, format!("a second {aperture}. Add them up, or leave one out"))),
        };
        match aperture.to_lowercase().as_str() {
            "receiver" => once(&mut weighed.receiver_g)?,
            "charge" => once(&mut weighed.charge_g)?,
            _ => {
                let aperture: Aperture = aperture.parse().map_err(|e| {
                    wrong(line, format!("{e}. What lies below all sieves is the `receiver`, all of it the `charge`"))
                })?;
                weighed.retained.push((aperture.0, mass));
            }
        }
    }
    Ok(())
}
