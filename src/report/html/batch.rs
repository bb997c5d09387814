use super::{Carried, MASS, figure_for_all, method, noted, page, table};
use crate::pipeline::Measurement;
use crate::report::ReportError;
use crate::report::format::{count, interval, percent, significant, value};
use crate::report::plot::{self, Kind};
use crate::report::words::{sample_head, sample_row};

/// All samples of a folder as a page; `failed` holds (file, error), `notes` what else is to be heeded, `rows` and `data` are the overview as CSV and JSON.
///
/// # Errors
/// None in practice: the drawing stays in memory.
pub fn batch(
    samples: &[(String, Measurement)],
    failed: &[(String, String)],
    notes: &[String],
    rows: &[u8],
    data: &[u8],
) -> Result<Vec<u8>, ReportError> {
    let ends = |i: usize| {
        let by = |a: &&(String, Measurement), b: &&(String, Measurement)| {
            a.1.by_mass[i].value.total_cmp(&b.1.by_mass[i].value)
        };
        samples.iter().min_by(by).zip(samples.iter().max_by(by))
    };
    let mut body = String::new();
    if let Some((finest, coarsest)) = ends(1) {
        body += &format!(
            "<p class=\"verdict undecided\">{}: D50 from {} µm ({}) to {} µm ({}). Whether two of them differ, \
             <code>lightsieve compare</code> tells.</p>\n",
            count(samples.len(), "sample"),
            value(&finest.1.by_mass[1]),
            super::escape(&finest.0),
            value(&coarsest.1.by_mass[1]),
            super::escape(&coarsest.0),
        );
    }
    let wrong: Vec<String> = failed.iter().map(|(file, why)| format!("{file}: {why}")).collect();
    body += &noted(&wrong);
    body += &noted(&notes.iter().map(|note| format!("{note}.")).collect::<Vec<_>>());
    let told = "Share of the mass finer than each size, a line for each sample. The figures are in the table.";
    let drawn = |size| plot::overview(samples, Kind::Svg, size);
    body += &figure_for_all(drawn(plot::WIDE)?, drawn(plot::NARROW)?, told)?;
    let head = sample_head(&samples[0].1);
    let head: Vec<&str> = head.iter().map(String::as_str).collect();
    body += &table("Samples", &head, samples.iter().map(|(name, m)| sample_row(name, m)));
    let level = format!("{} % interval of D50, µm", percent(samples[0].1.level));
    let fines = format!("interval of fines < {} µm, %", significant(samples[0].1.fines_um, 3));
    let intervals = samples.iter().map(|(name, m)| {
        vec![name.clone(), interval(&m.by_mass[1]), interval(&m.by_mass[4]), significant(m.smallest_ecd_um, 2)]
    });
    body += &table("How sure", &["sample", &level, &fines, "reliable from, µm"], intervals);
    body += &method(&[
        MASS,
        "With one photo of a sample the intervals cover counting and scale, not how much spreads of the same grounds differ.",
    ]);
    let carried = [Carried { name: "overview.json", content: data }, Carried { name: "overview.csv", content: rows }];
    Ok(page(&count(samples.len(), "sample"), &body, &carried))
}
