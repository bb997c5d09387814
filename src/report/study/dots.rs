//! Values with their intervals, one row each, on a common axis.

use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::super::ReportError;
use super::super::plot::{AnyArea, Drawn, INK, Kind, PALE, Pixels, draw};

/// Half a page: shown smaller than it is drawn, letters are hard to read.
const WIDTH: u32 = 560;
const ROW: f64 = 22.0;
/// Room above the rows and below them for captions and axis.
const AROUND: f64 = 96.0;
/// Width of the names.
const NAMES: f64 = 200.0;
const DOT: RGBColor = RGBColor(24, 62, 110);

/// One row: a name and values with their intervals.
pub(super) struct Row {
    pub name: String,
    pub values: Vec<[f64; 3]>,
}

/// The rows as an SVG; `marks` are lines across with a word each.
pub(super) fn dots(caption: &str, x_desc: &str, rows: &[Row], marks: &[(f64, &str)]) -> Result<String, ReportError> {
    let size = (WIDTH, (ROW * rows.len() as f64 + AROUND) as u32);
    let svg = draw(Kind::Svg, size, |area, px| match area {
        AnyArea::Svg(a) => rows_on(caption, x_desc, rows, marks, a, px),
        AnyArea::Png(a) => rows_on(caption, x_desc, rows, marks, a, px),
    })?;
    String::from_utf8(svg).map_err(|e| ReportError::Draw(e.to_string()))
}

fn rows_on<B: DrawingBackend>(
    caption: &str,
    x_desc: &str,
    rows: &[Row],
    marks: &[(f64, &str)],
    area: &DrawingArea<B, Shift>,
    px: Pixels<'_>,
) -> Drawn
where
    B::ErrorType: 'static,
{
    area.fill(&WHITE)?;
    let text = |size: f64| ("sans-serif", px(size)).into_font().color(&INK);
    let ends = rows.iter().flat_map(|r| r.values.iter().flatten()).copied().chain(marks.iter().map(|m| m.0));
    let (low, high) = ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
    let room = (0.06 * (high - low)).max(0.02 * high.abs()).max(1e-6);
    let low = if low >= 0.0 { (low - room).max(0.0) } else { low - room };
    let mut chart = ChartBuilder::on(area)
        .margin(px(8.0))
        .margin_right(px(24.0))
        .caption(caption, text(17.0))
        .x_label_area_size(px(44.0))
        .y_label_area_size(px(NAMES))
        .build_cartesian_2d(low..high + room, 0.0..rows.len() as f64)?;
    chart
        .configure_mesh()
        .light_line_style(WHITE.mix(0.0))
        .bold_line_style(PALE)
        .axis_style(INK)
        .disable_y_mesh()
        .y_labels(0)
        .x_labels(8)
        .x_label_formatter(&|v| format!("{}", (1e3 * v).round() / 1e3))
        .x_desc(x_desc)
        .label_style(text(14.0))
        .axis_desc_style(text(15.0))
        .draw()?;
    for (at, word) in marks {
        let line = [(*at, 0.0), (*at, rows.len() as f64)];
        chart.draw_series(DashedLineSeries::new(line, px(5.0), px(4.0), INK.stroke_width(px(1.0) as u32)))?;
        let style = text(13.0).pos(Pos::new(HPos::Left, VPos::Top));
        chart.draw_series([
            EmptyElement::at((*at, rows.len() as f64)) + Text::new((*word).to_owned(), (px(4.0), 0), style)
        ])?;
    }
    for (i, row) in rows.iter().enumerate() {
        let y = (rows.len() - i) as f64 - 0.5;
        let (left, middle) = chart.backend_coord(&(low, y));
        let name = text(14.0).pos(Pos::new(HPos::Right, VPos::Center));
        area.draw(&Text::new(shortened(&row.name), (left - px(10.0), middle), name))?;
        for (k, [value, low, high]) in row.values.iter().enumerate() {
            // Several values of a row lie beside each other.
            let y = y + 0.16 * (k as f64 - 0.5 * (row.values.len() - 1) as f64).clamp(-2.0, 2.0);
            chart.draw_series([PathElement::new([(*low, y), (*high, y)], DOT.stroke_width(px(2.0) as u32))])?;
            chart.draw_series([Circle::new((*value, y), px(4.5), DOT.filled())])?;
        }
    }
    area.present()?;
    Ok(())
}

/// A name that finds room beside its row.
fn shortened(name: &str) -> String {
    const MOST: usize = 30;
    if name.chars().count() <= MOST { name.to_owned() } else { name.chars().take(MOST - 1).chain(['…']).collect() }
}
