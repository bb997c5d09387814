use super::{Sample, Sizes};

/// Size at which the shape factor is 1, µm: it only sets the unit.
const AT_UM: f64 = 500.0;

/// How a sample's particles relate to sieves: what a flat picture cannot show.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SieveShape {
    /// Width by which a particle passes, in units of its smallest Feret diameter.
    pub size_shift: f64,
    /// Exponent by which mass over ECD³ grows with size: below 0 where large particles are flatter or lighter.
    pub mass_exponent: f64,
    /// Relative standard uncertainty of the size shift, dimensionless.
    pub shift_uncertainty: f64,
}

impl Default for SieveShape {
    fn default() -> Self {
        SieveShape { size_shift: 1.0, mass_exponent: 0.0, shift_uncertainty: 0.0 }
    }
}

impl SieveShape {
    /// Mass of a particle in arbitrary units.
    pub fn mass(&self, ecd_um: f64) -> f64 {
        ecd_um.powi(3) * (ecd_um / AT_UM).powf(self.mass_exponent)
    }

    /// The sample as square holes would sort it: sizes are the widths by which particles pass, and their shares by mass those that the
    /// shape gives. By number these sizes mean nothing.
    pub fn sizes(&self, sample: &Sample) -> Sizes {
        let photos = sample.photos().iter().enumerate();
        let rows = photos.flat_map(|(i, photo)| {
            photo.particles.iter().map(move |p| {
                let width_um = self.size_shift * p.feret_min_um;
                // Shares by mass are reckoned as weight times the cube of the size.
                (width_um, p.weight * self.mass(p.ecd_um) / width_um.powi(3), i)
            })
        });
        Sizes::from_rows(rows.collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::distribution::{Basis, Figures, PhotoParticles};
    use crate::particle::Particle;

    #[test]
    fn a_lognormal_grind_sieved_with_a_mass_exponent_moves_as_its_law_says() {
        // Mass ∝ d³⁺ᵉ moves the median of a lognormal law by e·σ² (Hatch and Choate), the shift multiplies it.
        let sigma = 0.4;
        let particle = |i: usize| {
            let z = crate::numeric::normal_quantile((i as f64 + 0.5) / 40_000.0);
            Particle::disc(300.0 * (sigma * z).exp())
        };
        let particles = (0..40_000).map(particle).collect();
        let sample = Sample::new(vec![PhotoParticles { name: "p".into(), particles, smallest_ecd_um: 0.0 }]).unwrap();
        let median = |shape: &SieveShape| Figures::of(&shape.sizes(&sample), Basis::Mass, 100.0).d50_um;
        let plain = median(&SieveShape::default());
        assert!((plain / Figures::of(&Sizes::of(&sample), Basis::Mass, 100.0).d50_um - 1.0).abs() < 1e-9);
        let shape = SieveShape { size_shift: 0.9, mass_exponent: -0.5, shift_uncertainty: 0.0 };
        assert!((median(&shape) / plain / (0.9 * (-0.5 * sigma * sigma).exp()) - 1.0).abs() < 2e-3);
    }
}
