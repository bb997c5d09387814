//! Stage 3: what the paper looks like without particles, how noisy it is, and how sharp and how dark the particles
//! are. All of it is read from the photo itself.

mod contrast;
mod field;
mod flatten;
mod softness;
mod tiles;

pub use field::{Field, Region};
pub(crate) use flatten::DarkCodes;
pub use flatten::Patch;
pub use softness::Softness;

use crate::photo::Photo;

/// The backdrop of one photo: given by rows and patches, so that no second full picture exists.
///
/// The **deficit** of a pixel is 1 − light / backdrop: 0 on paper, about 0.9 in the middle of a dark roast
/// (dimensionless).
#[derive(Clone, Debug)]
pub struct Scene {
    tile_px: usize,
    /// Tiles across and down.
    across: usize,
    down: usize,
    /// 1 / backdrop light of every tile.
    inverse: Vec<f32>,
    /// Where paper is.
    pub field: Field,
    /// Standard deviation of the deficit of single paper pixels, dimensionless.
    pub noise: f64,
    /// Standard deviation of the blur, px.
    pub blur_px: f64,
    /// How it varies over the photo.
    pub softness: Softness,
    /// Median deficit inside large particles, dimensionless.
    pub core: f64,
    /// Standard deviation of the deficit inside large particles, share of `core`, without the noise: their surface.
    pub texture: f64,
    /// Backdrop light at the middle of the paper, share of full scale.
    pub level: f64,
}

/// Why a photo has no usable backdrop.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs, reason = "each variant is its message")]
pub enum BackdropError {
    #[error(
        "no white paper was found. Spread the grounds on plain white paper that fills most of the picture, in even light"
    )]
    NoPaper,
    #[error("the paper is far too dark (it reaches {0:.1} % of full light). Use more light or a longer exposure")]
    Dark(f64),
    #[error("nothing on the paper is darker than the paper itself: no particles were found. Is this the right photo?")]
    Blank,
}

/// Reads the backdrop of `photo` within `region`.
///
/// # Errors
/// No paper, paper too dark, or nothing but paper.
pub fn read(photo: &Photo, region: Region) -> Result<Scene, BackdropError> {
    let tiles = tiles::measure(photo);
    let field = field::find(&tiles, region)?;
    let mut scene = flatten::scene(&tiles, field);
    if scene.level < 0.02 {
        return Err(BackdropError::Dark(100.0 * scene.level));
    }
    contrast::read(photo, &mut scene)?;
    Ok(scene)
}
