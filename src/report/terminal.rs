//! The table on the terminal.

use std::fmt::Write;

use super::format::{count, interval, significant, value};
use crate::distribution::Figures;
use crate::pipeline::{MeasuredPhoto, Measurement};
use crate::scale::Source;
use crate::segment::Rejection;

/// What to do better, photo by photo; empty when there is nothing.
fn advice(m: &Measurement) -> String {
    let mut out = String::new();
    for photo in &m.photos {
        let name = if m.photos.len() > 1 { format!("{}: ", photo.path.display()) } else { String::new() };
        for check in photo.checks.iter().filter(|c| c.fires()) {
            let _ = writeln!(out, "  ! {name}{}", check.sentence);
        }
    }
    out
}

/// The checks of the photos alone, with their figures.
pub fn checks(photos: &[MeasuredPhoto]) -> String {
    let mut out = String::new();
    for photo in photos {
        let _ = writeln!(out, "{}", photo.path.display());
        for check in &photo.checks {
            let mark = if check.fires() { "!" } else { " " };
            let side = if check.bad_above { "up to" } else { "from" };
            let _ = writeln!(
                out,
                "  {mark} {:<11}{:>9}   good {side} {} {}",
                check.name,
                significant(check.figure, 3),
                significant(check.limit, 3),
                check.unit
            );
            if check.fires() {
                let _ = writeln!(out, "      {}", check.sentence);
            }
        }
    }
    out
}

/// The measurement as a table for people.
pub fn table(m: &Measurement) -> String {
    let mut out = String::new();
    let particles: usize = m.photos.iter().map(|p| p.particles.len()).sum();
    let scale = &m.photos[0].scale;
    let origin = match scale.from() {
        Source::Given => "as given".to_owned(),
        Source::Calibration => "by the calibration of the stand".to_owned(),
        Source::Points => "from two points".to_owned(),
        Source::Disc(d) => format!("from a disc of {} mm", d.diameter_mm),
        Source::Card(c) => format!("from a card, the camera tilted by {:.0} degrees", c.tilt_deg),
        Source::Sheet(s) => format!("frame {} of the scale sheet, {} of {} marks", s.frame, s.marks[2], s.marks[0]),
    };
    let names: Vec<String> = m.photos.iter().map(|p| p.path.display().to_string()).collect();
    let _ = writeln!(out, "{}", names.join(", "));
    let _ = writeln!(
        out,
        "{}, {}, {} µm per pixel ({origin})\n",
        count(m.photos.len(), "photo"),
        count(particles, "whole particle"),
        significant(scale.typical(), 4),
    );
    let fines = format!("fines < {} µm", significant(m.fines_um, 3));
    let rows = ["D10", "D50", "D90", "span", &fines, "D[3,2]", "D[4,3]"];
    let units = [" µm", " µm", " µm", "", " %", " µm", " µm"];
    let level = format!("{} % interval", (1e6 * m.level).round() / 1e4);
    let _ = writeln!(out, "  {:<16}{:>12}{:>24}{:>14}", "", "by mass", level, "by number");
    for (i, number) in m.by_number.to_array().into_iter().enumerate() {
        let e = &m.by_mass[i];
        let unit = units[i];
        let _ = writeln!(
            out,
            "  {:<16}{:>12}{:>24}{:>14}",
            rows[i],
            format!("{}{}{unit}", if m.fines_at_least && i == Figures::FINES { "≥ " } else { "" }, value(e)),
            format!("{}{unit}", interval(e)),
            // The two means are the same by their definition, whatever the basis.
            if i < 5 { format!("{}{unit}", significant(number, 2)) } else { String::new() },
        );
    }
    for &(size, share) in &m.shares_above {
        let _ = writeln!(out, "  {:<16}{:>12}", format!("> {} µm", significant(size, 3)), format!("{share:.1} %"));
    }
    out.push('\n');
    let rejected = |why| m.photos.iter().flat_map(|p| &p.rejected).filter(|(_, r)| *r == why).count();
    let (cut, off) = (rejected(Rejection::CutByFrame), rejected(Rejection::OffPaper));
    let _ = writeln!(
        out,
        "  Reliable from {} µm up: smaller particles are partly missed.",
        significant(m.smallest_ecd_um, 2)
    );
    if m.fines_at_least {
        let _ = writeln!(
            out,
            "  The share of fines is at least that given: the photo does not show all particles below {} µm.",
            significant(m.fines_um, 3)
        );
    }
    out.push_str(&advice(m));
    let _ = write!(out, "  Left out: {} that the frame cuts", count(cut, "particle"));
    let large = rejected(Rejection::TooLarge);
    if large > 0 {
        let _ = write!(
            out,
            ", {} wider than 10 mm (give a coin as --reference to take the scale from it)",
            count(large, "object")
        );
    }
    let _ = writeln!(
        out,
        "{}.",
        if off > 0 { format!(", {} off the paper", count(off, "dark area")) } else { String::new() }
    );
    if let Some(part) = scale.main_part().filter(|_| scale.relative_uncertainty() > 0.0) {
        let _ = writeln!(
            out,
            "  Scale known to ± {} % (95 %); most of it: {}.",
            significant(196.0 * scale.relative_uncertainty(), 2),
            part.name
        );
    }
    if let Source::Disc(d) = scale.from() {
        // Half of what an oval of 1 % tells is error.
        if d.tilt_deg > 12.0 {
            let _ = writeln!(
                out,
                "  The disc looks {:.0} degrees tilted: hold the camera square, or use the printed sheet.",
                d.tilt_deg
            );
        }
    }
    let _ = writeln!(out, "  Mass is taken as ECD³: constant shape and density are assumed.");
    if m.photos.len() == 1 {
        let _ = writeln!(
            out,
            "  One photo: the intervals cover counting{}, not how much spreads of the same grounds differ.",
            if scale.relative_uncertainty() > 0.0 { " and scale" } else { "" }
        );
    }
    out
}
