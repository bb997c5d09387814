//! Smoothed deficit rows, made one after the other from a ring of rows.

use std::ops::Range;

use crate::backdrop::{DarkCodes, Scene};
use crate::numeric::GaussKernel;
use crate::photo::{BLOCK_PX, Photo};

/// Calls `each(y, smoothed_row)` for the rows `y0..y1` of the deficit smoothed by `kernel` along both axes.
///
/// Rows beyond the photo repeat its first and last row.
pub(super) fn smoothed(
    photo: &Photo,
    scene: &Scene,
    kernel: &GaussKernel,
    [x0, y0, x1, y1]: [usize; 4],
    mut each: impl FnMut(usize, &[f32]),
) {
    let (width, r) = (x1 - x0, kernel.radius());
    let slots = 2 * r + 1;
    let mut ring = vec![vec![0.0f32; width]; slots];
    let mut raw = vec![0.0f32; width];
    let mut out = vec![0.0f32; width];
    let last = photo.height() - 1;
    let mut load = |position: usize, ring: &mut [Vec<f32>]| {
        // `position` counts from r rows above y0.
        let y = (y0 + position).saturating_sub(r).min(last);
        scene.deficit_row(photo, y, x0, &mut raw);
        kernel.smooth_row(&raw, &mut ring[position % slots]);
    };
    for position in 0..2 * r {
        load(position, &mut ring);
    }
    for y in y0..y1 {
        let centre = y - y0 + r;
        load(centre + r, &mut ring);
        kernel.smooth(&mut out, |k| (&ring[(centre - k) % slots], &ring[(centre + k) % slots]));
        each(y, &out);
    }
}

/// As [`smoothed`] for the rows `rows` of the whole width, but only where pixels darker than `dark` lie within reach:
/// calls `each(y, x0, smoothed)` for stretches of columns from `x0`. Elsewhere nothing can exceed the threshold that
/// `dark` was made for. Bare paper is passed over at the speed of comparing bytes.
pub(super) fn smoothed_where_dark(
    photo: &Photo,
    scene: &Scene,
    kernel: &GaussKernel,
    dark: &DarkCodes,
    rows: Range<usize>,
    mut each: impl FnMut(usize, usize, &[f32]),
) {
    let (width, height, r) = (photo.width(), photo.height(), kernel.radius());
    let (first, end) = (rows.start.saturating_sub(r), (rows.end + r).min(height));
    // Dark blocks of every row in reach, one bit each.
    let words = width.div_ceil(64 * BLOCK_PX);
    let mut dark_blocks = vec![0u64; (end - first) * words];
    for (y, bits) in (first..end).zip(dark_blocks.chunks_exact_mut(words)) {
        photo.dark_blocks(y, dark.row(y), bits);
    }
    // Stretches of columns that are dark in any of the rows `low..high`, widened by the kernel.
    let stretches = |low: usize, high: usize, found: &mut Vec<Range<usize>>| {
        found.clear();
        let rows = &dark_blocks[(low.max(first) - first) * words..(high.min(end) - first) * words];
        for word in 0..words {
            let mut bits = rows.chunks_exact(words).fold(0, |all, row| all | row[word]);
            while bits != 0 {
                let x = (64 * word + bits.trailing_zeros() as usize) * BLOCK_PX;
                bits &= bits - 1;
                let (start, stop) = (x.saturating_sub(r), (x + BLOCK_PX + r).min(width));
                match found.last_mut() {
                    Some(last) if start <= last.end => last.end = stop,
                    _ => found.push(start..stop),
                }
            }
        }
    };
    let slots = 2 * r + 1;
    let mut ring = vec![vec![0.0f32; width]; slots];
    let mut column = vec![0.0f32; width];
    let mut out = vec![0.0f32; width];
    // Rows are flattened once, as they enter the ring, wherever one of the rows in reach will want them.
    let widen = |s: &Range<usize>| s.start.saturating_sub(r)..(s.end + r).min(width);
    let mut found = Vec::new();
    let mut next = first;
    for y in rows {
        while next < (y + r + 1).min(height) {
            stretches(next.saturating_sub(2 * r), next + 2 * r + 1, &mut found);
            for wide in found.iter().map(widen) {
                scene.deficit_row(photo, next, wide.start, &mut ring[next % slots][wide]);
            }
            next += 1;
        }
        stretches(y.saturating_sub(r), y + r + 1, &mut found);
        for stretch in &found {
            // The sums down the columns need the kernel's reach on both sides, for the sums along x.
            let wide = widen(stretch);
            let row = |y: usize| &ring[y.min(height - 1) % slots][wide.clone()];
            kernel.smooth(&mut column[wide.clone()], |k| (row(y.saturating_sub(k)), row(y + k)));
            kernel.smooth_row(&column[wide.clone()], &mut out[wide.clone()]);
            each(y, stretch.start, &out[stretch.clone()]);
        }
    }
}
