//! What was measured, what is still to be measured, and what trays and comparisons come to.

use std::collections::HashMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::{Notify, Semaphore, watch};

use super::Refusal;
use super::lan::Keys;
use super::reasons;
use super::scale::ScaleWish;
use super::store::{Bench, Folder, Kept, Tray};
use crate::particle::Particle;
use crate::photo::{self, Photo};
use crate::pipeline::{MeasureError, MeasuredPhoto, Measurement, Settings, join, measure_photo};

/// The server's memory, shared by all requests.
pub(super) struct App {
    pub folder: Folder,
    bench: Mutex<Bench>,
    measured: Mutex<HashMap<u64, Entry>>,
    /// The photo that came last, decoded, until it is measured.
    decoded: Mutex<Option<(u64, Photo)>>,
    answers: Mutex<HashMap<u64, (String, Arc<Measurement>)>>,
    /// Small pictures made so far.
    small: Mutex<HashMap<u64, Vec<u8>>>,
    /// Counts the changes that the page shows.
    changes: watch::Sender<u64>,
    wake: Notify,
    /// The photo that is being measured, or 0.
    now: AtomicU64,
    /// One reckoning at a time beside the one measuring: two cores are all that some machines have.
    reckoning: Semaphore,
    /// Uploads in progress at once.
    pub uploads: Semaphore,
    /// Photos decoded at once to be checked or shown; a large one takes some hundred megabytes.
    pub decoding: Semaphore,
    /// Keys of the phones, where there is a door for them.
    pub lan: Option<Keys>,
}

/// What came of measuring one photo.
#[derive(Clone)]
struct Entry {
    /// Scale that it was measured with.
    key: String,
    /// Fines limit that its advice speaks of, µm.
    fines_um: f64,
    serial: u64,
    outcome: Result<Arc<MeasuredPhoto>, Failure>,
}

/// Why a photo is not measured.
#[derive(Clone, Debug)]
pub(super) struct Failure {
    pub why: String,
    /// True where the scale is missing: another way to it may do.
    pub wants_scale: bool,
}

impl Failure {
    fn other(why: impl Into<String>) -> Self {
        Failure { why: why.into(), wants_scale: false }
    }
}

/// How far a photo has come.
#[derive(Clone)]
pub(super) enum Status {
    /// Its two places of known distance are wanted.
    Places,
    Waiting,
    Measured(Measured),
    Failed(Failure),
}

/// A photo that was measured.
#[derive(Clone)]
pub(super) struct Measured {
    pub photo: Arc<MeasuredPhoto>,
    /// Tells this outcome from those before.
    pub serial: u64,
    /// True where its advice speaks of the fines limit that is set.
    is_fresh: bool,
}

/// Uploads in progress at once.
const UPLOADS: usize = 4;

impl App {
    pub fn new(folder: Folder, bench: Bench, lan: Option<Keys>) -> Self {
        App {
            folder,
            bench: Mutex::new(bench),
            measured: Mutex::default(),
            decoded: Mutex::default(),
            answers: Mutex::default(),
            small: Mutex::default(),
            changes: watch::channel(0).0,
            wake: Notify::new(),
            now: AtomicU64::new(0),
            reckoning: Semaphore::new(1),
            uploads: Semaphore::new(UPLOADS),
            decoding: Semaphore::new(1),
            lan,
        }
    }

    /// What is kept, to look at.
    pub fn bench(&self) -> Bench {
        locked(&self.bench).clone()
    }

    /// Changes what is kept, writes it, and tells the page. A change that is refused or cannot be written is not made.
    pub fn change<T>(&self, how: impl FnOnce(&mut Bench) -> Result<T, Refusal>) -> Result<T, Refusal> {
        let mut bench = locked(&self.bench);
        let mut next = bench.clone();
        let result = how(&mut next)?;
        self.folder.save(&next)?;
        *bench = next;
        drop(bench);
        self.wake.notify_one();
        self.tell();
        Ok(result)
    }

