use crate::particle::{Flags, Particle};

/// The particles of one photo.
#[derive(Clone, Debug, PartialEq)]
pub struct PhotoParticles {
    /// Name of the photo.
    pub name: String,
    /// What was measured on it.
    pub particles: Vec<Particle>,
    /// Smallest ECD of which the photo shows 95 %, µm.
    pub smallest_ecd_um: f64,
}

impl PhotoParticles {
    /// Leaves out what is as pale as chaff.
    pub fn leave_out_pale(&mut self) {
        self.particles.retain(|p| !p.flags.contains(Flags::PALE));
    }
}

/// Number of particles as pale as chaff, and their share of the mass, %.
pub fn pale<'p>(particles: impl Iterator<Item = &'p Particle> + Clone) -> (usize, f64) {
    let pale = || particles.clone().filter(|p| p.flags.contains(Flags::PALE));
    let share = pale().map(Particle::mass).sum::<f64>() / particles.clone().map(Particle::mass).sum::<f64>();
    (pale().count(), 100.0 * share)
}

/// Particles that are looked for in another photo: the largest, which are placed best. They are among twice as many of its largest.
const LOOKED_FOR: usize = 20;
/// Fewer than these at places of their own tell nothing.
const LEAST_LOOKED_FOR: usize = 10;
/// Places and sizes of one particle in two files of the same photo agree so well, px and relative; spreads do not by chance.
const SAME_PLACE_PX: f64 = 1.0;
const SAME_SIZE: f64 = 0.05;

/// The largest particles of a photo, by which it is known again.
#[derive(Clone, Debug)]
pub struct Landmarks(Vec<Particle>);

impl Landmarks {
    /// Those of the photo that holds `particles`.
    pub fn of(particles: &[Particle]) -> Self {
        let larger = |p: &Particle, q: &Particle| q.ecd_um.total_cmp(&p.ecd_um);
        let mut largest = particles.to_vec();
        if largest.len() > 2 * LOOKED_FOR {
            largest.select_nth_unstable_by(2 * LOOKED_FOR, larger);
            largest.truncate(2 * LOOKED_FOR);
        }
        largest.sort_by(larger);
        Landmarks(largest)
    }

    /// True where nine in ten of the largest particles of one photo lie at the same places in the other, as large: one photo
    /// saved anew, or grounds that were not spread anew.
    pub fn are_those_of(&self, other: &Landmarks) -> bool {
        let off = |p: &Particle, q: &Particle| (p.x_px - q.x_px).hypot(p.y_px - q.y_px);
        let largest = &self.0[..self.0.len().min(LOOKED_FOR)];
        // Particles without places of their own (a table of sizes alone) tell nothing.
        let placed = (1..largest.len()).all(|i| largest[..i].iter().all(|p| off(p, &largest[i]) > SAME_PLACE_PX));
        let is_same =
            |p: &Particle, q: &Particle| off(p, q) < SAME_PLACE_PX && (p.ecd_um / q.ecd_um - 1.0).abs() < SAME_SIZE;
        let found = largest.iter().filter(|p| other.0.iter().any(|q| is_same(p, q))).count();
        placed && largest.len() >= LEAST_LOOKED_FOR && 10 * found >= 9 * largest.len()
    }
}

/// The first two of `photos` (by their places) that show the same particles: one photo twice, saved anew, or grounds that were not
/// spread anew.
pub fn shown_twice(photos: &[&PhotoParticles]) -> Option<[usize; 2]> {
    let key = |p: &Particle| (p.x_px, p.y_px, p.ecd_um);
    let same = |x: &[Particle], y: &[Particle]| {
        !x.is_empty() && x.len() == y.len() && x.iter().zip(y).all(|(p, q)| key(p) == key(q))
    };
    let marks: Vec<Landmarks> = photos.iter().map(|p| Landmarks::of(&p.particles)).collect();
    let is_twice =
        |&[a, b]: &[usize; 2]| same(&photos[a].particles, &photos[b].particles) || marks[a].are_those_of(&marks[b]);
    (0..photos.len()).flat_map(|b| (0..b).map(move |a| [a, b])).find(is_twice)
}

/// Particles of one or several photos of the same grounds, with the photos kept apart.
///
/// Holds at least one particle; every ECD and weight is a number above 0 (checked in `new`).
#[derive(Clone, Debug, PartialEq)]
pub struct Sample {
    photos: Vec<PhotoParticles>,
}

/// Why particles make no sample.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs, reason = "each variant is its message")]
pub enum SampleError {
    #[error(
        "no whole particle lies on the paper, so there is nothing to measure. Spread some grounds clear of the edges"
    )]
    Empty,
    #[error("particle {row} of {photo} has a diameter or weight that is not a number above 0")]
    BadParticle { photo: String, row: usize },
}

impl Sample {
    /// Joins photos of the same grounds.
    ///
    /// # Errors
    /// No particle at all, or a diameter or weight that is not a number above 0.
    pub fn new(photos: Vec<PhotoParticles>) -> Result<Self, SampleError> {
        let good = |v: f64| v.is_finite() && v > 0.0;
        for photo in &photos {
            if let Some(row) = photo.particles.iter().position(|p| !good(p.ecd_um) || !good(p.weight)) {
                return Err(SampleError::BadParticle { photo: photo.name.clone(), row: row + 1 });
            }
        }
        if photos.iter().all(|p| p.particles.is_empty()) {
            return Err(SampleError::Empty);
        }
        Ok(Sample { photos })
    }

    /// The photos.
    pub fn photos(&self) -> &[PhotoParticles] {
        &self.photos
    }

    /// All particles.
    pub fn particles(&self) -> impl Iterator<Item = &Particle> + Clone {
        self.photos.iter().flat_map(|p| &p.particles)
    }

    /// Number of particles, at least 1.
    pub fn count(&self) -> usize {
        self.photos.iter().map(|p| p.particles.len()).sum()
    }

    /// Smallest ECD of which every photo shows 95 %, µm.
    pub fn smallest_ecd_um(&self) -> f64 {
        self.photos.iter().map(|p| p.smallest_ecd_um).fold(0.0, f64::max)
    }
}
