//! How a lens bends straight lines.

/// Radial terms about a centre.
///
/// A point that a lens without bend would show at `centre + focal_px · (x, y)` is shown at
/// `centre + focal_px · (x, y) · (1 + k1 r² + k2 r⁴)`, r² = x² + y².
/// Source: D. C. Brown (1966), in the normalised coordinates of Z. Zhang, IEEE Trans. Pattern Anal. Mach. Intell. 22
/// (2000) 1330–1334.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lens {
    /// Centre of the bend, px.
    pub centre: [f64; 2],
    /// Length in px that makes offsets from the centre dimensionless: the focal length where it is known.
    pub focal_px: f64,
    /// First radial term, dimensionless.
    pub k1: f64,
    /// Second radial term, dimensionless.
    pub k2: f64,
}

impl Lens {
    /// Where the lens shows what a lens without bend would show at `p`, px.
    pub fn bend(&self, p: [f64; 2]) -> [f64; 2] {
        let d = [0, 1].map(|i| p[i] - self.centre[i]);
        let r2 = (d[0] * d[0] + d[1] * d[1]) / self.focal_px.powi(2);
        let factor = 1.0 + r2 * (self.k1 + r2 * self.k2);
        [0, 1].map(|i| self.centre[i] + d[i] * factor)
    }

    /// Where a lens without bend would show what this one shows at `p`, px. `None` beyond the radius at which the model
    /// folds over.
    pub fn unbend(&self, p: [f64; 2]) -> Option<[f64; 2]> {
        let d = [0, 1].map(|i| p[i] - self.centre[i]);
        let shown = d[0].hypot(d[1]) / self.focal_px;
        let mut r = shown;
        // Newton on r (1 + k1 r² + k2 r⁴) = shown; from the shown radius it converges within a few steps.
        for _ in 0..20 {
            let r2 = r * r;
            let slope = 1.0 + r2 * (3.0 * self.k1 + r2 * 5.0 * self.k2);
            if slope <= 0.05 {
                return None;
            }
            let step = (r * (1.0 + r2 * (self.k1 + r2 * self.k2)) - shown) / slope;
            r -= step;
            if step.abs() < 1e-14 {
                break;
            }
        }
        let factor = if shown > 0.0 { r / shown } else { 1.0 };
        (r >= 0.0 && factor.is_finite()).then(|| [0, 1].map(|i| self.centre[i] + d[i] * factor))
    }

    /// True when the lens shows one place of the paper only at `p`, px, and keeps the order of places out to it.
    pub fn is_single_at(&self, p: [f64; 2]) -> bool {
        let Some(flat) = self.unbend(p) else { return false };
        let r = [0, 1].map(|i| (flat[i] - self.centre[i]) / self.focal_px);
        let r = r[0].hypot(r[1]);
        let slope = |r2: f64| 1.0 + r2 * (3.0 * self.k1 + r2 * 5.0 * self.k2);
        // The slope is a parabola in r²: its lowest value is at an end or at its turning point.
        let turn = -0.3 * self.k1 / self.k2;
        let inside = turn.is_finite() && turn > 0.0 && turn < r * r;
        slope(r * r) > 0.0 && (!inside || slope(turn) > 0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn unbending_undoes_bending() {
        for (k1, k2) in [(-0.12, 0.0), (0.12, 0.0), (0.05, -0.02), (0.0, 0.0)] {
            let lens = Lens { centre: [2000.0, 1500.0], focal_px: 3000.0, k1, k2 };
            for p in [[2000.0, 1500.0], [10.0, 20.0], [3900.0, 2900.0], [2100.0, 1400.0]] {
                let back = lens.unbend(lens.bend(p)).unwrap();
                assert!((back[0] - p[0]).hypot(back[1] - p[1]) < 1e-8, "{k1} {k2} {p:?} {back:?}");
            }
        }
    }

    #[test]
    fn a_fold_has_no_origin() {
        let lens = Lens { centre: [0.0; 2], focal_px: 100.0, k1: -0.5, k2: 0.0 };
        assert!(lens.unbend([150.0, 0.0]).is_none());
        assert!(!lens.is_single_at([150.0, 0.0]) && lens.is_single_at([40.0, 0.0]));
        // The slope dips below 0 on the way and is above it again at the place.
        let dip = Lens { k1: -1.0, k2: 0.4, ..lens };
        assert!(!dip.is_single_at(dip.bend([150.0, 0.0])) && dip.is_single_at([30.0, 0.0]));
    }

    /// Source: OpenCV 5.0.0 `projectPoints`, radial part of the model alone: (0.25, -0.15), k1 = -0.2, k2 = 0.05.
    #[test]
    fn the_terms_are_those_of_the_common_model() {
        let lens = Lens { centre: [0.0; 2], focal_px: 1.0, k1: -0.2, k2: 0.05 };
        let [x, y] = lens.bend([0.25, -0.15]);
        assert!((x - 0.245_840_31).abs() < 1e-8 && (y + 0.147_504_19).abs() < 1e-8);
    }
}
