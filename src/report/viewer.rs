//! The photo with its outlines, to look at closely in a browser: script and style of the viewer, and what it shows.

use image::GrayImage;
use imageproc::contours::{BorderType, find_contours};
use imageproc::geometry::approximate_polygon_dp;
use serde::Serialize;

use crate::particle::Flags;
use crate::pipeline::MeasuredPhoto;
use crate::segment::{Rejection, Run};

/// Script that defines `grainView`; its head says how it is called.
pub const SCRIPT: &str = concat!(include_str!("viewer/draw.js"), include_str!("viewer/view.js"));
/// Its style.
pub const STYLE: &str = include_str!("viewer/style.css");

/// One outline as the viewer takes it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Outline {
    /// Place among the outlines of the photo; for what was measured, its place in [`MeasuredPhoto::particles`].
    pub id: usize,
    /// Equivalent circular diameter, µm, of what was measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub size_um: Option<f64>,
    /// Largest Feret diameter, µm, of what was measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub feret_um: Option<f64>,
    /// Middle, px.
    pub x: f32,
    /// Middle, px.
    pub y: f32,
    /// x and y of each point in turn, px.
    pub outline: Vec<f32>,
    /// What became of it: `in`, `below` (the limit of the photo), `cut` (by the frame), `off` (no particle on the paper),
    /// `out` (left out by hand) or `ref` (gave the scale).
    pub state: &'static str,
}

/// All outlines of a photo: what was measured first, in its order, then what was left out, then what gave the scale.
/// `left_out` tells of each particle whether it was left out by hand.
pub fn outlines(photo: &MeasuredPhoto, left_out: impl Fn(usize) -> bool) -> Vec<Outline> {
    let measured = photo.particles.iter().zip(&photo.shapes).enumerate().map(|(id, (particle, shape))| {
        let state = match () {
            () if left_out(id) => "out",
            () if particle.flags.contains(Flags::BELOW_LIMIT) => "below",
            () => "in",
        };
        let sizes = (Some(tenths(particle.ecd_um)), Some(tenths(particle.feret_max_um)));
        (sizes, thinned(&shape.outline), state)
    });
    let rejected = photo.rejected.iter().map(|(runs, why)| {
        let state = if *why == Rejection::CutByFrame { "cut" } else { "off" };
        ((None, None), border(runs), state)
    });
    let reference = photo.reference.iter().map(|outline| ((None, None), thinned(outline), "ref"));
    let all = measured.chain(rejected).chain(reference).enumerate();
    all.map(|(id, ((size_um, feret_um), points, state))| {
        let [x, y] = middle(&points);
        Outline { id, size_um, feret_um, x, y, outline: points.into_iter().flatten().collect(), state }
    })
    .collect()
}

fn tenths(v: f64) -> f64 {
    (10.0 * v).round() / 10.0
}

/// Middle of the box round `points`.
fn middle(points: &[[f32; 2]]) -> [f32; 2] {
    let ends = |k: usize| {
        let (low, high) =
            points.iter().fold((f32::INFINITY, f32::NEG_INFINITY), |(a, b), p| (a.min(p[k]), b.max(p[k])));
        if low <= high { 0.5 * (low + high) } else { 0.0 }
    };
    [ends(0), ends(1)]
}

/// An outline without the points that change it by less than can be seen, to a tenth of a pixel.
fn thinned(outline: &[[f64; 2]]) -> Vec<[f32; 2]> {
    let points: Vec<imageproc::point::Point<f64>> =
        outline.iter().map(|p| imageproc::point::Point::new(p[0], p[1])).collect();
    let kept = if points.len() > 8 { approximate_polygon_dp(&points, 0.08, true) } else { points };
    kept.iter().map(|p| [tenths(p.x) as f32, tenths(p.y) as f32]).collect()
}

/// The outer border of pixels given by runs, through the middles of its pixels.
fn border(runs: &[Run]) -> Vec<[f32; 2]> {
    let Some(first) = runs.first() else { return Vec::new() };
    let (mut x0, mut x1, mut y0, mut y1) = (first.x0, first.x1, first.y, first.y);
    for run in runs {
        (x0, x1, y0, y1) = (x0.min(run.x0), x1.max(run.x1), y0.min(run.y), y1.max(run.y));
    }
    // A dark frame of one pixel lets the contour close at the box's edge.
    let mut mask = GrayImage::new((x1 - x0) + 2, (y1 - y0) + 3);
    for run in runs {
        for x in run.x0..run.x1 {
            mask.put_pixel(x - x0 + 1, run.y - y0 + 1, image::Luma([255]));
        }
    }
    let outer = find_contours::<i32>(&mask).into_iter().filter(|c| c.border_type == BorderType::Outer);
    let longest = outer.max_by_key(|c| c.points.len()).map(|c| c.points).unwrap_or_default();
    let place = |p: &imageproc::point::Point<i32>| [x0 as f64 + f64::from(p.x) - 0.5, y0 as f64 + f64::from(p.y) - 0.5];
    thinned(&longest.iter().map(place).collect::<Vec<_>>())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_border_runs_through_the_outer_pixels_and_a_straight_line_needs_its_ends_only() {
        let runs: Vec<Run> = (10..20).map(|y| Run { y, x0: 5, x1: 25 }).collect();
        let points = border(&runs);
        for corner in [[5.5, 10.5], [24.5, 10.5], [24.5, 19.5], [5.5, 19.5]] {
            assert!(points.contains(&corner), "{corner:?} in {points:?}");
        }
        assert!(points.len() < 9, "{points:?}");
        assert_eq!(middle(&points), [15.0, 15.0]);
    }

    #[test]
    fn a_round_outline_keeps_its_size() {
        let circle: Vec<[f64; 2]> = (0..200)
            .map(|i| f64::from(i) * std::f64::consts::TAU / 200.0)
            .map(|a| [50.0 + 20.0 * a.cos(), 50.0 + 20.0 * a.sin()])
            .collect();
        let kept = thinned(&circle);
        assert!(kept.len() < 80, "{}", kept.len());
        for [x, y] in kept {
            assert!(((x - 50.0).hypot(y - 50.0) - 20.0).abs() < 0.1);
        }
    }
}
