//! Weighed sieve layers beside what a photo predicts for them.

mod aperture;
mod fit;
mod weighed;

pub use aperture::{Aperture, ApertureError};
pub use fit::{Fitted, fit};
pub use weighed::{Share, Stack, StackError, Weighed};

use super::contrast::{Side, contrast};
use crate::distribution::{Sample, SieveShape};
use crate::numeric::{Estimate, normal_cdf};
use crate::particle::Particle;

/// Relative scatter of the size at which a particle passes: apertures of one sieve differ, and sieving ends before every
/// particle has met its hole. An assumption between the tolerance of the mean aperture (3 to 4 %) and that of the largest
/// (10 to 20 %) of ISO 3310-1 (both from memory).
const BLUR: f64 = 0.05;

/// Shares of the layers that the photos of a sample predict, receiver last, in percent with intervals.
///
/// A particle passes a square hole by its narrower side: its smallest Feret diameter times the size shift of `shape`. Its
/// mass is taken as ECD³ times the shape factor. Near the aperture passing is a matter of chance (see `BLUR`).
/// The intervals hold counting and, with several photos, their spread, as in [`super::compare`].
pub fn predicted(sample: &Sample, apertures_um: &[f64], shape: &SieveShape, level: f64) -> Vec<Estimate> {
    let estimate = |side: Side| {
        let known = contrast([&side]);
        let value = 100.0 * side.mean();
        let half = 100.0 * known.reach(level, effective(sample)) * known.error();
        Estimate { value, low: (value - half).max(0.0), high: (value + half).min(100.0), level }
    };
    sides(sample, apertures_um, shape).into_iter().map(estimate).collect()
}

/// Share of one layer in two sieved samples, other less base, % of the mass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LayerDifference {
    /// Weighed, with what the rounding of the balance allows at the worst.
    pub weighed: Share,
    /// Predicted by the photos.
    pub photos: Estimate,
}

/// Layers of `other` less those of `base`, receiver last; each side is a stack and the photos of the same grounds.
///
/// The bounds of the weights take every reading at its worst; how much two sievings of the same grounds differ, they cannot
/// hold. The intervals of the photos are those of [`super::compare`] for shares of the mass.
/// `None` where the stacks differ.
pub fn between(base: (&Stack, &Sample), other: (&Stack, &Sample), level: f64) -> Option<Vec<LayerDifference>> {
    let apertures = &base.0.apertures_um;
    if *apertures != other.0.apertures_um {
        return None;
    }
    let photos = [base.1, other.1].map(|sample| sides(sample, apertures, &SieveShape::default()));
    let difference = |i: usize| {
        let known = contrast([&photos[0][i], &photos[1][i]]);
        let value = 100.0 * (photos[1][i].mean() - photos[0][i].mean());
        let half = 100.0 * known.reach(level, effective(base.1).min(effective(other.1))) * known.error();
        let (a, b) = (base.0.share[i], other.0.share[i]);
        LayerDifference {
            weighed: Share { pct: b.pct - a.pct, low_pct: b.low_pct - a.high_pct, high_pct: b.high_pct - a.low_pct },
            photos: Estimate { value, low: value - half, high: value + half, level },
        }
    };
    Some((0..=apertures.len()).map(difference).collect())
}

fn effective(sample: &Sample) -> f64 {
    (sample.count() as f64).max(2.0)
}

/// Share of each layer on every photo, 0..1.
fn sides(sample: &Sample, apertures_um: &[f64], shape: &SieveShape) -> Vec<Side> {
    let photos: Vec<Vec<Shared>> = sample
        .photos()
        .iter()
        .filter(|p| !p.particles.is_empty())
        .map(|p| p.particles.iter().map(|q| Shared::of(q, apertures_um, shape)).collect())
        .collect();
    (0..=apertures_um.len())
        .map(|layer| {
            let one = |particles: &Vec<Shared>| {
                let mass: f64 = particles.iter().map(|p| p.mass).sum();
                let share = particles.iter().map(|p| p.mass * p.layers[layer]).sum::<f64>() / mass;
                let counting =
                    particles.iter().map(|p| (p.mass * (p.layers[layer] - share) / mass).powi(2)).sum::<f64>();
                (share, counting, mass)
            };
            let found: Vec<(f64, f64, f64)> = photos.iter().map(one).collect();
            Side {
                value: found.iter().map(|f| f.0).collect(),
                counting: found.iter().map(|f| f.1).collect(),
                weight: found.iter().map(|f| f.2).collect(),
                particles: photos.iter().map(|p| p.len() as f64).collect(),
            }
        })
        .collect()
}

