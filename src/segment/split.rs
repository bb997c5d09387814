//! Parts touching particles: a dark core is cut where it is narrow against both its sides.

use super::basins::Basins;
use super::label::{Run, darkness_of};
use super::notch::{Sides, is_notched};
use super::sharpen::Sharpener;
use crate::backdrop::Patch;

/// Narrowest place between two particles, share of the smaller one's half width: a waist above it belongs to one
/// particle of irregular shape.
pub(super) const WAIST: f32 = 0.85;

/// Least half width of a part, px: narrower ones are corners of pixels.
pub(super) const NARROW_PX: f32 = 1.0;

/// Least depth of a waist, px of half width: pixels alone make shallower ones.
const DEPTH_PX: f32 = 0.14;

/// The same where particles are rough, in blur widths for a spread of their darkness of 1: an outline wanders by some 2.5.
const ROUGH: f32 = 9.0;

/// The same in a pale flake, whose texture alone makes deeper ones than coffee's, and in what is slender, along which half
/// pixels make waists again and again.
const SURE_DEPTH_PX: f32 = 0.5;

/// Length over width, taken as area over the square of the greatest width, of a slender core: above that of three
/// particles of a size in a row.
const SLENDER: f32 = 2.5;

/// The same of a hair or a fibre, which is one thing whatever its waists.
const FIBRE: f32 = 9.0;

/// Half widths of slender cores and of fibres, px, at most: wider ones are many particles that lie together.
const THIN_PX: [f32; 2] = [2.2, 5.0];

/// More parts of one core than this that are nowhere as wide (half width, px) are no specks, of which clumps hold a few.
const DICED: [(usize, f32); 2] = [(6, 2.2), (12, 3.8)];

/// Blur widths that a waist looks wider than it is, of half width: blur fills the corners where two outlines meet.
const FILL: f32 = 0.5;

/// The same once the blur is taken back, of which a rest stays.
const SHARP_FILL: f32 = 0.3;

/// Level at which touching particles are looked at, share of their darkness: above the middle the blur of two edges that
/// meet fills less of the gap between them, and the texture of large ones leaves no gaps yet.
const MEETING: f32 = 0.6;

/// In a larger core sharpening makes nothing darker than so many times what is seen: noise in a shadow is no particle.
const SHARPEST: f32 = 1.1;

/// Darkness of a core, share of that of large ones, below which it counts as pale: chaff lets light through.
const PALE: f32 = 0.77;

/// Smallest core that is looked at, px²: two particles of three pixels.
const SMALLEST_PX2: usize = 16;

/// Small core, px², which is looked at in quarters of pixels; a larger one in halves.
const SMALL_PX2: usize = 300;

/// Core from which on whole pixels are looked at first, px²: on a larger particle they show a speck of 4 px as well.
const SURE_PX2: usize = 1500;

/// Spread of the darkness of particles that are rough: dark roasts have 0.015 to 0.02, light ones with chaff 0.05.
const ROUGH_TEXTURE: f32 = 0.03;

/// Core, px², above which blur leaves the darkest tenth as dark as it was.
const SOFT_PX2: usize = 80;

/// Largest core that is looked at in half pixels, px²: some 250 px across, far above any particle.
const FINE_PX2: usize = 50_000;

/// What whole pixels may hide of a waist, px of half width.
const UNSURE_PX: f32 = 0.5;

/// Cuts cores, with room that it keeps from one to the next.
pub(super) struct Splitter {
    /// Darkness of large cores.
    core: f32,
    /// Spread of the darkness inside them, share of it.
    texture: f32,
    /// Blur, px.
    sigma: f32,
    sides: Sides,
    sharpener: Sharpener,
    darkest: Vec<f32>,
    basins: Basins,
}

impl Splitter {
    /// For photos with a blur of `sigma_px`, in which the large particles have the darkness `core` with the spread `texture`.
    pub fn new(sigma_px: f64, core: f64, texture: f64) -> Self {
        Splitter {
            core: core as f32,
            texture: texture as f32,
            sigma: sigma_px as f32,
            sides: Sides::default(),
            sharpener: Sharpener::new(sigma_px),
            darkest: Vec::new(),
            basins: Basins::default(),
        }
    }

