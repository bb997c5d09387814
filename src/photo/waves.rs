//! From the coefficients of a JPEG block to its pixels.

use std::array::from_fn;
use std::f32::consts::SQRT_2;

use super::compression::{SIDE, ZIGZAG};

/// Coefficients of the lowest frequencies first, in the order in which a file stores them: the place of each in a block whose
/// rows are the frequencies across.
pub(super) const PLACES: [u8; SIDE * SIDE] = places();

const fn places() -> [u8; SIDE * SIDE] {
    let mut places = ZIGZAG;
    let mut i = 0;
    while i < places.len() {
        places[i] = turned_place(ZIGZAG[i] as usize) as u8;
        i += 1;
    }
    places
}

/// Where a coefficient stands once rows and columns have changed places.
const fn turned_place(place: usize) -> usize {
    place % SIDE * SIDE + place / SIDE
}

/// What turns the coefficients at the [`PLACES`] into those of [`pixels`]: the file's `steps`, by vertical then horizontal
/// frequency, with what the transform leaves out.
pub(super) fn factors(steps: &[f32; SIDE * SIDE]) -> [f32; SIDE * SIDE] {
    // 1 for no wave, else √2 times the cosine.
    let of = |k: usize| {
        let angle = k as f64 * std::f64::consts::PI / 16.0;
        if k == 0 { 1.0 } else { std::f64::consts::SQRT_2 * angle.cos() }
    };
    from_fn(|i| (f64::from(steps[turned_place(i)]) * of(i / SIDE) * of(i % SIDE) / 8.0) as f32)
}

/// Blocks that are turned together.
pub(super) const TOGETHER: usize = 8;

/// A number of each block.
type Lanes = [f32; TOGETHER];

/// Coefficients of [`TOGETHER`] blocks, each multiplied by its factor: for each of the [`PLACES`], one of every block.
pub(super) type Waves = [Lanes; SIDE * SIDE];

/// Pixels of the blocks, each row as bytes from left to right.
///
/// The inverse cosine transform, in both directions by the same five multiplications.
/// Source: Y. Arai, T. Agui & M. Nakajima, Trans. IEICE E71 (1988) 1095–1097 (from memory); held to the definition in
/// T.81, A.3.3, in the tests.
pub(super) fn pixels(waves: &mut Waves) -> [[[u8; SIDE]; SIDE]; TOGETHER] {
    for v in 0..SIDE {
        sum_waves(waves, v, SIDE);
    }
    for x in 0..SIDE {
        sum_waves(waves, x * SIDE, 1);
    }
    let mut codes = [[0; TOGETHER]; SIDE * SIDE];
    codes.as_flattened_mut().iter_mut().zip(waves.as_flattened()).for_each(|(to, &level)| *to = code(level));
    let mut rows = [[[0; SIDE]; SIDE]; TOGETHER];
    for y in 0..SIDE {
        let turned = turned(from_fn(|x| u64::from_le_bytes(codes[x * SIDE + y])));
        for (block, row) in rows.iter_mut().zip(turned) {
            block[y] = row.to_le_bytes();
        }
    }
    rows
}

/// A square of 8 × 8 bytes with rows and columns exchanged.
///
/// Source: H. S. Warren, Hacker's Delight, 2nd ed. (2013), 7-3, for bits (from memory).
#[inline]
fn turned(mut rows: [u64; 8]) -> [u64; 8] {
    // Squares of 4 × 4, 2 × 2, 1 × 1 change places across the diagonal.
    for (apart, mask) in [(4, 0x0000_0000_FFFF_FFFF), (2, 0x0000_FFFF_0000_FFFF), (1, 0x00FF_00FF_00FF_00FFu64)] {
        for i in (0..8).filter(|i| i & apart == 0) {
            let change = (rows[i] >> (8 * apart) ^ rows[i + apart]) & mask;
            rows[i + apart] ^= change;
            rows[i] ^= change << (8 * apart);
        }
    }
    rows
}

