//! Figures and formulas against numbers from outside the project; the source stands beside each check.

use lightsieve::distribution::{Basis, Figures, Sizes};
use lightsieve::numeric::{Draws, convex_hull, erf, feret, normal_quantile, perimeter, shoelace, student_t_quantile};
use lightsieve::particle::{aspect_ratio, circularity, ecd_um, solidity};
use lightsieve::photo::{linear_from_srgb, srgb_from_linear};

fn close(found: f64, expected: f64, relative: f64) {
    assert!((found / expected - 1.0).abs() < relative, "found {found}, expected {expected}");
}

/// Source: closed forms of the definitions in ISO 9276-6 (area-equivalent diameter, aspect ratio = smallest over
/// largest Feret diameter, circularity √(4πA)/P, solidity A/A_hull); names of the standard from memory.
#[test]
fn shape_figures_of_exact_polygons() {
    let h = 3f64.sqrt() / 2.0;
    // Corners; ECD, aspect ratio, circularity, solidity.
    let cases: [(&[[f64; 2]], [f64; 4]); 5] = [
        (
            &[[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]],
            [2.0 / std::f64::consts::PI.sqrt(), std::f64::consts::FRAC_1_SQRT_2, 0.8862269254527579, 1.0],
        ),
        (
            &[[0.0, 0.0], [2.0, 0.0], [2.0, 1.0], [0.0, 1.0]],
            [1.5957691216057308, 0.4472135954999579, 0.8355427582103335, 1.0],
        ),
        (&[[0.0, 0.0], [1.0, 0.0], [0.5, h]], [0.7425152492856911, 0.8660254037844386, 0.777560150778107, 1.0]),
        (
            &[[1.0, 0.0], [0.5, h], [-0.5, h], [-1.0, 0.0], [-0.5, -h], [0.5, -h]],
            [1.818783486985395, 0.8660254037844386, 0.9523128068639574, 1.0],
        ),
        (
            &[[0.0, 0.0], [2.0, 0.0], [2.0, 1.0], [1.0, 1.0], [1.0, 2.0], [0.0, 2.0]],
            [1.9544100476116797, std::f64::consts::FRAC_1_SQRT_2, 0.7674950309598664, 0.8571428571428571],
        ),
    ];
    for (corners, expected) in cases {
        let area = shoelace(corners).abs();
        let hull = convex_hull(corners);
        let (max, min) = feret(&hull);
        let found = [
            ecd_um(area),
            aspect_ratio(min, max),
            circularity(area, perimeter(corners)),
            solidity(area, shoelace(&hull).abs()),
        ];
        for (f, e) in found.into_iter().zip(expected) {
            close(f, e, 1e-12);
        }
    }
}

/// Source: ellipse of semi-axes 1 and 1/2, perimeter 4·E(3/4) = 4.844224110273838 (SciPy 1.17.1 `special.ellipe`).
#[test]
fn perimeter_and_feret_of_an_ellipse_drawn_finely() {
    let n = 20_000;
    let points: Vec<[f64; 2]> = (0..n)
        .map(|i| {
            let (s, c) = (f64::from(i) * std::f64::consts::TAU / f64::from(n)).sin_cos();
            [c, 0.5 * s]
        })
        .collect();
    close(perimeter(&points), 4.844224110273838, 1e-7);
    let (max, min) = feret(&convex_hull(&points));
    close(max, 2.0, 1e-9);
    close(min, 1.0, 1e-6);
    close(circularity(shoelace(&points).abs(), perimeter(&points)), 0.917150577062632, 1e-6);
}

/// Classes of a grouped table as sizes: `per_class` values of equal weight spread evenly over each class.
fn grouped(limits: &[f64], counts: &[f64], per_class: usize) -> Sizes {
    let rows = limits.windows(2).zip(counts).flat_map(|(l, &n)| {
        let (a, b) = (l[0], l[1]);
        (0..per_class).map(move |i| (a + (b - a) * (i as f64 + 0.5) / per_class as f64, n / per_class as f64, 0))
    });
    Sizes::from_rows(rows.collect())
}