    /// Parts of the core made of `runs`, found above half of `darkness`: each run with the number of its part, 0, 1 …, cut
    /// where parts meet; `None` when the core is one particle. A pale core is cut with more reserve.
    pub fn split(&mut self, patch: &Patch, runs: &[Run], darkness: f32) -> Option<Vec<(Run, u32)>> {
        let area: usize = runs.iter().map(Run::len).sum();
        if area < SMALLEST_PX2 || !is_notched(runs, area, &mut self.sides) {
            return None;
        }
        let (bounds, is_small) = (super::label::bounds(runs), area < SMALL_PX2);
        let Splitter { basins, sigma, .. } = self;
        // Whole pixels tell quickly that a large core is one particle. In finer ones the surface of a rough one makes waists.
        let quick = if self.texture > ROUGH_TEXTURE { SMALL_PX2 } else { SURE_PX2 };
        if area >= quick {
            basins.shape(patch, runs, bounds, MEETING * darkness, 1);
            if parts(basins, FILL * *sigma + UNSURE_PX, DEPTH_PX) < 2 {
                return None;
            }
        }
        let sharp = self.sharpener.sharpen(patch, bounds, if is_small { f32::INFINITY } else { SHARPEST });
        // A small core is paler than it was before the blur; what is sharpened in a larger one is its texture.
        let own = darkness_of(sharp, runs, &mut self.darkest);
        let [seen, level] = [if area < SOFT_PX2 { own } else { darkness }, MEETING * own];
        let found = if seen < PALE * self.core {
            basins.shape(patch, runs, bounds, level, if is_small { 2 } else { 1 });
            parts(basins, 0.0, SURE_DEPTH_PX)
        } else {
            let fine = match area {
                ..SMALL_PX2 => 4,
                SMALL_PX2..FINE_PX2 => 2,
                _ => 1,
            };
            basins.shape(sharp, runs, bounds, level, fine);
            let found = parts(basins, SHARP_FILL * *sigma, DEPTH_PX.max(ROUGH * self.texture * *sigma));
            // So many thin parts are a hair that lies against a particle, cut at the steps of its pixels.
            let is_diced = DICED.iter().any(|&(most, wide)| found > most && basins.thin(found, wide) > most);
            if is_diced { basins.flood(0.0, SURE_DEPTH_PX) } else { found }
        };
        (found > 1).then(|| cut(basins, runs, bounds))
    }
}

/// Number of parts that the shape in `basins` falls into, a waist being `fill` px narrower than it looks and at least `least`
/// px deep.
fn parts(basins: &mut Basins, fill: f32, least: f32) -> usize {
    let deepest = basins.deepest();
    match basins.area() / (4.0 * deepest * deepest) {
        length if length > FIBRE && deepest < THIN_PX[1] => 1,
        length if length > SLENDER && deepest < THIN_PX[0] => basins.flood(0.0, least.max(SURE_DEPTH_PX)),
        _ => basins.flood(fill, least),
    }
}

