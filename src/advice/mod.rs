//! What could be better about a photo, said before anyone trusts it: each check has a measured figure, a limit with its
//! reason, and one sentence that says what to do.

mod edges;
mod paper;

use crate::backdrop::Scene;
use crate::particle::{Calibration, Flags, Particle, Shape};
use crate::photo::Photo;

/// One thing that was looked at.
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    /// What was looked at, one word.
    pub name: &'static str,
    /// What was found; `unit` says in what.
    pub figure: f64,
    /// The figure at which advice is given.
    pub limit: f64,
    /// Unit of both.
    pub unit: &'static str,
    /// True when figures above the limit are bad, false for those below.
    pub bad_above: bool,
    /// What to do about it.
    pub sentence: String,
}

impl Check {
    /// True when the figure calls for the advice.
    pub fn fires(&self) -> bool {
        if self.bad_above { self.figure > self.limit } else { self.figure < self.limit }
    }
}

/// What the stages made of one photo.
#[derive(Clone, Copy, Debug)]
pub struct Seen<'a> {
    /// The photo.
    pub photo: &'a Photo,
    /// Its backdrop.
    pub scene: &'a Scene,
    /// Standard deviation of the smoothed deficit on paper, dimensionless.
    pub smoothed_noise: f64,
    /// Its look and shade.
    pub calibration: &'a Calibration,
    /// The particles counted, in µm, and their shapes in px, in the same order.
    pub particles: &'a [Particle],
    /// See `particles`.
    pub shapes: &'a [Shape],
    /// Smallest ECD of which the photo shows 95 %, µm.
    pub smallest_ecd_um: f64,
    /// Fines are finer than this, µm.
    pub fines_um: f64,
    /// Scale in the middle, µm per px.
    pub um_per_px: f64,
}

/// Blur from which on sizes go wrong by more than their intervals say, px: on rendered photos D10 comes out 5 % too large at 5 px
/// as it is read, 13 % at 5.8.
const BLURRED_PX: f64 = 5.0;
/// Share of the paper at full scale from which on it counts as overexposed.
const CLIPPED: f64 = 0.02;
/// Noise left after smoothing that hides no particle, share of the paper's light: five times it is the deficit that the
/// threshold has anyway.
const FAINT: f64 = 0.008;
/// Share of the paper under particles from which on its texture cannot be told.
const CROWDED: f64 = 0.15;
/// What white noise smoothed is worth in a photo with none to see: neither texture nor compression.
const NO_GRAIN: f64 = 2.0;

/// Ratio of two scales of one photo from which on one of them is wrong: a sheet's is known to 1 %, and a ruler's to 2.
const SCALES_ALIKE: f64 = 1.03;

/// Name of the check of [`other_scale`].
pub const SHEET_IN_VIEW: &str = "scale";

/// Another scale than that of the sheet in view was used, µm per pixel: does it agree?
pub fn other_scale(used: f64, of_sheet: f64) -> Check {
    Check {
        name: SHEET_IN_VIEW,
        figure: (used / of_sheet).max(of_sheet / used),
        limit: SCALES_ALIKE,
        unit: "times the scale of the sheet in view, or the inverse",
        bad_above: true,
        sentence: format!(
            "The scale sheet in view says {of_sheet:.2} µm per pixel, and {used:.2} was used: where the sheet is right, leave out \
             the other way."
        ),
    }
}

