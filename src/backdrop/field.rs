//! Which part of the picture is paper: measuring happens only there.

use std::ops::Range;

use super::BackdropError;
use super::tiles::Tiles;
use crate::numeric::{Spans, median, quantile_of_sorted};

/// Step of the light from one tile to the next that paper can show, share of the brightest paper, on photos of 2000 px
/// and more: a lamp that leaves a corner in the dark stays below 5 %, the edge of a sheet on a table lies far above.
const STEP: f64 = 0.07;
/// The same for small pictures, whose tiles span more of the light's fall.
const STEP_SMALL: f64 = 0.16;

/// The part of a picture that is asked for.
#[derive(Clone, Debug, Default)]
pub struct Region {
    /// Only here, where given.
    pub within: Option<Spans>,
    /// Not here, where given.
    pub without: Option<Spans>,
}

impl Region {
    fn contains(&self, x: usize, y: usize) -> bool {
        self.within.as_ref().is_none_or(|r| r.contains(x, y))
            && !self.without.as_ref().is_some_and(|r| r.contains(x, y))
    }

    /// True for the whole picture.
    pub fn is_everywhere(&self) -> bool {
        self.within.is_none() && self.without.is_none()
    }
}

/// The field of view that is paper, as a mask of tiles, within the region asked for.
#[derive(Clone, Debug)]
pub struct Field {
    tile_px: usize,
    across: usize,
    down: usize,
    width: usize,
    height: usize,
    /// True where the tile is paper, or lies inside the paper (covered by a large object).
    inside: Vec<bool>,
    /// True where the tile itself showed paper.
    paper: Vec<bool>,
    /// Inside tiles above and left of each tile corner.
    sums: Vec<u32>,
    region: Region,
    /// Tiles of the region.
    asked: usize,
    whole: bool,
}

impl Field {
    /// True when the paper fills the picture, or the region asked for.
    pub fn is_whole(&self) -> bool {
        self.whole
    }

    /// The one or two stretches of columns of row `y` that belong to the region.
    pub fn columns(&self, y: usize) -> [Range<usize>; 2] {
        let all = self.region.within.as_ref().map_or(0..self.width, |r| r.columns(y));
        match self.region.without.as_ref().map(|r| r.columns(y)).filter(|gap| !gap.is_empty()) {
            Some(gap) => [all.start..gap.start.min(all.end), gap.end.max(all.start)..all.end],
            None => [all, 0..0],
        }
    }

    /// True when the pixel lies on the paper.
    pub fn contains(&self, x: usize, y: usize) -> bool {
        self.region.contains(x, y) && (self.whole || self.inside[(y / self.tile_px) * self.across + x / self.tile_px])
    }

    pub(super) fn is_paper(&self, tile: usize) -> bool {
        self.paper[tile]
    }

    /// Share of the picture that is paper, 0..1.
    pub fn share(&self) -> f64 {
        self.inside.iter().filter(|&&b| b).count() as f64 / self.inside.len() as f64
    }

    /// True when only a part of the picture was asked for.
    pub fn is_restricted(&self) -> bool {
        !self.region.is_everywhere()
    }

    /// Share of the region asked for that is paper, 0..1.
    pub fn share_of_region(&self) -> f64 {
        self.inside.iter().filter(|&&b| b).count() as f64 / self.asked.max(1) as f64
    }

    /// True when a box of side `size` px about `centre` lies wholly on the paper.
    pub fn holds(&self, [x, y]: [f64; 2], size: f64) -> bool {
        let half = 0.5 * size;
        let (width, height) = (self.width as f64, self.height as f64);
        if x < half || y < half || x > width - half || y > height - half {
            return false;
        }
        let tile = |p: f64, tiles: usize| ((p / self.tile_px as f64) as usize).min(tiles - 1);
        let (x0, x1) = (tile(x - half, self.across), tile(x + half, self.across));
        let (y0, y1) = (tile(y - half, self.down), tile(y + half, self.down));
        self.fills_the_picture() || (y0..=y1).all(|v| (x0..=x1).all(|u| self.inside[v * self.across + u]))
    }

