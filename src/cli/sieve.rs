use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow};

use super::measure::refuse_twice;
use super::options::{Measuring, number};
use super::samples::Named;
use super::{Failure, readable, refuse_clashes, say};
use crate::compare::sieve::{Aperture, Shape, Weighed, fit, predicted};
use crate::report::plot;
use crate::report::sieve::{self as report, Sieved};
use crate::report::write::Target;

#[derive(clap::Args)]
#[command(
    after_help = "An example:  lightsieve sieve photos/ --charge 25 --retained 710=8.6 --retained 355=12.9 --receiver 3.2\n\
                        A table of weights has a header and the columns aperture_um and retained_g; a row whose aperture is \
                        `receiver` or `charge` gives those."
)]
pub(super) struct Args {
    /// The sample: a photo, a folder, a CSV written by `measure --particles`, a pattern in quotes, or several joined by commas
    #[arg(value_name = "[NAME=]SAMPLE")]
    sample: String,
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
    /// Take the weights from a table instead
    #[arg(long, value_name = "FILE.csv", conflicts_with_all = ["charge", "retained", "receiver"])]
    weights: Option<PathBuf>,
    /// Smallest step that the balance shows, in g
    #[arg(long, value_name = "G", default_value_t = 0.1, allow_negative_numbers = true, value_parser = number)]
    balance_step: f64,
    /// Predict with a shape fitted earlier
    #[arg(long, value_name = "FILE.json")]
    shape: Option<PathBuf>,
    /// Fit the shape to these weights and keep it
    #[arg(long, value_name = "FILE.json", conflicts_with = "shape")]
    shape_out: Option<PathBuf>,
    /// Write the results as JSON
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    /// Draw weighed and predicted layers; .svg or .png
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
}

pub(super) fn run(args: &Args) -> Result<(), Failure> {
    let settings = args.measuring.settings()?;
    let stack = weighed(args)?.stack().map_err(|e| Failure::Usage(e.into()))?;
    let named = Named::parse(&args.sample)?;
    refuse_twice(named.files())?;
    let shape = args.shape.as_deref().map(read_shape).transpose()?.unwrap_or_default();
    let kind = args.plot.as_deref().map(plot::Kind::of).transpose().map_err(|e| Failure::Usage(e.into()))?;
    let outputs: Vec<&Path> =
        [&args.json, &args.plot, &args.shape_out].into_iter().filter_map(|o| o.as_deref()).collect();
    let inputs: Vec<PathBuf> = named.files().iter().chain(&args.weights).chain(&args.shape).cloned().collect();
    refuse_clashes(&inputs, "an input", &outputs)?;
    let target = |path: &Option<PathBuf>| path.as_deref().map(Target::create).transpose();
    let (json, picture, kept) = (target(&args.json)?, target(&args.plot)?.zip(kind), target(&args.shape_out)?);
    let grounds = named.grounds(&settings)?;
    let shares = |shape: &Shape| predicted(&grounds.sample, &stack.apertures_um, shape, settings.level());
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
    let mut files = Vec::new();
    if let Some((file, kind)) = picture {
        files.push((file, report::plot(&sieved, kind)?));
    }
    if let Some(file) = json {
        files.push((file, report::json(&sieved)));
    }
    if let (Some(file), Some((fit, _))) = (kept, &sieved.fitted) {
        files.push((file, report::shape_file(&fit.shape)));
    }
    for (file, content) in files {
        file.finish(&content)?;
    }
    say(&report::table(&sieved))
}

fn read_shape(path: &Path) -> Result<Shape, Failure> {
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
    if let Some(path) = &args.weights {
        read_weights(path, &mut weighed)?;
    }
    Ok(weighed)
}

fn read_weights(path: &Path, weighed: &mut Weighed) -> Result<(), Failure> {
    let text = readable(path, std::fs::read_to_string(path))?;
    for (i, line) in text.lines().enumerate() {
        let wrong = |what: String| Failure::from(anyhow!("{}, line {}: {what}", path.display(), i + 1));
        let line = line.trim_start_matches('\u{feff}').trim();
        if i == 0 {
            if line.replace(' ', "") != "aperture_um,retained_g" {
                return Err(wrong("the header must be aperture_um,retained_g".to_owned()));
            }
            continue;
        }
        if line.is_empty() {
            continue;
        }
        let (aperture, mass) = line
            .split_once(',')
            .ok_or_else(|| wrong("expected an aperture and a mass, with a comma between".to_owned()))?;
        let mass = number(mass.trim()).map_err(wrong)?;
        match aperture.trim() {
            "receiver" => weighed.receiver_g = Some(mass),
            "charge" => weighed.charge_g = Some(mass),
            aperture => {
                let aperture: Aperture = aperture.parse().map_err(|e| wrong(format!("{e}")))?;
                weighed.retained.push((aperture.0, mass));
            }
        }
    }
    Ok(())
}
