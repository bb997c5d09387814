use std::collections::HashSet;
use std::fmt::Write;
use std::fs;
use std::path::{Path, PathBuf};

use anyhow::anyhow;
use indicatif::ProgressBar;
use rayon::prelude::*;

use super::measure::progress;
use super::options::{Measuring, html_file};
use super::{Failure, refuse_clashes, say};
use crate::compare::Quantity;
use crate::distribution::Figures;
use crate::photo;
use crate::pipeline::{MeasureError, MeasuredPhoto, Measurement, Settings, join, measure_file};
use crate::report::format::count;
use crate::report::write::{Target, reason};
use crate::report::{csv, html, json, plot, words};

#[derive(clap::Args)]
pub(super) struct Args {
    /// Folder with photos, or with one sub-folder of photos per sample
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
    #[command(flatten)]
    measuring: Measuring,
    /// Folder for the results [default: FOLDER/lightsieve-results]
    #[arg(long, value_name = "FOLDER")]
    output: Option<PathBuf>,
    /// Write a page with all samples, their curves and figures, to open in a browser or to print
    #[arg(long, value_name = "FILE.html", value_parser = html_file())]
    report: Option<PathBuf>,
}

/// Photos of one sample.
struct Job {
    name: String,
    photos: Vec<PathBuf>,
}

struct Done {
    name: String,
    result: Option<Measurement>,
    failed: Vec<(String, String)>,
}

pub(super) fn run(args: &Args) -> Result<(), Failure> {
    let settings = args.measuring.settings()?;
    let output = args.output.clone().unwrap_or_else(|| args.folder.join("lightsieve-results"));
    let (jobs, mut notes) = jobs(&args.folder, &output)?;
    notes.extend(shared(&jobs));
    let photos: Vec<PathBuf> = jobs.iter().flat_map(|j| j.photos.iter().cloned()).collect();
    refuse_clashes(&photos, "a photo", args.report.as_deref().as_slice())?;
    let made = !output.exists();
    fs::create_dir_all(&output).map_err(|e| {
        anyhow!(
            "{}: this folder for the results cannot be made ({})",
            output.display(),
            reason(&e, "its folder does not exist")
        )
    })?;
    let overviews: Vec<Target> = ["overview.csv", "overview.json", "overview.svg"]
        .iter()
        .map(|name| Target::create(&output.join(name)))
        .collect::<Result<_, _>>()?;
    let page = args.report.as_deref().map(Target::create).transpose()?;
    let bar = progress(jobs.iter().map(|j| j.photos.len()).sum());
    // One photo at a time per thread: memory is bounded by the photos in work, not by their number.
    let done: Vec<Done> = jobs.par_iter().map(|job| measure(job, &settings, &output, &bar)).collect();
    bar.finish_and_clear();

    let failed: Vec<(String, String)> = done.iter().flat_map(|d| d.failed.clone()).collect();
    let samples: Vec<(String, Measurement)> = done.into_iter().filter_map(|d| Some((d.name, d.result?))).collect();
    for (name, m) in &samples {
        let told = words::advice(&m.photos).into_iter().chain(words::pale_of(name, m.pale()));
        notes.extend(told.map(|note| note.trim_end_matches('.').to_owned()));
    }
    if samples.is_empty() {
        drop(overviews);
        if made {
            // Only an empty folder is removed; whatever else lies in it stays.
            let _ = fs::remove_dir(&output);
        }
        return Err(anyhow!("no photo could be measured.\n{}", list(&failed)).into());
    }
    let [rows, data] = [table(&samples)?, json::overview(&samples, &failed, &notes)];
    if let Some(page) = page {
        page.finish(&html::batch(&samples, &failed, &notes, &rows, &data)?)?;
    }
    let contents = [rows, data, plot::overview(&samples, plot::Kind::Svg, plot::WIDE)?];
    for (file, content) in overviews.into_iter().zip(contents) {
        file.finish(&content)?;
    }
    let said = say(&summary(&samples, &notes, &output));
    if failed.is_empty() {
        return said;
    }
    // A closed pipe must not hide what failed.
    Err(anyhow!("{} could not be measured; the rest is done.\n{}", count(failed.len(), "file"), list(&failed)).into())
}

