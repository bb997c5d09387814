//! One mark: its rim to a fraction of a pixel, and the word of its dots.

use std::f64::consts::TAU;

use super::layout::{DOT_RING, DOTS, least_turn};
use super::round::Round;
use crate::numeric::{levenberg_marquardt, median};
use crate::photo::Photo;

/// Rays along which the rim is looked for.
const RAYS: usize = 48;
/// Share of the rays that must meet the rim.
const SEEN: f64 = 0.7;

/// A mark as read in the photo, px.
#[derive(Clone, Debug)]
pub(super) struct Seen {
    /// Centre of the ellipse.
    pub centre: [f64; 2],
    /// The shorter half axis of the ellipse.
    pub radius: f64,
    /// Points of the rim.
    pub rim: Vec<[f64; 2]>,
    /// Its word, turned to the smallest.
    pub word: u16,
}

/// An ellipse: the unit circle goes to `centre + axes · (x, y)`.
#[derive(Clone, Copy)]
pub(super) struct Ellipse {
    centre: [f64; 2],
    axes: [[f64; 2]; 2],
}

impl Ellipse {
    pub fn of(round: &Round) -> Self {
        let ([a, b], [c, s]) = (round.half, round.direction);
        Ellipse { centre: round.centre, axes: [[a * c, -b * s], [a * s, b * c]] }
    }

    pub fn at(&self, radius: f64, angle: f64) -> [f64; 2] {
        let (s, c) = angle.sin_cos();
        [0, 1].map(|i| self.centre[i] + radius * (self.axes[i][0] * c + self.axes[i][1] * s))
    }

    /// Radius on which a point lies: 1 on the ellipse.
    fn radius_of(&self, p: [f64; 2]) -> f64 {
        let [[a, b], [c, d]] = self.axes;
        let (x, y) = (p[0] - self.centre[0], p[1] - self.centre[1]);
        let det = a * d - b * c;
        ((d * x - b * y) / det).hypot((a * y - c * x) / det)
    }

    fn mean_half(&self) -> f64 {
        let [[a, b], [c, d]] = self.axes;
        (a * d - b * c).abs().sqrt()
    }

    /// The ellipse nearest to the points, from this one on. The symmetric form of the axes leaves turns out.
    fn fitted(&self, points: &[[f64; 2]]) -> Option<Self> {
        // axes · axesᵀ is the same for every turn of the unit circle; its symmetric root has three entries.
        let [[a, b], [c, d]] = self.axes;
        let (m11, m12, m22) = (a * a + b * b, a * c + b * d, c * c + d * d);
        let root = (m11 * m22 - m12 * m12).max(0.0).sqrt();
        let t = (m11 + m22 + 2.0 * root).sqrt();
        let start = [self.centre[0], self.centre[1], (m11 + root) / t, m12 / t, (m22 + root) / t];
        let of = |p: &[f64]| Ellipse { centre: [p[0], p[1]], axes: [[p[2], p[3]], [p[3], p[4]]] };
        let size = self.mean_half();
        let residuals = |p: &[f64]| {
            let e = of(p);
            points.iter().map(|&q| size * (e.radius_of(q) - 1.0)).collect()
        };
        let fit = levenberg_marquardt(&start, &[size; 5], residuals)?;
        Some(of(fit.parameters.as_slice()))
    }
}

/// Reads the mark that may be at `round`. `None` when it is none, or too much of it is covered.
pub(super) fn read(photo: &Photo, round: &Round) -> Option<Seen> {
    let mut ellipse = Ellipse::of(round);
    let mut rim = Vec::new();
    for _ in 0..2 {
        rim = rim_of(photo, &ellipse);
        if (rim.len() as f64) < SEEN * RAYS as f64 {
            return None;
        }
        ellipse = ellipse.fitted(&rim)?;
        // Grounds that touch the mark move single points.
        let off = |p: &[f64; 2]| (ellipse.radius_of(*p) - 1.0).abs() * ellipse.mean_half();
        let usual = median(&mut rim.iter().map(off).collect::<Vec<f64>>())?;
        let limit = (4.0 * usual).max(0.15);
        rim.retain(|p| off(p) < limit);
        if (rim.len() as f64) < SEEN * RAYS as f64 {
            return None;
        }
        ellipse = ellipse.fitted(&rim)?;
    }
    let word = word_of(photo, &ellipse)?;
    let [[a, b], [c, d]] = ellipse.axes;
    let det = (a * d - b * c).abs();
    Some(Seen { centre: ellipse.centre, radius: det / a.hypot(c).max(b.hypot(d)), rim, word })
}

/// Number of places at `share` of the radius of a dark shape that are bright, against the paper round it; `light` at a share
/// of the radius in direction i of n.
fn bright_at(share: f64, light: impl Fn(f64, usize, usize) -> Option<f64>) -> usize {
    let around = |share: f64, n: usize| {
        let light = &light;
        (0..n).filter_map(move |i| light(share, i, n))
    };
    let paper = around(1.3, 4).fold(0.0, f64::max);
    around(share, 2 * DOTS).filter(|&l| l > 0.4 * paper).count()
}

