use std::path::PathBuf;

use anyhow::anyhow;

use super::options::number;
use super::{Failure, say, stays};
use crate::render::{Ink, ReferenceCard, ReferenceDisc, RenderError, SceneSpec, Surround, View, render};
use crate::report::ReportError;
use crate::report::format::significant;
use crate::report::write::{Target, same_place};
use crate::scale::sheet::{DISC_FRAME, Frame, Mark, PRINTED_DISCS, frames};

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
    /// Scale in the middle, in µm per pixel; 20 by itself, or so that the frame of --sheet fills the picture
    #[arg(long, value_name = "UM_PER_PX", allow_negative_numbers = true, value_parser = number)]
    scale: Option<f64>,
    /// Median of the coarse particles by number, in µm
    #[arg(long, value_name = "UM", default_value_t = 560.0, allow_negative_numbers = true, value_parser = number)]
    coarse: f64,
    /// Median of the fine particles by number, in µm
    #[arg(long, value_name = "UM", default_value_t = 80.0, allow_negative_numbers = true, value_parser = number)]
    fine: f64,
    /// Share of the particles that belong to the fine part, by number
    #[arg(long, value_name = "0..1", default_value_t = 0.9, allow_negative_numbers = true, value_parser = number)]
    fine_share: f64,
    /// Share of the paper that is covered
    #[arg(long, value_name = "0..1", default_value_t = 0.05, allow_negative_numbers = true, value_parser = number)]
    coverage: f64,
    /// Share of the particles that touch another
    #[arg(long, value_name = "0..1", default_value_t = 0.0, allow_negative_numbers = true, value_parser = number)]
    touching: f64,
    /// Blur, in pixels (standard deviation)
    #[arg(long, value_name = "PX", default_value_t = 0.9, allow_negative_numbers = true, value_parser = number)]
    blur: f64,
    /// Strength of the contact shadow
    #[arg(long, value_name = "0..1", default_value_t = 0.12, allow_negative_numbers = true, value_parser = number)]
    shadow: f64,
    /// Put a round disc of this diameter in mm beside the grounds
    #[arg(long, value_name = "MM", allow_negative_numbers = true, value_parser = number)]
    disc: Option<f64>,
    /// Lay a bank card (ISO/IEC 7810 ID-1) in the middle
    #[arg(long, conflicts_with_all = ["disc", "sheet"])]
    card: bool,
    /// Print a frame of the scale sheet, with the grounds in its field
    #[arg(long, value_name = "L|M|S|D", value_parser = ["L", "M", "S", "D"], conflicts_with_all = ["disc", "table"])]
    sheet: Option<String>,
    /// Tilt of the camera, in degrees
    #[arg(long, value_name = "DEGREES", default_value_t = 0.0, allow_negative_numbers = true, value_parser = number)]
    tilt: f64,
    /// Direction in the picture in which the paper falls away, in degrees: 0 right, 90 down
    #[arg(long, value_name = "DEGREES", default_value_t = 90.0, allow_negative_numbers = true, value_parser = number)]
    tilt_towards: f64,
    /// Turn of the paper, in degrees
    #[arg(long, value_name = "DEGREES", default_value_t = 0.0, allow_negative_numbers = true, value_parser = number)]
    turn: f64,
    /// Radial bend of the lens, k1 in units of the focal length
    #[arg(long, value_name = "K1", default_value_t = 0.0, allow_negative_numbers = true, value_parser = number)]
    bend: f64,
    /// Focal length of the lens, in mm on the 36 × 24 mm frame
    #[arg(long, value_name = "MM", default_value_t = 26.0, allow_negative_numbers = true, value_parser = number)]
    focal: f64,
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
            return Err(Failure::Usage(
                ReportError::Kind { path, wanted: "a rendered picture is .jpg or .png" }.into(),
            ));
        }
    };
    if args.truth.as_deref().is_some_and(|truth| same_place(truth, &args.picture)) {
        return Err(Failure::Usage(anyhow!(
            "{}: the picture and --truth have the same name. Give each its own",
            args.picture.display()
        )));
    }
    if args.picture.is_file() {
        return Err(stays(&args.picture, ", since it may be a photo. Choose another name, or delete it"));
    }
    let picture = Target::create(&args.picture)?;
    let truth = args.truth.as_deref().map(Target::create).transpose()?;
    let rendered = render(&spec).map_err(|e| Failure::Usage(in_options(&e)))?;
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
    if figures.count == 0 {
        return say(&format!("{}: no particle lies wholly in the picture\n", args.picture.display()));
    }
    say(&format!(
        "{}: {} particles at {} µm per pixel; truth by mass: D10 {} D50 {} D90 {} µm, fines < 100 µm {} %\n",
        args.picture.display(),
        rendered.truth.len(),
        significant(rendered.um_per_px, 4),
        significant(figures.d10_um, 4),
        significant(figures.d50_um, 4),
        significant(figures.d90_um, 4),
        significant(figures.fines_pct, 3)
    ))
}

