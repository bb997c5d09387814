/// Distances to the nearest place outside a mask, with room that is kept from one use to the next.
///
/// Source: P. F. Felzenszwalb & D. P. Huttenlocher (2012), Theory of Computing 8, 415–428 (from memory).
#[derive(Debug, Default)]
pub struct Distances {
    line: Vec<f32>,
    parabolas: Vec<(usize, f32)>,
}

impl Distances {
    /// Squared Euclidean distance (px²) of every place of `inside`, `width` to a row, to the nearest that is false.
    pub fn squared(&mut self, inside: &[bool], width: usize, out: &mut Vec<f32>) {
        let height = inside.len() / width;
        let far = (width + height) as f32;
        // Down the columns places are in or out, so that the nearest outside is found by counting: down, then up, all
        // columns at once.
        out.clear();
        out.resize(inside.len(), 0.0);
        self.line.clear();
        self.line.resize(width, far);
        for (row, inside) in out.chunks_exact_mut(width).zip(inside.chunks_exact(width)) {
            for ((d, near), &inside) in row.iter_mut().zip(&mut self.line).zip(inside) {
                *near = if inside { *near + 1.0 } else { 0.0 };
                *d = *near;
            }
        }
        self.line.fill(far);
        for row in out.chunks_exact_mut(width).rev() {
            for (d, near) in row.iter_mut().zip(&mut self.line) {
                *near = (*near + 1.0).min(*d);
                let nearest = near.min(far);
                *d = nearest * nearest;
            }
        }
        for (row, inside) in out.chunks_exact_mut(width).zip(inside.chunks_exact(width)) {
            self.line.clear();
            self.line.extend_from_slice(row);
            let mut x = 0;
            while let Some(start) = inside[x..].iter().position(|&inside| inside) {
                let start = x + start;
                let end = inside[start..].iter().position(|&inside| !inside).map_or(width, |length| start + length);
                // Nothing beyond the next place outside is nearer than that.
                let reach = start.saturating_sub(1)..(end + 1).min(width);
                let (line, row) = (&self.line[reach.clone()], &mut row[reach]);
                // No distance is longer than the one along the column, nor than half the row.
                if row.len() <= SHORT_PX {
                    by_steps(line, row)
                } else {
                    lower_envelope(line, &mut self.parabolas, row)
                }
                x = end;
            }
        }
    }
}

/// Longest stretch in which trying every step takes less time than finding the envelope of the parabolas.
const SHORT_PX: usize = 256;

/// `least[p]` = least of (p − q)² + f(q) over q; it holds f before.
///
/// Steps to both sides grow until none can be shorter: all places at once, in vector registers.
fn by_steps(f: &[f32], least: &mut [f32]) {
    // How many steps are taken before it is seen again whether more are needed.
    const TOGETHER: usize = 4;
    let mut step = 1;
    while ((step * step) as f32) < least.iter().copied().fold(0.0, f32::max) {
        for step in step..(step + TOGETHER).min(f.len()) {
            let more = (step * step) as f32;
            least.iter_mut().zip(&f[step..]).for_each(|(d, f)| *d = (f + more).min(*d));
            least[step..].iter_mut().zip(f).for_each(|(d, f)| *d = (f + more).min(*d));
        }
        step += TOGETHER;
    }
}

/// The same by the lower envelope of parabolas, in a time that goes with the length alone.
fn lower_envelope(f: &[f32], parabolas: &mut Vec<(usize, f32)>, least: &mut [f32]) {
    parabolas.clear();
    for q in 0..f.len() {
        let mut from = f32::NEG_INFINITY;
        while let Some(&(p, start)) = parabolas.last() {
            let (a, b) = (q as f32, p as f32);
            from = ((f[q] + a * a) - (f[p] + b * b)) / (2.0 * (a - b));
            if from > start {
                break;
            }
            parabolas.pop();
            from = f32::NEG_INFINITY;
        }
        parabolas.push((q, from));
    }
    let mut k = 0;
    for (p, least) in least.iter_mut().enumerate() {
        while k + 1 < parabolas.len() && parabolas[k + 1].1 < p as f32 {
            k += 1;
        }
        let q = parabolas[k].0;
        *least = (p as f32 - q as f32).powi(2) + f[q];
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::Draws;

    #[test]
    fn distances_agree_with_looking_everywhere() {
        let mut draws = Draws::new(5, 0);
        for i in 0..32 {
            // The last are too wide for steps.
            let (w, h) =
                if i < 30 { (1 + draws.below(30), 1 + draws.below(30)) } else { (SHORT_PX + 40, 1 + draws.below(9)) };
            let mut inside: Vec<bool> =
                (0..w * h).map(|_| draws.uniform() < if i % 2 == 0 { 0.9 } else { 0.997 }).collect();
            inside[0] = false;
            let mut found = Vec::new();
            Distances::default().squared(&inside, w, &mut found);
            for (i, distance) in found.into_iter().enumerate() {
                let square = |j: usize| ((i % w).abs_diff(j % w).pow(2) + (i / w).abs_diff(j / w).pow(2)) as f32;
                let nearest = (0..w * h).filter(|&j| !inside[j]).map(square).fold(f32::MAX, f32::min);
                assert_eq!(distance, nearest, "{i} of {w} × {h}");
            }
        }
    }
}
