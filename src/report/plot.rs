//! Histogram on a logarithmic axis with the cumulative curve.

use std::path::Path;
use std::sync::Arc;

use plotters::coord::Shift;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::axes::{Axes, axis, tick};
use super::format::short;
use super::{ReportError, drawn, font};
use crate::pipeline::Measurement;

/// Size of the plots, of a page's width. Letters are as large whatever the size: shown smaller than it is drawn, a plot
/// is hard to read.
pub const WIDE: (u32, u32) = (1000, 600);
/// Size for half a page.
pub const HALF: (u32, u32) = (640, 440);
/// Size for the screen of a phone.
pub const NARROW: (u32, u32) = (420, 420);
/// The PNG is drawn at twice the size of the SVG, so that it stays sharp in a report.
const PNG_SCALE: u32 = 2;

// Dark enough against each other and against white to be told apart in grey.
const BARS: RGBColor = RGBColor(176, 138, 102);
const LINE: RGBColor = RGBColor(24, 62, 110);
pub(super) const FINES: RGBColor = RGBColor(226, 234, 244);
pub(super) const INK: RGBColor = RGBColor(40, 40, 40);
pub(super) const PALE: RGBColor = RGBColor(225, 225, 225);
/// Length of a label such as "fines < 100 µm: 3.1 %", of the 1000 × 600 drawing.
const LABEL: f64 = 155.0;

/// Kind of picture, from the file's name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Scalable, with text as text.
    Svg,
    /// Pixels.
    Png,
}

impl Kind {
    /// Kind for `path`.
    ///
    /// # Errors
    /// Any ending but `.svg` and `.png`.
    pub fn of(path: &Path) -> Result<Self, ReportError> {
        match path.extension().map(|e| e.to_string_lossy().to_lowercase()).as_deref() {
            Some("svg") => Ok(Kind::Svg),
            Some("png") => Ok(Kind::Png),
            _ => Err(ReportError::Kind { path: path.display().to_string(), wanted: "a plot is .svg or .png" }),
        }
    }
}

/// One sample's plot.
///
/// # Errors
/// None in practice: the drawing stays in memory.
pub fn distribution(m: &Measurement, title: &str, kind: Kind) -> Result<Vec<u8>, ReportError> {
    distribution_of_size(m, title, kind, WIDE)
}

/// The same, as large as [`WIDE`], [`HALF`] or [`NARROW`] says.
///
/// # Errors
/// None in practice: the drawing stays in memory.
pub fn distribution_of_size(
    m: &Measurement,
    title: &str,
    kind: Kind,
    size: (u32, u32),
) -> Result<Vec<u8>, ReportError> {
    distribution_beside(m, &[], title, kind, size)
}

/// The same on axes that hold the plots of the samples `beside` it, too.
///
/// # Errors
/// None in practice: the drawing stays in memory.
pub fn distribution_beside(
    m: &Measurement,
    beside: &[Arc<Measurement>],
    title: &str,
    kind: Kind,
    size: (u32, u32),
) -> Result<Vec<u8>, ReportError> {
    let axes = beside.iter().map(|b| Axes::of(b)).fold(Axes::of(m), Axes::join);
    draw(kind, size, |area, scale| distribution_on(m, &axes, title, area, scale))
}

/// Cumulative curves of all samples of a folder on one axis, as large as [`WIDE`] or [`NARROW`] says.
///
/// # Errors
/// None in practice: the drawing stays in memory.
pub fn overview(samples: &[(String, Measurement)], kind: Kind, size: (u32, u32)) -> Result<Vec<u8>, ReportError> {
    draw(kind, size, |area, scale| overview_on(samples, area, scale))
}

pub(super) type Drawn = Result<(), Box<dyn std::error::Error>>;
/// Pixels of the picture for a length of the 1000 × 600 drawing.
pub(super) type Pixels<'a> = &'a dyn Fn(f64) -> i32;

