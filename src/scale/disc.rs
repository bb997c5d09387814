//! Scale from a round object of known diameter.

use super::{Scale, ScaleError, Source};

/// An outline that may be the reference.
#[derive(Clone, Copy, Debug)]
pub struct Candidate {
    /// Centroid, px.
    pub centre: [f64; 2],
    /// Equivalent circular diameter, px.
    pub ecd_px: f64,
    /// Smallest and largest Feret diameter, px.
    pub feret_px: [f64; 2],
    /// Area over the area of the convex hull, dimensionless.
    pub solidity: f64,
}

/// The reference as found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Disc {
    /// Centre, px.
    pub centre: [f64; 2],
    /// Diameter in the picture, px.
    pub diameter_px: f64,
    /// Diameter as given, mm.
    pub diameter_mm: f64,
    /// Position among the candidates.
    pub index: usize,
}

/// Refuses a reference diameter outside 1..500 mm.
///
/// # Errors
/// As said.
pub fn check_diameter(diameter_mm: f64) -> Result<(), ScaleError> {
    if (1.0..=500.0).contains(&diameter_mm) { Ok(()) } else { Err(ScaleError::DiscDiameter(diameter_mm)) }
}

/// Takes the largest candidate as the disc of `diameter_mm` (mm), provided that it is round and at least twice as wide
/// as any other.
///
/// Round: smallest over largest Feret diameter above 0.9 (a tilt of 25°) and solidity above 0.97.
/// The area gives the diameter: under tilt the particles' areas shrink in the same ratio.
/// The relative standard uncertainty is a tenth of a pixel of edge over the radius, joined with a third of what the
/// tilt changes along one axis (common practice, no source).
///
/// # Errors
/// A diameter outside 1..500 mm, or no such candidate of at least 40 px.
pub fn find_disc(candidates: &[Option<Candidate>], diameter_mm: f64) -> Result<Scale, ScaleError> {
    check_diameter(diameter_mm)?;
    let round = |c: &Candidate| c.ecd_px >= 40.0 && c.feret_px[0] > 0.9 * c.feret_px[1] && c.solidity > 0.97;
    let mut largest: Vec<(usize, Candidate)> =
        candidates.iter().enumerate().filter_map(|(i, c)| c.map(|c| (i, c))).collect();
    largest.sort_by(|a, b| b.1.ecd_px.total_cmp(&a.1.ecd_px));
    let &(index, best) = largest.first().filter(|(_, c)| round(c)).ok_or(ScaleError::NoDisc)?;
    // The smallest coins are 15 mm wide and the coarsest grounds 3 mm, so a round particle is not taken for the disc.
    if largest.get(1).is_some_and(|(_, next)| next.ecd_px * 2.0 > best.ecd_px) {
        return Err(ScaleError::NoDisc);
    }
    let disc = Disc { centre: best.centre, diameter_px: best.ecd_px, diameter_mm, index };
    let edge = 0.1 / (0.5 * best.ecd_px);
    let tilt = (1.0 - (best.feret_px[0] / best.feret_px[1]).sqrt()) / 3.0;
    Scale::new(1000.0 * diameter_mm / best.ecd_px, edge.hypot(tilt), Source::Disc(disc))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn candidate(ecd_px: f64, ratio: f64) -> Option<Candidate> {
        let feret_px = [ecd_px * ratio.sqrt(), ecd_px / ratio.sqrt()];
        Some(Candidate { centre: [0.0, 0.0], ecd_px, feret_px, solidity: 0.99 })
    }

    #[test]
    fn the_coin_is_taken_and_gives_the_scale() {
        let scale = find_disc(&[candidate(60.0, 0.8), candidate(1000.0, 0.99), None], 24.25).unwrap();
        assert!((scale.typical() - 24.25).abs() < 1e-9);
        assert!(scale.relative_uncertainty() > 0.0 && scale.relative_uncertainty() < 0.01);
    }

    #[test]
    fn a_round_particle_among_its_like_is_no_disc_and_an_oval_neither() {
        assert_eq!(find_disc(&[candidate(60.0, 0.98), candidate(55.0, 0.9)], 24.25), Err(ScaleError::NoDisc));
        assert_eq!(find_disc(&[candidate(900.0, 0.7)], 24.25), Err(ScaleError::NoDisc));
        assert_eq!(find_disc(&[], 24.25), Err(ScaleError::NoDisc));
        assert!(matches!(find_disc(&[], f64::NAN), Err(ScaleError::DiscDiameter(_))));
    }
}
