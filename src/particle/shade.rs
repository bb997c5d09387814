//! Contact shadow, learnt on the larger particles of the photo.

use super::edge::{Ring, sector};
use crate::numeric::median;

/// Shadow that particles throw on the paper: the silhouette swept along one direction.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Shade {
    /// Deficit of the paper beside a particle, dimensionless.
    pub strength: f64,
    /// Unit vector from the light.
    pub direction: [f64; 2],
    /// Length of the shadow of the smallest particles, px.
    pub floor_px: f64,
    /// Length of the shadow of a large particle, share of its diameter.
    pub share: f64,
}

/// Darkest shadow that is learnt, share of the core: beyond it the first outline would take the shadow in.
const DARKEST: f64 = 0.52;

impl Shade {
    /// Length of the shadow of a particle of diameter `d` (px), px.
    pub fn length_px(&self, d: f64) -> f64 {
        self.floor_px.hypot(self.share * d)
    }

    /// First strength and direction from the shade `around` the larger particles; no length yet.
    pub(super) fn direction_of(around: &Ring, core: f64) -> Shade {
        let (mut x, mut y) = (0.0, 0.0);
        for (k, level) in around.iter().enumerate() {
            let (sin, cos) = (k as f64 * std::f64::consts::FRAC_PI_4).sin_cos();
            x += level.unwrap_or(0.0) * cos;
            y += level.unwrap_or(0.0) * sin;
        }
        let first = x.hypot(y);
        if first == 0.0 {
            return Shade::default();
        }
        let mut shade = Shade { direction: [x / first, y / first], ..Shade::default() };
        shade.strength = shade.lee(around).clamp(0.0, DARKEST * core);
        shade
    }

    /// Shade of a ring on the side away from the light: the darkest of the sector and its two neighbours, since the
    /// direction may lie between two sectors.
    fn lee(&self, ring: &Ring) -> f64 {
        let lee = sector(self.direction);
        [lee + 7, lee, lee + 1].into_iter().filter_map(|k| ring[k % 8]).fold(0.0, f64::max)
    }

    /// Fits the length to the deficit that mid-sized particles show beyond their own area.
    ///
    /// `sizes` holds (diameter, px; that deficit as seen, px²; the same of a synthetic disc with the present length,
    /// or 0 where there is no length yet).
    pub(super) fn fit_length(&mut self, sizes: &[[f64; 3]], sigma: f64) {
        // Squares are linear: length² = floor² + share²·d².
        let (mut n, mut sx, mut sy, mut sxx, mut sxy) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for class in classes(sizes) {
            let middle =
                |f: &dyn Fn(&[f64; 3]) -> f64| median(&mut class.iter().map(f).collect::<Vec<_>>()).unwrap_or(0.0);
            let d = middle(&|s| s[0]);
            let seen = middle(&|s| s[1] / s[0]).max(0.0);
            let made = middle(&|s| s[2] / s[0]);
            // A swept silhouette shows strength × length × width.
            let length = if made > 0.0 {
                self.length_px(d) * (seen / made).clamp(0.3, 3.0)
            } else {
                seen / self.strength.max(0.02)
            };
            let (x, y) = (d * d, length * length);
            // Relative scatter is alike in all classes, so the squares of large lengths weigh less.
            let weight = class.len() as f64 / (1.0 + x).powi(2);
            n += weight;
            sx += weight * x;
            sy += weight * y;
            sxx += weight * x * x;
            sxy += weight * x * y;
        }
        if n == 0.0 {
            return;
        }
        let spread = n * sxx - sx * sx;
        let mut slope = if spread > 0.0 { (n * sxy - sx * sy) / spread } else { 0.0 };
        let mut floor = (sy - slope * sx) / n;
        if slope < 0.0 {
            (slope, floor) = (0.0, sy / n);
        } else if floor < 0.0 {
            (slope, floor) = (sxy / sxx, 0.0);
        }
        // Shadows longer than the skirt over which deficits are summed cannot be told apart by them.
        let most = (2.5 * sigma).powi(2);
        if floor > most {
            (slope, floor) = ((sxy - most * sx) / sxx, most);
        }
        self.floor_px = floor.max(0.0).sqrt();
        self.share = slope.max(0.0).sqrt();
    }
}

/// Groups of like diameter, each of at least eight.
fn classes(sizes: &[[f64; 3]]) -> Vec<Vec<[f64; 3]>> {
    let mut sorted = sizes.to_vec();
    sorted.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let groups = (sorted.len() / 8).clamp(1, 6);
    sorted.chunks(sorted.len().div_ceil(groups).max(1)).map(<[_]>::to_vec).collect()
}
