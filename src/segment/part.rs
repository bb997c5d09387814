//! Parts a blob into particles: dark cores that only their shade joins, and faint specks beside a large one.

use rayon::prelude::*;

use super::label::{Blob, Run, RunGroups, Touch, bounds, darkness_of, pixels, runs_above};
use super::shade::{Picture, is_island, level_of, most_px, ring};
use super::split::Splitter;
use super::{Part, Rejection};
use crate::backdrop::{Patch, Scene};
use crate::numeric::GaussKernel;
use crate::photo::Photo;

/// Darkness of shade, share of the core, at most: flakes of chaff are darker.
const SHADE: f64 = 0.35;

pub(super) fn all(photo: &Photo, scene: &Scene, blobs: Vec<Blob>, threshold: f64) -> Vec<Part> {
    blobs
        .into_par_iter()
        .map_init(
            || Parter::new(photo, scene, threshold),
            |parter, blob| {
                if is_island(photo, scene, &parter.kernel, &blob, threshold) {
                    return Vec::new();
                }
                let large = is_large(photo, blob.bounds, &blob.runs).then(|| blob.clone());
                let mut parts = parter.parts_of(blob);
                // Particles that hang together and reach the frame; or a table, whose rim is not to be taken for grounds.
                if let Some(blob) = large
                    && parts.iter().any(|p| is_large(photo, p.bounds, &p.runs))
                {
                    parts = vec![Part { rejected: Some(Rejection::CutByFrame), ..whole(blob) }];
                }
                for part in &mut parts {
                    if off_paper(scene, part) {
                        part.rejected = Some(Rejection::OffPaper);
                    }
                }
                parts
            },
        )
        .flatten_iter()
        .collect()
}

fn whole(blob: Blob) -> Part {
    Part { bounds: blob.bounds, runs: blob.runs, split: false, rejected: None }
}

/// A dark mass at the frame that is larger than any particle.
fn is_large(photo: &Photo, bounds: [usize; 4], runs: &[Run]) -> bool {
    let area: usize = runs.iter().map(Run::len).sum();
    at_frame(photo, bounds) && area * 20 > photo.width() * photo.height()
}

fn at_frame(photo: &Photo, [x0, y0, x1, y1]: [usize; 4]) -> bool {
    x0 == 0 || y0 == 0 || x1 == photo.width() || y1 == photo.height()
}

fn off_paper(scene: &Scene, part: &Part) -> bool {
    if scene.field.is_whole() {
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
    pub of: Vec<u32>,
}

impl Labels {
    /// Indices of the pixels beside `i`: four by sides, then four by corners.
    pub fn around(&self, i: usize) -> impl Iterator<Item = usize> + use<> {
        let w = self.width;
        // The patch has a margin of one pixel, so that no neighbour of a blob pixel falls outside.
        [i - 1, i + 1, i - w, i + w, i - w - 1, i - w + 1, i + w - 1, i + w + 1].into_iter()
    }

    /// The parts 2 … as particles; the blob begins at `x0`, `y0`.
    pub fn parts(&self, [x0, y0]: [usize; 2], count: usize) -> Vec<Part> {
        let mut runs: Vec<Vec<Run>> = vec![Vec::new(); count];
        for (y, row) in self.of.chunks_exact(self.width).enumerate() {
            let mut x = 0;
            while x < row.len() {
                let start = x;
                while x < row.len() && row[x] == row[start] {
                    x += 1;
                }
                if row[start] >= 2 {
                    let run = Run { y: (y + y0 - 1) as u32, x0: (start + x0 - 1) as u32, x1: (x + x0 - 1) as u32 };
                    runs[row[start] as usize - 2].push(run);
                }
            }
        }
        runs.into_iter()
            .filter(|runs| !runs.is_empty())
            .map(|runs| Part { bounds: bounds(&runs), runs, split: true, rejected: None })
            .collect()
    }
}

/// Parts blobs one after the other, with room that it keeps from one to the next.
struct Parter<'a> {
    photo: &'a Photo,
    scene: &'a Scene,
    kernel: GaussKernel,
    threshold: f64,
    patch: Patch,
    darkest: Vec<f32>,
    smooth: Vec<f32>,
    /// Runs of the cores, and the core of each.
    dark: Vec<Run>,
    core_of: Vec<u32>,
    groups: RunGroups,
    splitter: Splitter,
    near: Vec<[u32; 2]>,
}

impl<'a> Parter<'a> {
    fn new(photo: &'a Photo, scene: &'a Scene, threshold: f64) -> Self {
        Parter {
            photo,
            scene,
            kernel: GaussKernel::new(scene.blur_px),
            threshold,
            patch: Patch::default(),
            darkest: Vec::new(),
            smooth: Vec::new(),
            dark: Vec::new(),
            core_of: Vec::new(),
            groups: RunGroups::default(),
            splitter: Splitter::new(scene.blur_px, scene.core, scene.texture),
            near: Vec::new(),
        }
    }

