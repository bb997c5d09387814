//! Simulated comparisons: two grinds of known law are drawn again and again, and each time it is noted whether the
//! intervals hold the true differences, and whether the verdict is right.
//!
//! The quick tests run a part of it with bounds that chance breaks less than once in a thousand runs. The table in
//! `docs/comparing.md` comes from `cargo test --release --test comparing -- --ignored --nocapture`.

use lightsieve::compare::{Comparison, Difference, Grounds, Quantity, Question, Verdict, compare};
use lightsieve::distribution::{Basis, Figures, PhotoParticles, Sample, Sizes};
use lightsieve::numeric::{Draws, Estimate, normal_cdf, student_t_quantile};
use lightsieve::particle::Particle;
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

const TWO_PARTS: Grind =
    Grind { coarse_um: 500.0, coarse_ln_sigma: 0.35, fine_um: 80.0, fine_ln_sigma: 0.45, fine_share: 0.85 };
const LOGNORMAL: Grind = Grind { coarse_um: 250.0, coarse_ln_sigma: 0.45, fine_share: 0.0, ..TWO_PARTS };

impl Grind {
    fn larger(self, factor: f64) -> Self {
        Grind { coarse_um: self.coarse_um * factor, fine_um: self.fine_um * factor, ..self }
    }

    fn size(&self, fine_share: f64, draws: &mut Draws) -> f64 {
        let (median, sigma) = if draws.uniform() < fine_share {
            (self.fine_um, self.fine_ln_sigma)
        } else {
            (self.coarse_um, self.coarse_ln_sigma)
        };
        median * (sigma * draws.normal()).exp()
    }

    /// Photos of `particles` each; the median scatters by `spread` from photo to photo, and with it the odds of fines by 10 %.
    fn photos(&self, photos: usize, particles: usize, spread: f64, draws: &mut Draws) -> Vec<PhotoParticles> {
        (0..photos)
            .map(|photo| {
                let shift = (spread * draws.normal()).exp();
                let odds = self.fine_share / (1.0 - self.fine_share);
                let odds = odds * (if spread > 0.0 { 0.1 * draws.normal() } else { 0.0 }).exp();
                let share = odds / (1.0 + odds);
                let particles = (0..particles).map(|_| Particle::disc(shift * self.size(share, draws))).collect();
                PhotoParticles { name: format!("{photo}"), particles, smallest_ecd_um: 30.0 }
            })
            .collect()
    }

    /// Figures of a very large sample without spread.
    fn truth(&self) -> [f64; 7] {
        let mut draws = Draws::new(99, 0);
        let rows = (0..3_000_000).map(|_| (self.size(self.fine_share, &mut draws), 1.0, 0)).collect();
        Figures::of(&Sizes::from_rows(rows), Basis::Mass, 100.0).to_array()
    }
}

const SIDES: [[usize; 2]; 9] = [[1, 1], [1, 2], [2, 2], [3, 3], [5, 5], [10, 10], [2, 5], [1, 5], [2, 10]];

/// All sides, or those named in SIDES as in `SIDES=1+1,3+3`.
fn wanted(sides: &[usize; 2]) -> bool {
    let name = format!("{}+{}", sides[0], sides[1]);
    std::env::var("SIDES").map_or(true, |v| v.split(',').any(|s| s == name))
}

/// All counts of particles, or that of PARTICLES.
fn wanted_particles(particles: &usize) -> bool {
    std::env::var("PARTICLES").map_or(true, |v| v == particles.to_string())
}

/// All grinds, or that of GRIND.
fn wanted_grind(name: &str) -> bool {
    std::env::var("GRIND").map_or(true, |v| v == name)
}

fn question(seed: u64) -> Question {
    Question { level: 0.95, fines_um: 100.0, shares_above_um: vec![], margin: 0.05, fines_margin: 0.2, seed }
}

/// A study: photos a side, particles a photo, spread.
#[derive(Clone, Copy)]
struct Study {
    grinds: [Grind; 2],
    photos: [usize; 2],
    particles: usize,
    spread: f64,
}

impl Study {
    fn run(&self, run: u64) -> Comparison {
        let mut draws = Draws::new(17, run);
        let [base, other] = [0, 1].map(|i| Grounds {
            name: format!("{i}"),
            sample: Sample::new(self.grinds[i].photos(self.photos[i], self.particles, self.spread, &mut draws))
                .unwrap(),
            scale_uncertainty: 0.0,
        });
        compare(&base, &[other], &question(run)).unwrap().remove(0)
    }

    fn all(&self, runs: u64) -> Vec<Comparison> {
        (0..runs).into_par_iter().map(|run| self.run(run)).collect()
    }
}

fn share(found: &[Comparison], of: impl Fn(&Comparison) -> bool) -> f64 {
    found.iter().filter(|c| of(c)).count() as f64 / found.len() as f64
}

