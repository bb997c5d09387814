//! Weighed layers beside those that the photos predict: table, JSON, picture, and the file of a fitted shape.

use std::fmt::Write;

use serde::{Deserialize, Serialize};

use super::ReportError;
use super::comparison::wrapped;
use super::format::{count, decimals, significant};
use super::sieve_pair::layer;
pub use super::sieve_plot::{plot, plot_of_size};
use crate::compare::sieve::{Fitted, Stack};
use crate::distribution::SieveShape;
use crate::numeric::Estimate;

/// Schema of [`json`].
pub const SIEVE: &str = "lightsieve/sieve/1";
/// Schema of [`shape_file`].
pub const SHAPE: &str = "lightsieve/shape/1";

/// A sample sieved and photographed.
pub struct Sieved {
    /// Name of the sample.
    pub name: String,
    /// Number of photos and particles.
    pub counted: [usize; 2],
    /// The weights.
    pub stack: Stack,
    /// Shares predicted with `shape`, receiver last.
    pub predicted: Vec<Estimate>,
    /// The shape that the prediction takes.
    pub shape: SieveShape,
    /// The shape fitted to these weights, and the shares predicted with it.
    pub fitted: Option<(Fitted, Vec<Estimate>)>,
}

impl Sieved {
    pub(super) fn layer(&self, i: usize) -> String {
        layer(&self.stack, i)
    }
}

/// Name and counts in a line.
pub(super) fn counted(s: &Sieved) -> String {
    let [photos, particles] = s.counted;
    format!("{}: {}, {}", s.name, count(photos, "photo"), count(particles, "particle"))
}

/// Cells of each layer: name, weighed, share, bounds by rounding, share by the photo, its interval, and share fitted.
pub(super) fn rows(s: &Sieved) -> Vec<Vec<String>> {
    let row = |i: usize| {
        let (weighed, photo) = (s.stack.share[i], &s.predicted[i]);
        let places = decimals(photo.half_width()).clamp(1, 2);
        let mut cells = vec![
            s.layer(i),
            format!("{} g", significant(s.stack.mass_g[i], 4)),
            format!("{:.1} %", weighed.pct),
            format!("{:.1} … {:.1} %", weighed.low_pct, weighed.high_pct),
            format!("{:.places$} %", photo.value),
            format!("{:.places$} … {:.places$} %", photo.low, photo.high),
        ];
        cells.extend(s.fitted.as_ref().map(|(_, shares)| format!("{:.1} %", shares[i].value)));
        cells
    };
    (0..s.stack.mass_g.len()).map(row).collect()
}

/// True where for every layer what rounding allows and the interval of the photos meet.
pub fn agrees(s: &Sieved) -> bool {
    s.stack.share.iter().zip(&s.predicted).all(|(weighed, photos)| weighed.apart_from(photos) <= 0.0)
}

/// Whether sieve and photos agree, in a sentence.
pub fn headline(s: &Sieved) -> String {
    let off = |i: usize| (s.predicted[i].value - s.stack.share[i].pct).abs();
    let agrees = agrees(s);
    // A wide gap within the intervals says nothing: where they differ, the layer is named that lies farthest outside.
    let far = |i: usize| if agrees { off(i) } else { s.stack.share[i].apart_from(&s.predicted[i]) };
    let worst = (0..s.stack.mass_g.len()).max_by(|&a, &b| far(a).total_cmp(&far(b))).unwrap_or(0);
    let said = format!(
        "the {} gap is {:.1} % of the mass ({}: weighed {:.1} %, photos {:.1} %)",
        if agrees { "largest" } else { "clearest" },
        off(worst),
        s.layer(worst),
        s.stack.share[worst].pct,
        s.predicted[worst].value
    );
    if agrees {
        let widest = s.predicted.iter().map(|p| 0.5 * (p.high - p.low)).fold(0.0, f64::max);
        format!(
            "Sieve and photos agree within what rounding and counting allow (the photos tell a layer to ± {} % of the mass at worst); {said}.",
            significant(widest, 2)
        )
    } else {
        let mean = |share: &dyn Fn(usize) -> f64| (0..s.stack.mass_g.len()).map(|i| i as f64 * share(i)).sum::<f64>();
        let easier = mean(&|i| s.stack.share[i].pct) > mean(&|i| s.predicted[i].value);
        let why = match (s.shape == SieveShape::default(), easier) {
            _ if s.stack.loses_more_than_meshes_hold() => {
                "More was lost than meshes hold: nothing can be said before that is found (see below)"
            }
            (true, true) if s.fitted.is_some() => {
                "Particles pass more easily than their picture shows: check the scale; the fitted shape allows for it"
            }
            (false, _) => "The shape that was used does not suit these grounds; check the scale, too",
            (true, true) => {
                "Particles pass more easily than their picture shows: check the scale, and fit the shape to the layers (lightsieve sieve \
                 --shape-out)"
            }
            (true, false) => {
                "Particles pass less easily than their picture shows: sieve longer, check that meshes are free, and check the scale"
            }
        };
        format!("Sieve and photos differ by more than rounding and counting allow; {said}. {why}.")
    }
}

