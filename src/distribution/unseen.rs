use statrs::distribution::{ContinuousCDF, Gamma};

use super::interval::{in_order, none_found};
use super::{Basis, Figures, IntervalSettings, Sizes, intervals};
use crate::numeric::{Estimate, normal_quantile};

/// Nothing larger is ground coffee, µm: a whole bean is some 7 mm by its area, the smallest coin 15 mm
/// (common practice, no source).
pub const LARGEST_UM: f64 = 10_000.0;

/// Ratio of the largest to the smallest size from which the law is read: wide enough for some tens of particles, narrow
/// against the width of the fines.
const WINDOW: f64 = 2.0;

/// Least growth of the mass with size: of all fines finer than d the mass goes with d to this power at least.
/// Source: exponents of 0.5 to 1 for broken solids in the law of Gates, Gaudin and Schuhmann (from memory).
const LEAST_POWER: f64 = 0.5;

/// Mass finer than the fines limit that no photo of the sample could show, % of all mass.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Unseen {
    /// As much as there can be besides what was seen.
    pub most_pct: f64,
}

impl Unseen {
    /// Of what is finer than both `floor_um`, the size below which too few are seen to count, and `fines_um`.
    pub fn below(sizes: &Sizes, floor_um: f64, fines_um: f64, level: f64) -> Unseen {
        Bound::of(sizes, floor_um, fines_um, level).unseen(sizes, 0.0, floor_um.min(fines_um))
    }

    /// The interval of the share of fines, opened upwards for what is unseen; the value stays what was seen.
    ///
    /// Counting and what is unseen are independent, so that their widths join in quadrature.
    pub fn opened(&self, fines: Estimate) -> Estimate {
        Estimate { high: (fines.value + (fines.high - fines.value).hypot(self.most_pct)).min(100.0), ..fines }
    }
}

/// Most mass that can be finer than a size below the floor, read from the particles just above the floor.
///
/// There the number of particles is taken to follow a power of the size. Laws of one fraction (lognormal, Rosin and
/// Rammler) bend down from such a line towards small sizes, so that the line, continued with the least power that its
/// own uncertainty allows, bounds what lies below (one-sided, with confidence `level`). A fraction that lies wholly below
/// the floor cannot be known. Where the floor lies above the fines limit, the least power that broken solids show is taken.
/// Source: own derivation; the power by maximum likelihood of the truncated exponential law. Coverage in `tests/sight.rs`.
struct Bound {
    floor_um: f64,
    /// Mass finer than the floor.
    at_floor: f64,
    /// Power of the size with which it falls.
    power: f64,
}

impl Bound {
    fn of(sizes: &Sizes, floor_um: f64, fines_um: f64, level: f64) -> Self {
        let window: Vec<(f64, f64)> = rows(sizes)
            .filter(|(d, _)| (floor_um..WINDOW * floor_um).contains(*d))
            .map(|(d, w)| ((d / floor_um).ln(), *w))
            .collect();
        // As many as may have been expected where fewer came.
        let z = normal_quantile(level);
        let count: f64 = window.iter().map(|r| r.1).sum();
        let most_count = count + z * count.sqrt() + 0.5 * (z * z + 1.0);
        let mean = window.iter().map(|(x, w)| x * w).sum::<f64>() / count.max(1e-9);
        // Coarser particles than fines tell nothing of the law of fines.
        let tells = window.len() >= 3 && floor_um < fines_um;
        let (power, spread) = if tells { power(mean, count) } else { (f64::NEG_INFINITY, 0.0) };
        // The mass grows with three powers more than the number.
        let least = (power - z * spread + 3.0).max(LEAST_POWER);
        let in_window = integral(least - 3.0, WINDOW.ln());
        Bound { floor_um, at_floor: most_count / in_window / least * floor_um.powi(3), power: least }
    }

    /// What it leaves room for between two sizes up to the floor besides the particles of `sizes` there.
    fn unseen(&self, sizes: &Sizes, from_um: f64, to_um: f64) -> Unseen {
        let finer = |um: f64| self.at_floor * (um / self.floor_um).powf(self.power);
        let seen: f64 = rows(sizes).filter(|(d, _)| (from_um..to_um).contains(*d)).map(mass).sum();
        let total: f64 = rows(sizes).map(mass).sum();
        Unseen { most_pct: 100.0 * (finer(to_um) - finer(from_um) - seen).max(0.0) / total }
    }

