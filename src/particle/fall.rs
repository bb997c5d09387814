//! How the shade falls off beside the larger particles: along the way of the light, and all round.

use super::edge::{STEP_PX, bilinear, find_normals};
use super::shade::{DARKEST, Fall, Falls, STEP, STEPS};
use crate::backdrop::Patch;
use crate::numeric::median;

/// Way from the outline, in blur widths (half a pixel is added), from which on shade is seen rather than the blurred edge.
const CLEAR: f64 = 2.0;
/// The same, px, beyond the halo of sharpening where that is not known.
const BEYOND_HALO_PX: f64 = 3.0;

/// Share of the core above which a way outwards has met a particle.
const MET: f64 = 0.7;

/// Deficits beside one particle, by the way from the outline.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seen {
    diameter: f64,
    lee: [Option<f64>; STEPS],
    ring: [Option<f64>; STEPS],
}

impl Seen {
    /// Reads them in the `patch` along the `direction` of the light, and outwards where the closed `outline` (patch pixels)
    /// faces it; `core` is the deficit of the particle and `diameter` its width, px.
    pub fn read(patch: &Patch, outline: &[[f64; 2]], diameter: f64, core: f64, direction: [f64; 2]) -> Self {
        let mut normals = Vec::new();
        find_normals(outline, &mut normals);
        let (mut lee, mut ring) = ([(0.0f64, 0u32); STEPS], [(0.0f64, 0u32); STEPS]);
        for (p, n) in outline.iter().zip(&normals).step_by(2) {
            let facing = n[0] * direction[0] + n[1] * direction[1];
            // Within 45° of the lee side, and beyond what the lamp's shadow reaches.
            let (n, sums) = match facing {
                f if f > 0.7 => (&direction, &mut lee),
                f if f < -0.3 => (n, &mut ring),
                _ => continue,
            };
            for (i, (sum, count)) in sums.iter_mut().enumerate().skip(1) {
                let way = i as f64 * STEP * diameter;
                let [x, y] = [p[0] + way * n[0], p[1] + way * n[1]];
                if x < 0.0 || y < 0.0 || x >= patch.width as f64 || y >= patch.height as f64 {
                    break;
                }
                let seen = f64::from(bilinear(patch, x, y));
                // Beyond the blurred edge it is another particle.
                if seen > MET * core && way > diameter * 0.1 {
                    break;
                }
                *sum += seen;
                *count += 1;
            }
        }
        let mean = |sums: [(f64, u32); STEPS]| sums.map(|(sum, n)| (n >= 3).then(|| sum / f64::from(n)));
        Seen { diameter, lee: mean(lee), ring: mean(ring) }
    }
}

/// Shade beside the particles: the median of what was `seen`, from where the edge blurred by `sigma` px is left behind, led
/// on to the outline from there. `halo` is the mean profile across an edge without shade, as of
/// [`super::edge::mean_profile`]; without it only what lies beyond the halo of sharpening is taken.
pub(super) fn middle(seen: &[Seen], core: f64, sigma: f64, halo: Option<&[f64]>) -> Option<Falls> {
    let clear = CLEAR * sigma + if halo.is_some() { 0.5 } else { BEYOND_HALO_PX };
    let halo = |way: f64| {
        let at = |halo: &[f64]| halo.get(halo.len() / 2 + (way / STEP_PX).round() as usize).copied();
        halo.and_then(at).unwrap_or(0.0)
    };
    let fall = |of: fn(&Seen) -> &[Option<f64>; STEPS], facing: f64| -> Option<Fall> {
        let middle: Vec<Option<f64>> = (0..STEPS)
            .map(|i| {
                let shade = |s: &Seen| {
                    let way = i as f64 * STEP * s.diameter * facing;
                    // The halo goes with the step at the edge, which shade makes smaller.
                    let halo = halo(way);
                    of(s)[i].filter(|_| way >= clear).map(|v| (v - halo) / (1.0 - halo / core))
                };
                let mut values: Vec<f64> = seen.iter().filter_map(shade).collect();
                (values.len() >= 5).then(|| median(&mut values)).flatten()
            })
            .collect();
        let first = middle.iter().position(Option::is_some)?;
        let mut fall: Fall = std::array::from_fn(|i| middle[i].unwrap_or(0.0));
        let led: [f64; 3] = std::array::from_fn(|j| fall[(first + j).min(STEPS - 1)]);
        let slope = (0.5 * (led[0] - led[2])).max(0.0);
        let start = (led[0] + led[1] + led[2]) / 3.0 + slope;
        for (i, v) in fall.iter_mut().take(first).enumerate() {
            *v = (start + slope * (first - i) as f64).min(DARKEST * core);
        }
        Some(fall)
    };
    // The mean cosine within 45° is 0.9.
    Some(Falls { lee: fall(|s| &s.lee, 0.9)?, ring: fall(|s| &s.ring, 1.0)? })
}

#[cfg(test)]
mod tests {
    use super::super::examine::{Examiner, Levels};
    use super::super::look::Look;
    use super::super::shade::Shade;
    use super::super::synthetic::disc;
    use super::*;

    #[test]
    fn shade_is_read_as_it_was_laid() {
        // A lamp's shadow that fades over two fifths of the diameter, and shade all round over a fifth.
        let fade =
            |dark: f64, length: f64| std::array::from_fn(|i| dark * (1.0 - i as f64 * STEP / length).max(0.0)) as Fall;
        let laid = Falls { lee: fade(0.4, 0.4), ring: fade(0.1, 0.2) };
        let direction = [0.8, 0.6];
        let shade = Shade { direction, breadth: 1.0, ..Shade::default() }.with(laid, 0.9);
        let look = Look { blur_px: 1.0, sharpen: 0.0, level: 0.7, excess: 1.0 };
        let seen: Vec<Seen> = [18.0, 20.0, 22.0, 24.0, 26.0]
            .into_iter()
            .map(|radius| {
                let patch = disc(radius, &look, 0.9, &shade, [0.1, 0.3], 8.0);
                let reading = Examiner::new(1.0, Levels::USUAL).examine_lone(&patch).unwrap();
                Seen::read(&patch, &reading.outline, 2.0 * radius, 0.9, direction)
            })
            .collect();
        let read = middle(&seen, 0.9, 1.0, Some(&[])).unwrap();
        for i in 0..20 {
            assert!((read.ring[i] - laid.ring[i]).abs() < 0.02, "{i}: {:.3?} {:.3?}", read.ring, laid.ring);
            assert!((read.lee[i] - laid.lee[i]).abs() < 0.03, "{i}: {:.3?} {:.3?}", read.lee, laid.lee);
        }
        let far = middle(&seen, 0.9, 1.0, None).unwrap();
        assert!((far.ring[0] - 0.1).abs() < 0.03, "{:?}", far.ring);
    }
}
