mod cache;
mod measuring;
mod serving;

use std::path::{Path, PathBuf};

use anyhow::anyhow;

use super::options::{data_file, html_file};
use super::samples::{files_of, is_table};
use super::{Failure, readable, refuse_clashes, say, stays};
use crate::report::format::count;
use crate::report::study as report;
use crate::report::write::{Target, reason};
use crate::study::file::{Mistake, Study, TEMPLATE, Way, read};
use crate::study::findings::findings;

#[derive(clap::Args)]
#[command(
    args_conflicts_with_subcommands = true,
    after_help = "Begin with:  lightsieve study new my-study.toml\n\
                  Photos that were measured before are not measured again: what was found in them lies in the folder \
                  .lightsieve-cache beside the study and may be deleted at any time."
)]
pub(super) struct Args {
    #[command(subcommand)]
    command: Option<Command>,
    /// The file of the study
    #[arg(value_name = "STUDY.toml", required = true)]
    file: Option<PathBuf>,
    /// The page to write [default: NAME-report.html beside the study]
    #[arg(long, value_name = "FILE.html", value_parser = html_file())]
    report: Option<PathBuf>,
    /// Write everything found as JSON
    #[arg(long, value_name = "FILE", value_parser = data_file())]
    json: Option<PathBuf>,
    /// Write everything found as CSV tables into a folder
    #[arg(long, value_name = "FOLDER")]
    tables: Option<PathBuf>,
}

#[derive(clap::Subcommand)]
enum Command {
    /// Write a file to start from, with every field explained
    New {
        /// The file to write; it must not exist
        #[arg(value_name = "STUDY.toml")]
        file: PathBuf,
    },
    /// Name every mistake in a study's file, with its line and what to write instead
    Check {
        /// The file of the study
        #[arg(value_name = "STUDY.toml")]
        file: PathBuf,
    },
    /// Print a blind serving plan for triangle tests, and its key on a page of its own
    Serving(serving::Args),
}

pub(super) fn run(args: &Args) -> Result<(), Failure> {
    match (&args.command, &args.file) {
        (Some(Command::New { file }), _) => new(file),
        (Some(Command::Check { file }), _) => {
            let study = load(file)?;
            let unusable = measuring::unusable(&study, folder_of(file));
            if !unusable.is_empty() {
                return Err(anyhow!(
                    "{}: {} cannot be used.\n{}",
                    file.display(),
                    count(unusable.len(), "file"),
                    listed(&unusable)
                )
                .into());
            }
            say(&format!(
                "{}: no mistakes. {}, {}, {}, {}.\n",
                file.display(),
                count(study.samples.len(), "sample"),
                count(study.samples.iter().map(|s| s.files.len()).sum(), "file"),
                count(study.brews.len(), "brew"),
                count(study.tastings.len(), "tasting")
            ))
        }
        (Some(Command::Serving(args)), _) => serving::run(args),
        (None, Some(file)) => whole(file, args),
        (None, None) => Err(Failure::Usage(anyhow!("give the file of the study: lightsieve study STUDY.toml"))),
    }
}

fn new(file: &Path) -> Result<(), Failure> {
    if file.exists() {
        return Err(stays(file, ". Choose another name"));
    }
    Target::create(file)?.finish(TEMPLATE.as_bytes())?;
    say(&format!("{}: written. Fill it in, then:  lightsieve study check {0}\n", file.display()))
}

