//! The same spread photographed twice, or one photo saved again.

use super::Measurement;
use crate::distribution::Landmarks;

impl Measurement {
    /// Pairs of photos (by their places in `photos`) in which the same particles lie at the same places.
    pub fn same_spreads(&self) -> Vec<[usize; 2]> {
        let marks: Vec<Landmarks> = self.photos.iter().map(|p| Landmarks::of(&p.particles)).collect();
        let pairs = (0..self.photos.len()).flat_map(|b| (0..b).map(move |a| [a, b]));
        let same =
            |&[a, b]: &[usize; 2]| self.photos[a].size_px == self.photos[b].size_px && marks[a].are_those_of(&marks[b]);
        pairs.filter(same).collect()
    }
}
