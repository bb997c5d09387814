use crate::numeric::{Estimate, median, normal_quantile, student_t_quantile};
use crate::particle::{Flags, Particle};

/// A diameter known from outside: of beads, bearing balls, printed discs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KnownSize {
    /// Diameter, µm.
    pub diameter_um: f64,
    /// It lies within so much of this, µm (taken as uniform).
    pub within_um: f64,
}

/// What the tool makes of a known diameter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KnownCheck {
    /// Number of round particles of about that size.
    pub count: usize,
    /// Their mean diameter, µm.
    pub mean_um: f64,
    /// Their standard deviation, µm.
    pub deviation_um: f64,
    /// Mean over known diameter less 1, percent, with its interval.
    pub bias_pct: Estimate,
}

/// Fewest objects from which a bias is stated.
const FEWEST: usize = 3;

/// How much single beads of a good lot differ, relative standard deviation (common practice, no source).
const LOT: f64 = 0.01;
/// How well the edge of a single object is measured in its diameter, px: three times what rendered discs show.
const EDGE_PX: f64 = 0.3;
/// The scatter may be so many times what is expected: of three objects a hundredth pass by chance at 2.1 times.
const SCATTER: f64 = 2.5;

/// Why no bias can be stated.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[allow(missing_docs, reason = "each variant is its message")]
pub enum KnownError {
    #[error(
        "only {0} round objects within a fifth of that diameter were found, and {FEWEST} are needed. Spread some, apart \
         from each other, or check the diameter"
    )]
    TooFew(usize),
    #[error(
        "the {count} round objects of about that size differ too much to be beads of one diameter: standard deviation \
         {deviation_um:.0} µm, where at most {limit_um:.0} µm are expected. Spread beads or balls alone, without grounds; \
         or state the tolerance that they truly have, for example --known 1000±50"
    )]
    Scattered { count: usize, deviation_um: f64, limit_um: f64 },
}

/// Bias of the diameters of the objects among `particles` that are round and within a fifth of the known diameter.
///
/// The interval joins their scatter (Student's t), the tolerance of the known diameter and the relative standard
/// uncertainty of the scale. Its coverage is simulated in the tests.
///
/// Grains are told from beads by their scatter: its limit is 2.5 times the root of the summed squares of the tolerance
/// (uniform), 1 % of the diameter and 0.3 px, with `um_per_px` the coarsest scale of the photos, µm.
///
/// # Errors
/// Fewer than three such objects, or objects that scatter more than that.
pub fn check_known(
    particles: &[Particle],
    known: KnownSize,
    scale_uncertainty: f64,
    um_per_px: f64,
    level: f64,
) -> Result<KnownCheck, KnownError> {
    let like = |p: &&Particle| {
        (p.ecd_um / known.diameter_um - 1.0).abs() < 0.2
            && p.aspect_ratio > 0.88
            && p.solidity > 0.95
            && !p.flags.contains(Flags::SPLIT)
    };
    let mut sizes: Vec<f64> = particles.iter().filter(like).map(|p| p.ecd_um).collect();
    // A round grain of about that size among the beads lies apart from them.
    if let Some(middle) = median(&mut sizes.clone()) {
        let usual = median(&mut sizes.iter().map(|s| (s - middle).abs()).collect::<Vec<_>>()).unwrap_or(0.0);
        let limit = (7.0 * usual).max(0.01 * known.diameter_um);
        sizes.retain(|s| (s - middle).abs() <= limit);
    }
    let n = sizes.len() as f64;
    if sizes.len() < FEWEST {
        return Err(KnownError::TooFew(sizes.len()));
    }
    let mean = sizes.iter().sum::<f64>() / n;
    let deviation = (sizes.iter().map(|s| (s - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    // Standard deviation of a uniform law over ± 1.
    let tolerance = known.within_um / known.diameter_um / 3f64.sqrt();
    let limit_um = SCATTER * (known.diameter_um * tolerance.hypot(LOT)).hypot(EDGE_PX * um_per_px);
    if deviation > limit_um {
        return Err(KnownError::Scattered { count: sizes.len(), deviation_um: deviation, limit_um });
    }
    let tail = 0.5 + 0.5 * level;
    let scatter = student_t_quantile(tail, n - 1.0) * deviation / n.sqrt() / known.diameter_um;
    let rest = normal_quantile(tail) * tolerance.hypot(scale_uncertainty);
    let (bias, half) = (100.0 * (mean / known.diameter_um - 1.0), 100.0 * scatter.hypot(rest));
    Ok(KnownCheck {
        count: sizes.len(),
        mean_um: mean,
        deviation_um: deviation,
        bias_pct: Estimate { value: bias, low: bias - half, high: bias + half, level },
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::Draws;

    fn bead(ecd_um: f64) -> Particle {
        Particle::disc(ecd_um)
    }

    #[test]
    fn the_interval_holds_the_true_bias_as_often_as_it_says() {
        let mut draws = Draws::new(3, 0);
        let mut held = 0;
        for _ in 0..600 {
            // Truly 1 % large: beads of 1000 µm that vary by 8, made to ± 5, under a scale known to 0.2 %.
            let made = 1000.0 + 10.0 * (draws.uniform() - 0.5);
            let scale = 1.0 + 0.002 * draws.normal();
            let seen: Vec<Particle> = (0..12).map(|_| bead(1.01 * scale * (made + 8.0 * draws.normal()))).collect();
            let known = KnownSize { diameter_um: 1000.0, within_um: 5.0 };
            let check = check_known(&seen, known, 0.002, 10.0, 0.95).unwrap();
            held += usize::from(check.bias_pct.low < 1.0 && 1.0 < check.bias_pct.high);
        }
        assert!((552..=594).contains(&held), "{held} of 600");
    }

    #[test]
    fn grains_are_no_beads_and_two_beads_are_too_few() {
        let known = KnownSize { diameter_um: 500.0, within_um: 0.0 };
        let oval = Particle { aspect_ratio: 0.6, ..bead(500.0) };
        let seen = [bead(501.0), oval, bead(499.0), bead(900.0)];
        assert_eq!(check_known(&seen, known, 0.0, 10.0, 0.95), Err(KnownError::TooFew(2)));
    }

    #[test]
    fn round_grains_of_about_that_size_are_no_beads_but_wide_beads_are() {
        let seen = [880.0, 930.0, 1010.0, 1060.0, 1120.0, 1170.0].map(bead);
        let check = |within_um| check_known(&seen, KnownSize { diameter_um: 1000.0, within_um }, 0.002, 20.0, 0.95);
        assert!(matches!(check(5.0), Err(KnownError::Scattered { count: 6, .. })), "{:?}", check(5.0));
        assert!(check(150.0).is_ok());
    }
}
