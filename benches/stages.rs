//! Time of every stage on one rendered photo of 12 megapixels, from JPEG bytes in memory.
//!
//!     cargo bench --bench stages
//!
//! With BENCH_PHOTO set, the photo at that path is taken instead of a rendered one.

use std::io::Cursor;
use std::path::Path;
use std::sync::LazyLock;

use divan::{Bencher, black_box};
use lightsieve::backdrop::{self, Region, Scene};
use lightsieve::particle;
use lightsieve::photo::{self, Photo};
use lightsieve::pipeline::{ScaleChoice, Settings, join, measure_photo};
use lightsieve::render::{Ink, SceneSpec, View, render};
use lightsieve::scale::sheet::{Mark, find_sheet, frames};
use lightsieve::segment::{self, Regions};
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

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

/// The same number of pixels with frame L of the scale sheet in view, tilted.
static SHEET: LazyLock<Vec<u8>> = LazyLock::new(|| {
    let frame = frames().swap_remove(0);
    let middle = frame.middle();
    let at = |p: [f64; 2]| [p[0] - middle[0], p[1] - middle[1]];
    let ([x0, y0], [x1, y1]) = (at([frame.field[0], frame.field[1]]), at([frame.field[2], frame.field[3]]));
    let mut spec = SceneSpec { width_px: 4000, height_px: 3000, um_per_px: 27.0, ..SceneSpec::default() };
    spec.view = Some(View { tilt_deg: 10.0, k1: -0.04, ..View::default() });
    spec.spread_mm = Some([x0, y0, x1, y1]);
    let discs = frame.marks.iter().flat_map(Mark::discs);
    spec.print.extend(discs.map(|(centre, radius, white)| {
        if white { Ink::white_disc(at(centre), radius) } else { Ink::disc(at(centre), radius) }
    }));
    render(&spec).expect("the scene has room for its particles").jpeg()
});

fn main() {
    // Rendering takes longer than measuring: it is done before the clock starts.
    LazyLock::force(&STAGES);
    LazyLock::force(&SHEET);
    divan::main();
}

#[divan::bench(sample_count = 10, sample_size = 1)]
fn decode(bencher: Bencher) {
    bencher.bench(|| photo::decode(black_box(&STAGES.jpeg)));
}

/// The same by a library that shares no file among threads.
#[divan::bench(sample_count = 10, sample_size = 1)]
fn decode_by_library(bencher: Bencher) {
    let options = DecoderOptions::default().jpeg_set_out_colorspace(ColorSpace::Luma);
    bencher.bench(|| JpegDecoder::new_with_options(Cursor::new(black_box(&STAGES.jpeg)), options).decode());
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

/// What the scale costs where the sheet gives it.
#[divan::bench(sample_count = 10, sample_size = 1)]
fn sheet(bencher: Bencher) {
    let photo = photo::decode(&SHEET).expect("the photo decodes");
    bencher.bench(|| find_sheet(black_box(&photo)).expect("the sheet is in view"));
}

/// What looking for a sheet costs where there is none.
#[divan::bench(sample_count = 10, sample_size = 1)]
fn no_sheet(bencher: Bencher) {
    bencher.bench(|| find_sheet(black_box(&STAGES.photo)).expect_err("no sheet is in view"));
}

/// From the bytes of the file to the distribution with its intervals.
#[divan::bench(sample_count = 10, sample_size = 1)]
fn whole(bencher: Bencher) {
    bencher.bench(|| {
        let photo = photo::decode(black_box(&STAGES.jpeg)).expect("decoded before");
        let measured = measure_photo(photo, Path::new("photo.jpg"), &STAGES.settings).expect("measured before");
        join(vec![measured], &STAGES.settings)
    });
}
