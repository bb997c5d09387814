//! What is kept in the folder: trays, their photos and what was chosen, in one file that is replaced as a whole.

use std::collections::HashSet;
use std::fs::{self, File};
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::scale::{Places, ScaleWish};
use super::{Refusal, WebError};
use crate::report::write::{Target, reason};

/// Photos kept at most, in all trays together: what was measured of each stays in memory, some megabytes.
pub(super) const MOST_PHOTOS: usize = 120;
/// Trays kept at most.
pub(super) const MOST_TRAYS: usize = 24;
/// Numbers that pages draw for their new trays: far above those that [`Bench::number`] gives, and whole in JavaScript.
const DRAWN: RangeInclusive<u64> = 1 << 32..=(1 << 53) - 1;
/// Particles of one photo left out by hand at most.
pub(super) const MOST_LEFT_OUT: usize = 5_000;
const VERSION: u32 = 1;
const FILE: &str = "state.json";
const PHOTOS: &str = "photos";

/// Everything that is kept.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct Bench {
    version: u32,
    /// The number that the next tray or photo gets.
    next: u64,
    /// Fines are finer than this, µm.
    pub fines_um: f64,
    /// Scale of the trays that have none of their own.
    pub scale: ScaleWish,
    pub trays: Vec<Tray>,
}

/// Photos of one sample.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct Tray {
    pub id: u64,
    pub name: String,
    /// Scale of this tray, where it has its own.
    pub scale: Option<ScaleWish>,
    pub photos: Vec<Kept>,
    /// What a balance said of the same grounds sieved.
    #[serde(default)]
    pub weights: Option<Weights>,
    /// Taken away, and kept until the next start so that it can be brought back.
    #[serde(default)]
    pub removed: bool,
}

/// A photo in the folder.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct Kept {
    pub id: u64,
    /// Name in results. It never becomes a path.
    pub name: String,
    /// File in the folder of photos, named by this program.
    file: String,
    #[serde(default)]
    pub removed: bool,
    /// Two places of known distance, where the scale is taken from them.
    #[serde(default)]
    pub places: Option<Places>,
    /// Centres of the particles left out by hand, px, as [`super::work::centre`] gives them.
    #[serde(default)]
    pub left_out: Vec<[f64; 2]>,
}

/// Weighed sieve layers, as typed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Weights {
    pub charge_g: Option<f64>,
    /// Aperture (µm) and mass on it (g).
    pub retained: Vec<[f64; 2]>,
    pub receiver_g: Option<f64>,
    pub step_g: f64,
}

impl Bench {
    fn new() -> Self {
        Bench { version: VERSION, next: 1, fines_um: 100.0, scale: ScaleWish::default(), trays: Vec::new() }
    }

    /// A number that nothing else has.
    pub fn number(&mut self) -> u64 {
        self.next += 1;
        self.next - 1
    }

    /// The trays that were not taken away.
    pub fn shown(&self) -> impl Iterator<Item = &Tray> {
        self.trays.iter().filter(|t| !t.removed)
    }

    pub fn tray(&self, id: u64) -> Result<&Tray, Refusal> {
        self.trays.iter().find(|t| t.id == id).ok_or_else(|| Refusal::missing("sample"))
    }

    pub fn tray_mut(&mut self, id: u64) -> Result<&mut Tray, Refusal> {
        self.trays.iter_mut().find(|t| t.id == id).ok_or_else(|| Refusal::missing("sample"))
    }

    /// The photo `id`, with its tray.
    pub fn photo(&self, id: u64) -> Result<(&Tray, &Kept), Refusal> {
        let found = self.trays.iter().find_map(|t| Some((t, t.photos.iter().find(|p| p.id == id)?)));
        found.ok_or_else(|| Refusal::missing("photo"))
    }

    pub fn photo_mut(&mut self, id: u64) -> Result<&mut Kept, Refusal> {
        let mut photos = self.trays.iter_mut().flat_map(|t| &mut t.photos);
        photos.find(|p| p.id == id).ok_or_else(|| Refusal::missing("photo"))
    }

    /// A new empty tray.
    pub fn add_tray(&mut self, name: &str) -> Result<u64, Refusal> {
        let id = self.number();
        self.put_tray(id, name)?;
        Ok(id)
    }

