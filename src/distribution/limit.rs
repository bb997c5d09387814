use crate::numeric::{median, normal_quantile, solve};
use crate::particle::Trial;

/// Below this many pixels a particle is as likely noise, and none was ever checked.
const SMALLEST_PX: f64 = 1.5;

/// Recall that a photo's limit of sight stands for.
pub const SEEN: f64 = 0.95;
/// Share of the particles missed at the limit by the law fitted to trials, of those that may be missed.
const FITTED: f64 = 0.75;

/// Recall below which nothing is made of what was not seen: one particle would stand for more than two.
pub const LEAST_RECALL: f64 = 0.5;

/// Width of the slope's prior, in logits to a factor e of size: three times the steepest slope that blur and noise give,
/// so that it only holds when every trial below some size failed and every one above it did not.
const STEEPEST: f64 = 100.0;

/// Smallest ECD (px) of which the matched detection shows the share `recall`, for particles that lie alone: the guess
/// from which trials start, and what is left where a photo has no room for them.
///
/// A disc of radius R and deficit `core` under blur σ, smoothed once more with σ, peaks at
/// core·(1 − exp(−R²/4σ²)); noise lifts or lowers the peak by the smoothed noise. The peak must exceed the threshold
/// with that probability. Pixels average over their own area, which is part of the blur as read from the photo.
/// All deficits dimensionless; `blur_px` in px. Infinite where nothing reaches the threshold.
/// Source: own derivation (convolution of a disc with a Gaussian).
pub fn expected_ecd_px(recall: f64, threshold: f64, smoothed_noise: f64, core: f64, blur_px: f64) -> f64 {
    let needed = (threshold + normal_quantile(recall) * smoothed_noise) / core;
    // A peak at the full core would need an infinite disc: such a photo shows nothing.
    if needed >= 0.999 {
        return f64::INFINITY;
    }
    2.0 * (-4.0 * blur_px * blur_px * (1.0 - needed.max(1e-6)).ln()).sqrt()
}

/// What trials of one size gave.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RecallRow {
    /// Diameter of the particles laid on the paper, px.
    pub ecd_px: f64,
    /// How many.
    pub tried: usize,
    /// Share of them that was found, 0..1.
    pub found: f64,
    /// Median relative error of the diameters measured; `None` where none was found.
    pub bias: Option<f64>,
}

/// Share of the particles of each size that a photo shows: a logistic law in the logarithm of the size.
#[derive(Clone, Debug, PartialEq)]
pub struct Recall {
    /// Size of which half is seen, px.
    half_px: f64,
    /// Logits to a factor e of size.
    slope: f64,
    rows: Vec<RecallRow>,
}

impl Recall {
    /// The law that makes the outcomes of `trials` most likely, from `start` on.
    ///
    /// Source: maximum likelihood of the logistic law by Newton's method (D. R. Cox, 1958, from memory), with a wide normal
    /// prior on the slope that keeps it finite where sizes found and not found do not overlap.
    pub fn fit(trials: &[Trial], start: &Recall) -> Recall {
        let x = |t: &Trial| (t.ecd_px / start.half_px).ln();
        let (mut offset, mut slope) = (0.0, start.slope);
        let likelihood = |offset: f64, slope: f64| {
            let of = |t: &Trial| {
                let z = offset + slope * x(t);
                // ln(1 + e^z) without overflow.
                let softplus = z.max(0.0) + (-z.abs()).exp().ln_1p();
                if t.found_px.is_some() { z - softplus } else { -softplus }
            };
            trials.iter().map(of).sum::<f64>() - 0.5 * (slope / STEEPEST).powi(2)
        };
        let mut now = likelihood(offset, slope);
        for _ in 0..100 {
            let prior = STEEPEST.powi(-2);
            let (mut gradient, mut bend) = ([0.0, -slope * prior], [[1e-9, 0.0], [0.0, prior]]);
            for t in trials {
                let p = logistic(offset + slope * x(t));
                let (off, weight) = (f64::from(u8::from(t.found_px.is_some())) - p, p * (1.0 - p));
                gradient = [gradient[0] + off, gradient[1] + off * x(t)];
                bend[0][0] += weight;
                bend[0][1] += weight * x(t);
                bend[1][1] += weight * x(t) * x(t);
            }
            bend[1][0] = bend[0][1];
            let Some(mut step) = solve(bend, gradient) else { break };
            // The likelihood is concave: a step too long is halved until it rises.
            let mut next = likelihood(offset + step[0], slope + step[1]);
            while next < now && step[0].abs() + step[1].abs() > 1e-9 {
                step = step.map(|s| 0.5 * s);
                next = likelihood(offset + step[0], slope + step[1]);
            }
            if next <= now {
                break;
            }
            (offset, slope, now) = (offset + step[0], slope + step[1], next);
        }
        // Larger particles are never seen less often; where trials say so, they say nothing.
        let slope = slope.max(1.0);
        let rows = rows(trials);
        let mut half_px = start.half_px * (-offset / slope).exp();
        if let [first, .., last] = &rows[..] {
            // Beyond the sizes tried the law is a guess: where none or all were found it has no end.
            half_px = half_px.clamp(0.5 * first.ecd_px, 2.0 * last.ecd_px);
        }
        Recall { half_px, slope, rows }
    }

