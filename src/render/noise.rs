//! Random numbers: seeded generators for single jobs, and noise that is a function of place, so
//! that no result depends on the order in which threads work.

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

/// What a generator is for; keeps the streams apart.
#[derive(Clone, Copy)]
pub(super) enum Job {
    Sizes = 1,
    Outline,
    Layout,
    Look,
    Sensor,
    Paper,
    Disc,
    Table,
    Skin,
}

/// A number for one job and one index of it, from the scene's seed.
pub(super) fn mix(seed: u64, job: Job, index: u64) -> u64 {
    let mut z = seed
        .wrapping_mul(0x9E37_79B9_7F4A_7C15)
        .wrapping_add((job as u64).wrapping_mul(0xD1B5_4A32_D192_ED03))
        .wrapping_add(index.wrapping_mul(0x8CB9_2BA7_2F3D_8DD7));
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

pub(super) fn rng(seed: u64, job: Job, index: u64) -> Pcg64Mcg {
    Pcg64Mcg::seed_from_u64(mix(seed, job, index))
}

/// One draw from the standard normal distribution (Box–Muller).
pub(super) fn normal(rng: &mut Pcg64Mcg) -> f64 {
    let u: f64 = 1.0 - rng.random::<f64>();
    let v: f64 = rng.random();
    (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
}

/// Fills a slice with standard normal draws, two for each pair of uniforms.
pub(super) fn fill_normal(rng: &mut Pcg64Mcg, out: &mut [f32]) {
    for pair in out.chunks_mut(2) {
        let u: f32 = 1.0 - rng.random::<f32>();
        let v: f32 = rng.random();
        let r = (-2.0 * u.ln()).sqrt();
        let (s, c) = (std::f32::consts::TAU * v).sin_cos();
        pair[0] = r * c;
        if let Some(second) = pair.get_mut(1) {
            *second = r * s;
        }
    }
}

/// White noise on the integer lattice, even in -1..1.
pub(super) fn lattice(ix: i32, iy: i32, seed: u32) -> f32 {
    let mut h = (ix as u32).wrapping_mul(0x9E37_79B1) ^ (iy as u32).wrapping_mul(0x85EB_CA77).rotate_left(15) ^ seed;
    h = (h ^ (h >> 16)).wrapping_mul(0x7FEB_352D);
    h = (h ^ (h >> 15)).wrapping_mul(0x846C_A68B);
    h ^= h >> 16;
    h as f32 * (2.0 / 4_294_967_296.0) - 1.0
}

/// Smooth noise with cells of one unit, in -1..1, mean 0.
pub(super) fn value(x: f32, y: f32, seed: u32) -> f32 {
    let (fx, fy) = (x.floor(), y.floor());
    let (ix, iy) = (fx as i32, fy as i32);
    let (tx, ty) = (ease(x - fx), ease(y - fy));
    let top = lerp(lattice(ix, iy, seed), lattice(ix + 1, iy, seed), tx);
    let low = lerp(lattice(ix, iy + 1, seed), lattice(ix + 1, iy + 1, seed), tx);
    lerp(top, low, ty)
}

/// Smooth step of a share in 0..=1; shares outside are limited.
pub(super) fn ease(t: f32) -> f32 {
    let t = t.clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

pub(super) fn lerp(a: f32, b: f32, t: f32) -> f32 {
    a + (b - a) * t
}