pub(super) fn draw(
    kind: Kind,
    size: (u32, u32),
    on: impl Fn(AnyArea<'_, '_>, Pixels<'_>) -> Drawn,
) -> Result<Vec<u8>, ReportError> {
    font::register();
    let failed = |e: &dyn std::fmt::Display| ReportError::Draw(e.to_string());
    match kind {
        Kind::Svg => {
            let mut text = String::new();
            on(AnyArea::Svg(&SVGBackend::with_string(&mut text, size).into_drawing_area()), &|v| v as i32)
                .map_err(|e| failed(&e))?;
            // A name may hold what XML cannot.
            Ok(text.replace(|c: char| c.is_control() && c != '\n', "\u{fffd}").into_bytes())
        }
        Kind::Png => {
            let (w, h) = (size.0 * PNG_SCALE, size.1 * PNG_SCALE);
            let mut pixels = vec![255u8; (w * h * 3) as usize];
            on(AnyArea::Png(&BitMapBackend::with_buffer(&mut pixels, (w, h)).into_drawing_area()), &|v| {
                (v * f64::from(PNG_SCALE)) as i32
            })
            .map_err(|e| failed(&e))?;
            drawn::png([w, h], &pixels)
        }
    }
}

pub(super) enum AnyArea<'a, 'b> {
    Svg(&'a DrawingArea<SVGBackend<'b>, Shift>),
    Png(&'a DrawingArea<BitMapBackend<'b>, Shift>),
}

fn distribution_on(m: &Measurement, axes: &Axes, title: &str, area: AnyArea<'_, '_>, px: Pixels<'_>) -> Drawn {
    match area {
        AnyArea::Svg(a) => distribution_in(m, axes, title, a, px),
        AnyArea::Png(a) => distribution_in(m, axes, title, a, px),
    }
}

fn overview_on(samples: &[(String, Measurement)], area: AnyArea<'_, '_>, px: Pixels<'_>) -> Drawn {
    match area {
        AnyArea::Svg(a) => overview_in(samples, a, px),
        AnyArea::Png(a) => overview_in(samples, a, px),
    }
}

fn distribution_in<B: DrawingBackend>(
    m: &Measurement,
    &Axes { low, high, top }: &Axes,
    title: &str,
    area: &DrawingArea<B, Shift>,
    px: Pixels<'_>,
) -> Drawn
where
    B::ErrorType: 'static,
{
    let curve = &m.curve;
    area.fill(&WHITE)?;
    let text = |size: f64, colour: &RGBColor| ("sans-serif", px(size)).into_font().color(colour);
    let mut chart = ChartBuilder::on(area)
        .margin(px(14.0))
        .margin_right(px(6.0))
        .caption(short(title, letters(area, 19.0, px)), text(19.0, &INK))
        .x_label_area_size(px(52.0))
        .y_label_area_size(px(62.0))
        .right_y_label_area_size(px(62.0))
        .build_cartesian_2d((low..high).log_scale(), 0.0..top)?
        .set_secondary_coord((low..high).log_scale(), 0.0..100.0);
    chart.draw_series([Rectangle::new([(low, 0.0), (m.fines_um, top)], FINES.filled())])?;
    mesh(&mut chart, "share of the mass in each class, %", &whole, px)?;
    chart
        .configure_secondary_axes()
        .axis_style(LINE)
        .y_labels(6)
        .y_label_formatter(&|v| format!("{v:.0}"))
        .y_desc("finer, % of the mass (line)")
        .label_style(text(14.0, &LINE))
        .axis_desc_style(text(15.0, &LINE))
        .draw()?;
    chart.draw_series(curve.share_pct.iter().enumerate().map(|(i, &share)| {
        let (a, b) = (curve.limits_um[i], curve.limits_um[i + 1]);
        Rectangle::new([((a * 1.004).max(low), 0.0), ((b / 1.004).max(low), share)], BARS.filled())
    }))?;
    let points: Vec<(f64, f64)> = line(m).into_iter().filter(|p| p.0 >= low).collect();
    chart.draw_secondary_series(LineSeries::new(points, LINE.stroke_width(px(2.5) as u32)))?;
    for (name, size, at) in [("D10", 0, 10.0), ("D50", 1, 50.0), ("D90", 2, 90.0)] {
        let d = m.by_mass[size].value;
        let label = format!("{name} {} µm", super::format::value(&m.by_mass[size]));
        chart.draw_secondary_series([Circle::new((d, at), px(4.5), LINE.filled())])?;
        // White behind the letters, where a bar or the grid is.
        let halo = [(-1.5, 0.0), (1.5, 0.0), (0.0, -1.5), (0.0, 1.5)].map(|by| (by, &WHITE));
        for ((dx, dy), colour) in halo.into_iter().chain([((0.0, 0.0), &LINE)]) {
            let style = text(15.0, colour).pos(Pos::new(HPos::Right, VPos::Bottom));
            let shifted = Text::new(label.clone(), (px(dx), px(dy)), style);
            chart.draw_secondary_series([EmptyElement::at((d / 1.03, at + 1.5)) + shifted])?;
        }
    }
    let width = f64::from(area.dim_in_pixel().0 as i32 - px(2.0 * (62.0 + 10.0)));
    let from_left = |um: f64| width * (um / low).ln() / (high / low).ln();
    // On a narrow plot the labels of the limits reach to that of D90, and stand below it.
    let heights = if area.dim_in_pixel().0 < 500 * px(1.0) as u32 { [0.88, 0.8] } else { [0.985, 0.93] };
    let fines = format!("fines < {:.0} µm: {} %", m.fines_um, super::format::value(&m.by_mass[4]));
    // Within the shade where it has room, else beside it.
    let side = if from_left(m.fines_um) > f64::from(px(LABEL)) { HPos::Right } else { HPos::Left };
    let beside = if matches!(side, HPos::Right) { m.fines_um / 1.02 } else { m.fines_um * 1.02 };
    chart.draw_series([Text::new(
        fines,
        (beside, top * heights[0]),
        text(14.0, &INK).pos(Pos::new(side, VPos::Top)),
    )])?;
    if m.smallest_ecd_um > low && m.smallest_ecd_um < high {
        let limit = m.smallest_ecd_um;
        chart.draw_series(DashedLineSeries::new(
            [(limit, 0.0), (limit, top * heights[1])],
            px(6.0),
            px(4.0),
            INK.stroke_width(px(1.0) as u32),
        ))?;
        // Beside its line, and not across the edge of the shade.
        let (at, edge, long) = (from_left(limit), from_left(m.fines_um), f64::from(px(LABEL)));
        let crosses = at < edge && edge < at + long;
        let side = if crosses && at > long { HPos::Right } else { HPos::Left };
        let beside = if matches!(side, HPos::Right) { limit / 1.015 } else { limit * 1.015 };
        chart.draw_series([Text::new(
            format!("reliable from {} µm", super::format::significant(limit, 2)),
            (beside, top * heights[1]),
            text(14.0, &INK).pos(Pos::new(side, VPos::Top)),
        )])?;
    }
    area.present()?;
    Ok(())
}

fn overview_in<B: DrawingBackend>(
    samples: &[(String, Measurement)],
    area: &DrawingArea<B, Shift>,
    px: Pixels<'_>,
) -> Drawn
where
    B::ErrorType: 'static,
{
    const COLOURS: [RGBColor; 6] = [
        RGBColor(0, 90, 160),
        RGBColor(200, 90, 0),
        RGBColor(0, 130, 100),
        RGBColor(150, 60, 130),
        RGBColor(90, 90, 90),
        RGBColor(140, 20, 30),
    ];
    area.fill(&WHITE)?;
    let ends = samples.iter().flat_map(|(_, m)| [m.curve.limits_um[0], m.curve.limits_um[m.curve.limits_um.len() - 1]]);
    let (low, high) = ends.fold((f64::INFINITY, 0.0f64), |(a, b), v| (a.min(v), b.max(v)));
    let (low, high) = axis(low, high);
    let text = |size: f64, colour: &RGBColor| ("sans-serif", px(size)).into_font().color(colour);
    let mut chart = ChartBuilder::on(area)
        .margin(px(14.0))
        .caption("Finer by mass", text(19.0, &INK))
        .x_label_area_size(px(52.0))
        .y_label_area_size(px(62.0))
        .build_cartesian_2d((low..high).log_scale(), 0.0..100.0)?;
    mesh(&mut chart, "finer, % of the mass", &whole, px)?;
    for (i, (name, m)) in samples.iter().enumerate() {
        let colour = COLOURS[i % COLOURS.len()];
        let points = line(m);
        // Colours come round after six; width and dashes then tell the lines apart, in grey as well.
        let style = colour.stroke_width(px(2.0) as u32);
        let legend = move |(x, y): (i32, i32)| PathElement::new([(x, y), (x + 18, y)], colour.stroke_width(2));
        if i % 2 == 0 {
            chart.draw_series(LineSeries::new(points, style))?.label(name).legend(legend);
        } else {
            chart
                .draw_series(DashedLineSeries::new(points, px(3.0 + 2.0 * (i % 5) as f64), px(3.0), style))?
                .label(name)
                .legend(legend);
        }
    }
    if samples.len() <= 24 {
        chart
            .configure_series_labels()
            .position(SeriesLabelPosition::UpperLeft)
            .background_style(WHITE.mix(0.85))
            .border_style(PALE)
            .label_font(text(14.0, &INK))
            .draw()?;
    }
    area.present()?;
    Ok(())
}

/// Grid, ticks and captions of the two axes that every plot shares.
pub(super) fn mesh<B: DrawingBackend>(
    chart: &mut ChartContext<'_, B, Cartesian2d<LogCoord<f64>, RangedCoordf64>>,
    y_desc: &str,
    y_label: &dyn Fn(&f64) -> String,
    px: Pixels<'_>,
) -> Drawn
where
    B::ErrorType: 'static,
{
    let text = |size: f64| ("sans-serif", px(size)).into_font().color(&INK);
    // The library gives each power of ten twice, as the end of one decade and the start of the next.
    let last = std::cell::Cell::new(f64::NAN);
    let once = |v: &f64| if last.replace(*v) == *v { String::new() } else { tick(*v) };
    chart
        .configure_mesh()
        .light_line_style(WHITE.mix(0.0))
        .bold_line_style(PALE)
        .axis_style(INK)
        .x_labels(30)
        .x_label_formatter(&once)
        .y_labels(6)
        .y_label_formatter(&y_label)
        .x_desc("equivalent circular diameter, µm")
        .y_desc(y_desc)
        .label_style(text(14.0))
        .axis_desc_style(text(15.0))
        .draw()?;
    Ok(())
}

/// So many letters of this size stand side by side: half as wide as high, on the whole.
pub(super) fn letters<B: DrawingBackend>(area: &DrawingArea<B, Shift>, size: f64, px: Pixels<'_>) -> usize {
    (f64::from(area.dim_in_pixel().0) / (0.52 * f64::from(px(size)))) as usize
}

/// A label without decimals.
fn whole(v: &f64) -> String {
    format!("{v:.0}")
}

/// A label with the decimals that it needs, two at most.
pub(super) fn hundredths(v: &f64) -> String {
    if v.abs() < 1e-9 { "0".to_owned() } else { format!("{}", (v * 100.0).round() / 100.0) }
}

/// The cumulative curve as points (µm, % finer).
fn line(m: &Measurement) -> Vec<(f64, f64)> {
    m.cumulative.limits_um.iter().copied().zip(m.cumulative.finer_pct.iter().copied()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn other_kinds_of_file_are_refused() {
        assert_eq!(Kind::of(Path::new("a.SVG")).unwrap(), Kind::Svg);
        assert!(Kind::of(Path::new("a.jpg")).is_err());
        assert!(Kind::of(Path::new("svg")).is_err());
    }
}
