//! The stable JSON of a measurement. The format has structs of its own, so that it changes only on purpose.
//!
//! A field may be added; removing or changing one needs a new schema number. Documented in `docs/json.md`.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::advice::Check;
use crate::distribution::{Figures, RecallRow, SieveShape};
use crate::numeric::Estimate;
use crate::particle::Flags;
use crate::pipeline::{MeasuredPhoto, Measurement};
use crate::scale::{Disc, Lens, Scale, Source};
use crate::segment::Rejection;

/// Schema of [`measurement`].
pub const MEASUREMENT: &str = "lightsieve/measurement/1";
/// Schema of [`overview`].
pub const BATCH: &str = "lightsieve/batch/1";

#[derive(Serialize)]
struct MeasurementV1 {
    schema: &'static str,
    scale: ScaleV1,
    particles: ParticlesV1,
    limit: LimitV1,
    distribution: DistributionV1,
    by_number: BTreeMap<&'static str, f64>,
    curve: CurveV1,
    #[serde(skip_serializing_if = "Option::is_none")]
    as_sieved: Option<SievedV1>,
    mass_model: &'static str,
    spread_to_spread: &'static str,
    photo: Vec<PhotoV1>,
    #[serde(skip_serializing_if = "<[HandExcluded]>::is_empty")]
    excluded_by_hand: Vec<HandExcluded>,
}

/// A particle that someone took out of a measurement.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HandExcluded {
    /// Name of its photo.
    pub file: String,
    /// Centroid, px.
    pub x_px: f64,
    /// Centroid, px.
    pub y_px: f64,
    /// Equivalent circular diameter, µm.
    pub ecd_um: f64,
}

#[derive(Serialize)]
struct ScaleV1 {
    um_per_px: f64,
    relative_uncertainty: f64,
    from: &'static str,
    uncertainty: Vec<PartV1>,
    #[serde(skip_serializing_if = "Option::is_none")]
    disc: Option<DiscV1>,
    #[serde(skip_serializing_if = "Option::is_none")]
    card: Option<CardV1>,
    #[serde(skip_serializing_if = "Option::is_none")]
    sheet: Option<SheetV1>,
}

#[derive(Serialize)]
struct CardV1 {
    tilt_deg: f64,
    residual_px: f64,
}

#[derive(Serialize)]
struct PartV1 {
    from: String,
    relative: f64,
}

#[derive(Serialize)]
struct SheetV1 {
    frame: &'static str,
    field_mm: [f64; 2],
    marks: usize,
    marks_read: usize,
    marks_used: usize,
    residual_px: f64,
    k1: f64,
    k2: f64,
}

#[derive(Serialize)]
struct DiscV1 {
    x_px: f64,
    y_px: f64,
    diameter_px: f64,
    diameter_mm: f64,
    tilt_deg: f64,
}

#[derive(Serialize)]
struct ParticlesV1 {
    counted: usize,
    on_border: usize,
    off_paper: usize,
    too_large: usize,
    fibres: usize,
    chaff: usize,
    below_limit: usize,
    split: usize,
    pale: usize,
}

#[derive(Serialize)]
struct LimitV1 {
    smallest_ecd_um: f64,
    recall: Vec<RecallV1>,
}

#[derive(Serialize)]
struct RecallV1 {
    ecd_um: f64,
    tried: usize,
    found: f64,
    recall: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    bias_pct: Option<f64>,
}

#[derive(Serialize)]
struct DistributionV1 {
    #[serde(flatten)]
    figures: BTreeMap<&'static str, f64>,
    fines_below_um: f64,
    fines_at_least: bool,
    shares_above: Vec<ShareV1>,
    confidence_pct: f64,
    intervals: BTreeMap<&'static str, [f64; 2]>,
}

#[derive(Serialize)]
struct SievedV1 {
    size_shift: f64,
    mass_exponent: f64,
    figures: BTreeMap<&'static str, f64>,
    intervals: BTreeMap<&'static str, [f64; 2]>,
}

#[derive(Serialize)]
struct ShareV1 {
    size_um: f64,
    share_pct: f64,
    interval_pct: [f64; 2],
}

#[derive(Serialize)]
struct CurveV1 {
    limits_um: Vec<f64>,
    share_pct: Vec<f64>,
    finer_pct: Vec<f64>,
}

