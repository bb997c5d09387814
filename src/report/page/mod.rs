//! The scale sheet as a page of black shapes, and the files that hold it.

mod layout;
mod pdf;
mod png;
mod svg;

pub use layout::layout;
pub use pdf::pdf;
pub use png::{png, raster};
pub use svg::svg;

use ab_glyph::{Font, OutlineCurve};

use super::font;
use crate::scale::sheet::{Frame, PRINTED_DISCS, Paper, bars, frames};

/// A cubic Bézier curve by its four points, mm.
type Cubic = [[f64; 2]; 4];

/// A page: black shapes on white, in mm from its upper left corner; y runs down. Later shapes lie on earlier ones.
#[derive(Clone, Debug)]
pub struct Page {
    size: [f64; 2],
    shapes: Vec<Shape>,
}

#[derive(Clone, Debug)]
enum Shape {
    Disc {
        centre: [f64; 2],
        radius: f64,
        white: bool,
    },
    /// x0, y0, x1, y1.
    Rect([f64; 4]),
    /// A letter with its start on the base line, and the height of an em, mm.
    Letter {
        letter: char,
        at: [f64; 2],
        em: f64,
    },
}

impl Shape {
    fn is_white(&self) -> bool {
        matches!(self, Shape::Disc { white: true, .. })
    }

    /// The shape as closed outlines.
    fn outlines(&self) -> Vec<Vec<Cubic>> {
        match self {
            Shape::Disc { centre: [x, y], radius, .. } => {
                // Four arcs; the radius is right to 0.03 %.
                let (r, k) = (*radius, 0.552_284_75 * radius);
                let arc = |a: [f64; 2], b: [f64; 2]| {
                    let at = |p: [f64; 2]| [x + p[0], y + p[1]];
                    let out = |p: [f64; 2], q: [f64; 2]| at([p[0] + k * q[0] / r, p[1] + k * q[1] / r]);
                    [at(a), out(a, b), out(b, a), at(b)]
                };
                let corners = [[r, 0.0], [0.0, r], [-r, 0.0], [0.0, -r]];
                vec![(0..4).map(|i| arc(corners[i], corners[(i + 1) % 4])).collect()]
            }
            Shape::Rect([x0, y0, x1, y1]) => {
                let corners = [[*x0, *y0], [*x1, *y0], [*x1, *y1], [*x0, *y1]];
                vec![(0..4).map(|i| line(corners[i], corners[(i + 1) % 4])).collect()]
            }
            Shape::Letter { letter, at, em } => {
                let place = |p: [f64; 2]| [0, 1].map(|i| at[i] + em * p[i]);
                letter_outlines(*letter).into_iter().map(|o| o.into_iter().map(|c| c.map(place)).collect()).collect()
            }
        }
    }
}

fn line(a: [f64; 2], b: [f64; 2]) -> Cubic {
    [a, a, b, b]
}

const TITLE_MM: f64 = 6.0;
const TEXT_MM: f64 = 3.1;
const LEADING_MM: f64 = 5.0;
const LEFT_MM: f64 = 15.0;

const HOW_TO: [&str; 12] = [
    "1  Print at 100 % (\"actual size\"), never \"fit to page\", on matt white paper. Lay a ruler on both check bars: 100.0 mm each.",
    "    If they are not, give what you read, along and across:  --bar-measured 99.2,100.1",
    "2  Choose a frame: L for coarse to filter grinds, M for filter to espresso, S to see the fines. A frame that fills the picture",
    "    shows most. D has no room for grounds: its printed discs check a stand and a lens (a printer is true to some 0.05 mm only).",
    "3  Lay the sheet flat, on a board or a book. Spread a pinch of grounds in the white field, thinly: particles apart, not in heaps.",
    "    Keep the black marks free. Some may be covered; the more are seen, the surer the scale.",
    "4  Soft light from two sides: a window and a white card, or two lamps behind paper. No flash, no hard shadows.",
    "5  Hold the phone level above the frame, main camera (not the wide one), and let the frame fill the picture. Tap to focus.",
    "    A tilt of some degrees does no harm. Take several photos, each of a fresh spread of the same grounds.",
    "6  lightsieve measure PHOTO         finds the frame by itself.",
    "",
    "Take a fresh sheet when the field has turned grey or oily: what stays from an earlier spread would be counted again.",
];

