//! By how much the figures of one side may lie beside what its photos show: particles that are too small for them, and sizes
//! that blur leads astray.

use super::quantity::values;
use super::{Quantity, Question, quantities};
use crate::distribution::{Basis, Sizes, completed};

/// Photos that show the smallest particles only from so many times the other side's on are compared with care.
const COARSER: f64 = 1.5;

/// Error of the size of a particle as small as such photos show, share of it; less by as much as it is larger. On rendered
/// photos of 3 to 8 px of blur beside sharp ones D10, some 2.3 times as large as that, came out up to 10 % too large: small
/// particles read large, and those that touch as one.
const SIZE_ERROR: f64 = 0.3;

/// What one side may hide from a comparison with another.
pub(super) struct Besides {
    /// Its quantities with all that photos like the other's would show besides; `None` where these show as much.
    completed: Option<Vec<f64>>,
    /// Relative error of each quantity's sizes.
    error: Vec<f64>,
}

impl Besides {
    /// For a side with `sizes` and the values `seen` whose photos show particles from `floor_um` on, beside one that shows them
    /// from `from_um` on.
    pub fn of(sizes: &Sizes, seen: &[f64], floor_um: f64, from_um: f64, question: &Question) -> Self {
        let quantities = quantities(question);
        let at =
            |um: f64| if floor_um > COARSER * from_um { (SIZE_ERROR * floor_um / um).min(SIZE_ERROR) } else { 0.0 };
        let error = |(q, &value): (Quantity, &f64)| match q {
            Quantity::FINES => 0.0,
            // (D90 − D10)/D50, where the ends may err in opposite ways.
            Quantity::Figure(3) => (seen[2] * at(seen[2]) + seen[0] * at(seen[0])) / (seen[2] - seen[0]).max(1e-9),
            Quantity::Figure(_) => at(value),
            Quantity::ShareAbove(um) => {
                let finer = |by: f64| 100.0 * sizes.finer(Basis::Mass, um * by);
                0.5 * (finer(1.0 + at(um)) - finer(1.0 - at(um)))
            }
        };
        let completed = completed(sizes, from_um, floor_um, question.fines_um, question.level);
        Besides {
            completed: completed.map(|all| values(&quantities, &all, question.fines_um)),
            error: quantities.into_iter().zip(seen).map(error).collect(),
        }
    }

    /// By how much quantity number `q`, seen as `value`, may truly lie below and above that, as logarithms or plain.
    /// `unseen_pct` is the share of fines that neither side shows.
    pub fn reach(&self, q: usize, quantity: Quantity, value: f64, log: bool, unseen_pct: f64) -> [f64; 2] {
        let on_scale = |v: f64| if log { (v / value).ln() } else { v - value };
        if quantity == Quantity::FINES {
            return [0.0, on_scale(value + unseen_pct)];
        }
        let shift = self.completed.as_ref().map_or(0.0, |all| on_scale(all[q]));
        [(-shift).max(0.0).hypot(self.error[q]), shift.max(0.0).hypot(self.error[q])]
    }
}
