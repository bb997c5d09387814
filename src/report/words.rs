//! A measurement in rows and sentences, as the terminal and the page show it.

use super::format::{count, interval, percent, significant, value};
use super::verdict::{label, meaning};
use crate::advice::{self, Check};
use crate::compare::Quantity;
use crate::distribution::Figures;
use crate::pipeline::{MeasuredPhoto, Measurement};
use crate::scale::{Scale, Source};
use crate::segment::Rejection;

/// Medians of ground coffee lie between these, µm (common practice, no source).
const GROUND_UM: [f64; 2] = [20.0, 3000.0];

/// Fewer particles than these say little of the grounds, whatever the intervals.
const FEW_PARTICLES: usize = 30;

/// One figure as text; the numbers stand without their unit.
pub struct Row {
    /// Its name.
    pub name: String,
    /// What it tells, in plain words; empty where the name says it.
    pub says: &'static str,
    /// µm, % or nothing.
    pub unit: &'static str,
    /// Value by mass.
    pub mass: String,
    /// Its interval; empty where none is reckoned.
    pub interval: String,
    /// Value by number; empty where it means nothing of its own.
    pub number: String,
}

impl Row {
    /// Value by mass, interval and value by number with their unit.
    pub fn with_unit(&self) -> [String; 3] {
        [&self.mass, &self.interval, &self.number].map(|text| {
            if text.is_empty() || self.unit.is_empty() { text.clone() } else { format!("{text} {}", self.unit) }
        })
    }
}

/// A sentence about a measurement.
pub struct Remark {
    /// True where it says what to do better.
    pub advice: bool,
    /// The sentence.
    pub text: String,
}

/// "95 % interval".
pub fn level(m: &Measurement) -> String {
    format!("{} % interval", percent(m.level))
}

/// Where a scale comes from.
pub fn origin(scale: &Scale) -> String {
    match scale.from() {
        Source::Given => "as given".to_owned(),
        Source::Calibration => "by the calibration of the stand".to_owned(),
        Source::Points => "from two places".to_owned(),
        Source::Disc(d) => format!("from a disc of {} mm", d.diameter_mm),
        Source::Card(c) => format!("from a card, the camera tilted by {:.0} degrees", c.tilt_deg),
        Source::Sheet(s) => format!("frame {} of the scale sheet, {} of {} marks", s.frame, s.marks[2], s.marks[0]),
    }
}

/// Photos, particles and scale in a line.
pub fn counted(m: &Measurement) -> String {
    let particles: usize = m.photos.iter().map(|p| p.particles.len()).sum();
    let scale = &m.photos[0].scale;
    format!(
        "{}, {}, {} µm per pixel ({})",
        count(m.photos.len(), "photo"),
        count(particles, "whole particle"),
        significant(scale.typical(), 4),
        origin(scale)
    )
}

/// Scale of a photo, and where it comes from.
pub fn scaled(photo: &MeasuredPhoto) -> String {
    let scale = &photo.scale;
    format!("{}: {} µm per pixel ({})", photo.path.display(), significant(scale.typical(), 4), origin(scale))
}

/// What stands over the values by number, in plain words.
pub const BY_NUMBER: &str =
    "By mass, a particle counts as much as it weighs; by number, each counts the same, however small.";

/// The figures, and the shares above a size that were asked for.
pub fn rows(m: &Measurement) -> Vec<Row> {
    let unit = |i: usize| Quantity::Figure(i).unit();
    let figures = m.by_number.to_array().into_iter().enumerate().map(|(i, number)| {
        let e = &m.by_mass[i];
        Row {
            name: label(Quantity::Figure(i), m.fines_um),
            says: meaning(Quantity::Figure(i)),
            unit: unit(i),
            mass: format!("{}{}", if m.fines_at_least && i == Figures::FINES { "≥ " } else { "" }, value(e)),
            interval: interval(e),
            // The two means are the same by their definition, whatever the basis.
            number: if i < 5 { significant(number, 2) } else { String::new() },
        }
    });
    let sieved = m.as_sieved.iter().flat_map(|(_, figures)| {
        let passing = format!("passing {} µm", significant(m.fines_um, 3));
        let named = ["D10 as sieved", "D50 as sieved", "D90 as sieved", "span as sieved", &passing].map(str::to_owned);
        named.into_iter().zip(figures).enumerate().map(|(i, (name, e))| Row {
            name,
            says: "",
            unit: unit(i),
            mass: value(e),
            interval: interval(e),
            number: String::new(),
        })
    });
    let shares = m.shares_above.iter().map(|(size, share)| Row {
        name: label(Quantity::ShareAbove(*size), m.fines_um),
        says: meaning(Quantity::ShareAbove(*size)),
        unit: Quantity::ShareAbove(*size).unit(),
        mass: value(share),
        interval: interval(share),
        number: String::new(),
    });
    figures.chain(sieved).chain(shares).collect()
}

