//! Simulated coverage of the printed intervals: grinds of known law are drawn again and again, and each time it is
//! noted whether the interval holds the true figure.
//!
//! The quick test runs a part of it with a bound that chance breaks less than once in a thousand runs. The whole
//! table in `docs/uncertainty.md` comes from
//! `cargo test --release --test coverage -- --ignored --nocapture`.

use lightsieve::distribution::{Basis, Figures, IntervalSettings, Sizes, intervals, share_above};
use lightsieve::numeric::{Draws, Estimate};
use rayon::prelude::*;

/// A grind: coarse and fine lognormal parts by number.
#[derive(Clone, Copy)]
struct Grind {
    coarse_um: f64,
    coarse_ln_sigma: f64,
    fine_um: f64,
    fine_ln_sigma: f64,
    fine_share: f64,
}

const FILTER: Grind =
    Grind { coarse_um: 500.0, coarse_ln_sigma: 0.35, fine_um: 80.0, fine_ln_sigma: 0.45, fine_share: 0.85 };
const NARROW: Grind =
    Grind { coarse_um: 400.0, coarse_ln_sigma: 0.30, fine_um: 80.0, fine_ln_sigma: 0.4, fine_share: 0.3 };

/// One study: `photos` spreads of `particles` each; the median of a spread scatters by `spread` (relative).
#[derive(Clone, Copy)]
struct Study {
    grind: Grind,
    photos: usize,
    particles: usize,
    spread: f64,
}

impl Study {
    fn draw(&self, draws: &mut Draws) -> Sizes {
        let mut rows = Vec::with_capacity(self.photos * self.particles);
        for photo in 0..self.photos {
            let shift = (self.spread * draws.normal()).exp();
            for _ in 0..self.particles {
                rows.push((shift * self.size(draws), 1.0, photo));
            }
        }
        Sizes::from_rows(rows)
    }

    fn size(&self, draws: &mut Draws) -> f64 {
        let g = self.grind;
        let (median, sigma) = if draws.uniform() < g.fine_share {
            (g.fine_um, g.fine_ln_sigma)
        } else {
            (g.coarse_um, g.coarse_ln_sigma)
        };
        median * (sigma * draws.normal()).exp()
    }

    /// A very large sample without spread.
    fn very_many(&self) -> Sizes {
        Study { photos: 1, spread: 0.0, particles: 2_000_000, ..*self }.draw(&mut Draws::new(99, 0))
    }

    /// Share of `runs` studies whose interval holds the truth, per figure.
    fn coverage(&self, runs: u64) -> [f64; 7] {
        let truth = Figures::of(&self.very_many(), Basis::Mass, 100.0).to_array();
        self.held(runs, truth, |sizes, how| intervals(sizes, Basis::Mass, 100.0, how))
    }

    /// The same for the shares of the mass coarser than the [`COARSER_UM`].
    fn coverage_of_shares(&self, runs: u64) -> [f64; 3] {
        let all = self.very_many();
        let truth = COARSER_UM.map(|um| 100.0 * (1.0 - all.finer(Basis::Mass, um)));
        // All that there is is seen.
        self.held(runs, truth, |sizes, how| COARSER_UM.map(|um| share_above(sizes, um, 0.0, 100.0, how)))
    }

    fn held<const N: usize>(
        &self,
        runs: u64,
        truth: [f64; N],
        of: impl Fn(&Sizes, &IntervalSettings) -> [Estimate; N] + Sync,
    ) -> [f64; N] {
        let hits = (0..runs).into_par_iter().map(|run| {
            let sizes = self.draw(&mut Draws::new(5, run));
            let found = of(&sizes, &IntervalSettings { level: 0.95, draws: 300, seed: run, scale_uncertainty: 0.0 });
            std::array::from_fn(|f| u32::from(found[f].low <= truth[f] && truth[f] <= found[f].high))
        });
        let hits: Vec<[u32; N]> = hits.collect();
        std::array::from_fn(|f| hits.iter().map(|h| f64::from(h[f])).sum::<f64>() / runs as f64)
    }
}

/// Sizes that some tenth, half and nine tenths of the mass of both grinds are coarser than, µm.
const COARSER_UM: [f64; 3] = [1000.0, 600.0, 350.0];

#[test]
fn intervals_of_one_and_three_photos_hold_the_truth_as_often_as_they_say() {
    let runs = 300;
    // 95 % less three and a half standard errors of 300 draws; what the method is known to lack is in the docs.
    let bound = 0.95 - 3.5 * (0.95f64 * 0.05 / runs as f64).sqrt();
    let one = Study { grind: FILTER, photos: 1, particles: 4000, spread: 0.0 };
    let three = Study { grind: FILTER, photos: 3, particles: 2000, spread: 0.03 };
    for study in [one, three] {
        for (name, share) in Figures::NAMES.into_iter().zip(study.coverage(runs)) {
            assert!(share > bound, "{name} with {} photos: {share}", study.photos);
        }
        for (um, share) in COARSER_UM.into_iter().zip(study.coverage_of_shares(runs)) {
            assert!(share > bound, "share above {um} µm with {} photos: {share}", study.photos);
        }
    }
}

#[test]
fn a_handful_of_particles_is_not_believed() {
    let runs = 400;
    for particles in [1, 3, 5, 10, 30] {
        let held = Study { grind: NARROW, photos: 1, particles, spread: 0.0 }.coverage(runs);
        println!("{particles}: {held:.3?}");
        for f in [0, 1, 2] {
            assert!(held[f] > 0.9, "{} of {particles} particles: {}", Figures::NAMES[f], held[f]);
        }
    }
}

#[test]
#[ignore = "the whole table takes minutes"]
fn print_the_whole_table() {
    println!(
        "| grind | photos | particles each | spread | D10 | D50 | D90 | span | fines | D[3,2] | D[4,3] | > 1000 | > 600 | > 350 |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|---|---|---|---|");
    for (name, grind) in [("two parts", FILTER), ("few fines", NARROW)] {
        for photos in [1, 2, 3, 5] {
            for particles in [300, 1000, 4000] {
                for spread in [0.0, 0.03] {
                    if photos == 1 && spread > 0.0 || particles * photos > 12_000 {
                        continue;
                    }
                    let study = Study { grind, photos, particles, spread };
                    let (figures, shares) = (study.coverage(400), study.coverage_of_shares(400));
                    let row: Vec<String> = figures.iter().chain(&shares).map(|c| format!("{:.1}", 100.0 * c)).collect();
                    println!("| {name} | {photos} | {particles} | {:.0} % | {} |", 100.0 * spread, row.join(" | "));
                }
            }
        }
    }
}
