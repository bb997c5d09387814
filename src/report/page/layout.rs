use serde::Serialize;

use crate::scale::sheet::{PRINTED_DISCS, Paper, bars, frames};

/// Schema of [`layout`].
pub const LAYOUT: &str = "lightsieve/sheet/1";

#[derive(Serialize)]
struct LayoutV1 {
    schema: &'static str,
    paper: &'static str,
    /// mm; x right, y down from the upper left corner of the page, as all that follows.
    page_mm: [f64; 2],
    frames: Vec<FrameV1>,
    printed_discs: Vec<DiscV1>,
    bars: Vec<[[f64; 2]; 2]>,
}

#[derive(Serialize)]
struct FrameV1 {
    name: &'static str,
    purpose: &'static str,
    outer_mm: [f64; 4],
    field_mm: [f64; 4],
    marks: Vec<MarkV1>,
}

#[derive(Serialize)]
struct MarkV1 {
    x_mm: f64,
    y_mm: f64,
    diameter_mm: f64,
    word: u16,
    dots: Vec<DiscV1>,
}

#[derive(Serialize)]
struct DiscV1 {
    x_mm: f64,
    y_mm: f64,
    diameter_mm: f64,
}

/// Every frame, field, mark and disc of the sheet as JSON text.
pub fn layout(paper: Paper) -> Vec<u8> {
    let disc =
        |[x, y]: [f64; 2], diameter_mm| DiscV1 { x_mm: round(x), y_mm: round(y), diameter_mm: round(diameter_mm) };
    let layout = LayoutV1 {
        schema: LAYOUT,
        paper: match paper {
            Paper::A4 => "a4",
            Paper::Letter => "letter",
        },
        page_mm: paper.size_mm(),
        frames: frames()
            .iter()
            .map(|f| FrameV1 {
                name: f.name,
                purpose: f.purpose,
                outer_mm: f.outer.map(round),
                field_mm: f.field.map(round),
                marks: f
                    .marks
                    .iter()
                    .map(|m| {
                        let (dots, radius) = m.dots();
                        MarkV1 {
                            x_mm: round(m.centre[0]),
                            y_mm: round(m.centre[1]),
                            diameter_mm: 2.0 * m.radius,
                            word: m.word,
                            dots: dots.into_iter().map(|c| disc(c, 2.0 * radius)).collect(),
                        }
                    })
                    .collect(),
            })
            .collect(),
        printed_discs: PRINTED_DISCS.iter().flat_map(|r| r.centres().map(|centre| disc(centre, r.diameter))).collect(),
        bars: bars().iter().map(|b| b.ends).collect(),
    };
    let mut out = serde_json::to_vec_pretty(&layout).expect("plain structs always serialise");
    out.push(b'\n');
    out
}

/// To a hundredth of a µm: the same text on every machine.
fn round(mm: f64) -> f64 {
    (1e5 * mm).round() / 1e5
}
