//! Two samples on one logarithmic axis: cumulative curves, their difference, and the shares by size.

use plotters::coord::Shift;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::ReportError;
use super::axes::axis;
use super::format::{percent, short};
use super::plot::{AnyArea, Drawn, FINES, INK, Kind, Pixels, draw, hundredths, letters, mesh};
use crate::compare::Comparison;

const SIZE: (u32, u32) = (1000, 1080);
/// Narrower, captions with the names of the samples would be cut off.
const WIDE_CAPTIONS: f64 = 800.0;
/// In a lower panel, the long words at its side would run into those of the next.
const LONG_WORDS: f64 = 230.0;
/// Heights of the upper two of the three panels, as shares of the drawing.
const HEIGHTS: [f64; 2] = [0.4, 0.28];
// Base dark and whole, other lighter and dashed: told apart in grey and by those who do not see red or green.
const COLOURS: [RGBColor; 2] = [RGBColor(24, 62, 110), RGBColor(204, 98, 20)];

/// The comparison as one picture of three panels.
///
/// # Errors
/// None in practice: the drawing stays in memory.
pub fn comparison(c: &Comparison, fines_um: f64, kind: Kind) -> Result<Vec<u8>, ReportError> {
    comparison_of_width(c, fines_um, kind, SIZE.0)
}

/// The same, narrower.
///
/// # Errors
/// None in practice: the drawing stays in memory.
pub fn comparison_of_width(c: &Comparison, fines_um: f64, kind: Kind, width: u32) -> Result<Vec<u8>, ReportError> {
    comparison_of_size(c, fines_um, kind, (width, SIZE.1))
}

/// The same of any size.
///
/// # Errors
/// None in practice: the drawing stays in memory.
pub fn comparison_of_size(c: &Comparison, fines_um: f64, kind: Kind, size: (u32, u32)) -> Result<Vec<u8>, ReportError> {
    draw(kind, size, |area, px| match area {
        AnyArea::Svg(a) => panels(c, fines_um, a, px),
        AnyArea::Png(a) => panels(c, fines_um, a, px),
    })
}

fn panels<B: DrawingBackend>(c: &Comparison, fines_um: f64, area: &DrawingArea<B, Shift>, px: Pixels<'_>) -> Drawn
where
    B::ErrorType: 'static,
{
    area.fill(&WHITE)?;
    let height = f64::from(area.dim_in_pixel().1);
    let (upper, rest) = area.split_vertically((HEIGHTS[0] * height) as i32);
    let (middle, lower) = rest.split_vertically((HEIGHTS[1] * height) as i32);
    let shown =
        c.curves.finer_pct[0].iter().zip(&c.curves.finer_pct[1]).position(|(a, b)| a.max(*b) > 0.01).unwrap_or(0);
    let low = c.curves.size_um[shown.saturating_sub(1)].min(0.5 * fines_um);
    let (low, high) = axis(low, c.curves.size_um[c.curves.size_um.len() - 1]);
    cumulative(c, fines_um, (low, high), &upper, px)?;
    difference(c, fines_um, (low, high), &middle, px)?;
    shares(c, fines_um, (low, high), &lower, px)?;
    area.present()?;
    Ok(())
}

type Chart<'a, B> = ChartContext<'a, B, Cartesian2d<LogCoord<f64>, RangedCoordf64>>;

/// A panel with its grid; the fines shaded.
fn panel<'a, B: DrawingBackend>(
    caption: &str,
    [long, short]: [&str; 2],
    fines_um: f64,
    x: (f64, f64),
    y: std::ops::Range<f64>,
    area: &'a DrawingArea<B, Shift>,
    px: Pixels<'_>,
) -> Result<Chart<'a, B>, Box<dyn std::error::Error>>
where
    B::ErrorType: 'static,
{
    let text = |size: f64| ("sans-serif", px(size)).into_font().color(&INK);
    let y_desc = if area.dim_in_pixel().1 as i32 >= px(LONG_WORDS) { long } else { short };
    let mut chart = ChartBuilder::on(area)
        .margin(px(10.0))
        .margin_right(px(20.0))
        .caption(caption, text(17.0))
        .x_label_area_size(px(46.0))
        .y_label_area_size(px(62.0))
        .build_cartesian_2d((x.0..x.1).log_scale(), y.clone())?;
    chart.draw_series([Rectangle::new([(x.0, y.start), (fines_um.clamp(x.0, x.1), y.end)], FINES.filled())])?;
    mesh(&mut chart, y_desc, &hundredths, px)?;
    Ok(chart)
}

