//! A real picture that two other libraries measured too: see `tests/data/README.md`.

use std::path::Path;

use imageproc::filter::median_filter;
use lightsieve::photo::Photo;
use lightsieve::pipeline::{ScaleChoice, Settings, measure_file, measure_photo};
use lightsieve::segment::{Rejection, Run};

/// Relief and dust are smaller than this, every coin is larger, px.
const SMALLEST_COIN_PX: f64 = 25.0;
/// Farthest that a centroid may lie from the reference, px.
const PLACE_PX: f64 = 3.0;
/// Largest deviation of the mean diameter and of a single one. Other sensible recipes differ by as much.
const MEAN_DEVIATION: f64 = 0.03;
const SINGLE_DEVIATION: f64 = 0.08;

/// Half width of the median that irons out the relief of the coins, px. Grounds have none; the reference recipes fill
/// holes to the same end. The median keeps straight edges and shrinks discs of these sizes by less than 1 %.
const IRON_PX: u32 = 3;

/// Mean diameter of the touching coins by OpenCV's Hough transform, px: see `tests/data/README.md`.
const HOUGH_PX: f64 = 47.89;

/// One coin of `coins.json`, px.
#[derive(Clone, Copy, serde::Deserialize)]
struct Coin {
    x: f64,
    y: f64,
    skimage_px: f64,
}

#[derive(serde::Deserialize)]
struct Reference {
    count: usize,
    coins: Vec<Coin>,
}

fn data(name: &str) -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data").join(name)
}

/// The picture turned to dark on bright, as grounds lie on paper, and without relief.
fn inverted(path: &Path) -> Photo {
    let grey = median_filter(&image::open(path).unwrap().into_luma8(), IRON_PX, IRON_PX);
    let (width, height) = (grey.width() as usize, grey.height() as usize);
    let luma = grey.into_raw().into_iter().map(|v| 255 - v).collect();
    Photo::from_luma(width, height, luma)
}

#[test]
fn coins_have_the_size_that_scikit_image_gives_them() {
    let path = data("coins.png");
    let reference: Reference = serde_json::from_slice(&std::fs::read(data("coins.json")).unwrap()).unwrap();
    assert_eq!(reference.count, 24);
    // One µm per pixel: sizes come out in pixels.
    let settings = Settings::new(ScaleChoice::Given(1.0)).unwrap();
    let measured = measure_photo(inverted(&path), &path, &settings).unwrap();
    let found: Vec<Coin> = measured
        .particles
        .iter()
        .filter(|p| p.ecd_um > SMALLEST_COIN_PX)
        .map(|p| Coin { x: p.x_px, y: p.y_px, skimage_px: p.ecd_um })
        .collect();
    let off = |a: &Coin, b: &Coin| (a.x - b.x).hypot(a.y - b.y);
    let mut wrong = Vec::new();
    let mut pairs = Vec::new();
    for coin in &reference.coins {
        let near: Vec<&Coin> = found.iter().filter(|f| off(f, coin) <= PLACE_PX).collect();
        match near[..] {
            [one] => {
                let deviation = one.skimage_px / coin.skimage_px - 1.0;
                if deviation.abs() > SINGLE_DEVIATION {
                    wrong.push(format!(
                        "({:.1}, {:.1}): {:.1} px, {:.1} expected",
                        coin.x, coin.y, one.skimage_px, coin.skimage_px
                    ));
                }
                pairs.push((one.skimage_px, coin.skimage_px));
            }
            ref several => wrong.push(format!("({:.1}, {:.1}): {} coins found", coin.x, coin.y, several.len())),
        }
    }
    println!("deviations: {:.3?}", pairs.iter().map(|(a, b)| a / b - 1.0).collect::<Vec<_>>());
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert_eq!(pairs.len(), reference.count);
    assert!(found.len() <= reference.count, "more than the coins was found");
    let sums = pairs.iter().fold((0.0, 0.0), |s, p| (s.0 + p.0, s.1 + p.1));
    assert!(
        (sums.0 / sums.1 - 1.0).abs() < MEAN_DEVIATION,
        "mean {:.2} px, {:.2} expected",
        sums.0 / pairs.len() as f64,
        sums.1 / pairs.len() as f64
    );
}

#[test]
fn touching_coins_are_parted_and_alike() {
    let path = data("touching-coins.jpg");
    let grey = image::open(&path).unwrap().into_luma8();
    // A rim of paper, so that the frame cuts none.
    let rim = 40;
    let (width, height) = (grey.width() + 2 * rim, grey.height() + 2 * rim);
    let padded = image::GrayImage::from_fn(width, height, |x, y| {
        let inside = (rim..width - rim).contains(&x) && (rim..height - rim).contains(&y);
        if inside { *grey.get_pixel(x - rim, y - rim) } else { image::Luma([235]) }
    });
    let photo = Photo::from_luma(width as usize, height as usize, padded.into_raw());
    let settings = Settings::new(ScaleChoice::Given(1.0)).unwrap();
    let measured = measure_photo(photo, &path, &settings).unwrap();
    let found: Vec<f64> = measured.particles.iter().map(|p| p.ecd_um).filter(|d| *d > 15.0).collect();
    assert_eq!(found.len(), 24);
    assert_alike(&found);
}

#[test]
fn coins_that_hang_together_and_reach_the_frame_are_parted_too() {
    let path = data("touching-coins.jpg");
    let settings = Settings::new(ScaleChoice::Given(1.0)).unwrap();
    let measured = measure_file(&path, &settings).unwrap();
    let found: Vec<f64> = measured.particles.iter().map(|p| p.ecd_um).filter(|d| *d > 15.0).collect();
    // Counted by eye: the frame cuts one, and two lie so near it that it would cut them if they were turned.
    let area = |runs: &[Run]| runs.iter().map(Run::len).sum::<usize>();
    let cut = measured.rejected.iter().filter(|(runs, why)| *why == Rejection::CutByFrame && area(runs) > 1000).count();
    assert_eq!((found.len(), cut), (21, 3));
    assert_alike(&found);
}

/// They are the same coin, so the spread is error.
fn assert_alike(found: &[f64]) {
    let n = found.len() as f64;
    let mean = found.iter().sum::<f64>() / n;
    let spread = (found.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    assert!(spread / mean < 0.015, "mean {mean:.2} px, spread {spread:.2} px");
    assert!((mean / HOUGH_PX - 1.0).abs() < 0.01, "mean {mean:.2} px");
}