    /// See [`completed`].
    fn completed(&self, sizes: &Sizes, from_um: f64) -> Option<Sizes> {
        // So much finer than the floor, a size adds little to any figure by mass.
        let from_um = from_um.max(0.1 * self.floor_um);
        if from_um >= self.floor_um {
            return None;
        }
        let more = self.unseen(sizes, from_um, self.floor_um).most_pct / 100.0;
        let size = (from_um * self.floor_um).sqrt();
        let mass: f64 = rows(sizes).map(mass).sum();
        let all = (0..sizes.ecd_um.len()).map(|i| (sizes.ecd_um[i], sizes.weight[i], sizes.photo[i]));
        Some(Sizes::from_rows(all.chain([(size, more * mass / size.powi(3), 0)]).collect()))
    }
}

fn rows(sizes: &Sizes) -> impl Iterator<Item = (&f64, &f64)> {
    sizes.ecd_um.iter().zip(&sizes.weight)
}

fn mass((d, w): (&f64, &f64)) -> f64 {
    w * d.powi(3)
}

/// Figures by mass with intervals, opened for what no photo shows, but to no size above [`LARGEST_UM`]; `floor_um` as in
/// [`Unseen::below`].
///
/// D\[3,2\] stays that of what is seen: the surface of ever finer particles has no bound.
pub fn mass_figures(sizes: &Sizes, floor_um: f64, fines_um: f64, how: &IntervalSettings) -> [Estimate; 7] {
    let by_mass = intervals(sizes, Basis::Mass, fines_um, how);
    let bound = Bound::of(sizes, floor_um, fines_um, how.level);
    let completed = bound.completed(sizes, 0.0).map(|all| Figures::of(&all, Basis::Mass, fines_um).to_array());
    in_order(std::array::from_fn(|f| match (f, &completed) {
        // A ratio has no limit at 100 %: what holds most of the mass is told by what is left.
        (Figures::FINES, _) if by_mass[f].value > 50.0 => {
            let Estimate { value, low, high, level } = share_above(sizes, fines_um, floor_um, fines_um, how);
            Estimate { value: 100.0 - value, low: 100.0 - high, high: 100.0 - low, level }
        }
        (Figures::FINES, _) => bound.unseen(sizes, 0.0, floor_um.min(fines_um)).opened(by_mass[f]),
        (Figures::SPAN, None) => by_mass[f],
        (Figures::SPAN, Some(completed)) => towards(by_mass[f], completed[f]),
        (Figures::D32, _) | (_, None) => capped(by_mass[f]),
        (_, Some(completed)) => capped(towards(by_mass[f], completed[f])),
    }))
}

/// Share of the mass coarser than `size_um`, %, with its interval, opened for what no photo shows.
///
/// The interval is that of the share finer than the size, carried to the logarithm of the odds, where both shares are known
/// alike and neither leaves 0 to 100 %. With one photo it reaches no farther than the numbers that may have been expected where so many came on
/// both sides, by the law of Poisson. Where nothing is coarser, the upper end is the mass of as many particles as may have been expected
/// where none came, twice as heavy as the largest; nothing is coarser than [`LARGEST_UM`]. Coverage is simulated in
/// `tests/coverage.rs`.
pub fn share_above(sizes: &Sizes, size_um: f64, floor_um: f64, fines_um: f64, how: &IntervalSettings) -> Estimate {
    let finer = intervals(sizes, Basis::Mass, size_um, how)[Figures::FINES];
    let value = 100.0 - finer.value;
    let (low, high) = if size_um >= LARGEST_UM {
        (value, value)
    } else if finer.value <= 0.0 {
        ((100.0 - finer.high).max(0.0), 100.0)
    } else if value <= 1e-9 {
        let largest = sizes.ecd_um.last().map_or(size_um, |d| d.min(size_um));
        let most = 2.0 * largest.powi(3) * none_found(how.level);
        (0.0, 100.0 * most / (most + rows(sizes).map(mass).sum::<f64>()))
    } else {
        // By as much as the logarithm of the finer share moves, that of the odds moves this many times more.
        let by_chance = |end: f64| (finer.value / end).ln() * 100.0 / value;
        let [less, more] =
            if sizes.photos() == 1 { most_by_counting(sizes, size_um, how.level) } else { [f64::INFINITY; 2] };
        let coarser = |change: f64| {
            let odds = value / finer.value * change.exp();
            100.0 * odds / (1.0 + odds)
        };
        (coarser(by_chance(finer.high).max(-less)), coarser(by_chance(finer.low).min(more)))
    };
    let bound = Bound::of(sizes, floor_um, fines_um, how.level);
    // More that is finer makes the share smaller, more between the size and what is seen makes it larger.
    let [less, more] = [(0.0, floor_um.min(size_um)), (size_um.min(floor_um), floor_um)]
        .map(|(from, to)| bound.unseen(sizes, from, to).most_pct / 100.0);
    let down = value - value / (1.0 + less);
    let up = (value + 100.0 * more) / (1.0 + more) - value;
    Estimate {
        value,
        low: (value - (value - low).hypot(down)).max(0.0),
        high: (value + (high - value).hypot(up)).min(100.0),
        level: how.level,
    }
}

