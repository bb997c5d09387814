use crate::particle::Particle;

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
    pub fn particles(&self) -> impl Iterator<Item = &Particle> {
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
