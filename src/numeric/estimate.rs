use serde::Serialize;

/// A figure with its interval: never a bare number.
///
/// `low..high` holds the true value with the probability `level` (dimensionless, 0..1) under the assumptions of the
/// method that made it. Units are those of the figure.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Estimate {
    /// Best value.
    pub value: f64,
    /// Lower end of the interval.
    pub low: f64,
    /// Upper end of the interval.
    pub high: f64,
    /// Nominal coverage of the interval, 0..1.
    pub level: f64,
}

impl Estimate {
    /// Half the width of the interval, in the unit of the figure.
    pub fn half_width(&self) -> f64 {
        0.5 * (self.high - self.low)
    }
}
