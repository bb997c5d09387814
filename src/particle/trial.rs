//! What becomes of particles of known size in this photo: they are laid on its own empty paper, with its own blur and
//! shadow, and looked for by the same code as its own.

use rayon::prelude::*;

use super::calibrate::Calibration;
use super::look::Look;
use super::shape::Reader;
use super::synthetic::{disc, side_px, true_core};
use super::territory::Occupied;
use crate::backdrop::{Patch, Scene};
use crate::numeric::Draws;
use crate::photo::Photo;
use crate::segment::{self, Regions};

/// One particle laid on the paper.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trial {
    /// Its diameter, px.
    pub ecd_px: f64,
    /// Diameter that was measured, px; `None` where it was not found.
    pub found_px: Option<f64>,
    /// Blur where it lay over that of the whole photo.
    pub softness: f64,
}

/// Empty places of a photo, and what it takes to try particles there.
pub struct Trials<'a> {
    /// The photo with all that was laid on it; copying one of 12 megapixels would take as long as all trials.
    photo: &'a mut Photo,
    /// Boxes that were written over, and the codes that stood there.
    before: Vec<([usize; 4], Vec<u16>)>,
    scene: &'a Scene,
    regions: &'a Regions,
    calibration: &'a Calibration,
    /// Boxes of bare paper, in random order.
    places: Vec<[usize; 4]>,
    used: usize,
    side: usize,
    draws: Draws,
}

/// Shifts against the pixel grid that stand for all, px.
const SHIFTS: [[f64; 2]; 3] = [[0.05, 0.1], [0.4, 0.75], [0.7, 0.4]];

/// Places looked for: more than one measurement asks.
const MOST_PLACES: usize = 900;

impl<'a> Trials<'a> {
    /// Looks for empty paper for particles up to `largest_px` wide; `seed` jitters the places.
    pub fn new(
        photo: &'a mut Photo,
        scene: &'a Scene,
        regions: &'a Regions,
        calibration: &'a Calibration,
        largest_px: f64,
        seed: u64,
    ) -> Self {
        // Room for the particle, for what is read round it, and for a block that begins up to its side further on.
        let (grid, phase) = photo.grid();
        let softest = scene.softness.softest().max(1.0) * scene.blur_px;
        let reach = side_px(0.5 * largest_px, &calibration.shade, softest);
        let side = (reach + grid).next_multiple_of(grid);
        let mut draws = Draws::new(seed, 0);
        let occupied = Occupied::new(photo, regions);
        let (width, height) = (photo.width(), photo.height());
        // As many cells as give the places wanted were all of the paper bare; each is tried at one place.
        let cell = (((width * height) as f64 / (2 * MOST_PLACES) as f64).sqrt() as usize).max(side + grid + 1);
        let mut places = Vec::new();
        for (cy, cx) in (0..height / cell).flat_map(|y| (0..width / cell).map(move |x| (y, x))) {
            let mut place = |axis: usize, start: usize| {
                let free = start + draws.below(cell - side - grid + 1);
                free + (phase[axis] + grid - free % grid) % grid
            };
            let (x0, y0) = (place(0, cx * cell), place(1, cy * cell));
            let (x1, y1) = (x0 + side, y0 + side);
            let on_paper = [x0, x1 - 1].iter().all(|&x| [y0, y1 - 1].iter().all(|&y| scene.field.contains(x, y)));
            if on_paper && (y0..y1).all(|y| occupied.count(x0, x1, y) == 0) {
                places.push([x0, y0, x1, y1]);
            }
        }
        for i in (1..places.len()).rev() {
            places.swap(i, draws.below(i + 1));
        }
        places.truncate(MOST_PLACES);
        Trials { photo, before: Vec::new(), scene, regions, calibration, places, used: 0, side, draws }
    }

    /// Number of empty places left.
    pub fn left(&self) -> usize {
        self.places.len() - self.used
    }

    /// Blur at the place over that of the whole photo.
    fn softness_at(&self, place: &[usize; 4]) -> f64 {
        self.scene.softness.at([0, 1].map(|i| 0.5 * (place[i] + place[i + 2]) as f64))
    }

