//! The same spread photographed twice, or one photo saved again.

use super::Measurement;
use crate::distribution::is_same_spread;

impl Measurement {
    /// Pairs of photos (by their places in `photos`) in which the same particles lie at the same places.
    pub fn same_spreads(&self) -> Vec<[usize; 2]> {
        let pairs = (0..self.photos.len()).flat_map(|b| (0..b).map(move |a| [a, b]));
        let same = |[a, b]: &[usize; 2]| {
            let (a, b) = (&self.photos[*a], &self.photos[*b]);
            a.size_px == b.size_px && is_same_spread(&a.particles, &b.particles)
        };
        pairs.filter(same).collect()
    }
}
