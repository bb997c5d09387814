//! The invented study in `demo-images/bench-study`: how its particles were drawn.

use std::fmt::Write;
use std::fs;
use std::path::Path;

use lightsieve::numeric::{Draws, normal_quantile};

/// Set of burrs, kilograms, setting.
type Sample = (&'static str, f64, f64);

const SAMPLES: [Sample; 17] = [
    ("new", 0.0, 6.0),
    ("new", 1.0, 6.0),
    ("new", 2.0, 6.0),
    ("new", 4.0, 6.0),
    ("new", 7.0, 6.0),
    ("new", 11.0, 6.0),
    ("new", 16.0, 6.0),
    ("new", 22.0, 6.0),
    ("new", 30.0, 6.0),
    ("new", 0.0, 5.0),
    ("new", 0.0, 7.0),
    ("new", 30.0, 5.0),
    ("new", 30.0, 7.0),
    ("worn", 410.0, 6.0),
    ("worn", 410.0, 5.0),
    ("worn", 410.0, 7.0),
    ("worn", 418.0, 6.0),
];

const PHOTOS: usize = 3;
/// Particles of each photo: large ones and fines.
const COUNTS: [usize; 2] = [180, 720];

/// `n` sizes of a lognormal law, one from each of `n` equal shares of it, so that few particles show it well.
fn sizes(n: usize, median: f64, sigma: f64, draws: &mut Draws) -> Vec<f64> {
    (0..n).map(|i| median * (sigma * normal_quantile((i as f64 + draws.uniform()) / n as f64)).exp()).collect()
}

fn table((burrs, kg, setting): Sample, number: u64) -> String {
    let mut draws = Draws::new(2024, number);
    let left = if burrs == "new" { (-20f64.ln() * kg / 9.0).exp() } else { 0.0 };
    let worn = burrs == "worn";
    // The gap, its scatter from one dose to the next; fines over their level when run in.
    let gap = 352.0 * (1.0 + 0.09 * (setting - 6.0)) * (1.0 - 0.05 * left) * if worn { 1.06 } else { 1.0 };
    let gap = gap * (0.01 * draws.normal()).exp();
    let fines = (1.0 + 0.45 * left) * if worn { 1.5 } else { 1.0 } * (0.02 * draws.normal()).exp();
    let mut out = String::from("photo,ecd_um,weight,feret_min_um\n");
    for photo in 1..=PHOTOS {
        let median = gap * (0.012 * draws.normal()).exp();
        let more = fines * (0.03 * draws.normal()).exp();
        let mut all = sizes(COUNTS[0], median, if worn { 0.42 } else { 0.38 }, &mut draws);
        all.extend(sizes((COUNTS[1] as f64 * more) as usize, 80.0, 0.4, &mut draws));
        for ecd in all {
            let narrow = ecd * (0.84 + 0.08 * draws.uniform());
            let _ = writeln!(out, "{photo},{ecd:.1},1,{narrow:.1}");
        }
    }
    out
}

#[test]
#[ignore = "writes the shipped tables anew"]
fn write_the_bench_study() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-images/bench-study");
    fs::create_dir_all(&folder).unwrap();
    for (i, sample) in SAMPLES.into_iter().enumerate() {
        let name = format!("{}-{:03}kg-{}.csv", sample.0, sample.1, sample.2);
        fs::write(folder.join(name), table(sample, i as u64)).unwrap();
    }
}

/// The tables that are shipped are those that this code draws: the sizes to a tenth of a micrometre, but for rounding.
#[test]
fn the_shipped_tables_are_these() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-images/bench-study");
    let shipped = fs::read_to_string(folder.join("new-004kg-6.csv")).unwrap();
    let drawn = table(SAMPLES[3], 3);
    let number = |line: &str| line.split(',').nth(1).and_then(|v| v.parse::<f64>().ok()).unwrap_or(0.0);
    assert_eq!(shipped.lines().count(), drawn.lines().count());
    for (a, b) in shipped.lines().zip(drawn.lines()) {
        assert!((number(a) - number(b)).abs() < 0.15, "{a} {b}");
    }
}
