use std::path::PathBuf;

use anyhow::anyhow;

use super::{Failure, say};
use crate::render::{ReferenceDisc, SceneSpec, Surround, render};
use crate::report::ReportError;
use crate::report::format::significant;
use crate::report::write::Target;

#[derive(clap::Args)]
pub(super) struct Args {
    /// Picture to write; .jpg or .png
    #[arg(value_name = "PICTURE")]
    picture: PathBuf,
    /// Write the true particles as CSV
    #[arg(long, value_name = "FILE")]
    truth: Option<PathBuf>,
    /// Width and height in pixels
    #[arg(long, value_name = "WxH", default_value = "3000x2250")]
    size: String,
    /// Scale, in µm per pixel
    #[arg(long, value_name = "UM_PER_PX", default_value_t = 20.0)]
    scale: f64,
    /// Median of the coarse particles by number, in µm
    #[arg(long, value_name = "UM", default_value_t = 560.0)]
    coarse: f64,
    /// Median of the fine particles by number, in µm
    #[arg(long, value_name = "UM", default_value_t = 80.0)]
    fine: f64,
    /// Share of the particles that belong to the fine part, by number
    #[arg(long, value_name = "0..1", default_value_t = 0.9)]
    fine_share: f64,
    /// Share of the paper that is covered
    #[arg(long, value_name = "0..1", default_value_t = 0.05)]
    coverage: f64,
    /// Share of the particles that touch another
    #[arg(long, value_name = "0..1", default_value_t = 0.0)]
    touching: f64,
    /// Blur, in pixels (standard deviation)
    #[arg(long, value_name = "PX", default_value_t = 0.9)]
    blur: f64,
    /// Strength of the contact shadow
    #[arg(long, value_name = "0..1", default_value_t = 0.12)]
    shadow: f64,
    /// Put a round disc of this diameter in mm beside the grounds
    #[arg(long, value_name = "MM")]
    disc: Option<f64>,
    /// Show the table around the sheet
    #[arg(long)]
    table: bool,
    /// The same seed gives the same picture
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
}

pub(super) fn run(args: &Args) -> Result<(), Failure> {
    let spec = spec(args)?;
    let jpeg = match args.picture.extension().map(|e| e.to_string_lossy().to_lowercase()).as_deref() {
        Some("jpg" | "jpeg") => true,
        Some("png") => false,
        _ => {
            let path = args.picture.display().to_string();
            return Err(Failure::Usage(ReportError::Kind { path, wanted: "a rendered picture is .jpg or .png" }.into()));
        }
    };
    let picture = Target::create(&args.picture)?;
    let truth = args.truth.as_deref().map(Target::create).transpose()?;
    let rendered = render(&spec).map_err(|e| Failure::Usage(e.into()))?;
    let bytes = if jpeg {
        rendered.jpeg()
    } else {
        let mut out = std::io::Cursor::new(Vec::new());
        rendered.image.write_to(&mut out, image::ImageFormat::Png)?;
        out.into_inner()
    };
    picture.finish(&bytes)?;
    if let Some(file) = truth {
        file.finish(rendered.truth_csv().as_bytes())?;
    }
    let figures = rendered.mass_figures(100.0);
    say(&format!(
        "{}: {} particles at {} µm per pixel; truth by mass: D10 {} D50 {} D90 {} µm, fines < 100 µm {} %\n",
        args.picture.display(),
        rendered.truth.len(),
        significant(args.scale, 4),
        significant(figures.d10_um, 4),
        significant(figures.d50_um, 4),
        significant(figures.d90_um, 4),
        significant(figures.fines_pct, 3)
    ))
}

fn spec(args: &Args) -> Result<SceneSpec, Failure> {
    let size = args.size.split_once(['x', '×']).and_then(|(w, h)| Some((w.parse().ok()?, h.parse().ok()?)));
    let Some((width_px, height_px)) = size else {
        return Err(Failure::Usage(anyhow!("--size {}: expected width x height, for example 3000x2250", args.size)));
    };
    let mut spec = SceneSpec {
        width_px,
        height_px,
        um_per_px: args.scale,
        seed: args.seed,
        coverage: args.coverage,
        touching_share: args.touching,
        ..SceneSpec::default()
    };
    spec.grind.coarse.median_um = args.coarse;
    spec.grind.fines.median_um = args.fine;
    spec.grind.fines_number_share = args.fine_share;
    spec.grind.min_um = spec.grind.min_um.min(0.3 * args.fine);
    spec.grind.max_um = spec.grind.max_um.max(3.0 * args.coarse);
    spec.camera.blur_sigma_px = args.blur;
    spec.shadow.strength = args.shadow;
    spec.surround = args.table.then(Surround::default);
    // In the upper left corner, wholly on the paper.
    let clear = if args.table { 0.16 } else { 0.05 };
    let place = |mm: f64, side: u32| clear + 500.0 * mm / args.scale / f64::from(side);
    spec.reference = args.disc.map(|diameter_mm| ReferenceDisc {
        diameter_mm,
        centre: (place(diameter_mm, width_px), place(diameter_mm, height_px)),
        ..ReferenceDisc::default()
    });
    Ok(spec)
}
