//! Why the marks that may be in a photo cannot be read.

use std::f64::consts::TAU;

use super::layout::DOT_RING;
use super::mark::Ellipse;
use super::round::{Round, SMALLEST_PX, rounds_at};
use crate::numeric::median;
use crate::photo::Photo;

/// Shares of the paper's light at which pale and small marks stand out, too.
const LEVELS: [f32; 5] = [0.85, 0.7, 0.5, 0.32, 0.2];
/// Smallest radius at which a mark is told from a grain at all, px.
const SEEN_PX: f64 = 4.0;
/// Fewest shapes of one size that are taken for marks.
const FEWEST: usize = 7;
/// Marks of a frame seen under a tilt differ by some tenths in size.
const ALIKE: f64 = 0.25;
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

/// Looks for a set of round shapes of one size that are lighter in the ring of their dots than in their middle, as grains
/// are not. `None` where there is none.
pub(super) fn faint(photo: &Photo) -> Option<Faint> {
    let mut like: Vec<(Round, f64)> = Vec::new();
    for round in rounds_at(photo, &LEVELS, SEEN_PX) {
        let same = |(r, _): &(Round, f64)| (0..2).all(|i| (r.centre[i] - round.centre[i]).abs() < r.half[1]);
        if let Some(ink) = ink_of_ringed(photo, &round)
            && !like.iter().any(same)
        {
            like.push((round, ink));
        }
    }
    // The largest set of shapes that are alike.
    let radius = |r: &Round| (r.half[0] * r.half[1]).sqrt();
    let near = |a: f64| move |b: &&(Round, f64)| (radius(&b.0) / a - 1.0).abs() < ALIKE;
    let of = |a: &(Round, f64)| like.iter().filter(near(radius(&a.0))).collect::<Vec<_>>();
    let set = like.iter().map(of).max_by_key(Vec::len).filter(|set| set.len() >= FEWEST)?;
    let size = median(&mut set.iter().map(|s| radius(&s.0)).collect::<Vec<_>>())?;
    let ink = median(&mut set.iter().map(|s| s.1).collect::<Vec<_>>())?;
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
