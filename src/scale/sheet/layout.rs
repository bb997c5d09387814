//! Where everything lies on the sheet, in mm from the upper left corner of the page: x right, y down.

use std::f64::consts::TAU;

/// Dots on a mark, each white or left black.
pub const DOTS: usize = 11;
/// Radius of the ring of dots, and of a dot, as shares of the mark's radius.
pub const DOT_RING: f64 = 0.62;
/// Radius of a dot, as a share of the mark's radius.
pub const DOT_RADIUS: f64 = 0.135;

/// Size of the page.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Paper {
    /// 210 × 297 mm (ISO 216).
    A4,
    /// 8.5 × 11 inches (ANSI/ASME Y14.1).
    Letter,
}

impl Paper {
    /// Width and height, mm.
    pub fn size_mm(self) -> [f64; 2] {
        match self {
            Paper::A4 => [210.0, 297.0],
            Paper::Letter => [215.9, 279.4],
        }
    }
}

/// A round black mark with a ring of white dots that says which one it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mark {
    /// Centre, mm.
    pub centre: [f64; 2],
    /// Radius of the black disc, mm.
    pub radius: f64,
    /// Bit k is set when dot k is white.
    pub word: u16,
}

impl Mark {
    /// Centres and radius of the white dots, mm. Dot 0 stands on top, the others follow clockwise.
    pub fn dots(&self) -> (Vec<[f64; 2]>, f64) {
        let at = |k: usize| {
            let angle = TAU * k as f64 / DOTS as f64 - 0.25 * TAU;
            [0, 1].map(|i| self.centre[i] + DOT_RING * self.radius * [angle.cos(), angle.sin()][i])
        };
        ((0..DOTS).filter(|k| self.word >> k & 1 == 1).map(at).collect(), DOT_RADIUS * self.radius)
    }

    /// All that is printed of the mark, in this order: centre and radius (mm), and true where it is white.
    pub fn discs(&self) -> impl Iterator<Item = ([f64; 2], f64, bool)> {
        let (dots, radius) = self.dots();
        std::iter::once((self.centre, self.radius, false)).chain(dots.into_iter().map(move |dot| (dot, radius, true)))
    }
}

/// Marks round a white field, to be photographed for itself.
#[derive(Clone, Debug, PartialEq)]
pub struct Frame {
    /// Name, as printed beside it.
    pub name: &'static str,
    /// What it is for, as printed beside it.
    pub purpose: &'static str,
    /// Outer edges of the marks x0, y0, x1, y1, mm.
    pub outer: [f64; 4],
    /// The white field x0, y0, x1, y1, mm.
    pub field: [f64; 4],
    /// Clockwise from the upper left.
    pub marks: Vec<Mark>,
}

/// A row of printed discs, to check what the tool makes of a known diameter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Row {
    /// Diameter, mm.
    pub diameter: f64,
    /// Centre of the first disc, mm.
    pub first: [f64; 2],
    /// From one centre to the next along x, mm.
    pub pitch: f64,
    /// Number of discs.
    pub count: usize,
}

impl Row {
    /// Centres of the discs, mm.
    pub fn centres(&self) -> impl Iterator<Item = [f64; 2]> + use<> {
        let Row { first: [x, y], pitch, count, .. } = *self;
        (0..count).map(move |i| [x + pitch * i as f64, y])
    }
}

/// A line of known length with a tick at each end, for a ruler.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bar {
    /// Start and end, mm.
    pub ends: [[f64; 2]; 2],
}

impl Frame {
    /// Middle of the frame, mm.
    pub fn middle(&self) -> [f64; 2] {
        [0, 1].map(|i| 0.5 * (self.outer[i] + self.outer[i + 2]))
    }
}

/// Upper left corner, size and number of marks along x and y, radius of a mark and white gap to the field, mm.
struct Plan(&'static str, &'static str, [f64; 2], [f64; 2], [usize; 2], f64, f64);

const PLANS: [Plan; 4] = [
    Plan(
        "L",
        "coarse to filter grinds, 23 µm per pixel at 12 megapixels",
        [15.0, 34.0],
        [90.0, 68.0],
        [7, 5],
        2.5,
        2.0,
    ),
    Plan("M", "filter to espresso, 15 µm per pixel", [125.0, 34.0], [60.0, 45.0], [7, 5], 1.9, 1.5),
    Plan("S", "fines, 8 µm per pixel", [125.0, 96.0], [30.0, 22.0], [5, 4], 1.3, 0.9),
    Plan(DISC_FRAME, "discs of 2, 1, 1 and 0.5 mm to check", [15.0, 120.0], [60.0, 45.0], [5, 4], 1.9, 1.5),
];

/// Name of the frame whose field holds printed discs.
pub const DISC_FRAME: &str = "D";

/// Rows of printed discs, in the field of that frame.
pub const PRINTED_DISCS: [Row; 4] = [
    Row { diameter: 2.0, first: [25.0, 130.5], pitch: 5.0, count: 9 },
    Row { diameter: 1.0, first: [25.0, 138.0], pitch: 5.0, count: 9 },
    Row { diameter: 1.0, first: [25.0, 144.5], pitch: 5.0, count: 9 },
    Row { diameter: 0.5, first: [25.0, 151.0], pitch: 5.0, count: 9 },
];

