//! Blind tastings: what the number of right answers says, and how many people it takes.

use crate::numeric::{Estimate, binomial_upper_tail, exact_share, lower_bound, upper_bound};

/// Chance of finding the odd one of three cups by guessing.
const GUESS: f64 = 1.0 / 3.0;
/// No plan asks for more people than this.
pub const MOST_ASSESSORS: u32 = 1000;

/// Triangle tests: each person gets three cups, two alike, and names the odd one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Triangle {
    /// Tests presented.
    pub presented: u32,
    /// Odd cups found.
    pub correct: u32,
}

/// What triangle tests say.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TriangleVerdict {
    /// Chance of as many right answers when nobody can tell.
    pub p: f64,
    /// Fewest right answers that show a difference at the confidence asked for; `None` where not even all do.
    pub critical: Option<u32>,
    /// True where a difference is shown.
    pub differs: bool,
    /// Share of people who can tell (pd), 0..1.
    pub can_tell: Estimate,
    /// Smallest share who can tell that the answers allow, one-sided at the confidence, 0..1: above 0 where a difference is shown.
    pub at_least: f64,
    /// True where guessing alone gives so few right answers less often than once in a hundred.
    pub below_guessing: bool,
    /// Largest share who can tell that the answers allow, one-sided at the confidence, 0..1.
    pub at_most: f64,
    /// True where that lies below the share that is called similar.
    pub similar: bool,
}

/// Share of people who can tell, for a share `p` of right answers: those who cannot are right once in three.
///
/// Source: pd = (p − 1/3)/(2/3), ISO 4120 (from memory).
pub fn can_tell(p: f64) -> f64 {
    ((p - GUESS) / (1.0 - GUESS)).max(0.0)
}

/// Share of right answers when a share `pd` can tell.
fn right(pd: f64) -> f64 {
    GUESS + (1.0 - GUESS) * pd
}

impl Triangle {
    /// What can be said with the confidence `level`, when up to `similar_below` (share who can tell) counts as similar.
    ///
    /// Difference: exact one-sided binomial test at 1 − `level`, as in ISO 4120. The share who can tell has the
    /// exact two-sided interval of Clopper and Pearson; similarity holds its one-sided upper end below the limit. Both
    /// may be true: a few people can tell.
    pub fn verdict(&self, level: f64, similar_below: f64) -> TriangleVerdict {
        let Triangle { presented: n, correct: k } = *self;
        let p = binomial_upper_tail(k, n, GUESS);
        let [low, high] = exact_share(k, n, level).map(can_tell);
        let at_most = can_tell(upper_bound(k, n, 1.0 - level));
        TriangleVerdict {
            p,
            critical: critical(n, 1.0 - level),
            differs: p <= 1.0 - level,
            can_tell: Estimate { value: can_tell(f64::from(k) / f64::from(n)), low, high, level },
            at_least: can_tell(lower_bound(k, n, 1.0 - level)),
            below_guessing: 1.0 - binomial_upper_tail(k + 1, n, GUESS) < 0.01,
            at_most,
            similar: at_most < similar_below,
        }
    }
}

/// Fewest right answers of `n` that chance alone gives with at most `alpha`; `None` where not even `n` are enough.
pub fn critical(n: u32, alpha: f64) -> Option<u32> {
    (0..=n).find(|&k| binomial_upper_tail(k, n, GUESS) <= alpha)
}

/// Chance that `n` triangle tests show a difference at `alpha` when a share `pd` of people can tell.
pub fn power(n: u32, pd: f64, alpha: f64) -> f64 {
    critical(n, alpha).map_or(0.0, |k| binomial_upper_tail(k, n, right(pd)))
}

/// Chance that `n` triangle tests show similarity below `similar_below` at `alpha` when nobody can tell.
pub fn similarity_power(n: u32, similar_below: f64, alpha: f64) -> f64 {
    // The largest number of right answers that still shows it.
    let most = (0..=n).rev().find(|&k| can_tell(upper_bound(k, n, alpha)) < similar_below);
    most.map_or(0.0, |k| 1.0 - binomial_upper_tail(k + 1, n, GUESS))
}

/// Fewest people with whom the power is at least `wanted` when a share `pd` can tell, and stays so with every larger
/// number: whole answers make the power fall a little at some numbers. `None` beyond [`MOST_ASSESSORS`].
pub fn assessors(pd: f64, alpha: f64, wanted: f64) -> Option<u32> {
    fewest(|n| power(n, pd, alpha) >= wanted)
}

/// The same for showing similarity.
pub fn assessors_for_similarity(similar_below: f64, alpha: f64, wanted: f64) -> Option<u32> {
    fewest(|n| similarity_power(n, similar_below, alpha) >= wanted)
}

fn fewest(enough: impl Fn(u32) -> bool) -> Option<u32> {
    let short = (1..=MOST_ASSESSORS).rev().find(|&n| !enough(n))?;
    (short < MOST_ASSESSORS).then_some(short + 1)
}

/// Pairs of which each person preferred one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Preference {
    /// Pairs presented.
    pub pairs: u32,
    /// Times the first of the two samples was preferred.
    pub prefer_first: u32,
}

/// What preferences say.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PreferenceVerdict {
    /// Two-sided chance of so uneven a division when nobody prefers either.
    pub p: f64,
    /// True where one is preferred.
    pub differs: bool,
    /// Share who prefer the first, 0..1.
    pub first: Estimate,
}

impl Preference {
    /// What can be said with the confidence `level`: the exact two-sided binomial test at one half (ISO 5495, from memory),
    /// and the exact interval of the share.
    pub fn verdict(&self, level: f64) -> PreferenceVerdict {
        let Preference { pairs: n, prefer_first: k } = *self;
        let p = (2.0 * binomial_upper_tail(k.max(n - k), n, 0.5)).min(1.0);
        let tail = 0.5 * (1.0 - level);
        let (low, high) = (lower_bound(k, n, tail), upper_bound(k, n, tail));
        PreferenceVerdict {
            p,
            differs: p <= 1.0 - level,
            first: Estimate { value: f64::from(k) / f64::from(n), low, high, level },
        }
    }
}
