use std::path::PathBuf;

use anyhow::anyhow;

use super::options::number;
use super::{Failure, say};
use crate::report::ReportError;
use crate::report::page::{Page, layout, pdf, png, svg};
use crate::report::write::{Target, same_place};
use crate::scale::sheet::Paper;

#[derive(clap::Args)]
pub(super) struct Args {
    /// Size of the page
    #[arg(long, value_enum, default_value = "a4")]
    paper: PaperName,
    /// Sheet to write; .pdf, .svg or .png
    #[arg(long, value_name = "FILE")]
    output: PathBuf,
    /// Pixels per inch of a PNG
    #[arg(long, value_name = "DPI", default_value_t = 600.0, allow_negative_numbers = true, value_parser = number)]
    dpi: f64,
    /// Write where every frame, field and mark lies, in mm, as JSON
    #[arg(long, value_name = "FILE")]
    layout: Option<PathBuf>,
}

#[derive(Clone, Copy, clap::ValueEnum)]
enum PaperName {
    A4,
    Letter,
}

pub(super) fn run(args: &Args) -> Result<(), Failure> {
    let kind = args.output.extension().map(|e| e.to_string_lossy().to_lowercase());
    if !matches!(kind.as_deref(), Some("pdf" | "svg" | "png")) {
        let path = args.output.display().to_string();
        return Err(Failure::Usage(ReportError::Kind { path, wanted: "a sheet is .pdf, .svg or .png" }.into()));
    }
    if !(150.0..=2400.0).contains(&args.dpi) {
        return Err(Failure::Usage(anyhow!("--dpi: {} is not between 150 and 2400 pixels per inch", args.dpi)));
    }
    if args.layout.as_deref().is_some_and(|l| same_place(l, &args.output)) {
        return Err(Failure::Usage(anyhow!(
            "{}: the sheet and --layout have the same name. Give each its own",
            args.output.display()
        )));
    }
    let paper = match args.paper {
        PaperName::A4 => Paper::A4,
        PaperName::Letter => Paper::Letter,
    };
    let sheet = Target::create(&args.output)?;
    let places = args.layout.as_deref().map(Target::create).transpose()?;
    let page = Page::scale_sheet(paper);
    let bytes = match kind.as_deref() {
        Some("pdf") => pdf(&page),
        Some("svg") => svg(&page),
        _ => png(&page, args.dpi)?,
    };
    sheet.finish(&bytes)?;
    if let Some(file) = places {
        file.finish(&layout(paper))?;
    }
    say(&format!(
        "{}: print it at 100 % (\"actual size\"), then check both bars with a ruler: 100.0 mm each.\n",
        args.output.display()
    ))
}
