use crate::numeric::Estimate;

/// No kitchen weighs more, g.
const MOST_G: f64 = 100_000.0;

/// What the balance said.
#[derive(Clone, Debug, PartialEq)]
pub struct Weighed {
    /// Mass put on the stack, g; `None` where it was not weighed.
    pub charge_g: Option<f64>,
    /// Aperture (µm) and mass retained on it (g), in any order.
    pub retained: Vec<(f64, f64)>,
    /// Mass in the receiver, g; `None` where it was not weighed.
    pub receiver_g: Option<f64>,
    /// Smallest step that the balance shows, g.
    pub step_g: f64,
}

/// A stack in order, with its balance of mass.
#[derive(Clone, Debug, PartialEq)]
pub struct Stack {
    /// Apertures, µm, falling.
    pub apertures_um: Vec<f64>,
    /// Mass on each, and in the receiver last, g.
    pub mass_g: Vec<f64>,
    /// Share of each of what was found again.
    pub share: Vec<Share>,
    /// Mass put on the stack, g.
    pub charge_g: Option<f64>,
    /// Charge less what was found again, g.
    pub loss_g: Option<f64>,
    /// The receiver was not weighed: its mass is what is missing from the charge.
    pub receiver_inferred: bool,
    /// Smallest step of the balance, g.
    pub step_g: f64,
}

/// A share of the mass with the bounds that the rounding of the balance leaves, %.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Share {
    /// Share.
    pub pct: f64,
    /// Least that the readings allow.
    pub low_pct: f64,
    /// Most that they allow.
    pub high_pct: f64,
}

impl Share {
    /// How far its bounds and the interval of `photos` lie apart, % of the mass; negative where they meet.
    pub fn apart_from(&self, photos: &Estimate) -> f64 {
        (self.low_pct - photos.high).max(photos.low - self.high_pct)
    }
}

/// Why weights make no stack.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs, reason = "each variant is its message")]
pub enum StackError {
    #[error("no layer was weighed. Give at least one as --retained 710=8.6")]
    NoLayer,
    #[error("the aperture {0} µm is given twice. Add up what lay on it, or correct one of them")]
    Twice(f64),
    #[error("{what} of {value} g: expected a number of grams, from 0 to 100000")]
    Mass { what: &'static str, value: f64 },
    #[error("a balance that shows steps of {0} g: expected a number of grams above 0 and below the charge")]
    Step(f64),
    #[error(
        "the layers weigh {found} g together, which is more than the charge of {charge} g by more than the balance rounds. Weigh \
         again, or correct the numbers"
    )]
    Heavier { found: f64, charge: f64 },
    #[error(
        "neither the receiver nor the charge was weighed, so the shares are of nothing. Give --receiver or --charge"
    )]
    NoWhole,
    #[error("a charge of 0 g: give what was put on the stack, or leave it out where the receiver was weighed")]
    NoCharge,
    #[error("all layers and the receiver weigh nothing")]
    Nothing,
}

impl Weighed {
    /// Sorts the layers and reckons shares and loss.
    ///
    /// A reading stands for any mass within half a step of it. The bounds of a share take every reading at its worst.
    ///
    /// # Errors
    /// Weights that cannot be: see [`StackError`].
    pub fn stack(&self) -> Result<Stack, StackError> {
        let good = |what, value: f64| {
            if (0.0..=MOST_G).contains(&value) { Ok(()) } else { Err(StackError::Mass { what, value }) }
        };
        if self.retained.is_empty() {
            return Err(StackError::NoLayer);
        }
        for &(_, mass) in &self.retained {
            good("a layer", mass)?;
        }
        self.charge_g.map_or(Ok(()), |v| good("a charge", v))?;
        if self.charge_g == Some(0.0) {
            return Err(StackError::NoCharge);
        }
        self.receiver_g.map_or(Ok(()), |v| good("a receiver", v))?;
        let mut layers = self.retained.clone();
        layers.sort_by(|a, b| b.0.total_cmp(&a.0));
        if let Some(pair) = layers.windows(2).find(|p| p[0].0 == p[1].0) {
            return Err(StackError::Twice(pair[0].0));
        }
        let half = 0.5 * self.step_g;
        let on_sieves: f64 = layers.iter().map(|l| l.1).sum();
        let found = on_sieves + self.receiver_g.unwrap_or(0.0);
        if found <= 0.0 {
            return Err(StackError::Nothing);
        }
        let largest = self.charge_g.unwrap_or(found);
        if !(self.step_g > 0.0 && self.step_g < largest.max(f64::MIN_POSITIVE)) {
            return Err(StackError::Step(self.step_g));
        }
        let readings = (layers.len() + 1 + usize::from(self.receiver_g.is_some())) as f64;
        if let Some(charge) = self.charge_g.filter(|c| found - c > readings * half) {
            return Err(StackError::Heavier { found: round(found), charge });
        }
        let receiver = match (self.receiver_g, self.charge_g) {
            (Some(mass), _) => mass,
            (None, Some(charge)) => (charge - on_sieves).max(0.0),
            (None, None) => return Err(StackError::NoWhole),
        };
        let inferred = self.receiver_g.is_none();
        let mass_g: Vec<f64> = layers.iter().map(|l| l.1).chain([receiver]).collect();
        let total: f64 = mass_g.iter().sum();
        if total <= 0.0 {
            return Err(StackError::Nothing);
        }
        let share = |(i, &mass): (usize, &f64)| {
            // What is inferred from the charge is off by the rounding of all others together.
            let own = if inferred && i + 1 == mass_g.len() { readings * half } else { half };
            let others = total - mass;
            let slack = (mass_g.len() - 1) as f64 * half;
            let (low, high) = ((mass - own).max(0.0), mass + own);
            Share {
                pct: 100.0 * mass / total,
                low_pct: 100.0 * low / (low + others + slack),
                high_pct: (100.0 * high / (high + (others - slack).max(0.0))).min(100.0),
            }
        };
        Ok(Stack {
            apertures_um: layers.iter().map(|l| l.0).collect(),
            share: mass_g.iter().enumerate().map(share).collect(),
            loss_g: self.charge_g.filter(|_| !inferred).map(|c| c - total),
            mass_g,
            charge_g: self.charge_g,
            receiver_inferred: inferred,
            step_g: self.step_g,
        })
    }
}

