//! Comparisons held to values computed with SciPy 1.17.1 and statsmodels 0.15.0, and to their own edges.

use lightsieve::compare::{CompareError, Grounds, Quantity, Question, Verdict, compare, holm};
use lightsieve::distribution::{Landmarks, PhotoParticles, Sample};
use lightsieve::numeric::{Draws, student_t_cdf, student_t_quantile};
use lightsieve::particle::Particle;

fn grounds(name: &str, photos: Vec<Vec<f64>>) -> Grounds {
    let photos = photos.into_iter().enumerate().map(|(i, sizes)| PhotoParticles {
        name: format!("{name}-{i}"),
        particles: sizes
            .into_iter()
            .enumerate()
            .map(|(k, d)| Particle { x_px: k as f64, ..Particle::disc(d) })
            .collect(),
        smallest_ecd_um: 30.0,
    });
    Grounds { name: name.into(), sample: Sample::new(photos.collect()).unwrap(), scale_uncertainty: 0.0 }
}

fn question() -> Question {
    Question { level: 0.95, fines_um: 100.0, shares_above_um: vec![], margin: 0.05, fines_margin: 0.2, seed: 1 }
}

/// Photos of grounds whose median is `median` µm.
fn spread(name: &str, medians: &[f64], seed: u64) -> Grounds {
    let photos = medians.iter().enumerate().map(|(i, median)| {
        let mut draws = Draws::new(seed, i as u64);
        (0..2000).map(|_| median * (0.4 * draws.normal()).exp()).collect()
    });
    grounds(name, photos.collect())
}

#[test]
fn student_and_holm_as_in_scipy_and_statsmodels() {
    // scipy.stats.ttest_ind(A, B, equal_var=False) of seven and six numbers: t and its p at a fractional df.
    let p = 2.0 * (1.0 - student_t_cdf(3.4914683798955233, 9.788252687511584));
    assert!((p / 0.00599830801030458 - 1.0).abs() < 1e-8, "{p}");
    // statsmodels.stats.weightstats.ttost_ind, upper and lower test at the same df.
    assert!((1.0 - student_t_cdf(2.1923173548181176, 9.78825268751158) - 0.026846146718765243).abs() < 1e-9);
    // The two laws are made by different methods and must undo each other.
    for (p, df) in [(0.975, 1.0), (0.9, 4.0), (0.995, 18.0), (0.8, 400.0)] {
        assert!((student_t_cdf(student_t_quantile(p, df), df) - p).abs() < 2e-7, "{p} {df}");
    }
    // statsmodels.stats.multitest.multipletests(p, method="holm").
    let adjusted = holm(&[0.012, 0.034, 0.0041, 0.26, 0.049], 1);
    for (found, known) in adjusted.iter().zip([0.048, 0.102, 0.0205, 0.26, 0.102]) {
        assert!((found - known).abs() < 1e-12, "{adjusted:?}");
    }
}

#[test]
fn photos_that_hold_one_size_each_give_the_t_test_of_scipy() {
    // Each photo holds particles of one size, so its median is that size and counting adds nothing.
    let (a, b): (Vec<f64>, Vec<f64>) = (vec![412.0, 398.0, 431.0, 405.0], vec![447.0, 425.0, 462.0]);
    let photo = |d: &f64| (0..50).map(|i| d * (1.0 + 1e-7 * f64::from(i))).collect::<Vec<f64>>();
    let base = grounds("a", a.iter().map(photo).collect());
    let other = grounds("b", b.iter().map(photo).collect());
    let c = compare(&base, &[other], &question()).unwrap().remove(0);
    let d32 = c.differences.iter().find(|d| d.quantity == Quantity::Figure(5)).unwrap();
    let mean = |v: &[f64]| v.iter().map(|x| x.ln()).sum::<f64>() / v.len() as f64;
    let squares = |v: &[f64]| v.iter().map(|x| (x.ln() - mean(v)).powi(2)).sum::<f64>();
    let error = ((squares(&a) + squares(&b)) / 5.0 * (1.0 / 4.0 + 1.0 / 3.0)).sqrt();
    let p = 2.0 * (1.0 - student_t_cdf((mean(&b) - mean(&a)) / error, 5.0));
    // scipy.stats.ttest_ind(numpy.log(B), numpy.log(A)): statistic 2.6986417408511714.
    assert!((p - 0.04285356402463148).abs() < 1e-9, "{p}");
    // The pooled figure weighs photos by mass, the test by number: near, not the same.
    assert!((d32.p / p - 1.0).abs() < 0.25, "{} {p}", d32.p);
}

