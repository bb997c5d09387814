//! Sets of burrs over the settings of the dial: median against setting, fines and span against median.

use plotters::coord::Shift;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::ReportError;
use super::format::significant;
use super::plot::{AnyArea, Drawn, INK, Kind, PALE, Pixels, draw, hundredths};
use super::verdict::label;
use crate::compare::{DialSet, Dials, Point, Quantity};
use crate::distribution::Figures;

const SIZE: (u32, u32) = (1000, 860);
/// Share of the upper panel.
const UPPER: f64 = 0.49;
/// Panels stand side by side where each is so wide, in units of the drawing.
const SIDE_BY_SIDE: f64 = 300.0;
/// Dark and light by turns; the marks and lines differ in form as well.
const COLOURS: [RGBColor; 4] =
    [RGBColor(24, 62, 110), RGBColor(204, 98, 20), RGBColor(60, 130, 90), RGBColor(150, 70, 130)];

/// The sets as one picture of three panels.
///
/// # Errors
/// None in practice: the drawing stays in memory.
pub fn dials(d: &Dials, fines_um: f64, kind: Kind) -> Result<Vec<u8>, ReportError> {
    dials_of_size(d, fines_um, kind, SIZE)
}

/// The same of any size.
///
/// # Errors
/// None in practice: the drawing stays in memory.
pub fn dials_of_size(d: &Dials, fines_um: f64, kind: Kind, size: (u32, u32)) -> Result<Vec<u8>, ReportError> {
    draw(kind, size, |area, px| match area {
        AnyArea::Svg(a) => panels(d, fines_um, a, px),
        AnyArea::Png(a) => panels(d, fines_um, a, px),
    })
}

