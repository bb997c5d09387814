//! Discs of known radius as this photo would show them.

use super::examine::margin_px;
use super::look::Look;
use super::shade::Shade;
use crate::backdrop::Patch;
use crate::numeric::GaussKernel;
use crate::photo::{linear_from_srgb, srgb_from_linear};

/// Width of the halo that sharpening leaves (standard deviation), px. Only its strength is learnt: over one to one and a
/// half pixels, as phones use, width and strength trade against each other.
const HALO_PX: f64 = 1.3;

/// What particles take of the light, where the photo shows that they leave 1 − `core` of the paper it shows.
pub(super) fn true_core(core: f64, look: &Look) -> f64 {
    1.0 - (1.0 - core) / look.excess
}

/// Side of the patch that [`disc`] gives, px.
pub(super) fn side_px(radius: f64, shade: &Shade, sigma: f64) -> usize {
    let length = shade.thrown(radius).reach_px();
    2 * ((radius + length.min(4.0 * sigma + 2.0)).ceil() as usize + margin_px(sigma) + 2)
}

/// A disc of `radius` px with its shadow and the `look` of a photo, with room to be read with `sigma`; `at` shifts it
/// against the pixel grid.
pub(super) fn disc(radius: f64, look: &Look, core: f64, shade: &Shade, at: [f64; 2], sigma: f64) -> Patch {
    /// Samples per pixel and axis before the blur.
    const FINE: usize = 3;
    let core = true_core(core, look);
    let side = side_px(radius, shade, sigma);
    let thrown = shade.thrown(radius);
    let n = side * FINE;
    let centre = [side as f64 / 2.0 + at[0], side as f64 / 2.0 + at[1]];
    // Coverage along the radius stands for the share of a sample inside; only near the edge it is neither 0 nor 1.
    let band = [(radius - 0.5 / FINE as f64).max(0.0).powi(2), (radius + 0.5 / FINE as f64).powi(2)];
    let inside = |square: f64| {
        if square <= band[0] {
            1.0
        } else if square >= band[1] {
            0.0
        } else {
            (radius - square.sqrt()) * FINE as f64 + 0.5
        }
    };
    let fine: Vec<f32> = (0..n * n)
        .map(|i| {
            let x = ((i % n) as f64 + 0.5) / FINE as f64 - centre[0];
            let y = ((i / n) as f64 + 0.5) / FINE as f64 - centre[1];
            let disc = inside(x * x + y * y);
            if disc == 1.0 || shade.strength == 0.0 {
                return (core * disc) as f32;
            }
            (core * disc + thrown.at([x, y]) * (1.0 - disc)) as f32
        })
        .collect();
    let kernel = GaussKernel::new(look.blur_px * FINE as f64);
    // Only the rows and columns of pixel centres are wanted.
    let centres = || (FINE / 2..n).step_by(FINE);
    let mut rows = vec![0.0f32; side * n];
    kernel.smooth_picture(&fine, n, centres().zip(rows.chunks_exact_mut(n)));
    let mut deficit: Vec<f32> = rows.chunks_exact(n).flat_map(|row| centres().map(|x| row[x])).collect();
    if look.excess > 1.0 {
        let excess = look.excess as f32;
        deficit.iter_mut().for_each(|d| *d = (1.0 - excess * (1.0 - *d)).max(0.0));
    }
    if look.sharpen != 0.0 {
        sharpen(&mut deficit, side, look);
    }
    Patch { x0: 0, y0: 0, width: side, height: side, deficit }
}

/// What a phone does to the coded picture: each value is moved away from (or towards) the mean round it.
fn sharpen(deficit: &mut [f32], side: usize, look: &Look) {
    let coded: Vec<f32> =
        deficit.iter().map(|&d| srgb_from_linear(look.level * (1.0 - f64::from(d)).max(0.0)) as f32).collect();
    let mut smooth = vec![0.0f32; coded.len()];
    GaussKernel::new(HALO_PX).smooth_picture(&coded, side, smooth.chunks_exact_mut(side).enumerate());
    for ((out, &c), &s) in deficit.iter_mut().zip(&coded).zip(&smooth) {
        let code = f64::from(c) + look.sharpen * f64::from(c - s);
        *out = (1.0 - linear_from_srgb(code.clamp(0.0, 1.0)) / look.level) as f32;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PI: f64 = std::f64::consts::PI;

    #[test]
    fn a_blurred_disc_agrees_with_scipy() {
        // Source: scipy.special.ive with scipy.integrate.quad (SciPy 1.17.1): value at the centre of a unit disc of
        // radius R under unit blur, 1 − exp(−R²/2).
        let look = Look { blur_px: 1.0, sharpen: 0.0, level: 0.7, excess: 1.0 };
        for r in [1.0, 2.0, 3.0f64] {
            let patch = disc(r, &look, 1.0, &Shade::default(), [0.5, 0.5], 1.0);
            let peak = patch.deficit.iter().copied().fold(0.0f32, f32::max);
            let expected = 1.0 - (-r * r / 2.0).exp();
            assert!((f64::from(peak) - expected).abs() < 0.012, "{r}: {peak} {expected}");
            let sum: f32 = patch.deficit.iter().sum();
            assert!((f64::from(sum) / (PI * r * r) - 1.0).abs() < 0.01, "{sum}");
        }
    }

    #[test]
    fn sharpening_leaves_a_bright_halo_and_no_change_of_flat_parts() {
        let look = Look { blur_px: 1.0, sharpen: 0.6, level: 0.7, excess: 1.0 };
        let patch = disc(12.0, &look, 0.9, &Shade::default(), [0.5, 0.5], 1.0);
        let row = patch.row(patch.height / 2);
        let least = row.iter().copied().fold(1.0f32, f32::min);
        assert!(least < -0.01, "{least}");
        assert!((row[patch.width / 2] - 0.9).abs() < 1e-3 && row[0].abs() < 1e-3);
    }
}