#[test]
fn a_clear_difference_is_told_and_a_repeat_is_the_same() {
    let (new, worn) = (spread("new", &[300.0, 305.0, 297.0], 1), spread("worn", &[360.0, 352.0, 366.0], 2));
    let c = compare(&new, std::slice::from_ref(&worn), &question()).unwrap().remove(0);
    assert_eq!(c.verdict, Verdict::Different);
    let d50 = &c.differences[1];
    let e = d50.relative_pct.unwrap();
    assert!(e.low < 19.5 && 19.5 < e.high && e.low > 5.0, "{e:?}");
    assert!(d50.difference.low > 0.0 && d50.smallest_detectable > 0.0 && !d50.alike);
    let again = compare(&new, &[worn], &question()).unwrap().remove(0);
    assert_eq!((again.differences, again.curves), (c.differences, c.curves));
}

#[test]
fn many_like_photos_are_alike_and_few_are_not_called_so() {
    let many = |name, seed| spread(name, &[300.0; 10], seed);
    // Below 250 µm lies a quarter of these grounds by number: a share that can be known.
    let wide = Question { margin: 0.15, fines_um: 250.0, fines_margin: 0.5, ..question() };
    let c = compare(&many("a", 3), &[many("b", 4)], &wide).unwrap().remove(0);
    assert_eq!(c.verdict, Verdict::Alike, "{:?}", c.differences);
    assert!(c.exchanged);
    let c = compare(&spread("a", &[300.0], 3), &[spread("b", &[300.0], 4)], &wide).unwrap().remove(0);
    assert_eq!(c.verdict, Verdict::Undecided);
    assert!(c.spread_unknown);
}

#[test]
fn one_photo_a_side_claims_only_what_no_spread_explains() {
    let verdict = |other: f64| {
        let c = compare(&spread("a", &[300.0], 5), &[spread("b", &[other], 6)], &question()).unwrap().remove(0);
        (c.verdict, c.differences[1].explained_by_spread)
    };
    let (near, spread) = verdict(345.0);
    assert_eq!(near, Verdict::Undecided);
    assert!(spread.unwrap() > 2.0);
    assert_eq!(verdict(600.0).0, Verdict::Different);
}

#[test]
fn samples_without_fines_on_some_photo_are_compared_all_the_same() {
    let coarse = |name, n: u64| {
        let photos = (0..3).map(|i| {
            let mut draws = Draws::new(n, i);
            let mut sizes: Vec<f64> = (0..500).map(|_| 400.0 + 100.0 * draws.uniform()).collect();
            if i > 0 {
                sizes.extend((0..50).map(|_| 80.0));
            }
            sizes
        });
        grounds(name, photos.collect())
    };
    let c = compare(&coarse("a", 1), &[coarse("b", 2)], &question()).unwrap().remove(0);
    let fines = c.differences.iter().find(|d| d.quantity == Quantity::FINES).unwrap();
    assert!(fines.difference.low.is_finite() && fines.p_adjusted > 0.5, "{fines:?}");
    let none = |name, seed| grounds(name, vec![vec![300.0 + seed; 20], vec![310.0 + seed; 30]]);
    let c = compare(&none("a", 1.0), &[none("b", 2.0)], &question()).unwrap().remove(0);
    assert!(c.differences.iter().all(|d| d.quantity != Quantity::FINES), "no photo shows fines");
}

