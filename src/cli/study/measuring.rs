//! The photos of a study: measured, or found among those measured before.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::super::Failure;
use super::super::measure::progress;
use super::super::options::read_calibration;
use super::super::samples::is_table;
use super::cache::{Cache, Entry, key};
use crate::distribution::PhotoParticles;
use crate::photo;
use crate::pipeline::{ScaleChoice, Settings, measure_photo, particles_of};
use crate::report::measured;
use crate::study::file::{Study, Way};
use crate::study::grind::Measured;

/// How many photos were measured now, and how many were found.
pub(super) struct Counted {
    pub measured: usize,
    pub found: usize,
}

/// What came of one file.
enum Came {
    Failed(String),
    /// Read, with the hash of its bytes.
    Table {
        photos: Vec<PhotoParticles>,
        content: blake3::Hash,
    },
    /// Measured `now`, or found; with the hash of its bytes.
    Photo {
        entry: Entry,
        content: blake3::Hash,
        now: bool,
    },
}

/// Everything of the samples of `study`, whose file lies in `folder`.
pub(super) fn measure(study: &Study, folder: &Path) -> Result<(Vec<Measured>, Counted), Failure> {
    let cache = Cache::beside(folder);
    let mut jobs: Vec<(usize, &PathBuf, Option<Settings>)> = Vec::new();
    for (i, sample) in study.samples.iter().enumerate() {
        let way = sample.scale.as_ref().unwrap_or(&study.scale);
        let pictures = sample.files.iter().any(|f| !is_table(f));
        let settings = pictures.then(|| settings(way, study.fines_um)).transpose()?;
        jobs.extend(sample.files.iter().map(|f| (i, f, settings.clone().filter(|_| !is_table(f)))));
    }
    let bar = progress(jobs.iter().filter(|j| j.2.is_some()).count());
    let came: Vec<Came> = jobs
        .par_iter()
        .map(|(_, file, settings)| {
            let Some(settings) = settings else { return table(file) };
            let done = picture(file, &shown(file, folder), settings, &cache);
            bar.inc(1);
            done
        })
        .collect();
    bar.finish_and_clear();
    let mut seen: HashMap<blake3::Hash, String> = HashMap::new();
    let mut all = vec![Measured::default(); study.samples.len()];
    let mut counted = Counted { measured: 0, found: 0 };
    for ((sample, file, _), came) in jobs.iter().zip(came) {
        let into = &mut all[*sample];
        let name = shown(file, folder);
        match came {
            Came::Failed(why) => into.failed.push((name, why)),
            Came::Table { photos, content } => {
                if let Some(other) = seen.insert(content, name.clone()) {
                    let why = format!("the same table as {other}, byte for byte: counted once. Remove one");
                    into.failed.push((name, why));
                    continue;
                }
                into.photos.extend(photos);
            }
            Came::Photo { entry, content, now } => {
                if now {
                    counted.measured += 1
                } else {
                    counted.found += 1
                }
                if let Some(other) = seen.insert(content, name.clone()) {
                    let why = format!("the same photo as {other}, byte for byte: counted once. Remove one");
                    into.failed.push((name, why));
                    continue;
                }
                into.scale_uncertainty = into.scale_uncertainty.max(entry.scale_uncertainty);
                into.floor_um = into.floor_um.max(entry.floor_um);
                into.advice.extend(entry.advice.into_iter().map(|a| (name.clone(), a)));
                into.photos.push(entry.photo);
            }
        }
    }
    Ok((all, counted))
}

/// The files of `study` of which it is plain, without measuring, that they cannot be used, and why.
pub(super) fn unusable(study: &Study, folder: &Path) -> Vec<(String, String)> {
    let mut seen: HashMap<blake3::Hash, String> = HashMap::new();
    let mut out = Vec::new();
    for file in study.samples.iter().flat_map(|s| &s.files) {
        let name = shown(file, folder);
        let content = match is_table(file) {
            true => match table(file) {
                Came::Table { content, .. } => Ok(content),
                Came::Failed(why) => Err(why),
                Came::Photo { .. } => unreachable!("a table"),
            },
            false if photo::is_drawn(file) => Err(photo::PhotoError::Drawn.to_string()),
            false => photo::read_bytes(file).map(|bytes| blake3::hash(&bytes)).map_err(|e| e.to_string()),
        };
        match content.map(|content| seen.insert(content, name.clone())) {
            Err(why) => out.push((name, why)),
            Ok(Some(other)) => out.push((name, format!("the same file as {other}, byte for byte. Remove one"))),
            Ok(None) => {}
        }
    }
    out
}

/// Name of a file as it is told: seen from the folder of the study.
pub(super) fn shown(file: &Path, folder: &Path) -> String {
    file.strip_prefix(folder).unwrap_or(file).display().to_string()
}

fn picture(file: &Path, name: &str, settings: &Settings, cache: &Cache) -> Came {
    let done = || -> anyhow::Result<Came> {
        let bytes = photo::read_bytes(file)?;
        let content = blake3::hash(&bytes);
        let key = key(&content, settings);
        if let Some(entry) = cache.get(&key, name) {
            return Ok(Came::Photo { entry, content, now: false });
        }
        let measured = measure_photo(photo::decode(&bytes)?, Path::new(name), settings)?;
        // Refuses the printed discs of the sheet.
        particles_of(std::slice::from_ref(&measured))?;
        Ok(Came::Photo { entry: cache.put(&key, &measured, name)?, content, now: true })
    };
    done().unwrap_or_else(|e| Came::Failed(format!("{e:#}")))
}

fn table(file: &Path) -> Came {
    let read = || -> anyhow::Result<Came> {
        let bytes = std::fs::read(file)?;
        Ok(Came::Table { photos: measured::photos(&bytes)?, content: blake3::hash(&bytes) })
    };
    read().unwrap_or_else(|e| Came::Failed(format!("{e:#}")))
}

fn settings(way: &Way, fines_um: f64) -> Result<Settings, Failure> {
    let choice = match way {
        Way::Sheet(bars) => ScaleChoice::Sheet(*bars),
        Way::Given(um) => ScaleChoice::Given(*um),
        Way::Card => ScaleChoice::Card,
        Way::Disc(object) => ScaleChoice::Disc(*object),
        Way::Calibration(path) => {
            let file = read_calibration(path)?;
            ScaleChoice::Calibration(Box::new(file), false)
        }
    };
    Ok(Settings::new(choice)?.with_fines(fines_um)?)
}