/// The check bars: 100 mm along and 100 mm across.
pub fn bars() -> [Bar; 2] {
    [Bar { ends: [[15.0, 186.0], [115.0, 186.0]] }, Bar { ends: [[190.0, 92.0], [190.0, 192.0]] }]
}

/// The frames; no two marks of the sheet carry the same word, whichever way they are turned.
pub fn frames() -> Vec<Frame> {
    let mut words = words();
    PLANS
        .iter()
        .map(|&Plan(name, purpose, [x, y], [w, h], [across, down], radius, gap)| {
            let at = |i: usize, n: usize, start: f64, length: f64| {
                start + radius + (length - 2.0 * radius) * i as f64 / (n - 1) as f64
            };
            let top = (0..across).map(|i| [i, 0]);
            let right = (1..down).map(|j| [across - 1, j]);
            let bottom = (0..across - 1).rev().map(|i| [i, down - 1]);
            let left = (1..down - 1).rev().map(|j| [0, j]);
            let marks = top
                .chain(right)
                .chain(bottom)
                .chain(left)
                .map(|[i, j]| {
                    let word = words.next().expect("there are more words than marks");
                    Mark { centre: [at(i, across, x, w), at(j, down, y, h)], radius, word }
                })
                .collect();
            let inset = 2.0 * radius + gap;
            let field = [x + inset, y + inset, x + w - inset, y + h - inset];
            Frame { name, purpose, outer: [x, y, x + w, y + h], field, marks }
        })
        .collect()
}

/// Words of four or six white dots, one for each set that turning does not make alike (11 is prime: each has 11 turns).
/// Two of them differ in two dots at least. Neighbours in the list are taken far apart.
fn words() -> impl Iterator<Item = u16> {
    let all: Vec<u16> =
        (1u16..1 << DOTS).filter(|&w| matches!(w.count_ones(), 4 | 6) && least_turn(w).0 == w).collect();
    let n = all.len();
    // 29 has no factor in common with the 72 words.
    (0..n).map(move |i| all[i * 29 % n])
}

/// The smallest word that turning `word` gives, and by how many dots: `word` rotated right by them.
pub(super) fn least_turn(word: u16) -> (u16, usize) {
    let mask = (1u16 << DOTS) - 1;
    let turned = |k: usize| (word >> k | word << (DOTS - k)) & mask;
    (0..DOTS).map(|k| (turned(k), k)).min().expect("there are turns")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_two_marks_are_alike_however_turned_and_misreading_one_dot_makes_no_other_mark() {
        let frames = frames();
        let words: Vec<u16> = frames.iter().flat_map(|f| &f.marks).map(|m| m.word).collect();
        assert_eq!(words.len(), 20 + 20 + 14 + 14);
        for (i, &a) in words.iter().enumerate() {
            assert_eq!(least_turn(a).0, a);
            assert!(!words[..i].contains(&a));
            for dot in 0..DOTS {
                assert!(!words.contains(&least_turn(a ^ 1 << dot).0));
            }
        }
    }

    #[test]
    fn everything_lies_on_both_papers_and_nothing_in_the_way() {
        let frames = frames();
        for paper in [Paper::A4, Paper::Letter] {
            let [w, h] = paper.size_mm();
            for f in &frames {
                assert!(f.outer[0] >= 10.0 && f.outer[1] >= 10.0 && f.outer[2] <= w - 10.0 && f.outer[3] <= h - 10.0);
            }
            for bar in bars() {
                assert!(bar.ends.iter().all(|e| e[0] <= w - 10.0 && e[1] <= h - 10.0));
                let [[x0, y0], [x1, y1]] = bar.ends;
                assert_eq!((x1 - x0) + (y1 - y0), 100.0);
            }
        }
        for (i, a) in frames.iter().enumerate() {
            for b in &frames[..i] {
                let apart = a.outer[0] > b.outer[2] + 8.0
                    || b.outer[0] > a.outer[2] + 8.0
                    || a.outer[1] > b.outer[3] + 8.0
                    || b.outer[1] > a.outer[3] + 8.0;
                assert!(apart, "{} and {} are too near", a.name, b.name);
            }
        }
        let field = frames[3].field;
        for row in PRINTED_DISCS {
            let last = row.first[0] + row.pitch * (row.count - 1) as f64;
            assert!(row.first[0] - row.diameter > field[0] && last + row.diameter < field[2]);
            assert!(row.first[1] - row.diameter > field[1] && row.first[1] + row.diameter < field[3]);
        }
    }

    #[test]
    fn the_sizes_are_those_asked_for() {
        for (frame, [w, h]) in frames().iter().zip([[90.0, 68.0], [60.0, 45.0], [30.0, 22.0], [60.0, 45.0]]) {
            let (left, right) = (
                frame.marks.iter().map(|m| m.centre[0] - m.radius),
                frame.marks.iter().map(|m| m.centre[0] + m.radius),
            );
            let width = right.fold(0.0, f64::max) - left.fold(1e9, f64::min);
            assert!((width - w).abs() < 1e-9 && (frame.outer[3] - frame.outer[1] - h).abs() < 1e-9);
        }
    }
}