/// A particle's mass and how it falls on the layers.
struct Shared {
    mass: f64,
    layers: Vec<f64>,
}

impl Shared {
    fn of(p: &Particle, apertures_um: &[f64], shape: &SieveShape) -> Self {
        let width = (shape.size_shift * p.feret_min_um).ln();
        // Apertures fall; what passes one meets the next.
        let mut above = 0.0;
        let mut layers: Vec<f64> = apertures_um
            .iter()
            .map(|a| {
                let retained = normal_cdf((width - a.ln()) / BLUR);
                let here = retained - above;
                above = retained;
                here
            })
            .collect();
        layers.push(1.0 - above);
        Shared { mass: p.weight * shape.mass(p.ecd_um), layers }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::distribution::PhotoParticles;

    fn particle(ecd_um: f64, feret_min_um: f64) -> Particle {
        Particle { feret_min_um, ..Particle::disc(ecd_um) }
    }

    fn sample(particles: Vec<Particle>) -> Sample {
        Sample::new(vec![PhotoParticles { name: "p".into(), particles, smallest_ecd_um: 0.0 }]).unwrap()
    }

    #[test]
    fn layers_add_up_and_narrow_sides_pass() {
        // Eight particles of 200 µm weigh as much as one of 400 µm.
        let mut particles = vec![particle(200.0, 180.0); 8];
        particles.push(particle(400.0, 360.0));
        let found = predicted(&sample(particles), &[300.0, 100.0], &SieveShape::default(), 0.95);
        let shares: Vec<f64> = found.iter().map(|e| e.value).collect();
        assert!((shares.iter().sum::<f64>() - 100.0).abs() < 1e-9);
        assert!((shares[0] - 50.0).abs() < 0.1 && (shares[1] - 50.0).abs() < 0.1, "{shares:?}");
        let shifted = SieveShape { size_shift: 0.8, ..SieveShape::default() };
        let found = predicted(&sample(vec![particle(400.0, 360.0)]), &[300.0], &shifted, 0.95);
        assert!(found[1].value > 70.0, "288 µm wide passes 300 µm more often than not: {found:?}");
    }

    #[test]
    fn differences_of_weights_are_as_wide_as_both_roundings() {
        let stack = |on: f64| {
            let retained = vec![(300.0, on)];
            Weighed { charge_g: None, retained, receiver_g: Some(20.0 - on), step_g: 0.1 }.stack().unwrap()
        };
        let photos = |d: f64| sample((0..200).map(|i| particle(d + f64::from(i), d + f64::from(i))).collect());
        let (a, b) = (photos(200.0), photos(220.0));
        let found = between((&stack(10.0), &a), (&stack(10.2), &b), 0.95).unwrap();
        let weighed = found[0].weighed;
        // 0.2 g of 20 g, give or take 0.05 g twice in each of two weighings: 1 % ± 0.5 %.
        assert!(
            (weighed.pct - 1.0).abs() < 1e-9 && (weighed.high_pct - weighed.low_pct - 1.0).abs() < 0.05,
            "{weighed:?}"
        );
        assert!((found[0].photos.value + found[1].photos.value).abs() < 1e-9);
        // The same shares by numpy and scipy.stats.norm.
        assert!((found[0].photos.value - 7.219_198_5).abs() < 1e-4 && found[0].photos.low > 0.0, "{found:?}");
        let other = Weighed { charge_g: None, retained: vec![(400.0, 1.0)], receiver_g: Some(1.0), step_g: 0.1 };
        assert_eq!(between((&stack(10.0), &a), (&other.stack().unwrap(), &b), 0.95), None);
    }

    #[test]
    fn a_particle_as_wide_as_the_hole_passes_every_other_time() {
        let found = predicted(&sample(vec![particle(320.0, 300.0); 3]), &[300.0], &SieveShape::default(), 0.95);
        assert!((found[0].value - 50.0).abs() < 1e-4);
    }
}
