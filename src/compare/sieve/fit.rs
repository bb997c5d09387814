use super::{Stack, predicted};
use crate::distribution::{PhotoParticles, Sample, SieveShape};
use crate::numeric::{levenberg_marquardt, normal_quantile};

/// Fewest layers besides the receiver that carry a shape factor beside the size shift.
const LAYERS_FOR_SHAPE: usize = 3;

/// A shape fitted to weights.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fitted {
    /// The shape.
    pub shape: SieveShape,
    /// Half widths of the intervals of size shift and mass exponent; `None` for what was held.
    pub half: [Option<f64>; 2],
    /// Largest difference between weighed and predicted after the fit, % of the mass.
    pub worst_pct: f64,
}

/// The shape under which the photos of `sample` predict the weighed layers best; `None` where the layers do not determine it.
///
/// Least squares of the shares of the layers, each over its uncertainty: the rounding of the balance, taken as
/// uniform, and the counting of particles. From three layers on the mass exponent is fitted, too, and kept where
/// it is clearly not 0. The intervals are those of the linearised fit with these variances; the shares are taken as
/// independent, which makes them a guide rather than a promise.
pub fn fit(sample: &Sample, stack: &Stack, level: f64) -> Option<Fitted> {
    let apertures = &stack.apertures_um;
    // A few photos tell the scatter of each layer too badly to weigh the layers by it: counting does that.
    let particles = sample.particles().copied().collect();
    let pooled = PhotoParticles { name: String::new(), particles, smallest_ecd_um: sample.smallest_ecd_um() };
    let plain = predicted(&Sample::new(vec![pooled]).ok()?, apertures, &SieveShape::default(), 0.6827);
    let deviation: Vec<f64> = stack
        .share
        .iter()
        .zip(&plain)
        .map(|(weighed, photo)| {
            let rounding = 0.5 * (weighed.high_pct - weighed.low_pct) / 3f64.sqrt();
            rounding.hypot(photo.half_width()).max(0.05)
        })
        .collect();
    let shape = |p: &[f64]| SieveShape {
        size_shift: p[0].exp(),
        mass_exponent: p.get(1).copied().unwrap_or(0.0),
        ..SieveShape::default()
    };
    let residuals = |p: &[f64]| -> Vec<f64> {
        let found = predicted(sample, apertures, &shape(p), level);
        let layers = found.iter().zip(&stack.share).zip(&deviation);
        layers.map(|((photo, weighed), d)| (photo.value - weighed.pct) / d).collect()
    };
    let normal = normal_quantile(0.5 + 0.5 * level);
    let shift_alone = levenberg_marquardt(&[0.0], &[0.1], residuals)?;
    // The exponent stays where the layers show that it is not 0: otherwise it would only follow chance.
    let with_exponent = (apertures.len() >= LAYERS_FOR_SHAPE)
        .then(|| levenberg_marquardt(&[shift_alone.parameters[0], 0.0], &[0.1, 0.3], residuals))
        .flatten()
        .filter(|f| f.parameters[1].abs() > normal * f.spread[(1, 1)].sqrt() * f.sum_of_squares().max(1.0).sqrt());
    let both = with_exponent.is_some();
    let fit = with_exponent.unwrap_or(shift_alone);
    let shape = shape(fit.parameters.as_slice());
    // Beyond these no particles were sieved, but something else was weighed.
    if !(0.4..2.5).contains(&shape.size_shift) || shape.mass_exponent.abs() > 2.0 {
        return None;
    }
    // What the layers disagree by beyond rounding and counting widens the intervals.
    let freedom = apertures.len().saturating_sub(fit.parameters.len()).max(1) as f64;
    let inflation = (fit.sum_of_squares() / freedom).max(1.0).sqrt();
    let half = |i: usize| normal * inflation * fit.spread[(i, i)].sqrt();
    let worst = predicted(sample, apertures, &shape, level)
        .iter()
        .zip(&stack.share)
        .map(|(photo, weighed)| (photo.value - weighed.pct).abs())
        .fold(0.0, f64::max);
    let shape = SieveShape { shift_uncertainty: half(0) / normal, ..shape };
    Some(Fitted { shape, half: [Some(shape.size_shift * half(0)), both.then(|| half(1))], worst_pct: worst })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::sieve::Weighed;
    use crate::numeric::Draws;
    use crate::particle::Particle;

    /// Photos of the same grounds, with a share of fine ones by number.
    fn photos(seed: u64, number: u64, fine: f64) -> Sample {
        let photo = |i: u64| {
            let mut draws = Draws::new(seed, i);
            let mut particle = || {
                let median = if draws.uniform() < fine { 130.0 } else { 600.0 };
                let ecd_um = median * (0.35 * draws.normal()).exp();
                let feret_min_um = ecd_um * (0.8 + 0.15 * draws.uniform());
                Particle { feret_min_um, ..Particle::disc(ecd_um) }
            };
            let particles = (0..4000).map(|_| particle()).collect();
            PhotoParticles { name: format!("{i}"), particles, smallest_ecd_um: 0.0 }
        };
        Sample::new((0..number).map(photo).collect()).unwrap()
    }

    fn weighed_as(shape: &SieveShape, apertures: &[f64], fine: f64) -> Stack {
        // A charge holds many more particles than the photos.
        let shares = predicted(&photos(2, 25, fine), apertures, shape, 0.95);
        let grams = |i: usize| (shares[i].value * 25.0 / 100.0 * 100.0).round() / 100.0;
        let retained = apertures.iter().enumerate().map(|(i, a)| (*a, grams(i))).collect();
        let receiver_g = Some(grams(apertures.len()));
        Weighed { charge_g: None, retained, receiver_g, step_g: 0.01 }.stack().unwrap()
    }

    #[test]
    fn a_known_shift_is_found_within_its_interval() {
        let truth = SieveShape { size_shift: 0.85, mass_exponent: 0.0, ..SieveShape::default() };
        let fitted = fit(&photos(1, 3, 0.0), &weighed_as(&truth, &[900.0, 600.0, 400.0], 0.0), 0.95).unwrap();
        let half = fitted.half[0].unwrap();
        assert!((fitted.shape.size_shift - 0.85).abs() < 1.5 * half && half < 0.1, "{fitted:?}");
        assert!(fitted.worst_pct < 3.0);
    }

    #[test]
    fn a_mass_that_falls_with_size_is_told_from_a_shift_only_where_that_can_be() {
        let flat = SieveShape { size_shift: 1.0, mass_exponent: -1.0, ..SieveShape::default() };
        let apertures = [1000.0, 700.0, 500.0, 250.0, 125.0];
        let of =
            |shape: &SieveShape, fine| fit(&photos(1, 15, fine), &weighed_as(shape, &apertures, fine), 0.95).unwrap();
        // Fines apart from the rest: their share tells.
        let fitted = of(&flat, 0.97);
        assert!(fitted.half[1].is_some() && (fitted.shape.mass_exponent + 1.0).abs() < 0.4, "{fitted:?}");
        // On a lognormal law mass ∝ size^e moves the median by e·σ² and nothing else: it is a shift.
        let fitted = of(&flat, 0.0);
        assert!((fitted.shape.size_shift / (-0.35f64 * 0.35).exp() - 1.0).abs() < 0.03, "{fitted:?}");
        // And nothing is claimed of grounds whose mass does not fall.
        assert_eq!(of(&SieveShape::default(), 0.97).half[1], None);
    }

    #[test]
    fn weights_of_other_grounds_fit_no_shape() {
        let other = SieveShape { size_shift: 4.0, mass_exponent: 0.0, ..SieveShape::default() };
        assert_eq!(fit(&photos(1, 3, 0.0), &weighed_as(&other, &[800.0, 500.0], 0.0), 0.95), None);
    }
}
