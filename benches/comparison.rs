//! Time of a comparison of 2 × 10 photos of 10 000 particles, with all intervals.
//!
//!     cargo bench --bench comparison

use divan::{Bencher, black_box};
use lightsieve::compare::{Grounds, Question, compare};
use lightsieve::distribution::{PhotoParticles, Sample};
use lightsieve::numeric::Draws;
use lightsieve::particle::Particle;

fn main() {
    divan::main();
}

fn grounds(name: &str, median_um: f64, seed: u64) -> Grounds {
    let photo = |i: u64| {
        let mut draws = Draws::new(seed, i);
        let shift = (0.02 * draws.normal()).exp();
        let particles =
            (0..10_000).map(|_| Particle::disc(shift * median_um * (0.45 * draws.normal()).exp())).collect();
        PhotoParticles { name: format!("{i}"), particles, smallest_ecd_um: 20.0 }
    };
    let sample = Sample::new((0..10).map(photo).collect()).expect("drawn particles are good");
    Grounds { name: name.to_owned(), sample, scale_uncertainty: 0.0 }
}

#[divan::bench(sample_count = 10)]
fn two_samples_of_ten_photos(bencher: Bencher<'_, '_>) {
    let [base, other] = [("new", 250.0, 1), ("worn", 255.0, 2)].map(|(name, median, seed)| grounds(name, median, seed));
    let question =
        Question { level: 0.95, fines_um: 100.0, shares_above_um: vec![], margin: 0.05, fines_margin: 0.2, seed: 1 };
    bencher.bench_local(|| compare(black_box(&base), std::slice::from_ref(&other), &question));
}
