//! The one font: a subset of Inter Regular (SIL Open Font License 1.1, `font/OFL.txt`), the same on every machine.

use std::sync::Once;

use ab_glyph::FontRef;

pub(super) const BYTES: &[u8] = include_bytes!("font/inter-regular-subset.ttf");

/// The font for drawing on pictures.
pub(super) fn face() -> FontRef<'static> {
    FontRef::try_from_slice(BYTES).expect("the font in the binary is whole")
}

/// Makes the font known to the plotting library, which measures text with it.
pub(super) fn register() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let known = plotters::style::register_font("sans-serif", plotters::style::FontStyle::Normal, BYTES);
        assert!(known.is_ok(), "the font in the binary is whole");
    });
}
