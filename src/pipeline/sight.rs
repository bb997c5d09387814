//! The limit of sight: particles are laid on the photo's own paper and looked for.

use crate::backdrop::{Scene, Softness};
use crate::distribution::{LEAST_RECALL, Recall, SEEN, expected_ecd_px};
use crate::particle::{Calibration, Trial, Trials};
use crate::photo::Photo;
use crate::segment::Regions;

/// First trials: sizes from half to three times that expected, which holds the limit where compression hides what noise
/// would let pass.
const FIRST: [f64; 2] = [0.5, 3.0];
const FIRST_SIZES: usize = 8;
const FIRST_EACH: usize = 8;
/// Then those where recall, by the first trials, goes from a half to 0.99, and a step of theirs about it at least: recall
/// may have gone from none to all within one.
const LAST_RECALL: f64 = 0.99;
const SIZES: usize = 8;
const EACH: usize = 32;
/// Fewer trials than these tell the limit no better than the formula.
const FEWEST: usize = 60;
/// Spread of the size (ln) at which single particles come into sight, times the square of the lens's blur in px: the sharper they
/// are drawn, the more it matters how they lie on the pixels and what shape they have, while trials are all alike. Such that 95 %
/// of the particles at the limit are seen, on rendered photos other than those of the table in docs/accuracy.md.
const DIFFER: f64 = 0.065;
/// Places are drawn anew from the same seed: a photo always gives the same figures.
const SEED: u64 = 1;

/// What a photo shows.
pub(super) struct Sight {
    /// Share of the particles of each size that are seen, over the whole photo.
    pub recall: Recall,
    /// Softness and smallest diameter (px) of which 95 % are seen, in the sharper and the softer places of the photo.
    ends: [[f64; 2]; 2],
}

impl Sight {
    /// The same everywhere.
    fn even(recall: Recall) -> Self {
        let limit = recall.limit_px();
        Sight { recall, ends: [[1.0, limit], [1.0, limit]] }
    }

    /// As blur makes it by the formula of [`expected_ecd_px`], where trials are too few to tell: a particle is smoothed once
    /// more with the blur of the whole photo before it is looked for.
    fn widened(recall: Recall, softness: &Softness) -> Self {
        let limit = recall.limit_px();
        let ratios = softness.steps();
        let ends = [ratios[0], ratios[ratios.len() - 1]].map(|r| [r, limit * (0.5 * (1.0 + r * r)).sqrt()]);
        Sight { recall, ends }
    }

    /// Smallest diameter (px) of which 95 % are seen where the blur is `softness` times that of the whole photo.
    pub fn limit_px(&self, softness: f64) -> f64 {
        let [[sharp, low], [soft, high]] = self.ends;
        if soft <= sharp {
            return low;
        }
        let power = ((high / low).ln() / (soft / sharp).ln()).clamp(0.0, 1.0);
        (low * high).sqrt() * (softness / (sharp * soft).sqrt()).powf(power)
    }
}

/// Reads what the photo shows. It is lent for the trials, and stays as it is.
pub(super) fn sight(photo: &mut Photo, scene: &Scene, regions: &Regions, calibration: &Calibration) -> Sight {
    let expected =
        |recall| expected_ecd_px(recall, regions.threshold, regions.smoothed_noise, scene.core, scene.blur_px);
    // Where nothing can be seen at all, whatever is tried is not found.
    let farthest = 12.0 * scene.blur_px;
    let (half, guess) = (expected(LEAST_RECALL).min(farthest), expected(SEEN).min(1.5 * farthest));
    let law = Recall::expected(half, guess.max(1.01 * half));
    let largest = FIRST[1] * guess;
    let mut trials = Trials::new(photo, scene, regions, calibration, largest, SEED);
    if trials.left() < FEWEST {
        return Sight::even(law);
    }
    // On crowded paper most places are kept for the sizes that tell the limit.
    let first_each = (trials.left() / (3 * FIRST_SIZES)).clamp(2, FIRST_EACH);
    let mut outcomes = trials.run(&steps(FIRST[0] * guess, largest, FIRST_SIZES), first_each);
    let first = Recall::fit(&outcomes, &law);
    let step = (FIRST[1] / FIRST[0]).powf(1.0 / (FIRST_SIZES - 1) as f64);
    let half = first.size_px(LEAST_RECALL);
    let ends = [half / step.sqrt(), first.size_px(LAST_RECALL).max(half * step)];
    let [start, end] = ends.map(|e| e.clamp(FIRST[0] * guess, largest));
    outcomes.extend(trials.run(&steps(start, end, SIZES), EACH));
    let differ = DIFFER / calibration.look.blur_px.powi(2);
    let recall = Recall::fit(&outcomes, &first).spread(differ);
    if !scene.softness.varies() {
        return Sight::even(recall);
    }
    let mean = |of: &[Trial]| of.iter().map(|trial| trial.softness).sum::<f64>() / of.len() as f64;
    let middle = mean(&outcomes);
    let (sharp, soft): (Vec<Trial>, Vec<Trial>) = outcomes.into_iter().partition(|trial| trial.softness < middle);
    if sharp.len().min(soft.len()) < FEWEST {
        return Sight::widened(recall, &scene.softness);
    }
    let ends = [sharp, soft].map(|of| [mean(&of), Recall::fit(&of, &recall).spread(differ).limit_px()]);
    Sight { recall, ends }
}

/// `count` sizes from `start` to `end` in equal ratio.
fn steps(start: f64, end: f64, count: usize) -> Vec<f64> {
    (0..count).map(|i| start * (end / start).powf(i as f64 / (count - 1) as f64)).collect()
}
