//! How the camera and the phone draw an edge: blur, and sharpening or smoothing of the coded picture.

use super::edge::mean_profile;
use super::examine::Examiner;
use super::shade::Shade;
use super::synthetic::disc;
use crate::photo::FULL;

/// Blur and sharpening of a photo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Look {
    /// Standard deviation of the blur, px.
    pub blur_px: f64,
    /// Strength of the sharpening, share of a pixel's distance from the mean round it; negative for smoothing.
    pub sharpen: f64,
    /// Light of the paper, share of full scale: sharpening works on codes, which are not proportional to light.
    pub level: f64,
    /// Light of the paper over that which the photo shows: above 1 where the paper is overexposed.
    pub excess: f64,
}

/// Most light above full scale that is told from the edges: beyond it half of an edge is lost.
const MOST_EXCESS: f64 = 1.8;

/// Radius, in blur widths, of a disc whose edge is as good as straight.
pub(super) const LARGE: f64 = 10.0;

/// Steps of the search; the blur then fits to 1 % even under strong sharpening.
const ROUNDS: usize = 5;
/// The same on paper at full scale, where the two unknowns pull on both marks.
const ROUNDS_FULL: usize = 15;

/// Error of the marks of an edge: of its fall (share of itself), and of the deficit beside it (share of that inside, which
/// what is left of shade changes).
const MARKS: [f64; 2] = [0.005, 0.005];
/// Strength of sharpening that phones use, and its spread.
const USUAL: [f64; 2] = [0.3, 0.5];

/// Deficit in the halo, share of that inside, by which a look is duller: that of a tenth more of sharpening, and twice what
/// narrow and large particles differ by on photos without shade all round.
const DULLER: f64 = 0.0025;

/// Deepest shadow that paper at full scale is taken to hide beside a particle, share of the light: twice that of two
/// lights, and what photos with one soft lamp show.
const HIDDEN_SHADE: f64 = 0.2;

impl Look {
    /// Light of the bare paper over full scale, at most: edges tell that of the paper in the particle's own shadow, which
    /// full scale hides.
    pub(super) fn bare_excess(&self) -> f64 {
        if self.level >= f64::from(FULL) { self.excess / (1.0 - HIDDEN_SHADE) } else { 1.0 }
    }

    /// The same where the photo is `softness` times as blurred.
    pub(super) fn softened(&self, softness: f64) -> Look {
        Look { blur_px: softness * self.blur_px, ..*self }
    }

    /// Mean profile across the edge of a disc of `radius`, in the examiner's blur widths, and the deficit `core`.
    fn show(&self, radius: f64, core: f64, examiner: &mut Examiner) -> Option<Vec<f64>> {
        let sigma = examiner.sigma();
        let patch = disc(radius * sigma, self, core, &Shade::default(), [0.2, 0.4], sigma);
        mean_profile(&patch, &examiner.examine_lone(&patch)?.outline, None, sigma)
    }

    /// True when discs of `radius` show the `profile` only if they were sharpened more.
    pub(super) fn is_duller(&self, profile: &[f64], radius: f64, core: f64, examiner: &mut Examiner) -> bool {
        // Paper at full scale shows no halo.
        let shown = (self.level < f64::from(FULL)).then(|| self.show(radius, core, examiner)).flatten();
        let halo = |profile: &[f64]| marks(profile, examiner.sigma(), false)[1];
        shown.is_some_and(|shown| halo(profile) < halo(&shown) - DULLER)
    }