fn spec(args: &Args) -> Result<SceneSpec, Failure> {
    // Each of these spoils the picture in a way that the renderer can only say in its own terms.
    let ranges = [
        ("--scale", args.scale.unwrap_or(20.0), 0.5, 500.0),
        ("--tilt", args.tilt, 0.0, 30.0),
        ("--tilt-towards", args.tilt_towards, -360.0, 360.0),
        ("--turn", args.turn, -360.0, 360.0),
        ("--bend", args.bend, -0.3, 0.3),
        ("--focal", args.focal, 18.0, 200.0),
        ("--coarse", args.coarse, 50.0, 3000.0),
        ("--fine", args.fine, 10.0, 1000.0),
        ("--fine-share", args.fine_share, 0.0, 1.0),
        ("--coverage", args.coverage, 1e-4, 0.6),
        ("--touching", args.touching, 0.0, 1.0),
        ("--blur", args.blur, 0.0, 10.0),
        ("--shadow", args.shadow, 0.0, 0.6),
        ("--disc", args.disc.unwrap_or(20.0), 1.0, 100.0),
    ];
    for (option, value, low, high) in ranges {
        if !(low..=high).contains(&value) {
            return Err(Failure::Usage(anyhow!("{option} {value}: expected a number from {low} to {high}")));
        }
    }
    let size =
        args.size.split_once(['x', '×']).and_then(|(w, h)| Some((w.parse::<u32>().ok()?, h.parse::<u32>().ok()?)));
    let Some((width_px, height_px)) = size else {
        return Err(Failure::Usage(anyhow!("--size {}: expected width x height, for example 3000x2250", args.size)));
    };
    let frame = args.sheet.as_ref().and_then(|name| frames().into_iter().find(|f| f.name == name));
    let filling = |f: &Frame| {
        let [w, h] = [f.outer[2] - f.outer[0], f.outer[3] - f.outer[1]];
        1080.0 * (w / f64::from(width_px)).max(h / f64::from(height_px))
    };
    let scale = args.scale.or(frame.as_ref().map(filling)).unwrap_or(20.0);
    if scale * f64::from(width_px.min(height_px)) > 200_000.0 {
        return Err(Failure::Usage(anyhow!(
            "--scale {scale}: the picture would show more than 200 mm of paper, with millions of particles"
        )));
    }
    if args.disc.is_some_and(|mm| 1000.0 * mm / scale > 0.6 * f64::from(width_px.min(height_px))) {
        return Err(Failure::Usage(anyhow!("--disc: a disc of that size leaves no room for grounds in this picture")));
    }
    let mut spec = SceneSpec {
        width_px,
        height_px,
        um_per_px: scale,
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
    let place = |mm: f64, side: u32| clear + 500.0 * mm / scale / f64::from(side);
    spec.reference = args.disc.map(|diameter_mm| ReferenceDisc {
        diameter_mm,
        centre: (place(diameter_mm, width_px), place(diameter_mm, height_px)),
        ..ReferenceDisc::default()
    });
    let oblique = args.tilt != 0.0 || args.turn != 0.0 || args.bend != 0.0 || args.card || frame.is_some();
    spec.view = oblique.then_some(View {
        tilt_deg: args.tilt,
        tilt_direction_deg: args.tilt_towards,
        turn_deg: args.turn,
        focal_35mm: args.focal,
        k1: args.bend,
        k2: 0.0,
    });
    spec.card = args.card.then(ReferenceCard::default);
    if let Some(frame) = frame {
        print_frame(&mut spec, &frame);
    }
    Ok(spec)
}

/// The frame in the middle of the picture, and grounds in its field only.
fn print_frame(spec: &mut SceneSpec, frame: &Frame) {
    let middle = frame.middle();
    let at = |p: [f64; 2]| [p[0] - middle[0], p[1] - middle[1]];
    let discs = frame.marks.iter().flat_map(Mark::discs);
    spec.print.extend(discs.map(|(centre, radius, white)| {
        if white { Ink::white_disc(at(centre), radius) } else { Ink::disc(at(centre), radius) }
    }));
    let [x0, y0, x1, y1] = frame.field;
    let ([x0, y0], [x1, y1]) = (at([x0, y0]), at([x1, y1]));
    spec.spread_mm = Some([x0, y0, x1, y1]);
    if frame.name == DISC_FRAME {
        // The printed discs fill its field.
        spec.spread_mm = Some([x0, y0, x0 + 0.01, y0 + 0.01]);
        for row in PRINTED_DISCS {
            spec.print.extend(row.centres().map(|centre| Ink::disc(at(centre), 0.5 * row.diameter)));
        }
    }
}

/// The renderer's refusal, in the words of the options.
fn in_options(error: &RenderError) -> anyhow::Error {
    match error {
        RenderError::TooCrowded { .. } => {
            anyhow!("the particles find no room. Ask for less coverage (--coverage), or a larger picture (--size)")
        }
        RenderError::TooLarge { .. } => anyhow!("--size: {error}"),
        RenderError::Folded => anyhow!(
            "--bend: so strong a bend folds the corners of the picture over. Ask for a bend nearer to 0, a longer --focal, or \
             less --tilt"
        ),
        RenderError::OutOfRange { field: "view.tilt_deg", high, .. } => anyhow!(
            "--tilt: with this --bend and --focal the camera can be tilted by {high:.1}° at most before the picture folds \
             over"
        ),
        RenderError::OutOfRange { field: "coverage", low, high, .. } => {
            anyhow!("--coverage: expected a number from {low} to {high}")
        }
        other => anyhow!("{other}"),
    }
}
