//! How much it takes, as a text for people and as JSON.

use std::fmt::Write;

use serde::Serialize;

use super::format::{count, significant};
use super::verdict::label;
use crate::compare::{Grounds, Plan, Quantity, TOUCHING, Wanted, good_coverage, grounds_g};
use crate::numeric::median;
use crate::pipeline::MeasuredPhoto;
use crate::scale::sheet::{DISC_FRAME, frames};

/// Schema of [`json`].
pub const PLAN: &str = "lightsieve/plan/1";

/// The plan from a pilot as a text.
pub fn table(pilot: &Grounds, plans: &[Plan], wanted: &Wanted, fines_um: f64) -> String {
    let photos = pilot.sample.photos().len();
    let mut out = format!(
        "{}: {}, {}\n\n  {:<16}{:>12}{:>18}{:>18}{:>20}\n",
        pilot.name,
        count(photos, "photo"),
        count(pilot.sample.count(), "particle"),
        "",
        "pilot",
        "photo to photo",
        format!("within {} %", significant(100.0 * wanted.within, 2)),
        format!("difference of {} %", significant(100.0 * wanted.difference, 2)),
    );
    let many = |n: usize, what: &str| if n >= 10_000 { "no photos do".to_owned() } else { count(n, what) };
    for p in plans {
        let unit = p.quantity.unit();
        let _ = writeln!(
            out,
            "  {:<16}{:>12}{:>18}{:>18}{:>20}",
            label(p.quantity, fines_um),
            format!("{} {unit}", significant(p.value, 3)),
            format!(
                "± {} {}",
                significant(p.photo_deviation_pct, 2),
                if matches!(p.quantity, Quantity::ShareAbove(_)) { "points" } else { "%" }
            ),
            many(p.photos_within, "photo"),
            format!("{} a side", many(p.photos_difference, "photo")),
        );
    }
    out.push_str(
        "\n  Photos like those of the pilot, each of a new spread. The difference between two samples is then shown four times out of \
         five.\n",
    );
    if photos == 1 {
        out.push_str(
            "  ! One pilot photo: how much spreads differ is unknown, and these numbers hold counting alone; spreads mostly differ more. Three photos of \
             new spreads make a better pilot.\n",
        );
    } else if photos < 5 {
        out.push_str("  The scatter of so few photos is known badly: take these numbers as a first guess.\n");
    }
    out
}

/// Particles for a described grind as a text: pairs of a figure's name and a number.
pub fn counts(gsd: f64, within: f64, counts: &[(&str, f64)]) -> String {
    let mut out = format!(
        "A lognormal grind with a geometric standard deviation of {gsd}: particles to count for an interval of ± {} %\n\n",
        significant(100.0 * within, 2)
    );
    for (name, n) in counts {
        let _ = writeln!(out, "  {name:<6}{:>12}", significant(n.ceil(), 2));
    }
    out.push_str("\n  Counting alone: spreads of the same grounds differ besides. Three thin spreads tell more than one thick one.\n");
    out
}

/// How close the camera must be to see particles of `see_um`, from what a photo of the pilot shows.
///
/// The limit of sight in pixels stays about the same when the same camera moves closer in the same light.
pub fn camera(photo: &MeasuredPhoto, see_um: f64) -> String {
    let now = photo.scale.typical();
    let wanted = now * see_um / photo.smallest_ecd_um;
    let wide = |um: f64| format!("{:.0} mm", um * photo.size_px[0].max(photo.size_px[1]) as f64 / 1000.0);
    let shows = format!(
        "The pilot shows particles reliably from {} µm up, at {} µm per pixel (its long side spans {}).",
        significant(photo.smallest_ecd_um, 2),
        significant(now, 3),
        wide(now)
    );
    if wanted >= now {
        return format!("  Camera: {shows} That is close enough for {see_um} µm.\n");
    }
    format!(
        "  Camera: {shows} For {see_um} µm move closer, to {} µm per pixel or less: the long side then spans {}.\n",
        significant(wanted, 2),
        wide(wanted)
    )
}

/// How much to spread in the sheet's frames.
///
/// `d32_um` is the D\[3,2\] of the grounds, `evenness` of their sizes as for [`good_coverage`], `pilot` the photos of the pilot.
pub fn spreading(d32_um: f64, evenness: f64, pilot: &[MeasuredPhoto]) -> String {
    let good = good_coverage(evenness);
    let frames = frames();
    let fields: Vec<String> = frames
        .iter()
        .filter(|f| f.name != DISC_FRAME)
        .map(|f| {
            let [x0, y0, x1, y1] = f.field;
            let grams = grounds_g((x1 - x0) * (y1 - y0), good, d32_um);
            format!("{} g in frame {}", significant(grams, 1), f.name)
        })
        .collect();
    let pct = |share: f64| significant(100.0 * share, 2);
    let mut text = format!(
        "  Coffee: about {}. Spread at random that covers {} % of the field, and {:.0} % of the particles touch another.\n",
        fields.join(", "),
        pct(good),
        100.0 * TOUCHING
    );
    if let Some(pilot_covers) = median(&mut pilot.iter().map(|p| p.quality.coverage).collect::<Vec<_>>()) {
        let touch = pilot.iter().flat_map(|p| &p.checks).any(|check| check.name == "touching" && check.fires());
        let said = match good / pilot_covers {
            t if t < 0.6 && touch => "take less, or see to it that particles lie apart",
            t if t < 0.6 => "more than that, but few of its particles touch: well spread",
            t if t > 1.7 => "more may lie there, and tells more",
            _ => "as it should be",
        };
        text += &format!("  The pilot covers {} %: {said}.\n", pct(pilot_covers));
    }
    text
}

#[derive(Serialize)]
struct PlanV1 {
    schema: &'static str,
    pilot: String,
    photos: usize,
    particles: usize,
    within_pct: f64,
    difference_pct: f64,
    figures: Vec<FigureV1>,
}

#[derive(Serialize)]
struct FigureV1 {
    name: String,
    pilot: f64,
    photo_deviation_pct: f64,
    photos_within: usize,
    photos_a_side_for_difference: usize,
}

/// The plan as JSON; documented in `docs/json.md`.
pub fn json(pilot: &Grounds, plans: &[Plan], wanted: &Wanted) -> Vec<u8> {
    let figure = |p: &Plan| FigureV1 {
        name: p.quantity.name(),
        pilot: p.value,
        photo_deviation_pct: p.photo_deviation_pct,
        photos_within: p.photos_within,
        photos_a_side_for_difference: p.photos_difference,
    };
    super::json::text(&PlanV1 {
        schema: PLAN,
        pilot: pilot.name.clone(),
        photos: pilot.sample.photos().len(),
        particles: pilot.sample.count(),
        within_pct: 100.0 * wanted.within,
        difference_pct: 100.0 * wanted.difference,
        figures: plans.iter().map(figure).collect(),
    })
}
