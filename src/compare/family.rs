use rayon::prelude::*;

use super::contrast::{Side, contrast};
use crate::numeric::Draws;

/// All splits are tried up to so many; beyond, so many are drawn.
const MOST_SPLITS: usize = 20_000;
/// Random splits, with the one that was seen among them.
const DRAWN_SPLITS: usize = 9_999;
/// Splits serve where the smallest p-value that they can give is at most this, whatever is asked for.
const FINEST_P: f64 = 0.05;

/// p-values adjusted by Holm's method: the chance of any false alarm in the family is at most that of the level held
/// against them, however the figures depend on each other. `families` of this size are looked at.
///
/// Source: S. Holm, Scand. J. Stat. 6 (1979) 65–70 (from memory); held to statsmodels in `tests/compare.rs`.
pub fn holm(p: &[f64], families: usize) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p.len()).collect();
    order.sort_by(|&i, &j| p[i].total_cmp(&p[j]));
    let mut adjusted = vec![1.0; p.len()];
    let mut least = 0.0f64;
    for (rank, &i) in order.iter().enumerate() {
        least = least.max(((p.len() - rank) * families) as f64 * p[i]).min(1.0);
        adjusted[i] = least;
    }
    adjusted
}

/// p-values adjusted by the step-down largest-t method over the splits of the photos into two sides of the sizes at hand;
/// `None` where there are too few photos for a p-value below `wanted`. The figures' dependence is kept, as photos move whole.
///
/// `sides[f]` are the two sides of figure f. t is studentised by [`contrast`], so that sides with unlike numbers of particles
/// may be told apart by their means only.
/// Source: P. H. Westfall & S. S. Young, Resampling-Based Multiple Testing (1993) (from memory).
pub(super) fn permuted(sides: &[[&Side; 2]], wanted: f64, seed: u64) -> Option<Vec<f64>> {
    let [first, second] = sides.first()?;
    let (a, b) = (first.value.len(), second.value.len());
    let splits = splits(a + b, a);
    // With equal sides each split comes with its mirror image, which gives the same |t|.
    let finest = if a == b { 2.0 } else { 1.0 } / splits as f64;
    if finest >= wanted.min(FINEST_P) || a.min(b) < 2 {
        return None;
    }
    let seen: Vec<f64> = sides.iter().map(|s| statistic(*s)).collect();
    let mut order: Vec<usize> = (0..sides.len()).collect();
    order.sort_by(|&i, &j| seen[j].total_cmp(&seen[i]));
    let chosen: Vec<Vec<usize>> = if splits <= MOST_SPLITS {
        all_splits(a + b, a)
    } else {
        let draw = |k| random_split(a + b, a, &mut Draws::new(seed, k));
        std::iter::once((0..a).collect()).chain((1..DRAWN_SPLITS as u64).map(draw)).collect()
    };
    let reached: Vec<Vec<u32>> = chosen
        .par_iter()
        .map(|split| {
            let t: Vec<f64> = sides.iter().map(|s| moved(s, split)).collect();
            // Largest over this figure and those less clear.
            let mut largest = 0.0f64;
            let mut hits = vec![0; order.len()];
            for &f in order.iter().rev() {
                largest = largest.max(t[f]);
                hits[f] = u32::from(largest >= seen[f] * (1.0 - 1e-9));
            }
            hits
        })
        .collect();
    let mut adjusted = vec![1.0; sides.len()];
    let mut least = 0.0f64;
    for &f in &order {
        let share = reached.iter().map(|r| f64::from(r[f])).sum::<f64>() / reached.len() as f64;
        least = least.max(share);
        adjusted[f] = least;
    }
    Some(adjusted)
}

fn statistic(sides: [&Side; 2]) -> f64 {
    let t = (sides[1].mean() - sides[0].mean()).abs() / contrast(sides).error();
    if t.is_finite() { t } else { 0.0 }
}

/// |t| with the photos numbered `split` on the first side.
fn moved(sides: &[&Side; 2], split: &[usize]) -> f64 {
    let [a, b] = sides;
    let n = a.value.len();
    let all = |i: usize| if i < n { (a, i) } else { (b, i - n) };
    let gather = |chosen: &mut dyn Iterator<Item = usize>| {
        let mut side = Side { value: Vec::new(), counting: Vec::new(), weight: Vec::new(), particles: Vec::new() };
        for (from, k) in chosen.map(all) {
            side.value.push(from.value[k]);
            side.counting.push(from.counting[k]);
            side.weight.push(from.weight[k]);
            side.particles.push(from.particles[k]);
        }
        side
    };
    let first = gather(&mut split.iter().copied());
    let second = gather(&mut (0..n + b.value.len()).filter(|i| !split.contains(i)));
    statistic([&first, &second])
}

/// Number of ways to choose `k` of `n`; very many are cut off.
fn splits(n: usize, k: usize) -> usize {
    (0..k.min(n - k)).fold(1usize, |c, i| (c.saturating_mul(n - i) / (i + 1)).min(1 << 40))
}

fn all_splits(n: usize, k: usize) -> Vec<Vec<usize>> {
    let mut found = Vec::new();
    let mut now: Vec<usize> = (0..k).collect();
    loop {
        found.push(now.clone());
        let Some(i) = (0..k).rev().find(|&i| now[i] < n - k + i) else { return found };
        now[i] += 1;
        for j in i + 1..k {
            now[j] = now[j - 1] + 1;
        }
    }
}

fn random_split(n: usize, k: usize, draws: &mut Draws) -> Vec<usize> {
    let mut all: Vec<usize> = (0..n).collect();
    for i in 0..k {
        let j = i + draws.below(n - i);
        all.swap(i, j);
    }
    all.truncate(k);
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn splits_are_counted_and_listed() {
        assert_eq!(splits(13, 7), 1716);
        let all = all_splits(6, 3);
        assert_eq!((all.len(), all[0].clone(), all[19].clone()), (20, vec![0, 1, 2], vec![3, 4, 5]));
        assert!(splits(400, 200) >= 1 << 40);
    }

    #[test]
    fn every_photo_is_drawn_equally_often() {
        let mut seen = [0u32; 5];
        let mut draws = Draws::new(1, 1);
        for _ in 0..5000 {
            random_split(5, 2, &mut draws).into_iter().for_each(|i| seen[i] += 1);
        }
        assert!(seen.iter().all(|&n| (1850..2150).contains(&n)), "{seen:?}");
    }
}
