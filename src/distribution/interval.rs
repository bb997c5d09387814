use rayon::prelude::*;

use super::figures::{Basis, Columns, Figures, Sizes};
use crate::numeric::{Draws, Estimate, normal_quantile, student_t_quantile};

/// How intervals are made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct IntervalSettings {
    /// Nominal coverage, 0..1.
    pub level: f64,
    /// Number of bootstrap draws.
    pub draws: usize,
    /// Seed of the draws: the same seed gives the same intervals on every machine and for any number of threads.
    pub seed: u64,
    /// Relative standard uncertainty of the scale, dimensionless.
    pub scale_uncertainty: f64,
}

/// Value and interval of every figure, in the order of [`Figures::NAMES`].
///
/// Intervals are made on the logarithm of the figure. Three sources are joined:
/// * **counting**: particles drawn again and again with Poisson counts of mean 1 (bootstrap). The interval is shifted
///   by the bias that the draws show in shares and means, and widened by Student's t with as many degrees of freedom as
///   effective particles, (Σw)²/Σw², lie behind the figure: those beyond D90 for D90, and so on (see `support`). Below ten
///   particles in all their scatter is taken to be that of a narrow grind at least. Samples mostly lack the largest particles of
///   all: the upper ends of D90 and both means lie farther off by what the skewness of the error asks for;
/// * **spread to spread**, with several photos: Student's t on the logarithms of the photos' own figures. The wider
///   of the two counts, so that few photos never make an interval narrower than counting allows;
/// * **scale**: adds to sizes in quadrature; span stays, and shares at a fixed number of micrometres follow it through
///   the particles.
///
/// With one photo the spread-to-spread part is unknown and absent. Where no particle is finer than the fines limit,
/// the upper end is the mass of as many particles of that size as may be expected where none was found (`none_found`).
/// Source: Poisson bootstrap, J. A. Hanley & B. MacGibbon (2006), Comput. Methods Programs Biomed. 83, 57–62; effective
/// number, L. Kish, Survey Sampling (1965); skewness, N. J. Johnson (1978), J. Am. Stat. Assoc. 73, 536–544 (all from
/// memory). Coverage is simulated in `tests/coverage.rs`; its table is in `docs/uncertainty.md`.
pub fn intervals(sizes: &Sizes, basis: Basis, fines_um: f64, settings: &IntervalSettings) -> [Estimate; 7] {
    let columns = Columns::of(sizes, basis, fines_um);
    let value = columns.figures(None, &mut Vec::new()).to_array();
    let shares = sizes.shares(basis);
    let total: f64 = shares.iter().sum();
    let support = support_of(sizes, &shares, fines_um, &value);
    let counting = counting_errors(&columns, sizes.ecd_um.len(), &value, &support, settings);
    let tail = 0.5 + 0.5 * settings.level;
    let normal = normal_quantile(tail);
    let photos = sizes.photos();
    let own: Vec<[f64; 7]> = if photos > 1 {
        (0..photos)
            .map(|i| sizes.of_photo(i))
            .filter(|s| !s.ecd_um.is_empty())
            .map(|s| Figures::of(&s, basis, fines_um).to_array())
            .collect()
    } else {
        Vec::new()
    };
    let student = if own.len() > 1 { student_t_quantile(tail, (own.len() - 1) as f64) } else { 0.0 };
    let scaled = scale_errors(sizes, basis, fines_um, &value, settings.scale_uncertainty);
    in_order(std::array::from_fn(|f| {
        let Spread { bias, deviation } = counting[f];
        // Redrawn quantiles lie beside their figure by the gaps between single particles, which is no bias.
        let bias = if f < Figures::FINES { 0.0 } else { bias };
        let few = student_t_quantile(tail, support[f].max(1.0));
        let leaning = LEANING[f] * skewness(sizes, &shares, f, value[f]) * (2.0 * normal * normal + 1.0) / 6.0;
        let spread =
            student * spread_of(own.iter().map(|o| o[f]), value[f]).deviation / (own.len().max(1) as f64).sqrt();
        let [down, up] = [few, few + leaning].map(|reach| (reach * deviation).max(spread).hypot(normal * scaled[f]));
        let (mut low, mut high) = (value[f] * (-down - bias).exp(), value[f] * (up - bias).exp());
        if value[f] == 0.0 {
            let most = none_found(settings.level) * fines_um.powi(if basis == Basis::Mass { 3 } else { 0 });
            high = 100.0 * most / (most + total);
        }
        // The shift must not leave the figure outside of its own interval.
        (low, high) = (low.min(value[f]), high.max(value[f]));
        Estimate { value: value[f], low, high, level: settings.level }
    }))
}

/// How many may be expected at most, with the confidence `level`, of what none was found of: 3 at 95 %, the rule of three.
///
/// Source: J. A. Hanley & A. Lippman-Hand, JAMA 249 (1983) 1743–1745 (from memory).
pub(super) fn none_found(level: f64) -> f64 {
    -(1.0 - level).ln()
}

