//! Photos measured before: particles kept beside the study, found again by what the photo holds.

use std::fs;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::distribution::{LEAST_RECALL, PhotoParticles};
use crate::pipeline::{MeasuredPhoto, Settings};
use crate::report::write::Target;
use crate::report::{ReportError, csv, measured};

/// Name of the folder.
pub(super) const FOLDER: &str = ".lightsieve-cache";
/// Format of an entry: another number leaves older ones unread.
const FORMAT: u32 = 1;

/// Entries, each a file of its own under the hash of photo, settings and version. They are written whole or not at all,
/// so that two runs at once, or one that is ended half-way, leave nothing wrong behind.
pub(super) struct Cache(PathBuf);

/// What is kept of a photo besides its particles: the first line of an entry.
#[derive(Clone, Debug, Serialize, Deserialize)]
struct Head {
    format: u32,
    particles: usize,
    smallest_ecd_um: f64,
    floor_um: f64,
    scale_uncertainty: f64,
    advice: Vec<String>,
}

/// A photo of the study, measured now or before.
#[derive(Clone, Debug)]
pub(super) struct Entry {
    pub photo: PhotoParticles,
    /// Below this size the photo shows less than half of all particles, µm.
    pub floor_um: f64,
    pub scale_uncertainty: f64,
    pub advice: Vec<String>,
}

/// Hash of a photo's bytes, with the settings under which it is measured and the version that measures.
pub(super) fn key(content: &blake3::Hash, settings: &Settings) -> String {
    let all = format!("{FORMAT} {} {content} {settings:?}", env!("CARGO_PKG_VERSION"));
    blake3::hash(all.as_bytes()).to_hex().to_string()
}

impl Cache {
    /// The cache in `folder`; made with its first entry.
    pub fn beside(folder: &Path) -> Self {
        Cache(folder.join(FOLDER))
    }

    fn path(&self, key: &str) -> PathBuf {
        self.0.join(format!("{key}.csv"))
    }

    /// The entry of `key`, where there is a good one; the photo is called `name`.
    pub fn get(&self, key: &str, name: &str) -> Option<Entry> {
        decode(&fs::read(self.path(key)).ok()?, name)
    }

    /// Keeps the photo and gives it back as it will be read: rounded as in the file, so that every run says the same.
    ///
    /// # Errors
    /// None in practice: a place that cannot be written is passed over.
    pub fn put(&self, key: &str, photo: &MeasuredPhoto, name: &str) -> Result<Entry, ReportError> {
        let bytes = encode(photo)?;
        // Without a cache everything is measured again: slower, and nothing else.
        let _ = fs::create_dir_all(&self.0);
        if let Ok(target) = Target::create(&self.path(key)) {
            let _ = target.finish(&bytes);
        }
        decode(&bytes, name).ok_or_else(|| ReportError::Measured("its particles cannot be kept".to_owned()))
    }
}

fn encode(photo: &MeasuredPhoto) -> Result<Vec<u8>, ReportError> {
    let head = Head {
        format: FORMAT,
        particles: photo.particles.len(),
        smallest_ecd_um: photo.smallest_ecd_um,
        floor_um: photo.recall.size_px(LEAST_RECALL) * photo.scale.typical(),
        scale_uncertainty: photo.scale.relative_uncertainty(),
        advice: photo.checks.iter().filter(|c| c.fires()).map(|c| c.sentence.clone()).collect(),
    };
    let mut bytes = serde_json::to_vec(&head).map_err(|e| ReportError::Draw(e.to_string()))?;
    bytes.push(b'\n');
    bytes.extend(csv::particles(std::slice::from_ref(photo))?);
    Ok(bytes)
}

/// `None` for what is broken off, or of another format.
fn decode(bytes: &[u8], name: &str) -> Option<Entry> {
    let end = bytes.iter().position(|b| *b == b'\n')?;
    let head: Head = serde_json::from_slice(&bytes[..end]).ok()?;
    let particles = match head.particles {
        0 => Vec::new(),
        _ => measured::photos(&bytes[end + 1..]).ok()?.pop()?.particles,
    };
    (head.format == FORMAT && particles.len() == head.particles).then(|| Entry {
        photo: PhotoParticles { name: name.to_owned(), particles, smallest_ecd_um: head.smallest_ecd_um },
        floor_um: head.floor_um,
        scale_uncertainty: head.scale_uncertainty,
        advice: head.advice,
    })
}