/// What must be heeded of the weighing.
pub fn warnings(s: &Sieved) -> Vec<String> {
    warnings_of(&s.stack)
}

/// The same of the weights alone.
pub fn warnings_of(stack: &Stack) -> Vec<String> {
    let mut out = Vec::new();
    if stack.loses_too_much() {
        out.push(
            if stack.loses_more_than_meshes_hold() {
                "More was lost than meshes hold: check the charge, and whether a layer or the receiver is missing."
            } else {
                "More than 1 % was lost: brush the meshes out and weigh again; what sticks there is mostly fines."
            }
            .to_owned(),
        );
    }
    if stack.receiver_inferred {
        out.push(
            "The receiver was not weighed: its mass is what the charge leaves, and any loss counts as fines."
                .to_owned(),
        );
    }
    out
}

/// What was lost, where that is known.
pub fn balance(s: &Sieved) -> Option<String> {
    let (loss, pct) = s.stack.loss_g.zip(s.stack.loss_pct())?;
    let text = if loss < 0.0 { "Gained by rounding" } else { "Lost in sieving" };
    Some(format!("{text}: {:.2} g, {:.1} % of the charge.", loss.abs(), pct.abs()))
}

/// The layers as a text for people.
pub fn table(s: &Sieved) -> String {
    let mut out = format!("{}\n\n{}\n\n", counted(s), wrapped(&headline(s), 100));
    let head = ["layer", "weighed", "", "rounding allows", "photo", "interval", "fitted"].map(str::to_owned);
    let columns = if s.fitted.is_some() { 7 } else { 6 };
    for row in std::iter::once(head[..columns].to_vec()).chain(rows(s)) {
        let _ = write!(out, "  {:<14}", row[0]);
        for (cell, width) in row[1..].iter().zip([10, 9, 18, 9, 18, 9]) {
            let _ = write!(out, "{cell:>width$}");
        }
        out.push('\n');
    }
    out.push('\n');
    if let Some(line) = balance(s) {
        let _ = writeln!(out, "  {line}");
    }
    for line in warnings(s) {
        let _ = writeln!(out, "  ! {line}");
    }
    for line in explanations(s) {
        let _ = writeln!(out, "  {line}");
    }
    out
}

/// What the numbers rest on, in sentences.
pub fn explanations(s: &Sieved) -> Vec<String> {
    let mut lines = vec![
        "A particle passes a mesh by its narrower side; the photo shows two sides of three, and mass is taken as the \
         cube of the diameter."
            .to_owned(),
    ];
    if s.shape != SieveShape::default() {
        lines.push(format!(
            "Predicted with a size shift of {} and a mass exponent of {}.",
            significant(s.shape.size_shift, 3),
            significant(s.shape.mass_exponent, 2)
        ));
    }
    if let Some((fit, _)) = &s.fitted {
        let plus = |half: Option<f64>| half.map_or(String::new(), |h| format!(" ± {}", significant(h, 1)));
        let mut line = format!(
            "Fitted: particles pass as if their narrower side were {}{} times what the photo shows",
            significant(fit.shape.size_shift, 3),
            plus(fit.half[0])
        );
        if fit.half[1].is_some() {
            let _ = write!(
                line,
                ", mass over the cube of the diameter changes with size to the power {}{}",
                significant(fit.shape.mass_exponent, 2),
                plus(fit.half[1])
            );
        }
        let _ = write!(line, "; the layers then agree within {:.1} % of the mass.", fit.worst_pct);
        lines.push(line);
        lines.push(
            "A fit makes these layers agree by its nature: try the shape on another sample before trusting it."
                .to_owned(),
        );
    }
    lines
}