/// D10 ≤ D50 ≤ D90 hold for every grind, so that the ends of their intervals follow one another too, and the span is made of
/// them: nothing is given up but what one of the other intervals excludes.
pub(super) fn in_order(mut all: [Estimate; 7]) -> [Estimate; 7] {
    for i in [1, 2] {
        all[i].low = all[i].low.max(all[i - 1].low);
    }
    for i in [1, 0] {
        all[i].high = all[i].high.min(all[i + 1].high);
    }
    let [d10, d50, d90, span, ..] = &mut all;
    let widest = (d90.high - d10.low) / d50.low;
    if widest.is_finite() {
        span.high = span.high.min(widest).max(span.value);
    }
    all
}

/// How many times the first term of the skewness moves the upper end of each figure. Most samples lack the largest particles of all,
/// which makes these figures too small and seem too sure; and the skewness itself, most of all that of D\[4,3\]. The figures
/// are what simulated samples ask for (`tests/coverage.rs`).
const LEANING: [f64; 7] = [0.0, 0.0, 1.0, 0.0, 0.0, 1.0, 2.0];

/// Number of particles below which their own scatter says little: that of a single one is 0.
const TELLING: usize = 10;
/// Scatter that the logarithm of one particle's size is taken to have there at least: what it takes for single particles
/// to hold the truth as often as they say (`tests/coverage.rs`); less than ground coffee's.
const LEAST_LN: f64 = 0.2;

/// Effective number of particles behind each figure by mass, in the order of [`Figures::NAMES`]: for a quantile those on
/// its thinner side, for a mean those in its coarse tail, which decide how far it can be off. `value` are the figures.
pub fn support(sizes: &Sizes, fines_um: f64, value: &[f64; 7]) -> [f64; 7] {
    support_of(sizes, &sizes.shares(Basis::Mass), fines_um, value)
}

fn support_of(sizes: &Sizes, shares: &[f64], fines_um: f64, value: &[f64; 7]) -> [f64; 7] {
    let effective = |from: usize, to: usize, power: i32| {
        let (mut sum, mut squares) = (0.0, 0.0);
        for (share, d) in shares[from..to].iter().zip(&sizes.ecd_um[from..to]) {
            let w = share * d.powi(power);
            sum += w;
            squares += w * w;
        }
        if squares > 0.0 { sum * sum / squares } else { 0.0 }
    };
    let n = shares.len();
    let at = |size: f64| sizes.ecd_um.partition_point(|&d| d < size);
    let side = |split: usize| effective(0, split, 0).min(effective(split, n, 0));
    let (d10, d50, d90) = (side(at(value[0])), side(at(value[1])), side(at(value[2])));
    [d10, d50, d90, d10.min(d90), side(at(fines_um)), effective(0, n, 2), effective(0, n, 4)]
}

/// How the logarithm of a figure scatters about that of its value.
#[derive(Clone, Copy, Default)]
struct Spread {
    bias: f64,
    deviation: f64,
}

/// Scatter of every figure under redrawn particles; `support` are the effective particles behind each.
fn counting_errors(
    columns: &Columns,
    n: usize,
    value: &[f64; 7],
    support: &[f64; 7],
    settings: &IntervalSettings,
) -> [Spread; 7] {
    let draws: Vec<[f64; 7]> = (0..settings.draws as u64)
        .into_par_iter()
        .map_init(
            || (vec![0u8; n], Vec::with_capacity(n)),
            |(counts, scratch), stream| {
                Draws::new(settings.seed, stream).poisson_one(counts);
                columns.figures(Some(counts), scratch).to_array()
            },
        )
        .collect();
    std::array::from_fn(|f| {
        let mut spread = spread_of(draws.iter().map(|d| d[f]), value[f]);
        if n < TELLING {
            spread.deviation = spread.deviation.max(LEAST_LN / support[f].max(1.0).sqrt());
        }
        spread
    })
}

/// Standard errors of the logarithms of the figures of `sizes` by mass from counting and scale alone, as if all particles lay on
/// one photo, in the order of [`Figures::NAMES`]; 0 for a figure that is 0.
pub fn standard_errors(sizes: &Sizes, fines_um: f64, settings: &IntervalSettings) -> [f64; 7] {
    let columns = Columns::of(sizes, Basis::Mass, fines_um);
    let value = columns.figures(None, &mut Vec::new()).to_array();
    let support = support(sizes, fines_um, &value);
    let counting = counting_errors(&columns, sizes.ecd_um.len(), &value, &support, settings);
    let scaled = scale_errors(sizes, Basis::Mass, fines_um, &value, settings.scale_uncertainty);
    std::array::from_fn(|f| counting[f].deviation.hypot(scaled[f]))
}

