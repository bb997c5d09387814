//! Parts a blob into particles: dark cores that only their shade joins, and faint specks beside a large one.

use rayon::prelude::*;

use super::label::{Blob, Run, bounds};
use super::{Part, Rejection};
use crate::backdrop::{Patch, Scene};
use crate::numeric::GaussKernel;
use crate::photo::Photo;

pub(super) fn all(photo: &Photo, scene: &Scene, blobs: Vec<Blob>, threshold: f64) -> Vec<Part> {
    let kernel = GaussKernel::new(scene.blur_px);
    blobs
        .into_par_iter()
        .flat_map_iter(|blob| {
            let mut parts = if is_surroundings(photo, &blob) {
                let rejected = Some(Rejection::CutByFrame);
                vec![Part { bounds: blob.bounds, runs: blob.runs, split: false, rejected }]
            } else {
                parts_of(photo, scene, &kernel, blob, threshold)
            };
            for part in &mut parts {
                if off_paper(scene, part) {
                    part.rejected = Some(Rejection::OffPaper);
                }
            }
            parts
        })
        .collect()
}

/// A dark mass at the frame that is larger than any particle: a table, a hand.
fn is_surroundings(photo: &Photo, blob: &Blob) -> bool {
    let area: usize = blob.runs.iter().map(Run::len).sum();
    at_frame(photo, blob.bounds) && area * 20 > photo.width() * photo.height()
}

fn at_frame(photo: &Photo, [x0, y0, x1, y1]: [usize; 4]) -> bool {
    x0 == 0 || y0 == 0 || x1 == photo.width() || y1 == photo.height()
}

fn off_paper(scene: &Scene, part: &Part) -> bool {
    if scene.field.fills_the_picture() {
        return false;
    }
    let total: usize = part.runs.iter().map(Run::len).sum();
    let inside = |r: &&Run| scene.field.contains((r.x0 as usize + r.x1 as usize) / 2, r.y as usize);
    let on_paper: usize = part.runs.iter().filter(inside).map(Run::len).sum();
    // The paper is known by tiles, so a particle near its edge may lie in a tile that does not count.
    3 * on_paper < 2 * total
}

/// Labels over the patch of one blob: 0 outside the blob, 1 in it but not given to a part yet, 2 … the parts.
struct Labels {
    pub width: usize,
    pub height: usize,
    pub of: Vec<u32>,
}

impl Labels {
    /// Indices of the pixels beside `i`: four by sides, then four by corners.
    pub fn around(&self, i: usize) -> impl Iterator<Item = usize> + use<> {
        let w = self.width;
        // The patch has a margin of one pixel, so that no neighbour of a blob pixel falls outside.
        [i - 1, i + 1, i - w, i + w, i - w - 1, i - w + 1, i + w - 1, i + w + 1].into_iter()
    }
}

fn parts_of(photo: &Photo, scene: &Scene, kernel: &GaussKernel, blob: Blob, threshold: f64) -> Vec<Part> {
    let [bx0, by0, bx1, by1] = blob.bounds;
    let (width, height) = (bx1 - bx0 + 2, by1 - by0 + 2);
    let patch = scene.patch(photo, blob.bounds);
    let mut labels = Labels { width, height, of: vec![0; width * height] };
    let mut deficit = vec![0.0f32; width * height];
    let mut darkest = Vec::new();
    for run in &blob.runs {
        let row = (run.y as usize - by0 + 1) * width;
        for x in run.x0 as usize - bx0..run.x1 as usize - bx0 {
            labels.of[row + x + 1] = 1;
            let c = patch.at(x, run.y as usize - by0);
            deficit[row + x + 1] = c;
            darkest.push(c);
        }
    }
    let whole = |runs: Vec<Run>| vec![Part { bounds: blob.bounds, runs, split: false, rejected: None }];
    // Nine tenths: above edge pixels and shade, below the darkest texture.
    let at = darkest.len() * 9 / 10;
    let (_, &mut dark, _) = darkest.select_nth_unstable_by(at, f32::total_cmp);
    let half = 0.5 * dark;

    let mut seeds = cores(&mut labels, &deficit, half);
    seeds += specks(&mut labels, &patch, kernel, scene.blur_px, threshold, seeds);
    if seeds <= 1 {
        return whole(blob.runs);
    }
    spread(&mut labels);
    let mut runs: Vec<Vec<Run>> = vec![Vec::new(); seeds as usize];
    for y in 0..height {
        let row = &labels.of[y * width..(y + 1) * width];
        let mut x = 0;
        while x < width {
            let x0 = x;
            while x < width && row[x] == row[x0] {
                x += 1;
            }
            if row[x0] >= 2 {
                let run = Run { y: (y + by0 - 1) as u32, x0: (x0 + bx0 - 1) as u32, x1: (x + bx0 - 1) as u32 };
                runs[row[x0] as usize - 2].push(run);
            }
        }
    }
    runs.into_iter()
        .filter(|runs| !runs.is_empty())
        .map(|runs| Part { bounds: bounds(&runs), runs, split: true, rejected: None })
        .collect()
}

