use std::collections::BTreeSet;
use std::fmt::Write;

use super::{Page, Shape, letter_outlines};

/// The page as SVG; one user unit is 1 mm.
pub fn svg(page: &Page) -> Vec<u8> {
    let [w, h] = page.size;
    let letter_of = |s: &Shape| if let Shape::Letter { letter, .. } = s { Some(*letter) } else { None };
    let letters: BTreeSet<char> = page.shapes.iter().filter_map(letter_of).filter(|c| *c != ' ').collect();
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}mm\" height=\"{h}mm\" viewBox=\"0 0 {w} {h}\">\n\
         <title>lightsieve scale sheet</title>\n<rect width=\"{w}\" height=\"{h}\" fill=\"#fff\"/>\n<defs>\n"
    );
    for letter in letters {
        // Writing to a string cannot fail.
        let _ = writeln!(out, "<path id=\"l{:x}\" d=\"{}\"/>", u32::from(letter), path(letter));
    }
    out.push_str("</defs>\n");
    for shape in &page.shapes {
        let fill = if shape.is_white() { "#fff" } else { "#000" };
        let _ = match shape {
            Shape::Disc { centre: [x, y], radius, .. } => {
                writeln!(out, "<circle cx=\"{x:.4}\" cy=\"{y:.4}\" r=\"{radius:.4}\" fill=\"{fill}\"/>")
            }
            Shape::Rect([x0, y0, x1, y1]) => {
                writeln!(out, "<rect x=\"{x0:.4}\" y=\"{y0:.4}\" width=\"{:.4}\" height=\"{:.4}\"/>", x1 - x0, y1 - y0)
            }
            Shape::Letter { letter: ' ', .. } => Ok(()),
            Shape::Letter { letter, at: [x, y], em } => {
                let id = u32::from(*letter);
                writeln!(out, "<use href=\"#l{id:x}\" transform=\"translate({x:.3} {y:.3}) scale({em})\"/>")
            }
        };
    }
    out.push_str("</svg>\n");
    out.into_bytes()
}

/// The outlines of a letter as path data, in units of its em.
fn path(letter: char) -> String {
    let mut path = String::new();
    for outline in letter_outlines(letter) {
        let _ = write!(path, "M{:.4} {:.4}", outline[0][0][0], outline[0][0][1]);
        for [a, b, c, d] in outline {
            let _ = if a == b && c == d {
                write!(path, "L{:.4} {:.4}", d[0], d[1])
            } else {
                write!(path, "C{:.4} {:.4} {:.4} {:.4} {:.4} {:.4}", b[0], b[1], c[0], c[1], d[0], d[1])
            };
        }
        path.push('Z');
    }
    path
}
