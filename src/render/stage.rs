//! Where things lie: the sheet, the disc, the card, the thumb, and so where particles may go. Flat
//! pixels, which without a view are those of the picture.

use super::outline::{Point, bounds};
use super::plate::Plate;
use super::spec::SceneSpec;
use super::view::Projection;

/// Particles keep this far from the edge of the sheet.
const SHEET_MARGIN_MM: f64 = 2.0;
/// Usual width of a thumb.
const THUMB_WIDTH_MM: f64 = 19.0;
/// Near things look larger under a view, and so must the margin beyond the frame be.
const BEYOND_UNDER_VIEW: f64 = 2.5;
/// A raised edge hides the paper behind it so many times its height.
const HIDDEN_BY_HEIGHT: f64 = 3.0;
/// Points for which the edge of the frame is looked up on the paper, for each side.
const FRAME_POINTS: u32 = 64;

pub(super) struct Stage {
    pub width: f64,
    pub height: f64,
    pub px_per_mm: f64,
    pub sheet: Option<Sheet>,
    pub disc: Option<Plate>,
    pub card: Option<Plate>,
    /// In the picture, also under a view.
    pub thumb: Option<Thumb>,
    pub projection: Projection,
    /// Paper goes on so far beyond the frame, so that the frame cuts particles as it should.
    pub beyond: f64,
    /// Low and high corner of the box for the particles' centres.
    spread: Option<(Point, Point)>,
    gap: f64,
}

/// A rotated rectangle.
pub(super) struct Sheet {
    centre: [f64; 2],
    half: [f64; 2],
    sin: f64,
    cos: f64,
}

impl Sheet {
    /// Distance to the sheet's edge, negative inside.
    pub(super) fn distance(&self, x: f64, y: f64) -> f64 {
        let (dx, dy) = (x - self.centre[0], y - self.centre[1]);
        let u = (dx * self.cos + dy * self.sin).abs() - self.half[0];
        let v = (dy * self.cos - dx * self.sin).abs() - self.half[1];
        u.max(0.0).hypot(v.max(0.0)) + u.max(v).min(0.0)
    }
}

/// A capsule from below the frame up to its rounded tip.
pub(super) struct Thumb {
    pub tip: [f64; 2],
    /// Unit vector from the tip down the thumb.
    pub down: [f64; 2],
    pub radius: f64,
}

impl Thumb {
    /// Distance to the thumb's axis.
    pub(super) fn axis_distance(&self, x: f64, y: f64) -> f64 {
        let (dx, dy) = self.way_from_axis(x, y);
        dx.hypot(dy)
    }

    /// The way from the nearest point of the axis.
    pub(super) fn way_from_axis(&self, x: f64, y: f64) -> (f64, f64) {
        let (dx, dy) = (x - self.tip[0], y - self.tip[1]);
        let along = (dx * self.down[0] + dy * self.down[1]).max(0.0);
        (dx - along * self.down[0], dy - along * self.down[1])
    }
}

impl Stage {
    pub(super) fn new(spec: &SceneSpec, beyond: f64) -> Self {
        let (width, height) = (f64::from(spec.width_px), f64::from(spec.height_px));
        let px_per_mm = 1000.0 / spec.um_per_px;
        let sheet = spec.surround.as_ref().map(|s| {
            let (sin, cos) = s.rotation_deg.to_radians().sin_cos();
            Sheet {
                centre: [0.5 * (s.left + s.right) * width, 0.5 * (s.top + s.bottom) * height],
                half: [0.5 * (s.right - s.left) * width, 0.5 * (s.bottom - s.top) * height],
                sin,
                cos,
            }
        });
        let projection = Projection::new(spec);
        let disc = spec.reference.as_ref().map(|d| Plate::disc(d, width, height, px_per_mm));
        let card = spec.card.as_ref().map(|c| Plate::card(c, projection.mm_to_flat(c.centre_mm), px_per_mm));
        let spread =
            spec.spread_mm.map(|[x0, y0, x1, y1]| (projection.mm_to_flat([x0, y0]), projection.mm_to_flat([x1, y1])));
        let thumb = spec.thumb.then(|| {
            let span = (THUMB_WIDTH_MM * px_per_mm).clamp(0.08 * width, 0.2 * width);
            let radius = 0.5 * span;
            let (sin, cos) = 12.0_f64.to_radians().sin_cos();
            Thumb { tip: [0.66 * width, height - 0.1 * height - 0.4 * radius], down: [sin, cos], radius }
        });
        Self { width, height, px_per_mm, sheet, disc, card, thumb, projection, beyond, spread, gap: spec.min_gap_px }
    }

