use super::pair::Prepared;
use super::power::{fewest, photos_a_side};
use super::{CompareError, Grounds, Quantity, Question};
use crate::distribution::Sample;
use crate::numeric::{normal_cdf, normal_quantile, student_t_quantile};

/// What is to be reached.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wanted {
    /// Half width of the interval of one sample, relative.
    pub within: f64,
    /// Difference between two samples that is to be shown four times out of five, relative.
    pub difference: f64,
}

/// Photos that a figure takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plan {
    /// The figure.
    pub quantity: Quantity,
    /// Its value in the pilot.
    pub value: f64,
    /// Standard deviation from photo to photo, % of the value (of the mass for shares above a size).
    pub photo_deviation_pct: f64,
    /// Photos like those of the pilot for the interval wanted.
    pub photos_within: usize,
    /// Photos a side for the difference wanted.
    pub photos_difference: usize,
}

/// Photos like those of `pilot` that it takes to reach `wanted`, for each figure.
///
/// Each photo is taken to hold as many particles as those of the pilot. With one pilot photo only counting is known, and the
/// numbers are the least that it can take.
///
/// # Errors
/// A pilot without particles.
pub fn plan(pilot: &Grounds, question: &Question, wanted: &Wanted) -> Result<Vec<Plan>, CompareError> {
    let prepared = Prepared::of(pilot, question)?;
    let planned = prepared.variances(question).into_iter().map(|(quantity, value, known)| {
        let relative = |share: f64| if quantity.is_ratio() { share.ln_1p() } else { share * value };
        let scale = if quantity.is_ratio() { 100.0 } else { 1.0 };
        Plan {
            quantity,
            value,
            photo_deviation_pct: scale * known.photo_variance.sqrt(),
            photos_within: photos_within(known.photo_variance, relative(wanted.within), question.level),
            photos_difference: photos_a_side(known.photo_variance, relative(wanted.difference), question.level),
        }
    });
    Ok(planned.collect())
}

/// Photos after which the interval of a mean reaches `half` to each side; at least 2.
fn photos_within(photo_variance: f64, half: f64, level: f64) -> usize {
    fewest(|n| student_t_quantile(0.5 + 0.5 * level, n as f64 - 1.0) * (photo_variance / n as f64).sqrt() <= half)
}

