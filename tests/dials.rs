//! Simulated sets of burrs over several settings: how often the intervals of the dial's shift and of the figures at the same
//! median hold the truth, and how often a difference is seen where there is none.
//!
//! The quick test runs a part with bounds that chance breaks less than once in a thousand runs. The table in
//! `docs/comparing.md` comes from `cargo test --release --test dials -- --ignored --nocapture`.

use lightsieve::compare::{DialError, DialQuestion, Dials, Ground, Grounds, Quantity, dials};
use lightsieve::distribution::{Basis, Figures, PhotoParticles, Sample, Sizes};
use lightsieve::numeric::Draws;
use lightsieve::particle::Particle;
use rayon::prelude::*;

/// Steps by which the other set's dial says more at the same gap.
const SHIFT: f64 = 1.5;
/// Figures that are looked at: D10, D90, span, fines.
const LOOKED_AT: [usize; 4] = [0, 2, 3, 4];

/// Size of a particle at a gap: the coarse part follows the gap, the fine part does not.
fn size(gap: f64, fine_odds: f64, draws: &mut Draws) -> f64 {
    let share = fine_odds / (1.0 + fine_odds);
    if draws.uniform() < share {
        80.0 * (0.45 * draws.normal()).exp()
    } else {
        500.0 * (0.08 * (gap - 10.0) + 0.35 * draws.normal()).exp()
    }
}

/// How a study is laid out.
#[derive(Clone, Copy)]
struct Study {
    settings: &'static [f64],
    photos: usize,
    particles: usize,
    /// Scatter of grinding again, and of spreading again, in the median; that of the odds of fines is three times as much.
    scatter: [f64; 2],
    /// Odds of fines of both sets.
    odds: [f64; 2],
}

impl Study {
    fn run(&self, run: u64) -> Result<Dials, DialError> {
        let mut draws = Draws::new(23, run);
        let mut samples = Vec::new();
        for (set, (name, more)) in [("new", 0.0), ("worn", SHIFT)].into_iter().enumerate() {
            for &setting in self.settings {
                let moved =
                    |by: f64, draws: &mut Draws| ((by * draws.normal()).exp(), (3.0 * by * draws.normal()).exp());
                let batch = moved(self.scatter[0], &mut draws);
                let photos = (0..self.photos).map(|photo| {
                    let spread = moved(self.scatter[1], &mut draws);
                    let odds = self.odds[set] * batch.1 * spread.1;
                    let particle = |draws: &mut Draws| {
                        Particle::disc(batch.0 * spread.0 * size(setting - 0.5 * more, odds, draws))
                    };
                    let particles = (0..self.particles).map(|_| particle(&mut draws)).collect();
                    PhotoParticles { name: format!("{photo}"), particles, smallest_ecd_um: 20.0 }
                });
                let sample = Sample::new(photos.collect()).unwrap();
                // Half of the shift lies in the dial of each set, so that both cover nearly the same.
                let setting = setting + 0.5 * more;
                let grounds = Grounds { name: format!("{name} {setting}"), sample, scale_uncertainty: 0.0 };
                samples.push(Ground { set: name.to_owned(), setting, grounds });
            }
        }
        dials(&samples, &question())
    }

    fn all(&self, runs: u64) -> Vec<Dials> {
        (0..runs).into_par_iter().filter_map(|run| self.run(run).ok()).collect()
    }
}

fn question() -> DialQuestion {
    DialQuestion { level: 0.95, fines_um: 100.0, median_um: None, margin: 0.05, fines_margin: 0.2 }
}

/// Logarithms of median and figures over the gap, from samples of half a million.
struct Truth(Vec<[f64; 7]>);

impl Truth {
    const GAPS: std::ops::RangeInclusive<i32> = 5..=16;

    fn of(odds: f64) -> Self {
        let figures = |gap: i32| {
            let mut draws = Draws::new(5, gap as u64);
            let rows = (0..500_000).map(|_| (size(f64::from(gap), odds, &mut draws), 1.0, 0)).collect();
            Figures::of(&Sizes::from_rows(rows), Basis::Mass, 100.0).to_array().map(f64::ln)
        };
        Truth(Self::GAPS.into_par_iter().map(figures).collect())
    }

    /// Figure `i` at a median, both as logarithms.
    fn at(&self, i: usize, median: f64) -> f64 {
        let k = self.0.partition_point(|f| f[1] < median).clamp(1, self.0.len() - 1);
        let (a, b) = (&self.0[k - 1], &self.0[k]);
        a[i] + (b[i] - a[i]) * (median - a[1]) / (b[1] - a[1])
    }
}

