//! Weighed and predicted sieve layers as a picture.

use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::ReportError;
use super::plot::{AnyArea, Drawn, INK, Kind, PALE, Pixels, draw};
use super::sieve::Sieved;

const SIZE: (u32, u32) = (1000, 560);
const WEIGHED: RGBColor = RGBColor(24, 62, 110);
const PHOTO: RGBColor = RGBColor(204, 98, 20);

/// Weighed and predicted shares side by side.
///
/// # Errors
/// None in practice: the drawing stays in memory.
pub fn plot(s: &Sieved, kind: Kind) -> Result<Vec<u8>, ReportError> {
    plot_of_size(s, kind, SIZE)
}

/// The same in another size.
///
/// # Errors
/// None in practice: the drawing stays in memory.
pub fn plot_of_size(s: &Sieved, kind: Kind, size: (u32, u32)) -> Result<Vec<u8>, ReportError> {
    draw(kind, size, |area, px| match area {
        AnyArea::Svg(a) => bars(s, a, px),
        AnyArea::Png(a) => bars(s, a, px),
    })
}

fn bars<B: DrawingBackend>(s: &Sieved, area: &DrawingArea<B, Shift>, px: Pixels<'_>) -> Drawn
where
    B::ErrorType: 'static,
{
    area.fill(&WHITE)?;
    let text = |size: f64| ("sans-serif", px(size)).into_font().color(&INK);
    let layers = s.stack.mass_g.len();
    let highest =
        s.stack.share.iter().map(|w| w.high_pct).chain(s.predicted.iter().map(|p| p.high)).fold(1.0, f64::max);
    let top = 1.18 * highest;
    // Where the whole caption would be cut off, the name alone stands.
    let is_wide = area.dim_in_pixel().0 as i32 >= px(800.0);
    let caption =
        if is_wide { format!("{}: sieve layers, weighed and from the photo", s.name) } else { s.name.clone() };
    let mut chart = ChartBuilder::on(area)
        .margin(px(14.0))
        .caption(caption, text(18.0))
        .x_label_area_size(px(40.0))
        .y_label_area_size(px(62.0))
        .build_cartesian_2d(0.0..layers as f64, 0.0..top)?;
    chart
        .configure_mesh()
        .disable_x_mesh()
        .x_labels(0)
        .light_line_style(WHITE.mix(0.0))
        .bold_line_style(PALE)
        .axis_style(INK)
        .y_labels(6)
        .y_label_formatter(&|v| format!("{v:.0}"))
        .y_desc("% of the mass")
        .label_style(text(14.0))
        .axis_desc_style(text(15.0))
        .draw()?;
    let centred = |size: f64| text(size).pos(Pos::new(HPos::Center, VPos::Top));
    for i in 0..layers {
        let x = i as f64;
        let weighed = s.stack.share[i];
        let photo = &s.predicted[i];
        // Whole bars and open ones: told apart in grey as well.
        chart.draw_series([Rectangle::new([(x + 0.14, 0.0), (x + 0.48, weighed.pct)], WEIGHED.filled())])?;
        chart.draw_series([Rectangle::new([(x + 0.52, 0.0), (x + 0.86, photo.value)], PHOTO.mix(0.25).filled())])?;
        chart.draw_series([Rectangle::new(
            [(x + 0.52, 0.0), (x + 0.86, photo.value)],
            PHOTO.stroke_width(px(2.0) as u32),
        )])?;
        for (at, low, high) in [(x + 0.31, weighed.low_pct, weighed.high_pct), (x + 0.69, photo.low, photo.high)] {
            chart.draw_series([PathElement::new([(at, low), (at, high)], INK.stroke_width(px(2.0) as u32))])?;
        }
        let (left, bottom) = chart.backend_coord(&(x + 0.5, 0.0));
        area.draw(&Text::new(s.layer(i), (left, bottom + px(8.0)), centred(15.0)))?;
    }
    for (i, (name, filled)) in [("weighed", true), ("predicted from the photo", false)].into_iter().enumerate() {
        let at = (px(100.0 + 130.0 * i as f64), px(62.0));
        let corner = (at.0 + px(18.0), at.1 + px(14.0));
        if filled {
            area.draw(&Rectangle::new([at, corner], WEIGHED.filled()))?;
        } else {
            area.draw(&Rectangle::new([at, corner], PHOTO.mix(0.25).filled()))?;
            area.draw(&Rectangle::new([at, corner], PHOTO.stroke_width(px(2.0) as u32)))?;
        }
        area.draw(&Text::new(name, (at.0 + px(26.0), at.1), text(15.0)))?;
    }
    area.present()?;
    Ok(())
}
