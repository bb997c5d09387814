//! The sheet as files: what is shipped is what the code writes, and a PDF renderer finds the marks where they belong.

use std::path::{Path, PathBuf};
use std::process::Command;

use image::{GrayImage, Luma};
use lightsieve::numeric::determinant;
use lightsieve::photo::{Photo, srgb_from_linear};
use lightsieve::pipeline::{ScaleChoice, Settings, measure_photo};
use lightsieve::report::page::{Page, layout, pdf, png, raster, svg};
use lightsieve::scale::sheet::{Paper, frames};
use lightsieve::scale::{Lens, Plane};

const PAPERS: [(Paper, &str); 2] = [(Paper::A4, "a4"), (Paper::Letter, "letter")];

fn shipped(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration-targets").join(name)
}

#[test]
fn the_shipped_sheets_are_what_the_code_writes() {
    for (paper, name) in PAPERS {
        let page = Page::scale_sheet(paper);
        for (file, bytes) in [
            (format!("scale-sheet-{name}.pdf"), pdf(&page)),
            (format!("scale-sheet-{name}.svg"), svg(&page)),
            (format!("scale-sheet-{name}.json"), layout(paper)),
        ] {
            let kept = std::fs::read(shipped(&file)).unwrap();
            assert!(kept == bytes, "{file} is not what `lightsieve target` writes: write it anew");
        }
    }
}

/// The page as poppler draws it, at `dpi`; `None` where poppler is not installed, unless the environment asks for it.
fn poppler(name: &str, dpi: u32) -> Option<GrayImage> {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("page");
    let done = Command::new("pdftoppm")
        .args(["-gray", "-png", "-singlefile", "-r", &dpi.to_string()])
        .arg(shipped(&format!("scale-sheet-{name}.pdf")))
        .arg(&out)
        .output();
    match done {
        Ok(o) => {
            assert!(o.status.success(), "{}", String::from_utf8_lossy(&o.stderr));
            Some(image::open(out.with_extension("png")).unwrap().into_luma8())
        }
        Err(e) => {
            assert!(std::env::var_os("LIGHTSIEVE_NEEDS_POPPLER").is_none(), "pdftoppm (poppler-utils): {e}");
            eprintln!("pdftoppm is not installed: the check against poppler is left out");
            None
        }
    }
}

/// Centroid (mm) and area (mm²) of the ink within `radius` mm of a place.
fn ink(image: &GrayImage, dpi: f64, [x, y]: [f64; 2], radius: f64) -> ([f64; 2], f64) {
    let mm = 25.4 / dpi;
    let range = |c: f64, most: u32| ((c - radius) / mm).max(0.0) as u32..(((c + radius) / mm) as u32).min(most);
    let (mut sum, mut at) = (0.0, [0.0; 2]);
    for v in range(y, image.height()) {
        for u in range(x, image.width()) {
            let place = [(f64::from(u) + 0.5) * mm, (f64::from(v) + 0.5) * mm];
            let dark = 1.0 - f64::from(image.get_pixel(u, v).0[0]) / 255.0;
            if (place[0] - x).hypot(place[1] - y) < radius {
                sum += dark;
                at = [at[0] + dark * place[0], at[1] + dark * place[1]];
            }
        }
    }
    (at.map(|a| a / sum), sum * mm * mm)
}

fn assert_marks(image: &GrayImage, dpi: f64) {
    for frame in frames() {
        for mark in &frame.marks {
            let (dots, dot) = mark.dots();
            // The white dots pull the centroid of the ink away from the centre of the disc.
            let full = mark.radius * mark.radius;
            let rest = full - dots.len() as f64 * dot * dot;
            let expected =
                [0, 1].map(|i| (full * mark.centre[i] - dots.iter().map(|d| dot * dot * d[i]).sum::<f64>()) / rest);
            let (found, area) = ink(image, dpi, mark.centre, 1.2 * mark.radius);
            let off = (found[0] - expected[0]).hypot(found[1] - expected[1]);
            assert!(off < 0.05, "frame {}: a mark lies {off} mm off", frame.name);
            assert!((area / (std::f64::consts::PI * rest) - 1.0).abs() < 0.02, "frame {}: {area} mm²", frame.name);
        }
    }
}

/// Source: poppler's `pdftoppm` as an independent reader of the PDF.
#[test]
fn a_pdf_renderer_finds_every_mark_in_its_place_and_the_page_in_its_size() {
    for (paper, name) in PAPERS {
        let Some(image) = poppler(name, 300) else { return };
        let size = paper.size_mm().map(|mm| (mm / 25.4 * 300.0).round() as i64);
        assert!((i64::from(image.width()) - size[0]).abs() <= 1 && (i64::from(image.height()) - size[1]).abs() <= 1);
        assert_marks(&image, 300.0);
    }
}

#[test]
fn the_picture_of_the_page_has_every_mark_in_its_place() {
    assert_marks(&raster(&Page::scale_sheet(Paper::A4), 300.0), 300.0);
    // The file says its resolution (pHYs, pixels per metre).
    let bytes = png(&Page::scale_sheet(Paper::Letter), 300.0).unwrap();
    let reader = png_reader(&bytes);
    assert_eq!(reader, (11_811, 2550, 3300));
}

fn png_reader(bytes: &[u8]) -> (u32, u32, u32) {
    let decoder = ::png::Decoder::new(std::io::Cursor::new(bytes));
    let reader = decoder.read_info().unwrap();
    let info = reader.info();
    (info.pixel_dims.unwrap().xppu, info.width, info.height)
}

