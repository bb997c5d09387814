//! Thin things with a rounded outline that lie on the paper: the disc and the card.

use super::outline::{Point, bounds, convex_hull};
use super::props::{ReferenceCard, ReferenceDisc};
use super::view::Projection;
use std::f64::consts::{FRAC_PI_2, TAU};

/// Metal lets little light under its edge.
const DISC_REACH: f64 = 0.12;
const CARD_REACH_MM: f64 = 1.2;
/// Vertices of a whole turn.
const ROUND: usize = 512;

/// A rounded rectangle; a disc is one whose corners take up all of it. Flat pixels.
#[derive(Clone, Debug)]
pub(super) struct Plate {
    pub centre: Point,
    /// Half of the sides.
    pub half: Point,
    /// Radius of the corners.
    pub corner: f64,
    /// (cos, sin) of its turn on the paper.
    turn: Point,
    pub thickness_mm: f64,
    /// Reach of its contact shadow.
    pub reach: f64,
}

impl Plate {
    pub(super) fn disc(disc: &ReferenceDisc, width: f64, height: f64, px_per_mm: f64) -> Self {
        let radius = 0.5 * disc.diameter_mm * px_per_mm;
        Self {
            centre: [disc.centre.0 * width, disc.centre.1 * height],
            half: [radius; 2],
            corner: radius,
            turn: [1.0, 0.0],
            thickness_mm: disc.thickness_mm,
            reach: DISC_REACH * radius,
        }
    }

    pub(super) fn card(card: &ReferenceCard, centre: Point, px_per_mm: f64) -> Self {
        let (sin, cos) = card.turn_deg.to_radians().sin_cos();
        let half = [0.5 * card.width_mm * px_per_mm, 0.5 * card.height_mm * px_per_mm];
        Self {
            centre,
            half,
            corner: (card.corner_mm * px_per_mm).min(half[0]).min(half[1]),
            turn: [cos, sin],
            thickness_mm: card.thickness_mm,
            reach: CARD_REACH_MM * px_per_mm,
        }
    }

    /// Distance to the edge, negative inside.
    pub(super) fn distance(&self, x: f64, y: f64) -> f64 {
        let [cos, sin] = self.turn;
        let (dx, dy) = (x - self.centre[0], y - self.centre[1]);
        let u = (dx * cos + dy * sin).abs() - (self.half[0] - self.corner);
        let v = (dy * cos - dx * sin).abs() - (self.half[1] - self.corner);
        u.max(0.0).hypot(v.max(0.0)) + u.max(v).min(0.0) - self.corner
    }

    /// Distance to the edge for a point outside (0 inside), and the way out, a unit vector.
    pub(super) fn way_out(&self, x: f32, y: f32) -> (f32, f32, f32) {
        let [cos, sin] = self.turn.map(|v| v as f32);
        let (dx, dy) = (x - self.centre[0] as f32, y - self.centre[1] as f32);
        let (u, v) = (dx * cos + dy * sin, dy * cos - dx * sin);
        let beyond = |at: f32, half: f64| (at.abs() - (half - self.corner) as f32).max(0.0).copysign(at);
        let (u, v) = (beyond(u, self.half[0]), beyond(v, self.half[1]));
        let r = u.hypot(v).max(1e-3);
        let (u, v) = (u / r, v / r);
        ((r - self.corner as f32).max(0.0), u * cos - v * sin, u * sin + v * cos)
    }

    /// From the plate's own axes about its centre to flat pixels.
    fn placed(&self, u: f64, v: f64) -> Point {
        let [cos, sin] = self.turn;
        [self.centre[0] + u * cos - v * sin, self.centre[1] + u * sin + v * cos]
    }

    /// Where the sides would meet were the corners not rounded.
    pub(super) fn corners(&self) -> [Point; 4] {
        let [w, h] = self.half;
        [[-w, -h], [w, -h], [w, h], [-w, h]].map(|[u, v]| self.placed(u, v))
    }

    fn outline(&self) -> Vec<Point> {
        let [w, h] = self.half.map(|v| v - self.corner);
        let quarter = ROUND / 4;
        let step = FRAC_PI_2 / quarter as f64;
        // So wide that the polygon has the area of the round.
        let radius = self.corner * (step / step.sin()).sqrt();
        let middles = [[w, h], [-w, h], [-w, -h], [w, -h]];
        (0..4 * (quarter + 1))
            .map(|i| {
                let (side, along) = (i / (quarter + 1), i % (quarter + 1));
                let (sin, cos) = (TAU * (side * quarter + along) as f64 / ROUND as f64).sin_cos();
                self.placed(middles[side][0] + radius * cos, middles[side][1] + radius * sin)
            })
            .collect()
    }

    /// The outline of the top as the camera sees it.
    pub(super) fn top(&self, projection: &Projection) -> Vec<Point> {
        projection.trace(&self.straight(projection, self.thickness_mm))
    }

    /// Top and wall together, if a wall can be seen.
    pub(super) fn body(&self, projection: &Projection) -> Option<Vec<Point>> {
        (self.thickness_mm > 0.0 && !projection.is_flat()).then(|| {
            let faces = [0.0, self.thickness_mm].map(|height_mm| self.straight(projection, height_mm));
            projection.trace(&convex_hull(&faces.concat()))
        })
    }

    fn straight(&self, projection: &Projection, height_mm: f64) -> Vec<Point> {
        self.outline().into_iter().map(|p| projection.straight(projection.flat_to_mm(p), height_mm)).collect()
    }

    /// Box in the picture that holds its shadow.
    pub(super) fn shadow_box(&self, projection: &Projection) -> (Point, Point) {
        let wider = Self {
            half: self.half.map(|v| v + self.reach),
            corner: self.corner + self.reach,
            thickness_mm: 0.0,
            ..self.clone()
        };
        bounds(&wider.top(projection))
    }
}
