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

/// Why no bias can be stated: how many round objects of about that size there are.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error(
    "only {0} round objects within a fifth of that diameter were found, and {FEWEST} are needed. Spread some, apart from \
     each other, or check the diameter"
)]
pub struct TooFewKnown(pub usize);

/// Bias of the diameters of the objects among `particles` that are round and within a fifth of the known diameter.
///
/// The interval joins their scatter (Student's t), the tolerance of the known diameter and the relative standard
/// uncertainty of the scale. Its coverage is simulated in the tests.
///
/// # Errors
/// Fewer than three such objects.
pub fn check_known(
    particles: &[Particle],
    known: KnownSize,
    scale_uncertainty: f64,
    level: f64,
) -> Result<KnownCheck, TooFewKnown> {
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
        return Err(TooFewKnown(sizes.len()));
    }
    let mean = sizes.iter().sum::<f64>() / n;
    let deviation = (sizes.iter().map(|s| (s - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    let tail = 0.5 + 0.5 * level;
    let scatter = student_t_quantile(tail, n - 1.0) * deviation / n.sqrt() / known.diameter_um;
    // Standard deviation of a uniform law over ± 1.
    let tolerance = known.within_um / known.diameter_um / 3f64.sqrt();
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
        Particle {
            x_px: 0.0,
            y_px: 0.0,
            x_mm: 0.0,
            y_mm: 0.0,
            ecd_um,
            feret_max_um: ecd_um,
            feret_min_um: ecd_um,
            area_um2: ecd_um * ecd_um,
            perimeter_um: 3.0 * ecd_um,
            aspect_ratio: 0.98,
            circularity: 0.99,
            solidity: 0.99,
            weight: 1.0,
            flags: Flags::default(),
        }
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
            let check = check_known(&seen, known, 0.002, 0.95).unwrap();
            held += usize::from(check.bias_pct.low < 1.0 && 1.0 < check.bias_pct.high);
        }
        assert!((552..=594).contains(&held), "{held} of 600");
    }

    #[test]
    fn grains_are_no_beads_and_two_beads_are_too_few() {
        let known = KnownSize { diameter_um: 500.0, within_um: 0.0 };
        let oval = Particle { aspect_ratio: 0.6, ..bead(500.0) };
        let seen = [bead(501.0), oval, bead(499.0), bead(900.0)];
        assert_eq!(check_known(&seen, known, 0.0, 0.95), Err(TooFewKnown(2)));
    }
}