#[test]
fn a_photo_on_both_sides_is_refused() {
    let (a, b) = (spread("a", &[300.0, 310.0], 1), spread("b", &[300.0, 320.0], 1));
    assert!(matches!(compare(&a, &[b], &question()), Err(CompareError::SamePhoto { .. })));
}

#[test]
fn fines_that_one_side_cannot_show_are_no_difference() {
    // The same law on both sides; the soft photos show nothing below 85 µm, and say so.
    let photos = |seed: u64, from_um: f64| {
        (0..6u64)
            .map(|i| {
                let mut draws = Draws::new(seed, i);
                let size = |draws: &mut Draws| {
                    let (median, sigma) = if draws.uniform() < 0.85 { (80.0, 0.45) } else { (500.0, 0.35) };
                    median * (sigma * draws.normal()).exp()
                };
                (0..2500).map(|_| size(&mut draws)).filter(|d| *d >= from_um).collect()
            })
            .collect::<Vec<Vec<f64>>>()
    };
    let sharp = grounds("sharp", photos(1, 30.0));
    let soft = |from_um: f64, says_um: f64| {
        let mut soft = grounds("soft", photos(2, from_um));
        let limited = soft.sample.photos().iter().map(|p| PhotoParticles { smallest_ecd_um: says_um, ..p.clone() });
        soft.sample = Sample::new(limited.collect()).unwrap();
        soft
    };
    let of = |other: Grounds| {
        let c = compare(&sharp, &[other], &question()).unwrap().remove(0);
        let fines = c.differences.iter().find(|d| d.quantity == Quantity::FINES).unwrap().clone();
        let clear: Vec<Quantity> = c.differences.iter().filter(|d| c.is_clear(d)).map(|d| d.quantity).collect();
        (clear, fines.alike, fines.difference)
    };
    let (clear, alike, difference) = of(soft(85.0, 85.0));
    assert!(clear.is_empty() && !alike && difference.low < 0.0 && difference.high > 0.0, "{clear:?} {difference:?}");
    // Without all that is finer than 170 µm other figures differ too.
    let (clear, ..) = of(soft(170.0, 170.0));
    assert!(clear.is_empty(), "{clear:?}");
    // Photos that claim to show all are believed.
    assert!(of(soft(85.0, 30.0)).0.contains(&Quantity::FINES));
    assert!(of(soft(170.0, 30.0)).0.contains(&Quantity::Figure(5)));
}

#[test]
fn one_photo_saved_again_is_found_by_the_places_of_its_particles() {
    let shot = |seed: u64, shake: f64| {
        let mut draws = Draws::new(seed, 0);
        let mut noise = Draws::new(seed + 50, 1);
        let mut one = |_: usize| {
            let (x_px, y_px, d) =
                (2000.0 * draws.uniform(), 1500.0 * draws.uniform(), 300.0 * (0.4 * draws.normal()).exp());
            let mut moved = || shake * noise.normal();
            Particle { x_px: x_px + moved(), y_px: y_px + moved(), ..Particle::disc(d * (1.0 + 0.02 * moved())) }
        };
        (0..400).map(&mut one).collect::<Vec<_>>()
    };
    let is_same_spread = |a: &[Particle], b: &[Particle]| Landmarks::of(a).are_those_of(&Landmarks::of(b));
    assert!(is_same_spread(&shot(1, 0.0), &shot(1, 0.2)));
    assert!(!is_same_spread(&shot(1, 0.0), &shot(2, 0.0)));
    // Sizes without places, and a handful of particles, tell nothing.
    let sizes: Vec<Particle> = (0..50).map(|i| Particle::disc(200.0 + f64::from(i))).collect();
    assert!(!is_same_spread(&sizes, &sizes) && !is_same_spread(&shot(1, 0.0)[..9], &shot(1, 0.0)[..9]));
}