    /// A new empty tray with a number that a page drew, unless it is there.
    pub fn add_tray_as(&mut self, id: u64) -> Result<(), Refusal> {
        if self.tray(id).is_ok() {
            return Ok(());
        }
        if !DRAWN.contains(&id) {
            return Err(Refusal::missing("sample"));
        }
        self.put_tray(id, "")
    }

    fn put_tray(&mut self, id: u64, name: &str) -> Result<(), Refusal> {
        if self.trays.len() >= MOST_TRAYS {
            return Err(Refusal::full(format!(
                "There are {MOST_TRAYS} samples, and no more are kept. Take one away and start the server anew."
            )));
        }
        let given = clean(name);
        let name = if given.is_empty() { format!("Sample {}", self.shown().count() + 1) } else { given };
        self.trays.push(Tray { id, name, scale: None, photos: Vec::new(), weights: None, removed: false });
        Ok(())
    }

    /// Refuses one photo more than can be kept.
    pub fn has_room(&self) -> Result<(), Refusal> {
        if self.trays.iter().map(|t| t.photos.len()).sum::<usize>() < MOST_PHOTOS {
            return Ok(());
        }
        Err(Refusal::full(format!(
            "There are {MOST_PHOTOS} photos, and no more are kept. Take some away and start the server anew, or choose another \
             folder."
        )))
    }

    /// The scale of a tray.
    pub fn scale_of<'a>(&'a self, tray: &'a Tray) -> &'a ScaleWish {
        tray.scale.as_ref().unwrap_or(&self.scale)
    }
}

impl Tray {
    /// The photos that were not taken away.
    pub fn shown(&self) -> impl Iterator<Item = &Kept> {
        self.photos.iter().filter(|p| !p.removed)
    }

    /// `name` as a photo of this tray can have it: shown as text, and like no other.
    pub fn free_name(&self, name: &str) -> String {
        let name = clean(name.rsplit(['/', '\\']).next().unwrap_or_default());
        let name = if name.is_empty() { "photo".to_owned() } else { name };
        let is_free = |n: &String| self.photos.iter().all(|p| p.name != *n);
        let numbered = (2..).map(|i| format!("{name} ({i})"));
        std::iter::once(name.clone()).chain(numbered).find(is_free).unwrap_or(name)
    }

    /// Keeps a photo.
    pub fn add(&mut self, id: u64, name: String, file: String) {
        self.photos.push(Kept { id, name, file, removed: false, places: None, left_out: Vec::new() });
    }
}

/// A name from outside without control characters, and not too long to be shown.
pub(super) fn clean(name: &str) -> String {
    name.chars().filter(|c| !c.is_control()).take(80).collect::<String>().trim().to_owned()
}

/// The folder where everything is kept.
pub(super) struct Folder {
    path: PathBuf,
    /// Held as long as the server runs: two at work in one folder would undo each other's changes.
    _lock: File,
}

impl Folder {
    /// Opens the folder, or makes it, and reads what is in it. What was taken away earlier is deleted.
    pub fn open(path: &Path) -> Result<(Self, Bench), WebError> {
        let failed = |e: std::io::Error| WebError::Folder {
            path: path.display().to_string(),
            why: reason(&e, "its folder does not exist"),
        };
        fs::create_dir_all(path.join(PHOTOS)).map_err(failed)?;
        let path = path.canonicalize().map_err(failed)?;
        let lock = File::create(path.join(".in-use")).map_err(failed)?;
        lock.try_lock().map_err(|_| WebError::InUse(path.display().to_string()))?;
        let folder = Folder { path, _lock: lock };
        let state = folder.path.join(FILE);
        let mut bench = match fs::read(&state) {
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => Bench::new(),
            Err(e) => return Err(failed(e)),
            Ok(text) => {
                let damaged = |why: String| WebError::State { path: state.display().to_string(), why };
                let bench: Bench = serde_json::from_slice(&text).map_err(|e| damaged(e.to_string()))?;
                if bench.version != VERSION {
                    return Err(damaged(format!("version {}", bench.version)));
                }
                bench
            }
        };
        bench.trays.retain(|t| !t.removed);
        bench.trays.iter_mut().for_each(|t| t.photos.retain(|p| !p.removed && is_own_name(&p.file)));
        folder.sweep(&bench).map_err(failed)?;
        Ok((folder, bench))
    }

