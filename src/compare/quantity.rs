use super::Question;
use crate::distribution::{Basis, Figures, Sizes};
use crate::numeric::weighted_quantile;

/// A figure that is compared.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Quantity {
    /// A figure by mass: its place in [`Figures::NAMES`].
    Figure(usize),
    /// Share of the mass coarser than a size in µm, %.
    ShareAbove(f64),
}

impl Quantity {
    /// The share of fines.
    pub const FINES: Quantity = Quantity::Figure(Figures::FINES);
    /// (D90 − D10) / D50.
    pub const SPAN: Quantity = Quantity::Figure(Figures::SPAN);
    /// The median.
    pub const MEDIAN: Quantity = Quantity::Figure(Figures::MEDIAN);

    /// Name in files.
    pub fn name(self) -> String {
        match self {
            Quantity::Figure(i) => Figures::NAMES[i].to_owned(),
            Quantity::ShareAbove(um) => format!("above_{um}_um_pct"),
        }
    }

    /// Value for `sizes`, whose figures by mass are `figures`.
    pub(super) fn of(self, sizes: &Sizes, figures: &[f64; 7]) -> f64 {
        match self {
            Quantity::Figure(i) => figures[i],
            Quantity::ShareAbove(um) => 100.0 * (1.0 - sizes.finer(Basis::Mass, um)),
        }
    }

    /// True for what is compared by its ratio.
    pub(super) fn is_ratio(self) -> bool {
        matches!(self, Quantity::Figure(_))
    }

    /// Unit of the value.
    pub fn unit(self) -> &'static str {
        match self {
            Quantity::Figure(3) => "",
            Quantity::Figure(4) | Quantity::ShareAbove(_) => "%",
            Quantity::Figure(_) => "µm",
        }
    }
}

/// All that is compared.
pub(super) fn quantities(question: &Question) -> Vec<Quantity> {
    let shares = question.shares_above_um.iter().map(|&um| Quantity::ShareAbove(um));
    (0..Figures::NAMES.len()).map(Quantity::Figure).chain(shares).collect()
}

/// Value of each of the `quantities` for `sizes`.
pub(super) fn values(quantities: &[Quantity], sizes: &Sizes, fines_um: f64) -> Vec<f64> {
    let figures = Figures::of(sizes, Basis::Mass, fines_um).to_array();
    quantities.iter().map(|q| q.of(sizes, &figures)).collect()
}

/// Figures of one photo.
#[derive(Clone, Debug)]
pub(super) struct PhotoValues {
    /// Value of each quantity.
    pub value: Vec<f64>,
    /// Variance by counting, of the logarithm of a figure and of a share above itself.
    pub counting: Vec<f64>,
    /// Particles on this photo, cut ones among them by border weighting.
    pub count: f64,
}