    /// Tries `each` particles of every diameter in `sizes_px`, or as many as there are places.
    pub fn run(&mut self, sizes_px: &[f64], each: usize) -> Vec<Trial> {
        let scene = self.scene;
        let Calibration { look, shade, .. } = self.calibration;
        // Laid on the light itself, before the photo cuts it at full scale.
        let excess = look.bare_excess();
        let plain = Look { excess: 1.0, ..*look };
        let core = true_core(scene.core, &Look { excess, ..*look });
        // As soft as the photo is where they are laid.
        let steps = scene.softness.steps();
        let softest = scene.softness.softest().max(1.0) * scene.blur_px;
        let templates: Vec<Patch> = steps
            .par_iter()
            .flat_map(|&ratio| sizes_px.par_iter().map(move |&size| (plain.softened(ratio), size)))
            .flat_map_iter(|(look, size)| {
                SHIFTS.iter().map(move |&at| disc(0.5 * size, &look, core, shade, at, softest))
            })
            .collect();
        let count = (sizes_px.len() * each).min(self.left());
        let places = &self.places[self.used..self.used + count];
        self.used += count;
        let softness: Vec<f64> = places.iter().map(|place| self.softness_at(place)).collect();
        let laid: Vec<(usize, [f64; 2], Vec<u16>)> = places
            .iter()
            .enumerate()
            .map(|(i, place)| (i, place, self.draws.below(SHIFTS.len()), [0, 1].map(|_| self.draws.uniform())))
            .collect::<Vec<_>>()
            .into_par_iter()
            .map(|(i, &place, shift, [u, v])| {
                // Every size in turn, so that fewer places take from all alike.
                let off = |step: usize| (steps[step] - softness[i]).abs();
                let step = (0..steps.len()).min_by(|&a, &b| off(a).total_cmp(&off(b))).unwrap_or(0);
                let template = &templates[(step * sizes_px.len() + i % sizes_px.len()) * SHIFTS.len() + shift];
                let room = self.side - template.width.min(self.side);
                let (dx, dy) = ((u * (room + 1) as f64) as usize, (v * (room + 1) as f64) as usize);
                let mut deficit = vec![0.0f32; self.side * self.side];
                for (y, row) in deficit.chunks_exact_mut(self.side).skip(dy).take(template.height).enumerate() {
                    row[dx..dx + template.width].copy_from_slice(template.row(y));
                }
                let half = template.width as f64 / 2.0;
                let middle = [(place[0] + dx) as f64 + half, (place[1] + dy) as f64 + half];
                let centre = [middle[0] + SHIFTS[shift][0], middle[1] + SHIFTS[shift][1]];
                (i, centre, self.photo.darkened(place, &deficit, excess as f32))
            })
            .collect();
        for (place, (.., codes)) in places.iter().zip(&laid) {
            self.before.push((*place, self.photo.codes(*place)));
            self.photo.put(*place, codes);
        }
        let photo = &*self.photo;
        let found = segment::find_in(photo, scene, places, self.regions);
        let occupied = Occupied::new(photo, &found);
        let mut sizes: Vec<Option<f64>> = vec![None; count];
        let shapes: Vec<([f64; 2], f64)> = found
            .parts
            .par_iter()
            .filter(|part| part.rejected.is_none())
            .map_init(
                || Reader::new(photo, scene, &occupied, self.calibration.levels),
                |reader, part| {
                    let shape = reader.read(part)?.finish(self.calibration)?;
                    Some((shape.centre, shape.ecd_px()))
                },
            )
            .flatten()
            .collect();
        for (centre, size) in shapes {
            let inside = |b: &[usize; 4]| {
                (b[0] as f64..b[2] as f64).contains(&centre[0]) && (b[1] as f64..b[3] as f64).contains(&centre[1])
            };
            let Some(i) = places.iter().position(inside) else { continue };
            let ([x, y], true_size) = (laid[i].1, sizes_px[i % sizes_px.len()]);
            // What lies further off is something of the paper's own.
            if (centre[0] - x).hypot(centre[1] - y) < 1.0 + 0.5 * true_size {
                sizes[i] = Some(sizes[i].map_or(size, |s: f64| s.max(size)));
            }
        }
        sizes
            .into_iter()
            .enumerate()
            .map(|(i, found_px)| Trial { ecd_px: sizes_px[i % sizes_px.len()], found_px, softness: softness[i] })
            .collect()
    }
}

impl Drop for Trials<'_> {
    /// Takes everything off the paper again.
    fn drop(&mut self) {
        for (place, codes) in &self.before {
            self.photo.put(*place, codes);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::backdrop::{self, Region};
    use crate::particle;

    #[test]
    fn trials_are_found_and_leave_the_photo_as_it_was() {
        let mut draws = Draws::new(5, 0);
        let mut photo = Photo::from_luma(400, 300, (0..400 * 300).map(|_| 196 + draws.below(9) as u8).collect());
        let grain = vec![30; 400];
        photo.put([60, 60, 80, 80], &grain);
        let before = photo.codes([0, 0, 400, 300]);
        let scene = backdrop::read(&photo, Region::default()).unwrap();
        let regions = segment::find(&photo, &scene);
        let (_, calibration) = particle::shapes(&photo, &scene, &regions);
        let mut trials = Trials::new(&mut photo, &scene, &regions, &calibration, 8.0, 1);
        let found = trials.run(&[8.0], 10);
        assert_eq!(found.len(), 10);
        assert!(found.iter().all(|t| t.found_px.is_some_and(|d| (d - 8.0).abs() < 1.0)), "{found:?}");
        drop(trials);
        assert_eq!(photo.codes([0, 0, 400, 300]), before);
    }
}