/// Larger losses, share of the charge, are hardly what sticks to sieves (common practice, no source).
const MESHES_HOLD: f64 = 0.1;

impl Stack {
    /// Loss in percent of the charge.
    pub fn loss_pct(&self) -> Option<f64> {
        Some(100.0 * self.loss_g? / self.charge_g?)
    }

    /// True where more than 1 % of the charge was lost, beyond what rounding explains.
    ///
    /// Source of the limit: EN 933-1 (from memory).
    pub fn loses_too_much(&self) -> bool {
        let rounding = 0.5 * self.step_g * (self.mass_g.len() + 1) as f64;
        self.charge_g.zip(self.loss_g).is_some_and(|(charge, loss)| loss - rounding > 0.01 * charge)
    }

    /// True when so much was lost that it hardly sticks to the sieves.
    pub fn loses_more_than_meshes_hold(&self) -> bool {
        self.charge_g.zip(self.loss_g).is_some_and(|(charge, loss)| loss > MESHES_HOLD * charge)
    }

    /// Share finer than each aperture, %, falling.
    pub fn finer_pct(&self) -> Vec<f64> {
        let mut left = 100.0;
        self.share[..self.apertures_um.len()]
            .iter()
            .map(|s| {
                left -= s.pct;
                left
            })
            .collect()
    }
}

fn round(v: f64) -> f64 {
    (1000.0 * v).round() / 1000.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn weighed() -> Weighed {
        Weighed {
            charge_g: Some(25.0),
            retained: vec![(355.0, 12.9), (710.0, 8.6)],
            receiver_g: Some(3.2),
            step_g: 0.1,
        }
    }

    #[test]
    fn layers_are_sorted_and_the_balance_is_struck() {
        let stack = weighed().stack().unwrap();
        assert_eq!(stack.apertures_um, [710.0, 355.0]);
        assert!((stack.loss_g.unwrap() - 0.3).abs() < 1e-9 && (stack.loss_pct().unwrap() - 1.2).abs() < 1e-9);
        assert!(!stack.loses_too_much(), "0.3 g may be 0.1 g and rounding");
        assert!((stack.share.iter().map(|s| s.pct).sum::<f64>() - 100.0).abs() < 1e-9);
    }

    #[test]
    fn a_tenth_of_a_gram_is_anything_from_half_of_it_to_half_more() {
        let tiny = Weighed { retained: vec![(710.0, 0.1)], receiver_g: Some(100.0), charge_g: None, step_g: 0.1 };
        let share = tiny.stack().unwrap().share[0];
        assert!((share.low_pct - 0.05).abs() < 1e-3 && (share.high_pct - 0.15).abs() < 1e-3, "{share:?}");
    }

    #[test]
    fn worked_table_of_a_soil_class() {
        // B. M. Das, Principles of Geotechnical Engineering, end problem of chapter 2 (attribution from memory), percent finer as
        // printed in a worked solution, whose steps are rounded: within 0.02.
        let grams = [18.5, 53.2, 90.5, 81.8, 92.2, 58.5];
        let retained = [2000.0, 850.0, 425.0, 250.0, 150.0, 75.0].into_iter().zip(grams).collect();
        let stack = Weighed { charge_g: None, retained, receiver_g: Some(26.5), step_g: 0.1 }.stack().unwrap();
        for (found, printed) in stack.finer_pct().iter().zip([95.61, 82.98, 61.50, 42.08, 20.19, 6.3]) {
            assert!((found - printed).abs() < 0.02, "{found} {printed}");
        }
    }

    #[test]
    fn weights_that_cannot_be_are_refused() {
        let with = |change: &dyn Fn(&mut Weighed)| {
            let mut w = weighed();
            change(&mut w);
            w.stack().unwrap_err()
        };
        assert_eq!(with(&|w| w.retained.push((710.0, 1.0))), StackError::Twice(710.0));
        assert!(matches!(with(&|w| w.receiver_g = Some(9.0)), StackError::Heavier { .. }));
        assert!(matches!(with(&|w| w.retained[0].1 = -1.0), StackError::Mass { .. }));
        assert!(matches!(with(&|w| w.step_g = 0.0), StackError::Step(_)));
        assert_eq!(with(&|w| w.retained.clear()), StackError::NoLayer);
        assert_eq!(with(&|w| (w.charge_g, w.receiver_g) = (None, None)), StackError::NoWhole);
    }
}
