use std::fmt::Write;
use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow};

use super::measure::{progress, refuse_twice};
use super::options::{self, Way, data_file};
use super::{Failure, say};
use crate::distribution::KnownSize;
use crate::photo::{self, Photo};
use crate::pipeline::{check_size, measure_file};
use crate::report::calibration;
use crate::report::format::significant;
use crate::report::write::{Target, same_place};
use crate::scale::sheet::{Sheet, find_sheet_or_why};
use crate::scale::{StandError, calibrate};

#[derive(clap::Args)]
pub(super) struct Args {
    /// Photos of the printed sheet on the stand; photos from other sides, tilted by 20° and more, tell the lens too
    #[arg(required = true, value_name = "PHOTO")]
    photos: Vec<PathBuf>,
    /// Write the calibration of the stand, for --calibration
    #[arg(long, value_name = "FILE.json", required_unless_present = "known", value_parser = data_file())]
    output: Option<PathBuf>,
    /// Measure beads, balls or printed discs of this diameter in µm and state the tool's bias: 1000±5
    #[arg(long, value_name = "UM±UM", conflicts_with = "output")]
    known: Option<String>,
    #[command(flatten)]
    way: Way,
}

pub(super) fn run(args: &Args) -> Result<(), Failure> {
    for photo in &args.photos {
        photo::check(photo).with_context(|| photo.display().to_string())?;
    }
    refuse_twice(&args.photos)?;
    match (&args.known, &args.output) {
        (Some(known), _) => known_size(args, known),
        (None, Some(output)) => stand(args, output),
        (None, None) => unreachable!("one of the two is required"),
    }
}

fn stand(args: &Args, output: &Path) -> Result<(), Failure> {
    if args.way.has_way() {
        return Err(Failure::Usage(anyhow!(
            "a stand is calibrated by the printed sheet: leave --scale, --reference, --points and --calibration out"
        )));
    }
    if args.photos.iter().any(|p| same_place(p, output)) {
        return Err(Failure::Usage(anyhow!("{}: this output would overwrite a photo", output.display())));
    }
    let bars = args.way.bar_measured.as_deref().map(options::bars).transpose()?;
    let target = Target::create(output)?;
    let bar = progress(args.photos.len());
    let mut first: Option<Photo> = None;
    let (mut sizes, mut sheets): (Vec<[usize; 2]>, Vec<Sheet>) = (Vec::new(), Vec::new());
    for path in &args.photos {
        let photo = photo::read(path).with_context(|| path.display().to_string())?;
        sheets.push(
            find_sheet_or_why(&photo).map_err(StandError::without_sheet).with_context(|| path.display().to_string())?,
        );
        sizes.push([photo.width(), photo.height()]);
        first.get_or_insert(photo);
        bar.inc(1);
    }
    bar.finish_and_clear();
    let first = first.expect("one photo at least");
    let fit = calibrate(&first, &sizes, &sheets, bars)?;
    let scale = fit.calibration.scale(&first, true)?;
    let names = args.photos.iter().map(|p| p.display().to_string()).collect();
    let mut out = String::new();
    // Writing to a string cannot fail.
    let _ = writeln!(
        out,
        "{}: {} µm per pixel in the middle, known to ± {} % (95 %)",
        output.display(),
        significant(scale.typical(), 5),
        significant(196.0 * scale.relative_uncertainty(), 2)
    );
    let _ = writeln!(
        out,
        "  {} of {} photos are from the place of the first and make the scale; marks lie {} px from their places.",
        fit.alike,
        args.photos.len(),
        significant(fit.residual_px, 2)
    );
    let _ = match &fit.camera {
        Some(c) => writeln!(
            out,
            "  Lens from all photos: focal length {:.0} × {:.0} px, centre {:.0}, {:.0} px, k1 {:+.4}, k2 {:+.4}, {} px rms.",
            c.focal_px[0],
            c.focal_px[1],
            c.centre_px[0],
            c.centre_px[1],
            c.k1,
            c.k2,
            significant(c.rms_px, 2)
        ),
        None => writeln!(
            out,
            "  The lens is as the sheet in one photo tells it. Photos tilted by 20° to three sides would tell it better."
        ),
    };
    let _ = writeln!(
        out,
        "  It holds while camera, zoom and distance stay. Use it: lightsieve measure PHOTO --calibration {}",
        output.display()
    );
    target.finish(&calibration::text(&fit, names))?;
    say(&out)
}

fn known_size(args: &Args, text: &str) -> Result<(), Failure> {
    let known = known(text)?;
    let settings = args.way.settings()?;
    let bar = progress(args.photos.len());
    let mut photos = Vec::new();
    for path in &args.photos {
        photos.push(measure_file(path, &settings).with_context(|| path.display().to_string())?);
        bar.inc(1);
    }
    bar.finish_and_clear();
    let check = check_size(&photos, known, &settings)?;
    let bias = check.bias_pct;
    let verdict = if bias.low > 0.0 {
        "sizes come out too large"
    } else if bias.high < 0.0 {
        "sizes come out too small"
    } else {
        "no bias is seen"
    };
    say(&format!(
        "{} round objects: mean {} µm, standard deviation {} µm, where {} ± {} µm are known.\n\
         Bias {:+.2} %, {} % interval {:+.2} to {:+.2} %: {verdict}.\n\
         The interval joins their scatter, the tolerance of the known diameter and the scale.\n\
         Printed discs are true to some 0.05 mm only (ink spreads): beads or bearing balls tell more.\n",
        check.count,
        significant(check.mean_um, 5),
        significant(check.deviation_um, 2),
        known.diameter_um,
        known.within_um,
        bias.value,
        (1e4 * bias.level).round() / 100.0,
        bias.low,
        bias.high,
    ))
}

fn known(text: &str) -> Result<KnownSize, Failure> {
    let (size, within) = text.split_once('±').or_else(|| text.split_once("+-")).unwrap_or((text, "0"));
    let parsed = size.trim().parse().ok().zip(within.trim().parse().ok());
    match parsed {
        Some((diameter_um, within_um))
            if (10.0..=100_000.0).contains(&diameter_um) && (0.0..0.2 * diameter_um).contains(&within_um) =>
        {
            Ok(KnownSize { diameter_um, within_um })
        }
        _ => Err(Failure::Usage(anyhow!(
            "--known {text}: expected a diameter in µm and its tolerance, for example --known 1000±5 or --known 1000+-5"
        ))),
    }
}