/// By how much the logarithm of the odds of being coarser than a size may lie lower and higher than it came out, both sides being counted
/// by effective numbers of particles.
///
/// Source: F. Garwood, Biometrika 28 (1936) 437–442 (exact limits of a Poisson count; from memory).
fn most_by_counting(sizes: &Sizes, size_um: f64, level: f64) -> [f64; 2] {
    let tail = 0.5 - 0.5 * level;
    let limits = |coarser: bool| {
        let masses = || rows(sizes).filter(|(d, _)| (**d >= size_um) == coarser).map(mass);
        let (sum, squares) = (masses().sum::<f64>(), masses().map(|m| m * m).sum::<f64>());
        let number = sum * sum / squares;
        let limit = |shape: f64, p: f64| Gamma::new(shape, 1.0).map_or(f64::NAN, |law| law.inverse_cdf(p));
        [number / limit(number, tail), limit(number + 1.0, 1.0 - tail) / number].map(f64::ln)
    };
    let [fine, coarse] = [limits(false), limits(true)];
    [coarse[0] + fine[1], coarse[1] + fine[0]]
}

/// The interval without sizes above the largest.
fn capped(size: Estimate) -> Estimate {
    Estimate { high: size.high.min(LARGEST_UM).max(size.value), ..size }
}

/// The interval opened towards the value `other` that the figure may have besides.
fn towards(figure: Estimate, other: f64) -> Estimate {
    let Estimate { value, low, high, .. } = figure;
    let shift = (other / value).ln();
    let end = |of: f64| value * (shift.signum() * (of / value).ln().hypot(shift)).exp();
    if !shift.is_finite() || shift == 0.0 {
        figure
    } else if shift < 0.0 {
        Estimate { low: end(low), ..figure }
    } else {
        Estimate { high: end(high), ..figure }
    }
}

/// `sizes` with all that may lie between `from_um` and `floor_um` besides; `None` where that is nothing.
pub fn completed(sizes: &Sizes, from_um: f64, floor_um: f64, fines_um: f64, level: f64) -> Option<Sizes> {
    Bound::of(sizes, floor_um, fines_um, level).completed(sizes, from_um)
}

/// ∫ exp(s·x) over 0..`length`.
fn integral(s: f64, length: f64) -> f64 {
    let u = s * length;
    if u.abs() < 1e-6 { length } else { u.exp_m1() / s }
}