fn list(failed: &[(String, String)]) -> String {
    failed.iter().map(|(file, why)| format!("  {file}: {why}")).collect::<Vec<_>>().join("\n")
}

/// Photos by name of ending, so that notes and tables lying beside them are no failures.
pub(super) fn is_photo(path: &Path) -> bool {
    const ENDINGS: [&str; 9] = ["jpg", "jpeg", "png", "tif", "tiff", "webp", "heic", "heif", "hif"];
    let hidden = path.file_name().is_none_or(|n| n.to_string_lossy().starts_with('.'));
    !hidden && path.extension().is_some_and(|e| ENDINGS.iter().any(|end| e.eq_ignore_ascii_case(end)))
}

pub(super) fn entries(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    let failed = |e: std::io::Error| {
        anyhow!("{}: this folder cannot be listed ({}). Check its name", folder.display(), reason(&e, "no such folder"))
    };
    let read = fs::read_dir(folder).map_err(failed)?;
    let mut paths = read.map(|e| e.map(|e| e.path())).collect::<Result<Vec<_>, _>>().map_err(failed)?;
    paths.sort();
    Ok(paths)
}

/// The samples, and what is to be said of folders that are not looked into.
fn jobs(folder: &Path, output: &Path) -> Result<(Vec<Job>, Vec<String>), Failure> {
    if folder.is_file() {
        let text = format!(
            "{}: this is a file, and a folder is expected. `lightsieve measure` takes photos",
            folder.display()
        );
        return Err(Failure::Usage(anyhow!(text)));
    }
    let mut jobs: Vec<Job> = Vec::new();
    let mut notes = Vec::new();
    let mut drawn = Vec::new();
    for path in entries(folder)? {
        let name = |p: &Path| p.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        if path.is_dir() && path != output {
            let inside = entries(&path)?;
            let deeper = inside.iter().filter(|p| p.is_dir() && **p != *output && holds_photos(p));
            notes.extend(deeper.map(|p| {
                format!(
                    "{}: not looked into, since it lies in the folder of a sample. Move its photos up, or measure it by itself: \
                     lightsieve batch {}",
                    p.display(),
                    path.display()
                )
            }));
            let inside = inside.into_iter().filter(|p| p.is_file() && is_photo(p));
            let (pictures, photos): (Vec<PathBuf>, Vec<PathBuf>) = inside.partition(|p| photo::is_drawn(p));
            drawn.extend(pictures);
            if !photos.is_empty() {
                let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
                jobs.push(Job { name, photos });
            }
        } else if path.is_file() && is_photo(&path) {
            if photo::is_drawn(&path) {
                drawn.push(path);
            } else {
                jobs.push(Job { name: name(&path), photos: vec![path] });
            }
        }
    }
    notes.extend(
        drawn
            .iter()
            .map(|p: &PathBuf| format!("{}: lightsieve drew this picture from a photo: not measured", p.display())),
    );
    if jobs.is_empty() {
        return Err(anyhow!("{}: no photo in this folder (JPEG, PNG, TIFF, WebP, HEIC)", folder.display()).into());
    }
    // Two photos that differ only in their ending, or a photo and a folder, keep apart by number; so does a sample
    // whose files would be named like the overview's.
    let mut taken: HashSet<String> = HashSet::from(["overview".to_owned()]);
    for job in &mut jobs {
        let plain = job.name.clone();
        let mut number = 2;
        while !taken.insert(job.name.to_lowercase()) {
            job.name = format!("{plain} ({number})");
            number += 1;
        }
    }
    Ok((jobs, notes))
}

fn holds_photos(folder: &Path) -> bool {
    entries(folder).is_ok_and(|inside| inside.iter().any(|p| p.is_file() && is_photo(p)))
}

/// What is to be said of photos that lie in two samples.
fn shared(jobs: &[Job]) -> Vec<String> {
    let mut notes = Vec::new();
    let mut before: Vec<PathBuf> = Vec::new();
    for job in jobs {
        for photo in &job.photos {
            if let Some(other) = photo::copy_among(photo, &before) {
                notes.push(format!(
                    "{} and {} are the same photo, byte for byte, in two samples: they look more alike than they are. Take it out of one",
                    other.display(),
                    photo.display()
                ));
            }
        }
        before.extend(job.photos.iter().cloned());
    }
    notes
}