    /// Deletes photos that no tray holds, and what a broken upload left.
    fn sweep(&self, bench: &Bench) -> std::io::Result<()> {
        let kept: HashSet<&str> = bench.trays.iter().flat_map(|t| &t.photos).map(|p| p.file.as_str()).collect();
        for entry in fs::read_dir(self.photos())? {
            let entry = entry?;
            let name = entry.file_name().to_string_lossy().into_owned();
            // Nothing but what this program named itself is ever deleted.
            if (is_own_name(&name) && !kept.contains(name.as_str())) || name.starts_with(TEMPORARY) {
                fs::remove_file(entry.path())?;
            }
        }
        Ok(())
    }

    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The folder of the photos.
    pub fn photos(&self) -> PathBuf {
        self.path.join(PHOTOS)
    }

    /// Where a photo lies.
    pub fn file_of(&self, photo: &Kept) -> PathBuf {
        self.photos().join(&photo.file)
    }

    /// Writes the state; the old one stays until the new one is whole.
    pub fn save(&self, bench: &Bench) -> Result<(), Refusal> {
        let text = serde_json::to_vec_pretty(bench).expect("plain structs always serialise");
        let written = Target::create(&self.path.join(FILE)).and_then(|target| target.finish(&text));
        written.map_err(|e| Refusal::broken(format!("What you changed could not be kept: {e}")))
    }
}

/// Beginning of the names of uploads in progress.
pub(super) const TEMPORARY: &str = ".upload-";

/// Name of the file of the photo `id`; `kind` is one of this program's own endings.
pub(super) fn own_name(id: u64, kind: &'static str) -> String {
    format!("{id:06}.{kind}")
}

/// True for names that [`own_name`] gives, so that no state file can lead out of the folder.
fn is_own_name(name: &str) -> bool {
    let number = |n: &str| n.len() >= 6 && n.bytes().all(|b| b.is_ascii_digit());
    name.split_once('.').is_some_and(|(n, kind)| number(n) && super::photos::KINDS.contains(&kind))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_from_outside_lose_folders_and_control_characters() {
        assert_eq!(clean(" a\u{0}\nb <b> "), "ab <b>");
        assert_eq!(clean(&"x".repeat(500)).len(), 80);
        let mut tray = Tray { id: 1, name: String::new(), scale: None, photos: vec![], weights: None, removed: false };
        tray.add(2, "a.jpg".into(), own_name(2, "jpg"));
        assert_eq!(tray.free_name("x/a.jpg"), "a.jpg (2)");
        assert_eq!(tray.free_name("../../etc/passwd"), "passwd");
        assert_eq!(tray.free_name("C:\\photos\\a b.jpg"), "a b.jpg");
        assert_eq!(tray.free_name("/"), "photo");
    }

    #[test]
    fn only_names_of_this_program_are_files_of_photos() {
        assert!(is_own_name(&own_name(7, "jpg")) && is_own_name(&own_name(12_345_678, "heic")));
        for name in ["../x.jpg", "000001.exe", "000001/../x.jpg", "1.jpg", "", "000001.jpg.sh"] {
            assert!(!is_own_name(name), "{name}");
        }
    }

    #[test]
    fn a_folder_comes_back_as_it_was_left_and_is_used_by_one_server_at_a_time() {
        let place = tempfile::tempdir().unwrap();
        let (folder, mut bench) = Folder::open(place.path()).unwrap();
        assert!(matches!(Folder::open(place.path()), Err(WebError::InUse(_))));
        let id = bench.add_tray("  left burr ").unwrap();
        let photo = bench.number();
        fs::write(folder.photos().join(own_name(photo, "png")), b"x").unwrap();
        fs::write(folder.photos().join("000099.png"), b"of no tray").unwrap();
        fs::write(folder.photos().join("note.txt"), b"not ours").unwrap();
        bench.tray_mut(id).unwrap().add(photo, "p.png".into(), own_name(photo, "png"));
        folder.save(&bench).unwrap();
        drop(folder);
        let (folder, bench) = Folder::open(place.path()).unwrap();
        assert_eq!(bench.tray(id).unwrap().name, "left burr");
        assert!(folder.file_of(bench.photo(photo).unwrap().1).is_file());
        assert!(!folder.photos().join("000099.png").exists() && folder.photos().join("note.txt").exists());
        drop(folder);
        fs::write(place.path().join(FILE), b"{").unwrap();
        assert!(matches!(Folder::open(place.path()), Err(WebError::State { .. })));
    }
}