/// Shares of studies: shift held, each figure held, any figure said to differ, fines said to differ.
fn rates(study: &Study, runs: u64, truth: &[Truth; 2]) -> (usize, f64, [f64; 4], f64, f64) {
    let found = study.all(runs);
    let share = |of: &dyn Fn(&Dials) -> bool| found.iter().filter(|d| of(d)).count() as f64 / found.len() as f64;
    let shift = share(&|d| (d.pairs[0].shift.low..=d.pairs[0].shift.high).contains(&SHIFT));
    let held = LOOKED_AT.map(|i| {
        share(&|d| {
            let f = d.pairs[0].figures.iter().find(|f| f.quantity == Quantity::Figure(i)).unwrap();
            let median = d.median_um.ln();
            let pct = 100.0 * (truth[1].at(i, median) - truth[0].at(i, median)).exp_m1();
            (f.relative_pct.low..=f.relative_pct.high).contains(&pct)
        })
    });
    let any = share(&|d| d.pairs[0].clear().count() > 0);
    let fines = share(&|d| d.pairs[0].clear().any(|f| f.quantity == Quantity::FINES));
    (found.len(), shift, held, any, fines)
}

const PLAIN: Study =
    Study { settings: &[8.0, 10.0, 12.0], photos: 3, particles: 600, scatter: [0.0, 0.02], odds: [4.0, 4.0] };

#[test]
fn shift_and_figures_are_held_and_alarms_are_few() {
    let runs = 200;
    let slack = 3.5 * (0.95f64 * 0.05 / runs as f64).sqrt();
    let truth = [Truth::of(4.0), Truth::of(4.0)];
    for study in [PLAIN, Study { settings: &[7.0, 9.0, 11.0, 13.0], photos: 1, scatter: [0.03, 0.02], ..PLAIN }] {
        let (done, shift, held, any, _) = rates(&study, runs, &truth);
        assert!(done as f64 > 0.9 * runs as f64, "{done} of {runs} could be judged");
        assert!(shift > 0.95 - slack, "shift held in {shift}");
        for (i, share) in LOOKED_AT.into_iter().zip(held) {
            assert!(share > 0.95 - slack, "{} held in {share}", Figures::NAMES[i]);
        }
        assert!(any < 0.05 + slack, "{any} false alarms");
    }
}

#[test]
fn what_cannot_be_compared_is_refused_with_a_way_out() {
    let mut one = PLAIN;
    one.settings = &[10.0, 10.0];
    assert!(matches!(one.run(0), Err(DialError::OneSetting(_))));
    // Two settings of two sets and a shared slope leave one sample to judge by.
    one.settings = &[8.0, 12.0];
    assert_eq!(one.run(0), Err(DialError::TooFew));
    one = Study { settings: &[10.0, 10.1, 10.2], ..one };
    assert_eq!(one.run(0), Err(DialError::Flat("new".to_owned())));
}

#[test]
#[ignore = "the whole table takes minutes"]
fn print_the_whole_table() {
    let runs: u64 = std::env::var("RUNS").ok().and_then(|v| v.parse().ok()).unwrap_or(400);
    let same = [Truth::of(4.0), Truth::of(4.0)];
    let more = [Truth::of(4.0), Truth::of(5.2)];
    println!(
        "| settings a set | photos each | scatter of grinding, of spreading | judged | shift held | D10, D90, span, fines held | false alarms | 30 % more odds of fines: held / seen |"
    );
    let layouts: [&'static [f64]; 4] = [
        &[8.0, 8.0, 12.0, 12.0],
        &[8.0, 10.0, 12.0],
        &[8.0, 8.0, 10.0, 12.0, 12.0],
        &[7.0, 8.0, 9.0, 10.0, 11.0, 12.0, 13.0],
    ];
    for settings in layouts {
        for photos in [1, 3] {
            for scatter in [[0.0, 0.02], [0.03, 0.02]] {
                let study = Study { settings, photos, scatter, ..PLAIN };
                let (done, shift, held, any, _) = rates(&study, runs, &same);
                let (_, _, held_more, _, seen) = rates(&Study { odds: [4.0, 5.2], ..study }, runs, &more);
                let pct = |v: f64| format!("{:.1}", 100.0 * v);
                println!(
                    "| {} | {photos} | {} %, {} % | {} | {} | {} | {} | {} / {} |",
                    settings.len(),
                    100.0 * scatter[0],
                    100.0 * scatter[1],
                    pct(done as f64 / runs as f64),
                    pct(shift),
                    held.map(pct).join(", "),
                    pct(any),
                    pct(held_more[3]),
                    pct(seen)
                );
            }
        }
    }
}
