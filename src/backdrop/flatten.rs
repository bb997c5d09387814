//! Deficit by rows and patches from the tile grid.

use std::ops::Range;

use super::Scene;
use super::field::Field;
use super::softness::Softness;
use super::tiles::Tiles;
use crate::numeric::{median, quadratic_surface, quantile_of_sorted, surface_terms};
use crate::photo::{BLOCK_PX, Photo};

/// A rectangle of deficits cut from the photo.
#[derive(Clone, Debug, Default)]
pub struct Patch {
    /// Left and upper edge in the photo, px.
    pub x0: usize,
    /// See `x0`.
    pub y0: usize,
    /// Width, px.
    pub width: usize,
    /// Height, px.
    pub height: usize,
    /// Deficit row by row, dimensionless.
    pub deficit: Vec<f32>,
}

impl Patch {
    /// Deficit at the column `x` and row `y` of the patch.
    pub fn at(&self, x: usize, y: usize) -> f32 {
        self.deficit[y * self.width + x]
    }

    /// Deficits of the row `y` of the patch.
    pub fn row(&self, y: usize) -> &[f32] {
        &self.deficit[y * self.width..(y + 1) * self.width]
    }
}

/// Codes below which pixels may be dark, by rows of tiles and blocks of [`BLOCK_PX`] columns.
pub(crate) struct DarkCodes {
    tile_px: usize,
    blocks: usize,
    codes: Vec<u16>,
}

impl DarkCodes {
    /// The codes of the blocks of row `y`.
    pub fn row(&self, y: usize) -> &[u16] {
        &self.codes[y / self.tile_px * self.blocks..][..self.blocks]
    }
}

pub(super) fn scene(tiles: &Tiles, field: Field) -> Scene {
    let level = fill(tiles, &field);
    let mut noise: Vec<f64> =
        (0..level.len()).filter(|&i| field.is_paper(i)).map(|i| tiles.noise[i] / tiles.level[i]).collect();
    let mut middle: Vec<f64> = (0..level.len()).filter(|&i| field.is_paper(i)).map(|i| level[i]).collect();
    Scene {
        tile_px: tiles.tile_px,
        across: tiles.across,
        down: tiles.down,
        inverse: level.iter().map(|&l| (1.0 / l.max(1e-6)) as f32).collect(),
        noise: median(&mut noise).unwrap_or(0.0),
        level: median(&mut middle).unwrap_or(0.0),
        field,
        blur_px: 0.0,
        softness: Softness::uniform([1, 1]),
        core: 0.0,
        texture: 0.0,
    }
}

/// Level of every tile: paper tiles as measured, with those that stick out replaced by their neighbours' median;
/// tiles without paper by a smooth surface through the paper.
fn fill(tiles: &Tiles, field: &Field) -> Vec<f64> {
    let (across, down) = (tiles.across, tiles.down);
    let place =
        |i: usize| (2.0 * (i % across) as f64 / across as f64 - 1.0, 2.0 * (i / across) as f64 / down as f64 - 1.0);
    let paper = |i: usize| field.is_paper(i);
    let surface = quadratic_surface((0..across * down).filter(|&i| paper(i)).map(|i| {
        let (x, y) = place(i);
        (x, y, tiles.level[i].ln())
    }));
    (0..across * down)
        .map(|i| {
            let (x, y) = (i % across, i / across);
            let mut near: Vec<f64> = (y.saturating_sub(1)..(y + 2).min(down))
                .flat_map(|v| (x.saturating_sub(1)..(x + 2).min(across)).map(move |u| v * across + u))
                .filter(|&j| paper(j))
                .map(|j| tiles.level[j])
                .collect();
            match (paper(i), median(&mut near)) {
                // 1.5 %: above the fall-off of light within a tile, below the shade of a large particle.
                (true, Some(m)) if (tiles.level[i] / m - 1.0).abs() > 0.015 => m,
                (true, _) => tiles.level[i],
                (false, Some(m)) if near.len() >= 3 => m,
                (false, _) => match surface {
                    Some(c) => {
                        surface_terms(place(i).0, place(i).1).iter().zip(c).map(|(t, c)| t * c).sum::<f64>().exp()
                    }
                    None => median(&mut tiles.level.clone()).unwrap_or(1.0),
                },
            }
        })
        .collect()
}

impl Scene {
    /// Light of the brightest over that of the darkest part of the paper: the 95th and 5th percentile of its tiles.
    pub fn light_range(&self) -> f64 {
        let level = |i: usize| 1.0 / f64::from(self.inverse[i]);
        let mut levels: Vec<f64> = (0..self.inverse.len()).filter(|&i| self.field.is_paper(i)).map(level).collect();
        levels.sort_by(f64::total_cmp);
        if levels.is_empty() { 1.0 } else { quantile_of_sorted(&levels, 0.95) / quantile_of_sorted(&levels, 0.05) }
    }

    /// Deficit of the pixels `x0 .. x0 + out.len()` of row `y`, dimensionless.
    pub fn deficit_row(&self, photo: &Photo, y: usize, x0: usize, out: &mut [f32]) {
        self.flatten(photo, [x0, y], out.len(), out);
    }

