//! What came out of the grounds: extraction yield, and how well the instruments' steps let it be known.

use crate::numeric::{Estimate, normal_quantile, student_t_cdf, student_t_quantile};

/// More than this dissolves from no roasted coffee, % of the dose: 28 to 33 % is what teaching pages give.
const MOST_YIELD_PCT: f64 = 35.0;

/// How water meets the grounds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Method {
    /// Water runs through and leaves the solids behind: filter, espresso.
    Percolation,
    /// All water stays with the grounds until it is poured off; what they retain is as strong as what is drunk.
    Immersion,
}

/// Smallest steps that the instruments show.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Steps {
    /// Of the balance, g.
    pub mass_g: f64,
    /// Of the instrument for dissolved solids, % of the beverage.
    pub tds_pct: f64,
    /// What its maker states as accuracy (± so much), % of the beverage; 0 where only the step counts.
    pub tds_accuracy_pct: f64,
}

/// A brew as it was weighed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Brewed {
    /// How water met the grounds.
    pub method: Method,
    /// Dry grounds, g.
    pub dose_g: f64,
    /// Water poured in, g.
    pub water_g: Option<f64>,
    /// Beverage in the cup, g.
    pub beverage_g: Option<f64>,
    /// Dissolved solids, % of the beverage.
    pub tds_pct: f64,
}

/// What was extracted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extraction {
    /// Dissolved solids, % of the dose. The interval holds the steps of the instruments, nothing else.
    pub yield_pct: Estimate,
    /// Liquid that the grounds kept, g per g of dose; where water and beverage were both weighed.
    pub retained_ratio: Option<f64>,
}

/// Why a brew gives no yield.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs, reason = "each variant is its message")]
pub enum CupError {
    #[error("the mass of the beverage is missing: what runs through is weighed in the cup. Give beverage_g")]
    NoBeverage,
    #[error("the water poured in is missing: with immersion all of it holds solids. Give water_g")]
    NoWater,
    #[error(
        "a yield of {0:.1} % is more than coffee holds (28 to 33 %). Check dose_g, tds_pct and the mass of beverage or water"
    )]
    TooMuch(f64),
    #[error("the beverage and its solids are {0:.0} g more than the water poured in. Check water_g and beverage_g")]
    MoreThanPoured(f64),
}

/// Extraction yield of a brew, with an interval of coverage `level` for the steps of the instruments.
///
/// Percolation: beverage · TDS / dose. Immersion: the whole water W carries the solids S at the strength of the beverage,
/// TDS = S/(W + S), so S = W · TDS/(1 − TDS), also for what the grounds retain.
/// A reading stands for any value within half a step of it: standard uncertainty step/√12, a stated accuracy ±a: a/√3
/// (JCGM 100, 4.3.7, from memory); they are joined in quadrature through the derivatives.
///
/// # Errors
/// Masses that are missing for the method, or that cannot be.
pub fn extraction(brew: &Brewed, steps: &Steps, level: f64) -> Result<Extraction, CupError> {
    let strength = brew.tds_pct / 100.0;
    let mass_error = steps.mass_g / 12f64.sqrt();
    let strength_error = (steps.tds_pct / 12f64.sqrt()).hypot(steps.tds_accuracy_pct / 3f64.sqrt()) / 100.0;
    // Dissolved mass, and the relative standard uncertainty that liquid and strength give it.
    let (dissolved, relative) = match brew.method {
        Method::Percolation => {
            let beverage = brew.beverage_g.ok_or(CupError::NoBeverage)?;
            (beverage * strength, (mass_error / beverage).hypot(strength_error / strength))
        }
        Method::Immersion => {
            let water = brew.water_g.ok_or(CupError::NoWater)?;
            let slope = 1.0 / (strength * (1.0 - strength));
            (water * strength / (1.0 - strength), (mass_error / water).hypot(slope * strength_error))
        }
    };
    let value = 100.0 * dissolved / brew.dose_g;
    if value > MOST_YIELD_PCT {
        return Err(CupError::TooMuch(value));
    }
    let retained = brew.water_g.zip(brew.beverage_g).map(|(water, beverage)| water + dissolved - beverage);
    if let Some(retained) = retained.filter(|r| *r < -2.0 * steps.mass_g) {
        return Err(CupError::MoreThanPoured(-retained));
    }
    let half = normal_quantile(0.5 + 0.5 * level) * value * relative.hypot(mass_error / brew.dose_g);
    Ok(Extraction {
        yield_pct: Estimate { value, low: value - half, high: value + half, level },
        retained_ratio: retained.map(|r| r / brew.dose_g),
    })
}

/// Difference between brews of two samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CupDifference {
    /// Mean of each side.
    pub means: [f64; 2],
    /// Second less first, in the unit of the values.
    pub difference: Estimate,
    /// Two-sided chance of so large a difference between brews that are alike.
    pub p: f64,
    /// Difference that so many brews would have shown four times out of five.
    pub smallest_detectable: f64,
}

/// Second less first side, by Student's t test with a scatter from brew to brew that is common to both; `None` with fewer
/// than two brews on either side, since nothing then tells how much brews differ.
pub fn cup_difference(sides: [&[f64]; 2], level: f64) -> Option<CupDifference> {
    if sides.iter().any(|s| s.len() < 2) {
        return None;
    }
    let means = sides.map(|s| s.iter().sum::<f64>() / s.len() as f64);
    let squares = |i: usize| sides[i].iter().map(|v| (v - means[i]).powi(2)).sum::<f64>();
    let freedom = (sides[0].len() + sides[1].len() - 2) as f64;
    let parts = sides.iter().map(|s| 1.0 / s.len() as f64).sum::<f64>();
    let error = ((squares(0) + squares(1)) / freedom * parts).sqrt();
    let value = means[1] - means[0];
    let reach = student_t_quantile(0.5 + 0.5 * level, freedom);
    Some(CupDifference {
        means,
        difference: Estimate { value, low: value - reach * error, high: value + reach * error, level },
        p: if value == 0.0 { 1.0 } else { 2.0 * (1.0 - student_t_cdf(value.abs() / error, freedom)) },
        smallest_detectable: (reach + student_t_quantile(0.8, freedom)) * error,
    })
}