    /// Finds the look under which a disc of `radius`, in blur widths, shows the mean `profile` of the photo's own edges, where no
    /// shade lies; also gives the mean profile across that edge.
    ///
    /// Both are read by the same `examiner`; `core` is the deficit of large particles and `level` the
    /// light of the paper. Without a profile the photo counts as not sharpened. Where the paper stands at full scale, the
    /// outer part of each edge is lost, and with it what sharpening did there: how much is lost tells the light above full
    /// scale, and is looked for instead.
    pub(super) fn learn(
        profile: Option<&[f64]>,
        radius: f64,
        core: f64,
        level: f64,
        examiner: &mut Examiner,
    ) -> (Look, Vec<f64>) {
        let sigma = examiner.sigma();
        let full = level >= f64::from(FULL);
        let plain = Look { blur_px: sigma, sharpen: 0.0, level, excess: 1.0 };
        let marks = |profile: &[f64]| marks(profile, sigma, full);
        let mut see = |look: &Look| look.show(radius, core, examiner).map(|profile| (marks(&profile), profile));
        let Some(wanted) = profile.map(marks) else { return (plain, Vec::new()) };
        let blurrier = Look { blur_px: 1.1 * sigma, ..plain };
        // The second unknown is the strength of the sharpening, or the light above full scale.
        let with = |look: Look, blur_px: f64, second: f64| {
            let look = Look { blur_px: blur_px.clamp(0.4 * sigma, 2.0 * sigma), ..look };
            if full {
                Look { excess: (1.0 + second).clamp(1.0, MOST_EXCESS), ..look }
            } else {
                Look { sharpen: second.clamp(-0.5, 3.0), ..look }
            }
        };
        let second = |look: &Look| if full { look.excess - 1.0 } else { look.sharpen };
        let sharper = with(plain, sigma, 0.3);
        let (Some(at), Some(b), Some(s)) = (see(&plain), see(&blurrier), see(&sharper)) else {
            return (plain, Vec::new());
        };
        // Gauss and Newton's method in two unknowns with Broyden's update: blur in units of sigma, and strength.
        let mut slope = [0, 1].map(|i| [(b.0[i] - at.0[i]) / 0.1, (s.0[i] - at.0[i]) / 0.3]);
        let (mut look, mut seen) = (plain, at.0);
        // Under much blur the two are hardly told apart, and a step may lead away: the best of all looks is taken. What is not
        // told is as usual.
        let weight = [(MARKS[0] * wanted[0]).powi(-2), MARKS[1].powi(-2)];
        let usual = if full { 0.0 } else { USUAL[1].powi(-2) };
        let cost = |marks: [f64; 2], look: &Look| {
            let miss = [0, 1].map(|i| weight[i] * (marks[i] - wanted[i]).powi(2));
            miss[0] + miss[1] + usual * (second(look) - USUAL[0]).powi(2)
        };
        let mut best = (plain, at.clone());
        for _ in 0..if full { ROUNDS_FULL } else { ROUNDS } {
            let miss = [wanted[0] - seen[0], wanted[1] - seen[1]];
            let sum = |of: &dyn Fn(usize) -> f64| weight[0] * of(0) + weight[1] * of(1);
            let cross = sum(&|i| slope[i][0] * slope[i][1]);
            let squares = [sum(&|i| slope[i][0].powi(2)), sum(&|i| slope[i][1].powi(2)) + usual];
            let towards =
                [sum(&|i| slope[i][0] * miss[i]), sum(&|i| slope[i][1] * miss[i]) + usual * (USUAL[0] - second(&look))];
            let det = squares[0] * squares[1] - cross * cross;
            let step = [
                (towards[0] * squares[1] - towards[1] * cross) / det,
                (towards[1] * squares[0] - towards[0] * cross) / det,
            ];
            let next = with(look, look.blur_px + step[0] * sigma, second(&look) + step[1]);
            let moved = [(next.blur_px - look.blur_px) / sigma, second(&next) - second(&look)];
            let length = moved[0] * moved[0] + moved[1] * moved[1];
            let Some(now) = see(&next).filter(|_| length > 1e-8 && length.is_finite()) else { break };
            for ((row, now), seen) in slope.iter_mut().zip(now.0).zip(seen) {
                let error = now - seen - row[0] * moved[0] - row[1] * moved[1];
                *row = [row[0] + error * moved[0] / length, row[1] + error * moved[1] / length];
            }
            (look, seen) = (next, now.0);
            if cost(seen, &look) < cost(best.1.0, &best.0) {
                best = (look, now);
            }
        }
        (best.0, best.1.1)
    }
}

/// What tells blur and sharpening apart: the fall at the edge and the mean deficit outside it, both as shares of the
/// deficit inside. On paper at full scale the deficit at the steepest place stands for the latter: half of that inside,
/// and less the more of the edge is lost.
fn marks(profile: &[f64], sigma: f64, full: bool) -> [f64; 2] {
    let middle = profile.len() / 2;
    let inside = (profile[0] + profile[1] + profile[2]) / 3.0;
    let fall = (profile[middle - 1] - profile[middle + 1]) / inside;
    if full {
        return [fall, profile[middle] / inside];
    }
    let place = |widths: f64| middle + (widths * sigma / super::edge::STEP_PX).round() as usize;
    let outside = &profile[place(1.5)..=place(3.5).min(profile.len() - 1)];
    [fall, outside.iter().sum::<f64>() / outside.len() as f64 / inside]
}

#[cfg(test)]
mod tests {
    use super::super::examine::Levels;
    use super::*;

    fn profile(look: &Look, sigma: f64) -> Vec<f64> {
        let patch = disc(14.0, look, 0.9, &Shade::default(), [0.1, 0.3], sigma);
        let reading = Examiner::new(sigma, Levels::USUAL).examine_lone(&patch).unwrap();
        mean_profile(&patch, &reading.outline, None, sigma).unwrap()
    }

    #[test]
    fn blur_and_sharpening_are_found_again() {
        let sigma = 1.05;
        for (blur_px, sharpen) in [(0.9, 0.0), (1.1, 0.4), (1.0, 1.0), (1.3, -0.2)] {
            let truth = Look { blur_px, sharpen, level: 0.6, excess: 1.0 };
            let (look, _) =
                Look::learn(Some(&profile(&truth, sigma)), LARGE, 0.9, 0.6, &mut Examiner::new(sigma, Levels::USUAL));
            let off = profile(&truth, sigma).into_iter().zip(profile(&look, sigma)).map(|(a, b)| (a - b).abs());
            let worst = off.fold(0.0, f64::max);
            assert!(worst < 0.01, "{truth:?} {look:?}: {worst}");
            // Smoothing after the lens is hardly told from more blur in the lens, and need not be.
            if sharpen >= 0.0 {
                assert!((look.blur_px / blur_px - 1.0).abs() < 0.02, "{truth:?} {look:?}");
                // The disc looked at curves less than the one it is compared with, which counts the more the sharper.
                assert!((look.sharpen - sharpen).abs() < 0.03 + 0.05 * sharpen, "{truth:?} {look:?}");
            }
        }
    }

    #[test]
    fn light_above_full_scale_is_found_from_what_edges_lack() {
        let learnt = |excess: f64| {
            let truth = Look { blur_px: 1.1, sharpen: 0.0, level: 1.0, excess };
            Look::learn(Some(&profile(&truth, 0.85)), LARGE, 0.9, 1.0, &mut Examiner::new(0.85, Levels::USUAL)).0
        };
        for excess in [1.1, 1.2, 1.3] {
            let look = learnt(excess);
            assert!((look.excess - excess).abs() < 0.05, "{excess}: {look:?}");
            assert!((look.blur_px / 1.1 - 1.0).abs() < 0.05, "{excess}: {look:?}");
        }
        // Where a third of the edge is lost the rest of it tells less.
        let far = learnt(1.5);
        assert!((1.4..1.6).contains(&far.excess), "{far:?}");
    }
}
