//! Refuses a spec that makes no sense, before any work is done.

use super::RenderError;
use super::layout::beyond_px;
use super::spec::{Lognormal, SceneSpec};
use super::stage::beyond_under;
use super::view::Projection;

/// Encoders and memory set the limit.
const MAX_SIDE_PX: u32 = 30_000;
const MAX_PIXELS: u64 = 200_000_000;
/// Thin against the way to the camera.
const MAX_THICKNESS_MM: f64 = 10.0;
/// Radial terms may pull a corner in or out by no more than keeps the picture in order.
const MAX_RADIAL: f64 = 0.5;

fn within(field: &'static str, value: f64, low: f64, high: f64) -> Result<(), RenderError> {
    // A NaN is in no range.
    if (low..=high).contains(&value) { Ok(()) } else { Err(RenderError::OutOfRange { field, value, low, high }) }
}

fn colour(field: &'static str, rgb: &[f64; 3]) -> Result<(), RenderError> {
    rgb.iter().try_for_each(|&v| within(field, v, 0.0, 1.0))
}

fn millimetres(field: &'static str, places: &[f64]) -> Result<(), RenderError> {
    places.iter().try_for_each(|&v| within(field, v, -1e5, 1e5))
}

fn angle(field: &'static str, value: f64) -> Result<(), RenderError> {
    within(field, value, -3600.0, 3600.0)
}

