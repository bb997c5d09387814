//! Parts cores that touch.

use super::part::Labels;

/// Parts the cores labelled 2 … `cores` + 1 where their outline calls for it; returns how many labels were added.
pub(super) fn touching(_labels: &mut Labels, _cores: u32, _blur_px: f64) -> u32 {
    0
}
