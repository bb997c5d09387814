//! Fits against certified values of the NIST Statistical Reference Datasets (nonlinear regression; the files as scipy
//! 1.17.1 and lmfit 1.3.4 carry them).

use lightsieve::numeric::{levenberg_marquardt, regression};

/// y = b1·(1 − exp(−b2·x)).
fn fit(data: &[(f64, f64)], start: [f64; 2]) -> ([f64; 2], [f64; 2], f64) {
    let residuals = |b: &[f64]| data.iter().map(|&(y, x)| b[0] * (1.0 - (-b[1] * x).exp()) - y).collect();
    let fit = levenberg_marquardt(&start, &[1.0, 1e-3], residuals).expect("the data determine both parameters");
    let variance = fit.sum_of_squares() / (data.len() - 2) as f64;
    let deviation = [0, 1].map(|i| (variance * fit.spread[(i, i)]).sqrt());
    ([fit.parameters[0], fit.parameters[1]], deviation, fit.sum_of_squares())
}

fn near(found: f64, certified: f64, relative: f64) {
    assert!((found / certified - 1.0).abs() < relative, "{found} is not {certified}");
}

#[test]
fn misra1a() {
    let data = [
        (10.07, 77.6),
        (14.73, 114.9),
        (17.94, 141.1),
        (23.93, 190.8),
        (29.61, 239.9),
        (35.18, 289.0),
        (40.02, 332.8),
        (44.82, 378.4),
        (50.76, 434.8),
        (55.05, 477.3),
        (61.01, 536.8),
        (66.40, 593.1),
        (75.47, 689.1),
        (81.78, 760.0),
    ];
    for start in [[500.0, 1e-4], [250.0, 5e-4]] {
        let (b, deviation, squares) = fit(&data, start);
        near(b[0], 2.389_421_291_8e2, 1e-7);
        near(b[1], 5.501_564_318_1e-4, 1e-7);
        near(deviation[0], 2.707_007_524_1, 1e-5);
        near(deviation[1], 7.266_868_843_6e-6, 1e-5);
        near(squares, 1.245_513_889_4e-1, 1e-8);
    }
}

#[test]
fn box_bod() {
    let data = [(109.0, 1.0), (149.0, 2.0), (149.0, 3.0), (191.0, 5.0), (213.0, 7.0), (224.0, 10.0)];
    let (b, deviation, squares) = fit(&data, [100.0, 0.75]);
    near(b[0], 2.138_094_088_9e2, 1e-7);
    near(b[1], 5.472_374_854_2e-1, 1e-7);
    near(deviation[0], 1.235_451_517_6e1, 1e-5);
    near(deviation[1], 1.045_599_323_7e-1, 1e-5);
    near(squares, 1.168_008_876_6e3, 1e-8);
}

#[test]
fn what_the_data_do_not_determine_is_no_fit() {
    assert!(levenberg_marquardt(&[1.0, 1.0], &[1.0, 1.0], |b| vec![b[0] + b[1] - 3.0; 4]).is_none());
    assert!(levenberg_marquardt(&[1.0], &[1.0], |_| vec![f64::NAN]).is_none());
}

/// y = B0 + B1·x, by the weighted linear fit. Data and certified values of NIST's Norris set.
#[test]
fn norris() {
    let x = [
        0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0, 447.5,
        11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2,
        669.1, 448.9, 0.5,
    ];
    let y = [
        0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3, 448.9,
        10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9,
        668.4, 449.2, 0.2,
    ];
    let rows: Vec<Vec<f64>> = x.iter().map(|&x| vec![1.0, x]).collect();
    let fit = regression(&rows, &y, &[1.0; 36]).unwrap();
    near(fit.coefficients[0], -0.262_323_073_774_029, 1e-9);
    near(fit.coefficients[1], 1.002_116_818_020_45, 1e-12);
    near(fit.error(0), 0.232_818_234_301_152, 1e-9);
    near(fit.error(1), 0.429_796_848_199_937e-3, 1e-9);
    near(fit.squares, 26.617_398_529_422_4, 1e-9);
    // Two columns that say the same determine nothing.
    let twice: Vec<Vec<f64>> = x.iter().map(|&x| vec![x, 2.0 * x]).collect();
    assert!(regression(&twice, &y, &[1.0; 36]).is_none());
}
