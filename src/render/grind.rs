//! Draws of particle size.

use super::noise::normal;
use super::spec::{Grind, Lognormal};
use rand::RngExt;
use rand_pcg::Pcg64Mcg;

/// After so many refusals the limits leave nearly nothing, and the draw is set on the limit.
const MAX_DRAWS: usize = 10_000;

/// One ECD in micrometres.
pub(super) fn draw_ecd_um(grind: &Grind, rng: &mut Pcg64Mcg) -> f64 {
    // The fraction is drawn once, so that the limits do not change the share of fines.
    let from_fines = rng.random::<f64>() < grind.fines_number_share;
    let mode = if from_fines { &grind.fines } else { &grind.coarse };
    for _ in 0..MAX_DRAWS {
        let ecd = draw_lognormal(mode, rng);
        if (grind.min_um..=grind.max_um).contains(&ecd) {
            return ecd;
        }
    }
    mode.median_um.clamp(grind.min_um, grind.max_um)
}

fn draw_lognormal(mode: &Lognormal, rng: &mut Pcg64Mcg) -> f64 {
    if mode.gsd == 1.0 {
        return mode.median_um;
    }
    mode.median_um * (mode.gsd.ln() * normal(rng)).exp()
}

/// A size hardly any particle goes beyond, in micrometres.
pub(super) fn practical_max_um(grind: &Grind) -> f64 {
    let far = |m: &Lognormal| m.median_um * m.gsd.powi(4);
    let mut largest: f64 = 0.0;
    if grind.fines_number_share < 1.0 {
        largest = largest.max(far(&grind.coarse));
    }
    if grind.fines_number_share > 0.0 {
        largest = largest.max(far(&grind.fines));
    }
    largest.min(grind.max_um)
}

#[cfg(test)]
mod tests {
    use super::super::noise::{Job, rng};
    use super::*;

    fn sorted_draws(grind: &Grind, n: usize) -> Vec<f64> {
        let mut rng = rng(7, Job::Sizes, 0);
        let mut draws: Vec<f64> = (0..n).map(|_| draw_ecd_um(grind, &mut rng)).collect();
        draws.sort_by(f64::total_cmp);
        draws
    }

    #[test]
    fn lognormal_has_the_asked_median_and_gsd() {
        let grind = Grind {
            coarse: Lognormal { median_um: 400.0, gsd: 1.6 },
            fines_number_share: 0.0,
            min_um: 1.0,
            max_um: 1e5,
            ..Grind::default()
        };
        let draws = sorted_draws(&grind, 40_000);
        let logs: Vec<f64> = draws.iter().map(|d| d.ln()).collect();
        let mean = logs.iter().sum::<f64>() / logs.len() as f64;
        let variance = logs.iter().map(|l| (l - mean).powi(2)).sum::<f64>() / logs.len() as f64;
        assert!((draws[20_000] / 400.0 - 1.0).abs() < 0.015, "{}", draws[20_000]);
        assert!((variance.sqrt().exp() - 1.6).abs() < 0.015);
    }

    #[test]
    fn mixture_keeps_its_share_and_its_limits() {
        let grind = Grind {
            coarse: Lognormal { median_um: 800.0, gsd: 1.2 },
            fines: Lognormal { median_um: 80.0, gsd: 1.2 },
            fines_number_share: 0.3,
            min_um: 70.0,
            max_um: 1000.0,
        };
        let draws = sorted_draws(&grind, 20_000);
        let fines = draws.iter().filter(|&&d| d < 250.0).count() as f64 / 20_000.0;
        assert!((fines - 0.3).abs() < 0.015);
        assert!(draws[0] >= 70.0 && draws[draws.len() - 1] <= 1000.0);
    }
}
