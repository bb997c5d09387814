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
/// Intervals are symmetric on the logarithm of the figure. Three sources are joined:
/// * **counting**: particles drawn again and again with Poisson counts of mean 1 (bootstrap);
/// * **spread to spread**, with several photos: Student's t on the logarithms of the photos' own figures. The wider
///   of the two counts, so that few photos never make an interval narrower than counting allows;
/// * **scale**: adds to sizes in quadrature; span and shares at a fixed number of micrometres follow it through the
///   particles.
///
/// With one photo the spread-to-spread part is unknown and absent.
/// Source: Poisson bootstrap, e.g. J. A. Hanley & B. MacGibbon (2006), Comput. Methods Programs Biomed. 83, 57–62 (from
/// memory). Coverage is simulated in `tests/coverage.rs`; its table is in `docs/uncertainty.md`.
pub fn intervals(sizes: &Sizes, basis: Basis, fines_um: f64, settings: &IntervalSettings) -> [Estimate; 7] {
    let columns = Columns::of(sizes, basis, fines_um);
    let value = columns.figures(None, &mut Vec::new()).to_array();
    let counting = counting_errors(&columns, sizes.ecd_um.len(), settings);
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
    std::array::from_fn(|f| {
        let spread = student * log_spread(own.iter().map(|o| o[f])) / (own.len().max(1) as f64).sqrt();
        let half = (normal * counting[f]).max(spread).hypot(normal * scaled[f]);
        Estimate { value: value[f], low: value[f] * (-half).exp(), high: value[f] * half.exp(), level: settings.level }
    })
}

/// Standard deviation of the logarithm of every figure under redrawn particles.
fn counting_errors(columns: &Columns, n: usize, settings: &IntervalSettings) -> [f64; 7] {
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
    std::array::from_fn(|f| log_spread(draws.iter().map(|d| d[f])))
}

/// Sample standard deviation of the logarithms of the positive values; 0 with fewer than two.
fn log_spread(values: impl Iterator<Item = f64>) -> f64 {
    let logs: Vec<f64> = values.filter(|v| v.is_finite() && *v > 0.0).map(f64::ln).collect();
    if logs.len() < 2 {
        return 0.0;
    }
    let n = logs.len() as f64;
    let mean = logs.iter().sum::<f64>() / n;
    (logs.iter().map(|l| (l - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt()
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
    fn spreads_that_differ_widen_the_interval() {
        let (calm, wild) = (sample(4, 0.0), sample(4, 0.2));
        let width = |s| intervals(s, Basis::Mass, 100.0, &SETTINGS)[1].half_width();
        assert!(width(&wild) > 2.0 * width(&calm));
    }

    #[test]
    fn an_unsure_scale_widens_sizes_and_not_the_span() {
        let sizes = sample(1, 0.0);
        let unsure = IntervalSettings { scale_uncertainty: 0.05, ..SETTINGS };
        let (sure, unsure) = (intervals(&sizes, Basis::Mass, 200.0, &SETTINGS), intervals(&sizes, Basis::Mass, 200.0, &unsure));
        assert!(unsure[1].half_width() > 0.09 * unsure[1].value);
        assert_eq!(sure[3], unsure[3]);
        assert!(unsure[4].half_width() > sure[4].half_width());
    }
}
