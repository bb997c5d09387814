//! The photo as it would be had something darkened the paper.

use super::{Compression, Photo, Samples};
use crate::photo::srgb_from_linear;

/// Linear light from which on a pixel counts as full scale: the upper two of 256 codes.
pub const FULL: f32 = 0.985;

/// Changes smaller than this, share of the light, leave a pixel as it is: a tenth of an 8-bit code on paper.
const NOTHING: f32 = 5e-4;

impl Photo {
    /// Codes of the box `x0..x1`, `y0..y1` when the light of each pixel is multiplied by 1 − `deficit` (row by row).
    ///
    /// A pixel at full scale shows only that there was at least so much light: it is taken to have had `excess` times full
    /// scale. Blocks of a JPEG file that change are rounded to the file's own steps again.
    pub(crate) fn darkened(&self, [x0, y0, x1, y1]: [usize; 4], deficit: &[f32], excess: f32) -> Vec<u16> {
        let width = x1 - x0;
        let last = (self.table.len() - 1) as f32;
        let mut codes: Vec<f32> = self.codes([x0, y0, x1, y1]).into_iter().map(f32::from).collect();
        for (code, &d) in codes.iter_mut().zip(deficit) {
            if d.abs() < NOTHING {
                continue;
            }
            let seen = self.table[*code as usize];
            let light = if seen >= FULL { excess.max(seen) } else { seen };
            *code = last * srgb_from_linear(f64::from((light * (1.0 - d)).clamp(0.0, 1.0))) as f32;
        }
        if let Some(compression) = &self.compression {
            self.store_changed(compression, [x0, y0, x1, y1], deficit, &mut codes);
        }
        debug_assert_eq!(codes.len(), width * (y1 - y0));
        codes.into_iter().map(|c| c.round().clamp(0.0, last) as u16).collect()
    }

    fn store_changed(
        &self,
        compression: &Compression,
        [x0, y0, x1, y1]: [usize; 4],
        deficit: &[f32],
        codes: &mut [f32],
    ) {
        const SIDE: usize = Compression::SIDE;
        let width = x1 - x0;
        let starts = |axis: usize, from: usize, to: usize| {
            let first = from + (compression.phase()[axis] + SIDE - from % SIDE) % SIDE;
            (first..to).step_by(SIDE).filter(move |s| s + SIDE <= to)
        };
        for by in starts(1, y0, y1) {
            for bx in starts(0, x0, x1) {
                let place = |i: usize| (by - y0 + i / SIDE) * width + bx - x0 + i % SIDE;
                if (0..SIDE * SIDE).all(|i| deficit[place(i)].abs() < NOTHING) {
                    continue;
                }
                let mut block = std::array::from_fn(|i| codes[place(i)]);
                compression.store(&mut block);
                block.into_iter().enumerate().for_each(|(i, c)| codes[place(i)] = c);
            }
        }
    }

    /// Codes of the box `x0..x1`, `y0..y1`, row by row.
    pub(crate) fn codes(&self, [x0, y0, x1, y1]: [usize; 4]) -> Vec<u16> {
        let rows = (y0..y1).map(|y| y * self.width + x0..y * self.width + x1);
        match &self.samples {
            Samples::Eight(all) => rows.flat_map(|row| &all[row]).map(|&c| u16::from(c)).collect(),
            Samples::Sixteen(all) => rows.flat_map(|row| &all[row]).copied().collect(),
        }
    }

    /// Puts `codes` in place of the box `x0..x1`, `y0..y1`.
    pub(crate) fn put(&mut self, [x0, y0, x1, y1]: [usize; 4], codes: &[u16]) {
        let width = x1 - x0;
        for (y, row) in (y0..y1).zip(codes.chunks_exact(width)) {
            let start = y * self.width + x0;
            match &mut self.samples {
                Samples::Eight(all) => all[start..start + width].iter_mut().zip(row).for_each(|(a, &c)| *a = c as u8),
                Samples::Sixteen(all) => all[start..start + width].copy_from_slice(row),
            }
        }
    }

    /// Grid that boxes for [`Photo::darkened`] must keep to: side, and first column and row.
    pub(crate) fn grid(&self) -> (usize, [usize; 2]) {
        self.compression.as_ref().map_or((1, [0, 0]), |c| (Compression::SIDE, c.phase()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn light(photo: &Photo, x: usize, y: usize) -> f32 {
        let mut row = [0.0];
        photo.row_linear(y, x, &mut row);
        row[0]
    }

    #[test]
    fn light_is_multiplied_and_full_pixels_have_more_than_they_show() {
        let mut photo = Photo::from_luma(4, 1, vec![200, 200, 255, 255]);
        let bare = light(&photo, 0, 0);
        let codes = photo.darkened([0, 0, 4, 1], &[0.0, 0.5, 0.1, 0.5], 1.2);
        assert_eq!((codes[0], codes[2]), (200, 255), "0.9 of 1.2 times full scale is still full");
        photo.put([0, 0, 4, 1], &codes);
        assert!((light(&photo, 1, 0) / bare - 0.5).abs() < 0.01);
        assert!((light(&photo, 3, 0) - 0.6).abs() < 0.01);
    }
}
