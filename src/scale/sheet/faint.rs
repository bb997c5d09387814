//! Why the marks that may be in a photo cannot be read.

use std::f64::consts::TAU;

use super::layout::DOT_RING;
use super::mark::Ellipse;
use super::round::{Round, SMALLEST_PX, rounds_at};
use crate::numeric::median;
use crate::photo::Photo;

/// Shares of the paper's light at which pale and small marks stand out, too.
const LEVELS: [f32; 5] = [0.85, 0.7, 0.5, 0.32, 0.2];
/// Smallest radius at which marks are told from grains at all, px.
const TOLD_PX: f64 = 6.0;
/// Fewest shapes of one size that are taken for marks: the smallest frame has 14.
const FEWEST: usize = 9;
/// Most: all frames of a page have 68; grains come in hundreds.
const MANY: usize = 80;
/// Marks of a frame seen under a tilt differ by some tenths in size.
const ALIKE: f64 = 0.2;
/// They are ovals of the same proportions, within this.
const OVAL: f64 = 0.08;
/// Share of the round shapes of that size that must be so and have a ring: single grains are by chance.
const MOST: f64 = 0.8;
/// Ink lighter than this share of the paper hides its dots.
const PALE: f64 = 0.5;

/// What keeps shapes that are like marks from being read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Faint {
    /// So many px across.
    Small(f64),
    /// Ink of this share of the paper's light.
    Pale(f64),
    /// Large and dark enough, and yet their dots cannot be told.
    Soft,
}

impl std::fmt::Display for Faint {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, ": round shapes like its marks are seen, but they are ")?;
        match self {
            Faint::Small(px) => write!(
                f,
                "too small, {px:.0} px across, and {:.0} are needed: go nearer until one frame fills the picture",
                2.0 * SMALLEST_PX + 2.0
            ),
            Faint::Pale(share) => write!(
                f,
                "too pale, {:.0} % of the paper's light: print the sheet in full black, and light it evenly",
                100.0 * share
            ),
            Faint::Soft => write!(f, "too soft to tell their dots: tap on the sheet to focus, and hold still"),
        }
    }
}

/// Looks for a set of round shapes of one size of which most are ovals of the same proportions and lighter in the ring of
/// their dots than in their middle, as grains are not. `None` where there is none.
pub(super) fn faint(photo: &Photo) -> Option<Faint> {
    let mut seen: Vec<Round> = Vec::new();
    for round in rounds_at(photo, &LEVELS, 0.5 * TOLD_PX) {
        // The same shape comes out at several levels.
        let same = |r: &Round| (0..2).all(|i| (r.centre[i] - round.centre[i]).abs() < 0.5 * r.half[1]);
        if !seen.iter().any(same) {
            seen.push(round);
        }
    }
    let radius = |r: &Round| (r.half[0] * r.half[1]).sqrt();
    seen.sort_by(|a, b| radius(b).total_cmp(&radius(a)));
    // The largest size that will do: grains in the field are smaller than marks.
    let (size, ink) = (0..seen.len()).find_map(|i| {
        let alike = seen[i..].iter().take_while(|r| radius(r) > (1.0 - ALIKE) * radius(&seen[i]));
        let alike: Vec<&Round> = alike.collect();
        // Of grains there are many more, the smaller they are.
        let smaller = seen[i + alike.len()..].iter().take_while(|r| radius(r) > 0.5 * radius(&seen[i])).count();
        if !(FEWEST..=MANY).contains(&alike.len()) || smaller > 2 * alike.len() || radius(alike[0]) < TOLD_PX {
            return None;
        }
        let oval = |r: &Round| r.half[1] / r.half[0];
        let usual = median(&mut alike.iter().map(|r| oval(r)).collect::<Vec<_>>())?;
        let ovals = alike.iter().filter(|r| (oval(r) - usual).abs() < OVAL);
        let mut inks: Vec<f64> = ovals.filter_map(|r| ink_of_ringed(photo, r)).collect();
        let most = inks.len() >= FEWEST && inks.len() as f64 >= MOST * alike.len() as f64;
        let size = median(&mut alike.iter().map(|r| radius(r)).collect::<Vec<_>>())?;
        most.then_some((size, median(&mut inks)?))
    })?;
    Some(if size < SMALLEST_PX + 1.0 {
        Faint::Small(2.0 * size)
    } else if ink > PALE {
        Faint::Pale(ink)
    } else {
        Faint::Soft
    })
}

/// Light in the middle, as a share of the paper's beside it, of a shape whose ring of dots is lighter than that.
fn ink_of_ringed(photo: &Photo, round: &Round) -> Option<f64> {
    let ellipse = Ellipse::of(round);
    let mean = |share: f64| {
        let at = |i: u32| photo.light_at(ellipse.at(share, TAU * f64::from(i) / 16.0));
        Some((0..16).map(at).sum::<Option<f64>>()? / 16.0)
    };
    let (middle, ring, paper) = (mean(0.2)?, mean(DOT_RING)?, mean(1.5)?);
    let rise = (ring - middle) / (paper - middle);
    (paper > middle && (0.1..0.8).contains(&rise)).then_some(middle / paper)
}