/// A photo of the printed page: `plane` takes page mm to px. Ink reflects 5 % of what paper does.
fn photograph(page: &GrayImage, dpi: f64, plane: &Plane, width: usize, height: usize) -> Photo {
    let at = |x: f64, y: f64| -> f64 {
        let (u, v) = (x / 25.4 * dpi - 0.5, y / 25.4 * dpi - 0.5);
        if u < 0.0 || v < 0.0 || u + 1.0 >= f64::from(page.width()) || v + 1.0 >= f64::from(page.height()) {
            return 1.0;
        }
        let (i, j, s, t) = (u as u32, v as u32, u.fract(), v.fract());
        let grey = |i, j| f64::from(page.get_pixel(i, j).0[0]) / 255.0;
        (grey(i, j) * (1.0 - s) + grey(i + 1, j) * s) * (1.0 - t)
            + (grey(i, j + 1) * (1.0 - s) + grey(i + 1, j + 1) * s) * t
    };
    let mut luma = Vec::with_capacity(width * height);
    for y in 0..height {
        for x in 0..width {
            // Four samples to a pixel.
            let mut light = 0.0;
            for (dx, dy) in [(0.25, 0.25), (0.75, 0.25), (0.25, 0.75), (0.75, 0.75)] {
                let [u, v] = plane.mm([x as f64 + dx, y as f64 + dy]).unwrap();
                light += 0.25 * (0.04 + 0.72 * at(u, v));
            }
            luma.push((255.0 * srgb_from_linear(light)).round() as u8);
        }
    }
    Photo::from_luma(width, height, luma)
}

/// The whole round: the PDF is drawn by another program, lies tilted under a lens that bends, and is measured.
#[test]
fn print_photograph_measure() {
    let dpi = 300.0;
    let mut page = poppler("a4", 300).unwrap_or_else(|| raster(&Page::scale_sheet(Paper::A4), dpi));
    let frame = frames().swap_remove(0);
    // Grounds are discs of 1.5 mm, in a grid that leaves the field's edge clear.
    let (diameter, mm) = (1.5, 25.4 / dpi);
    let spots: Vec<[f64; 2]> = (0..12 * 8)
        .map(|i| [frame.field[0] + 5.0 + 6.0 * f64::from(i % 12), frame.field[1] + 5.0 + 6.0 * f64::from(i / 12)])
        .collect();
    for [x, y] in &spots {
        for v in ((y - 1.0) / mm) as u32..((y + 1.0) / mm) as u32 {
            for u in ((x - 1.0) / mm) as u32..((x + 1.0) / mm) as u32 {
                // Sixteen by sixteen places tell how much of the pixel is covered.
                let inside = (0..256).filter(|k| {
                    let (a, b) = (f64::from(k % 16) + 0.5, f64::from(k / 16) + 0.5);
                    ((f64::from(u) + a / 16.0) * mm - x).hypot((f64::from(v) + b / 16.0) * mm - y) < 0.5 * diameter
                });
                let cover = inside.count() as f64 / 256.0;
                if cover > 0.0 {
                    page.put_pixel(u, v, Luma([(255.0 * (1.0 - cover)).round() as u8]));
                }
            }
        }
    }
    let [cx, cy] = frame.middle();
    // Turned by 100°, tilted: mm about the middle of the frame to px about the middle of the photo.
    let (s, c) = 100f64.to_radians().sin_cos();
    let (width, height, px) = (1500usize, 2000usize, 17.0);
    let to_px = [
        [px * c, -px * s, 750.0 - px * (c * cx - s * cy)],
        [px * s, px * c, 1000.0 - px * (s * cx + c * cy)],
        [0.0006, 0.0009, 1.0 - 0.0006 * cx - 0.0009 * cy],
    ];
    let lens = Lens { centre: [750.0, 1000.0], focal_px: 1500.0, k1: -0.06, k2: 0.01 };
    let plane = Plane::of_rows(to_px, lens).unwrap();
    let photo = photograph(&page, dpi, &plane, width, height);
    let settings = Settings::new(ScaleChoice::Sheet(None)).unwrap();
    let measured = measure_photo(photo.clone(), Path::new("printed.png"), &settings).unwrap();
    assert_eq!(measured.particles.len(), spots.len());
    let um = 1000.0 * determinant(plane.mm_per_px(plane.px([cx, cy])).unwrap()).abs().sqrt();
    assert!((measured.scale.um_per_px(plane.px([cx, cy])) / um - 1.0).abs() < 0.002);
    for p in &measured.particles {
        let on_page = [p.x_mm + frame.field[0], p.y_mm + frame.field[1]];
        let off = spots.iter().map(|s| (s[0] - on_page[0]).hypot(s[1] - on_page[1])).fold(9.9, f64::min);
        assert!(off < 0.02, "a disc is placed {off} mm off");
        assert!((p.ecd_um / (1000.0 * diameter) - 1.0).abs() < 0.01, "{} µm", p.ecd_um);
        assert!(p.aspect_ratio > 0.97, "a disc seen aslant is still round: {}", p.aspect_ratio);
    }
    // A bar read as 98 and 101 mm makes everything smaller along and larger across.
    let corrected = Settings::new(ScaleChoice::Sheet(Some([98.0, 101.0]))).unwrap();
    let other = measure_photo(photo, Path::new("printed.png"), &corrected).unwrap();
    let mean = |m: &lightsieve::pipeline::MeasuredPhoto| {
        m.particles.iter().map(|p| p.ecd_um).sum::<f64>() / m.particles.len() as f64
    };
    assert!((mean(&other) / mean(&measured) / (0.98f64 * 1.01).sqrt() - 1.0).abs() < 1e-4);
    assert!(other.scale.relative_uncertainty() < 0.5 * measured.scale.relative_uncertainty());
}
