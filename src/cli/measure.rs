use std::collections::HashSet;
use std::ffi::OsString;
use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::options::{Measuring, data_file, html_file};
use super::sieve::read_shape;
use super::{Failure, say};
use crate::photo;
use crate::pipeline::{MeasureError, MeasuredPhoto, Measurement, Settings, join, measure_file};
use crate::report::html::{self, Picture};
use crate::report::write::{Target, same_place};
use crate::report::{csv, json, overlay, plot, terminal};

#[derive(clap::Args)]
pub(super) struct Args {
    /// Photos of the same grounds
    #[arg(required = true, value_name = "PHOTO")]
    photos: Vec<PathBuf>,
    #[command(flatten)]
    measuring: Measuring,
    /// Tell, too, how sieves would sort the grounds, with a shape that `sieve --shape-out` fitted to weights
    #[arg(long, value_name = "FILE.json")]
    shape: Option<PathBuf>,
    /// Only say what could be better about the photos
    #[arg(long, conflicts_with_all = ["json", "particles", "plot", "overlay", "report"])]
    check: bool,
    /// Write the results as JSON
    #[arg(long, value_name = "FILE", value_parser = data_file())]
    json: Option<PathBuf>,
    /// Write one row per particle as CSV
    #[arg(long, value_name = "FILE", value_parser = data_file())]
    particles: Option<PathBuf>,
    /// Draw the distribution; .svg or .png
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
    /// Draw the outlines on the photo, as PNG; with several photos, one file each, named after the photo
    #[arg(long, value_name = "FILE")]
    overlay: Option<PathBuf>,
    /// Write a page with answer, curve, photos with outlines to zoom into, figures and data, to open in a browser or to print
    #[arg(long, value_name = "FILE.html", value_parser = html_file())]
    report: Option<PathBuf>,
}

/// Files to come, made before the first photo is read.
struct Targets {
    json: Option<Target>,
    particles: Option<Target>,
    plot: Option<(Target, plot::Kind)>,
    overlays: Vec<Target>,
    report: Option<Target>,
}

pub(super) fn run(args: &Args) -> Result<(), Failure> {
    let shape = args.shape.as_deref().map(read_shape).transpose()?;
    let settings = args.measuring.settings()?.with_sieve_shape(shape);
    let overlays = overlay_paths(args)?;
    refuse_clashes(args, &overlays)?;
    let kind = args.plot.as_deref().map(plot::Kind::of).transpose().map_err(|e| Failure::Usage(e.into()))?;
    for photo in &args.photos {
        // Before the outputs are made, so that a mistyped name is the first thing said.
        photo::check(photo).with_context(|| photo.display().to_string())?;
    }
    let target = |path: &Option<PathBuf>| path.as_deref().map(Target::create).transpose();
    let targets = Targets {
        json: target(&args.json)?,
        particles: target(&args.particles)?,
        plot: target(&args.plot)?.zip(kind),
        overlays: overlays.iter().map(|p| Target::create(p)).collect::<Result<_, _>>()?,
        report: target(&args.report)?,
    };
    let photos = measure_all(&args.photos, &settings)?;
    if args.check {
        return say(&terminal::checks(&photos));
    }
    let measurement = join(photos, &settings).map_err(|e| match e {
        MeasureError::PrintedDiscs(_) => e.into(),
        _ => anyhow!("{}: {e}", names(&args.photos)),
    })?;
    // Drawing can fail (the photo is read again), so it is done before any file is put in its place.
    let (drawn, pictures) = drawn(&measurement, !targets.overlays.is_empty(), targets.report.is_some())?;
    let mut files: Vec<(Target, Vec<u8>)> = targets.overlays.into_iter().zip(drawn).collect();
    if let Some(file) = targets.json {
        files.push((file, json::measurement(&measurement)));
    }
    if let Some(file) = targets.particles {
        files.push((file, csv::particles(&measurement.photos)?));
    }
    if let Some((file, kind)) = targets.plot {
        files.push((file, plot::distribution(&measurement, &names(&args.photos), kind)?));
    }
    let told = terminal::table(&measurement);
    if let Some(file) = targets.report {
        files.push((file, html::measurement(&measurement.without_folders(), &names(&args.photos), &pictures, &[])?));
    }
    for (file, content) in files {
        file.finish(&content)?;
    }
    say(&told)
}