/// Particles of a lognormal grind (geometric standard deviation `gsd` > 1) that must be counted for the quantile at share `p` of
/// the mass to come within `within` (relative) with the confidence `level`, read off the weighted curve.
///
/// n = (u/δ)²·V, V = e^(9σ²)·\[(1−p)²Φ(a) + p²(1−Φ(a))\]·σ²/φ(z)² with a = z − 3σ.
/// Source: large-sample law of a weighted quantile; held to a simulation in the tests. A fit of a lognormal law would take
/// fewer (H. Masuda & K. Iinoya, J. Chem. Eng. Japan 4 (1971) 60–66, from memory), but grounds are none.
pub fn particles_for_quantile(gsd: f64, p: f64, within: f64, level: f64) -> f64 {
    let sigma = gsd.ln();
    let z = normal_quantile(p);
    let density = (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt();
    let below = normal_cdf(z - 3.0 * sigma);
    let variance = (9.0 * sigma * sigma).exp() * ((1.0 - p).powi(2) * below + p * p * (1.0 - below)) * sigma * sigma
        / (density * density);
    (normal_quantile(0.5 + 0.5 * level) / within).powi(2) * variance
}

/// Share of the particles that may touch another one.
pub const TOUCHING: f64 = 0.1;

/// Share of the paper that grounds cover when one particle in ten touches another, spread at random.
///
/// `evenness` is the squared mean of the diameters by number over their mean square: 1 where all are equal, less for a wide
/// distribution. Discs of radii r and s touch where their centres lie closer than r + s, so that a particle has 2·coverage·(1 +
/// `evenness`) neighbours on average (Poisson's law).
pub fn good_coverage(evenness: f64) -> f64 {
    -(1.0 - TOUCHING).ln() / (2.0 * (1.0 + evenness))
}

/// Evenness of the sizes of a sample: see [`good_coverage`].
pub fn evenness(sample: &Sample) -> f64 {
    let moment = |k: i32| sample.particles().map(|p| p.weight * p.ecd_um.powi(k)).sum::<f64>();
    moment(1).powi(2) / (moment(0) * moment(2))
}

/// The same of a lognormal law.
pub fn lognormal_evenness(gsd: f64) -> f64 {
    (-gsd.ln().powi(2)).exp()
}

/// Density of a particle with its pores, g/cm³ (from memory: roasted beans lie between 0.55 and 0.75).
const PARTICLE_G_CM3: f64 = 0.65;

/// Grounds (g) that cover the share `coverage` of `area_mm2` when their surface-weighted mean D\[3,2\] is `d32_um`.
///
/// A sphere of diameter d covers πd²/4 and holds πd³/6; flat particles lie on their flat side, so that less does as well.
pub fn grounds_g(area_mm2: f64, coverage: f64, d32_um: f64) -> f64 {
    let volume_mm3 = area_mm2 * coverage * (d32_um / 1000.0) / 1.5;
    volume_mm3 / 1000.0 * PARTICLE_G_CM3
}

/// D\[3,2\] of a lognormal grind with the median `d50_um` by mass (Hatch and Choate, from memory).
pub fn lognormal_d32(d50_um: f64, gsd: f64) -> f64 {
    d50_um * (-0.5 * gsd.ln().powi(2)).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_of_a_lognormal_grind() {
        // n·var of ln D50 and ln D90 at a geometric standard deviation of 1.6, by numpy (5000 particles, 2000 repeats): 2.498 and
        // 26.07; by the formula in double precision: 2.53370760 and 23.61332767.
        let variance = |p| particles_for_quantile(1.6, p, 1.959963984540054, 0.95);
        assert!((variance(0.5) / 2.53370760 - 1.0).abs() < 1e-5, "{}", variance(0.5));
        assert!((variance(0.9) / 23.61332767 - 1.0).abs() < 1e-5, "{}", variance(0.9));
        assert!((variance(0.5) / 2.498 - 1.0).abs() < 0.1);
        assert!((particles_for_quantile(1.6, 0.5, 0.05, 0.95) - 3893.0).abs() < 1.0);
        // Masuda and Iinoya for a fitted mass median: u²σ²(2·9σ² + 1)/δ² = 1689 (recomputed); reading off takes 2.3 times that.
        let sigma = 1.6f64.ln();
        let fitted = (1.96f64 / 0.05).powi(2) * sigma * sigma * (18.0 * sigma * sigma + 1.0);
        assert!((fitted - 1689.0).abs() < 1.0);
        assert!((3893.0 / fitted - 2.3).abs() < 0.01);
    }

    #[test]
    fn a_layer_of_spheres_weighs_what_they_weigh() {
        // 1000 spheres of 0.6 mm cover 282.74 mm² and hold 113.10 mm³ (recomputed by hand).
        let covered = 1000.0 * std::f64::consts::PI * 0.09;
        let g = grounds_g(2.0 * covered, 0.5, 600.0);
        assert!((g / (0.11310 * PARTICLE_G_CM3) - 1.0).abs() < 1e-4, "{g}");
        // Equal discs: 1 − e^(−4·coverage) of them touch another.
        assert!((1.0 - (-4.0 * good_coverage(1.0)).exp() - TOUCHING).abs() < 1e-12);
        // D[3,2] of particles drawn by number lies where the law says.
        let mut draws = crate::numeric::Draws::new(3, 0);
        let d: Vec<f64> = (0..200_000).map(|_| 300.0 * (0.4 * draws.normal()).exp()).collect();
        let sum = |k: i32| d.iter().map(|d| d.powi(k)).sum::<f64>();
        let median_by_mass = 300.0 * (3.0f64 * 0.16).exp();
        assert!((sum(3) / sum(2) / lognormal_d32(median_by_mass, 0.4f64.exp()) - 1.0).abs() < 0.01);
    }

    #[test]
    fn photos_for_an_interval_follow_the_square() {
        assert_eq!(photos_within(0.0001, 1.0, 0.95), 2);
        // 1.96²·0.01/0.02² = 96, a little more for Student's t.
        assert!((96..=101).contains(&photos_within(0.01, 0.02, 0.95)));
    }
}
