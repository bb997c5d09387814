/// Linear light of an sRGB-coded value, both 0..1.
///
/// Source: IEC 61966-2-1. Checked in `tests/published.rs`.
pub fn linear_from_srgb(coded: f64) -> f64 {
    if coded <= 0.04045 { coded / 12.92 } else { ((coded + 0.055) / 1.055).powf(2.4) }
}

/// sRGB-coded value of linear light, both 0..1.
///
/// Source: IEC 61966-2-1. Checked in `tests/published.rs`.
pub fn srgb_from_linear(light: f64) -> f64 {
    if light <= 0.003_130_8 { 12.92 * light } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 }
}

/// Linear light of each of `codes` equally spaced codes.
pub(super) fn table(codes: usize) -> Vec<f32> {
    (0..codes).map(|c| linear_from_srgb(c as f64 / (codes - 1) as f64) as f32).collect()
}