/// Source: worked example of ASTM E799-03 (2015), drop sizes of a liquid spray: class limits, counts, and means with
/// the class integrated (the standard prints them rounded to 10 µm; the unrounded values were recomputed with NumPy).
#[test]
fn means_and_median_of_the_astm_e799_example() {
    let limits = [
        240.0, 360.0, 450.0, 562.5, 703.0, 878.0, 1097.0, 1371.0, 1713.0, 2141.0, 2676.0, 3345.0, 4181.0, 5226.0,
        6532.0,
    ];
    let counts = [65.0, 119.0, 232.0, 410.0, 629.0, 849.0, 990.0, 981.0, 825.0, 579.0, 297.0, 111.0, 21.0, 1.0];
    let sizes = grouped(&limits, &counts, 4000);
    let figures = Figures::of(&sizes, Basis::Mass, 2141.0);
    close(figures.d32_um, 2269.321, 1e-5);
    close(figures.d43_um, 2670.752, 1e-5);
    // Share of the volume finer than 2141 µm, printed per class in the standard: 34.02 % in sum.
    assert!((figures.fines_pct - 34.023).abs() < 0.02, "{}", figures.fines_pct);
    let finer = Figures::of(&sizes, Basis::Mass, 2676.0).fines_pct;
    assert!((finer - 55.811).abs() < 0.02, "{finer}");
    // So the median lies in the class from 2141 to 2676 µm.
    assert!((2141.0..2676.0).contains(&figures.d50_um), "{}", figures.d50_um);
    // With class midpoints instead: the definition itself, free of how a class is filled.
    let midpoints = Figures::of(&grouped(&limits, &counts, 1), Basis::Mass, 100.0);
    close(midpoints.d32_um, 2250.891, 1e-6);
    close(midpoints.d43_um, 2638.513, 1e-6);
}

/// Source: W. C. Hinds, Aerosol Technology, 2nd ed. (1999), table 4.1 (from memory): 1000 particles in ten classes with
/// a count median of exactly 9 µm; moment means of the midpoints recomputed with NumPy 2.4.6.
#[test]
fn grouped_counts_of_a_textbook() {
    let limits = [0.0, 4.0, 6.0, 8.0, 9.0, 10.0, 14.0, 16.0, 20.0, 35.0, 50.0];
    let counts = [104.0, 160.0, 161.0, 75.0, 67.0, 186.0, 61.0, 79.0, 103.0, 4.0];
    let midpoints = Figures::of(&grouped(&limits, &counts, 1), Basis::Number, 9.0);
    close(midpoints.d32_um, 20.66759407809114, 1e-12);
    close(midpoints.d43_um, 24.503174293654514, 1e-12);
    assert!((midpoints.fines_pct - 50.0).abs() < 1e-9);
    let spread = Figures::of(&grouped(&limits, &counts, 500), Basis::Number, 9.0);
    close(spread.d50_um, 9.0, 1e-3);
    close(spread.d10_um, 3.8461538461538463, 1e-3);
    close(spread.d90_um, 21.019417475728158, 1e-3);
}

/// Source: T. Hatch & S. P. Choate (1929), J. Franklin Inst. 207, 369–387: for a lognormal number distribution of
/// median m and ln GSD s, D[3,2] = m·exp(2.5 s²), D[4,3] = m·exp(3.5 s²), mass median m·exp(3 s²), and the mass
/// quantiles lie at factors exp(±1.28155 s); numbers for m = 400 µm, GSD = 1.6 computed with SciPy.
#[test]
fn a_lognormal_grind_has_the_figures_of_hatch_and_choate() {
    // Equal-probability quantiles of the law, finer in the coarse tail that carries the mass.
    let sigma = 1.6f64.ln();
    let n = 4000;
    let rows = (0..n).flat_map(|i| {
        // Steps in z with their probabilities as weights.
        let z = -6.0 + 14.0 * (f64::from(i) + 0.5) / f64::from(n);
        Some((400.0 * (sigma * z).exp(), (-0.5 * z * z).exp(), 0))
    });
    let sizes = Sizes::from_rows(rows.collect());
    let figures = Figures::of(&sizes, Basis::Mass, 400.0);
    close(figures.d10_um, 424.8944965728586, 1e-4);
    close(figures.d50_um, 776.0172750675908, 1e-4);
    close(figures.d90_um, 1417.2996262851489, 1e-4);
    close(figures.span, 1.2788441206103975, 1e-4);
    close(figures.d32_um, 694.8688174430353, 1e-6);
    close(figures.d43_um, 866.6424454320786, 1e-6);
    // Mass finer than the number median: Φ(−3 s).
    close(figures.fines_pct, 7.926823401649702, 2e-3);
    let by_number = Figures::of(&sizes, Basis::Number, 400.0);
    close(by_number.d50_um, 400.0, 1e-4);
}

