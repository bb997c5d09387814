//! Stage 1: bytes of a picture file become upright, linear-light samples.
//!
//! **Pixel convention**, used everywhere: pixel (0, 0) covers [0, 1) × [0, 1) and its centre is (0.5, 0.5); x runs
//! right, y runs down. Boxes are half open.

mod codes;
mod compression;
mod copies;
mod darken;
mod decode;
#[cfg(feature = "heic")]
mod heic;
mod linear;
mod luminance;
mod markers;
mod orient;
mod origin;
mod units;
mod waves;

pub use compression::Compression;
pub use copies::copy_among;
pub use darken::FULL;
pub use decode::{PhotoError, check, decode, decode_rgb, is_drawn, read, read_bytes};
pub use linear::{linear_from_srgb, srgb_from_linear};
pub use origin::Origin;

/// Width of the blocks of [`Photo::dark_blocks`]: half a vector register of 8-bit samples, about as wide as a speck.
pub(crate) const BLOCK_PX: usize = 8;

/// An upright photo as coded luminance Y′ = 0.299 R′ + 0.587 G′ + 0.114 B′ (ITU-R BT.601 weights of the coded
/// values, the luminance that JPEG stores) with the table that turns codes into linear light.
///
/// Width and height are at least 1.
#[derive(Clone, Debug)]
pub struct Photo {
    width: usize,
    height: usize,
    samples: Samples,
    /// Linear light (0 black … 1 full scale) of every code.
    table: Vec<f32>,
    origin: Origin,
    /// How the file stored it, where it is a JPEG.
    compression: Option<Compression>,
}

/// Coded luminance, row by row.
#[derive(Clone, Debug)]
pub(crate) enum Samples {
    Eight(Vec<u8>),
    Sixteen(Vec<u16>),
}

impl Photo {
    pub(crate) fn new(width: usize, height: usize, samples: Samples, origin: Origin) -> Self {
        let table = match samples {
            Samples::Eight(_) => linear::table(256),
            Samples::Sixteen(_) => linear::table(65_536),
        };
        Photo { width, height, samples, table, origin, compression: None }
    }

    /// A photo of 8-bit sRGB-coded luminance, row by row: for tests and for pictures made in memory.
    ///
    /// # Panics
    /// When `luma` does not hold `width` × `height` samples, or either is 0.
    pub fn from_luma(width: usize, height: usize, luma: Vec<u8>) -> Self {
        assert!(width > 0 && height > 0 && luma.len() == width * height, "luma must hold width × height samples");
        Photo::new(width, height, Samples::Eight(luma), Origin::default())
    }

    /// Width, px.
    pub fn width(&self) -> usize {
        self.width
    }

    /// Height, px.
    pub fn height(&self) -> usize {
        self.height
    }

    /// What the file said of itself.
    pub fn origin(&self) -> &Origin {
        &self.origin
    }

    /// Linear light of the pixels `x0 .. x0 + out.len()` of row `y`, 0 (black) … 1 (full scale).
    pub fn row_linear(&self, y: usize, x0: usize, out: &mut [f32]) {
        self.map_row(y, x0, out, |_, light| light);
    }

    /// Linear light at a place, between the middles of the four pixels round it; `None` within half a pixel of the frame.
    pub fn light_at(&self, [x, y]: [f64; 2]) -> Option<f64> {
        let (x, y) = (x - 0.5, y - 0.5);
        if !(x >= 0.0 && y >= 0.0 && x + 1.0 < self.width as f64 && y + 1.0 < self.height as f64) {
            return None;
        }
        let (column, row, tx, ty) = (x as usize, y as usize, x.fract(), y.fract());
        let pair = |row: usize| {
            let mut two = [0.0f32; 2];
            self.row_linear(row, column, &mut two);
            f64::from(two[0]) * (1.0 - tx) + f64::from(two[1]) * tx
        };
        Some(pair(row) * (1.0 - ty) + pair(row + 1) * ty)
    }

    /// `of(i, linear light)` for the pixels `x0 + i` of row `y`, with `i` from 0 to the length of `out`.
    pub(crate) fn map_row(&self, y: usize, x0: usize, out: &mut [f32], of: impl Fn(usize, f32) -> f32) {
        let start = y * self.width + x0;
        match &self.samples {
            Samples::Eight(codes) => {
                let table: &[f32; 256] = self.table[..].try_into().expect("8-bit table");
                map(&codes[start..], out, |c| table[c as usize], of);
            }
            Samples::Sixteen(codes) => map(&codes[start..], out, |c| self.table[c as usize], of),
        }
    }

