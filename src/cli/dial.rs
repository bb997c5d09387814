use std::fs;
use std::path::{Path, PathBuf};

use anyhow::anyhow;

use super::measure::refuse_twice;
use super::options::{Alike, Measuring, Outputs, number};
use super::samples::Named;
use super::{Failure, readable, refuse_clashes, say};
use crate::compare::{DialQuestion, Ground, SETTINGS, dials};
use crate::report::{dial as report, dial_plot, html};

#[derive(clap::Args)]
#[command(
    after_help = "After burrs are swapped the same number on the dial is another gap. Grind with each set at three settings or more, and \
                  the sets are compared at the same median.\n\
                  An example:  lightsieve dial new@10='new-10-*.jpg' new@12='new-12-*.jpg' … worn@12='worn-12-*.jpg' --report dial.html\n\
                  A table has a header and the columns set,setting,sample; a sample's place is seen from the table's folder."
)]
pub(super) struct Args {
    /// Samples: set of burrs, setting of the dial, and what `compare` takes for a sample; the first set is the base
    #[arg(value_name = "SET@SETTING=SAMPLE", required_unless_present = "table")]
    samples: Vec<String>,
    /// Take the samples from a table
    #[arg(long, value_name = "FILE.csv", conflicts_with = "samples")]
    table: Option<PathBuf>,
    #[command(flatten)]
    measuring: Measuring,
    /// Median at which the sets are compared, in µm [default: the middle of what all sets reach]
    #[arg(long, value_name = "UM", allow_negative_numbers = true, value_parser = number)]
    median: Option<f64>,
    /// Name of the set with which the others are compared [default: the first]
    #[arg(long, value_name = "SET")]
    base: Option<String>,
    #[command(flatten)]
    alike: Alike,
    #[command(flatten)]
    outputs: Outputs,
}

/// A sample to come: its set, its setting, its files.
struct Wanted {
    set: String,
    setting: f64,
    named: Named,
}

pub(super) fn run(args: &Args) -> Result<(), Failure> {
    let settings = args.measuring.settings()?;
    args.measuring.without_shares("sets of burrs are held against each other by span and fines")?;
    let (margin, fines_margin) = args.alike.margins()?;
    let mut wanted: Vec<Wanted> = match &args.table {
        Some(table) => read_table(table)?,
        None => args.samples.iter().map(|s| parse(s)).collect::<Result<_, _>>()?,
    };
    if let Some(base) = &args.base {
        if !wanted.iter().any(|w| w.set == *base) {
            return Err(Failure::Usage(anyhow!("--base {base}: no set of burrs has this name")));
        }
        wanted.sort_by_key(|w| w.set != *base);
    }
    let files: Vec<PathBuf> = wanted.iter().flat_map(|w| w.named.files().iter().cloned()).collect();
    refuse_twice(&files)?;
    let inputs: Vec<PathBuf> = files.iter().chain(&args.table).chain(args.measuring.scale_file()).cloned().collect();
    refuse_clashes(&inputs, "an input", &args.outputs.paths())?;
    let picture = args.outputs.picture()?;
    let (json, page) = args.outputs.texts()?;
    let mut advice = Vec::new();
    let grounds: Vec<Ground> = wanted
        .into_iter()
        .map(|w| Ok(Ground { grounds: w.named.grounds(&settings, &mut advice)?, set: w.set, setting: w.setting }))
        .collect::<Result<_, Failure>>()?;
    grounds.iter().try_for_each(|g| g.grounds.enough())?;
    let question = DialQuestion {
        level: settings.level(),
        fines_um: settings.fines_um(),
        median_um: args.median,
        margin,
        fines_margin,
    };
    let found = dials(&grounds, &question)?;
    let fines_um = question.fines_um;
    let data = report::json(&found, fines_um);
    let mut files = Vec::new();
    if let Some((file, kind)) = picture {
        files.push((file, dial_plot::dials(&found, fines_um, kind)?));
    }
    if let Some(file) = page {
        files.push((file, html::dials(&found, fines_um, &advice, &data)?));
    }
    if let Some(file) = json {
        files.push((file, data));
    }
    for (file, content) in files {
        file.finish(&content)?;
    }
    say(&report::table(&found, fines_um))
}

/// `SET@SETTING=SAMPLE`.
fn parse(text: &str) -> Result<Wanted, Failure> {
    let parts = text.split_once('=').and_then(|(left, what)| Some((left.rsplit_once('@')?, what)));
    let Some(((set, setting), what)) = parts else {
        return Err(Failure::Usage(anyhow!(
            "`{text}`: expected a set of burrs, its setting and a sample, such as worn@12=worn-12.csv"
        )));
    };
    wanted(set, setting, what, None).map_err(|e| e.context(format!("`{text}`")))
}

/// A sample whose files are seen from `folder`.
fn wanted(set: &str, setting: &str, what: &str, folder: Option<&Path>) -> Result<Wanted, Failure> {
    let (set, setting) = (set.trim().to_owned(), setting.trim());
    if set.is_empty() {
        return Err(Failure::Usage(anyhow!("the set of burrs has no name")));
    }
    let number = number(setting).ok().filter(|n| SETTINGS.contains(n)).ok_or_else(|| {
        Failure::Usage(anyhow!(
            "the setting `{setting}` is no number from {} to {}; decimals are written with a point: 12.5",
            SETTINGS.start(),
            SETTINGS.end()
        ))
    })?;
    let within = |what: &str| folder.map_or_else(|| what.to_owned(), |f| f.join(what).to_string_lossy().into_owned());
    let what: Vec<String> = what.split(',').map(|w| within(w.trim())).collect();
    let named = Named::parse(&what.join(","))?.with_name(format!("{set} at {setting}"));
    Ok(Wanted { set, setting: number, named })
}

fn read_table(path: &Path) -> Result<Vec<Wanted>, Failure> {
    let text = readable(path, fs::read(path))?;
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(text.as_slice());
    let wrong = |line: u64, what: String| Failure::from(anyhow!("{}, line {line}: {what}", path.display()));
    let header: Vec<String> = reader
        .headers()
        .map_err(|e| wrong(1, e.to_string()))?
        .iter()
        .map(|h| h.trim_start_matches('\u{feff}').to_owned())
        .collect();
    if header != ["set", "setting", "sample"] {
        return Err(wrong(1, "the header must be set,setting,sample".to_owned()));
    }
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty());
    let mut found = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|e| {
            let text = "expected a set, a setting and a sample, with commas between (in quotes where a name holds one)";
            wrong(e.position().map_or(0, csv::Position::line), text.to_owned())
        })?;
        let line = record.position().map_or(0, csv::Position::line);
        let at = || format!("{}, line {line}", path.display());
        found.push(wanted(&record[0], &record[1], &record[2], folder).map_err(|e| e.context(at()))?);
    }
    if found.is_empty() {
        return Err(anyhow!("{}: no sample in this table", path.display()).into());
    }
    Ok(found)
}