impl Page {
    /// The scale sheet for `paper`.
    pub fn scale_sheet(paper: Paper) -> Self {
        let mut page = Page { size: paper.size_mm(), shapes: Vec::new() };
        let name = match paper {
            Paper::A4 => "A4",
            Paper::Letter => "US Letter",
        };
        page.text([LEFT_MM, 20.0], TITLE_MM, "lightsieve scale sheet");
        page.text([112.0, 20.0], TEXT_MM, &format!("{name}. Print at 100 %. All sizes in mm."));
        for frame in frames() {
            page.frame(&frame);
        }
        for row in PRINTED_DISCS {
            let radius = 0.5 * row.diameter;
            page.shapes.extend(row.centres().map(|centre| Shape::Disc { centre, radius, white: false }));
        }
        for bar in bars() {
            page.bar(bar.ends);
        }
        for (i, text) in HOW_TO.iter().enumerate() {
            page.text([LEFT_MM, 205.0 + LEADING_MM * i as f64], TEXT_MM, text);
        }
        page
    }

    fn frame(&mut self, frame: &Frame) {
        let [x0, y0, x1, y1] = frame.outer;
        let label = format!("{}   {:.0} × {:.0}   {}", frame.name, x1 - x0, y1 - y0, frame.purpose);
        // Outside of the frame, clear of its marks.
        self.text([x0, y0 - 4.0], 2.7, &label);
        for mark in &frame.marks {
            self.shapes.extend(mark.discs().map(|(centre, radius, white)| Shape::Disc { centre, radius, white }));
        }
    }

    /// A thin line with a thin tick at each end, and its length beside it.
    fn bar(&mut self, [[x0, y0], [x1, y1]]: [[f64; 2]; 2]) {
        const HALF: f64 = 0.1;
        const TICK: f64 = 2.5;
        self.shapes.push(Shape::Rect([x0 - HALF, y0 - HALF, x1 + HALF, y1 + HALF]));
        let along = y0 == y1;
        let [tx, ty] = if along { [HALF, TICK] } else { [TICK, HALF] };
        for [x, y] in [[x0, y0], [x1, y1]] {
            self.shapes.push(Shape::Rect([x - tx, y - ty, x + tx, y + ty]));
        }
        if along {
            self.text([x0 + 24.0, y0 - 1.5], 2.7, "check bar along: 100.0 between the ticks");
        } else {
            for (i, text) in ["check", "bar", "across:", "100.0", "between", "the ticks"].iter().enumerate() {
                self.text([x0 - 14.0, 0.5 * (y0 + y1) + 12.0 + 4.0 * i as f64], 2.7, text);
            }
        }
    }

    /// Text from its left end on the base line, `em` mm high.
    fn text(&mut self, [mut x, y]: [f64; 2], em: f64, text: &str) {
        let face = font::face();
        for letter in text.chars() {
            self.shapes.push(Shape::Letter { letter, at: [x, y], em });
            x += em * f64::from(face.h_advance_unscaled(face.glyph_id(letter))) / units(&face);
        }
    }
}

fn units(face: &impl Font) -> f64 {
    f64::from(face.units_per_em().expect("the font says how large it is"))
}

/// Closed outlines of a letter in units of its em, filled where they wind round; y runs down from the base line.
fn letter_outlines(letter: char) -> Vec<Vec<Cubic>> {
    let face = font::face();
    let scale = 1.0 / units(&face);
    let at = |p: ab_glyph::Point| [scale * f64::from(p.x), -scale * f64::from(p.y)];
    let mut outlines: Vec<Vec<Cubic>> = Vec::new();
    for curve in face.outline(face.glyph_id(letter)).iter().flat_map(|o| &o.curves) {
        let cubic = match *curve {
            OutlineCurve::Line(a, b) => line(at(a), at(b)),
            OutlineCurve::Quad(a, b, c) => {
                let (a, b, c) = (at(a), at(b), at(c));
                let towards = |p: [f64; 2]| [0, 1].map(|i| p[i] + 2.0 / 3.0 * (b[i] - p[i]));
                [a, towards(a), towards(c), c]
            }
            OutlineCurve::Cubic(a, b, c, d) => [at(a), at(b), at(c), at(d)],
        };
        match outlines.last_mut().filter(|o| o.last().is_some_and(|last| last[3] == cubic[0])) {
            Some(outline) => outline.push(cubic),
            None => outlines.push(vec![cubic]),
        }
    }
    outlines
}