    /// Asks memory for the samples `x0 .. x0 + width` of the rows `y0 .. y0 + height` at once: they lie far apart, and are
    /// otherwise waited for row by row. `width` is at least 1.
    pub(crate) fn fetch(&self, [x0, y0]: [usize; 2], [width, height]: [usize; 2]) {
        fn ends<C: Copy + Into<u32>>(codes: &[C], stride: usize, first: usize, [width, height]: [usize; 2]) -> u32 {
            let row = |y: usize| first + y * stride;
            (0..height).map(|y| codes[row(y)].into() + codes[row(y) + width - 1].into()).fold(0, u32::wrapping_add)
        }
        let (first, size) = (y0 * self.width + x0, [width, height]);
        std::hint::black_box(match &self.samples {
            Samples::Eight(codes) => ends(codes, self.width, first, size),
            Samples::Sixteen(codes) => ends(codes, self.width, first, size),
        });
    }

    /// First code whose linear light reaches `light`: every smaller code is darker.
    pub(crate) fn code_of(&self, light: f32) -> u16 {
        self.table.partition_point(|&l| l < light).min(self.table.len() - 1) as u16
    }

    /// Sets in `bits` the bit of every block of [`BLOCK_PX`] pixels of row `y` that holds a sample below its limit.
    pub(crate) fn dark_blocks(&self, y: usize, limits: &[u16], bits: &mut [u64]) {
        let row = y * self.width..(y + 1) * self.width;
        match &self.samples {
            Samples::Eight(codes) => dark_blocks(&codes[row], limits, bits),
            Samples::Sixteen(codes) => dark_blocks(&codes[row], limits, bits),
        }
    }

    /// Counts the codes of every `step`-th row of the box `x0..x1`, `y0..y1` into `bins`, [`Photo::bins`] long.
    pub(crate) fn count_codes(&self, [x0, y0, x1, y1]: [usize; 4], step: usize, bins: &mut [u32]) {
        for y in (y0..y1).step_by(step) {
            let row = y * self.width;
            match &self.samples {
                Samples::Eight(codes) => codes[row + x0..row + x1].iter().for_each(|&c| bins[c as usize] += 1),
                Samples::Sixteen(codes) => codes[row + x0..row + x1].iter().for_each(|&c| bins[(c >> 4) as usize] += 1),
            }
        }
    }

    /// Linear light at the middle of every bin of [`Photo::count_codes`]: 256 for 8-bit photos, 4096 for 16-bit ones.
    pub(crate) fn bins(&self) -> Vec<f32> {
        match self.samples {
            Samples::Eight(_) => self.table.clone(),
            Samples::Sixteen(_) => self.table.chunks(16).map(|c| 0.5 * (c[7] + c[8])).collect(),
        }
    }
}

/// See [`Photo::dark_blocks`].
fn dark_blocks<C: Copy + Ord + Into<u16>>(codes: &[C], limits: &[u16], bits: &mut [u64]) {
    // Blocks that are looked at together: mostly all are bare.
    const TOGETHER: usize = 8;
    let darkest = |codes: &[C]| codes.iter().copied().min().map_or(u16::MAX, C::into);
    let stretches = codes.chunks(TOGETHER * BLOCK_PX).zip(limits.chunks(TOGETHER));
    for (i, (codes, limits)) in stretches.enumerate() {
        // A length known beforehand makes the minimum a matter of a few vector operations.
        let least = match <&[C; TOGETHER * BLOCK_PX]>::try_from(codes) {
            Ok(whole) => whole.iter().copied().fold(whole[0], C::min).into(),
            Err(_) => darkest(codes),
        };
        if limits.iter().all(|&limit| least >= limit) {
            continue;
        }
        for (k, (block, &limit)) in codes.chunks(BLOCK_PX).zip(limits).enumerate() {
            if darkest(block) < limit {
                bits[(i * TOGETHER + k) / 64] |= 1 << ((i * TOGETHER + k) % 64);
            }
        }
    }
}

/// `out[i] = of(i, light(codes[i]))`, eight by eight: the looking up is done one by one, the rest in vector registers.
fn map<C: Copy>(codes: &[C], out: &mut [f32], light: impl Fn(C) -> f32, of: impl Fn(usize, f32) -> f32) {
    const LANES: usize = 8;
    let whole = out.len() / LANES * LANES;
    let (lanes, rest) = out.split_at_mut(whole);
    for (n, (out, codes)) in lanes.chunks_exact_mut(LANES).zip(codes.chunks_exact(LANES)).enumerate() {
        let lights: [f32; LANES] = std::array::from_fn(|k| light(codes[k]));
        for k in 0..LANES {
            out[k] = of(n * LANES + k, lights[k]);
        }
    }
    for (i, (out, &code)) in rest.iter_mut().zip(&codes[whole..]).enumerate() {
        *out = of(whole + i, light(code));
    }
}
