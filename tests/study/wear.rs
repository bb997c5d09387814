//! Wear simulated: burrs that do not change, that change steadily, and that come to a plateau are drawn again and again.
//!
//! The quick tests have bounds that chance breaks less than once in a thousand runs. The table in `docs/study.md` comes from
//! `cargo test --test study -- --ignored --nocapture`.

use lightsieve::numeric::Draws;
use lightsieve::study::matched::{Row, slope};
use lightsieve::study::wear::{Common, Point, Shape, Trend, WearError, trend};
use rayon::prelude::*;

/// How the figure truly changes over the range, as a share of it.
#[derive(Clone, Copy)]
enum Truth {
    Same,
    Line(f64),
    /// Change from the first sample to the last, and the part of the range in which 95 % of all is done.
    Plateau(f64, f64),
}

/// Samples of a set of burrs.
#[derive(Clone, Copy)]
struct Wear {
    truth: Truth,
    samples: usize,
    /// Early samples closer together, as people take them.
    early: bool,
    /// Scatter from photo to photo and from sample to sample.
    deviation: [f64; 2],
}

const RANGE: f64 = 30.0;
const FIRST: f64 = 1.0;

impl Wear {
    fn truth(&self, x: f64) -> f64 {
        match self.truth {
            Truth::Same => 0.0,
            Truth::Line(change) => change * x / RANGE,
            Truth::Plateau(change, done) => {
                let k = 20f64.ln() / (done * RANGE);
                change * (1.0 - (-k * x).exp()) / (1.0 - (-k * RANGE).exp())
            }
        }
    }

    fn run(&self, run: u64) -> Trend {
        let mut draws = Draws::new(23, run);
        let points: Vec<Point> = (0..self.samples)
            .map(|i| {
                let share = i as f64 / (self.samples - 1) as f64;
                let x = RANGE * if self.early { share * share } else { share };
                let photos = 2 + draws.below(4);
                let variance = self.deviation[0].powi(2) / photos as f64;
                let off = (variance + self.deviation[1].powi(2)).sqrt() * draws.normal();
                Point { kg: FIRST + x, value: 6.0 + self.truth(x) + off, variance }
            })
            .collect();
        trend(&points, None, 0.95, run).unwrap()
    }

    fn all(&self, runs: u64) -> Vec<Trend> {
        (0..runs).into_par_iter().map(|run| self.run(run)).collect()
    }

    fn holds_change(&self, t: &Trend) -> bool {
        let change = self.truth(RANGE);
        t.change.low <= change && change <= t.change.high
    }

    /// `None` where there is no true value.
    fn holds_done(&self, t: &Trend) -> Option<bool> {
        let Truth::Plateau(_, done) = self.truth else { return None };
        let (found, kg) = (t.done?, FIRST + done * RANGE);
        Some(found.low_kg.is_none_or(|low| low <= kg) && found.high_kg.is_none_or(|high| kg <= high))
    }
}

fn share<T>(all: &[T], of: impl Fn(&T) -> bool) -> f64 {
    all.iter().filter(|t| of(t)).count() as f64 / all.len() as f64
}

/// Three and a half standard errors of a share near 5 %.
fn slack(runs: usize) -> f64 {
    3.5 * (0.95f64 * 0.05 / runs as f64).sqrt()
}

const NOISE: [f64; 2] = [0.03, 0.02];

#[test]
fn no_change_is_kept() {
    for (samples, early) in [(5, false), (8, true), (14, false)] {
        let found = Wear { truth: Truth::Same, samples, early, deviation: NOISE }.all(600);
        let kept = share(&found, |t| t.shape() == Shape::NoChange);
        assert!(kept > 0.95 - slack(600), "{samples} samples: {kept}");
        let held = share(&found, |t| t.change.low <= 0.0 && 0.0 <= t.change.high);
        assert!(held > 0.95 - slack(600), "{samples} samples: {held}");
    }
}

