//! Puts particles on the paper until the asked coverage is reached.

use super::RenderError;
use super::grind::{draw_ecd_um, practical_max_um};
use super::noise::{Job, rng};
use super::outline::{Point, area, bounds, centroid, ecd_of, grain, slide_to_contact};
use super::spec::SceneSpec;
use super::stage::Stage;
use super::view::Projection;
use rand::RngExt;
use rand::seq::SliceRandom;
use rand_pcg::Pcg64Mcg;
use rayon::prelude::*;
use std::cmp::Ordering;
use std::f64::consts::{PI, TAU};

const MAX_PARTICLES: usize = 1_000_000;
const TRIES: usize = 2000;
const HOSTS_TRIED: usize = 12;
const ANGLES_TRIED: usize = 24;

/// A particle in its place. Pixels, flat ones as long as it is being placed.
#[derive(Clone)]
pub(super) struct Particle {
    /// Index in the order of drawing; names the particle's own random streams.
    pub index: u64,
    pub x: f64,
    pub y: f64,
    /// Outline about the centroid.
    pub outline: Vec<Point>,
    pub ecd: f64,
    /// Radius of the bounding circle about the centroid.
    pub radius: f64,
    pub touching: bool,
    pub chaff: bool,
}

impl Particle {
    /// Low and high corner of the bounding box.
    pub(super) fn bounds(&self) -> ([f64; 2], [f64; 2]) {
        let (low, high) = bounds(&self.outline);
        ([low[0] + self.x, low[1] + self.y], [high[0] + self.x, high[1] + self.y])
    }

    /// As the camera sees it.
    pub(super) fn seen(&self, projection: &Projection) -> Self {
        if projection.is_flat() {
            return self.clone();
        }
        let mut outline: Vec<Point> =
            self.outline.iter().map(|p| projection.flat_to_px([p[0] + self.x, p[1] + self.y], 0.0)).collect();
        // About a corner of its own first, for the precision of the centroid.
        let from = outline[0];
        outline.iter_mut().for_each(|p| *p = [p[0] - from[0], p[1] - from[1]]);
        let [cx, cy] = centroid(&outline);
        outline.iter_mut().for_each(|p| *p = [p[0] - cx, p[1] - cy]);
        let ecd = ecd_of(area(&outline));
        let radius = bounding_radius(&outline);
        Self { x: from[0] + cx, y: from[1] + cy, outline, ecd, radius, ..*self }
    }

    pub(super) fn is_in(&self, width: f64, height: f64) -> bool {
        let (low, high) = self.bounds();
        high[0] > 0.0 && high[1] > 0.0 && low[0] < width && low[1] < height
    }
}

/// Radius of the bounding circle about the origin.
fn bounding_radius(outline: &[Point]) -> f64 {
    outline.iter().map(|p| p[0].hypot(p[1])).fold(0.0, f64::max)
}

/// How far paper must go on beyond the frame for particles cut by it.
pub(super) fn beyond_px(spec: &SceneSpec) -> f64 {
    0.85 * practical_max_um(&spec.grind) / spec.um_per_px
}

/// Particles on the paper, in flat pixels. Not all need be in the frame.
pub(super) fn place(spec: &SceneSpec, stage: &Stage) -> Result<Vec<Particle>, RenderError> {
    let mut waiting = draw_particles(spec, stage)?;
    let wanted = waiting.len();
    let mut rng = rng(spec.seed, Job::Layout, 0);

    // Pairs go by lot, not by size. The smaller of a pair is laid against the larger.
    waiting.shuffle(&mut rng);
    let touching = (spec.touching_share * wanted as f64).round() as usize;
    let mut host_of: Vec<Option<u64>> = vec![None; wanted];
    for pair in waiting[..touching].chunks(2) {
        // One left over joins the first pair.
        let (a, b) = (&pair[0], pair.get(1).unwrap_or(&waiting[0]));
        let (host, guest) = if larger_first(a, b).is_lt() { (a, b) } else { (b, a) };
        if host.index != guest.index && host_of[guest.index as usize].is_none() {
            host_of[guest.index as usize] = Some(host.index);
        }
    }

    // Large ones first: what fits last is small, and no size is favoured in the end.
    waiting.sort_by(larger_first);
    let mean_radius = waiting.iter().map(|p| p.radius).sum::<f64>() / wanted.max(1) as f64;
    let mut table = Table {
        stage,
        gap: spec.min_gap_px,
        grid: Grid::new(stage.extent(), 2.0 * mean_radius + spec.min_gap_px),
        placed: Vec::with_capacity(wanted),
    };
    let mut slot_of: Vec<usize> = vec![0; wanted];
    let mut hosts: Vec<usize> = Vec::new();
    for particle in waiting {
        let index = particle.index as usize;
        slot_of[index] = table.placed.len();
        let Some(host) = host_of[index].map(|host| slot_of[host as usize]) else {
            table.put_alone(particle, wanted, &mut rng)?;
            continue;
        };
        hosts.push(host);
        // Its own host first, then any other that has room.
        let found = std::iter::once(host)
            .chain((0..HOSTS_TRIED).map(|k| hosts[(k * 7919 + index) % hosts.len()]))
            .find_map(|host| Some((host, table.lean(&particle, host, &mut rng)?)));
        match found {
            Some((host, [x, y])) => {
                table.placed[host].touching = true;
                table.put(Particle { touching: true, ..particle }, x, y);
            }
            None => table.put_alone(particle, wanted, &mut rng)?,
        }
    }

    Ok(table.placed)
}