/// Share of the mass, %, from which on pale particles of a sample among others are told: less hardly moves a figure.
const PALE_PCT: f64 = 1.0;

/// What is told of the pale particles of one sample among others.
pub fn pale_of(name: &str, pale: (usize, f64)) -> Option<String> {
    (pale.1 >= PALE_PCT).then(|| format!("{name}: {}", pale_counted(pale)))
}

/// What is told of pale particles: their number, and their share of the mass, %.
fn pale_counted((pale, share_pct): (usize, f64)) -> String {
    format!(
        "{} far paler than the rest, as chaff is, with {} % of the mass: counted.",
        count(pale, "particle"),
        significant(share_pct, 2)
    )
}

/// Photos named at the most where several are to be taken the same way.
const MOST_NAMED: usize = 3;

/// What could be better about the photos, with their names: what holds for several is told once, with the figures of the first.
pub fn advice(photos: &[MeasuredPhoto]) -> Vec<String> {
    let mut told: Vec<(&Check, String, Vec<String>)> = Vec::new();
    for photo in photos {
        let name = photo.path.display().to_string();
        for check in photo.checks.iter().filter(|c| c.fires()) {
            match told.iter_mut().find(|(of_first, ..)| of_first.name == check.name) {
                Some((.., others)) => others.push(name.clone()),
                None => told.push((check, name.clone(), Vec::new())),
            }
        }
    }
    let text = |(check, first, others): (&Check, String, Vec<String>)| {
        let named = others.iter().take(MOST_NAMED).cloned().collect::<Vec<_>>().join(", ");
        let also = match others.len().saturating_sub(MOST_NAMED) {
            0 if others.is_empty() => String::new(),
            0 => format!(" The same goes for {named}."),
            more => format!(" The same goes for {named} and {more} more."),
        };
        format!("{first}: {}{also}", check.sentence)
    };
    told.into_iter().map(text).collect()
}

/// Share of a picture from which on it counts as measured all over: tiles at its rim may be lost.
const WHOLE_PICTURE: f64 = 0.9;