/// The runs, cut where basins meet.
fn cut(basins: &Basins, runs: &[Run], [x0, y0, ..]: [usize; 4]) -> Vec<(Run, u32)> {
    let mut out: Vec<(Run, u32)> = Vec::new();
    for run in runs {
        let start = out.len();
        for x in run.x0..run.x1 {
            // Pixels at the rim may have no sample inside: they follow their neighbour.
            let here = basins.at(x as usize - x0, run.y as usize - y0);
            match (out.get_mut(start..).and_then(|row| row.last_mut()), here) {
                (Some((last, label)), here) if here.is_none_or(|h| h == *label) => last.x1 = x + 1,
                (Some(_), here) => out.push((Run { y: run.y, x0: x, x1: x + 1 }, here.unwrap_or(0))),
                (None, Some(here)) => out.push((Run { y: run.y, x0: run.x0, x1: x + 1 }, here)),
                (None, None) => {}
            }
        }
        if out.len() == start {
            out.push((*run, 0));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::segment::{RunGroups, Touch, runs_above};

    /// A soft-edged picture of discs (x, y, radius) with the runs of its one core.
    fn discs(width: usize, height: usize, discs: &[[f64; 3]]) -> (Patch, Vec<Run>) {
        let deficit: Vec<f32> = (0..width * height)
            .map(|i| {
                let (x, y) = ((i % width) as f64 + 0.5, (i / width) as f64 + 0.5);
                let inside = discs.iter().map(|d| d[2] - (x - d[0]).hypot(y - d[1])).fold(f64::MIN, f64::max);
                (0.9 * (inside + 0.5).clamp(0.0, 1.0)) as f32
            })
            .collect();
        let patch = Patch { x0: 0, y0: 0, width, height, deficit };
        let runs = runs_of(&patch);
        assert_eq!(RunGroups::default().label(&runs, Touch::Sides).0, 1, "one core");
        (patch, runs)
    }

    fn runs_of(patch: &Patch) -> Vec<Run> {
        let mut runs = Vec::new();
        (0..patch.height).for_each(|y| runs_above(patch.row(y), 0, y, 0.45, &mut runs));
        runs
    }

    fn parts(picture: &(Patch, Vec<Run>)) -> Vec<(Run, u32)> {
        let Some(parts) = Splitter::new(0.3, 0.9, 0.0).split(&picture.0, &picture.1, 0.9) else { return Vec::new() };
        let pixels: usize = parts.iter().map(|(run, _)| run.len()).sum();
        assert_eq!(pixels, picture.1.iter().map(Run::len).sum::<usize>(), "no pixel is lost");
        parts
    }

    fn count(picture: &(Patch, Vec<Run>)) -> usize {
        parts(picture).iter().map(|p| p.1 as usize + 1).max().unwrap_or(1)
    }

    #[test]
    fn touching_discs_are_parted_where_they_meet() {
        for (a, b) in [(12.0, 12.0), (15.0, 6.0), (20.0, 4.0), (6.0, 4.0)] {
            let both = [[25.0, 25.0, a], [25.0 + a + b - 0.6, 25.0, b]];
            let picture = discs(90, 50, &both);
            assert_eq!(count(&picture), 2, "{a} {b}");
            let mut of = [[0usize; 2]; 2];
            for (run, part) in parts(&picture) {
                for x in run.x0..run.x1 {
                    let off = both.map(|d| (f64::from(x) + 0.5 - d[0]).hypot(f64::from(run.y) + 0.5 - d[1]) - d[2]);
                    of[part as usize][usize::from(off[1] < off[0])] += 1;
                }
            }
            let wrong = (of[0][0] + of[1][1]).min(of[0][1] + of[1][0]);
            // The cut may lie one pixel off along the waist, which is as wide as the smaller disc at most.
            assert!(wrong as f64 <= 2.0 * b, "{a} {b}: {of:?}");
        }
    }

    #[test]
    fn one_disc_a_rod_and_an_egg_stay_whole() {
        assert_eq!(count(&discs(60, 60, &[[30.0, 30.0, 20.0]])), 1);
        let rod: Vec<[f64; 3]> = (0..60).map(|i| [12.0 + f64::from(i), 20.0 + 0.1 * f64::from(i), 5.0]).collect();
        assert_eq!(count(&discs(90, 50, &rod)), 1);
        // A waist of nine tenths of the smaller half width.
        assert_eq!(count(&discs(90, 60, &[[30.0, 30.0, 18.0], [42.5, 30.0, 15.0]])), 1);
    }

    #[test]
    fn three_in_a_row_and_a_ring_of_gloss() {
        assert_eq!(count(&discs(90, 50, &[[14.0, 25.0, 10.0], [33.0, 25.0, 10.0], [52.0, 25.0, 10.0]])), 3);
        let (mut patch, _) = discs(60, 60, &[[30.0, 30.0, 20.0]]);
        for y in 24..36 {
            for x in 24..36 {
                patch.deficit[y * 60 + x] = 0.2;
            }
        }
        assert!(
            Splitter::new(0.3, 0.9, 0.0).split(&patch, &runs_of(&patch), 0.9).is_none(),
            "a pale middle is a hole, not a waist"
        );
    }

    #[test]
    fn discs_round_a_patch_of_paper_are_parted() {
        let ring = [0.0f64, 60.0, 120.0, 180.0, 240.0, 300.0].map(|a| {
            let (s, c) = a.to_radians().sin_cos();
            [40.0 + 19.5 * c, 40.0 + 19.5 * s, 10.0]
        });
        assert_eq!(count(&discs(80, 80, &ring)), 6);
    }
}