fn whole(file: &Path, args: &Args) -> Result<(), Failure> {
    let study = load(file)?;
    let page = args.report.clone().unwrap_or_else(|| {
        let stem = file.file_stem().unwrap_or_default().to_string_lossy();
        file.with_file_name(format!("{stem}-report.html"))
    });
    let scale_file = |way: &Way| if let Way::Calibration(path) = way { Some(path.clone()) } else { None };
    let scale_files =
        study.samples.iter().filter_map(|s| s.scale.as_ref()).chain([&study.scale]).filter_map(scale_file);
    let inputs: Vec<PathBuf> = study
        .samples
        .iter()
        .flat_map(|s| s.files.iter().cloned())
        .chain([file.to_owned()])
        .chain(scale_files)
        .collect();
    let tables: Vec<PathBuf> = args.tables.iter().flat_map(|f| report::TABLES.map(|name| f.join(name))).collect();
    let outputs: Vec<&Path> = [&page].into_iter().chain(&args.json).chain(&tables).map(PathBuf::as_path).collect();
    refuse_clashes(&inputs, "a file of the study", &outputs)?;
    let target = Target::create(&page)?;
    let json = args.json.as_deref().map(Target::create).transpose()?;
    let tables = args.tables.as_deref().map(table_targets).transpose()?;
    let (measured, counted) = measuring::measure(&study, folder_of(file))?;
    let found = findings(study, &measured);
    let data = report::json(&found);
    let mut files = vec![(target, report::page(&found, &data)?)];
    if let Some(tables) = tables {
        files.extend(tables.into_iter().zip(report::tables(&found)?));
    }
    if let Some(json) = json {
        files.push((json, data));
    }
    for (file, content) in files {
        file.finish(&content)?;
    }
    let photos = match (counted.measured, counted.found) {
        (0, 0) => String::new(),
        (now, before) => format!("{} measured, {before} found from before. ", count(now, "photo")),
    };
    let said = say(&format!("{}\n{photos}Written to {}\n", report::summary(&found), page.display()));
    if found.failed.is_empty() {
        return said;
    }
    // A closed pipe must not hide what failed.
    let failed = count(found.failed.len(), "file");
    Err(anyhow!("{failed} could not be used; the rest is done.\n{}", listed(&found.failed)).into())
}

/// Files and what is wrong with them, a line each.
fn listed(files: &[(String, String)]) -> String {
    files.iter().map(|(what, why)| format!("  {what}: {why}")).collect::<Vec<_>>().join("\n")
}

fn table_targets(folder: &Path) -> Result<Vec<Target>, Failure> {
    if folder.exists() && !folder.is_dir() {
        return Err(Failure::Usage(anyhow!(
            "--tables {}: this is a file, and the tables go into a folder. Give another name",
            folder.display()
        )));
    }
    std::fs::create_dir_all(folder).map_err(|e| {
        let why = reason(&e, "the folder that it is in does not exist");
        anyhow!(
            "{}: this folder for the tables cannot be made ({why}). Choose one that is yours to write in",
            folder.display()
        )
    })?;
    Ok(report::TABLES.iter().map(|name| Target::create(&folder.join(name))).collect::<Result<_, _>>()?)
}

fn folder_of(file: &Path) -> &Path {
    file.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// More mistakes than these are counted, not shown.
const MOST_SHOWN: usize = 40;

/// The study of `file`, or all its mistakes.
fn load(file: &Path) -> Result<Study, Failure> {
    let text = readable(file, std::fs::read(file))?;
    let text =
        String::from_utf8(text).map_err(|_| anyhow!("{}: it is not UTF-8 text. Save it as UTF-8", file.display()))?;
    let folder = folder_of(file).to_owned();
    read(text.trim_start_matches('\u{feff}'), &|name| resolve(&folder, name)).map_err(|mistakes| {
        let line = |m: &Mistake| format!("  line {}: {}", m.line, m.text);
        let mut list: Vec<String> = mistakes.iter().take(MOST_SHOWN).map(line).collect();
        if mistakes.len() > MOST_SHOWN {
            list.push(format!("  and {} more. Is this the file of a study?", mistakes.len() - MOST_SHOWN));
        }
        anyhow!("{}: {}\n{}", file.display(), count(mistakes.len(), "mistake"), list.join("\n")).into()
    })
}

/// The files that `name` stands for, seen from `folder`.
fn resolve(folder: &Path, name: &str) -> Result<Vec<PathBuf>, String> {
    if name.is_empty() {
        return Err("no name. Write that of a photo".to_owned());
    }
    let path = folder.join(name);
    if path.is_file() {
        return Ok(vec![path]);
    }
    if !path.exists() && !name.contains(['*', '?']) {
        let kind = if is_table(&path) { "table" } else { "photo" };
        return Err(format!("there is no such {kind}. Write its name as seen from the folder of this file"));
    }
    // The name stands before the reason, and is told already.
    let reason = |e: Failure| match e {
        Failure::Usage(e) | Failure::Input(e) => e.to_string().replace(&format!("{}: ", path.display()), ""),
    };
    files_of(&path).map_err(reason)
}