/// Power of the number of particles in the window whose logarithmic sizes have the `mean`, and its standard error.
fn power(mean: f64, count: f64) -> (f64, f64) {
    let length = WINDOW.ln();
    // Mean and variance of the law exp(s·x) on 0..length.
    let moments = |s: f64| {
        let u = s * length;
        if u.abs() < 1e-3 {
            return (length * (0.5 + u / 12.0), length * length / 12.0);
        }
        (
            length * (1.0 / (1.0 - (-u).exp()) - 1.0 / u),
            length * length * (1.0 / (u * u) - 0.25 / (0.5 * u).sinh().powi(2)),
        )
    };
    let (mut low, mut high) = (-30.0, 30.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if moments(middle).0 < mean { low = middle } else { high = middle }
    }
    (low, 1.0 / (count * moments(low).1).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::Draws;

    /// Sizes of a power law of number, s = 0.5, above `floor`, with the mass of those below.
    fn drawn(n: usize, floor: f64, seed: u64) -> (Sizes, f64) {
        let mut draws = Draws::new(seed, 0);
        let all: Vec<f64> = (0..n).map(|_| 200.0 * draws.uniform().powf(2.0)).collect();
        let lost = all.iter().filter(|d| **d < floor).map(|d| d.powi(3)).sum();
        (Sizes::from_rows(all.into_iter().filter(|d| *d >= floor).map(|d| (d, 1.0, 0)).collect()), lost)
    }

    #[test]
    fn what_follows_the_line_is_found_within_its_bound() {
        let mut held = 0;
        for seed in 0..300 {
            let (sizes, lost) = drawn(400, 60.0, seed);
            let unseen = Unseen::below(&sizes, 60.0, 100.0, 0.95);
            let total: f64 = sizes.ecd_um.iter().map(|d| d.powi(3)).sum();
            held += u32::from(100.0 * lost / total <= unseen.most_pct);
        }
        // The line itself is the worst case: 95 %, known to 1.3.
        assert!((273..=300).contains(&held), "{held} of 300");
    }

    #[test]
    fn a_share_above_a_size_stays_between_nothing_and_all() {
        let how = IntervalSettings { level: 0.95, draws: 300, seed: 1, scale_uncertainty: 0.0 };
        let (sizes, _) = drawn(2000, 60.0, 5);
        let share = |um: f64, floor: f64| share_above(&sizes, um, floor, 100.0, &how);
        let half = share(160.0, 0.0);
        assert!((half.value - 100.0 * (1.0 - sizes.finer(Basis::Mass, 160.0))).abs() < 1e-9);
        assert!(0.0 < half.low && half.low < half.value && half.value < half.high && half.high < 100.0, "{half:?}");
        // Finer than all, and coarser than all: three particles may be there besides.
        let total: f64 = sizes.ecd_um.iter().map(|d| d.powi(3)).sum();
        let [all, none] = [share(50.0, 0.0), share(300.0, 0.0)];
        assert_eq!([all.value, all.high], [100.0, 100.0]);
        // e^-3 is 5 %.
        let finer = -(0.05f64.ln()) * 50f64.powi(3);
        assert!((all.low - 100.0 * total / (total + finer)).abs() < 1e-9, "{all:?}");
        assert_eq!([none.value, none.low], [0.0, 0.0]);
        let coarser = -2.0 * 0.05f64.ln() * sizes.ecd_um.last().unwrap().powi(3);
        assert!((none.high - 100.0 * coarser / (total + coarser)).abs() < 1e-9, "{none:?}");
        assert_eq!(share(3000.0, 0.0).high, none.high);
        let beyond = share(LARGEST_UM, 0.0);
        assert_eq!([beyond.low, beyond.high], [0.0; 2]);
        // What is not seen below 60 µm makes the share above a larger size smaller, and that above a smaller one either.
        let [coarse, fine] = [160.0, 40.0].map(|um| (share(um, 0.0), share(um, 60.0)));
        assert!(coarse.1.low < coarse.0.low && coarse.1.high == coarse.0.high, "{coarse:?}");
        assert!(fine.1.low < fine.0.low, "{fine:?}");
    }

    #[test]
    fn the_power_is_that_of_the_law() {
        let (sizes, _) = drawn(200_000, 60.0, 1);
        let logs: Vec<f64> = sizes.ecd_um.iter().filter(|d| **d < 120.0).map(|d| (d / 60.0).ln()).collect();
        let n = logs.len() as f64;
        let (found, error) = power(logs.iter().sum::<f64>() / n, n);
        assert!((found - 0.5).abs() < 4.0 * error && error < 0.03, "{found} {error}");
    }

    #[test]
    fn figures_open_towards_what_they_would_be_with_the_finest() {
        let mut draws = Draws::new(3, 0);
        let mut one = || {
            let (median, ln_sigma) = if draws.uniform() < 0.97 { (90.0, 0.45) } else { (500.0, 0.35) };
            (median * (ln_sigma * draws.normal()).exp(), 1.0, 0)
        };
        let all: Vec<(f64, f64, usize)> = (0..20_000).map(|_| one()).collect();
        let how = IntervalSettings { level: 0.95, draws: 300, seed: 1, scale_uncertainty: 0.0 };
        let seen_from = |floor: f64| Sizes::from_rows(all.iter().copied().filter(|r| r.0 >= floor).collect());
        let truth = Figures::of(&seen_from(0.0), Basis::Mass, 100.0).to_array();
        let counted = intervals(&seen_from(170.0), Basis::Mass, 100.0, &how);
        assert!(counted[0].low > truth[0], "D10 of what is seen is too large: {} {:?}", truth[0], counted[0]);
        let opened = mass_figures(&seen_from(170.0), 170.0, 100.0, &how);
        for f in [0, 1, 2, 3, 6] {
            assert!(opened[f].low <= truth[f] && truth[f] <= opened[f].high, "{f}: {} {:?}", truth[f], opened[f]);
        }
        assert_eq!(opened[Figures::D32], counted[Figures::D32]);
        let few = mass_figures(&Sizes::from_rows(vec![(900.0, 1.0, 0), (1000.0, 1.0, 0)]), 50.0, 100.0, &how);
        assert_eq!(few[2].high, LARGEST_UM);
        // Where nearly all is seen, nothing moves by more than a hundredth.
        let [counted, opened] =
            [intervals(&seen_from(20.0), Basis::Mass, 100.0, &how), mass_figures(&seen_from(20.0), 20.0, 100.0, &how)];
        for f in [0, 1, 2, 3, 6] {
            assert!((opened[f].low / counted[f].low - 1.0).abs() < 0.01, "{f}: {:?} {:?}", opened[f], counted[f]);
        }
    }

    #[test]
    fn fines_beyond_the_photo_open_upwards() {
        let fines = Estimate { value: 1.0, low: 0.8, high: 1.3, level: 0.95 };
        let open = Unseen { most_pct: 0.4 }.opened(fines);
        assert!(open.value == 1.0 && open.low == 0.8 && (open.high - 1.5).abs() < 1e-12);
        assert_eq!(Unseen::default().opened(fines), fines);
    }
}
