//! Blur over the photo: soft corners, a tilted phone.

use crate::numeric::{median, quantile_of_sorted};

/// Regions along each side of the photo.
const SIDE: usize = 3;

/// Edges that the blur of a region is read from, at least.
const FEWEST: usize = 40;

/// Share of the edges that are taken for unspoilt: shadow, texture and neighbours make an edge look softer, never sharper. At
/// this share the regions of evenly sharp rendered photos agree to 1.01 to 1.18; at their medians to 1.07 to 1.33.
const UNSPOILT: f64 = 0.3;

/// Largest over smallest blur of the regions below which all count as alike.
const ALIKE: f64 = 1.25;

/// Blur of the parts of a photo, as ratios to that of the whole.
#[derive(Clone, Debug, PartialEq)]
pub struct Softness {
    size_px: [f64; 2],
    /// Ratios by ninths of the photo, row by row.
    ratios: [f64; SIDE * SIDE],
}

impl Softness {
    /// The same everywhere.
    pub(crate) fn uniform(size_px: [usize; 2]) -> Self {
        Softness { size_px: size_px.map(|v| v as f64), ratios: [1.0; SIDE * SIDE] }
    }

    /// Reads it from `edges`, each with its place (px) and the blur that it tells (px), of which `blur_px` is the median. Regions
    /// with too few edges take what lies between the others.
    pub(super) fn learn(size_px: [usize; 2], edges: &[([usize; 2], f64)], blur_px: f64) -> Self {
        let plain = Softness::uniform(size_px);
        let place = |at: [usize; 2]| plain.ninth(at.map(|v| v as f64));
        let mut here: [Vec<f64>; SIDE * SIDE] = Default::default();
        edges.iter().for_each(|(at, blur)| here[place(*at)].push(*blur));
        let read = here.map(|mut blur| {
            blur.sort_by(f64::total_cmp);
            (blur.len() >= FEWEST).then(|| quantile_of_sorted(&blur, UNSPOILT))
        });
        let [low, high] = ends(read.iter().flatten());
        if high < ALIKE * low {
            return plain;
        }
        let near = |ninth: usize| {
            let beside = (0..SIDE * SIDE).filter(|&other| {
                (other % SIDE).abs_diff(ninth % SIDE) <= 1 && (other / SIDE).abs_diff(ninth / SIDE) <= 1
            });
            median(&mut beside.filter_map(|other| read[other]).collect::<Vec<_>>())
        };
        let unspoilt: [f64; SIDE * SIDE] =
            std::array::from_fn(|ninth| read[ninth].or_else(|| near(ninth)).unwrap_or(blur_px));
        // The usual edge is softer than the unspoilt ones, everywhere by the same factor.
        let mut usual: Vec<f64> = edges.iter().map(|(at, blur)| blur / unspoilt[place(*at)]).collect();
        let factor = median(&mut usual).unwrap_or(1.0);
        let ratios = unspoilt.map(|blur| factor * blur / blur_px);
        Softness { ratios, ..plain }
    }

    /// Ninth of the photo that the place lies in, row by row.
    fn ninth(&self, at: [f64; 2]) -> usize {
        let [across, down] = [0, 1].map(|i| ((SIDE as f64 * at[i] / self.size_px[i]) as usize).min(SIDE - 1));
        down * SIDE + across
    }

    /// Blur at the place (px) over that of the whole photo: bilinear between the middles of the regions.
    pub fn at(&self, at: [f64; 2]) -> f64 {
        let [(x, u), (y, v)] = [0, 1].map(|i| {
            let place = (SIDE as f64 * at[i] / self.size_px[i] - 0.5).clamp(0.0, (SIDE - 1) as f64);
            let first = (place as usize).min(SIDE - 2);
            (first, place - first as f64)
        });
        let along = |row: usize| {
            let [a, b] = [self.ratios[row * SIDE + x], self.ratios[row * SIDE + x + 1]];
            a + u * (b - a)
        };
        along(y) + v * (along(y + 1) - along(y))
    }

    /// The ratios by ninths of the photo, row by row.
    pub fn ratios(&self) -> &[f64] {
        &self.ratios
    }