    /// The law through the sizes (px) of which `LEAST_RECALL` and `SEEN` are expected: without trials.
    pub fn expected(half_px: f64, limit_px: f64) -> Recall {
        let slope = (logit(SEEN) / (limit_px / half_px).ln()).clamp(1.0, STEEPEST);
        Recall { half_px, slope, rows: Vec::new() }
    }

    /// The law where one particle comes into sight earlier than another: by `spread`, the standard deviation of ln(size).
    ///
    /// Source: the variance of a logistic law, π²/3 over the square of its slope; the two are added as if the sum were logistic.
    pub fn spread(self, spread: f64) -> Recall {
        Recall { slope: (1.0 / self.slope).hypot(spread * 3f64.sqrt() / std::f64::consts::PI).recip(), ..self }
    }

    /// Share of particles of `ecd_px` that is seen, 0..1.
    pub fn at(&self, ecd_px: f64) -> f64 {
        logistic(self.slope * (ecd_px / self.half_px).ln())
    }

    /// For how many particles of `ecd_px` one that was seen stands.
    pub fn weight(&self, ecd_px: f64) -> f64 {
        1.0 / self.at(ecd_px).max(LEAST_RECALL)
    }

    /// Size of which the share `recall` is seen, px.
    pub fn size_px(&self, recall: f64) -> f64 {
        self.half_px * (logit(recall) / self.slope).exp()
    }

    /// Smallest reliable size, px.
    ///
    /// Recall falls faster below the limit than it rises above, so that a law with an error of its own promises too much on
    /// average: the limit is where it says a little more than is asked.
    pub fn limit_px(&self) -> f64 {
        self.size_px(1.0 - FITTED * (1.0 - SEEN)).max(SMALLEST_PX)
    }

    /// What the trials gave, by rising size; empty without trials.
    pub fn rows(&self) -> &[RecallRow] {
        &self.rows
    }
}

fn logistic(z: f64) -> f64 {
    1.0 / (1.0 + (-z).exp())
}

fn logit(p: f64) -> f64 {
    (p / (1.0 - p)).ln()
}

