//! Options that several commands share, and what they mean.

use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow};
use clap::builder::{PathBufValueParser, TypedValueParser};
use clap::{Args, ValueEnum};

use super::Failure;
use crate::pipeline::{ScaleChoice, Settings, SettingsError};
use crate::report::write::{Target, reason};
use crate::report::{calibration, plot};
use crate::scale::{Calibration, RoundObject, coin, coin_names};

/// The name of a page: browsers show other endings as text.
pub(super) fn html_file() -> impl TypedValueParser<Value = PathBuf> {
    PathBufValueParser::new().try_map(|path| {
        let is_page = path.extension().is_some_and(|e| e.eq_ignore_ascii_case("html") || e.eq_ignore_ascii_case("htm"));
        if is_page { Ok(path) } else { Err("a page is an .html file") }
    })
}

/// A file of results; a slip in its name is not to replace a photo, a study or a page.
pub(super) fn data_file() -> impl TypedValueParser<Value = PathBuf> {
    const OTHERS: [&str; 13] =
        ["jpg", "jpeg", "png", "tif", "tiff", "webp", "heic", "heif", "dng", "svg", "pdf", "toml", "html"];
    PathBufValueParser::new().try_map(|path| {
        let is_other = path.extension().is_some_and(|e| OTHERS.iter().any(|other| e.eq_ignore_ascii_case(other)));
        if is_other { Err("a name that ends in .json or .csv is expected here") } else { Ok(path) }
    })
}

/// Where the scale comes from, and the coverage of intervals.
#[derive(Args)]
pub(super) struct Way {
    /// Scale of the photo, in µm per pixel. Without this or another way, the printed scale sheet is looked for
    #[arg(long, value_name = "UM_PER_PX", allow_negative_numbers = true, value_parser = number, group = "way")]
    scale: Option<f64>,
    /// Take the scale from an object in the picture: coin:euro-1, disc=24.25 with its diameter in mm, or a bank card
    #[arg(long, value_name = "coin:NAME|disc=MM|card", group = "way")]
    reference: Option<String>,
    /// Thickness of the reference, in mm, where it is no coin known by name
    #[arg(long, value_name = "MM", allow_negative_numbers = true, value_parser = number, requires = "reference")]
    thickness: Option<f64>,
    /// Take the scale from two places in the photo, in px, and their distance in mm
    #[arg(long, value_name = "X1,Y1,X2,Y2=MM", allow_hyphen_values = true, group = "way")]
    points: Option<String>,
    /// Take the scale from a calibration of the stand: see the command calibrate
    #[arg(long, value_name = "FILE.json", group = "way")]
    calibration: Option<PathBuf>,
    /// Use the calibration for photos that say another camera or focal length
    #[arg(long, requires = "calibration")]
    trust_calibration: bool,
    /// What a ruler reads on the two check bars of the printed sheet, in mm: along,across
    #[arg(long, value_name = "MM,MM", allow_hyphen_values = true, conflicts_with = "way")]
    pub(super) bar_measured: Option<String>,
    /// Coverage of the intervals, in percent
    #[arg(long, value_name = "PERCENT", default_value_t = 95.0, allow_negative_numbers = true, value_parser = number)]
    confidence: f64,
}

/// What is told of grounds.
#[derive(Args)]
pub(super) struct Measuring {
    #[command(flatten)]
    way: Way,
    /// Fines are finer than this, in µm
    #[arg(long, value_name = "UM", default_value_t = 100.0, allow_negative_numbers = true, value_parser = number)]
    fines: f64,
    /// Report the share of the mass coarser than this size in µm; may be given several times
    #[arg(long, value_name = "UM", allow_negative_numbers = true, value_parser = number)]
    share_above: Vec<f64>,
    /// Whether flakes far paler than the rest, such as chaff, count: in or out. Small ones cannot be told from coffee
    #[arg(long, value_name = "in|out", default_value = "in")]
    chaff: Chaff,
    /// Seed of the random draws behind the intervals: the same seed gives the same intervals
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
}

/// What is done with chaff.
#[derive(Clone, Copy, PartialEq, ValueEnum)]
enum Chaff {
    In,
    Out,
}

impl Way {
    /// True when a way to the scale other than the sheet was chosen.
    pub(super) fn has_way(&self) -> bool {
        self.scale.is_some() || self.reference.is_some() || self.points.is_some() || self.calibration.is_some()
    }