fn lognormal(names: [&'static str; 2], mode: &Lognormal) -> Result<(), RenderError> {
    within(names[0], mode.median_um, 1e-3, 1e6)?;
    within(names[1], mode.gsd, 1.0, 10.0)
}

pub(super) fn check(spec: &SceneSpec) -> Result<(), RenderError> {
    let side = f64::from(MAX_SIDE_PX);
    within("width_px", f64::from(spec.width_px), 8.0, side)?;
    within("height_px", f64::from(spec.height_px), 8.0, side)?;
    if u64::from(spec.width_px) * u64::from(spec.height_px) > MAX_PIXELS {
        return Err(RenderError::TooLarge { width_px: spec.width_px, height_px: spec.height_px });
    }
    within("um_per_px", spec.um_per_px, 0.01, 1e5)?;
    within("coverage", spec.coverage, 0.0, 0.5)?;
    within("min_gap_px", spec.min_gap_px, 0.0, 1e4)?;
    within("touching_share", spec.touching_share, 0.0, 1.0)?;

    let g = &spec.grind;
    lognormal(["grind.coarse.median_um", "grind.coarse.gsd"], &g.coarse)?;
    lognormal(["grind.fines.median_um", "grind.fines.gsd"], &g.fines)?;
    within("grind.fines_number_share", g.fines_number_share, 0.0, 1.0)?;
    within("grind.min_um", g.min_um, 0.0, 1e6)?;
    within("grind.max_um", g.max_um, 1e-3, 1e6)?;
    // A median outside the limits would make nearly every draw a refusal.
    if g.fines_number_share < 1.0 {
        within("grind.coarse.median_um", g.coarse.median_um, g.min_um, g.max_um)?;
    }
    if g.fines_number_share > 0.0 {
        within("grind.fines.median_um", g.fines.median_um, g.min_um, g.max_um)?;
    }

    let c = &spec.coffee;
    colour("coffee.reflectance", &c.reflectance)?;
    within("coffee.spread", c.spread, 0.0, 1.0)?;
    within("coffee.texture", c.texture, 0.0, 1.0)?;
    within("coffee.grain_px", c.grain_px, 0.1, 1e4)?;
    within("coffee.chaff_share", c.chaff_share, 0.0, 1.0)?;
    colour("coffee.chaff_reflectance", &c.chaff_reflectance)?;
    colour("paper.reflectance", &spec.paper.reflectance)?;
    within("paper.texture", spec.paper.texture, 0.0, 0.5)?;
    within("light.gradient", spec.light.gradient, 0.0, 1.0)?;
    angle("light.direction_deg", spec.light.direction_deg)?;
    within("light.vignette", spec.light.vignette, 0.0, 0.9)?;
    if let Some(s) = &spec.light.cast {
        s.through_px.iter().try_for_each(|&v| within("light.cast.through_px", v, -1e6, 1e6))?;
        angle("light.cast.direction_deg", s.direction_deg)?;
        within("light.cast.strength", s.strength, 0.0, 0.8)?;
        within("light.cast.softness_px", s.softness_px, 0.0, 1e6)?;
    }
    within("shadow.strength", spec.shadow.strength, 0.0, 0.6)?;
    within("shadow.reach", spec.shadow.reach, 0.0, 3.0)?;
    angle("shadow.direction_deg", spec.shadow.direction_deg)?;
    within("shadow.softness", spec.shadow.softness, 0.0, 1.0)?;

    let k = &spec.camera;
    within("camera.blur_sigma_px", k.blur_sigma_px, 0.0, 20.0)?;
    within("camera.corner_blur", k.corner_blur, 0.0, 3.0)?;
    within("camera.photon_noise", k.photon_noise, 0.0, 1.0)?;
    within("camera.read_noise", k.read_noise, 0.0, 1.0)?;
    within("camera.sharpen.amount", k.sharpen.amount, 0.0, 5.0)?;
    within("camera.sharpen.radius_px", k.sharpen.radius_px, 0.0, 20.0)?;
    within("camera.smooth_sigma_px", k.smooth_sigma_px, 0.0, 20.0)?;
    within("camera.jpeg_quality", f64::from(k.jpeg_quality), 1.0, 100.0)?;

    if let Some(d) = &spec.reference {
        within("reference.diameter_mm", d.diameter_mm, 0.1, 1e4)?;
        within("reference.centre.0", d.centre.0, -1.0, 2.0)?;
        within("reference.centre.1", d.centre.1, -1.0, 2.0)?;
        colour("reference.reflectance", &d.reflectance)?;
        within("reference.relief", d.relief, 0.0, 1.0)?;
        within("reference.thickness_mm", d.thickness_mm, 0.0, MAX_THICKNESS_MM)?;
    }
    if let Some(c) = &spec.card {
        millimetres("card.centre_mm", &c.centre_mm)?;
        angle("card.turn_deg", c.turn_deg)?;
        within("card.width_mm", c.width_mm, 0.1, 1e4)?;
        within("card.height_mm", c.height_mm, 0.1, 1e4)?;
        within("card.corner_mm", c.corner_mm, 0.0, 0.5 * c.width_mm.min(c.height_mm))?;
        within("card.thickness_mm", c.thickness_mm, 0.0, MAX_THICKNESS_MM)?;
        colour("card.reflectance", &c.reflectance)?;
    }
    for ink in &spec.print {
        ink.outline_mm.iter().try_for_each(|p| millimetres("print.outline_mm", p))?;
        ink.reflectance.iter().try_for_each(|c| colour("print.reflectance", c))?;
    }
    if let Some(s) = &spec.spread_mm {
        millimetres("spread_mm", s)?;
        within("spread_mm.2", s[2], s[0] + 0.01, 1e5)?;
        within("spread_mm.3", s[3], s[1] + 0.01, 1e5)?;
    }
    if let Some(s) = &spec.surround {
        within("surround.left", s.left, -1.0, 2.0)?;
        within("surround.top", s.top, -1.0, 2.0)?;
        within("surround.right", s.right, s.left + 0.01, 2.0)?;
        within("surround.bottom", s.bottom, s.top + 0.01, 2.0)?;
        angle("surround.rotation_deg", s.rotation_deg)?;
        colour("surround.table", &s.table)?;
        within("surround.grain", s.grain, 0.0, 1.0)?;
    }
    view(spec)
}

fn view(spec: &SceneSpec) -> Result<(), RenderError> {
    let Some(v) = &spec.view else { return Ok(()) };
    angle("view.tilt_direction_deg", v.tilt_direction_deg)?;
    angle("view.turn_deg", v.turn_deg)?;
    within("view.focal_35mm", v.focal_35mm, 10.0, 1000.0)?;
    within("view.k1", v.k1, -MAX_RADIAL, MAX_RADIAL)?;
    within("view.k2", v.k2, -MAX_RADIAL, MAX_RADIAL)?;
    let projection = Projection::new(spec);
    let limit = projection.tilt_limit_deg(beyond_under(&projection, beyond_px(spec)));
    if limit.is_nan() {
        return Err(RenderError::Folded);
    }
    within("view.tilt_deg", v.tilt_deg, 0.0, limit.min(40.0))
}
