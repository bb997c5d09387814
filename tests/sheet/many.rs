use lightsieve::numeric::{Draws, quantile_of_sorted};
use lightsieve::render::View;
use rayon::prelude::*;

use super::bench::{Shot, by_hand, develop, shot};

/// What one photo showed.
struct Row {
    tilt: f64,
    k1: f64,
    /// Relative errors of the scale over the field, and the uncertainty said for them; `None` when no sheet was found.
    scale: Option<(Vec<f64>, f64)>,
    d50: f64,
    size: f64,
}

fn row(shot: &Shot) -> Row {
    let view = shot.spec.view.unwrap();
    let (tilt, k1) = (view.tilt_deg, view.k1);
    match develop(shot) {
        Ok(result) => {
            let said = result.photo.scale.parts()[0].relative;
            Row {
                tilt,
                k1,
                scale: Some((result.scale_errors(shot), said)),
                d50: result.d50_error(shot),
                size: result.size_error(shot),
            }
        }
        Err(e) => {
            eprintln!("seed {}: {e}", shot.spec.seed);
            Row { tilt, k1, scale: None, d50: f64::NAN, size: f64::NAN }
        }
    }
}

fn random(seed: u64, size: [u32; 2]) -> Shot {
    let mut draws = Draws::new(seed, 3);
    by_hand(seed, size, 25.0 * draws.uniform(), 0.24 * draws.uniform() - 0.12)
}

#[test]
fn photos_by_hand_give_the_true_scale_all_over_the_field() {
    let rows: Vec<Row> = (1..=8u64).into_par_iter().map(|seed| row(&random(1000 + seed, [1600, 1200]))).collect();
    for (i, r) in rows.iter().enumerate() {
        let (errors, said) = r.scale.as_ref().unwrap_or_else(|| panic!("photo {i}: no sheet found"));
        let worst = errors.iter().fold(0.0f64, |a, e| a.max(e.abs()));
        assert!(worst < 0.005, "photo {i}: scale off by {worst}");
        assert!(*said > 0.0 && *said < 0.002, "photo {i}: {said}");
        assert!(r.size.abs() < 0.01, "photo {i}: sizes off by {}", r.size);
    }
}

#[test]
fn tilt_and_bend_leave_sizes_as_they_are() {
    let view = |tilt_deg, k1| View { tilt_deg, k1, tilt_direction_deg: 30.0, turn_deg: 5.0, ..View::default() };
    for which in [0, 2] {
        let square = shot(which, [3200, 2400], view(0.0, 0.0), 40);
        let mut slanted = shot(which, [3200, 2400], view(20.0, -0.08), 40);
        // The same grounds: their sizes and places follow from the spec alone.
        slanted.spec.grind = square.spec.grind.clone();
        slanted.spec.um_per_px = 1.12 * square.spec.um_per_px;
        let errors = |s: &Shot| {
            let result = develop(s).unwrap();
            [result.d50_error(s), result.size_error(s)]
        };
        let ([a, mean_a], [b, mean_b]) = (errors(&square), errors(&slanted));
        assert!((mean_a - mean_b).abs() < 0.003, "frame {which}: sizes off by {mean_a} from above and {mean_b} aslant");
        assert!((a - b).abs() < 0.005, "frame {which}: D50 off by {a} from above and {b} aslant");
    }
}

#[test]
#[ignore = "400 photos: minutes"]
fn four_hundred_photos() {
    let count = std::env::var("PHOTOS").ok().and_then(|n| n.parse().ok()).unwrap_or(400u64);
    let rows: Vec<Row> = (1..=count).into_par_iter().map(|seed| row(&random(seed, [2000, 1500]))).collect();
    let sorted = |mut v: Vec<f64>| {
        v.sort_by(f64::total_cmp);
        v
    };
    println!(
        "| photos | found | scale, median % | 99 % of places | worst | D50, median % | 95 % | mean size, median % | worst | within the interval |"
    );
    let table = |name: &str, keep: &dyn Fn(&Row) -> bool| {
        let kept: Vec<&Row> = rows.iter().filter(|r| keep(r)).collect();
        let found: Vec<&Row> = kept.iter().copied().filter(|r| r.scale.is_some()).collect();
        let scale = || found.iter().flat_map(|r| r.scale.iter());
        let errors = sorted(scale().flat_map(|(e, _)| e.iter().map(|e| 100.0 * e.abs())).collect());
        let d50 = sorted(found.iter().map(|r| 100.0 * r.d50.abs()).collect());
        let size = sorted(found.iter().map(|r| 100.0 * r.size.abs()).collect());
        let inside = scale().flat_map(|(e, said)| e.iter().map(move |e| e.abs() < 1.96 * said));
        let (held, all) = inside.fold((0, 0), |(h, a), i| (h + usize::from(i), a + 1));
        let q = |v: &[f64], p| if v.is_empty() { f64::NAN } else { quantile_of_sorted(v, p) };
        println!(
            "| {name} ({}) | {:.1} % | {:.3} | {:.3} | {:.3} | {:.2} | {:.2} | {:.2} | {:.2} | {:.1} % |",
            kept.len(),
            100.0 * found.len() as f64 / kept.len().max(1) as f64,
            q(&errors, 0.5),
            q(&errors, 0.99),
            q(&errors, 1.0),
            q(&d50, 0.5),
            q(&d50, 0.95),
            q(&size, 0.5),
            q(&size, 1.0),
            100.0 * held as f64 / all.max(1) as f64,
        );
    };
    table("all", &|_| true);
    table("tilt to 10°", &|r| r.tilt < 10.0);
    table("tilt 10 to 18°", &|r| (10.0..18.0).contains(&r.tilt));
    table("tilt 18 to 25°", &|r| r.tilt >= 18.0);
    table("k1 below −0.06", &|r| r.k1 < -0.06);
    table("k1 above +0.06", &|r| r.k1 > 0.06);
    let found = rows.iter().filter(|r| r.scale.is_some()).count();
    assert!(found as f64 >= 0.995 * rows.len() as f64, "{found} found");
}