fn measure(job: &Job, settings: &Settings, output: &Path, bar: &ProgressBar) -> Done {
    let mut failed = Vec::new();
    let mut photos: Vec<MeasuredPhoto> = Vec::new();
    for (i, path) in job.photos.iter().enumerate() {
        if let Some(other) = photo::copy_among(path, &job.photos[..i]) {
            let why = format!("the same photo as {}, byte for byte: counted once. Remove one", other.display());
            failed.push((path.display().to_string(), why));
            bar.inc(1);
            continue;
        }
        match measure_file(path, settings) {
            Ok(mut photo) => {
                // No overlay is drawn here, so the outlines need not be kept.
                photo.shapes = Vec::new();
                for (runs, _) in &mut photo.rejected {
                    *runs = Vec::new();
                }
                photos.push(photo);
            }
            Err(e) => failed.push((path.display().to_string(), e.to_string())),
        }
        bar.inc(1);
    }
    let mut done = Done { name: job.name.clone(), result: None, failed };
    if photos.is_empty() {
        return done;
    }
    let finished = join(photos, settings).map_err(|e: MeasureError| e.to_string()).and_then(|m| {
        write(&m, &job.name, output).map_err(|e| format!("{e:#}"))?;
        Ok(m)
    });
    match finished {
        Ok(m) => done.result = Some(m),
        Err(why) => done.failed.push((job.name.clone(), why)),
    }
    done
}

fn write(m: &Measurement, name: &str, output: &Path) -> anyhow::Result<()> {
    let file = |ending: &str| Target::create(&output.join(format!("{name}{ending}")));
    file(".json")?.finish(&json::measurement(m))?;
    file("-particles.csv")?.finish(&csv::particles(&m.photos)?)?;
    file(".svg")?.finish(&plot::distribution(m, name, plot::Kind::Svg)?)?;
    Ok(())
}

/// One row per sample.
fn table(samples: &[(String, Measurement)]) -> anyhow::Result<Vec<u8>> {
    let mut writer = ::csv::Writer::from_writer(Vec::new());
    let mut header: Vec<String> =
        ["sample", "photos", "particles", "um_per_px", "smallest_ecd_um", "fines_below_um"].map(String::from).to_vec();
    // Sizes are those of the options, the same for all samples.
    let shares =
        samples.iter().take(1).flat_map(|(_, m)| &m.shares_above).map(|(um, _)| Quantity::ShareAbove(*um).name());
    for name in Figures::NAMES.map(str::to_owned).into_iter().chain(shares) {
        let [low, high] = ["low", "high"].map(|end| format!("{name}_{end}"));
        header.extend([name, low, high]);
    }
    writer.write_record(&header)?;
    for (name, m) in samples {
        let mut row = vec![
            name.clone(),
            m.photos.len().to_string(),
            m.sizes.ecd_um.len().to_string(),
            m.photos[0].scale.typical().to_string(),
            format!("{:.2}", m.smallest_ecd_um),
            m.fines_um.to_string(),
        ];
        let shares = m.shares_above.iter().map(|(_, share)| share);
        row.extend(m.by_mass.iter().chain(shares).flat_map(|e| [e.value, e.low, e.high]).map(|v| format!("{v:.5}")));
        writer.write_record(&row)?;
    }
    writer.into_inner().map_err(|e| anyhow!(e.to_string()))
}

fn summary(samples: &[(String, Measurement)], notes: &[String], output: &Path) -> String {
    let rows: Vec<Vec<String>> = samples.iter().map(|(name, m)| words::sample_row(name, m)).collect();
    let width = samples.iter().map(|(name, _)| name.chars().count()).max().unwrap_or(6).clamp(6, 40);
    let mut out = String::new();
    for row in samples.iter().take(1).map(|(_, m)| words::sample_head(m)).chain(rows) {
        let _ = write!(out, "{:<width$}", row[0]);
        let widths = [8, 11, 10, 10, 10, 8, 10].into_iter().chain(std::iter::repeat(13));
        for (cell, width) in row[1..].iter().zip(widths) {
            let _ = write!(out, "{cell:>width$}");
        }
        out.push('\n');
    }
    out.push('\n');
    for note in notes {
        let _ = writeln!(out, "  ! {note}.");
    }
    out + &format!("Written to {}\n", output.display())
}
