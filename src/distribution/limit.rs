use crate::numeric::normal_quantile;

/// Below this many pixels a particle is as likely noise, and none was ever checked.
const SMALLEST_PX: f64 = 1.5;

/// Smallest ECD (px) of which the matched detection shows 95 %, for particles that lie alone.
///
/// A disc of radius R and deficit `core` under blur σ, smoothed once more with σ, peaks at
/// core·(1 − exp(−R²/4σ²)); noise lifts or lowers the peak by the smoothed noise. The peak must exceed the threshold
/// with 95 % probability. Pixels average over their own area, which is part of the blur as read from the photo.
/// All deficits dimensionless; `blur_px` in px.
/// Source: own derivation (convolution of a disc with a Gaussian); checked on rendered photos in `tests/truth.rs`.
pub fn smallest_ecd_px(threshold: f64, smoothed_noise: f64, core: f64, blur_px: f64) -> f64 {
    let needed = (threshold + normal_quantile(0.95) * smoothed_noise) / core;
    // A peak at the full core would need an infinite disc: such a photo shows nothing.
    if needed >= 0.999 {
        return f64::INFINITY;
    }
    (2.0 * (-4.0 * blur_px * blur_px * (1.0 - needed).ln()).sqrt()).max(SMALLEST_PX)
}
