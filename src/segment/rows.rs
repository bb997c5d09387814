//! Smoothed deficit rows, made one after the other from a ring of rows.

use crate::backdrop::Scene;
use crate::numeric::GaussKernel;
use crate::photo::Photo;

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
        let w0 = kernel.weights[0];
        for (o, v) in out.iter_mut().zip(&ring[centre % slots]) {
            *o = w0 * v;
        }
        for (k, &w) in kernel.weights.iter().enumerate().skip(1) {
            let (above, below) = (&ring[(centre - k) % slots], &ring[(centre + k) % slots]);
            for ((o, a), b) in out.iter_mut().zip(above).zip(below) {
                *o += w * (a + b);
            }
        }
        each(y, &out);
    }
}
