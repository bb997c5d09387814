//! Pure numbers: nothing here knows of photos, particles or coffee.

mod binomial;
mod disjoint;
mod distance;
mod estimate;
mod gauss;
mod geometry;
mod least_squares;
mod levenberg;
mod quantile;
mod random;
mod regression;
mod spans;

pub use binomial::{binomial_upper_tail, exact_share, lower_bound, upper_bound};
pub use disjoint::DisjointSets;
pub use distance::Distances;
pub use estimate::Estimate;
pub use gauss::{GaussKernel, erf, normal_cdf, normal_quantile, student_t_cdf, student_t_quantile};
pub use geometry::{convex_hull, determinant, feret, mean_point, perimeter, resample_closed, shoelace};
pub(crate) use least_squares::surface_terms;
pub use least_squares::{quadratic_surface, solve};
pub use levenberg::{Fit, levenberg_marquardt};
pub use quantile::{median, quantile_of_sorted, weighted_quantile};
pub use random::Draws;
pub use regression::{Regression, regression};
pub use spans::Spans;

/// How far `x` lies along the range from `start` to `end`, 0 … 1.
pub fn along([start, end]: [f64; 2], x: f64) -> f64 {
    ((x - start) / (end - start)).clamp(0.0, 1.0)
}
