//! Round dark shapes, which may be marks.

use rayon::prelude::*;

use crate::photo::Photo;
use crate::scale::small::{Row, Small};

/// Shares of the paper's light at which dark shapes are looked for: each mark needs one at which it stands alone, also
/// in shadow, where ink and paper are darker.
const LEVELS: [f32; 5] = [0.5, 0.32, 0.2, 0.12, 0.07];
/// Smallest radius of a mark whose dots can be told, px of the photo.
pub(super) const SMALLEST_PX: f64 = 9.0;

/// A dark shape as round as the picture of a disc; places and lengths in px of the photo.
#[derive(Clone, Copy, Debug)]
pub(super) struct Round {
    pub centre: [f64; 2],
    /// Half axes, the longer first.
    pub half: [f64; 2],
    /// Direction of the longer half axis.
    pub direction: [f64; 2],
}

/// Round dark shapes of the photo. The same shape may come out at several levels.
pub(super) fn rounds(photo: &Photo) -> Vec<Round> {
    rounds_at(photo, &LEVELS, SMALLEST_PX)
}

/// Those that stand out at `levels` (shares of the paper's light) and have half axes of at least `smallest_px`.
pub(super) fn rounds_at(photo: &Photo, levels: &[f32], smallest_px: f64) -> Vec<Round> {
    let small = Small::of(photo);
    levels
        .par_iter()
        .flat_map_iter(|level| {
            let mut found = Vec::new();
            small.shapes_below(level * small.paper, |rows| found.extend(round(&small, rows, smallest_px)));
            found
        })
        .collect()
}

/// The shape as an ellipse of the same moments, when it is one. Rows are filled: white dots inside do not count.
fn round(small: &Small, rows: &[Row], smallest_px: f64) -> Option<Round> {
    let step = small.step as f64;
    let n: f64 = rows.iter().map(|r| (r.2 - r.1) as f64).sum();
    // A quick way out for specks, of which a photo has thousands.
    if n * step * step < 0.5 * std::f64::consts::PI * smallest_px.powi(2) || n > 0.06 * small.light.len() as f64 {
        return None;
    }
    let [mut x, mut y, mut xx, mut xy, mut yy] = [0.0; 5];
    for &(row, x0, x1) in rows {
        let (a, b, middle) = (x0 as f64, x1 as f64, row as f64 + 0.5);
        let (length, mean) = (b - a, 0.5 * (a + b));
        x += length * mean;
        y += length * middle;
        xx += (b * b * b - a * a * a) / 3.0;
        xy += length * mean * middle;
        yy += length * (middle * middle + 1.0 / 12.0);
    }
    let (x, y) = (x / n, y / n);
    let (xx, xy, yy) = (xx / n - x * x, xy / n - x * y, yy / n - y * y);
    // For a full ellipse the eigenvalues are a²/4 and b²/4.
    let (middle, off) = (0.5 * (xx + yy), (0.25 * (xx - yy).powi(2) + xy * xy).sqrt());
    let half = [2.0 * (middle + off).sqrt(), 2.0 * (middle - off).max(0.0).sqrt()];
    let filled = n / (std::f64::consts::PI * half[0] * half[1]);
    let is_round = (0.93..1.07).contains(&filled) && half[1] > 0.5 * half[0] && half[1] * step >= smallest_px;
    let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
    is_round.then(|| Round {
        centre: [x * step, y * step],
        half: half.map(|h| h * step),
        direction: [angle.cos(), angle.sin()],
    })
}
