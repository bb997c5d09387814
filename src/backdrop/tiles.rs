//! The bright mode of every tile of the photo.

use rayon::prelude::*;

use crate::photo::Photo;

/// Side of a tile, px, for photos large enough: wide against particles, narrow against the fall-off of light.
const TILE_PX: usize = 64;

/// Level and noise of the tiles, row by row.
pub(super) struct Tiles {
    pub tile_px: usize,
    pub across: usize,
    pub down: usize,
    pub width: usize,
    pub height: usize,
    /// Linear light of the bright mode.
    pub level: Vec<f64>,
    /// Standard deviation of single pixels about the level, linear light.
    pub noise: Vec<f64>,
    /// Share of the tile's pixels that belong to the mode.
    pub share: Vec<f64>,
    /// Mean linear light of the tile's pixels on the frame of the picture; `None` away from it.
    pub frame: Vec<Option<f64>>,
}

pub(super) fn measure(photo: &Photo) -> Tiles {
    let (width, height) = (photo.width(), photo.height());
    // Small pictures get smaller tiles, so that the grid still follows the light.
    let tile_px = (width.min(height) / 12).clamp(16, TILE_PX);
    let (across, down) = (width.div_ceil(tile_px), height.div_ceil(tile_px));
    // A thousand samples of a tile fix its level to a thirtieth of its noise.
    let step = (tile_px * tile_px / 1000).max(1);
    let light: Vec<f64> = photo.bins().iter().map(|&v| f64::from(v)).collect();
    let modes: Vec<Mode> = (0..across * down)
        .into_par_iter()
        .map_init(
            || vec![0u32; light.len()],
            |bins, i| {
                bins.fill(0);
                let (x0, y0) = (i % across * tile_px, i / across * tile_px);
                photo.count_codes([x0, y0, (x0 + tile_px).min(width), (y0 + tile_px).min(height)], step, bins);
                bright_mode(bins, &light)
            },
        )
        .collect();
    Tiles {
        tile_px,
        across,
        down,
        width,
        height,
        level: modes.iter().map(|m| m.level).collect(),
        noise: modes.iter().map(|m| m.noise).collect(),
        share: modes.iter().map(|m| m.share).collect(),
        frame: (0..across * down)
            .map(|i| {
                let (x0, y0) = (i % across * tile_px, i / across * tile_px);
                frame_light(photo, [x0, y0, (x0 + tile_px).min(width), (y0 + tile_px).min(height)])
            })
            .collect(),
    }
}

/// Mean linear light of the pixels of the box that lie on the frame of the picture.
fn frame_light(photo: &Photo, [x0, y0, x1, y1]: [usize; 4]) -> Option<f64> {
    let (mut sum, mut count) = (0.0f32, 0usize);
    let mut add = |y: usize, x0: usize, x1: usize| {
        let mut row = vec![0.0; x1 - x0];
        photo.row_linear(y, x0, &mut row);
        sum += row.iter().sum::<f32>();
        count += row.len();
    };
    for (edge, at) in [(y0 == 0, 0), (y1 == photo.height(), photo.height() - 1)] {
        if edge {
            add(at, x0, x1);
        }
    }
    for (edge, at) in [(x0 == 0, 0), (x1 == photo.width(), photo.width() - 1)] {
        if edge {
            (y0..y1).for_each(|y| add(y, at, at + 1));
        }
    }
    (count > 0).then(|| f64::from(sum) / count as f64)
}

struct Mode {
    level: f64,
    noise: f64,
    share: f64,
}

/// Sigma-clipped mean of the fullest bin's surroundings in the bright part of the histogram.
///
/// Source: sigma clipping of the backdrop as in astronomy, e.g. E. Bertin & S. Arnouts (1996), Astron. Astrophys.
/// Suppl. 117, 393–404 (from memory).
fn bright_mode(bins: &[u32], light: &[f64]) -> Mode {
    let total: u32 = bins.iter().sum();
    let mut above = 0;
    // Level that 2 % of the pixels exceed: glints do not set it, paper does wherever the tile holds some.
    let top = (0..bins.len())
        .rev()
        .find(|&i| {
            above += bins[i];
            above * 50 >= total
        })
        .unwrap_or(0);
    // Paper pixels of one tile differ by noise and shade, never by 40 % of light.
    let floor = light.partition_point(|&l| l < 0.6 * light[top]);
    let smooth = |i: usize| -> u32 { bins[i.saturating_sub(2)..(i + 3).min(bins.len())].iter().sum() };
    let peak = (floor..=top).max_by_key(|&i| smooth(i)).unwrap_or(top);
    let mut level = light[peak];
    // First window: 6 % of light to each side, wider than the noise of any usable photo of paper.
    let mut reach = 0.06 * level + 0.002;
    let mut noise = 0.0;
    let mut count = 0.0;
    for _ in 0..6 {
        let (mut n, mut sum, mut squares) = (0.0, 0.0, 0.0);
        let low = light.partition_point(|&l| l < level - reach);
        for i in low..light.len() {
            let l = light[i];
            if l > level + reach {
                break;
            }
            let w = f64::from(bins[i]);
            n += w;
            sum += w * (l - level);
            squares += w * (l - level) * (l - level);
        }
        if n == 0.0 {
            break;
        }
        let shift = sum / n;
        // 0.953 restores the spread that a window of 2.5 sigma cuts off a normal law.
        noise = (squares / n - shift * shift).max(0.0).sqrt() / 0.953;
        level += shift;
        count = n;
        // Never below two codes: a window narrower than the coding would lose every pixel.
        let code = light[(peak + 1).min(light.len() - 1)] - light[peak.saturating_sub(1)];
        reach = (2.5 * noise).max(code);
    }
    Mode { level, noise, share: count / f64::from(total.max(1)) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::Draws;
    use crate::photo::{linear_from_srgb, srgb_from_linear};

    #[test]
    fn a_tile_half_covered_by_dark_grains_still_gives_the_paper_level() {
        let mut draws = Draws::new(11, 0);
        let codes: Vec<u8> = (0..64 * 64)
            .map(|i| {
                let light = if i % 100 < 45 { 0.05 } else { 0.70 } * (1.0 + 0.02 * draws.normal());
                (255.0 * srgb_from_linear(light)).round() as u8
            })
            .collect();
        let mut bins = vec![0; 256];
        codes.iter().for_each(|&c| bins[c as usize] += 1);
        let light: Vec<f64> = (0..256).map(|c| linear_from_srgb(f64::from(c) / 255.0)).collect();
        let mode = bright_mode(&bins, &light);
        assert!((mode.level / 0.70 - 1.0).abs() < 0.003, "{}", mode.level);
        assert!((mode.noise / 0.014 - 1.0).abs() < 0.1, "{}", mode.noise);
        assert!((mode.share - 0.55).abs() < 0.02, "{}", mode.share);
    }
}