/// True where the band holds the difference of curves that truly are the same.
fn holds_the_whole_curve(c: &Comparison) -> bool {
    let curve = c.curves.difference_pct.iter().zip(&c.curves.difference_half_pct);
    curve.into_iter().all(|(d, half)| half.is_none_or(|half| d.abs() <= half))
}

/// Share of comparisons whose interval of each figure holds the true ratio.
fn coverage(found: &[Comparison], truth: [[f64; 7]; 2]) -> Vec<f64> {
    coverage_by(found, truth, |d| d.relative_pct)
}

/// The same by an interval that is not given where the base shows nothing of a figure: of those studies nothing is told.
fn coverage_by(
    found: &[Comparison],
    truth: [[f64; 7]; 2],
    interval: impl Fn(&Difference) -> Option<Estimate>,
) -> Vec<f64> {
    (0..7)
        .map(|f| {
            let ratio = 100.0 * (truth[1][f] / truth[0][f] - 1.0);
            let of =
                |c: &Comparison| c.differences.iter().find(|d| d.quantity == Quantity::Figure(f)).and_then(&interval);
            let given: Vec<Estimate> = found.iter().filter_map(of).collect();
            given.iter().filter(|e| e.low <= ratio && ratio <= e.high).count() as f64 / given.len() as f64
        })
        .collect()
}

#[test]
fn intervals_hold_and_alarms_are_few() {
    let runs = 200;
    // 95 % less three and a half standard errors of 200 draws; and as many more false alarms than 5 %.
    let slack = 3.5 * (0.95f64 * 0.05 / runs as f64).sqrt();
    let truth = TWO_PARTS.truth();
    for (photos, spread) in [([1, 1], 0.0), ([3, 3], 0.03), ([2, 5], 0.0), ([1, 5], 0.03)] {
        let found = Study { grinds: [TWO_PARTS; 2], photos, particles: 1000, spread }.all(runs);
        let all_given =
            |c: &Comparison| c.differences.len() == 7 && c.differences.iter().all(|d| d.relative_pct.is_some());
        assert!(found.iter().all(all_given), "so many particles show every figure");
        for (name, share) in Figures::NAMES.into_iter().zip(coverage(&found, [truth; 2])) {
            assert!(share > 0.95 - slack, "{name} with {photos:?} photos: {share}");
        }
        // The interval that equivalence rests on.
        let slack_90 = 3.5 * (0.9f64 * 0.1 / runs as f64).sqrt();
        for (name, share) in
            Figures::NAMES.into_iter().zip(coverage_by(&found, [truth; 2], |d| Some(d.equivalence_pct)))
        {
            assert!(share > 0.9 - slack_90, "{name} with {photos:?} photos: {share} within 90 %");
        }
        let alarms = share(&found, |c| c.verdict == Verdict::Different);
        assert!(alarms < 0.05 + slack, "{alarms} false alarms with {photos:?} photos");
        assert!(share(&found, holds_the_whole_curve) > 0.95 - slack, "{photos:?}");
    }
}

#[test]
fn photos_of_few_particles_beside_one_of_many_raise_no_alarms() {
    // Taken for photos like the others, the small ones made a quarter of such studies call the same grounds different.
    let alarms = |counts: [&[usize]; 2]| {
        let study = |run: u64| {
            let mut draws = Draws::new(23, run);
            let [base, other] = counts.map(|counts| Grounds {
                name: format!("{counts:?}"),
                sample: Sample::new(
                    counts.iter().flat_map(|&n| TWO_PARTS.photos(1, n, 0.0, &mut draws)).collect::<Vec<_>>(),
                )
                .unwrap(),
                scale_uncertainty: 0.0,
            });
            compare(&base, &[other], &question(run)).unwrap().remove(0)
        };
        let found: Vec<Comparison> = (0..60).into_par_iter().map(study).collect();
        share(&found, |c| c.verdict == Verdict::Different)
    };
    // 5 % and three and a half standard errors of 60 draws.
    let most = 0.05 + 3.5 * (0.05f64 * 0.95 / 60.0).sqrt();
    for counts in [[&[3000][..], &[4000, 40, 40, 40, 40]], [&[3000, 3000, 3000], &[4000, 40, 40]]] {
        let found = alarms(counts);
        assert!(found <= most, "{counts:?}: {found}");
    }
}

#[test]
fn what_lies_beyond_the_margin_is_not_called_alike() {
    // The true sizes differ by the margin itself.
    let grinds = [LOGNORMAL, LOGNORMAL.larger(1.05)];
    let found = Study { grinds, photos: [5, 5], particles: 2000, spread: 0.01 }.all(300);
    let wrong = share(&found, |c| c.differences[1].alike);
    assert!(wrong < 0.05 + 3.5 * (0.05f64 * 0.95 / 300.0).sqrt(), "{wrong}");
    assert!(share(&found, |c| c.verdict == Verdict::Alike) <= wrong);
}