    /// Inverse chance that a box of `box_w` × `box_h` px dropped at random on the paper lies wholly inside it.
    ///
    /// With paper that fills a W × H picture this is W·H / ((W − box_w)(H − box_h)).
    /// Source: R. E. Miles (1974) and C. Lantuéjoul (1980), as in ISO 13322-1 (from memory).
    /// `None` when no place on the paper holds such a box.
    pub fn edge_weight(&self, box_w: f64, box_h: f64) -> Option<f64> {
        if self.fills_the_picture() {
            let (w, h) = (self.width as f64, self.height as f64);
            let free = (w - box_w) * (h - box_h);
            return (box_w < w && box_h < h).then(|| w * h / free);
        }
        // Boxes of whole tiles are counted exactly; the rest of the box is interpolated between two such counts.
        let tile = self.tile_px as f64;
        let (fx, fy) = (box_w / tile, box_h / tile);
        let (ix, iy) = (fx.floor() as usize, fy.floor() as usize);
        let (tx, ty) = (fx.fract(), fy.fract());
        let places = |a, b| self.places(a, b) as f64;
        let free = (1.0 - tx) * ((1.0 - ty) * places(ix, iy) + ty * places(ix, iy + 1))
            + tx * ((1.0 - ty) * places(ix + 1, iy) + ty * places(ix + 1, iy + 1));
        (free > 0.0).then(|| self.places(0, 0) as f64 / free)
    }

    fn fills_the_picture(&self) -> bool {
        self.whole && self.region.is_everywhere()
    }

    /// Number of tiles on which a box of `a` × `b` further tiles starts and lies inside.
    fn places(&self, a: usize, b: usize) -> usize {
        let (wide, high) = (a + 1, b + 1);
        if wide > self.across || high > self.down {
            return 0;
        }
        let stride = self.across + 1;
        let full = (wide * high) as u32;
        let mut count = 0;
        for y in 0..=self.down - high {
            for x in 0..=self.across - wide {
                let sum = self.sums[(y + high) * stride + x + wide] + self.sums[y * stride + x]
                    - self.sums[y * stride + x + wide]
                    - self.sums[(y + high) * stride + x];
                count += usize::from(sum == full);
            }
        }
        count
    }
}

/// Finds the paper within `region`: the brightest large group of tiles between which
/// the light changes smoothly.
pub(super) fn find(tiles: &Tiles, region: Region) -> Result<Field, BackdropError> {
    let n = tiles.level.len();
    let middle = |i: usize, along: usize| (i * tiles.tile_px + tiles.tile_px / 2).min(along - 1);
    let asked = |i: usize| {
        let (x, y) = (middle(i % tiles.across, tiles.width), middle(i / tiles.across, tiles.height));
        region.contains(x, y)
    };
    let asked: Vec<bool> = (0..n).map(asked).collect();
    let size = asked.iter().filter(|&&a| a).count();
    let (across, down) = (tiles.across, tiles.down);
    let group = smooth_groups(tiles);
    let groups = group.iter().flatten().max().map_or(0, |&g| g + 1);
    let mut members = vec![(0usize, 0.0f64); groups];
    for (i, g) in group.iter().enumerate() {
        if let Some(g) = g.filter(|_| asked[i]) {
            members[g].0 += 1;
            members[g].1 += tiles.level[i];
        }
    }
    // Paper is the brightest group among those of at least a twelfth of the region.
    // Not a number, and so never paper, for a group that has no tile in the region.
    let mean = |g: usize| members[g].1 / members[g].0 as f64;
    let best = (0..groups)
        .filter(|&g| members[g].0 > 0 && members[g].0 * 12 >= size)
        .max_by(|&a, &b| mean(a).total_cmp(&mean(b)))
        .ok_or(BackdropError::NoPaper)?;
    let main = mean(best);
    // Small groups of like brightness belong to the paper too: patches cut off by dark objects.
    let paper: Vec<bool> = (0..n)
        .map(|i| group[i].is_some_and(|g| g == best || (mean(g) / main - 1.0).abs() < 0.2 && touches(tiles, i, main)))
        .collect();
    let outside = outside_of(&paper, tiles);
    let inside: Vec<bool> = outside.iter().zip(&asked).map(|(&o, &a)| a && !o).collect();
    let stride = across + 1;
    let mut sums = vec![0u32; stride * (down + 1)];
    for y in 0..down {
        for x in 0..across {
            sums[(y + 1) * stride + x + 1] =
                u32::from(inside[y * across + x]) + sums[y * stride + x + 1] + sums[(y + 1) * stride + x]
                    - sums[y * stride + x];
        }
    }
    let whole = inside == asked;
    let (width, height) = (tiles.width, tiles.height);
    Ok(Field { tile_px: tiles.tile_px, across, down, width, height, inside, paper, sums, region, asked: size, whole })
}