#[test]
fn a_line_is_no_plateau_and_a_plateau_is_found() {
    let wear = Wear { truth: Truth::Line(-0.3), samples: 10, early: true, deviation: NOISE };
    let found = wear.all(400);
    let wrong = share(&found, |t| t.shape() == Shape::Plateau);
    assert!(wrong < 0.05 + slack(400), "{wrong}");
    assert!(share(&found, |t| wear.holds_change(t)) > 0.95 - slack(400));
    let wear = Wear { truth: Truth::Plateau(-0.3, 0.4), ..wear };
    let found = wear.all(400);
    assert!(share(&found, |t| t.shape() == Shape::Plateau) > 0.8);
    assert!(share(&found, |t| wear.holds_change(t)) > 0.95 - slack(400));
    let coverage = share(&found, |t| wear.holds_done(t) == Some(true));
    assert!(coverage > 0.95 - slack(400), "{coverage}");
}

/// Levels, change, rate and the profile interval of a curve through NIST's BoxBOD pairs and two more at the right: SciPy 1.17.1,
/// curve_fit of a + b·(1 − exp(−k·x)); numpy.linalg.lstsq at a fixed k and brentq for where the squares cross (1 + t²/ν) times the least.
#[test]
fn the_best_curve_and_its_kilograms_are_those_of_scipy() {
    let x = [1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 14.0, 20.0];
    let y = [109.0, 149.0, 149.0, 191.0, 213.0, 224.0, 229.0, 231.0];
    let points: Vec<Point> = x.into_iter().zip(y).map(|(kg, value)| Point { kg, value, variance: 1.0 }).collect();
    let found = trend(&points, None, 0.95, 1).unwrap();
    let near =
        |found: f64, known: f64, share: f64| assert!((found / known - 1.0).abs() < share, "{found} is not {known}");
    let bent = found.bent.unwrap();
    near(bent.rate, 0.2640036111089601, 1e-6);
    near(bent.start, 110.55519917746307, 1e-6);
    near(bent.change, 122.34457159231695, 1e-6);
    let done = found.done.unwrap();
    near(done.kg.unwrap(), 12.347315519550172, 1e-6);
    // The ends are read between rates that are tried.
    near(done.low_kg.unwrap(), 8.610189205941644, 0.01);
    near(done.high_kg.unwrap(), 18.702017522875973, 0.01);
    assert_eq!(found.shape(), Shape::Plateau);
}

/// Fines at a matched median: nine samples at one setting and two more settings at the first and the last kilograms. The dial moves
/// the median by 9 % a step, and fines fall by 1.5 times what it rises; the burrs change both. The gap scatters, and what is
/// seen of median and fines does, too.
fn matched(drift: f64, run: u64) -> Trend {
    let mut draws = Draws::new(31, run);
    let kg = [0.0, 1.0, 2.0, 4.0, 7.0, 11.0, 16.0, 22.0, 30.0];
    let samples = kg.iter().map(|kg| (*kg, 0.0)).chain([(0.0, -1.0), (0.0, 1.0), (30.0, -1.0), (30.0, 1.0)]);
    let seen: Vec<(f64, f64, f64)> = samples
        .map(|(kg, step)| {
            let gap = 0.09 * step + drift * done(kg) + 0.01 * draws.normal();
            let fines = MATCHED * done(kg) - 1.5 * gap + 0.02 * draws.normal();
            (kg, gap + 0.01 * draws.normal(), fines + 0.02 * draws.normal())
        })
        .collect();
    let row =
        |(kg, median, fines): &(f64, f64, f64)| Row { group: *kg as usize, ln_median: *median, ln_figure: *fines };
    let slope = slope(&seen.iter().map(row).collect::<Vec<_>>());
    let Some(slope) = slope else { panic!("two groups of three settings give a slope") };
    let point =
        |(kg, median, fines): &(f64, f64, f64)| Point { kg: *kg, value: fines - slope.value * median, variance: 4e-4 };
    let points: Vec<Point> = seen.iter().map(point).collect();
    let mean = seen.iter().map(|s| s.1).sum::<f64>() / seen.len() as f64;
    let common = Common { error: slope.sure_error(0.95), by: seen.iter().map(|s| s.1 - mean).collect() };
    trend(&points, Some(&common), 0.95, run).unwrap()
}

