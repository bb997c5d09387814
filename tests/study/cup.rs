//! Extraction against worked examples and SciPy, and how often the intervals hold the truth.

use lightsieve::numeric::Draws;
use lightsieve::study::brew_time::effects;
use lightsieve::study::cup::{Brewed, CupError, Method, Steps, cup_difference, extraction};

const STEPS: Steps = Steps { mass_g: 0.1, tds_pct: 0.01, tds_accuracy_pct: 0.0 };

fn percolation(dose_g: f64, beverage_g: f64, tds_pct: f64) -> Brewed {
    Brewed { method: Method::Percolation, dose_g, water_g: None, beverage_g: Some(beverage_g), tds_pct }
}

fn immersion(dose_g: f64, water_g: f64, tds_pct: f64) -> Brewed {
    Brewed { method: Method::Immersion, dose_g, water_g: Some(water_g), beverage_g: None, tds_pct }
}

fn yield_of(brew: &Brewed) -> f64 {
    extraction(brew, &STEPS, 0.95).unwrap().yield_pct.value
}

#[test]
fn worked_examples() {
    // Printed in public pages: a forum of baristas (20 g, 350 g, 1.3 %) and a page of questions and answers (15 g, 240 g, 1.35 %).
    assert!((yield_of(&percolation(20.0, 350.0, 1.3)) - 22.75).abs() < 1e-9);
    assert!((yield_of(&percolation(15.0, 240.0, 1.35)) - 21.6).abs() < 1e-9);
    // Arithmetic of the same formula: 18 g to 36 g of espresso at 10 %.
    assert!((yield_of(&percolation(18.0, 36.0, 10.0)) - 20.0).abs() < 1e-9);
    // All water at the strength of the beverage, as a school of baristas teaches it: W/(1 − TDS) is the mass of liquid.
    // Its case 180 g, 10 g, 1.2 % gives 182.186 g and 21.86 % (arithmetic).
    assert!((yield_of(&immersion(10.0, 180.0, 1.2)) - 21.86).abs() < 0.005);
    assert!((yield_of(&immersion(15.0, 250.0, 1.3)) - 21.952043).abs() < 1e-6);
}

#[test]
fn what_the_grounds_keep_is_told_where_it_is_known() {
    let mut brew = Brewed { water_g: Some(500.0), ..percolation(30.0, 446.0, 1.3) };
    // 500 g + 5.798 g dissolved − 446 g = 59.798 g in 30 g of grounds.
    let kept = extraction(&brew, &STEPS, 0.95).unwrap().retained_ratio.unwrap();
    assert!((kept - 59.798 / 30.0).abs() < 1e-9);
    brew.water_g = Some(400.0);
    assert!(matches!(extraction(&brew, &STEPS, 0.95), Err(CupError::MoreThanPoured(_))));
}

#[test]
fn masses_that_are_missing_or_cannot_be_are_refused() {
    let of = |b: Brewed| extraction(&b, &STEPS, 0.95).unwrap_err();
    assert_eq!(of(Brewed { beverage_g: None, ..percolation(20.0, 1.0, 1.3) }), CupError::NoBeverage);
    assert_eq!(of(Brewed { water_g: None, ..immersion(20.0, 1.0, 1.3) }), CupError::NoWater);
    assert!(matches!(of(percolation(2.0, 350.0, 1.3)), CupError::TooMuch(_)));
}

