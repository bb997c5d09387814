use image::codecs::jpeg::JpegEncoder;
use image::imageops::{FilterType, resize};
use image::{ExtendedColorType, ImageEncoder, RgbImage};
use serde::Serialize;

use super::{Carried, MASS, escape, figure_for_all, method, noted, page_with, table, told};
use crate::pipeline::{MeasuredPhoto, Measurement};
use crate::report::format::{count, interval, significant, value};
use crate::report::json::HandExcluded;
use crate::report::plot::{self, Kind};
use crate::report::viewer::{self, Outline};
use crate::report::words::{BY_NUMBER, counted, level, remarks, rows};
use crate::report::{ReportError, csv, json};

/// The pictures of a page together are no larger than this, bytes: with outlines and data a page stays below 5 MB.
const PICTURES: usize = 1_700_000;
const QUALITY: u8 = 78;

/// A photo for a page: its picture as JPEG, no larger than the page has room for.
pub struct Picture {
    jpeg: Vec<u8>,
}

impl Picture {
    /// `picture` is the upright photo, one of `photos` on the page.
    ///
    /// # Errors
    /// None in practice: the picture stays in memory.
    pub fn of(mut picture: RgbImage, photos: usize) -> Result<Self, ReportError> {
        let most = PICTURES / photos.max(1);
        loop {
            let (width, height) = picture.dimensions();
            let mut jpeg = Vec::new();
            JpegEncoder::new_with_quality(&mut jpeg, QUALITY)
                .write_image(picture.as_raw(), width, height, ExtendedColorType::Rgb8)
                .map_err(|e| ReportError::Draw(e.to_string()))?;
            let smaller = (most as f64 / jpeg.len() as f64).sqrt().clamp(0.25, 0.9);
            if jpeg.len() <= most || width.max(height) < 600 {
                return Ok(Picture { jpeg });
            }
            let side = |v: u32| ((f64::from(v) * smaller) as u32).max(1);
            picture = resize(&picture, side(width), side(height), FilterType::Triangle);
        }
    }
}

/// A photo as the page's script takes it.
#[derive(Serialize)]
struct Shown<'a> {
    width: usize,
    height: usize,
    um_per_px: f64,
    label: String,
    outlines: Vec<Short<'a>>,
}

/// An outline in short: size and largest Feret diameter (µm; 0 where not measured), state, and its points in tenths of a px,
/// each as the way from the one before.
#[derive(Serialize)]
struct Short<'a>(f64, f64, &'a str, Vec<i32>);

impl Short<'_> {
    fn of(outline: &Outline) -> Short<'static> {
        let mut last = [0; 2];
        let steps = outline.outline.iter().enumerate().map(|(i, v)| {
            let tenths = (10.0 * v).round() as i32;
            let step = tenths - last[i % 2];
            last[i % 2] = tenths;
            step
        });
        let steps = steps.collect();
        Short(outline.size_um.unwrap_or(0.0), outline.feret_um.unwrap_or(0.0), outline.state, steps)
    }
}

