//! The table on the terminal.

use std::fmt::Write;

use super::format::significant;
use super::words::{counted, level, remarks, rows};
use crate::pipeline::{MeasuredPhoto, Measurement};

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
    let names: Vec<String> = m.photos.iter().map(|p| p.path.display().to_string()).collect();
    let mut out = format!("{}\n{}\n\n", names.join(", "), counted(m));
    let _ = writeln!(out, "  {:<16}{:>12}{:>24}{:>14}", "", "by mass", level(m), "by number");
    for row in rows(m) {
        let [mass, range, number] = row.with_unit();
        let line = format!("  {:<16}{mass:>12}{range:>24}{number:>14}", row.name);
        // Figures keep their columns to the last; a share has one.
        let line = if row.interval.is_empty() { line.trim_end() } else { &line };
        let _ = writeln!(out, "{line}");
    }
    out.push('\n');
    for remark in remarks(m) {
        let _ = writeln!(out, "  {}{}", if remark.advice { "! " } else { "" }, remark.text);
    }
    out
}