    /// True where some part of the photo is softer than another.
    pub fn varies(&self) -> bool {
        self.ratios.iter().any(|&r| r != self.ratios[0])
    }

    /// Blur of the softest part over that of the whole photo.
    pub fn softest(&self) -> f64 {
        ends(&self.ratios)[1]
    }

    /// Largest over smallest ratio, and in words where the photo is softest: an edge where all along it is about as soft.
    pub fn worst(&self) -> (f64, &'static str) {
        const PLACES: [&str; SIDE * SIDE] = [
            "upper left corner",
            "upper edge",
            "upper right corner",
            "left edge",
            "middle",
            "right edge",
            "lower left corner",
            "lower edge",
            "lower right corner",
        ];
        const EDGES: [(usize, [usize; SIDE]); 4] = [(1, [0, 1, 2]), (3, [0, 3, 6]), (5, [2, 5, 8]), (7, [6, 7, 8])];
        let [least, most] = ends(&self.ratios);
        // Nearer to the softest than to the sharpest.
        let is_soft = |ninth: usize| self.ratios[ninth] > 0.5 * (most + least);
        let edge = EDGES.iter().find(|(_, along)| along.iter().all(|&ninth| is_soft(ninth)));
        let softest = edge.map(|(name, _)| *name).or_else(|| self.ratios.iter().position(|&r| r == most));
        (most / least, PLACES[softest.unwrap_or(0)])
    }

    /// Ratios in steps of a tenth or so that span those of the photo, rising: one where it is alike everywhere.
    pub fn steps(&self) -> Vec<f64> {
        const STEP: f64 = 1.12;
        let [low, high] = ends(&self.ratios);
        let count = ((high / low).ln() / STEP.ln()).ceil() as usize;
        (0..=count).map(|i| low * (high / low).powf(i as f64 / count.max(1) as f64)).collect()
    }
}

/// Least and largest of positive values; nothing lies between those of none.
fn ends<'v>(values: impl IntoIterator<Item = &'v f64>) -> [f64; 2] {
    values.into_iter().fold([f64::INFINITY, 0.0], |[low, high], &v| [low.min(v), high.max(v)])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Fifty edges in every ninth of a photo of 900 × 600 px, with the blur that `blur` says.
    fn edges(blur: impl Fn(usize, usize) -> f64) -> Vec<([usize; 2], f64)> {
        let places = (0..9).flat_map(|ninth| (0..50).map(move |i| (ninth % 3, ninth / 3, i)));
        places
            .map(|(x, y, i)| ([300 * x + 5 * i, 200 * y + 3 * i], blur(x, y) * (1.0 + 0.002 * (i as f64 - 24.5))))
            .collect()
    }

    #[test]
    fn a_soft_side_is_told_and_chance_is_not() {
        let even = Softness::learn([900, 600], &edges(|x, y| 1.0 + 0.03 * (x + y) as f64), 1.0);
        assert!(!even.varies() && even.at([10.0, 590.0]) == 1.0 && even.steps() == [1.0]);
        let soft = Softness::learn([900, 600], &edges(|x, _| [1.0, 1.0, 2.0][x]), 1.0);
        assert!((soft.at([750.0, 300.0]) - 2.0).abs() < 1e-9 && (soft.at([600.0, 10.0]) - 1.5).abs() < 1e-9);
        assert!((soft.at([5.0, 300.0]) - 1.0).abs() < 1e-9);
        assert!((soft.worst().0 - 2.0).abs() < 1e-9 && soft.worst().1 == "right edge");
        let steps = soft.steps();
        assert!((steps[0] - 1.0).abs() < 1e-9 && (steps[steps.len() - 1] - 2.0).abs() < 1e-9 && steps.len() == 8);
    }

    #[test]
    fn a_region_without_edges_takes_what_lies_about_it() {
        let mut known = edges(|x, _| [1.0, 1.0, 2.0][x]);
        known.retain(|(at, _)| !(at[0] >= 600 && at[1] >= 400));
        let soft = Softness::learn([900, 600], &known, 1.0);
        assert!((1.0..=2.0).contains(&soft.at([899.0, 599.0])));
    }
}