const MATCHED: f64 = -0.3;

fn done(kg: f64) -> f64 {
    1.0 - (-20f64.ln() * kg / 9.0).exp()
}

/// Shares of 95 % intervals of the change and of the kilograms that hold the truth.
fn matched_held(drift: f64, runs: u64) -> [f64; 2] {
    let found: Vec<Trend> = (0..runs).into_par_iter().map(|run| matched(drift, run)).collect();
    let change = MATCHED * done(30.0);
    let held = share(&found, |t| t.change.low <= change && change <= t.change.high);
    let kg = share(&found, |t| {
        let d = t.done.unwrap();
        d.low_kg.is_none_or(|low| low <= 9.0) && d.high_kg.is_none_or(|high| 9.0 <= high)
    });
    [held, kg]
}

#[test]
fn at_a_matched_median_the_intervals_still_hold() {
    // A median that stays, and one that moves by more than a step of the dial and a half.
    for drift in [0.05, 0.15] {
        let [held, kg] = matched_held(drift, 600);
        assert!(held > 0.95 - slack(600) && kg > 0.95 - slack(600), "{drift}: {held} {kg}");
    }
}

#[test]
#[ignore = "prints what docs/study.md tells of matched medians"]
fn print_matched_medians() {
    for drift in [0.0, 0.05, 0.15, 0.3] {
        println!("{drift}: {:?}", matched_held(drift, 4000));
    }
}

#[test]
fn as_many_samples_as_are_told_tell_a_plateau() {
    let wear = Wear { truth: Truth::Plateau(0.85f64.ln(), 1.0), samples: 7, early: true, deviation: NOISE };
    let mut told: Vec<f64> = wear.all(400).iter().filter_map(|t| t.times_for_plateau).collect();
    assert!(told.len() > 100, "{} of 400 are told how many more it takes", told.len());
    told.sort_by(f64::total_cmp);
    let samples = 7 * told[told.len() / 2].ceil() as usize;
    let found = Wear { samples, ..wear }.all(300);
    let plateau = share(&found, |t| t.shape() == Shape::Plateau);
    // Power is 80 % by design; 3.5 standard errors of 300 draws are 8 %.
    assert!(plateau > 0.72, "{samples} samples: {plateau}");
}

#[test]
#[ignore = "prints what docs/study.md tells of how many more samples it takes"]
fn print_how_many_more_samples_tell_a_plateau() {
    for (name, change, done) in
        [("−15 %, 0.5", 0.85f64, 0.5), ("−15 %, 1.0", 0.85, 1.0), ("−30 %, 1.0", 0.7, 1.0), ("−10 %, 0.3", 0.9, 0.3)]
    {
        for samples in [7, 9, 12] {
            let wear = Wear { truth: Truth::Plateau(change.ln(), done), samples, early: true, deviation: NOISE };
            let told: Vec<f64> = wear
                .all(2000)
                .iter()
                .filter(|t| t.shape() == Shape::Line)
                .filter_map(|t| t.times_for_plateau)
                .collect();
            let mut sorted = told.clone();
            sorted.sort_by(f64::total_cmp);
            let at = |p: f64| sorted[((p * sorted.len() as f64) as usize).min(sorted.len() - 1)];
            let mut row = format!("{name} {samples}: told {:.2}", told.len() as f64 / 2000.0);
            for p in [0.25, 0.5, 0.75] {
                let more = (samples as f64 * at(p).ceil()).round() as usize;
                let found = Wear { samples: more.min(400), ..wear }.all(300);
                row += &format!(
                    "; {:.0} times: {:.0} %",
                    at(p).ceil(),
                    100.0 * share(&found, |t| t.shape() == Shape::Plateau)
                );
            }
            for times in [1, 2, 3, 4, 6, 8] {
                let found = Wear { samples: samples * times, ..wear }.all(300);
                row += &format!(" | {times}x {:.0}", 100.0 * share(&found, |t| t.shape() == Shape::Plateau));
            }
            println!("{row}");
        }
    }
}