/// What must be said besides the figures.
pub fn remarks(m: &Measurement) -> Vec<Remark> {
    let mut out = Vec::new();
    let mut say = |text: String| out.push(Remark { advice: false, text });
    say(format!("Reliable from {} µm up: smaller particles are partly missed.", significant(m.smallest_ecd_um, 2)));
    for photo in &m.photos {
        let ends = |f: fn(f64, f64) -> f64, from| photo.smallest_by_ninth_um.iter().copied().fold(from, f);
        let (least, most) = (ends(f64::min, f64::INFINITY), ends(f64::max, 0.0));
        if most > least {
            say(format!(
                "{} is not sharp everywhere alike: from {} µm up where it is sharpest, from {} µm where it is softest. Sizes are \
                 taken with the blur of their place.",
                photo.path.display(),
                significant(least, 2),
                significant(most, 2)
            ));
        }
    }
    for photo in &m.photos {
        let share = photo.quality.paper_share;
        // A sheet (be it that another scale is used) or a card says by itself where the field ends.
        let ends_by_itself = matches!(photo.scale.from(), Source::Sheet(_) | Source::Card(_))
            || photo.checks.iter().any(|c| c.name == advice::SHEET_IN_VIEW);
        if share < WHOLE_PICTURE && !ends_by_itself {
            say(format!(
                "{}: measured on {:.0} % of the picture. The rest is no paper, or paper in another light: where grounds lie there, \
                 light the paper evenly.",
                photo.path.display(),
                100.0 * share
            ));
        }
    }
    if m.fines_at_least {
        say(format!(
            "The share of fines is at least that given: the photo does not show all particles below {} µm.",
            significant(m.fines_um, 3)
        ));
    }
    let particles: usize = m.photos.iter().map(|p| p.particles.len()).sum();
    if particles < FEW_PARTICLES {
        let text = format!(
            "Only {}: too few to tell how the grounds are. Photograph more of them, or from nearer.",
            count(particles, "particle")
        );
        out.push(Remark { advice: true, text });
    }
    for [a, b] in m.same_spreads() {
        let name = |i: usize| m.photos[i].path.display();
        let text = format!(
            "{} and {} show the same particles at the same places. Spread anew for each photo: counted twice, they make the \
             result look surer than it is.",
            name(a),
            name(b)
        );
        out.push(Remark { advice: true, text });
    }
    let median = m.by_mass[1].value;
    if !(GROUND_UM[0]..GROUND_UM[1]).contains(&median) {
        let text = format!("A median of {} µm is unlike ground coffee: check the scale.", significant(median, 2));
        out.push(Remark { advice: true, text });
    }
    if let [photo] = &m.photos[..] {
        let fired = photo.checks.iter().filter(|c| c.fires());
        out.extend(fired.map(|c| Remark { advice: true, text: c.sentence.clone() }));
    } else {
        out.extend(advice(&m.photos).into_iter().map(|text| Remark { advice: true, text }));
    }
    let mut say = |text: String| out.push(Remark { advice: false, text });
    let pale = m.pale();
    if pale.0 > 0 {
        say(pale_counted(pale));
    }
    say(left_out(m));
    let scale = &m.photos[0].scale;
    if let Some(part) = scale.main_part().filter(|_| scale.relative_uncertainty() > 0.0) {
        let pct = significant(196.0 * scale.relative_uncertainty(), 2);
        say(format!("Scale known to ± {pct} % (95 %); most of it: {}.", part.name));
    }
    if let Source::Disc(d) = scale.from() {
        // Half of what an oval of 1 % tells is error.
        if d.tilt_deg > 12.0 {
            say(format!(
                "The disc looks {:.0} degrees tilted: hold the camera square, or use the printed sheet.",
                d.tilt_deg
            ));
        }
    }
    say("Mass is taken as the cube of the diameter: constant shape and density are assumed.".to_owned());
    if let Some((shape, _)) = &m.as_sieved {
        say(format!(
            "As sieved: a particle passes by {} times its smallest Feret diameter, as fitted to weighed layers.",
            significant(shape.size_shift, 3)
        ));
    }
    if m.photos.len() == 1 {
        say(format!(
            "One photo: the intervals cover counting{}, not how much spreads of the same grounds differ. Photograph two more \
             spreads of them.",
            if scale.relative_uncertainty() > 0.0 { " and scale" } else { "" }
        ));
    }
    out
}

fn left_out(m: &Measurement) -> String {
    let rejected = |why| m.photos.iter().flat_map(|p| &p.rejected).filter(|(_, r)| *r == why).count();
    let kinds = [
        (Rejection::CutByFrame, "particle", "that the frame cuts"),
        (Rejection::Chaff, "pale flake", "taken for chaff"),
        (Rejection::Fibre, "hair", "or the like (nine times as long as wide)"),
        (
            Rejection::TooLarge,
            "object",
            "wider than 10 mm (where it is a coin or a disc, the scale can be taken from it)",
        ),
        (Rejection::OffPaper, "dark area", "off the paper"),
    ];
    let parts: Vec<String> = kinds
        .into_iter()
        .map(|(why, thing, how)| (rejected(why), thing, how))
        .filter(|(n, ..)| *n > 0)
        .map(|(n, thing, how)| format!("{} {how}", count(n, thing)))
        .collect();
    if parts.is_empty() { "Nothing was left out.".to_owned() } else { format!("Left out: {}.", parts.join(", ")) }
}

/// What stands over the columns of [`sample_row`], of samples measured in the same way as `m`.
pub fn sample_head(m: &Measurement) -> Vec<String> {
    let all = ["sample", "photos", "particles", "D10 µm", "D50 µm", "D90 µm", "span", "fines %"];
    let shares = m.shares_above.iter().map(|(size, _)| format!("{} %", label(Quantity::ShareAbove(*size), m.fines_um)));
    all.map(str::to_owned).into_iter().chain(shares).collect()
}

/// A sample as one row.
pub fn sample_row(name: &str, m: &Measurement) -> Vec<String> {
    let counts = [m.photos.len(), m.sizes.ecd_um.len()].map(|n| n.to_string());
    let shares = m.shares_above.iter().map(|(_, share)| share);
    std::iter::once(name.to_owned()).chain(counts).chain(m.by_mass[..5].iter().chain(shares).map(value)).collect()
}
