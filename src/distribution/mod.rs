//! Stage 6: from particles to a weighted size distribution, with intervals.

mod figures;
mod interval;
mod limit;
mod sample;

pub use figures::{Basis, Curve, Figures, Sizes};
pub use interval::{Intervals, bootstrap};
pub use limit::smallest_ecd_px;
pub use sample::{PhotoParticles, Sample, SampleError};
