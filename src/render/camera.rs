//! From scene radiance to 8-bit values: lens, sensor, demosaic, smoothing, encoding, sharpening.
//!
//! Work goes in strips. Each stage spoils a few rows at an inner edge of its strip, so a strip is
//! begun with a halo of rows and only the middle is kept.

use super::lens::{Lens, kernel_radius};
use super::noise::{Job, fill_normal, rng};
use super::paint::{Scene, Strip, radiance};
use super::spec::{Camera, SceneSpec};
use rayon::prelude::*;
use std::sync::OnceLock;

/// Small enough to stay in the cache, large enough for the halo not to matter.
pub(super) const STRIP_ROWS: usize = 128;

pub(super) fn photograph(scene: &Scene, strip_rows: usize) -> Vec<u8> {
    let spec = &scene.spec;
    let (width, height) = (spec.width_px as usize, spec.height_px as usize);
    let mut bytes = vec![0_u8; width * height * 3];
    let lens = Lens::of(spec);
    let halo = lens.radius + halo_after_lens(&spec.camera);
    bytes.par_chunks_mut(strip_rows * width * 3).enumerate().for_each(|(i, out)| {
        let start = i * strip_rows;
        let end = (start + strip_rows).min(height);
        let mut strip = radiance(scene, start.saturating_sub(halo)..(end + halo).min(height));
        lens.blur(&mut strip);
        sense(&mut strip, spec);
        if spec.camera.mosaic {
            demosaic(&mut strip);
        }
        Lens::even(spec.camera.smooth_sigma_px).blur(&mut strip);
        encode(&mut strip);
        sharpen(&mut strip, &spec.camera);
        let skip = (start - strip.first) * width;
        for (pixel, at) in out.chunks_exact_mut(3).zip(skip..) {
            for (value, plane) in pixel.iter_mut().zip(&strip.planes) {
                *value = (plane[at].clamp(0.0, 1.0) * 255.0 + 0.5) as u8;
            }
        }
    });
    bytes
}

fn halo_after_lens(camera: &Camera) -> usize {
    2 + kernel_radius(camera.smooth_sigma_px) + kernel_radius(camera.sharpen.radius_px)
}

/// Sensor values with noise. A mosaic keeps one colour for each pixel, left in the first plane.
fn sense(strip: &mut Strip, spec: &SceneSpec) {
    let width = strip.width;
    let photon = spec.camera.photon_noise.powi(2) as f32;
    let read = spec.camera.read_noise.powi(2) as f32;
    let noisy = photon > 0.0 || read > 0.0;
    let mut draws = vec![0.0_f32; 3 * width];
    for row in 0..strip.rows {
        let y = strip.first + row;
        let at = row * width..(row + 1) * width;
        if spec.camera.mosaic {
            let [red, green, blue] = &mut strip.planes;
            for (x, i) in at.clone().enumerate() {
                match (y % 2, x % 2) {
                    (0, 0) => {}
                    (1, 1) => red[i] = blue[i],
                    _ => red[i] = green[i],
                }
            }
        }
        // One stream for each row of the picture: no strip and no thread changes it.
        if noisy {
            fill_normal(&mut rng(spec.seed, Job::Sensor, y as u64), &mut draws);
        }
        let planes = if spec.camera.mosaic { 1 } else { 3 };
        for (plane, draws) in strip.planes[..planes].iter_mut().zip(draws.chunks_exact(width)) {
            for (v, z) in plane[at.clone()].iter_mut().zip(draws) {
                if noisy {
                    *v += z * (photon * v.max(0.0) + read).sqrt();
                }
                // A full pixel holds no more.
                *v = v.min(1.0);
            }
        }
    }
}