/// The true masses are anywhere within half a step of what is read.
#[test]
fn intervals_hold_what_the_steps_hide() {
    let mut draws = Draws::new(3, 0);
    let steps = [
        (STEPS, percolation(18.0, 36.0, 9.3)),
        (STEPS, immersion(12.0, 200.0, 1.21)),
        (Steps { mass_g: 1.0, tds_pct: 0.1, tds_accuracy_pct: 0.0 }, percolation(15.0, 240.0, 1.3)),
        (Steps { mass_g: 1.0, tds_pct: 0.01, tds_accuracy_pct: 0.03 }, percolation(60.0, 900.0, 1.3)),
    ];
    for (steps, brew) in steps {
        let runs = 4000;
        let mut held = 0;
        for _ in 0..runs {
            let mut off = |half: f64| half * (2.0 * draws.uniform() - 1.0);
            let truth = Brewed {
                dose_g: brew.dose_g + off(steps.mass_g / 2.0),
                water_g: brew.water_g.map(|w| w + off(steps.mass_g / 2.0)),
                beverage_g: brew.beverage_g.map(|b| b + off(steps.mass_g / 2.0)),
                tds_pct: brew.tds_pct + off(steps.tds_pct / 2.0) + off(steps.tds_accuracy_pct),
                ..brew
            };
            let e = extraction(&brew, &steps, 0.95).unwrap().yield_pct;
            held += i32::from((e.low..=e.high).contains(&yield_of(&truth)));
        }
        let coverage = f64::from(held) / f64::from(runs);
        // 95 % less three and a half standard errors; a single rounding that outweighs the others is held always.
        assert!(coverage > 0.95 - 0.012, "{steps:?}: {coverage}");
    }
}

/// scipy.stats.ttest_ind(second, first) and its confidence_interval(0.95).
#[test]
fn difference_of_brews_is_the_t_test() {
    let (first, second) = ([19.2, 19.8, 20.1, 19.5], [20.4, 20.9, 20.2]);
    let found = cup_difference([&first, &second], 0.95).unwrap();
    assert!((found.p - 0.031761727272973286).abs() < 1e-9);
    assert!((found.difference.low - 0.11016648112220917).abs() < 1e-6);
    assert!((found.difference.high - 1.5898335188777937).abs() < 1e-6);
    assert_eq!(cup_difference([&first, &[20.0]], 0.95), None);
}

/// Within three and a half standard errors of 95 %.
fn holds(held: usize, runs: usize, what: &str) {
    let least = 0.95 - 3.5 * (0.95f64 * 0.05 / runs as f64).sqrt();
    let share = held as f64 / runs as f64;
    assert!(share > least && share < 1.9 - least, "{what}: {share}");
}

#[test]
fn intervals_of_differences_and_of_times_hold_the_truth() {
    let mut draws = Draws::new(9, 0);
    let runs = 2000;
    let (mut differences, mut medians, mut fines) = (0, 0, 0);
    for _ in 0..runs {
        let side = |n: usize, mean: f64, draws: &mut Draws| -> Vec<f64> {
            (0..n).map(|_| mean + 0.3 * draws.normal()).collect()
        };
        let (first, second) = (side(2, 20.0, &mut draws), side(3, 20.5, &mut draws));
        let e = cup_difference([&first, &second], 0.95).unwrap().difference;
        differences += usize::from(e.low <= 0.5 && 0.5 <= e.high);
        // Eight samples whose fines go with their median, as they do when only the dial is turned.
        let x: Vec<f64> = (0..8).map(|_| 6.3 + 0.1 * draws.normal()).collect();
        let y: Vec<f64> = x.iter().map(|x| 0.4 - (x - 6.3) + 0.1 * draws.normal()).collect();
        let t: Vec<f64> =
            x.iter().zip(&y).map(|(x, y)| 5.0 - 0.9 * (x - 6.3) + 0.3 * y + 0.03 * draws.normal()).collect();
        let [median, fine] = effects(&x, &y, &t, 0.95).unwrap().map(|e| e.per_tenth_pct);
        let truth = |slope: f64| 100.0 * (1.1f64.powf(slope) - 1.0);
        medians += usize::from(median.low <= truth(-0.9) && truth(-0.9) <= median.high);
        fines += usize::from(fine.low <= truth(0.3) && truth(0.3) <= fine.high);
    }
    holds(differences, runs, "difference of two and three brews");
    holds(medians, runs, "part of the median in the time");
    holds(fines, runs, "part of the fines in the time");
    assert!(effects(&[6.0; 5], &[1.0; 5], &[5.0; 5], 0.95).is_none(), "five samples are too few");
    assert!(effects(&[6.0; 8], &[1.0; 8], &[5.0; 8], 0.95).is_none(), "grinds that do not differ tell nothing");
}