#[test]
fn a_change_that_is_called_detectable_is_found_four_times_out_of_five() {
    for (samples, early) in [(5, false), (8, true), (14, false)] {
        let wear = Wear { truth: Truth::Same, samples, early, deviation: NOISE };
        let null = wear.all(400);
        let change = (null.iter().map(|t| t.smallest_detectable.powi(2)).sum::<f64>() / null.len() as f64).sqrt();
        let found = Wear { truth: Truth::Line(change), ..wear }.all(400);
        let shown = share(&found, |t| t.shape() != Shape::NoChange);
        // Known to 0.07 by the draws; few samples tell their own scatter badly, and the quantiles are the usual short form.
        assert!((0.72..0.92).contains(&shown), "{samples} samples: {shown}");
    }
}

#[test]
fn too_few_samples_are_no_trend() {
    let point = |kg: f64| Point { kg, value: 1.0, variance: 1e-4 };
    assert!(matches!(trend(&[point(1.0), point(2.0), point(3.0)], None, 0.95, 1), Err(WearError::TooFew { .. })));
    assert!(matches!(trend(&[1.0, 1.0, 2.0, 2.0].map(point), None, 0.95, 1), Err(WearError::TooFew { .. })));
}

#[test]
#[ignore = "the whole table takes minutes"]
fn print_the_whole_table() {
    let runs: u64 = std::env::var("RUNS").ok().and_then(|v| v.parse().ok()).unwrap_or(1000);
    for (name, truth) in [
        ("no change", Truth::Same),
        ("line, −15 %", Truth::Line(0.85f64.ln())),
        ("line, −30 %", Truth::Line(0.7f64.ln())),
        ("plateau, −15 %, 95 % at 0.2", Truth::Plateau(0.85f64.ln(), 0.2)),
        ("plateau, −15 %, 95 % at 0.5", Truth::Plateau(0.85f64.ln(), 0.5)),
        ("plateau, −30 %, 95 % at 0.2", Truth::Plateau(0.7f64.ln(), 0.2)),
        ("plateau, −30 %, 95 % at 0.5", Truth::Plateau(0.7f64.ln(), 0.5)),
        ("plateau, −30 %, 95 % at 1.0", Truth::Plateau(0.7f64.ln(), 1.0)),
    ] {
        for (samples, early) in [(5, false), (7, true), (9, true), (12, true), (20, false)] {
            let wear = Wear { truth, samples, early, deviation: NOISE };
            let found = wear.all(runs);
            let pct = |v: f64| format!("{:.1}", 100.0 * v);
            let of = |shape: Shape| pct(share(&found, |t| t.shape() == shape));
            let told: Vec<&Trend> = found.iter().filter(|t| t.shape() != Shape::NoChange && t.done.is_some()).collect();
            let closed: Vec<&Trend> = found.iter().filter(|t| t.shape() == Shape::Plateau).collect();
            let held = |of: &[&Trend]| {
                if wear.holds_done(&found[0]).is_none() || of.len() < 50 {
                    return "–".to_owned();
                }
                pct(share(of, |t| wear.holds_done(t) == Some(true)))
            };
            println!(
                "| {name} | {samples}{} | {} | {} | {} | {} | {} | {} |",
                if early { ", early ones closer" } else { "" },
                of(Shape::NoChange),
                of(Shape::Line),
                of(Shape::Plateau),
                pct(share(&found, |t| wear.holds_change(t))),
                held(&told),
                held(&closed),
            );
        }
    }
}