fn panels<B: DrawingBackend>(d: &Dials, fines_um: f64, area: &DrawingArea<B, Shift>, px: Pixels<'_>) -> Drawn
where
    B::ErrorType: 'static,
{
    area.fill(&WHITE)?;
    let (width, height) = area.dim_in_pixel();
    let is_wide = width as i32 >= px(2.0 * SIDE_BY_SIDE);
    let share = if is_wide { UPPER } else { 1.0 / 3.0 };
    let (upper, lower) = area.split_vertically((share * f64::from(height)) as i32);
    let (left, right) = if is_wide {
        lower.split_horizontally(width as i32 / 2)
    } else {
        lower.split_vertically(lower.dim_in_pixel().1 as i32 / 2)
    };
    let settings = |p: &Point| p.setting;
    let median = |p: &Point| p.figures[1];
    panel(d, 1, &settings, ["Median against the dial", "setting of the dial", "D50, µm"], &upper, px)?;
    for (k, set) in d.sets.iter().enumerate() {
        name(&upper, k, &set.name, (px(100.0), px(58.0 + 24.0 * k as f64)), px)?;
    }
    let fines = format!("{}, %", label(Quantity::FINES, fines_um));
    panel(d, Figures::FINES, &median, ["Fines at the same median", "D50, µm", &fines], &left, px)?;
    panel(d, 3, &median, ["Span at the same median", "D50, µm", "span"], &right, px)?;
    area.present()?;
    Ok(())
}

/// Range that holds all values, with some air.
fn range(values: impl Iterator<Item = f64>) -> std::ops::Range<f64> {
    let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
    let air = (0.08 * (high - low)).max(1e-3 * high.abs()).max(1e-6);
    low - air..high + air
}

/// Figure `i` of all samples over `across`, with the sets' lines and the median of the comparison.
fn panel<B: DrawingBackend>(
    d: &Dials,
    i: usize,
    across: &dyn Fn(&Point) -> f64,
    [caption, x_desc, y_desc]: [&str; 3],
    area: &DrawingArea<B, Shift>,
    px: Pixels<'_>,
) -> Drawn
where
    B::ErrorType: 'static,
{
    let text = |size: f64| ("sans-serif", px(size)).into_font().color(&INK);
    let points = || d.sets.iter().flat_map(|s| &s.points);
    let reach = |p: &Point| if p.counted[i].is_finite() { 1.96 * p.counted[i] } else { 0.0 };
    let x = range(points().map(across));
    let y = range(points().flat_map(|p| [-1.0, 1.0].map(|sign| p.figures[i] * (sign * reach(p)).exp())));
    let mut chart = ChartBuilder::on(area)
        .margin(px(10.0))
        .margin_right(px(20.0))
        .caption(caption, text(17.0))
        .x_label_area_size(px(46.0))
        .y_label_area_size(px(66.0))
        .build_cartesian_2d(x.clone(), y.clone())?;
    chart
        .configure_mesh()
        .light_line_style(WHITE.mix(0.0))
        .bold_line_style(PALE)
        .axis_style(INK)
        .x_labels(8)
        .y_labels(6)
        .x_label_formatter(&hundredths)
        .y_label_formatter(&hundredths)
        .x_desc(x_desc)
        .y_desc(y_desc)
        .label_style(text(14.0))
        .axis_desc_style(text(15.0))
        .draw()?;
    reference(&mut chart, d, i, [&x, &y], px)?;
    for (k, set) in d.sets.iter().enumerate() {
        let style = COLOURS[k % COLOURS.len()].stroke_width(px(2.0) as u32);
        let line: Vec<(f64, f64)> = line(set, i).into_iter().filter(|p| x.contains(&p.0) && y.contains(&p.1)).collect();
        if k % 2 == 0 {
            chart.draw_series(LineSeries::new(line, style))?;
        } else {
            chart.draw_series(DashedLineSeries::new(line, px(9.0), px(4.0), style))?;
        }
        for p in &set.points {
            let (at, value) = (across(p), p.figures[i]);
            let ends = [(at, value * (-reach(p)).exp()), (at, value * reach(p).exp())];
            chart.draw_series([PathElement::new(ends, COLOURS[k % COLOURS.len()].stroke_width(px(1.0) as u32))])?;
            let place = chart.backend_coord(&(at, value));
            spot(area, k, place, px)?;
        }
    }
    Ok(())
}

/// The median of the comparison, as a line along the axis that bears medians.
fn reference<B: DrawingBackend>(
    chart: &mut ChartContext<'_, B, Cartesian2d<RangedCoordf64, RangedCoordf64>>,
    d: &Dials,
    i: usize,
    [x, y]: [&std::ops::Range<f64>; 2],
    px: Pixels<'_>,
) -> Drawn
where
    B::ErrorType: 'static,
{
    let m = d.median_um;
    let (ends, at, place) = if i == 1 {
        ([(x.start, m), (x.end, m)], (x.end, m), Pos::new(HPos::Right, VPos::Bottom))
    } else {
        ([(m, y.start), (m, y.end)], (m, y.end), Pos::new(HPos::Left, VPos::Top))
    };
    chart.draw_series(DashedLineSeries::new(ends, px(3.0), px(4.0), INK.stroke_width(px(1.0) as u32)))?;
    let style = ("sans-serif", px(14.0)).into_font().color(&INK).pos(place);
    let label =
        Text::new(format!("{} µm", significant(m, 3)), (px(if i == 1 { -4.0 } else { 4.0 }), px(-2.0).abs()), style);
    chart.draw_series([EmptyElement::at(at) + label])?;
    Ok(())
}

/// The line of figure `i`: over the setting for the median, over the median for the others.
fn line(set: &DialSet, i: usize) -> Vec<(f64, f64)> {
    let (first, last) = (set.points[0].setting, set.points[set.points.len() - 1].setting);
    let settings = (0..=40).map(|s| first + (last - first) * f64::from(s) / 40.0);
    let (Some(median), Some(figure)) = (set.lines[1], set.lines[i]) else { return Vec::new() };
    let at = |line: [f64; 2], setting: f64| (line[0] + line[1] * setting).exp();
    settings.map(|s| (if i == 1 { s } else { at(median, s) }, at(figure, s))).collect()
}

/// A mark of the form of set `k`.
fn spot<B: DrawingBackend>(area: &DrawingArea<B, Shift>, k: usize, at: (i32, i32), px: Pixels<'_>) -> Drawn
where
    B::ErrorType: 'static,
{
    let colour = COLOURS[k % COLOURS.len()];
    let at = (at.0 - area.get_base_pixel().0, at.1 - area.get_base_pixel().1);
    let size = px(5.0);
    match k % 4 {
        0 => area.draw(&Circle::new(at, size, colour.filled()))?,
        1 => {
            area.draw(&Circle::new(at, size, WHITE.filled()))?;
            area.draw(&Circle::new(at, size, colour.stroke_width(px(2.0) as u32)))?;
        }
        2 => area.draw(&TriangleMarker::new(at, size + px(1.0), colour.filled()))?,
        _ => area.draw(&Cross::new(at, size, colour.stroke_width(px(2.0) as u32)))?,
    }
    Ok(())
}

/// Name of set `k` at `at`, with its mark.
fn name<B: DrawingBackend>(area: &DrawingArea<B, Shift>, k: usize, name: &str, at: (i32, i32), px: Pixels<'_>) -> Drawn
where
    B::ErrorType: 'static,
{
    let base = area.get_base_pixel();
    spot(area, k, (at.0 + base.0, at.1 + base.1), px)?;
    let font = ("sans-serif", px(15.0)).into_font().color(&COLOURS[k % COLOURS.len()]);
    area.draw(&Text::new(name.to_owned(), (at.0 + px(14.0), at.1), font.pos(Pos::new(HPos::Left, VPos::Center))))?;
    Ok(())
}
