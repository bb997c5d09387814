//! A figure over the kilograms, one set of burrs beside the other; and time over the share of fines.

use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::super::ReportError;
use super::super::plot::{AnyArea, Drawn, INK, Kind, PALE, Pixels, draw};
use crate::numeric::normal_quantile;
use crate::study::wear::{Shape, Trend};

/// Half a page: shown smaller than they are drawn, letters are hard to read.
const SIZE: (u32, u32) = (560, 330);
/// Dark and light in turn, and filled and hollow dots: told apart in grey as well.
pub(super) const COLOURS: [RGBColor; 4] =
    [RGBColor(24, 62, 110), RGBColor(204, 98, 20), RGBColor(0, 110, 80), RGBColor(120, 50, 120)];

/// One line of the picture.
pub(super) struct Line<'a> {
    pub name: String,
    pub trend: &'a Trend,
}

/// Trends of one figure as an SVG.
pub(super) fn wear(caption: &str, y_desc: &str, lines: &[Line<'_>]) -> Result<String, ReportError> {
    let svg = draw(Kind::Svg, SIZE, |area, px| match area {
        AnyArea::Svg(a) => wear_on(caption, y_desc, lines, a, px),
        AnyArea::Png(a) => wear_on(caption, y_desc, lines, a, px),
    })?;
    String::from_utf8(svg).map_err(|e| ReportError::Draw(e.to_string()))
}

fn wear_on<B: DrawingBackend>(
    caption: &str,
    y_desc: &str,
    lines: &[Line<'_>],
    area: &DrawingArea<B, Shift>,
    px: Pixels<'_>,
) -> Drawn
where
    B::ErrorType: 'static,
{
    let reach = normal_quantile(0.975);
    // What a sample's own photos and the scatter between samples leave open, as a factor.
    let bar = |t: &Trend, variance: f64| reach * (variance + t.added_deviation.powi(2)).sqrt();
    let ends = lines.iter().flat_map(|l| {
        l.trend.points.iter().flat_map(|p| {
            let half = bar(l.trend, p.variance);
            [p.value - half, p.value + half]
        })
    });
    let (low, high) = ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
    let (low, high) = (low.exp(), high.exp());
    let room = 0.06 * (high - low);
    let kg = lines.iter().flat_map(|l| &l.trend.points).map(|p| p.kg).fold(0.0, f64::max);
    let first = lines.iter().map(|l| l.trend.points[0].kg).fold(kg, f64::min);
    let data: Vec<Vec<(f64, f64, f64, f64)>> = lines
        .iter()
        .map(|l| {
            let point = |p: &crate::study::wear::Point| {
                let half = bar(l.trend, p.variance);
                (p.kg, p.value.exp(), (p.value - half).exp(), (p.value + half).exp())
            };
            l.trend.points.iter().map(point).collect()
        })
        .collect();
    let mut chart = frame(
        caption,
        ("ground by this set of burrs, kg", y_desc),
        (first - 0.02 * (kg - first), kg + 0.03 * (kg - first)),
        (low - room, high + room),
        area,
        px,
    )?;
    for (i, line) in lines.iter().enumerate() {
        let colour = COLOURS[i % COLOURS.len()];
        let curve = line.trend.curve();
        let steps = |k: i32| curve.first_kg + curve.range_kg * f64::from(k) / 120.0;
        let points: Vec<(f64, f64)> = (0..=120).map(steps).map(|x| (x, curve.at(x).exp())).collect();
        if line.trend.shape() == Shape::NoChange {
            let style = colour.stroke_width(px(1.5) as u32);
            chart.draw_series(DashedLineSeries::new(points, px(7.0), px(5.0), style))?;
        } else {
            chart.draw_series(LineSeries::new(points, colour.stroke_width(px(2.0) as u32)))?;
        }
        for &(x, y, low, high) in &data[i] {
            chart.draw_series([PathElement::new([(x, low), (x, high)], colour.stroke_width(px(1.0) as u32))])?;
            chart.draw_series([Circle::new((x, y), px(5.0), WHITE.filled())])?;
            let style = dot(i, colour, px);
            chart.draw_series([Circle::new((x, y), px(4.5), style)])?;
        }
        name(area, &line.name, i, px)?;
    }
    area.present()?;
    Ok(())
}

fn name<B: DrawingBackend>(area: &DrawingArea<B, Shift>, name: &str, i: usize, px: Pixels<'_>) -> Drawn
where
    B::ErrorType: 'static,
{
    let colour = COLOURS[i % COLOURS.len()];
    let at = (px(74.0 + 150.0 * i as f64), px(12.0));
    let style = dot(i, colour, px);
    area.draw(&Circle::new(at, px(4.5), style))?;
    let font = ("sans-serif", px(14.0)).into_font().color(&colour).pos(Pos::new(HPos::Left, VPos::Center));
    area.draw(&Text::new(name.to_owned(), (at.0 + px(10.0), at.1), font))?;
    Ok(())
}

/// Filled and hollow in turn.
fn dot(i: usize, colour: RGBColor, px: Pixels<'_>) -> ShapeStyle {
    if i.is_multiple_of(2) { colour.filled() } else { colour.stroke_width(px(2.0) as u32) }
}

type Plain<'a, B> =
    ChartContext<'a, B, Cartesian2d<plotters::coord::types::RangedCoordf64, plotters::coord::types::RangedCoordf64>>;

fn frame<'a, B: DrawingBackend>(
    caption: &str,
    (x_desc, y_desc): (&str, &str),
    x: (f64, f64),
    y: (f64, f64),
    area: &'a DrawingArea<B, Shift>,
    px: Pixels<'_>,
) -> Result<Plain<'a, B>, Box<dyn std::error::Error>>
where
    B::ErrorType: 'static,
{
    area.fill(&WHITE)?;
    let text = |size: f64| ("sans-serif", px(size)).into_font().color(&INK);
    let mut chart = ChartBuilder::on(area)
        .margin(px(8.0))
        // Above the caption stand the names of the sets.
        .margin_top(px(22.0))
        .margin_right(px(24.0))
        .caption(caption, text(17.0))
        .x_label_area_size(px(44.0))
        .y_label_area_size(px(66.0))
        .build_cartesian_2d(x.0..x.1, y.0..y.1)?;
    let label = |v: &f64| format!("{}", (1e3 * v).round() / 1e3);
    chart
        .configure_mesh()
        .light_line_style(WHITE.mix(0.0))
        .bold_line_style(PALE)
        .axis_style(INK)
        .x_labels(10)
        .y_labels(6)
        .x_label_formatter(&label)
        .y_label_formatter(&label)
        .x_desc(x_desc)
        .y_desc(y_desc)
        .label_style(text(14.0))
        .axis_desc_style(text(15.0))
        .draw()?;
    Ok(chart)
}

/// Points (x, y) as an SVG.
pub(super) fn scatter(caption: &str, desc: (&str, &str), points: &[(f64, f64)]) -> Result<String, ReportError> {
    let svg = draw(Kind::Svg, SIZE, |area, px| match area {
        AnyArea::Svg(a) => scatter_on(caption, desc, points, a, px),
        AnyArea::Png(a) => scatter_on(caption, desc, points, a, px),
    })?;
    String::from_utf8(svg).map_err(|e| ReportError::Draw(e.to_string()))
}

fn scatter_on<B: DrawingBackend>(
    caption: &str,
    desc: (&str, &str),
    points: &[(f64, f64)],
    area: &DrawingArea<B, Shift>,
    px: Pixels<'_>,
) -> Drawn
where
    B::ErrorType: 'static,
{
    let span = |of: fn(&(f64, f64)) -> f64| {
        let (low, high) =
            points.iter().map(of).fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
        let room = (0.08 * (high - low)).max(0.02 * high);
        (low - room, high + room)
    };
    let mut chart = frame(caption, desc, span(|p| p.0), span(|p| p.1), area, px)?;
    chart.draw_series(points.iter().map(|p| Circle::new(*p, px(4.5), COLOURS[0].filled())))?;
    area.present()?;
    Ok(())
}
