//! What is truly in the picture, from the outlines themselves.

use super::layout::Particle;
use super::outline::{area, ecd_of, feret, perimeter};
use super::plate::Plate;
use super::props::{ReferenceCard, ReferenceDisc};
use super::stage::Stage;
use serde::{Deserialize, Serialize};

/// True measures of one particle, from its polygon as it lies on the paper. Positions are pixels with (0, 0) the outer
/// corner of the first pixel, so that its centre is (0.5, 0.5).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TrueParticle {
    /// Centroid of the outline in the picture, pixels from the left edge.
    pub x_px: f64,
    /// Centroid of the outline in the picture, pixels from the top edge.
    pub y_px: f64,
    /// Equivalent circle diameter, micrometres.
    pub ecd_um: f64,
    /// Largest Feret diameter, micrometres.
    pub feret_max_um: f64,
    /// Smallest Feret diameter, micrometres.
    pub feret_min_um: f64,
    /// Projected area, square micrometres.
    pub area_um2: f64,
    /// Length of the outline, micrometres.
    pub perimeter_um: f64,
    /// Touches or overlaps a neighbour.
    pub touching: bool,
    /// A pale flake rather than a grain.
    pub chaff: bool,
    /// Not wholly inside the picture; the measures are those of the whole outline.
    pub cut_by_frame: bool,
    /// Centroid on the paper, millimetres right of the paper point at the picture's middle.
    pub x_mm: f64,
    /// Centroid on the paper, millimetres below that point.
    pub y_mm: f64,
}

/// Where the reference disc truly is: its top, which `thickness_mm` raises.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrueReference {
    /// Centre, pixels from the left edge.
    pub x_px: f64,
    /// Centre, pixels from the top edge.
    pub y_px: f64,
    /// Diameter in pixels; under a view that of a circle with the area seen.
    pub diameter_px: f64,
    /// Diameter in millimetres.
    pub diameter_mm: f64,
    /// Centre on the paper, millimetres right of the paper point at the picture's middle.
    pub x_mm: f64,
    /// Centre on the paper, millimetres below that point.
    pub y_mm: f64,
    /// Height of the top above the paper, millimetres.
    pub thickness_mm: f64,
}

/// Where the reference card truly is: its top, which `thickness_mm` raises.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrueCard {
    /// Centre, pixels from the left edge.
    pub x_px: f64,
    /// Centre, pixels from the top edge.
    pub y_px: f64,
    /// Where the sides would meet were the corners not rounded, (x, y) in pixels. For a card without
    /// turn: left top, right top, right bottom, left bottom.
    pub corners_px: [[f64; 2]; 4],
    /// Centre on the paper, millimetres right of the paper point at the picture's middle.
    pub x_mm: f64,
    /// Centre on the paper, millimetres below that point.
    pub y_mm: f64,
    /// Turn on the paper, degrees.
    pub turn_deg: f64,
    /// Width in millimetres.
    pub width_mm: f64,
    /// Height in millimetres.
    pub height_mm: f64,
    /// Radius of the corners in millimetres.
    pub corner_mm: f64,
    /// Height of the top above the paper, millimetres.
    pub thickness_mm: f64,
}

/// Figures of the true distribution, each particle's mass going with the cube of its ECD. All are
/// NaN when no particle counts.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct TrueFigures {
    /// Number of particles counted.
    pub count: usize,
    /// Size below which lies 10 % of the mass, micrometres.
    pub d10_um: f64,
    /// Size below which lies half of the mass, micrometres.
    pub d50_um: f64,
    /// Size below which lies 90 % of the mass, micrometres.
    pub d90_um: f64,
    /// (D90 − D10) / D50.
    pub span: f64,
    /// Mass below the limit for fines, per cent.
    pub fines_pct: f64,
    /// Sauter mean diameter D\[3,2\], micrometres.
    pub d32_um: f64,
    /// De Brouckere mean diameter D\[4,3\], micrometres.
    pub d43_um: f64,
}