/// Source: the weight of a box in a frame, W·H / ((W − w)(H − h)), as exact fractions; R. E. Miles (1974) and
/// C. Lantuéjoul (1980) as in ISO 13322-1 (from memory). Seen through a whole measurement: one particle in a bare photo.
#[test]
fn a_lone_disc_is_weighted_by_the_places_it_could_lie_in() {
    let (w, h, r) = (400usize, 300usize, 40.0f64);
    let luma = (0..w * h)
        .map(|i| {
            let (x, y) = ((i % w) as f64 + 0.5 - 200.3, (i / w) as f64 + 0.5 - 149.6);
            let inside = (r - x.hypot(y) + 0.5).clamp(0.0, 1.0);
            (255.0 * srgb_from_linear(0.8 - 0.75 * inside)).round() as u8
        })
        .collect();
    let photo = lightsieve::photo::Photo::from_luma(w, h, luma);
    let settings = lightsieve::pipeline::Settings::new(lightsieve::pipeline::ScaleChoice::Given(10.0)).unwrap();
    let found = lightsieve::pipeline::measure_photo(photo, std::path::Path::new("disc"), &settings).unwrap();
    assert_eq!(found.particles.len(), 1);
    close(found.particles[0].ecd_um, 800.0, 2e-3);
    close(found.particles[0].weight, 400.0 * 300.0 / (320.0 * 220.0), 2e-3);
    close(found.particles[0].x_px, 200.3, 2e-4);
    close(found.particles[0].y_px, 149.6, 2e-4);
    // One per cent: what the best estimators leave of a perimeter on a grid (Crofton on discs in scikit-image 0.26.0:
    // 1.3 % from a radius of 10 px on).
    close(found.particles[0].circularity, 1.0, 0.01);
    // A fifth of a pixel at either end of 80 px.
    close(found.particles[0].aspect_ratio, 1.0, 6e-3);
}

/// Source: IEC 61966-2-1; values computed from the formula in double precision.
#[test]
fn the_srgb_curve() {
    for (code, linear) in [
        (1, 0.0003035269835488375),
        (10, 0.003035269835488375),
        (11, 0.003346535763899161),
        (50, 0.03189603307301153),
        (128, 0.21586050011389926),
        (188, 0.5028864580325687),
        (254, 0.9911020971138298),
        (255, 1.0),
    ] {
        close(linear_from_srgb(f64::from(code) / 255.0), linear, 1e-12);
        assert!((srgb_from_linear(linear) * 255.0 - f64::from(code)).abs() < 1e-4);
    }
    assert_eq!(linear_from_srgb(0.0), 0.0);
}

/// Source: SciPy 1.17.1 `special.erf`, `stats.norm.ppf`, and the table of Student's t in any textbook (97.5 %: 12.706,
/// 4.303, 2.776, 2.262 with 1, 2, 4, 9 degrees of freedom).
#[test]
fn laws_of_probability() {
    for (x, value) in [(0.1, 0.1124629160), (0.5, 0.5204998778), (1.0, 0.8427007929), (2.0, 0.9953222650)] {
        assert!((erf(x) - value).abs() < 2e-7);
        assert!((erf(-x) + value).abs() < 2e-7);
    }
    close(normal_quantile(0.9), 1.2815515655446004, 1e-6);
    close(normal_quantile(0.975), 1.959963984540054, 1e-6);
    for (df, t) in [(1.0, 12.706), (2.0, 4.303), (4.0, 2.776), (9.0, 2.262)] {
        close(student_t_quantile(0.975, df), t, 2e-4);
    }
    close(student_t_quantile(0.025, 4.0), -2.776, 2e-4);
    // SciPy 1.17.1, stats.t.ppf, on both sides of the change of method.
    for (df, t) in
        [(1e3, 1.9623390808264083), (1e4, 1.960201239890626), (1.1e4, 1.9601796688893451), (1e5, 1.9599877075346095)]
    {
        close(student_t_quantile(0.975, df), t, 1e-7);
    }
}

/// Source: the relation of a seeded stream to itself, and the first two moments of the normal law.
#[test]
fn normal_draws() {
    let mut draws = Draws::new(3, 1);
    let values: Vec<f64> = (0..200_000).map(|_| draws.normal()).collect();
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / values.len() as f64;
    assert!(mean.abs() < 0.01 && (variance - 1.0).abs() < 0.02);
}