fn rows(trials: &[Trial]) -> Vec<RecallRow> {
    let mut sorted = trials.to_vec();
    sorted.sort_by(|a, b| a.ecd_px.total_cmp(&b.ecd_px));
    sorted
        // Sizes of the two rounds may differ by rounding alone.
        .chunk_by(|a, b| (a.ecd_px / b.ecd_px - 1.0).abs() < 1e-9)
        .map(|same| {
            let mut errors: Vec<f64> = same.iter().filter_map(|t| Some(t.found_px? / t.ecd_px - 1.0)).collect();
            RecallRow {
                ecd_px: same[0].ecd_px,
                tried: same.len(),
                found: errors.len() as f64 / same.len() as f64,
                bias: median(&mut errors),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::Draws;

    fn trials(law: &Recall, sizes: impl Iterator<Item = f64>, draws: &mut Draws) -> Vec<Trial> {
        sizes
            .map(|ecd_px| Trial {
                ecd_px,
                found_px: (draws.uniform() < law.at(ecd_px)).then_some(1.02 * ecd_px),
                softness: 1.0,
            })
            .collect()
    }

    #[test]
    fn the_law_is_found_again() {
        let truth = Recall::expected(2.2, 2.9);
        let start = Recall::expected(3.0, 3.5);
        let mut draws = Draws::new(3, 0);
        let sizes = |n: usize| (0..n).map(move |i| 1.4 + 2.4 * i as f64 / n as f64);
        let found = Recall::fit(&trials(&truth, sizes(20_000), &mut draws), &start);
        assert!((found.limit_px() / truth.limit_px() - 1.0).abs() < 0.01, "{found:?}");
        // As many as are laid on one photo: the mean of many fits is that of the law, each within a tenth.
        let limits: Vec<f64> =
            (0..200).map(|_| Recall::fit(&trials(&truth, sizes(300), &mut draws), &start).limit_px()).collect();
        assert!((limits.iter().sum::<f64>() / 200.0 / truth.limit_px() - 1.0).abs() < 0.01);
        assert!(limits.iter().all(|l| (l / truth.limit_px() - 1.0).abs() < 0.15), "{limits:.2?}");
    }

    #[test]
    fn sizes_that_part_sharply_give_a_limit_between_them() {
        let trials: Vec<Trial> = [1.5, 1.8, 2.2, 2.6]
            .into_iter()
            .flat_map(|ecd_px| [Trial { ecd_px, found_px: (ecd_px > 2.0).then_some(ecd_px), softness: 1.0 }; 20])
            .collect();
        let found = Recall::fit(&trials, &Recall::expected(2.0, 2.5));
        assert!((1.8..2.2).contains(&found.limit_px()), "{found:?}");
        assert_eq!(found.rows().iter().map(|r| r.found).collect::<Vec<_>>(), [0.0, 0.0, 1.0, 1.0]);
        assert!(found.weight(1.0) == 2.0 && found.weight(9.0) < 1.001);
    }

    #[test]
    fn trials_that_all_fail_or_all_pass_end_beside_the_sizes_tried() {
        let all = |found: bool| -> Vec<Trial> {
            let sizes = [2.0, 3.0, 4.0];
            sizes.map(|ecd_px| Trial { ecd_px, found_px: found.then_some(ecd_px), softness: 1.0 }).repeat(20)
        };
        let start = Recall::expected(2.0, 2.5);
        assert!((4.0..8.1).contains(&Recall::fit(&all(false), &start).size_px(0.5)));
        assert!((0.9..2.1).contains(&Recall::fit(&all(true), &start).size_px(0.5)));
        assert!(Recall::fit(&[], &start).limit_px().is_finite());
    }

    #[test]
    fn particles_that_differ_widen_the_law_about_its_middle() {
        // Sizes at which single particles are seen, drawn from the law and moved by a normal error.
        let law = Recall::expected(2.0, 2.3);
        let mut draws = Draws::new(4, 0);
        let mut seen: Vec<f64> = (0..20_000)
            .map(|_| {
                let u = draws.uniform().clamp(1e-9, 1.0 - 1e-9);
                law.size_px(u) * (0.08 * normal_quantile(draws.uniform().clamp(1e-9, 1.0 - 1e-9))).exp()
            })
            .collect();
        seen.sort_by(f64::total_cmp);
        let wide = law.clone().spread(0.08);
        for share in [0.05, 0.25, 0.5, 0.75, 0.95] {
            let found = seen[(share * 20_000.0) as usize];
            assert!((wide.size_px(share) / found - 1.0).abs() < 0.01, "{share}: {found} {}", wide.size_px(share));
        }
        assert!(wide.size_px(0.95) > 1.02 * law.size_px(0.95));
    }

    #[test]
    fn no_photo_is_reliable_below_the_smallest_size() {
        assert_eq!(Recall::expected(0.5, 0.8).limit_px(), SMALLEST_PX);
        assert!(expected_ecd_px(0.95, 0.9, 0.1, 0.9, 1.0).is_infinite());
    }
}