fn larger_first(a: &Particle, b: &Particle) -> Ordering {
    b.radius.total_cmp(&a.radius).then(a.index.cmp(&b.index))
}

/// Sizes until the coverage is reached, then an outline for each.
fn draw_particles(spec: &SceneSpec, stage: &Stage) -> Result<Vec<Particle>, RenderError> {
    let target = spec.coverage * stage.free_area();
    let mut sizes = rng(spec.seed, Job::Sizes, 0);
    let mut drawn: Vec<(u64, f64, bool)> = Vec::new();
    let mut covered = 0.0;
    while covered < target {
        if drawn.len() >= MAX_PARTICLES {
            return Err(RenderError::TooMany { limit: MAX_PARTICLES });
        }
        let ecd = draw_ecd_um(&spec.grind, &mut sizes) / spec.um_per_px;
        let chaff = sizes.random::<f64>() < spec.coffee.chaff_share;
        covered += PI / 4.0 * ecd * ecd;
        drawn.push((drawn.len() as u64, ecd, chaff));
    }
    Ok(drawn
        .into_par_iter()
        .map(|(index, ecd, chaff)| {
            let outline = grain(ecd, chaff, &mut rng(spec.seed, Job::Outline, index));
            let radius = bounding_radius(&outline);
            Particle { index, x: 0.0, y: 0.0, outline, ecd, radius, touching: false, chaff }
        })
        .collect())
}

/// The particles placed so far.
struct Table<'a> {
    stage: &'a Stage,
    gap: f64,
    grid: Grid,
    placed: Vec<Particle>,
}

impl Table<'_> {
    fn put(&mut self, particle: Particle, x: f64, y: f64) {
        self.grid.insert(self.placed.len(), [x, y, particle.radius + self.gap]);
        self.placed.push(Particle { x, y, ..particle });
    }

    fn fits(&self, x: f64, y: f64, radius: f64, except: Option<usize>) -> bool {
        self.stage.is_free(x, y, radius)
            && self.grid.near([x, y, radius]).all(|i| {
                let other = &self.placed[i];
                Some(i) == except || (x - other.x).hypot(y - other.y) >= radius + other.radius + self.gap
            })
    }

    fn put_alone(&mut self, particle: Particle, wanted: usize, rng: &mut Pcg64Mcg) -> Result<(), RenderError> {
        let (low, high) = self.stage.extent();
        for _ in 0..TRIES {
            let x = rng.random_range(low[0]..high[0]);
            let y = rng.random_range(low[1]..high[1]);
            if self.fits(x, y, particle.radius, None) {
                self.put(particle, x, y);
                return Ok(());
            }
        }
        Err(RenderError::TooCrowded { placed: self.placed.len(), wanted })
    }

    /// A place where the guest lies against a host and clear of all others.
    fn lean(&self, guest: &Particle, slot: usize, rng: &mut Pcg64Mcg) -> Option<Point> {
        let host = &self.placed[slot];
        (0..ANGLES_TRIED).find_map(|_| {
            let (sin, cos) = rng.random_range(0.0..TAU).sin_cos();
            let overlap = 0.3 + rng.random_range(0.0..0.05) * guest.ecd.min(host.ecd);
            let start = host.radius + guest.radius + 1.0;
            let from = [start * cos, start * sin];
            let slide = slide_to_contact(&host.outline, &guest.outline, from, [-cos, -sin])?;
            let apart = start - slide - overlap;
            let (x, y) = (host.x + apart * cos, host.y + apart * sin);
            self.fits(x, y, guest.radius, Some(slot)).then_some([x, y])
        })
    }
}

/// Finds neighbours: each circle is entered in every cell it reaches.
struct Grid {
    low: Point,
    cell: f64,
    columns: usize,
    rows: usize,
    cells: Vec<Vec<u32>>,
}

impl Grid {
    fn new((low, high): (Point, Point), cell: f64) -> Self {
        let cell = cell.max(8.0).max((high[0] - low[0]).max(high[1] - low[1]) / 2000.0);
        let columns = ((high[0] - low[0]) / cell) as usize + 1;
        let rows = ((high[1] - low[1]) / cell) as usize + 1;
        Self { low, cell, columns, rows, cells: vec![Vec::new(); columns * rows] }
    }

    fn reached(&self, [x, y, radius]: [f64; 3]) -> impl Iterator<Item = usize> + use<> {
        let span = |at: f64, low: f64, count: usize| {
            let index = |v: f64| (((v - low) / self.cell).max(0.0) as usize).min(count - 1);
            index(at - radius)..=index(at + radius)
        };
        let across = span(x, self.low[0], self.columns);
        let columns = self.columns;
        span(y, self.low[1], self.rows).flat_map(move |row| across.clone().map(move |column| row * columns + column))
    }

    fn insert(&mut self, index: usize, circle: [f64; 3]) {
        for cell in self.reached(circle) {
            self.cells[cell].push(index as u32);
        }
    }

    fn near(&self, circle: [f64; 3]) -> impl Iterator<Item = usize> + '_ {
        self.reached(circle).flat_map(|cell| self.cells[cell].iter().map(|&i| i as usize))
    }
}