    pub(super) fn settings(&self) -> Result<Settings, Failure> {
        // Of options that belong to another way, the parser waives what they require.
        for (idle, option, needed) in [
            (self.thickness.is_some() && self.reference.is_none(), "--thickness", "--reference"),
            (self.trust_calibration && self.calibration.is_none(), "--trust-calibration", "--calibration"),
        ] {
            if idle {
                return Err(Failure::Usage(anyhow!("{option}: nothing comes of it without {needed}; leave it out")));
            }
        }
        let (option, choice) = if let Some(um) = self.scale {
            ("--scale", ScaleChoice::Given(um))
        } else if let Some(text) = &self.reference {
            ("--reference", self.object(text)?)
        } else if let Some(path) = &self.calibration {
            let file = read_calibration(path)?;
            ("--calibration", ScaleChoice::Calibration(Box::new(file), self.trust_calibration))
        } else if let Some(text) = &self.points {
            ("--points", points(text)?)
        } else {
            let bars = self.bar_measured.as_deref().map(bars).transpose()?;
            ("--bar-measured", ScaleChoice::Sheet(bars))
        };
        Settings::new(choice).map_err(usage(option))?.with_confidence(self.confidence).map_err(usage("--confidence"))
    }
}

/// The calibration of a stand.
pub(super) fn read_calibration(path: &Path) -> Result<Calibration, Failure> {
    let text = std::fs::read(path).map_err(|e| {
        let why = if path.is_dir() { "it is a folder".to_owned() } else { reason(&e, "no such file") };
        anyhow!(
            "{}: the calibration cannot be read ({why}). Check its name, or make it: lightsieve calibrate PHOTO \
             --output FILE.json",
            path.display()
        )
    })?;
    Ok(calibration::read(&text).with_context(|| path.display().to_string())?)
}

fn usage(option: &'static str) -> impl FnOnce(SettingsError) -> Failure {
    move |e| Failure::Usage(anyhow!("{option}: {e}"))
}

impl Measuring {
    /// The file that the scale comes from, if it comes from one.
    pub(super) fn scale_file(&self) -> Option<&PathBuf> {
        self.way.calibration.as_ref()
    }

    pub(super) fn settings(&self) -> Result<Settings, Failure> {
        Ok(self
            .way
            .settings()?
            .with_fines(self.fines)
            .map_err(usage("--fines"))?
            .with_shares_above(&self.share_above)
            .map_err(usage("--share-above"))?
            .with_seed(self.seed)
            .with_chaff(self.chaff == Chaff::In))
    }

    /// Refuses `--share-above` where nothing would come of it.
    pub(super) fn without_shares(&self, why: &str) -> Result<(), Failure> {
        if self.share_above.is_empty() {
            Ok(())
        } else {
            Err(Failure::Usage(anyhow!("--share-above: {why}; leave it out")))
        }
    }
}

/// A number with a decimal point.
pub(super) fn number(text: &str) -> Result<f64, String> {
    text.parse().map_err(|_| {
        let hint = if text.contains(',') { "; write decimals with a point: 20.5" } else { "" };
        format!("expected a number alone, such as 20 or 20.5{hint}")
    })
}

impl Way {
    fn object(&self, text: &str) -> Result<ScaleChoice, Failure> {
        if text == "card" {
            return match self.thickness {
                Some(_) => Err(Failure::Usage(anyhow!("--thickness: that of a card is known; leave it out"))),
                None => Ok(ScaleChoice::Card),
            };
        }
        if let Some(name) = text.strip_prefix("coin:") {
            let known = coin_names().collect::<Vec<_>>().join(", ");
            let object = coin(name).ok_or_else(|| {
                Failure::Usage(anyhow!("--reference {text}: no coin of this name is known. Known are: {known}"))
            })?;
            let thickness_mm = self.thickness.unwrap_or(object.thickness_mm);
            return Ok(ScaleChoice::Disc(RoundObject { thickness_mm, ..object }));
        }
        let diameter_mm = text.strip_prefix("disc=").and_then(|mm| mm.parse().ok()).ok_or_else(|| {
            Failure::Usage(anyhow!(
                "--reference {text}: expected card, coin: and a name, or disc= and a diameter in mm, for example \
                 --reference coin:euro-1 or --reference disc=24.25"
            ))
        })?;
        Ok(ScaleChoice::Disc(RoundObject { diameter_mm, thickness_mm: self.thickness.unwrap_or(0.0) }))
    }
}