#[derive(Serialize)]
struct SieveV1 {
    schema: &'static str,
    sample: String,
    photos: usize,
    particles: usize,
    charge_g: Option<f64>,
    loss_g: Option<f64>,
    loss_pct: Option<f64>,
    balance_step_g: f64,
    layers: Vec<LayerV1>,
    receiver: LayerV1,
    shape: ShapeV1,
    #[serde(skip_serializing_if = "Option::is_none")]
    fitted: Option<FittedV1>,
}

#[derive(Serialize)]
struct LayerV1 {
    #[serde(skip_serializing_if = "Option::is_none")]
    aperture_um: Option<f64>,
    weighed_g: f64,
    weighed_pct: f64,
    weighed_interval_pct: [f64; 2],
    photo_pct: f64,
    photo_interval_pct: [f64; 2],
    #[serde(skip_serializing_if = "Option::is_none")]
    fitted_pct: Option<f64>,
}

#[derive(Serialize, Deserialize)]
struct ShapeV1 {
    schema: String,
    size_shift: f64,
    #[serde(default)]
    size_shift_relative_uncertainty: f64,
    mass_exponent: f64,
}

#[derive(Serialize)]
struct FittedV1 {
    size_shift: f64,
    size_shift_half_width: Option<f64>,
    mass_exponent: f64,
    mass_exponent_half_width: Option<f64>,
    worst_pct: f64,
}

fn shape_v1(shape: &SieveShape) -> ShapeV1 {
    ShapeV1 {
        schema: SHAPE.to_owned(),
        size_shift: shape.size_shift,
        size_shift_relative_uncertainty: shape.shift_uncertainty,
        mass_exponent: shape.mass_exponent,
    }
}

/// The layers as JSON; documented in `docs/json.md`.
pub fn json(s: &Sieved) -> Vec<u8> {
    let layer = |i: usize| LayerV1 {
        aperture_um: s.stack.apertures_um.get(i).copied(),
        weighed_g: s.stack.mass_g[i],
        weighed_pct: s.stack.share[i].pct,
        weighed_interval_pct: [s.stack.share[i].low_pct, s.stack.share[i].high_pct],
        photo_pct: s.predicted[i].value,
        photo_interval_pct: [s.predicted[i].low, s.predicted[i].high],
        fitted_pct: s.fitted.as_ref().map(|(_, shares)| shares[i].value),
    };
    let fitted = s.fitted.as_ref().map(|(fit, _)| FittedV1 {
        size_shift: fit.shape.size_shift,
        size_shift_half_width: fit.half[0],
        mass_exponent: fit.shape.mass_exponent,
        mass_exponent_half_width: fit.half[1],
        worst_pct: fit.worst_pct,
    });
    let layers = s.stack.apertures_um.len();
    super::json::text(&SieveV1 {
        schema: SIEVE,
        sample: s.name.clone(),
        photos: s.counted[0],
        particles: s.counted[1],
        charge_g: s.stack.charge_g,
        loss_g: s.stack.loss_g,
        loss_pct: s.stack.loss_pct(),
        balance_step_g: s.stack.step_g,
        layers: (0..layers).map(layer).collect(),
        receiver: layer(layers),
        shape: shape_v1(&s.shape),
        fitted,
    })
}

/// A shape as a file for later use.
pub fn shape_file(shape: &SieveShape) -> Vec<u8> {
    super::json::text(&shape_v1(shape))
}

/// Reads a shape back.
///
/// # Errors
/// Another kind of file, or numbers that no particles have.
pub fn read_shape(text: &[u8]) -> Result<SieveShape, ReportError> {
    let wrong =
        |what: &str| ReportError::Measured(format!("{what}. Give the file that `lightsieve sieve --shape-out` writes"));
    let v: ShapeV1 = serde_json::from_slice(text).map_err(|_| wrong("this is no file of a fitted shape"))?;
    if v.schema != SHAPE {
        return Err(wrong("this is a file of another kind or of a newer version"));
    }
    if !(0.4..2.5).contains(&v.size_shift)
        || v.mass_exponent.is_nan()
        || v.mass_exponent.abs() > 2.0
        || !(0.0..1.0).contains(&v.size_shift_relative_uncertainty)
    {
        return Err(wrong(
            "its size shift (0.4 to 2.5) or its uncertainty, or mass exponent (-2 to 2), is out of range",
        ));
    }
    Ok(SieveShape {
        size_shift: v.size_shift,
        mass_exponent: v.mass_exponent,
        shift_uncertainty: v.size_shift_relative_uncertainty,
    })
}