/// What the bands are.
fn banded(c: &Comparison) -> String {
    format!("with a band of {} %", percent(c.level))
}

/// A line, whole for the base and dashed for the other.
fn line<B: DrawingBackend>(chart: &mut Chart<'_, B>, side: usize, points: Vec<(f64, f64)>, px: Pixels<'_>) -> Drawn
where
    B::ErrorType: 'static,
{
    let style = COLOURS[side].stroke_width(px(2.0) as u32);
    if side == 0 {
        chart.draw_series(LineSeries::new(points, style))?;
    } else {
        chart.draw_series(DashedLineSeries::new(points, px(9.0), px(4.0), style))?;
    }
    Ok(())
}

/// The area between two lines over the same sizes.
fn band<B: DrawingBackend>(
    chart: &mut Chart<'_, B>,
    colour: RGBColor,
    low: impl Iterator<Item = (f64, f64)>,
    high: impl DoubleEndedIterator<Item = (f64, f64)>,
) -> Drawn
where
    B::ErrorType: 'static,
{
    let outline: Vec<(f64, f64)> = low.chain(high.rev()).collect();
    if outline.len() > 2 {
        chart.draw_series([Polygon::new(outline, colour.mix(0.18))])?;
    }
    Ok(())
}

/// Name of a side at `at`, with a sample of its line.
fn name<B: DrawingBackend>(
    area: &DrawingArea<B, Shift>,
    side: usize,
    name: &str,
    at: (i32, i32),
    px: Pixels<'_>,
) -> Drawn
where
    B::ErrorType: 'static,
{
    let style = COLOURS[side].stroke_width(px(2.5) as u32);
    let ends = |a: f64, b: f64| PathElement::new([(at.0 + px(a), at.1), (at.0 + px(b), at.1)], style);
    if side == 0 {
        area.draw(&ends(0.0, 36.0))?;
    } else {
        area.draw(&ends(0.0, 14.0))?;
        area.draw(&ends(22.0, 36.0))?;
    }
    let font = ("sans-serif", px(15.0)).into_font().color(&COLOURS[side]);
    area.draw(&Text::new(name.to_owned(), (at.0 + px(44.0), at.1), font.pos(Pos::new(HPos::Left, VPos::Center))))?;
    Ok(())
}

fn cumulative<B: DrawingBackend>(
    c: &Comparison,
    fines_um: f64,
    x: (f64, f64),
    area: &DrawingArea<B, Shift>,
    px: Pixels<'_>,
) -> Drawn
where
    B::ErrorType: 'static,
{
    let curves = &c.curves;
    let caption = format!("Finer by mass, {}", banded(c));
    let mut chart = panel(&caption, ["finer, % of the mass", "finer, %"], fines_um, x, 0.0..100.0, area, px)?;
    let inside = |um: f64| (x.0..=x.1).contains(&um);
    for (side, colour) in COLOURS.into_iter().enumerate() {
        let known: Vec<(f64, f64, f64)> = (0..curves.size_um.len())
            .filter(|&i| inside(curves.size_um[i]))
            .filter_map(|i| Some((curves.size_um[i], curves.finer_pct[side][i], curves.finer_half_pct[side][i]?)))
            .collect();
        band(
            &mut chart,
            colour,
            known.iter().map(|k| (k.0, (k.1 - k.2).max(0.0))),
            known.iter().map(|k| (k.0, (k.1 + k.2).min(100.0))),
        )?;
    }
    for side in 0..2 {
        let points = curves.size_um.iter().copied().zip(curves.finer_pct[side].iter().copied());
        line(&mut chart, side, points.filter(|p| inside(p.0)).collect(), px)?;
        // The curves rise in the right half.
        let told = short(&c.sides[side].name, letters(area, 14.0, px) / 2);
        name(area, side, &told, (px(100.0), px(62.0 + 24.0 * side as f64)), px)?;
    }
    Ok(())
}