    fn parts_of(&mut self, blob: Blob) -> Vec<Part> {
        self.scene.cut(self.photo, blob.bounds, &mut self.patch);
        let darkness = darkness_of(&self.patch, &blob.runs, &mut self.darkest);
        // Larger than any speck and so pale, it is shade, and particles may lie in it.
        let shade = f64::from(darkness) < SHADE * self.scene.core
            && blob.runs.iter().map(Run::len).sum::<usize>() > most_px(self.scene.blur_px);
        let darkness = if shade { self.scene.core as f32 } else { darkness };
        let mut cores = self.find_cores(&blob, 0.5 * darkness);
        if cores > 1 {
            cores = self.drop_shade(cores);
        }
        let cores = self.cut_cores(cores, darkness);
        // How far from a core a speck may be seen.
        let reach = (1.5 * self.scene.blur_px).ceil() as usize;
        let far = self.beyond(&blob, reach as u32);
        if cores == 1 && far.is_empty() && !shade {
            return vec![whole(blob)];
        }
        let mut labels = self.labels(&blob);
        let specks = self.specks(&mut labels, &far, cores as u32);
        let seeds = cores + specks;
        if seeds <= 1 && !shade {
            return vec![whole(blob)];
        }
        spread(&mut labels, if shade { reach } else { usize::MAX });
        labels.parts([blob.bounds[0], blob.bounds[1]], seeds)
    }

    /// Finds the connected cores of the blob (side by side, deficit above `half`) and gives their number.
    fn find_cores(&mut self, blob: &Blob, half: f32) -> usize {
        self.dark.clear();
        for run in &blob.runs {
            runs_above(pixels(&self.patch, run), run.x0 as usize, run.y as usize, half, &mut self.dark);
        }
        let (count, labels) = self.groups.label(&self.dark, Touch::Sides);
        self.core_of.clear();
        self.core_of.extend_from_slice(labels);
        count
    }

    /// Drops those of the `count` cores that are shade about half as dark as the particle, and gives the number of those left.
    fn drop_shade(&mut self, count: usize) -> usize {
        let most = most_px(self.scene.blur_px);
        let mut areas = vec![0; count];
        self.dark.iter().zip(&self.core_of).for_each(|(run, &core)| areas[core as usize] += run.len());
        if areas.iter().all(|&area| area > most) {
            return count;
        }
        self.smooth_patch();
        let picture = Picture { patch: &self.patch, smooth: &self.smooth };
        let mut number = 0;
        let numbers: Vec<Option<u32>> = (0..count as u32)
            .map(|core| {
                let mine = || self.dark.iter().zip(&self.core_of).filter(|(_, of)| **of == core).map(|(run, _)| run);
                let hidden = |x: u32, y: u32| {
                    let from = self.dark.partition_point(|run| run.y < y);
                    let row = self.dark[from..].iter().zip(&self.core_of[from..]).take_while(|(run, _)| run.y == y);
                    row.into_iter().any(|(run, of)| (run.x0..run.x1).contains(&x) && areas[*of as usize] > most)
                };
                let kept = areas[core as usize] > most
                    || picture.rise(mine(), self.scene.blur_px, hidden).is_none_or(|rise| rise > self.threshold);
                kept.then(|| {
                    number += 1;
                    number - 1
                })
            })
            .collect();
        let left = self.dark.iter().zip(&self.core_of);
        (self.dark, self.core_of) = left.filter_map(|(run, core)| Some((*run, numbers[*core as usize]?))).unzip();
        number as usize
    }

    /// Cuts each of the `count` cores where touching particles meet; gives the new number of cores.
    fn cut_cores(&mut self, count: usize, darkness: f32) -> usize {
        if count == 1 {
            // Mostly the core is one particle, and nothing is copied.
            let Some(parts) = self.splitter.split(&self.patch, &self.dark, darkness) else { return 1 };
            (self.dark, self.core_of) = parts.into_iter().unzip();
            return self.core_of.iter().max().map_or(1, |&last| last as usize + 1);
        }
        let mut next = count as u32;
        let mut cut = Vec::new();
        for core in 0..count as u32 {
            let mine = self.dark.iter().zip(&self.core_of).filter(|(_, of)| **of == core);
            let runs: Vec<Run> = mine.map(|(run, _)| *run).collect();
            let Some(parts) = self.splitter.split(&self.patch, &runs, darkness) else {
                cut.extend(runs.into_iter().map(|run| (run, core)));
                continue;
            };
            let more = parts.iter().map(|p| p.1).max().unwrap_or(0);
            // The first part keeps the core's number.
            cut.extend(parts.into_iter().map(|(run, part)| (run, if part == 0 { core } else { next + part - 1 })));
            next += more;
        }
        cut.sort_unstable_by_key(|(run, _)| (run.y, run.x0));
        (self.dark, self.core_of) = cut.into_iter().unzip();
        next as usize
    }