#[test]
#[ignore = "the whole table takes many minutes"]
fn print_the_whole_table() {
    let runs: u64 = std::env::var("RUNS").ok().and_then(|v| v.parse().ok()).unwrap_or(1000);
    for (name, grind) in [("two parts", TWO_PARTS), ("lognormal", LOGNORMAL)].into_iter().filter(|g| wanted_grind(g.0))
    {
        let truth = grind.truth();
        for photos in SIDES.iter().copied().filter(wanted) {
            for particles in [300, 1000, 4000, 10_000].into_iter().filter(wanted_particles) {
                if particles * photos[0].max(photos[1]) > 30_000 {
                    continue;
                }
                for spread in [0.0, 0.01, 0.03, 0.06] {
                    let study = Study { grinds: [grind; 2], photos, particles, spread };
                    let same = study.all(runs);
                    let row: Vec<String> =
                        coverage(&same, [truth; 2]).iter().map(|c| format!("{:.1}", 100.0 * c)).collect();
                    let alarms = share(&same, |c| c.verdict == Verdict::Different);
                    let curve = share(&same, holds_the_whole_curve);
                    println!(
                        "| {name} | {} + {} | {particles} | {:.0} % | {} | {:.1} | {:.1} |",
                        photos[0],
                        photos[1],
                        100.0 * spread,
                        row.join(" | "),
                        100.0 * curve,
                        100.0 * alarms
                    );
                }
            }
        }
    }
}

/// How often Student's two-sample t test at 5 % shows a difference of `errors` true standard errors between normal values: no test
/// that errs towards neither side and does not know the variance shows more.
///
/// Source: E. L. Lehmann & J. P. Romano, Testing Statistical Hypotheses (2005), section 5.3 (from memory).
fn power_of_student(photos: usize, errors: f64) -> f64 {
    let freedom = 2 * photos - 2;
    let reach = student_t_quantile(0.975, freedom as f64);
    let mut draws = Draws::new(5, photos as u64);
    let mut shown = 0.0;
    let runs = 20_000;
    for _ in 0..runs {
        let squares: f64 = (0..freedom).map(|_| draws.normal().powi(2)).sum();
        let edge = reach * (squares / freedom as f64).sqrt();
        shown += normal_cdf(errors - edge) + normal_cdf(-errors - edge);
    }
    shown / f64::from(runs)
}

#[test]
fn power_of_student_as_in_scipy() {
    // Source: scipy.stats.nct (SciPy 1.17.1): 1 − nct.cdf(c, 2n − 2, 2.8) + nct.cdf(−c, 2n − 2, 2.8), c = t.ppf(0.975, 2n − 2).
    for (photos, power) in [(2, 0.3518), (3, 0.5636), (5, 0.6898), (10, 0.7543)] {
        assert!((power_of_student(photos, 2.8) - power).abs() < 0.005, "{photos}");
    }
}

#[test]
#[ignore = "the whole table takes many minutes"]
fn print_power_and_false_equivalence() {
    let runs: u64 = std::env::var("RUNS").ok().and_then(|v| v.parse().ok()).unwrap_or(1000);
    let d50 = |c: &Comparison| c.differences[1].clone();
    for photos in [2, 3, 5, 10] {
        for (particles, spread) in [(1000, 0.0), (1000, 0.03), (4000, 0.01), (300, 0.06)] {
            // True scatter of the difference, to be known by the test that knows everything.
            let null = Study { grinds: [TWO_PARTS; 2], photos: [photos; 2], particles, spread }.all(runs);
            let ln = |c: &Comparison| (d50(c).values[1] / d50(c).values[0]).ln();
            let sd = (null.iter().map(|c| ln(c).powi(2)).sum::<f64>() / null.len() as f64).sqrt();
            let shift = 2.8 * sd;
            let found =
                Study { grinds: [TWO_PARTS, TWO_PARTS.larger(shift.exp())], photos: [photos; 2], particles, spread }
                    .all(runs);
            let knowing = 1.0 - normal_cdf(1.96 - 2.8) + normal_cdf(-1.96 - 2.8);
            let edge =
                Study { grinds: [TWO_PARTS, TWO_PARTS.larger(1.05)], photos: [photos; 2], particles, spread }.all(runs);
            println!(
                "| {photos} | {particles} | {:.0} % | {:.1} | {:.0} | {:.0} | {:.0} | {:.0} | {:.1} | {:.1} | {:.0} |",
                100.0 * spread,
                100.0 * shift,
                100.0 * knowing,
                100.0 * power_of_student(photos, 2.8),
                100.0 * share(&found, |c| d50(c).p < 0.05),
                100.0 * share(&found, |c| c.verdict == Verdict::Different),
                100.0 * share(&edge, |c| d50(c).alike),
                100.0 * share(&edge, |c| c.verdict == Verdict::Alike),
                100.0 * share(&null, |c| c.verdict == Verdict::Alike),
            );
        }
    }
}