/// All checks of a photo, in the order in which a photographer would mend them.
///
/// Limits are where this tool's own errors on rendered photos pass those of a good photo; `docs/advice.md` has them with
/// their reasons and how often each fires rightly.
pub fn checks(seen: &Seen) -> Vec<Check> {
    let Seen { photo, scene, smoothed_noise, calibration, particles, shapes, .. } = *seen;
    let clipped = paper::clipped(photo, scene);
    let above = |name, figure, limit, unit, sentence: &str| Check {
        name,
        figure,
        limit,
        unit,
        bad_above: true,
        sentence: sentence.to_owned(),
    };
    let below = |name, figure, limit, unit, sentence: &str| Check {
        bad_above: false,
        ..above(name, figure, limit, unit, sentence)
    };
    let sigma = scene.blur_px;
    let (softest, place) = scene.softness.worst();
    let split = particles.iter().filter(|p| p.flags.contains(Flags::SPLIT)).count();
    let total: f64 = particles.iter().map(Particle::mass).sum();
    let squares: f64 = particles.iter().map(|p| p.mass().powi(2)).sum();
    // White noise smoothed by the blur's own Gaussian; what remains above it is in the paper.
    let expected = scene.noise / (2.0 * std::f64::consts::PI.sqrt() * sigma);
    // Compression takes the noise away and leaves steps; overexposed paper has no noise to tell by.
    let grain = if clipped > CLIPPED { NO_GRAIN } else { smoothed_noise / expected.max(1e-9) };
    // Particles that nearly fill the boxes in which the noise is read pass for texture.
    let covered = shapes.iter().map(|s| s.area).sum::<f64>()
        / (scene.field.share() * (photo.width() * photo.height()) as f64).max(1.0);
    let hides_nothing = smoothed_noise < FAINT || seen.smallest_ecd_um > seen.fines_um || covered > CROWDED;
    let near = 0.9 * seen.fines_um / seen.smallest_ecd_um * seen.um_per_px;
    vec![
        above(
            "focus",
            sigma,
            2.0,
            "px of blur",
            if sigma > BLURRED_PX {
                "The photo is so blurred that its sizes are not to be trusted. Take it anew: clean the lens, tap on the grounds to \
                 focus, and keep still or use the self-timer."
            } else {
                "The photo is soft: clean the lens, tap on the grounds to focus, and keep still or use the self-timer."
            },
        ),
        above(
            "depth",
            softest,
            1.5,
            "largest over smallest blur",
            &format!(
                "The photo is softer at its {place} than elsewhere: hold the phone level, straight above the grounds, a little \
                 farther away, and wipe the lens."
            ),
        ),
        above(
            "motion",
            edges::anisotropy(photo, shapes, sigma),
            1.35,
            "ratio of blur",
            "The picture is blurred along one direction: rest the phone on something or use the self-timer.",
        ),
        above(
            "clipped",
            clipped,
            CLIPPED,
            "share of the paper",
            "The paper is overexposed: tap on it and draw the exposure down until it is light grey, not pure white.",
        ),
        below(
            "dark",
            scene.level,
            0.12,
            "share of full light",
            "The paper is dark: use more light, or draw the exposure up.",
        ),
        below(
            "covered",
            if scene.field.is_restricted() { scene.field.share_of_region() } else { 1.0 },
            0.85,
            "share of the field seen as paper",
            "A part of the field is covered or lies in deep shadow and was left out: clear it, and light it evenly.",
        ),
        above(
            "uneven",
            scene.light_range(),
            1.8,
            "brightest over darkest",
            "The light is uneven: move the lamp further away, or add light from the other side.",
        ),
        above(
            "shadows",
            calibration.shade.strength / scene.core.max(1e-6),
            0.45,
            "share of the particles' own darkness",
            "The shadows are hard: use two lights from opposite sides, or a window and a white card.",
        ),
        above(
            "noise",
            scene.noise,
            0.035,
            "share of the paper's light",
            "The photo is noisy: use more light, so that the camera needs less gain.",
        ),
        above(
            "texture",
            // Too faint to hide a particle, it needs no advice; and where fines are not resolved, they look like texture.
            if hides_nothing { grain.min(NO_GRAIN) } else { grain },
            2.2,
            "times the camera's noise",
            "The paper has a texture of its own: use smooth, plain white paper.",
        ),
        below(
            "compressed",
            grain,
            0.95,
            "times the camera's noise left after smoothing",
            "The file is strongly compressed: send the original from the camera, not a copy from a messenger.",
        ),
        above(
            "touching",
            split as f64 / particles.len().max(1) as f64,
            0.13,
            "share of the particles",
            "Many particles touch: use less of the grounds, and shake the sheet to part them.",
        ),
        below(
            "few",
            if squares > 0.0 { total * total / squares } else { 0.0 },
            30.0,
            "particles that carry the mass",
            "Few large particles carry the mass: take more photos of fresh spreads, or more grounds over a larger field.",
        ),
        above(
            "resolution",
            seen.smallest_ecd_um,
            seen.fines_um,
            "µm, smallest reliable size",
            &format!(
                "Fines below {:.0} µm are beyond this photo: move to {near:.1} µm per pixel or less to judge them.",
                seen.fines_um
            ),
        ),
    ]
}
