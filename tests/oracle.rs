//! Fast code against slow twins and general-purpose libraries, on random input of the kind that the stage sees.

use image::{GrayImage, Luma};
use imageproc::region_labelling::{Connectivity, connected_components};
use lightsieve::segment::{Run, RunGroups, Touch};
use proptest::prelude::*;

fn runs_of(mask: &GrayImage) -> Vec<Run> {
    let mut runs = Vec::new();
    for y in 0..mask.height() {
        let mut x = 0;
        while x < mask.width() {
            let x0 = x;
            while x < mask.width() && mask.get_pixel(x, y).0[0] > 0 {
                x += 1;
            }
            if x > x0 {
                runs.push(Run { y, x0, x1: x });
            }
            x += 1;
        }
    }
    runs
}

/// Areas of the components that `imageproc` finds, sorted; 8-connected.
fn areas_by_library(mask: &GrayImage) -> Vec<usize> {
    // The library (0.27) counts too few labels for tiny pictures, so it gets a margin of background.
    let mut framed = GrayImage::new(mask.width() + 2, mask.height() + 2);
    image::imageops::replace(&mut framed, mask, 1, 1);
    let labels = connected_components(&framed, Connectivity::Eight, Luma([0]));
    let mut areas = vec![0; labels.pixels().map(|p| p.0[0] as usize).max().unwrap_or(0) + 1];
    labels.pixels().for_each(|p| areas[p.0[0] as usize] += 1);
    areas.remove(0);
    areas.sort_unstable();
    areas
}

/// The same 4-connected, by flooding: the library (0.27) runs out of labels on fine patterns.
fn areas_by_flooding(mask: &GrayImage) -> Vec<usize> {
    let mut left = mask.clone();
    let mut areas = Vec::new();
    for (x, y) in (0..mask.height()).flat_map(|y| (0..mask.width()).map(move |x| (x, y))) {
        let mut stack = vec![(x, y)];
        let mut area = 0;
        while let Some((x, y)) = stack.pop() {
            if left.get_pixel_checked(x, y).is_some_and(|p| p.0[0] > 0) {
                left.put_pixel(x, y, Luma([0]));
                area += 1;
                stack.extend([(x.wrapping_sub(1), y), (x + 1, y), (x, y.wrapping_sub(1)), (x, y + 1)]);
            }
        }
        if area > 0 {
            areas.push(area);
        }
    }
    areas.sort_unstable();
    areas
}

fn areas_by_runs(mask: &GrayImage, touch: Touch) -> Vec<usize> {
    let runs = runs_of(mask);
    let mut groups = RunGroups::default();
    let (count, labels) = groups.label(&runs, touch);
    let mut areas = vec![0; count];
    for (run, label) in runs.iter().zip(labels) {
        areas[*label as usize] += run.len();
    }
    assert!(areas.iter().all(|&a| a > 0), "every label up to the last is used");
    areas.sort_unstable();
    areas
}

/// A mask of random discs, like grounds on paper, with speckle on top.
fn mask_of(width: u32, height: u32, discs: &[(u32, u32, u32)], speckle: &[(u32, u32)]) -> GrayImage {
    let mut mask = GrayImage::from_fn(width, height, |x, y| {
        let inside = |&(cx, cy, r): &(u32, u32, u32)| x.abs_diff(cx).pow(2) + y.abs_diff(cy).pow(2) <= r * r;
        Luma([if discs.iter().any(inside) { 255 } else { 0 }])
    });
    for &(x, y) in speckle {
        let pixel = mask.get_pixel_mut(x % width, y % height);
        pixel.0[0] = 255 - pixel.0[0];
    }
    mask
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]
    #[test]
    fn labelling_agrees_with_imageproc_and_flooding(
        (width, height) in (1u32..70, 1u32..70),
        discs in prop::collection::vec((0u32..70, 0u32..70, 0u32..9), 0..25),
        speckle in prop::collection::vec((0u32..70, 0u32..70), 0..200),
    ) {
        let mask = mask_of(width, height, &discs, &speckle);
        prop_assert_eq!(areas_by_runs(&mask, Touch::Corners), areas_by_library(&mask));
        prop_assert_eq!(areas_by_runs(&mask, Touch::Sides), areas_by_flooding(&mask));
    }
}

#[test]
fn labelling_agrees_with_imageproc_on_hard_patterns() {
    let patterns: [fn(u32, u32) -> bool; 6] = [
        |_, _| false,
        |_, _| true,
        |x, y| (x + y) % 2 == 0,
        |x, y| x % 2 == 0 || y == 39,
        |x, y| (x / 3 + y / 3) % 2 == 0,
        // Nested rings.
        |x, y| (x.abs_diff(20).max(y.abs_diff(20))) % 2 == 0,
    ];
    for (i, inside) in patterns.into_iter().enumerate() {
        let mask = GrayImage::from_fn(41, 40, |x, y| Luma([if inside(x, y) { 255 } else { 0 }]));
        assert_eq!(areas_by_runs(&mask, Touch::Corners), areas_by_library(&mask), "pattern {i}");
        assert_eq!(areas_by_runs(&mask, Touch::Sides), areas_by_flooding(&mask), "pattern {i}");
    }
}
