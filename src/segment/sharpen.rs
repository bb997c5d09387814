//! Takes blur back from small pieces of the photo, so that waists are seen as narrow as they are.

use crate::backdrop::Patch;
use crate::numeric::GaussKernel;

/// Steps: more bring out noise and texture rather than outlines.
const STEPS: usize = 5;

/// Sharpens patches, with room that it keeps from one to the next.
pub(super) struct Sharpener {
    kernel: GaussKernel,
    seen: Vec<f32>,
    soft: Vec<f32>,
    sharp: Patch,
}

impl Sharpener {
    /// For photos with a blur of `sigma_px`.
    pub fn new(sigma_px: f64) -> Self {
        Sharpener { kernel: GaussKernel::new(sigma_px), seen: Vec::new(), soft: Vec::new(), sharp: Patch::default() }
    }

    /// The part of `patch` that `bounds` hold, with what blur carries out of them, as it was before the blur; nowhere below 0,
    /// and nowhere more than `most` times as dark as it is seen.
    ///
    /// Source: iteration of P. H. van Cittert, Zeitschrift für Physik 69 (1931) 298 (from memory).
    pub fn sharpen(&mut self, patch: &Patch, [x0, y0, x1, y1]: [usize; 4], most: f32) -> &Patch {
        let margin = self.kernel.radius();
        let (x0, y0) = (x0.saturating_sub(margin).max(patch.x0), y0.saturating_sub(margin).max(patch.y0));
        let (x1, y1) = ((x1 + margin).min(patch.x0 + patch.width), (y1 + margin).min(patch.y0 + patch.height));
        let (width, height) = (x1 - x0, y1 - y0);
        self.seen.clear();
        for y in y0..y1 {
            self.seen.extend_from_slice(&patch.row(y - patch.y0)[x0 - patch.x0..x1 - patch.x0]);
        }
        self.soft.resize(width * height, 0.0);
        let sharp = &mut self.sharp;
        (sharp.x0, sharp.y0, sharp.width, sharp.height) = (x0, y0, width, height);
        sharp.deficit.clear();
        sharp.deficit.extend_from_slice(&self.seen);
        for _ in 0..STEPS {
            self.kernel.smooth_picture(&sharp.deficit, width, (0..height).zip(self.soft.chunks_exact_mut(width)));
            for ((now, seen), soft) in sharp.deficit.iter_mut().zip(&self.seen).zip(&self.soft) {
                *now = (*now + seen - soft).max(0.0);
            }
        }
        sharp.deficit.iter_mut().zip(&self.seen).for_each(|(now, seen)| *now = now.min((most * seen).max(0.0)));
        sharp
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_dip_between_two_spikes_deepens() {
        let (width, height) = (24, 15);
        let mut spikes = vec![0.0f32; width * height];
        spikes[7 * width + 10] = 1.0;
        spikes[7 * width + 13] = 1.0;
        let mut deficit = vec![0.0; width * height];
        let kernel = GaussKernel::new(1.2);
        kernel.smooth_picture(&spikes, width, (0..height).zip(deficit.chunks_exact_mut(width)));
        let patch = Patch { x0: 100, y0: 50, width, height, deficit };
        assert!(patch.at(11, 7) > 0.9 * patch.at(10, 7), "hardly a dip");
        let mut sharpener = Sharpener::new(1.2);
        let sharp = sharpener.sharpen(&patch, [106, 54, 119, 61], 10.0);
        assert_eq!((sharp.x0, sharp.y0, sharp.width, sharp.height), (102, 50, 21, 15));
        let at = |x: usize| sharp.at(x - 2, 7);
        assert!(at(11) < 0.8 * at(10) && (at(10) - at(13)).abs() < 1e-5, "{} {}", at(10), at(11));
        let sum: f32 = sharp.deficit.iter().sum();
        assert!((2.0..2.4).contains(&sum), "light is kept but for what would be negative: {sum}");
    }

    #[test]
    fn paper_brighter_than_its_backdrop_stays_paper() {
        let patch = Patch { x0: 0, y0: 0, width: 9, height: 9, deficit: vec![-0.01; 81] };
        for most in [1.1, f32::INFINITY] {
            let mut sharpener = Sharpener::new(1.0);
            assert_eq!(sharpener.sharpen(&patch, [2, 2, 7, 7], most).deficit, [0.0; 81]);
        }
    }
}
