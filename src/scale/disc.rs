//! Scale from a round object of known diameter.

use super::{Focal, Part, Scale, ScaleError, Source};

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
    /// Tilt of the camera that the disc's oval tells, degrees; a few degrees are within the error.
    pub tilt_deg: f64,
    /// Position among the candidates.
    pub index: usize,
}

/// A round flat object of known size: a coin, a washer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RoundObject {
    /// Diameter, mm.
    pub diameter_mm: f64,
    /// Height of its upper face above the paper, mm.
    pub thickness_mm: f64,
}

/// Refuses a diameter outside 1..500 mm and a thickness outside 0..20 mm.
///
/// # Errors
/// As said.
pub fn check_diameter(object: &RoundObject) -> Result<(), ScaleError> {
    if !(1.0..=500.0).contains(&object.diameter_mm) {
        return Err(ScaleError::DiscDiameter(object.diameter_mm));
    }
    if !(0.0..=20.0).contains(&object.thickness_mm) {
        return Err(ScaleError::Thickness(object.thickness_mm));
    }
    Ok(())
}

/// Takes the largest candidate as the `object`, provided that it is round and at least twice as wide as any other.
///
/// Round: smallest over largest Feret diameter above 0.9 (a tilt of 25°) and solidity above 0.97.
/// The area gives the diameter: under tilt the particles' areas shrink in the same ratio. The upper face is nearer to the
/// camera than the paper, which is corrected with the focal length.
/// The relative standard uncertainty is a tenth of a pixel of edge over the radius, joined with a third of what the
/// tilt changes along one axis (common practice, no source) and with that of the height.
///
/// # Errors
/// A size out of range, or no such candidate of at least 40 px.
pub fn find_disc(candidates: &[Option<Candidate>], object: &RoundObject, focal: Focal) -> Result<Scale, ScaleError> {
    check_diameter(object)?;
    let round = |c: &Candidate| c.ecd_px >= 40.0 && c.feret_px[0] > 0.9 * c.feret_px[1] && c.solidity > 0.97;
    let mut largest: Vec<(usize, Candidate)> =
        candidates.iter().enumerate().filter_map(|(i, c)| c.map(|c| (i, c))).collect();
    largest.sort_by(|a, b| b.1.ecd_px.total_cmp(&a.1.ecd_px));
    let &(index, best) = largest.first().filter(|(_, c)| round(c)).ok_or(ScaleError::NoDisc)?;
    // The smallest coins are 15 mm wide and the coarsest grounds 3 mm, so a round particle is not taken for the disc.
    if largest.get(1).is_some_and(|(_, next)| next.ecd_px * 2.0 > best.ecd_px) {
        return Err(ScaleError::NoDisc);
    }
    let ratio = best.feret_px[0] / best.feret_px[1];
    let (um, height) = focal.down_to_paper(1000.0 * object.diameter_mm / best.ecd_px, object.thickness_mm);
    let disc = Disc {
        centre: best.centre,
        diameter_px: best.ecd_px,
        diameter_mm: object.diameter_mm,
        tilt_deg: ratio.min(1.0).acos().to_degrees(),
        index,
    };
    let parts = vec![
        Part::new("edge of the disc", 0.1 / (0.5 * best.ecd_px)),
        Part::new("tilt of the camera", (1.0 - ratio.sqrt()) / 3.0),
        height,
    ];
    Scale::new(um, parts, Source::Disc(disc))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn candidate(ecd_px: f64, ratio: f64) -> Option<Candidate> {
        let feret_px = [ecd_px * ratio.sqrt(), ecd_px / ratio.sqrt()];
        Some(Candidate { centre: [0.0, 0.0], ecd_px, feret_px, solidity: 0.99 })
    }

    const COIN: RoundObject = RoundObject { diameter_mm: 24.25, thickness_mm: 0.0 };
    const FOCAL: Focal = Focal { px: 3000.0, known: true };

    #[test]
    fn the_coin_is_taken_and_gives_the_scale() {
        let found = [candidate(60.0, 0.8), candidate(1000.0, 0.99), None];
        let scale = find_disc(&found, &COIN, FOCAL).unwrap();
        assert!((scale.typical() - 24.25).abs() < 1e-9);
        assert!(scale.relative_uncertainty() > 0.0 && scale.relative_uncertainty() < 0.01);
        // 24.25 µm per px at 3000 px of focal length are 72.75 mm to the upper face, and 75.13 to the paper.
        let thick = find_disc(&found, &RoundObject { thickness_mm: 2.38, ..COIN }, FOCAL).unwrap();
        assert!((thick.typical() / scale.typical() - 75.13 / 72.75).abs() < 1e-9);
    }

    #[test]
    fn a_round_particle_among_its_like_is_no_disc_and_an_oval_neither() {
        let find = |c: &[Option<Candidate>]| find_disc(c, &COIN, FOCAL);
        assert_eq!(find(&[candidate(60.0, 0.98), candidate(55.0, 0.9)]), Err(ScaleError::NoDisc));
        assert_eq!(find(&[candidate(900.0, 0.7)]), Err(ScaleError::NoDisc));
        assert_eq!(find(&[]), Err(ScaleError::NoDisc));
        let wrong = RoundObject { diameter_mm: f64::NAN, thickness_mm: 0.0 };
        assert!(matches!(find_disc(&[], &wrong, FOCAL), Err(ScaleError::DiscDiameter(_))));
    }
}