fn difference<B: DrawingBackend>(
    c: &Comparison,
    fines_um: f64,
    x: (f64, f64),
    area: &DrawingArea<B, Shift>,
    px: Pixels<'_>,
) -> Drawn
where
    B::ErrorType: 'static,
{
    let curves = &c.curves;
    let inside = |um: f64| (x.0..=x.1).contains(&um);
    let known: Vec<(f64, f64, f64)> = (0..curves.size_um.len())
        .filter(|&i| inside(curves.size_um[i]))
        .filter_map(|i| Some((curves.size_um[i], curves.difference_pct[i], curves.difference_half_pct[i]?)))
        .collect();
    let reach = known.iter().map(|k| k.1.abs() + k.2).fold(1.0, f64::max) * 1.05;
    let caption = if area.dim_in_pixel().0 as i32 >= px(WIDE_CAPTIONS) {
        let [base, other] = [&c.sides[0].name, &c.sides[1].name];
        format!("{other} less {base}, {} for the whole curve but its outermost 1 %", banded(c))
    } else {
        format!("Difference, {}", banded(c))
    };
    let caption = short(&caption, letters(area, 17.0, px));
    let mut chart = panel(&caption, ["difference, % of the mass", "differs, %"], fines_um, x, -reach..reach, area, px)?;
    band(&mut chart, INK, known.iter().map(|k| (k.0, k.1 - k.2)), known.iter().map(|k| (k.0, k.1 + k.2)))?;
    chart.draw_series(LineSeries::new([(x.0, 0.0), (x.1, 0.0)], INK.stroke_width(px(1.0) as u32)))?;
    let points = curves.size_um.iter().copied().zip(curves.difference_pct.iter().copied()).filter(|p| inside(p.0));
    chart.draw_series(LineSeries::new(points, INK.stroke_width(px(2.0) as u32)))?;
    Ok(())
}

fn shares<B: DrawingBackend>(
    c: &Comparison,
    fines_um: f64,
    x: (f64, f64),
    area: &DrawingArea<B, Shift>,
    px: Pixels<'_>,
) -> Drawn
where
    B::ErrorType: 'static,
{
    let curves = &c.curves;
    let middle = |i: usize| (curves.class_um[i] * curves.class_um[i + 1]).sqrt();
    let classes: Vec<usize> = (0..curves.class_um.len() - 1).filter(|&i| (x.0..=x.1).contains(&middle(i))).collect();
    let highest = |side: usize| {
        let of = |&i: &usize| curves.share_pct[side][i] + curves.share_half_pct[side][i];
        classes.iter().map(of).fold(0.0, f64::max)
    };
    // A band that rests on a particle or two must not set the height.
    let most = curves.share_pct.iter().flatten().copied().fold(1.0, f64::max);
    let top = highest(0).max(highest(1)).min(1.6 * most) * 1.05;
    let caption = format!("Share by size, {}", banded(c));
    let mut chart = panel(&caption, ["% of the mass in each class", "in class, %"], fines_um, x, 0.0..top, area, px)?;
    for (side, colour) in COLOURS.into_iter().enumerate() {
        let at = |i: usize, sign: f64| {
            (middle(i), (curves.share_pct[side][i] + sign * curves.share_half_pct[side][i]).clamp(0.0, top))
        };
        band(&mut chart, colour, classes.iter().map(|&i| at(i, -1.0)), classes.iter().map(|&i| at(i, 1.0)))?;
    }
    for side in 0..2 {
        let points = classes.iter().map(|&i| (middle(i), curves.share_pct[side][i])).collect();
        line(&mut chart, side, points, px)?;
    }
    Ok(())
}
