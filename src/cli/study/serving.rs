use std::collections::hash_map::RandomState;
use std::hash::BuildHasher;
use std::path::PathBuf;

use anyhow::anyhow;

use super::super::options::{html_file, number, percent};
use super::super::{Failure, say, stays};
use crate::report::study::serving as report;
use crate::report::write::Target;
use crate::study::serving::{MOST_SERVED, serving_plan};
use crate::study::tasting::{assessors, critical, power};

/// How often a difference that is there is to be shown.
const POWER: f64 = 0.8;

#[derive(clap::Args)]
#[command(after_help = "An example:  lightsieve study serving --a new --b worn --assessors 24 --output plan.html\n\
                        Whoever fills the cups works from the key and puts it away; whoever serves, tastes or writes down the answers must not see it.")]
pub(super) struct Args {
    /// Name of one sample
    #[arg(long, value_name = "NAME")]
    a: String,
    /// Name of the other
    #[arg(long, value_name = "NAME")]
    b: String,
    /// Number of people, or of tests [default: as many as --can-tell takes]
    #[arg(long, value_name = "N")]
    assessors: Option<usize>,
    /// Share of people who can tell that is to be shown four times out of five
    #[arg(long, value_name = "PERCENT", default_value = "30%")]
    can_tell: String,
    /// Confidence, in percent
    #[arg(long, value_name = "PERCENT", default_value_t = 95.0, value_parser = number)]
    confidence: f64,
    /// Seed of orders and codes: the same seed gives the same plan [default: another each time]
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
    /// The page for the tasters; the key is written beside it as NAME-key.html
    #[arg(long, value_name = "FILE.html", value_parser = html_file())]
    output: PathBuf,
}

pub(super) fn run(args: &Args) -> Result<(), Failure> {
    let wrong = |text: String| Err(Failure::Usage(anyhow!(text)));
    if !(50.0..=99.9).contains(&args.confidence) {
        return wrong(format!("--confidence {}: expected a percentage from 50 to 99.9", args.confidence));
    }
    if args.a == args.b {
        return wrong(format!("--a and --b are both {}. Name two samples", args.a));
    }
    let can_tell = percent("--can-tell", &args.can_tell)?;
    let alpha = 1.0 - args.confidence / 100.0;
    let takes = assessors(can_tell, alpha, POWER).map(|n| n as usize);
    let people = match args.assessors.or(takes) {
        Some(n) if (1..=MOST_SERVED).contains(&n) => n,
        Some(n) => {
            return wrong(format!(
                "{n} people: a plan serves 1 to {MOST_SERVED}, since codes have three digits. Make several"
            ));
        }
        None => return wrong(format!("--can-tell {}: that takes more people than can be served", args.can_tell)),
    };
    let n = people as u32;
    let seed = args.seed.unwrap_or_else(any_seed);
    let plan = report::Plan {
        names: [&args.a, &args.b],
        trays: serving_plan(people, seed),
        critical: critical(n, alpha),
        level: 1.0 - alpha,
        can_tell,
        power: power(n, can_tell, alpha),
        takes,
        seed,
    };
    let key = args
        .output
        .with_file_name(format!("{}-key.html", args.output.file_stem().unwrap_or_default().to_string_lossy()));
    if let Some(there) = [&args.output, &key].into_iter().find(|p| p.exists()) {
        return Err(stays(
            there,
            ", since answers of its tasting are read by it. Choose another name, or delete it if nobody has served from it",
        ));
    }
    let (page, key_page) = (Target::create(&args.output)?, Target::create(&key)?);
    page.finish(&report::page(&plan))?;
    key_page.finish(&report::key(&plan))?;
    say(&format!(
        "{}\nWritten to {}, its key to {} (--seed {seed} gives this plan again)\n",
        report::design(&plan),
        args.output.display(),
        key.display()
    ))
}

/// A seed that nobody at the table can guess from an earlier plan, short enough to be typed.
fn any_seed() -> u64 {
    // The keys of the standard hasher are drawn anew by every process.
    RandomState::new().hash_one(std::time::SystemTime::now()) % 1_000_000_000
}