    /// The small picture of a photo, where it was made before.
    pub fn small(&self, id: u64) -> Option<Vec<u8>> {
        locked(&self.small).get(&id).cloned()
    }

    /// Keeps the small picture of a photo.
    pub fn keep_small(&self, id: u64, bytes: Vec<u8>) {
        locked(&self.small).insert(id, bytes);
    }

    /// Keeps a photo that was decoded to be checked, so that it need not be decoded again to be measured.
    pub fn hand_over(&self, id: u64, decoded: Photo) {
        *locked(&self.decoded) = Some((id, decoded));
    }

    /// Tells the page that there is something new.
    pub fn tell(&self) {
        self.changes.send_modify(|n| *n += 1);
    }

    /// Follows the changes.
    pub fn follow(&self) -> watch::Receiver<u64> {
        self.changes.subscribe()
    }

    /// Measures what is to be measured, one photo after the other, for as long as the server runs.
    pub async fn measure_all(self: Arc<Self>) {
        let mut serial = 0;
        loop {
            let Some(id) = self.next() else {
                self.wake.notified().await;
                continue;
            };
            let bench = self.bench();
            let Ok((tray, kept)) = bench.photo(id) else { continue };
            let scale = bench.scale_of(tray);
            let (key, fines_um) = (scale.key(kept.places.as_ref()), bench.fines_um);
            let (file, name) = (self.folder.file_of(kept), kept.name.clone());
            let wish = scale.settings(kept.places.as_ref(), fines_um);
            let decoded = locked(&self.decoded).take_if(|(of, _)| *of == id).map(|(_, photo)| photo);
            self.now.store(id, Ordering::Relaxed);
            self.tell();
            let work = tokio::task::spawn_blocking(move || {
                let wish = wish.map_err(|why| Failure { why, wants_scale: true })?;
                let settings = wish.ok_or_else(|| Failure::other("Two places are wanted."))?;
                measure(decoded, &file, &name, &settings)
            });
            let outcome = work.await.unwrap_or_else(|e| Err(Failure::other(e.to_string())));
            self.now.store(0, Ordering::Relaxed);
            serial += 1;
            locked(&self.measured).insert(id, Entry { key, fines_um, serial, outcome });
            self.tell();
        }
    }

    /// The photo to measure next: first those never measured with their scale, then those whose advice speaks of another
    /// limit of the fines.
    fn next(&self) -> Option<u64> {
        let bench = self.bench();
        let mut stale = None;
        for tray in bench.shown() {
            for photo in tray.shown() {
                match self.status(&bench, tray, photo) {
                    Status::Waiting => return Some(photo.id),
                    Status::Measured(m) if !m.is_fresh => stale = stale.or(Some(photo.id)),
                    _ => {}
                }
            }
        }
        stale
    }

    /// How far a photo of `tray` has come.
    pub fn status(&self, bench: &Bench, tray: &Tray, photo: &Kept) -> Status {
        let scale = bench.scale_of(tray);
        if *scale == ScaleWish::Places && photo.places.is_none() {
            return Status::Places;
        }
        match locked(&self.measured).get(&photo.id) {
            Some(Entry { key, fines_um, serial, outcome }) if *key == scale.key(photo.places.as_ref()) => match outcome
            {
                Ok(measured) => Status::Measured(Measured {
                    photo: measured.clone(),
                    serial: *serial,
                    is_fresh: *fines_um == bench.fines_um,
                }),
                Err(why) => Status::Failed(why.clone()),
            },
            _ => Status::Waiting,
        }
    }

    /// The photo that is being measured, or 0.
    pub fn now(&self) -> u64 {
        self.now.load(Ordering::Relaxed)
    }

    /// True once every photo of the tray is measured as the settings say, its advice included.
    pub fn is_settled(&self, bench: &Bench, tray: &Tray) -> bool {
        tray.shown().all(|photo| match self.status(bench, tray, photo) {
            Status::Places | Status::Failed(_) => true,
            Status::Waiting => false,
            Status::Measured(m) => m.is_fresh,
        })
    }