    /// Deficits of the rows of `width` px from `x0`, `y0` on.
    fn flatten(&self, photo: &Photo, [x0, y0]: [usize; 2], width: usize, out: &mut [f32]) {
        let height = out.len() / width.max(1);
        // Between four tile centres the inverse backdrop is bilinear.
        for down in cells(y0, height, self.tile_px, self.down) {
            for across in cells(x0, width, self.tile_px, self.across) {
                let corner = |x: usize, y: usize| self.inverse[y * self.across + x];
                let [upper, lower] = down.tiles.map(|y| across.tiles.map(|x| corner(x, y)));
                for y in down.pixels.clone() {
                    let t = down.at(y);
                    let (left, right) = (upper[0] + t * (lower[0] - upper[0]), upper[1] + t * (lower[1] - upper[1]));
                    let first = left + across.start * (right - left);
                    let slope = across.step * (right - left);
                    let row = &mut out[y * width..][across.pixels.clone()];
                    photo.map_row(y0 + y, x0 + across.pixels.start, row, |i, light| {
                        1.0 - light * (first + slope * i as i32 as f32)
                    });
                }
            }
        }
    }

    /// The codes below which a pixel may have a deficit above `threshold`.
    ///
    /// Taken at the brightest of the tile and its neighbours, between which the backdrop is interpolated.
    pub(crate) fn dark_codes(&self, photo: &Photo, threshold: f64) -> DarkCodes {
        let blocks = photo.width().div_ceil(BLOCK_PX);
        let codes = (0..blocks * self.down)
            .map(|i| {
                let (x, y) = (i % blocks * BLOCK_PX / self.tile_px, i / blocks);
                let near = (y.saturating_sub(1)..(y + 2).min(self.down))
                    .flat_map(|v| (x.saturating_sub(1)..(x + 2).min(self.across)).map(move |u| v * self.across + u));
                let darkest = near.map(|j| self.inverse[j]).fold(f32::INFINITY, f32::min);
                photo.code_of((1.0 - threshold as f32) / darkest)
            })
            .collect();
        DarkCodes { tile_px: self.tile_px, blocks, codes }
    }

    /// Deficits of the box `x0..x1`, `y0..y1`, cut to the photo, in place of what `patch` held.
    pub fn cut(&self, photo: &Photo, [x0, y0, x1, y1]: [usize; 4], patch: &mut Patch) {
        let (width, height) = (x1.min(photo.width()) - x0, y1.min(photo.height()) - y0);
        (patch.x0, patch.y0, patch.width, patch.height) = (x0, y0, width, height);
        patch.deficit.resize(width * height, 0.0);
        photo.fetch([x0, y0], [width, height]);
        self.flatten(photo, [x0, y0], width, &mut patch.deficit);
    }
}

/// Pixels between the centres of two neighbouring tiles.
struct Cell {
    /// Pixels, counted from the first one asked for.
    pixels: Range<usize>,
    /// The tiles; one twice before the first centre and after the last.
    tiles: [usize; 2],
    /// How far the first pixel lies from the first tile to the second, 0..1.
    start: f32,
    /// The same from pixel to pixel.
    step: f32,
}

impl Cell {
    fn at(&self, pixel: usize) -> f32 {
        self.start + self.step * (pixel - self.pixels.start) as f32
    }
}

/// The cells that hold the pixels `first .. first + count` along one axis with `tiles` tiles.
fn cells(first: usize, count: usize, tile_px: usize, tiles: usize) -> impl Iterator<Item = Cell> {
    let mut next = 0;
    std::iter::from_fn(move || {
        if next >= count {
            return None;
        }
        // In half pixels, so that centres of odd tiles are whole numbers too; counted from the first centre.
        let beyond = (2 * (first + next) + 1).checked_sub(tile_px);
        let passed = beyond.map_or(0, |b| b / (2 * tile_px) + 1);
        let end = ((2 * passed + 1) * tile_px / 2 - first).min(count);
        let flat = passed == 0 || passed >= tiles;
        let tiles = if flat { [passed.saturating_sub(1).min(tiles - 1); 2] } else { [passed - 1, passed] };
        let along = beyond.map_or(0, |b| b % (2 * tile_px));
        let cell = Cell {
            pixels: next..end,
            tiles,
            start: if flat { 0.0 } else { along as f32 / (2 * tile_px) as f32 },
            step: if flat { 0.0 } else { 1.0 / tile_px as f32 },
        };
        next = end;
        Some(cell)
    })
}

#[cfg(test)]
mod tests {
    use super::super::{field, tiles};
    use crate::photo::{Photo, linear_from_srgb, srgb_from_linear};

    #[test]
    fn the_deficit_of_bare_paper_under_a_gradient_of_light_is_zero() {
        let (w, h) = (700, 500);
        let light = |x: usize, y: usize| 0.8 - 0.0004 * x as f64 - 0.0002 * y as f64;
        let luma = (0..w * h).map(|i| (255.0 * srgb_from_linear(light(i % w, i / w))).round() as u8).collect();
        let photo = Photo::from_luma(w, h, luma);
        let tiles = tiles::measure(&photo);
        let scene = super::scene(&tiles, field::find(&tiles, field::Region::default()).unwrap());
        let mut row = vec![0.0; w];
        for y in [0, 1, 63, 64, 250, 498, 499] {
            scene.deficit_row(&photo, y, 0, &mut row);
            // Inside, one code of 0.9 % and the tile grid; at the frame, half a tile over which the level is held.
            let inside = (32..h - 32).contains(&y);
            assert!(row.iter().all(|v| v.abs() < 0.04), "row {y}");
            assert!(!inside || row[32..w - 32].iter().all(|v| v.abs() < 0.012), "row {y}");
            let mut part = vec![0.0; 90];
            scene.deficit_row(&photo, y, 45, &mut part);
            assert!(part.iter().zip(&row[45..]).all(|(a, b)| (a - b).abs() < 1e-5));
        }
        assert!((linear_from_srgb(srgb_from_linear(0.3)) - 0.3).abs() < 1e-9);
    }
}