/// Labels the connected cores (side by side, deficit above `half`) from 2 on; returns their number.
fn cores(labels: &mut Labels, deficit: &[f32], half: f32) -> u32 {
    let mut count = 0;
    let mut stack = Vec::new();
    for start in 0..labels.of.len() {
        if labels.of[start] != 1 || deficit[start] <= half {
            continue;
        }
        let label = count + 2;
        count += 1;
        labels.of[start] = label;
        stack.push(start);
        while let Some(i) = stack.pop() {
            for j in labels.around(i).take(4) {
                if labels.of[j] == 1 && deficit[j] > half {
                    labels.of[j] = label;
                    stack.push(j);
                }
            }
        }
    }
    count
}

/// Finds faint specks in the rest of the blob: places that rise above their surroundings by the detection threshold.
///
/// They are particles too small to reach the half level of the darkest part of the blob, joined to it by its shade.
fn specks(labels: &mut Labels, patch: &Patch, kernel: &GaussKernel, blur_px: f64, threshold: f64, seeds: u32) -> u32 {
    let width = labels.width;
    let reach = (1.5 * blur_px).ceil() as usize;
    let free: Vec<usize> = (0..labels.of.len()).filter(|&i| labels.of[i] == 1).collect();
    let far = |labels: &Labels, i: usize, reach: usize| {
        let (x, y) = (i % width, i / width);
        (y.saturating_sub(reach)..(y + reach + 1).min(labels.height)).all(|v| {
            let row = v * width;
            labels.of[row + x.saturating_sub(reach)..row + (x + reach + 1).min(width)].iter().all(|&l| l < 2)
        })
    };
    let candidates: Vec<usize> = free.into_iter().filter(|&i| far(labels, i, reach)).collect();
    if candidates.is_empty() {
        return 0;
    }
    let smooth = smooth_patch(patch, kernel);
    let value = |i: usize| smooth[(i / width - 1) * patch.width + i % width - 1];
    let ring = (3.0 * blur_px).ceil() as isize;
    let mut found = 0;
    for i in candidates {
        let v = value(i);
        let inside = |j: usize| labels.of[j] != 0;
        if labels.around(i).any(|j| inside(j) && value(j) > v) {
            continue;
        }
        // Level of the shade round the speck: median of a ring beyond the blur, without the cores.
        let (x, y) = ((i % width) as isize, (i / width) as isize);
        let mut shade = Vec::new();
        for (dx, dy) in (0..16).map(|k| (f64::from(k) * std::f64::consts::TAU / 16.0).sin_cos()) {
            let (u, w) = (x + (dx * ring as f64).round() as isize, y + (dy * ring as f64).round() as isize);
            let within = u >= 1 && w >= 1 && u <= patch.width as isize && w <= patch.height as isize;
            let j = if within { w as usize * width + u as usize } else { 0 };
            if within && labels.of[j] < 2 {
                shade.push(f64::from(smooth[(w as usize - 1) * patch.width + u as usize - 1]));
            } else if !within {
                shade.push(0.0);
            }
        }
        let level = crate::numeric::median(&mut shade).unwrap_or(f64::from(v));
        if f64::from(v) - level > threshold {
            found += 1;
            labels.of[i] = seeds + found + 1;
        }
    }
    found
}

fn smooth_patch(patch: &Patch, kernel: &GaussKernel) -> Vec<f32> {
    let (w, h) = (patch.width, patch.height);
    let mut along = vec![0.0; w * h];
    for (row, out) in patch.deficit.chunks_exact(w).zip(along.chunks_exact_mut(w)) {
        kernel.smooth_row(row, out);
    }
    let mut smooth = vec![0.0; w * h];
    let (mut column, mut out) = (vec![0.0; h], vec![0.0; h]);
    for x in 0..w {
        for y in 0..h {
            column[y] = along[y * w + x];
        }
        kernel.smooth_row(&column, &mut out);
        for y in 0..h {
            smooth[y * w + x] = out[y];
        }
    }
    smooth
}

/// Gives the rest of the blob to the nearest part, step by step outwards.
fn spread(labels: &mut Labels) {
    let mut front: Vec<usize> = (0..labels.of.len()).filter(|&i| labels.of[i] >= 2).collect();
    while !front.is_empty() {
        let mut next = Vec::new();
        for i in front {
            for j in labels.around(i) {
                if labels.of[j] == 1 {
                    labels.of[j] = labels.of[i];
                    next.push(j);
                }
            }
        }
        front = next;
    }
}
