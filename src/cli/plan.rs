use std::path::PathBuf;

use anyhow::anyhow;

use super::measure::refuse_twice;
use super::options::{Measuring, data_file, number, percent};
use super::samples::{Named, is_table};
use super::{Failure, refuse_clashes, say};
use crate::compare::{
    Quantity, Question, Wanted, evenness, lognormal_d32, lognormal_evenness, particles_for_quantile, plan,
};
use crate::report::plan as report;
use crate::report::write::Target;

#[derive(clap::Args)]
#[command(after_help = "Examples:  lightsieve plan 'pilot-*.jpg' --within 3% --difference 5%\n\
                        \x20          lightsieve plan --gsd 1.6 --within 5%")]
pub(super) struct Args {
    /// The pilot: a photo, a folder, a CSV written by `measure --particles`, a pattern in quotes, or several joined by commas
    #[arg(value_name = "[NAME=]SAMPLE", required_unless_present = "gsd")]
    pilot: Option<String>,
    #[command(flatten)]
    measuring: Measuring,
    /// Instead of a pilot: geometric standard deviation of a lognormal grind, such as 1.6
    #[arg(long, value_name = "GSD", conflicts_with_all = ["pilot", "json", "share_above"], value_parser = number)]
    gsd: Option<f64>,
    /// Median of the described grind by mass, in µm: tells how much of it to spread
    #[arg(long, value_name = "UM", requires = "gsd", value_parser = number)]
    d50: Option<f64>,
    /// Smallest particles that are to be seen, in µm [default: the fines limit]
    #[arg(long, value_name = "UM", conflicts_with = "gsd", value_parser = number)]
    see: Option<f64>,
    /// Wanted interval of each figure of one sample, to each side
    #[arg(long, value_name = "PERCENT", default_value = "5%")]
    within: String,
    /// Wanted difference between two samples
    #[arg(long, value_name = "PERCENT", default_value = "5%")]
    difference: String,
    /// Write the plan as JSON
    #[arg(long, value_name = "FILE", value_parser = data_file())]
    json: Option<PathBuf>,
}

pub(super) fn run(args: &Args) -> Result<(), Failure> {
    let settings = args.measuring.settings()?;
    let wanted =
        Wanted { within: percent("--within", &args.within)?, difference: percent("--difference", &args.difference)? };
    if let Some(gsd) = args.gsd {
        if !(1.05..=4.0).contains(&gsd) {
            return Err(Failure::Usage(anyhow!("--gsd {gsd}: a geometric standard deviation lies between 1.05 and 4")));
        }
        let of = |p| particles_for_quantile(gsd, p, wanted.within, settings.level());
        let mut text = report::counts(gsd, wanted.within, &[("D10", of(0.1)), ("D50", of(0.5)), ("D90", of(0.9))]);
        if let Some(d50) = args.d50 {
            if !(1.0..=100_000.0).contains(&d50) {
                return Err(Failure::Usage(anyhow!("--d50 {d50}: a median lies between 1 and 100000 µm")));
            }
            text += &report::spreading(lognormal_d32(d50, gsd), lognormal_evenness(gsd), &[]);
        }
        return say(&text);
    }
    let named = Named::parse(args.pilot.as_deref().unwrap_or_default())?;
    if let Some(see) = args.see.filter(|s| !(1.0..=100_000.0).contains(s)) {
        return Err(Failure::Usage(anyhow!("--see {see}: a size lies between 1 and 100000 µm")));
    }
    if let (Some(see), true) = (args.see, named.files().iter().all(|f| is_table(f))) {
        return Err(Failure::Usage(anyhow!(
            "--see {see}: how small a particle the camera shows is read from photos, and the pilot is a table of particles. Give the \
             photos themselves"
        )));
    }
    refuse_twice(named.files())?;
    let inputs: Vec<PathBuf> = named.files().iter().chain(args.measuring.scale_file()).cloned().collect();
    refuse_clashes(&inputs, "an input", args.json.as_deref().as_slice())?;
    let json = args.json.as_deref().map(Target::create).transpose()?;
    let title = named.title();
    let (pilot, photos) = named.with_name(title).measured(&settings)?;
    let question = Question {
        level: settings.level(),
        fines_um: settings.fines_um(),
        shares_above_um: settings.shares_above_um().to_vec(),
        margin: wanted.difference,
        fines_margin: wanted.difference,
        seed: settings.seed(),
    };
    let plans = plan(&pilot, &question, &wanted)?;
    if let Some(file) = json {
        file.finish(&report::json(&pilot, &plans, &wanted))?;
    }
    let see_um = args.see.unwrap_or(question.fines_um);
    let d32 = plans.iter().find(|p| p.quantity == Quantity::Figure(5)).map(|p| p.value);
    let mut text = report::table(&pilot, &plans, &wanted, question.fines_um);
    if let Some(worst) = photos.iter().max_by(|a, b| a.smallest_ecd_um.total_cmp(&b.smallest_ecd_um)) {
        text += &report::camera(worst, see_um);
    }
    if let Some(d32) = d32 {
        text += &report::spreading(d32, evenness(&pilot.sample), &photos);
    }
    say(&text)
}
