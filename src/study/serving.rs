//! Who gets which cups in which order, without anyone who serves or tastes knowing which is which.

use crate::numeric::Draws;

/// The six orders of two cups of one sample and one of the other: false is A, true is B.
const ORDERS: [[bool; 3]; 6] = [
    [false, false, true],
    [false, true, false],
    [true, false, false],
    [true, true, false],
    [true, false, true],
    [false, true, true],
];

/// Codes of three digits.
const CODES: std::ops::Range<u32> = 100..1000;
/// Most people whose cups can all have codes of their own.
pub const MOST_SERVED: usize = (CODES.end - CODES.start) as usize / 3;

/// One person's three cups, in the order in which they are tasted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tray {
    /// Code on each cup.
    pub code: [u32; 3],
    /// True for cups of sample B.
    pub is_b: [bool; 3],
}

impl Tray {
    /// Place of the odd cup, 0 to 2.
    pub fn odd(&self) -> usize {
        let b = self.is_b.iter().filter(|b| **b).count();
        (0..3).find(|&i| self.is_b[i] == (b == 1)).unwrap_or(0)
    }

    /// The order as letters, such as "ABA".
    pub fn order(&self) -> String {
        self.is_b.iter().map(|b| if *b { 'B' } else { 'A' }).collect()
    }
}

/// A tray for each of `assessors` people (at most [`MOST_SERVED`]), drawn from `seed`.
///
/// Every block of six people gets each order once, shuffled, so that orders are as even as their number allows (ISO 4120,
/// from memory). No code comes twice.
pub fn serving_plan(assessors: usize, seed: u64) -> Vec<Tray> {
    let mut draws = Draws::new(seed, 0);
    let mut codes: Vec<u32> = CODES.collect();
    shuffle(&mut codes, &mut draws);
    let mut orders = Vec::new();
    while orders.len() < assessors {
        let mut block = ORDERS;
        shuffle(&mut block, &mut draws);
        orders.extend(block);
    }
    let cups = codes.chunks_exact(3).map(|c| [c[0], c[1], c[2]]);
    orders.into_iter().zip(cups).take(assessors).map(|(is_b, code)| Tray { code, is_b }).collect()
}

fn shuffle<T>(items: &mut [T], draws: &mut Draws) {
    for i in (1..items.len()).rev() {
        items.swap(i, draws.below(i + 1));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::{HashMap, HashSet};

    #[test]
    fn orders_are_even_and_codes_differ() {
        let plan = serving_plan(24, 5);
        let mut count: HashMap<String, usize> = HashMap::new();
        plan.iter().for_each(|t| *count.entry(t.order()).or_default() += 1);
        assert_eq!(count.len(), 6);
        assert!(count.values().all(|&c| c == 4), "{count:?}");
        let codes: HashSet<u32> = plan.iter().flat_map(|t| t.code).collect();
        assert!(codes.len() == 72 && codes.iter().all(|c| (100..1000).contains(c)));
        for tray in &plan {
            let odd = tray.is_b[tray.odd()];
            assert_eq!(tray.is_b.iter().filter(|b| **b == odd).count(), 1);
        }
        assert_eq!(serving_plan(24, 5), plan);
        assert_ne!(serving_plan(24, 6), plan);
        assert_eq!(serving_plan(MOST_SERVED, 1).len(), MOST_SERVED);
    }

    #[test]
    fn a_part_of_a_block_keeps_orders_within_one_of_each_other() {
        let plan = serving_plan(10, 3);
        let times = |order: &[bool; 3]| plan.iter().filter(|t| t.is_b == *order).count();
        assert!(ORDERS.iter().all(|o| (1..=2).contains(&times(o))));
    }
}