    /// Low and high corner of the box in which particles are tried.
    pub(super) fn extent(&self) -> (Point, Point) {
        if let Some(spread) = self.spread {
            return spread;
        }
        match &self.sheet {
            None => bounds(&self.frame_on_paper()),
            Some(s) => {
                let reach_x = s.half[0] * s.cos.abs() + s.half[1] * s.sin.abs();
                let reach_y = s.half[0] * s.sin.abs() + s.half[1] * s.cos.abs();
                let [x, y] = s.centre;
                ([x - reach_x, y - reach_y], [x + reach_x, y + reach_y])
            }
        }
    }

    /// The frame with its margin as it lies on the paper.
    fn frame_on_paper(&self) -> Vec<Point> {
        let (low, high) = self.widened_frame();
        let between = |axis: usize, t: f64| (1.0 - t) * low[axis] + t * high[axis];
        let at = |u, v| [between(0, u), between(1, v)];
        (0..=FRAME_POINTS)
            .map(|i| f64::from(i) / f64::from(FRAME_POINTS))
            .flat_map(|t| [at(t, 0.0), at(t, 1.0), at(0.0, t), at(1.0, t)])
            .map(|px| self.projection.px_to_flat(px, 0.0))
            .collect()
    }

    fn widened_frame(&self) -> (Point, Point) {
        let margin = beyond_under(&self.projection, self.beyond);
        ([-margin; 2], [self.width + margin, self.height + margin])
    }

    /// Whether there is a box for the particles, so far inside the frame that it cuts none.
    pub(super) fn sees_spread(&self) -> bool {
        let margin = beyond_under(&self.projection, self.beyond);
        let inner = ([margin; 2], [self.width - margin, self.height - margin]);
        self.spread.is_some_and(|(low, high)| {
            [low, [high[0], low[1]], high, [low[0], high[1]]]
                .iter()
                .all(|&p| holds(inner, self.projection.flat_to_px(p, 0.0)))
        })
    }

    /// Whether a circle lies on free paper.
    pub(super) fn is_free(&self, x: f64, y: f64, radius: f64) -> bool {
        let margin = SHEET_MARGIN_MM * self.px_per_mm;
        self.sheet.as_ref().is_none_or(|s| s.distance(x, y) <= -(radius + margin))
            && self.takes(x, y)
            && self.is_clear(x, y, radius)
    }

    /// Whether a particle's centre may be here: in the box for them, or else where it can be seen.
    fn takes(&self, x: f64, y: f64) -> bool {
        match self.spread {
            Some(spread) => holds(spread, [x, y]),
            None => self.projection.is_flat() || holds(self.widened_frame(), self.projection.flat_to_px([x, y], 0.0)),
        }
    }

    fn is_clear(&self, x: f64, y: f64, radius: f64) -> bool {
        let clear_of = |plate: &Plate| {
            let hidden = if self.projection.is_flat() { 0.0 } else { HIDDEN_BY_HEIGHT * plate.thickness_mm };
            let clear = self.gap.max(4.0) + plate.reach + hidden * self.px_per_mm;
            plate.distance(x, y) >= clear + radius
        };
        self.disc.iter().chain(&self.card).all(clear_of)
            && self.thumb.as_ref().is_none_or(|t| {
                let [x, y] = self.projection.flat_to_px([x, y], 0.0);
                t.axis_distance(x, y) >= 1.3 * t.radius + self.gap + radius
            })
    }

    /// Area of paper not kept clear, by sampling on a fine grid.
    pub(super) fn free_area(&self) -> f64 {
        const STEPS: usize = 400;
        let (low, high) = self.extent();
        let step = [(high[0] - low[0]) / STEPS as f64, (high[1] - low[1]) / STEPS as f64];
        let on_paper = |x, y| self.sheet.as_ref().is_none_or(|s| s.distance(x, y) <= 0.0);
        let hits = (0..STEPS * STEPS)
            .filter(|i| {
                let x = low[0] + ((i % STEPS) as f64 + 0.5) * step[0];
                let y = low[1] + ((i / STEPS) as f64 + 0.5) * step[1];
                on_paper(x, y) && self.takes(x, y) && self.is_clear(x, y, 0.0)
            })
            .count();
        hits as f64 * step[0] * step[1]
    }
}

/// How far particles may lie beyond the frame, in pixels of the picture.
pub(super) fn beyond_under(projection: &Projection, beyond: f64) -> f64 {
    if projection.is_flat() { beyond } else { BEYOND_UNDER_VIEW * beyond }
}

fn holds((low, high): (Point, Point), p: Point) -> bool {
    (0..2).all(|axis| (low[axis]..=high[axis]).contains(&p[axis]))
}
