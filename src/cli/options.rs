//! Options that several commands share, and what they mean.

use clap::Args;

use super::Failure;
use crate::pipeline::{ScaleChoice, Settings, SettingsError};

#[derive(Args)]
pub(super) struct Measuring {
    /// Scale of the photo, in µm per pixel
    #[arg(long, value_name = "UM_PER_PX", allow_negative_numbers = true, value_parser = number)]
    scale: Option<f64>,
    /// Take the scale from a round object of known diameter in the picture, in mm: disc=24.25
    #[arg(long, value_name = "disc=MM", conflicts_with = "scale")]
    reference: Option<String>,
    /// Fines are finer than this, in µm
    #[arg(long, value_name = "UM", default_value_t = 100.0, allow_negative_numbers = true, value_parser = number)]
    fines: f64,
    /// Report the share of the mass coarser than this size in µm; may be given several times
    #[arg(long, value_name = "UM", allow_negative_numbers = true, value_parser = number)]
    share_above: Vec<f64>,
    /// Coverage of the intervals, in percent
    #[arg(long, value_name = "PERCENT", default_value_t = 95.0, allow_negative_numbers = true, value_parser = number)]
    confidence: f64,
    /// Seed of the random draws behind the intervals: the same seed gives the same intervals
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
}

const NO_SCALE: &str = "no scale: how large a pixel is cannot be read from the photo alone.
  Do one of: give it:                               --scale 20           (µm per pixel);
             lay a coin or disc beside the grounds: --reference disc=24.25   (its diameter in mm).
  To find µm per pixel, photograph a ruler from the same place and divide its length in µm by its length in pixels.";

impl Measuring {
    pub(super) fn settings(&self) -> Result<Settings, Failure> {
        let usage = |option: &'static str| move |e: SettingsError| Failure::Usage(anyhow::anyhow!("{option}: {e}"));
        let choice = match (self.scale, &self.reference) {
            (Some(um), _) => ScaleChoice::Given(um),
            (None, Some(text)) => ScaleChoice::Disc(disc(text)?),
            (None, None) => return Err(Failure::Usage(anyhow::anyhow!(NO_SCALE))),
        };
        let option = if self.reference.is_some() { "--reference" } else { "--scale" };
        Ok(Settings::new(choice)
            .map_err(usage(option))?
            .with_fines(self.fines)
            .map_err(usage("--fines"))?
            .with_shares_above(&self.share_above)
            .map_err(usage("--share-above"))?
            .with_confidence(self.confidence)
            .map_err(usage("--confidence"))?
            .with_seed(self.seed))
    }
}

/// A number with a decimal point.
pub(super) fn number(text: &str) -> Result<f64, String> {
    text.parse().map_err(|_| {
        let hint = if text.contains(',') { "; write decimals with a point: 20.5" } else { "" };
        format!("expected a number such as 20 or 20.5{hint}")
    })
}

fn disc(text: &str) -> Result<f64, Failure> {
    text.strip_prefix("disc=").and_then(|mm| mm.parse().ok()).ok_or_else(|| {
        Failure::Usage(anyhow::anyhow!(
            "--reference {text}: expected disc= and a diameter in mm, for example --reference disc=24.25"
        ))
    })
}