/// Numbers between commas.
fn numbers<const N: usize>(text: &str) -> Option<[f64; N]> {
    let values: Vec<f64> = text.split(',').map(|v| v.trim().parse().ok()).collect::<Option<_>>()?;
    values.try_into().ok()
}

fn points(text: &str) -> Result<ScaleChoice, Failure> {
    let parsed = text.split_once('=').and_then(|(ends, mm)| Some((numbers(ends)?, mm.trim().parse().ok()?)));
    let Some(([x1, y1, x2, y2], mm)) = parsed else {
        return Err(Failure::Usage(anyhow!(
            "--points {text}: expected two places in px and their distance in mm, for example \
             --points 310,1200,3650,1188=75.0"
        )));
    };
    Ok(ScaleChoice::Points([[x1, y1], [x2, y2]], mm))
}

pub(super) fn bars(text: &str) -> Result<[f64; 2], Failure> {
    numbers(text).ok_or_else(|| {
        Failure::Usage(anyhow!(
            "--bar-measured {text}: expected what a ruler reads on both bars, in mm, for example --bar-measured 99.2,100.1"
        ))
    })
}

/// What does not matter.
#[derive(Args)]
pub(super) struct Alike {
    /// Differences up to so much do not matter: 5%; and fines=20% for the share of fines. May be given twice
    #[arg(long, value_name = "[fines=]PERCENT")]
    alike_within: Vec<String>,
}

impl Alike {
    /// Margins of all figures and of the share of fines, relative; without a wish 5 % and 20 %, since fines are few.
    pub(super) fn margins(&self) -> Result<(f64, f64), Failure> {
        let (mut all, mut fines) = (0.05, 0.20);
        for text in &self.alike_within {
            let (of, number) = text.split_once('=').map_or(("", text.as_str()), |(of, number)| (of.trim(), number));
            let share = percent("--alike-within", number)?;
            match of {
                "" => all = share,
                "fines" => fines = share,
                _ => {
                    return Err(Failure::Usage(anyhow!(
                        "--alike-within {text}: only `fines` can have a margin of its own"
                    )));
                }
            }
        }
        Ok((all, fines))
    }
}

/// A percentage with or without its sign, as a share.
pub(super) fn percent(option: &str, text: &str) -> Result<f64, Failure> {
    let pct = text.trim().trim_end_matches('%').trim().parse::<f64>().ok().filter(|p| (0.1..=100.0).contains(p));
    let wrong = || Failure::Usage(anyhow!("{option} {text}: expected a percentage between 0.1 and 100, such as 5%"));
    Ok(pct.ok_or_else(wrong)? / 100.0)
}

/// What the commands that compare can write.
#[derive(Args)]
pub(super) struct Outputs {
    /// Write the results as JSON
    #[arg(long, value_name = "FILE", value_parser = data_file())]
    json: Option<PathBuf>,
    /// Draw what is compared; .svg or .png
    #[arg(long, value_name = "FILE")]
    pub(super) plot: Option<PathBuf>,
    /// Write a page with verdict, pictures and figures, to open in a browser or to print
    #[arg(long, value_name = "FILE.html", value_parser = html_file())]
    report: Option<PathBuf>,
}

impl Outputs {
    pub(super) fn paths(&self) -> Vec<&Path> {
        self.texts_paths().chain(self.plot.as_deref()).collect()
    }

    /// Those of JSON and page.
    pub(super) fn texts_paths(&self) -> impl Iterator<Item = &Path> {
        [&self.json, &self.report].into_iter().filter_map(|o| o.as_deref())
    }

    pub(super) fn kind(&self) -> Result<Option<plot::Kind>, Failure> {
        self.plot.as_deref().map(plot::Kind::of).transpose().map_err(|e| Failure::Usage(e.into()))
    }

    /// The picture to come.
    pub(super) fn picture(&self) -> Result<Option<(Target, plot::Kind)>, Failure> {
        let kind = self.kind()?;
        Ok(self.plot.as_deref().map(Target::create).transpose()?.zip(kind))
    }

    /// JSON and page to come.
    pub(super) fn texts(&self) -> Result<(Option<Target>, Option<Target>), Failure> {
        let target = |path: &Option<PathBuf>| path.as_deref().map(Target::create).transpose();
        Ok((target(&self.json)?, target(&self.report)?))
    }
}