/// A measurement as a page; `pictures` are those of its photos, in their order, and may be none; `excluded` is what someone took out. What is passed on should not tell
/// the folders of its maker: see [`Measurement::without_folders`].
///
/// # Errors
/// None in practice: everything stays in memory.
pub fn measurement(
    m: &Measurement,
    title: &str,
    pictures: &[Picture],
    excluded: &[HandExcluded],
) -> Result<Vec<u8>, ReportError> {
    let mut body = headline(m);
    if !excluded.is_empty() {
        let note = format!("{} left out by hand.", count(excluded.len(), "particle"));
        body += &noted(&[note]);
    }
    body += &figure_for_all(
        plot::distribution(m, title, Kind::Svg)?,
        plot::distribution_of_size(m, "", Kind::Svg, plot::NARROW)?,
        &described(m),
    )?;
    let mut shown = Vec::new();
    for (i, (photo, picture)) in m.photos.iter().zip(pictures).enumerate() {
        body += &looked_at(photo, picture, i);
        shown.push(Shown {
            width: photo.size_px[0],
            height: photo.size_px[1],
            um_per_px: photo.scale.typical(),
            label: format!("{} with the outlines of its particles", photo.path.display()),
            outlines: viewer::outlines(photo, |_| false).iter().map(Short::of).collect(),
        });
    }
    let cells = rows(m).into_iter().map(|r| {
        let [mass, range, number] = r.with_unit();
        vec![told(&r.name, r.says), mass, range, number]
    });
    body += &table("Figures", &["figure", "by mass", &level(m), "by number"], cells);
    body += &format!("<p class=\"under\">{}</p>\n", escape(BY_NUMBER));
    body += "<section>\n<h2>What it rests on</h2>\n<ul>\n";
    for remark in remarks(m).iter().filter(|r| !r.advice) {
        body += &format!("<li>{}</li>\n", escape(&remark.text));
    }
    body += "</ul>\n</section>\n";
    body += &method(&METHOD);
    let (data, particles) = (json::measurement_without(m, excluded), csv::particles(&m.photos)?);
    let carried =
        [Carried { name: "measurement.json", content: &data }, Carried { name: "particles.csv", content: &particles }];
    let shown = (!shown.is_empty()).then(|| serde_json::to_string(&shown).expect("plain structs always serialise"));
    Ok(page_with(title, &body, &carried, "", shown.as_deref()))
}

/// The answer in a sentence, the figures that matter most in large print, and what to do better.
fn headline(m: &Measurement) -> String {
    let [d50, fines] = [&m.by_mass[1], &m.by_mass[4]];
    let least = if m.fines_at_least { "at least " } else { "" };
    let mut out = format!(
        "<p class=\"who\">{}</p>\n<p class=\"verdict alike\">Half of the mass is finer than {} µm ({} µm); {least}{} % of it is finer \
         than {} µm ({} %).</p>\n",
        escape(&counted(m)),
        value(d50),
        interval(d50),
        value(fines),
        significant(m.fines_um, 3),
        interval(fines),
    );
    for remark in remarks(m).iter().filter(|r| r.advice) {
        out += &format!("<p class=\"note\">{}</p>\n", escape(&remark.text));
    }
    out
}

fn described(m: &Measurement) -> String {
    format!(
        "Share of the mass in each class of size as bars, and the share finer than each size as a line. D10 {} µm, D50 {} µm, D90 {} µm. \
         The numbers are in the table.",
        value(&m.by_mass[0]),
        value(&m.by_mass[1]),
        value(&m.by_mass[2])
    )
}

/// A photo for the viewer, which takes the place of the bare picture.
fn looked_at(photo: &MeasuredPhoto, picture: &Picture, i: usize) -> String {
    let name = escape(&photo.path.display().to_string());
    format!(
        "<section class=\"photo\">\n<h2>{name}</h2>\n<p>{}, outlined.<span class=\"on-screen\"> Move over one, or touch it, to see its size.</span></p>\n\
         <div class=\"seen\" data-photo=\"{i}\"><img alt=\"{name}: grounds on paper\" src=\"data:image/jpeg;base64,{}\"></div>\n\
         </section>\n",
        count(photo.particles.len(), "particle"),
        super::base64(&picture.jpeg),
    )
}

const METHOD: [&str; 4] = [
    MASS,
    "Edges are found to a fraction of a pixel; what blur, sharpening and contact shadow do to them is read from the photo itself and \
     taken out. Particles that the frame cuts are left out, and the others weighted by the inverse chance of lying wholly inside \
     (ISO 13322-1).",
    "The smallest size that the photo shows reliably is measured with particles of known size laid on the photo's own paper; fines that \
     are partly missed are weighted up, and their interval is opened upwards where nothing can be known.",
    "Intervals come from drawing the particles again, and with several photos the photos as well (bootstrap), with the scale's own \
     uncertainty.",
];