/// Skewness of the error of figure number `f`, which sums what every particle moves it by; for [`LEANING`] figures alone.
fn skewness(sizes: &Sizes, shares: &[f64], f: usize, value: f64) -> f64 {
    let (mut squares, mut cubes) = (0.0, 0.0);
    for ((d, weight), share) in sizes.ecd_um.iter().zip(&sizes.weight).zip(shares) {
        // Both means are by number whatever the shares are by.
        let u = d / value;
        let moved = match f {
            Figures::D90 => share * (f64::from(u >= 1.0) - 0.1),
            Figures::D32 => weight * u * u * (u - 1.0),
            Figures::D43 => weight * u.powi(3) * (u - 1.0),
            _ => return 0.0,
        };
        squares += moved * moved;
        cubes += moved.powi(3);
    }
    if squares > 0.0 { (cubes / squares.powf(1.5)).max(0.0) } else { 0.0 }
}

/// Mean and sample standard deviation of ln(drawn / value) over the positive draws; 0 with fewer than two.
fn spread_of(drawn: impl Iterator<Item = f64>, value: f64) -> Spread {
    let logs: Vec<f64> =
        drawn.filter(|v| v.is_finite() && *v > 0.0).map(|v| (v / value).ln()).filter(|l| l.is_finite()).collect();
    if logs.len() < 2 {
        return Spread::default();
    }
    let n = logs.len() as f64;
    let bias = logs.iter().sum::<f64>() / n;
    let deviation = (logs.iter().map(|l| (l - bias).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    Spread { bias, deviation }
}

/// Change of the logarithm of every figure when all sizes grow by one standard uncertainty of the scale.
fn scale_errors(sizes: &Sizes, basis: Basis, fines_um: f64, value: &[f64; 7], uncertainty: f64) -> [f64; 7] {
    if uncertainty == 0.0 {
        return [0.0; 7];
    }
    // Growing every size is the same as shrinking the fines limit.
    let fines = 100.0 * sizes.finer(basis, fines_um / (1.0 + uncertainty));
    let change = if fines > 0.0 && value[4] > 0.0 { (fines / value[4]).ln().abs() } else { 0.0 };
    [uncertainty, uncertainty, uncertainty, 0.0, change, uncertainty, uncertainty]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample(photos: usize, spread: f64) -> Sizes {
        let mut draws = Draws::new(4, photos as u64);
        let mut rows = Vec::new();
        for photo in 0..photos {
            let shift = (spread * draws.normal()).exp();
            rows.extend((0..400).map(|_| (300.0 * shift * (0.4 * draws.normal()).exp(), 1.0, photo)));
        }
        Sizes::from_rows(rows)
    }

    const SETTINGS: IntervalSettings = IntervalSettings { level: 0.95, draws: 300, seed: 7, scale_uncertainty: 0.0 };

    #[test]
    fn intervals_hold_their_value_and_repeat() {
        let sizes = sample(1, 0.0);
        let first = intervals(&sizes, Basis::Mass, 100.0, &SETTINGS);
        assert_eq!(first, intervals(&sizes, Basis::Mass, 100.0, &SETTINGS));
        assert!(first.iter().all(|e| e.low <= e.value && e.value <= e.high));
        let one_thread = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
        assert_eq!(first, one_thread.install(|| intervals(&sizes, Basis::Mass, 100.0, &SETTINGS)));
    }

    #[test]
    fn without_fines_as_many_are_allowed_as_the_confidence_asks_for() {
        let grains = |n: usize| Sizes::from_rows(vec![(300.0, 1.0, 0); n]);
        let most = |n: usize, level: f64| {
            intervals(&grains(n), Basis::Mass, 100.0, &IntervalSettings { level, ..SETTINGS })[Figures::FINES].high
        };
        // Of n counts of a thing that is met with the chance p none is met with (1 - p)^n: 3.0 of many at 5 %, 4.6 at 1 %.
        for (level, number) in [(0.95, 3.0), (0.99, 4.6)] {
            let chance = number / 1e6;
            assert!(((1.0f64 - chance).powi(1_000_000) - (1.0 - level)).abs() < 1e-3);
            assert!((most(2000, level) / (100.0 * number / 27.0 / 2000.0) - 1.0).abs() < 0.01);
        }
        assert!(most(1, 0.95) < 100.0);
    }

    #[test]
    fn spreads_that_differ_widen_the_interval() {
        let (calm, wild) = (sample(4, 0.0), sample(4, 0.2));
        let width = |s| intervals(s, Basis::Mass, 100.0, &SETTINGS)[1].half_width();
        assert!(width(&wild) > 2.0 * width(&calm));
    }

    #[test]
    fn an_unsure_scale_widens_sizes_and_not_the_span() {
        let sizes = sample(1, 0.0);
        let unsure = IntervalSettings { scale_uncertainty: 0.05, ..SETTINGS };
        let (sure, unsure) =
            (intervals(&sizes, Basis::Mass, 200.0, &SETTINGS), intervals(&sizes, Basis::Mass, 200.0, &unsure));
        assert!(unsure[1].half_width() > 0.09 * unsure[1].value);
        assert_eq!(sure[3], unsure[3]);
        assert!(unsure[4].half_width() > sure[4].half_width());
    }
}