/// Sizes come from the particle in flat pixels, places from how it is seen.
pub(super) fn measure(p: &Particle, seen: &Particle, um_per_px: f64, stage: &Stage) -> TrueParticle {
    let area_px = area(&p.outline);
    let (feret_max, feret_min) = feret(&p.outline);
    let (low, high) = seen.bounds();
    let [x_mm, y_mm] = stage.projection.flat_to_mm([p.x, p.y]);
    TrueParticle {
        x_px: seen.x,
        y_px: seen.y,
        ecd_um: ecd_of(area_px) * um_per_px,
        feret_max_um: feret_max * um_per_px,
        feret_min_um: feret_min * um_per_px,
        area_um2: area_px * um_per_px * um_per_px,
        perimeter_um: perimeter(&p.outline) * um_per_px,
        touching: p.touching,
        chaff: p.chaff,
        cut_by_frame: low[0] < 0.0 || low[1] < 0.0 || high[0] > stage.width || high[1] > stage.height,
        x_mm,
        y_mm,
    }
}

pub(super) fn disc(plate: &Plate, asked: &ReferenceDisc, stage: &Stage) -> TrueReference {
    let projection = &stage.projection;
    let [x_mm, y_mm] = projection.flat_to_mm(plate.centre);
    let [x_px, y_px] = projection.flat_to_px(plate.centre, plate.thickness_mm);
    let diameter_px = if projection.is_flat() { 2.0 * plate.corner } else { ecd_of(area(&plate.top(projection))) };
    TrueReference {
        x_px,
        y_px,
        diameter_px,
        diameter_mm: asked.diameter_mm,
        x_mm,
        y_mm,
        thickness_mm: asked.thickness_mm,
    }
}

pub(super) fn card(plate: &Plate, asked: &ReferenceCard, stage: &Stage) -> TrueCard {
    let seen = |flat| stage.projection.flat_to_px(flat, plate.thickness_mm);
    let [x_px, y_px] = seen(plate.centre);
    TrueCard {
        x_px,
        y_px,
        corners_px: plate.corners().map(seen),
        x_mm: asked.centre_mm[0],
        y_mm: asked.centre_mm[1],
        turn_deg: asked.turn_deg,
        width_mm: asked.width_mm,
        height_mm: asked.height_mm,
        corner_mm: asked.corner_mm,
        thickness_mm: asked.thickness_mm,
    }
}

/// Figures over the particles wholly inside a frame of the given size. A large particle is more
/// often cut by the frame, so each counts by one over its chance of lying wholly inside.
pub(super) fn figures(truth: &[TrueParticle], width_um: f64, height_um: f64, fines_um: f64) -> TrueFigures {
    let mut counted: Vec<(f64, f64)> = truth
        .iter()
        .filter(|p| !p.cut_by_frame)
        .filter_map(|p| {
            let (x, y) = (width_um - p.feret_max_um, height_um - p.feret_max_um);
            // As long as the frame and yet inside it: no weight can be given.
            (x > 0.0 && y > 0.0).then(|| (p.ecd_um, width_um * height_um / (x * y)))
        })
        .collect();
    counted.sort_by(|a, b| a.0.total_cmp(&b.0));

    let moment = |k: i32| counted.iter().map(|&(d, w)| w * d.powi(k)).sum::<f64>();
    let mass = moment(3);
    let mut below = 0.0;
    let curve: Vec<(f64, f64)> = counted
        .iter()
        .map(|&(d, w)| {
            let own = w * d.powi(3) / mass;
            below += own;
            (d, below - 0.5 * own)
        })
        .collect();
    let (d10, d50, d90) = (quantile(&curve, 0.1), quantile(&curve, 0.5), quantile(&curve, 0.9));
    let fines = counted.iter().filter(|c| c.0 < fines_um).map(|&(d, w)| w * d.powi(3)).sum::<f64>();
    TrueFigures {
        count: counted.len(),
        d10_um: d10,
        d50_um: d50,
        d90_um: d90,
        span: (d90 - d10) / d50,
        fines_pct: 100.0 * fines / mass,
        d32_um: mass / moment(2),
        d43_um: moment(4) / mass,
    }
}

