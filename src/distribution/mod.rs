//! Stage 6: from particles to a weighted size distribution, with intervals.

mod curve;
mod figures;
mod interval;
mod known;
mod limit;
mod sample;
mod sieved;
mod unseen;

pub use curve::Curve;
pub use figures::{Basis, Figures, Sizes};
pub use interval::{IntervalSettings, intervals, standard_errors, support};
pub use known::{KnownCheck, KnownError, KnownSize, check_known};
pub use limit::{LEAST_RECALL, Recall, RecallRow, SEEN, expected_ecd_px};
pub use sample::{Landmarks, PhotoParticles, Sample, SampleError, pale, shown_twice};
pub use sieved::SieveShape;
pub use unseen::{LARGEST_UM, Unseen, completed, mass_figures, share_above};