#[derive(Serialize)]
struct PhotoV1 {
    file: String,
    width_px: usize,
    height_px: usize,
    particles: usize,
    smallest_ecd_um: f64,
    smallest_by_ninth_um: Vec<f64>,
    blur_px: f64,
    blur_by_ninth_px: Vec<f64>,
    noise: f64,
    core_deficit: f64,
    shadow_deficit: f64,
    paper_level: f64,
    paper_share: f64,
    coverage: f64,
    scale: ScaleV1,
    checks: Vec<CheckV1>,
    advice: Vec<String>,
}

#[derive(Serialize)]
struct CheckV1 {
    name: &'static str,
    figure: f64,
    limit: f64,
    unit: &'static str,
    fires: bool,
}

fn limit_v1(m: &Measurement) -> LimitV1 {
    let worst = m.photos.iter().max_by(|a, b| a.smallest_ecd_um.total_cmp(&b.smallest_ecd_um));
    let rows = |photo: &MeasuredPhoto| {
        let row = |r: &RecallRow| RecallV1 {
            ecd_um: r.ecd_px * photo.scale.typical(),
            tried: r.tried,
            found: r.found,
            recall: photo.recall.at(r.ecd_px),
            bias_pct: r.bias.map(|b| 100.0 * b),
        };
        photo.recall.rows().iter().map(row).collect()
    };
    LimitV1 { smallest_ecd_um: m.smallest_ecd_um, recall: worst.map(rows).unwrap_or_default() }
}

fn check_v1(check: &Check) -> CheckV1 {
    let Check { name, figure, limit, unit, .. } = *check;
    CheckV1 { name, figure, limit, unit, fires: check.fires() }
}

fn scale_v1(scale: &Scale) -> ScaleV1 {
    let (mut disc, mut card, mut sheet) = (None, None, None);
    let from = match scale.from() {
        Source::Given => "given",
        Source::Points => "points",
        Source::Calibration => "calibration",
        Source::Disc(d) => {
            let [x_px, y_px] = d.centre;
            let Disc { diameter_px, diameter_mm, tilt_deg, .. } = *d;
            disc = Some(DiscV1 { x_px, y_px, diameter_px, diameter_mm, tilt_deg });
            "disc"
        }
        Source::Card(c) => {
            card = Some(CardV1 { tilt_deg: c.tilt_deg, residual_px: c.residual_px });
            "card"
        }
        Source::Sheet(s) => {
            let [marks, marks_read, marks_used] = s.marks;
            let [x0, y0, x1, y1] = s.field_mm;
            let Lens { k1, k2, .. } = *s.plane.lens();
            let field_mm = [x1 - x0, y1 - y0];
            let residual_px = s.residual_px;
            sheet = Some(SheetV1 { frame: s.frame, field_mm, marks, marks_read, marks_used, residual_px, k1, k2 });
            "sheet"
        }
    };
    let uncertainty = scale.parts().iter().map(|p| PartV1 { from: p.name.to_string(), relative: p.relative }).collect();
    ScaleV1 {
        um_per_px: scale.typical(),
        relative_uncertainty: scale.relative_uncertainty(),
        from,
        uncertainty,
        disc,
        card,
        sheet,
    }
}

fn photo_v1(photo: &MeasuredPhoto) -> PhotoV1 {
    let q = &photo.quality;
    PhotoV1 {
        file: photo.path.display().to_string(),
        width_px: photo.size_px[0],
        height_px: photo.size_px[1],
        particles: photo.particles.len(),
        smallest_ecd_um: photo.smallest_ecd_um,
        smallest_by_ninth_um: photo.smallest_by_ninth_um.clone(),
        blur_px: q.blur_px,
        blur_by_ninth_px: q.blur_by_ninth_px.clone(),
        noise: q.noise,
        core_deficit: q.core,
        shadow_deficit: q.shade,
        paper_level: q.paper_level,
        paper_share: q.paper_share,
        coverage: q.coverage,
        scale: scale_v1(&photo.scale),
        checks: photo.checks.iter().map(check_v1).collect(),
        advice: photo.checks.iter().filter(|c| c.fires()).map(|c| c.sentence.clone()).collect(),
    }
}

fn named(values: &[Estimate; 7]) -> BTreeMap<&'static str, f64> {
    Figures::NAMES.into_iter().zip(values.iter().map(|e| e.value)).collect()
}