fn touches(tiles: &Tiles, i: usize, main: f64) -> bool {
    tiles.share[i] > 0.2 && (tiles.level[i] / main - 1.0).abs() < 0.25
}

/// Groups of neighbouring tiles between which the level steps by less than [`STEP`]; `None` for tiles that are not a
/// plain surface.
fn smooth_groups(tiles: &Tiles) -> Vec<Option<usize>> {
    let (across, down) = (tiles.across, tiles.down);
    let mut levels = tiles.level.clone();
    levels.sort_by(f64::total_cmp);
    let bright = quantile_of_sorted(&levels, 0.95);
    // A mode that holds few of the tile's pixels, or that spreads widely, is not paper.
    let plain = |i: usize| {
        let spread = 0.03 * bright + 0.08 * tiles.level[i];
        tiles.share[i] > 0.15 && tiles.noise[i] < spread && tiles.level[i] > 0.02 * bright
    };
    let span = tiles.tile_px as f64 / tiles.width.min(tiles.height) as f64;
    let limit = (STEP * span * 2000.0 / 64.0).clamp(STEP, STEP_SMALL);
    let mut group: Vec<Option<usize>> = vec![None; across * down];
    let mut next = 0;
    let mut stack = Vec::new();
    for start in 0..across * down {
        if group[start].is_some() || !plain(start) {
            continue;
        }
        group[start] = Some(next);
        stack.push(start);
        while let Some(i) = stack.pop() {
            for j in neighbours(i, across, down) {
                let step = (tiles.level[i] - tiles.level[j]).abs();
                if group[j].is_none() && plain(j) && step < limit * bright {
                    group[j] = Some(next);
                    stack.push(j);
                }
            }
        }
        next += 1;
    }
    group
}

fn neighbours(i: usize, across: usize, down: usize) -> impl Iterator<Item = usize> {
    let (x, y) = (i % across, i / across);
    [
        (x > 0).then(|| i - 1),
        (x + 1 < across).then(|| i + 1),
        (y > 0).then(|| i - across),
        (y + 1 < down).then(|| i + across),
    ]
    .into_iter()
    .flatten()
}

/// Length over width that a finger, an arm or a pen reaches into the picture, at most: what goes on for longer behind a
/// narrow place at the frame is particles that hang together.
const LONGEST: usize = 8;