/// The nearest of the codes 0 … 255, where a level of 0 stands in the middle of them.
#[inline]
fn code(level: f32) -> u8 {
    const MIDDLE: f32 = 128.0;
    // Adding so much leaves no bits behind the point.
    const WHOLE: f32 = 12_582_912.0;
    let level = level + MIDDLE;
    let level = if level > 0.0 { level } else { 0.0 };
    let level = if level < 255.0 { level } else { 255.0 };
    (level + WHOLE).to_bits() as u8
}

/// One direction of the transform: of the coefficients from `first` on, every `step`-th.
#[inline]
#[expect(clippy::needless_range_loop, reason = "lane by lane, which becomes vector operations")]
fn sum_waves(waves: &mut Waves, first: usize, step: usize) {
    // Twice the cosine of π/8, its sum with twice the sine, and their difference.
    const COSINE: f32 = 1.847_759_1;
    const SUM: f32 = 2.613_126;
    const DIFFERENCE: f32 = 1.082_392_2;
    for lane in 0..TOGETHER {
        let w: [f32; SIDE] = from_fn(|k| waves[first + k * step][lane]);
        let (sum, difference) = (w[0] + w[4], w[0] - w[4]);
        let both = w[2] + w[6];
        let turned = (w[2] - w[6]) * SQRT_2 - both;
        let even = [sum + both, difference + turned, difference - turned, sum - both];
        let (z13, z10) = (w[5] + w[3], w[5] - w[3]);
        let (z11, z12) = (w[1] + w[7], w[1] - w[7]);
        let z5 = (z10 + z12) * COSINE;
        let o0 = z11 + z13;
        let o1 = z5 - z10 * SUM - o0;
        let o2 = (z11 - z13) * SQRT_2 - o1;
        let o3 = z5 - z12 * DIFFERENCE - o2;
        let odd = [o0, o1, o2, o3];
        for k in 0..4 {
            waves[first + k * step][lane] = even[k] + odd[k];
            waves[first + (7 - k) * step][lane] = even[k] - odd[k];
        }
    }
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;
    use crate::numeric::Draws;

    /// T.81, A.3.3, as it stands there.
    fn by_definition(waves: &[f64; 64], x: usize, y: usize) -> f64 {
        let c = |k: usize| if k == 0 { 0.5f64.sqrt() } else { 1.0 };
        let cosine = |at: usize, k: usize| ((2 * at + 1) as f64 * k as f64 * PI / 16.0).cos();
        let term = |i: usize| {
            let (u, v) = (i / 8, i % 8);
            c(u) * c(v) * waves[i] * cosine(x, u) * cosine(y, v)
        };
        0.25 * (0..64).map(term).sum::<f64>() + 128.0
    }

    #[test]
    fn pixels_are_those_of_the_definition() {
        let mut draws = Draws::new(3, 0);
        let factors = factors(&[1.0; 64]);
        for run in 0..400 {
            // From nearly flat blocks to such as reach beyond black and white.
            let size = [2.0, 20.0, 120.0, 400.0][run % 4];
            let exact: [f64; 64] = from_fn(|i| (size * draws.normal() / (1 + i / 8 + i % 8) as f64).round());
            let lane = run % TOGETHER;
            let found =
                pixels(&mut from_fn(|i| from_fn(|l| if l == lane { exact[i] as f32 * factors[i] } else { 7.0 })));
            for (y, row) in found[lane].iter().enumerate() {
                for (x, &code) in row.iter().enumerate() {
                    let off = f64::from(code) - by_definition(&exact, x, y).clamp(0.0, 255.0);
                    assert!(off.abs() < 0.5 + 2e-4, "run {run} at {x}, {y}: {off}");
                }
            }
        }
    }

    #[test]
    fn places_follow_the_figure() {
        // Its first two rows, T.81, figure 5: numbers at (down, across).
        let first = [[0, 1, 5, 6, 14, 15, 27, 28], [2, 4, 7, 13, 16, 26, 29, 42]];
        for (down, row) in first.iter().enumerate() {
            for (across, &number) in row.iter().enumerate() {
                assert_eq!(usize::from(PLACES[number]), across * SIDE + down);
            }
        }
        let mut all = PLACES;
        all.sort_unstable();
        assert!(all.iter().copied().eq(0..64));
    }
}
