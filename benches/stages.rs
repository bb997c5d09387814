//! Time of every stage on one rendered photo of 12 megapixels, from JPEG bytes in memory.
//!
//!     cargo bench --bench stages
//!
//! With BENCH_PHOTO set, the photo at that path is taken instead of a rendered one.

use std::path::Path;
use std::sync::LazyLock;

use divan::{Bencher, black_box};
use lightsieve::backdrop::{self, Region, Scene};
use lightsieve::particle;
use lightsieve::photo::{self, Photo};
use lightsieve::pipeline::{ScaleChoice, Settings, join, measure_photo};
use lightsieve::render::{SceneSpec, render};
use lightsieve::segment::{self, Regions};

const UM_PER_PX: f64 = 20.0;

/// The photo as a file and after every stage, so that each bench starts from what the stage before gives.
struct Stages {
    jpeg: Vec<u8>,
    photo: Photo,
    scene: Scene,
    regions: Regions,
    settings: Settings,
}

static STAGES: LazyLock<Stages> = LazyLock::new(|| {
    let jpeg = match std::env::var_os("BENCH_PHOTO") {
        Some(path) => std::fs::read(path).expect("the photo can be read"),
        None => {
            let spec = SceneSpec { width_px: 4000, height_px: 3000, um_per_px: UM_PER_PX, ..SceneSpec::default() };
            render(&spec).expect("the scene has room for its particles").jpeg()
        }
    };
    let photo = photo::decode(&jpeg).expect("the photo decodes");
    let scene = backdrop::read(&photo, Region::default()).expect("the photo shows paper");
    let regions = segment::find(&photo, &scene);
    let settings = Settings::new(ScaleChoice::Given(UM_PER_PX)).expect("the scale is in range");
    Stages { jpeg, photo, scene, regions, settings }
});

fn main() {
    // Rendering takes longer than measuring: it is done before the clock starts.
    LazyLock::force(&STAGES);
    divan::main();
}

#[divan::bench(sample_count = 10, sample_size = 1)]
fn decode(bencher: Bencher) {
    bencher.bench(|| photo::decode(black_box(&STAGES.jpeg)));
}

#[divan::bench(sample_count = 10, sample_size = 1)]
fn backdrop(bencher: Bencher) {
    bencher.bench(|| backdrop::read(black_box(&STAGES.photo), Region::default()));
}

#[divan::bench(sample_count = 10, sample_size = 1)]
fn segment(bencher: Bencher) {
    bencher.bench(|| segment::find(black_box(&STAGES.photo), &STAGES.scene));
}

#[divan::bench(sample_count = 10, sample_size = 1)]
fn shapes(bencher: Bencher) {
    bencher.bench(|| particle::shapes(black_box(&STAGES.photo), &STAGES.scene, &STAGES.regions));
}

/// From the bytes of the file to the distribution with its intervals.
#[divan::bench(sample_count = 10, sample_size = 1)]
fn whole(bencher: Bencher) {
    bencher.bench(|| {
        let photo = photo::decode(black_box(&STAGES.jpeg)).expect("decoded before");
        let measured = measure_photo(&photo, Path::new("photo.jpg"), &STAGES.settings).expect("measured before");
        join(vec![measured], &STAGES.settings)
    });
}