/// Four dots at least, of which each is met by one of two places or by both.
const LEAST_BRIGHT: usize = 3;

/// True when the round dark shape has white dots where a mark has them: a quick way out for particles, which have none.
pub(super) fn has_dots(photo: &Photo, round: &Round) -> bool {
    let rough = Ellipse::of(round);
    let light = |share, i: usize, n: usize| photo.light_at(rough.at(share, TAU * i as f64 / n as f64));
    bright_at(DOT_RING, light) >= LEAST_BRIGHT
}

/// Between the dots and the rim, in radii.
const BLACK_RING: f64 = 0.87;

/// True when a dark shape (centre and outline, px) has white dots where a mark of the sheet has them, and is black beyond
/// them: a grain that is not round has paper at both.
pub fn looks_like_mark(photo: &Photo, centre: [f64; 2], outline: &[[f64; 2]]) -> bool {
    let light = |share: f64, i: usize, n: usize| {
        let [x, y] = outline[i * outline.len() / n];
        photo.light_at([centre[0] + share * (x - centre[0]), centre[1] + share * (y - centre[1])])
    };
    !outline.is_empty() && bright_at(DOT_RING, light) >= LEAST_BRIGHT && bright_at(BLACK_RING, light) <= DOTS / 2
}

/// Points at which the light rises half-way from the mark to the paper.
fn rim_of(photo: &Photo, ellipse: &Ellipse) -> Vec<[f64; 2]> {
    let size = ellipse.mean_half();
    // Inside of the rim the mark is black from the dots outwards; beyond it the paper is white.
    let (inner, outer) = (0.82, 1.0 + (0.2f64).max(4.0 / size).min(0.45));
    let steps = (2.0 * (outer - inner) * size).ceil().clamp(8.0, 120.0) as usize;
    let along = |k: usize| inner + (outer - inner) * k as f64 / steps as f64;
    (0..RAYS)
        .filter_map(|ray| {
            let angle = TAU * ray as f64 / RAYS as f64;
            let profile: Vec<f64> =
                (0..=steps).map(|k| photo.light_at(ellipse.at(along(k), angle))).collect::<Option<_>>()?;
            let end = (steps / 6).max(2);
            let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
            let (ink, paper) = (mean(&profile[..end]), mean(&profile[profile.len() - end..]));
            if paper < 1.6 * ink {
                return None;
            }
            let half = 0.5 * (ink + paper);
            let k = profile.windows(2).position(|w| w[0] < half && w[1] >= half)?;
            let t = (half - profile[k]) / (profile[k + 1] - profile[k]);
            Some(ellipse.at(along(k) + t * (along(k + 1) - along(k)), angle))
        })
        .collect()
}

/// The word of the dots, turned to the smallest; `None` when no clear dots are seen.
fn word_of(photo: &Photo, ellipse: &Ellipse) -> Option<u16> {
    const PHASES: usize = 16;
    // Fine enough for the phases; each value is a mean over the middle of a dot.
    const N: usize = DOTS * PHASES;
    let spot = |angle: f64| -> Option<f64> {
        let mut sum = 0.0;
        for (dr, da) in [(0.0, 0.0), (0.05, 0.0), (-0.05, 0.0), (0.0, 0.08), (0.0, -0.08)] {
            sum += photo.light_at(ellipse.at(DOT_RING + dr, angle + da))?;
        }
        Some(sum / 5.0)
    };
    let ring: Vec<f64> = (0..N).map(|i| spot(TAU * i as f64 / N as f64)).collect::<Option<_>>()?;
    let ink = (0..8).map(|i| photo.light_at(ellipse.at(0.25, TAU * f64::from(i) / 8.0))).sum::<Option<f64>>()? / 8.0;
    let paper = (0..8).map(|i| photo.light_at(ellipse.at(1.25, TAU * f64::from(i) / 8.0))).sum::<Option<f64>>()? / 8.0;
    let bright = ring.iter().copied().fold(0.0, f64::max);
    if bright - ink < 0.25 * (paper - ink) {
        return None;
    }
    let middle = 0.5 * (ink + bright);
    // The right phase tells dots from gaps most clearly, and has black half-way between two dots.
    let clearness = |phase: usize| -> f64 {
        (0..DOTS)
            .map(|k| {
                let between = ring[(k * PHASES + phase + PHASES / 2) % N];
                (ring[k * PHASES + phase] - middle).abs() - 0.5 * (between - ink)
            })
            .sum()
    };
    let phase = (0..PHASES).max_by(|&a, &b| clearness(a).total_cmp(&clearness(b)))?;
    // A dot half covered or too blurred to tell makes the word unsure.
    let told = (0..DOTS).all(|k| (ring[k * PHASES + phase] - middle).abs() > 0.2 * (bright - ink));
    if !told {
        return None;
    }
    let word = (0..DOTS).fold(0u16, |w, k| w | u16::from(ring[k * PHASES + phase] > middle) << k);
    Some(least_turn(word).0)
}