/// Values of `sizes` (one photo) and their counting variances.
///
/// The variance is the sum over the particles of the squared influence of each on the figure, which is what redrawing
/// them with Poisson counts of mean 1 tends to. The density that the influence on a quantile needs comes from the
/// quantiles one standard error of the share to either side.
/// Source: Woodruff, J. Am. Stat. Assoc. 47 (1952) 635–646; Deville, Surv. Methodol. 25 (1999) 193–203 (both from
/// memory). Held against redrawn particles in the tests.
pub(super) fn photo_values(sizes: &Sizes, quantities: &[Quantity], fines_um: f64) -> PhotoValues {
    let d = &sizes.ecd_um;
    let shares = sizes.shares(Basis::Mass);
    let mass: f64 = shares.iter().sum();
    let figures = Figures::of(sizes, Basis::Mass, fines_um).to_array();
    let squares = |below: f64, p: f64| {
        let at = d.partition_point(|&x| x < below);
        let sum = |s: &[f64]| s.iter().map(|v| (v / mass).powi(2)).sum::<f64>();
        (1.0 - p).powi(2) * sum(&shares[..at]) + p * p * sum(&shares[at..])
    };
    let log_quantile = |p: f64| weighted_quantile(d, &shares, p).ln();
    // Change of a log quantile with its share.
    let slope = |p: f64, i: usize| {
        let h = squares(figures[i], p).sqrt().clamp(1e-4, 0.5 * p.min(1.0 - p));
        (log_quantile(p + h) - log_quantile(p - h)) / (2.0 * h)
    };
    let slopes = [slope(0.1, 0), slope(0.5, 1), slope(0.9, 2)];
    let [m2, m3, m4] = [2, 3, 4].map(|k| d.iter().zip(&sizes.weight).map(|(d, w)| w * d.powi(k)).sum::<f64>());
    let at_quantile =
        |i: usize, j: usize| slopes[j] * shares[i] / mass * ([0.1, 0.5, 0.9][j] - below(d[i], figures[j]));
    let influence = |q: Quantity, value: f64, i: usize| -> f64 {
        let share = shares[i] / mass;
        let moment = |k: i32, m: f64| sizes.weight[i] * d[i].powi(k) / m;
        match q {
            Quantity::Figure(j @ 0..3) => at_quantile(i, j),
            Quantity::Figure(3) => {
                (figures[2] * at_quantile(i, 2) - figures[0] * at_quantile(i, 0)) / (figures[2] - figures[0])
                    - at_quantile(i, 1)
            }
            Quantity::Figure(4) => share * (100.0 * below(d[i], fines_um) / figures[4] - 1.0),
            Quantity::Figure(5) => moment(3, m3) - moment(2, m2),
            Quantity::Figure(_) => moment(4, m4) - moment(3, m3),
            Quantity::ShareAbove(um) => share * (100.0 * (1.0 - below(d[i], um)) - value),
        }
    };
    let value: Vec<f64> = quantities.iter().map(|q| q.of(sizes, &figures)).collect();
    let counting = |(&q, &value): (&Quantity, &f64)| (0..d.len()).map(|i| influence(q, value, i).powi(2)).sum();
    PhotoValues {
        counting: quantities.iter().zip(&value).map(counting).collect(),
        value,
        count: sizes.weight.iter().sum(),
    }
}

fn below(size: f64, limit: f64) -> f64 {
    f64::from(u8::from(size < limit))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::Draws;

    #[test]
    fn variances_are_those_of_particles_drawn_again() {
        let mut draws = Draws::new(11, 0);
        let diameters: Vec<f64> = (0..4000).map(|_| 250.0 * (0.4 * draws.normal()).exp()).collect();
        let photo = |weights: &[u8]| {
            let rows = diameters.iter().zip(weights).filter(|(_, w)| **w > 0);
            Sizes::from_rows(rows.map(|(d, w)| (*d, f64::from(*w), 0)).collect())
        };
        let quantities: Vec<Quantity> = (0..7).map(Quantity::Figure).chain([Quantity::ShareAbove(400.0)]).collect();
        let whole = photo_values(&photo(&[1; 4000]), &quantities, 150.0);
        let runs = 1500;
        let mut squares = vec![0.0; quantities.len()];
        let mut counts = vec![0u8; diameters.len()];
        for _ in 0..runs {
            draws.poisson_one(&mut counts);
            let sizes = photo(&counts);
            let figures = Figures::of(&sizes, Basis::Mass, 150.0).to_array();
            for (q, quantity) in quantities.iter().enumerate() {
                let (found, value) = (quantity.of(&sizes, &figures), whole.value[q]);
                let off = if quantity.is_ratio() { (found / value).ln() } else { found - value };
                squares[q] += off * off / f64::from(runs);
            }
        }
        for (q, quantity) in quantities.iter().enumerate() {
            let ratio = (whole.counting[q] / squares[q]).sqrt();
            // 1500 draws tell a deviation to 2 %; the rest is the slope of a quantile, read off few particles.
            assert!((0.85..1.2).contains(&ratio), "{quantity:?}: {ratio}");
        }
    }
}