fn sieved_v1((shape, figures): &(SieveShape, [Estimate; 7])) -> SievedV1 {
    // The two means are by number, which sieves do not tell.
    let named = || Figures::NAMES.into_iter().zip(figures).take(5);
    SievedV1 {
        size_shift: shape.size_shift,
        mass_exponent: shape.mass_exponent,
        figures: named().map(|(name, e)| (name, e.value)).collect(),
        intervals: named().map(|(name, e)| (name, [e.low, e.high])).collect(),
    }
}

fn measurement_v1(m: &Measurement) -> MeasurementV1 {
    let particles = || m.photos.iter().flat_map(|p| &p.particles);
    let flagged = |flag| particles().filter(|p| p.flags.contains(flag)).count();
    let rejected = |why| m.photos.iter().flat_map(|p| &p.rejected).filter(|(_, r)| *r == why).count();
    MeasurementV1 {
        schema: MEASUREMENT,
        scale: scale_v1(&m.photos[0].scale),
        particles: ParticlesV1 {
            counted: particles().count(),
            on_border: rejected(Rejection::CutByFrame),
            off_paper: rejected(Rejection::OffPaper),
            too_large: rejected(Rejection::TooLarge),
            fibres: rejected(Rejection::Fibre),
            chaff: rejected(Rejection::Chaff),
            below_limit: flagged(Flags::BELOW_LIMIT),
            split: flagged(Flags::SPLIT),
            pale: flagged(Flags::PALE),
        },
        limit: limit_v1(m),
        distribution: DistributionV1 {
            figures: named(&m.by_mass),
            fines_below_um: m.fines_um,
            fines_at_least: m.fines_at_least,
            shares_above: m
                .shares_above
                .iter()
                .map(|&(size_um, e)| ShareV1 { size_um, share_pct: e.value, interval_pct: [e.low, e.high] })
                .collect(),
            confidence_pct: 100.0 * m.level,
            intervals: Figures::NAMES.into_iter().zip(m.by_mass.iter().map(|e| [e.low, e.high])).collect(),
        },
        by_number: Figures::NAMES.into_iter().zip(m.by_number.to_array()).collect(),
        curve: CurveV1 {
            limits_um: m.curve.limits_um.clone(),
            share_pct: m.curve.share_pct.clone(),
            finer_pct: m.curve.finer_pct.clone(),
        },
        as_sieved: m.as_sieved.as_ref().map(sieved_v1),
        mass_model: "proportional to ecd cubed: constant shape and density",
        spread_to_spread: if m.photos.len() > 1 { "in the intervals" } else { "unknown: one photo" },
        photo: m.photos.iter().map(photo_v1).collect(),
        excluded_by_hand: Vec::new(),
    }
}

/// A measurement as JSON text.
pub fn measurement(m: &Measurement) -> Vec<u8> {
    text(&measurement_v1(m))
}

/// The same for a measurement out of which someone took particles, which it names.
pub fn measurement_without(m: &Measurement, excluded: &[HandExcluded]) -> Vec<u8> {
    text(&MeasurementV1 { excluded_by_hand: excluded.to_vec(), ..measurement_v1(m) })
}

#[derive(Serialize)]
struct BatchV1<'a> {
    schema: &'static str,
    samples: Vec<SampleV1>,
    failed: Vec<FailureV1>,
    #[serde(skip_serializing_if = "<[String]>::is_empty")]
    notes: &'a [String],
}

#[derive(Serialize)]
struct SampleV1 {
    name: String,
    #[serde(flatten)]
    measurement: MeasurementV1,
}

#[derive(Serialize)]
struct FailureV1 {
    file: String,
    error: String,
}

/// All samples of a folder as JSON text; `failed` holds (file, error), `notes` what else is to be heeded.
pub fn overview(samples: &[(String, Measurement)], failed: &[(String, String)], notes: &[String]) -> Vec<u8> {
    text(&BatchV1 {
        schema: BATCH,
        samples: samples
            .iter()
            .map(|(name, m)| SampleV1 { name: name.clone(), measurement: measurement_v1(m) })
            .collect(),
        failed: failed.iter().map(|(file, error)| FailureV1 { file: file.clone(), error: error.clone() }).collect(),
        notes,
    })
}

pub(super) fn text(value: &impl Serialize) -> Vec<u8> {
    let mut out = serde_json::to_vec_pretty(value).expect("plain structs always serialise");
    out.push(b'\n');
    out
}