/// Overlays and pictures for the page, where they are wanted. The photos are read again, one at a time: none is kept while others are
/// measured.
fn drawn(m: &Measurement, overlays: bool, page: bool) -> Result<(Vec<Vec<u8>>, Vec<Picture>), Failure> {
    let (mut drawn, mut pictures) = (Vec::new(), Vec::new());
    for photo in m.photos.iter().filter(|_| overlays || page) {
        let read = photo::read_bytes(&photo.path).and_then(|bytes| photo::decode_rgb(&bytes));
        let picture = read.with_context(|| photo.path.display().to_string())?;
        if page {
            pictures.push(Picture::of(picture.clone(), m.photos.len())?);
        }
        if overlays {
            drawn.push(overlay::png(photo, picture)?);
        }
    }
    Ok((drawn, pictures))
}

pub(super) fn measure_all(paths: &[PathBuf], settings: &Settings) -> Result<Vec<MeasuredPhoto>, Failure> {
    let bar = progress(paths.len());
    let mut photos = Vec::with_capacity(paths.len());
    let mut failed = Vec::new();
    for path in paths {
        match measure_file(path, settings) {
            Ok(photo) => photos.push(photo),
            Err(e) => failed.push(format!("{}: {e}", path.display())),
        }
        bar.inc(1);
    }
    bar.finish_and_clear();
    if failed.is_empty() {
        return Ok(photos);
    }
    let rest = if paths.len() > 1 { "\nNothing was written: a sample is only measured whole." } else { "" };
    Err(anyhow!("{}{rest}", failed.join("\nlightsieve: ")).into())
}

/// A bar on the terminal for more than two photos; silent elsewhere.
pub(super) fn progress(photos: usize) -> ProgressBar {
    let target = if photos > 2 { ProgressDrawTarget::stderr() } else { ProgressDrawTarget::hidden() };
    let style = ProgressStyle::with_template("{bar:30} {pos} of {len} photos, {eta} left");
    ProgressBar::with_draw_target(Some(photos as u64), target)
        .with_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()))
}

fn names(paths: &[PathBuf]) -> String {
    let name = |p: &PathBuf| p.file_name().unwrap_or(p.as_os_str()).to_string_lossy().into_owned();
    match paths {
        [one] => name(one),
        [first, rest @ ..] => format!("{} and {} more", name(first), rest.len()),
        [] => String::new(),
    }
}

fn overlay_paths(args: &Args) -> Result<Vec<PathBuf>, Failure> {
    let Some(file) = &args.overlay else { return Ok(Vec::new()) };
    if !file.extension().is_some_and(|e| e.eq_ignore_ascii_case("png")) {
        return Err(Failure::Usage(anyhow!("{}: an overlay is a .png file", file.display())));
    }
    if args.photos.len() == 1 {
        return Ok(vec![file.clone()]);
    }
    let mut seen = HashSet::new();
    let paths = args.photos.iter().enumerate().map(|(i, photo)| {
        let mut name = OsString::from(file.file_stem().unwrap_or_default());
        name.push("-");
        name.push(photo.file_stem().unwrap_or_default());
        if !seen.insert(name.clone()) {
            name.push(format!("-{}", i + 1));
        }
        name.push(".png");
        file.with_file_name(name)
    });
    Ok(paths.collect())
}

/// Refuses outputs that would overwrite a photo or each other.
fn refuse_clashes(args: &Args, overlays: &[PathBuf]) -> Result<(), Failure> {
    let outputs: Vec<&Path> = [&args.json, &args.particles, &args.plot, &args.report]
        .into_iter()
        .filter_map(|o| o.as_deref())
        .chain(overlays.iter().map(PathBuf::as_path))
        .collect();
    super::refuse_clashes(&args.photos, "a photo", &outputs)?;
    let others: Vec<PathBuf> = args.measuring.scale_file().into_iter().chain(&args.shape).cloned().collect();
    super::refuse_clashes(&others, "an input", &outputs)?;
    refuse_twice(&args.photos)
}

const COUNTED_TWICE: &str = "The same photo counted twice would make the result look surer than it is";

/// Refuses a photo that is given twice, also under another name.
pub(super) fn refuse_twice(photos: &[PathBuf]) -> Result<(), Failure> {
    let is_twice = |&(i, photo): &(usize, &PathBuf)| photos[..i].iter().any(|other| same_place(other, photo));
    if let Some((_, photo)) = photos.iter().enumerate().find(is_twice) {
        return Err(Failure::Usage(anyhow!("{}: given twice. {COUNTED_TWICE}", photo.display())));
    }
    for (i, photo) in photos.iter().enumerate() {
        if let Some(other) = photo::copy_among(photo, &photos[..i]) {
            return Err(Failure::Usage(anyhow!(
                "{} and {} are the same photo, byte for byte. {COUNTED_TWICE}. Leave one out",
                other.display(),
                photo.display()
            )));
        }
    }
    Ok(())
}
