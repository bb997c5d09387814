/// Turns `width` × `height` stored samples upright by the EXIF orientation `tag` (1..=8; any other value is 1).
///
/// Returns the upright width, height and samples. Source: tag 274 of TIFF 6.0 and Exif 2.2.
pub(super) fn upright<T: Copy>(tag: u16, width: usize, height: usize, stored: Vec<T>) -> (usize, usize, Vec<T>) {
    if !(2..=8).contains(&tag) {
        return (width, height, stored);
    }
    let swapped = tag >= 5;
    let (w, h) = if swapped { (height, width) } else { (width, height) };
    // Where the upright pixel (x, y) is stored.
    let source = |x: usize, y: usize| match tag {
        2 => (width - 1 - x, y),
        3 => (width - 1 - x, height - 1 - y),
        4 => (x, height - 1 - y),
        5 => (y, x),
        6 => (y, height - 1 - x),
        7 => (width - 1 - y, height - 1 - x),
        _ => (width - 1 - y, x),
    };
    let mut out = vec![stored[0]; stored.len()];
    // Square blocks keep both the reads and the writes of a transposition in the cache.
    const BLOCK: usize = 64;
    for by in (0..h).step_by(BLOCK) {
        for bx in (0..w).step_by(BLOCK) {
            for y in by..(by + BLOCK).min(h) {
                for x in bx..(bx + BLOCK).min(w) {
                    let (sx, sy) = source(x, y);
                    out[y * w + x] = stored[sy * width + sx];
                }
            }
        }
    }
    (w, h, out)
}

#[cfg(test)]
mod tests {
    use super::upright;

    /// Expected pictures: Pillow 13.0.0 `ImageOps.exif_transpose` of [[1, 2, 3], [4, 5, 6]].
    #[test]
    fn all_eight_orientations_agree_with_pillow() {
        let cases: [(u16, [usize; 2], [u8; 6]); 8] = [
            (1, [3, 2], [1, 2, 3, 4, 5, 6]),
            (2, [3, 2], [3, 2, 1, 6, 5, 4]),
            (3, [3, 2], [6, 5, 4, 3, 2, 1]),
            (4, [3, 2], [4, 5, 6, 1, 2, 3]),
            (5, [2, 3], [1, 4, 2, 5, 3, 6]),
            (6, [2, 3], [4, 1, 5, 2, 6, 3]),
            (7, [2, 3], [6, 3, 5, 2, 4, 1]),
            (8, [2, 3], [3, 6, 2, 5, 1, 4]),
        ];
        for (tag, [w, h], pixels) in cases {
            assert_eq!(upright(tag, 3, 2, vec![1, 2, 3, 4, 5, 6]), (w, h, pixels.to_vec()), "orientation {tag}");
        }
    }
}