    /// Stretches of the blob that lie farther than `reach` from every core, by rows or by columns.
    fn beyond(&mut self, blob: &Blob, reach: u32) -> Vec<Run> {
        let mut far = Vec::new();
        let mut low = 0;
        for run in &blob.runs {
            while self.dark.get(low).is_some_and(|d| d.y + reach < run.y) {
                low += 1;
            }
            self.near.clear();
            let near = self.dark[low..].iter().take_while(|d| d.y <= run.y + reach);
            self.near.extend(near.map(|d| [d.x0.saturating_sub(reach), d.x1 + reach]));
            // Mostly the core lies beside the whole run.
            if self.near.iter().any(|n| n[0] <= run.x0 && run.x1 <= n[1]) {
                continue;
            }
            self.near.sort_unstable();
            let mut x0 = run.x0;
            for &[start, end] in &self.near {
                if x0 < start.min(run.x1) {
                    far.push(Run { y: run.y, x0, x1: start.min(run.x1) });
                }
                x0 = x0.max(end);
            }
            if x0 < run.x1 {
                far.push(Run { y: run.y, x0, x1: run.x1 });
            }
        }
        far
    }

    /// The blob's pixels with its cores, which are 2, 3 ….
    fn labels(&self, blob: &Blob) -> Labels {
        let (width, height) = (self.patch.width + 2, self.patch.height + 2);
        let mut labels = Labels { width, of: vec![0; width * height] };
        let mut fill = |run: &Run, label: u32| {
            let start = (run.y as usize - self.patch.y0 + 1) * width + run.x0 as usize - self.patch.x0 + 1;
            labels.of[start..start + run.len()].fill(label);
        };
        blob.runs.iter().for_each(|run| fill(run, 1));
        self.dark.iter().zip(&self.core_of).for_each(|(run, core)| fill(run, core + 2));
        labels
    }

    /// Finds faint specks in the stretches `far` from the blob's cores, labels their peaks from `cores` + 2 on, and
    /// gives their number.
    ///
    /// They are particles too small to reach the half level of the darkest part of the blob, joined to it by its shade:
    /// places that rise above their surroundings by the detection threshold.
    fn specks(&mut self, labels: &mut Labels, far: &[Run], cores: u32) -> usize {
        if far.is_empty() {
            return 0;
        }
        self.smooth_patch();
        let (width, patch) = (labels.width, &self.patch);
        let value = |i: usize| self.smooth[(i / width - 1) * patch.width + i % width - 1];
        let ring = ring(self.scene.blur_px, 0.0);
        let places = far.iter().flat_map(|run| {
            let start = (run.y as usize - patch.y0 + 1) * width + run.x0 as usize - patch.x0 + 1;
            start..start + run.len()
        });
        let mut found = 0;
        for i in places {
            let v = value(i);
            if labels.around(i).any(|j| labels.of[j] != 0 && value(j) > v) {
                continue;
            }
            let (x, y) = ((i % width) as isize, (i / width) as isize);
            // Paper beside the blob counts as bare, its cores not at all.
            let on_ring = |[dx, dy]: [isize; 2]| {
                let (u, w) = (x + dx, y + dy);
                let within = u >= 1 && w >= 1 && u <= patch.width as isize && w <= patch.height as isize;
                if !within {
                    return Some(0.0);
                }
                let j = w as usize * width + u as usize;
                (labels.of[j] < 2).then(|| f64::from(value(j)))
            };
            if f64::from(v) - level_of(&ring, on_ring, |a, b| 0.5 * (a + b), 2).unwrap_or(f64::from(v)) > self.threshold
            {
                labels.of[i] = cores + 2 + found;
                found += 1;
            }
        }
        found as usize
    }

    fn smooth_patch(&mut self) {
        let (w, h) = (self.patch.width, self.patch.height);
        self.smooth.resize(w * h, 0.0);
        let rows = self.smooth.chunks_exact_mut(w);
        self.kernel.smooth_picture(&self.patch.deficit, w, (0..h).zip(rows));
    }
}

/// Gives the rest of the blob to the nearest part, step by step outwards, as far as `steps` go.
fn spread(labels: &mut Labels, steps: usize) {
    let mut front: Vec<usize> = (0..labels.of.len()).filter(|&i| labels.of[i] >= 2).collect();
    for _ in 0..steps {
        if front.is_empty() {
            return;
        }
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