/// Fills in the missing colours of an RGGB mosaic by the gradient-corrected bilinear filters of
/// Malvar, He and Cutler (2004). Edges are mirrored, which keeps the mosaic's order.
fn demosaic(strip: &mut Strip) {
    let (width, rows) = (strip.width, strip.rows);
    let raw = std::mem::take(&mut strip.planes[0]);
    strip.planes[0] = vec![0.0; raw.len()];
    let mirror = |at: isize, count: usize| {
        let last = count as isize - 1;
        (last - (last - at.abs()).abs()) as usize
    };
    let columns: Vec<usize> = (-2..width as isize + 2).map(|x| mirror(x, width)).collect();
    for y in 0..rows {
        let lines: [&[f32]; 5] = std::array::from_fn(|k| {
            let line = mirror(y as isize + k as isize - 2, rows) * width;
            &raw[line..line + width]
        });
        let odd_row = (strip.first + y) % 2;
        for x in 0..width {
            let c: &[usize] = &columns[x..x + 5];
            let v = |dx: usize, dy: usize| lines[dy][c[dx]];
            let here = v(2, 2);
            let near_x = v(1, 2) + v(3, 2);
            let near_y = v(2, 1) + v(2, 3);
            let far_x = v(0, 2) + v(4, 2);
            let far_y = v(2, 0) + v(2, 4);
            let corners = v(1, 1) + v(3, 1) + v(1, 3) + v(3, 3);
            let green = (4.0 * here + 2.0 * (near_x + near_y) - far_x - far_y) / 8.0;
            let opposite = (6.0 * here + 2.0 * corners - 1.5 * (far_x + far_y)) / 8.0;
            let along = |near: f32, far: f32, other: f32| (5.0 * here + 4.0 * near - corners - far + 0.5 * other) / 8.0;
            let by_row = along(near_x, far_x, far_y);
            let by_column = along(near_y, far_y, far_x);
            let colour = match (odd_row, x % 2) {
                (0, 0) => [here, green, opposite],
                (0, _) => [by_row, here, by_column],
                (_, 0) => [by_column, here, by_row],
                _ => [opposite, green, here],
            };
            for (plane, v) in strip.planes.iter_mut().zip(colour) {
                plane[y * width + x] = v;
            }
        }
    }
}

/// The sRGB transfer curve (IEC 61966-2-1).
pub(super) fn srgb(linear: f64) -> f64 {
    if linear <= 0.003_130_8 { 12.92 * linear } else { 1.055 * linear.powf(1.0 / 2.4) - 0.055 }
}

fn encode(strip: &mut Strip) {
    const STEPS: usize = 16_384;
    static TABLE: OnceLock<Vec<f32>> = OnceLock::new();
    let table = TABLE.get_or_init(|| (0..=STEPS + 1).map(|i| srgb(i as f64 / STEPS as f64) as f32).collect());
    for v in strip.planes.iter_mut().flatten() {
        let at = v.clamp(0.0, 1.0) * STEPS as f32;
        let step = at as usize;
        *v = table[step] + (table[step + 1] - table[step]) * (at - step as f32);
    }
}

fn sharpen(strip: &mut Strip, camera: &Camera) {
    let amount = camera.sharpen.amount as f32;
    if amount == 0.0 || camera.sharpen.radius_px == 0.0 {
        return;
    }
    let mut soft = Strip { planes: strip.planes.clone(), ..*strip };
    Lens::even(camera.sharpen.radius_px).blur(&mut soft);
    for (plane, soft) in strip.planes.iter_mut().zip(&soft.planes) {
        for (v, s) in plane.iter_mut().zip(soft) {
            *v += amount * (*v - s);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flat(width: usize, rows: usize, colour: [f32; 3]) -> Strip {
        Strip { width, first: 0, rows, planes: colour.map(|v| vec![v; width * rows]) }
    }

    #[test]
    fn even_colour_survives_mosaic_and_blur() {
        let colour = [0.7, 0.5, 0.3];
        let mut strip = flat(24, 18, colour);
        let spec = SceneSpec {
            camera: Camera { photon_noise: 0.0, read_noise: 0.0, ..Camera::default() },
            ..SceneSpec::default()
        };
        Lens::of(&spec).blur(&mut strip);
        sense(&mut strip, &spec);
        demosaic(&mut strip);
        for (plane, v) in strip.planes.iter().zip(colour) {
            assert!(plane.iter().all(|p| (p - v).abs() < 1e-5));
        }
    }

    #[test]
    fn table_follows_the_curve() {
        let mut strip = flat(1001, 1, [0.0; 3]);
        strip.planes[0] = (0..=1000).map(|i| i as f32 / 1000.0).collect();
        encode(&mut strip);
        for (i, v) in strip.planes[0].iter().enumerate() {
            assert!((f64::from(*v) - srgb(i as f64 / 1000.0)).abs() < 2e-5);
        }
    }

    #[test]
    fn noise_has_the_asked_size() {
        let mut strip = flat(400, 100, [0.64, 0.64, 0.64]);
        let spec = SceneSpec {
            camera: Camera { photon_noise: 0.02, read_noise: 0.01, mosaic: false, ..Camera::default() },
            ..SceneSpec::default()
        };
        sense(&mut strip, &spec);
        let n = strip.planes[1].len() as f32;
        let mean = strip.planes[1].iter().sum::<f32>() / n;
        let var = strip.planes[1].iter().map(|v| (v - mean).powi(2)).sum::<f32>() / n;
        let asked = (0.0004_f32 * 0.64 + 0.0001).sqrt();
        assert!((mean - 0.64).abs() < 5e-4 && (var.sqrt() / asked - 1.0).abs() < 0.02);
    }
}
