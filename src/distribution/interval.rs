use rayon::prelude::*;

use super::figures::{Basis, Figures, Sizes};
use crate::numeric::{Draws, Estimate, normal_quantile, quantile_of_sorted, student_t_quantile};

/// Intervals of all figures, in the order of [`Figures::NAMES`].
#[derive(Clone, Debug, PartialEq)]
pub struct Intervals {
    /// Value and interval of every figure.
    pub figures: [Estimate; 7],
    /// True when several photos showed how much spreads of the same grounds differ.
    pub spread_known: bool,
}

/// Bootstrap intervals of the figures of `sizes`.
///
/// Placeholder documentation: see the text in the module.
pub fn bootstrap(
    sizes: &Sizes,
    basis: Basis,
    fines_um: f64,
    relative_scale_uncertainty: f64,
    level: f64,
    draws: usize,
    seed: u64,
) -> Intervals {
    let value = Figures::of(sizes, basis, fines_um).to_array();
    let weights = sizes.weights(basis);
    let replicates: Vec<[f64; 7]> = (0..draws as u64)
        .into_par_iter()
        .map(|stream| {
            let mut random = Draws::new(seed, stream);
            let mut counts = vec![0u8; weights.len()];
            random.poisson_one(&mut counts);
            let times = |w: &[f64]| -> Vec<f64> { w.iter().zip(&counts).map(|(w, &c)| w * f64::from(c)).collect() };
            Figures::weighted(&sizes.ecd_um, &times(&weights), &times(&sizes.weight), fines_um).to_array()
        })
        .collect();
    let _ = (normal_quantile(0.5), student_t_quantile(0.5, 3.0), relative_scale_uncertainty);
    let figures = std::array::from_fn(|f| {
        let mut column: Vec<f64> = replicates.iter().map(|r| r[f]).filter(|v| v.is_finite()).collect();
        column.sort_by(f64::total_cmp);
        let tail = 0.5 * (1.0 - level);
        Estimate {
            value: value[f],
            low: quantile_of_sorted(&column, tail),
            high: quantile_of_sorted(&column, 1.0 - tail),
            level,
        }
    });
    Intervals { figures, spread_known: false }
}