    /// A text that changes whenever the answer of the tray does.
    pub fn answer_key(&self, bench: &Bench, tray: &Tray) -> String {
        let photos: Vec<String> = tray
            .shown()
            .filter_map(|p| match self.status(bench, tray, p) {
                Status::Measured(m) => Some(format!("{}/{}/{:?}", p.id, m.serial, p.left_out)),
                _ => None,
            })
            .collect();
        format!("{}|{}", bench.fines_um, photos.join(" "))
    }

    /// What the measured photos of a tray come to, without the particles left out; `None` where nothing is measured yet.
    pub fn answer(&self, bench: &Bench, tray: &Tray) -> Result<Option<Arc<Measurement>>, String> {
        let key = self.answer_key(bench, tray);
        if let Some((known, answer)) = locked(&self.answers).get(&tray.id)
            && *known == key
        {
            return Ok(Some(answer.clone()));
        }
        let mut photos = Vec::new();
        let mut settings = None;
        for photo in tray.shown() {
            if let Status::Measured(measured) = self.status(bench, tray, photo) {
                photos.push(without(&measured.photo, &photo.left_out));
                settings = bench.scale_of(tray).settings(photo.places.as_ref(), bench.fines_um)?;
            }
        }
        let Some(settings) = settings else { return Ok(None) };
        let answer = Arc::new(join(photos, &settings).map_err(|e| reasons::measure(&e))?);
        locked(&self.answers).insert(tray.id, (key, answer.clone()));
        Ok(Some(answer))
    }

    /// Does `work` on a thread of its own, when its turn has come.
    pub async fn reckon<T: Send + 'static>(
        self: &Arc<Self>,
        work: impl FnOnce(&App) -> Result<T, Refusal> + Send + 'static,
    ) -> Result<T, Refusal> {
        let turn = self.reckoning.acquire().await.map_err(|_| Refusal::busy())?;
        let app = self.clone();
        let done = tokio::task::spawn_blocking(move || work(&app)).await;
        drop(turn);
        done.unwrap_or_else(|_| Err(Refusal::broken("The reckoning broke off.".to_owned())))
    }
}

/// A thread that broke off holding the lock left whole values behind: they are only ever replaced.
fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

fn measure(
    decoded: Option<Photo>,
    file: &Path,
    name: &str,
    settings: &Settings,
) -> Result<Arc<MeasuredPhoto>, Failure> {
    let read = || photo::read(file).map_err(|e| Failure::other(reasons::photo(&e)));
    let work = || {
        let photo = decoded.map_or_else(read, Ok)?;
        measure_photo(photo, Path::new(name), settings)
            .map(Arc::new)
            .map_err(|e| Failure { why: reasons::measure(&e), wants_scale: matches!(e, MeasureError::Scale(_)) })
    };
    // One photo that breaks the measuring must not take the page down.
    catch_unwind(AssertUnwindSafe(work)).unwrap_or_else(|_| {
        let why = "The measurement broke off at this photo, which is a fault of this program. Leave the photo out.";
        Err(Failure::other(why))
    })
}

/// Centre of a particle as it is kept, px: to the hundredth, so that it is found again in the same photo.
pub(super) fn centre(particle: &Particle) -> [f64; 2] {
    [particle.x_px, particle.y_px].map(|v| (100.0 * v).round() / 100.0)
}

/// The photo without the particles at these centres.
fn without(photo: &MeasuredPhoto, left_out: &[[f64; 2]]) -> MeasuredPhoto {
    let mut kept = photo.clone();
    if left_out.is_empty() {
        return kept;
    }
    let stays: Vec<bool> = photo.particles.iter().map(|p| !left_out.contains(&centre(p))).collect();
    let mut flags = stays.iter();
    kept.particles.retain(|_| *flags.next().unwrap_or(&true));
    let mut flags = stays.iter();
    kept.shapes.retain(|_| *flags.next().unwrap_or(&true));
    kept
}
