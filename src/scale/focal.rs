//! Focal length, and what height above the paper does to a scale.

use super::Part;
use crate::photo::Photo;

/// Diagonal of the 36 × 24 mm frame, mm.
const DIAGONAL_35MM: f64 = 43.27;
/// Focal length of a phone's main camera on that frame, mm.
const USUAL_FOCAL_MM: f64 = 26.0;

/// Focal length of the camera in px, and whether the photo said it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Focal {
    /// px.
    pub px: f64,
    /// False when it is the usual one of a phone.
    pub known: bool,
}

impl Focal {
    /// From what the file says of the lens; the 35 mm equivalent goes by the diagonal (CIPA DCG-001, from memory).
    pub fn of(photo: &Photo) -> Self {
        let diagonal = (photo.width() as f64).hypot(photo.height() as f64);
        match photo.origin().focal_length_35mm {
            Some(mm) => Focal { px: diagonal * mm / DIAGONAL_35MM, known: true },
            None => Focal { px: diagonal * (USUAL_FOCAL_MM / DIAGONAL_35MM), known: false },
        }
    }

    /// Scale on the paper (µm per px) from that at `height_mm` above it, and what is unsure about it.
    ///
    /// A pixel spans distance / focal length, so each mm nearer to the camera takes the same from it. The distance to the
    /// paper is then the scale times the focal length, and needs not be known.
    pub(super) fn down_to_paper(self, um_per_px: f64, height_mm: f64) -> (f64, Part) {
        let rise = 1000.0 * height_mm / self.px;
        // A known focal length is rounded to a mm or so, and rims stand above faces; phones reach from 24 to 80 mm.
        let unsure = if self.known { 0.1 } else { 0.5 };
        let um = um_per_px + rise;
        let name = if self.known { "height of the object" } else { "height of the object, camera distance unknown" };
        (um, Part::new(name, unsure * rise / um))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Similar triangles: what lies 2 mm above the paper looks 300 / 298 as large at 300 mm distance.
    #[test]
    fn a_raised_object_gives_the_scale_of_the_paper_under_it() {
        let focal = Focal { px: 3000.0, known: true };
        let (um, part) = focal.down_to_paper(1000.0 * 298.0 / 3000.0, 2.0);
        assert!((um - 100.0).abs() < 1e-9);
        assert!(part.relative > 0.0 && part.relative < 0.001);
        let unknown = Focal { known: false, ..focal }.down_to_paper(99.3, 2.0).1;
        assert!(unknown.relative > 4.0 * part.relative);
    }
}