/// Tiles that are not paper and lie in a group that reaches the frame with dark pixels: a table, a hand.
///
/// Single dark tiles at the frame (a large particle that fills one) stay inside, and so do groups that are objects on
/// the paper: enclosed by it, so near the frame that only a strip of paper is left between, or particles that hang
/// together and of which a few reach the frame.
fn outside_of(paper: &[bool], tiles: &Tiles) -> Vec<bool> {
    let (across, down) = (tiles.across, tiles.down);
    let mut outside = vec![false; paper.len()];
    let mut seen = vec![false; paper.len()];
    for start in 0..paper.len() {
        if paper[start] || seen[start] {
            continue;
        }
        let mut members = vec![start];
        seen[start] = true;
        let mut beside = Vec::new();
        let mut at = 0;
        while at < members.len() {
            for j in neighbours(members[at], across, down) {
                if paper[j] {
                    beside.push(tiles.level[j]);
                } else if !seen[j] {
                    seen[j] = true;
                    members.push(j);
                }
            }
            at += 1;
        }
        let near = median(&mut beside).unwrap_or(0.0);
        let mut frame: Vec<f64> = members.iter().filter_map(|&i| tiles.frame[i]).collect();
        // Four fifths of the paper beside it: darker than any shade at the frame, brighter than a table.
        let limit = 0.8 * near;
        let wide = frame.iter().filter(|&&light| light < limit).count();
        let dark = median(&mut frame).is_some_and(|light| light < limit);
        if members.len() >= 4 && dark && LONGEST * wide * wide >= members.len() {
            members.iter().for_each(|&i| outside[i] = true);
        }
    }
    outside
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tiles(across: usize, down: usize, level: impl Fn(usize, usize) -> f64) -> Tiles {
        let cells = || (0..across * down).map(move |i| (i % across, i / across));
        Tiles {
            tile_px: 10,
            across,
            down,
            width: across * 10,
            height: down * 10,
            level: cells().map(|(x, y)| level(x, y)).collect(),
            noise: vec![0.005; across * down],
            share: vec![0.9; across * down],
            frame: cells()
                .map(|(x, y)| {
                    let edge = x == 0 || y == 0 || x + 1 == across || y + 1 == down;
                    edge.then(|| level(x, y))
                })
                .collect(),
        }
    }

    #[test]
    fn paper_with_a_vignette_fills_the_picture() {
        let field = find(&tiles(40, 30, |x, _| 0.8 - 0.012 * (x as f64 - 20.0).abs()), Region::default()).unwrap();
        assert!(field.is_whole());
        // Source: R. E. Miles (1974); the value is W·H / ((W − fx)(H − fy)) for W = 400, H = 300, 40 × 30 px.
        assert!((field.edge_weight(40.0, 30.0).unwrap() - 400.0 * 300.0 / (360.0 * 270.0)).abs() < 1e-12);
        assert!(field.edge_weight(400.0, 30.0).is_none());
    }

    #[test]
    fn a_table_round_the_sheet_is_outside_and_a_coin_on_it_is_not() {
        let field = find(
            &tiles(40, 30, |x, y| {
                let sheet = (5..35).contains(&x) && (5..25).contains(&y);
                let coin = (15..19).contains(&x) && (10..14).contains(&y);
                if !sheet || coin { 0.2 } else { 0.8 }
            }),
            Region::default(),
        )
        .unwrap();
        assert!(!field.is_whole());
        assert!(!field.contains(20, 20) && field.contains(170, 120) && field.contains(60, 60));
        // 30 × 20 tiles of paper: a box of 5 × 4 tiles fits at 26 × 17 of the tile steps.
        let weight = field.edge_weight(50.0, 40.0).unwrap();
        assert!((weight - 600.0 / (25.0 * 16.0)).abs() < 0.02 * weight, "{weight}");
    }

    #[test]
    fn a_dark_picture_of_wild_texture_has_no_paper() {
        let wild = find(&tiles(20, 20, |x, y| 0.05 + 0.15 * ((x * 7 + y * 13) % 5) as f64), Region::default());
        assert!(matches!(wild, Err(BackdropError::NoPaper)));
    }

    #[test]
    fn paper_is_looked_for_in_the_region_only() {
        let square = [[105.0, 105.0], [295.0, 105.0], [295.0, 195.0], [105.0, 195.0]];
        let region = Region { within: Some(Spans::of_polygon(&square, 400, 300)), without: None };
        // Brighter paper lies outside of the region, and a finger reaches into it.
        let level = |x: usize, y: usize| match (x, y) {
            (0..5, _) => 0.95,
            (15..18, 15..) => 0.2,
            _ => 0.7,
        };
        let field = find(&tiles(40, 30, level), region).unwrap();
        assert!(!field.is_whole() && field.columns(150) == [105..295, 0..0]);
        assert!(field.contains(120, 120) && !field.contains(90, 120) && !field.contains(160, 180));
    }

    #[test]
    fn what_is_left_out_of_the_region_splits_its_rows() {
        let hole = [[105.0, 105.0], [295.0, 105.0], [295.0, 195.0], [105.0, 195.0]];
        let region = Region { within: None, without: Some(Spans::of_polygon(&hole, 400, 300)) };
        let field = find(&tiles(40, 30, |_, _| 0.7), region).unwrap();
        assert_eq!(field.columns(150), [0..105, 295..400]);
        assert!(!field.contains(200, 150) && field.contains(50, 150) && !field.holds([100.0, 150.0], 20.0));
    }
}