/// Size at a share of the mass, on a curve of (size, mid-cumulative share).
fn quantile(curve: &[(f64, f64)], share: f64) -> f64 {
    let after = curve.partition_point(|c| c.1 < share);
    match (after.checked_sub(1).map(|i| curve[i]), curve.get(after)) {
        (Some((d0, c0)), Some(&(d1, c1))) => d0 + (d1 - d0) * (share - c0) / (c1 - c0),
        (Some((d, _)), None) | (None, Some(&(d, _))) => d,
        (None, None) => f64::NAN,
    }
}

pub(super) fn csv(truth: &[TrueParticle]) -> String {
    let mut out = String::from(
        "x_px,y_px,ecd_um,feret_max_um,feret_min_um,area_um2,perimeter_um,touching,chaff,\
         cut_by_frame,x_mm,y_mm\n",
    );
    for p in truth {
        out.push_str(&format!(
            "{:.3},{:.3},{:.3},{:.3},{:.3},{:.1},{:.2},{},{},{},{:.4},{:.4}\n",
            p.x_px,
            p.y_px,
            p.ecd_um,
            p.feret_max_um,
            p.feret_min_um,
            p.area_um2,
            p.perimeter_um,
            p.touching,
            p.chaff,
            p.cut_by_frame,
            p.x_mm,
            p.y_mm
        ));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn particle(ecd_um: f64, cut: bool) -> TrueParticle {
        TrueParticle {
            x_px: 1.0,
            y_px: 2.0,
            ecd_um,
            feret_max_um: ecd_um,
            feret_min_um: ecd_um,
            area_um2: 1.0,
            perimeter_um: 1.0,
            touching: false,
            chaff: false,
            cut_by_frame: cut,
            x_mm: -1.5,
            y_mm: 0.25,
        }
    }

    #[test]
    fn figures_of_a_hand_made_list() {
        let list = [particle(200.0, false), particle(100.0, false), particle(900.0, true)];
        // A frame so large that the weights are 1.
        let f = figures(&list, 1e12, 1e12, 150.0);
        assert_eq!(f.count, 2);
        // Masses 1 and 8 of 9: the middles lie at 1/18 and 5/9.
        let at = |share: f64| 100.0 + 100.0 * (share - 1.0 / 18.0) / 0.5;
        assert!((f.d10_um - at(0.1)).abs() < 1e-6);
        assert!((f.d50_um - at(0.5)).abs() < 1e-6);
        assert!((f.d90_um - 200.0).abs() < 1e-9);
        assert!((f.fines_pct - 100.0 / 9.0).abs() < 1e-6);
        assert!((f.d32_um - 180.0).abs() < 1e-6);
        assert!((f.d43_um - 17.0e8 / 9.0e6).abs() < 1e-6);
        assert!((f.span - (f.d90_um - f.d10_um) / f.d50_um).abs() < 1e-12);
    }

    #[test]
    fn large_particles_count_for_those_the_frame_cut() {
        let list = [particle(100.0, false), particle(200.0, false)];
        let f = figures(&list, 1000.0, 500.0, 150.0);
        let (small, large) = (5e5 / (900.0 * 400.0), 8.0 * 5e5 / (800.0 * 300.0));
        assert!((f.fines_pct - 100.0 * small / (small + large)).abs() < 1e-9);
    }

    #[test]
    fn nothing_to_count_is_not_a_number() {
        let f = figures(&[], 1e3, 1e3, 100.0);
        assert!(f.count == 0 && f.d50_um.is_nan() && f.fines_pct.is_nan() && f.d32_um.is_nan());
    }

    #[test]
    fn csv_has_a_line_for_each_particle() {
        let text = csv(&[particle(100.0, true)]);
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let rows: Vec<TrueParticle> = reader.deserialize().map(Result::unwrap).collect();
        assert_eq!(rows, [particle(100.0, true)]);
    }
}
