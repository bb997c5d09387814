//! Core contrast and blur, read at large particles.

use rayon::prelude::*;

use super::softness::Softness;
use super::{BackdropError, Scene};
use crate::numeric::{median, normal_quantile};
use crate::photo::Photo;

/// Rows that are looked at: spread over the photo, enough edges in any usable one.
const ROWS: usize = 200;
/// Edges that the blur is read from; the median of so many moves by less than 1 %.
const EDGES: usize = 2000;

/// Steps of darkness, from paper to black, in which dark pixels are counted.
const BINS: usize = 101;

/// An edge between a particle and bare paper: so far outside, px, less of the core's deficit is left than this share.
const BESIDE_PX: usize = 6;
const BARE: f64 = 0.15;

/// Runs of dark pixels along sampled rows.
struct DarkRun {
    y: usize,
    x0: usize,
    x1: usize,
    /// Deficit [`BESIDE_PX`] beyond either end; infinite off the paper.
    beside: [f32; 2],
}

/// Reads `core`, `texture`, `blur_px` and `softness` of the scene.
pub(super) fn read(photo: &Photo, scene: &mut Scene) -> Result<(), BackdropError> {
    let (width, height) = (photo.width(), photo.height());
    // Dark enough to be a particle rather than noise: 8 sigma, and above any shade that a lamp gives paper.
    let floor = (8.0 * scene.noise).max(0.12) as f32;
    let rows: Vec<usize> = (2..height.saturating_sub(2)).step_by((height / ROWS).max(1)).collect();
    let mut deficits = vec![0.0f32; rows.len() * width];
    deficits.par_chunks_mut(width).zip(&rows).for_each(|(row, &y)| scene.deficit_row(photo, y, 0, row));
    let field = &scene.field;
    let rows = || deficits.par_chunks_exact(width).zip(rows.par_iter().copied());
    let count = |mut dark: [u32; BINS], (row, y): (&[f32], usize)| {
        for (x, &c) in row.iter().enumerate() {
            if c > floor && field.contains(x, y) {
                dark[(c.clamp(0.0, 1.0) * (BINS - 1) as f32) as usize] += 1;
            }
        }
        dark
    };
    let none = || [0u32; BINS];
    let dark = rows().fold(none, count).reduce(none, |a, b| std::array::from_fn(|i| a[i] + b[i]));
    let total: u32 = dark.iter().sum();
    if total < 3 {
        return Err(BackdropError::Blank);
    }
    // First guess of the core: the level that a quarter of all dark pixels exceed (edges and shadows lie below).
    let mut above = 0;
    let guess = (0..dark.len())
        .rev()
        .find(|&i| {
            above += dark[i];
            above * 4 >= total
        })
        .unwrap_or(50) as f64
        / (BINS - 1) as f64;
    let half = 0.5 * guess;
    let runs_of = |(row, y): (&[f32], usize)| {
        let on_paper = |x: usize| row.get(x).copied().filter(|_| field.contains(x, y)).unwrap_or(f32::INFINITY);
        let mut runs = Vec::new();
        let mut x = 0;
        while x < width {
            if f64::from(row[x]) <= half {
                x += 1;
                continue;
            }
            let x0 = x;
            while x < width && f64::from(row[x]) > half {
                x += 1;
            }
            if x0 > 2 && x + 2 < width && field.contains(x0 - 1, y) && field.contains(x, y) {
                let beside = [x0.wrapping_sub(BESIDE_PX), x + BESIDE_PX].map(on_paper);
                runs.push(DarkRun { y, x0, x1: x, beside });
            }
        }
        runs
    };
    let mut runs: Vec<DarkRun> = rows().flat_map_iter(runs_of).collect();
    // Long runs show the core; the shortest length that still leaves enough of them is taken.
    let lengths = [24usize, 16, 10, 6, 3, 1];
    let enough = |n: usize| runs.iter().filter(|r| r.x1 - r.x0 >= n).count() >= 40;
    let shortest = lengths.into_iter().find(|&n| enough(n)).unwrap_or(1);
    let mut cores = Vec::new();
    let mut shares = Vec::new();
    let mut textures = Vec::new();
    let mut places = Vec::new();
    runs.retain(|r| r.x1 - r.x0 >= shortest);
    for run in runs.iter().step_by((2 * runs.len() / EDGES).max(1)) {
        let trim = ((run.x1 - run.x0) / 4).min(6);
        let mut inner = vec![0.0; run.x1 - run.x0 - 2 * trim];
        scene.deficit_row(photo, run.y, run.x0 + trim, &mut inner);
        let mut inner: Vec<f64> = inner.iter().map(|&v| f64::from(v)).collect();
        let Some(core) = median(&mut inner) else { continue };
        cores.push(core);
        inner.iter_mut().for_each(|v| *v = (*v - core).abs() / core);
        textures.extend(median(&mut inner));
        for (edge, beside) in [run.x0, run.x1].into_iter().zip(run.beside) {
            if let Some(steepest) = steepest_step(photo, scene, run.y, edge) {
                shares.push(steepest / core);
                // The relief of a coin has edges of its own, and so have particles that touch.
                if f64::from(beside) < BARE * core {
                    places.push(([edge, run.y], steepest / core));
                }
            }
        }
    }
    scene.core = median(&mut cores).unwrap_or(guess);
    // The median of a normal law's absolute deviations is 0.6745 standard deviations; noise has its part in them.
    let spread = median(&mut textures).unwrap_or(0.0) / 0.6745;
    scene.texture = (spread * spread - scene.noise * scene.noise).max(0.0).sqrt();
    // The gradient of an ideal edge of height `core` under a Gaussian blur is core / (√(2π)·σ); over a difference of two
    // pixels it is core·(2Φ(1/σ) − 1)/2, which is solved for σ. Above 0.49 the edge is sharper than pixels can show.
    let blur_of = |share: f64| 1.0 / normal_quantile(share.clamp(0.05, 0.49) + 0.5);
    // Of every single edge it is taken from a table: solving for it takes a thousand times as long.
    const STEPS: usize = 100;
    const STEP: f64 = 0.5 / STEPS as f64;
    let table: Vec<f64> = (0..=STEPS).map(|i| blur_of(i as f64 * STEP)).collect();
    let looked_up = |share: f64| {
        let at = share.clamp(0.0, 0.499) / STEP;
        let (i, t) = (at as usize, at.fract());
        table[i] + t * (table[i + 1] - table[i])
    };
    let edges: Vec<([usize; 2], f64)> = places.into_iter().map(|(at, share)| (at, looked_up(share))).collect();
    scene.blur_px = blur_of(median(&mut shares).unwrap_or(0.34));
    scene.softness = Softness::learn([width, height], &edges, scene.blur_px);
    Ok(())
}

/// Steepest half difference over two pixels at an edge that crosses row `y` near pixel `x`.
fn steepest_step(photo: &Photo, scene: &Scene, y: usize, x: usize) -> Option<f64> {
    let x0 = x.checked_sub(3)?;
    if x + 3 > photo.width() {
        return None;
    }
    let mut rows = [[0.0f32; 6]; 3];
    for (i, row) in rows.iter_mut().enumerate() {
        scene.deficit_row(photo, y - 1 + i, x0, row);
    }
    let steepest =
        (1..5).map(|i| (rows[1][i + 1] - rows[1][i - 1]).hypot(rows[2][i] - rows[0][i])).fold(0.0f32, f32::max);
    (steepest > 0.0).then(|| 0.5 * f64::from(steepest))
}
