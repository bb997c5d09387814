//! Where things lie: the sheet, the disc, the thumb, and so where particles may go. Pixels.

use super::spec::SceneSpec;

/// Particles keep this far from the edge of the sheet.
const SHEET_MARGIN_MM: f64 = 2.0;
/// Usual width of a thumb.
const THUMB_WIDTH_MM: f64 = 19.0;

pub(super) struct Stage {
    pub width: f64,
    pub height: f64,
    pub px_per_mm: f64,
    pub sheet: Option<Sheet>,
    pub disc: Option<Disc>,
    pub thumb: Option<Thumb>,
    /// Paper goes on so far beyond the frame, so that the frame cuts particles as it should.
    pub beyond: f64,
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

#[derive(Clone, Copy)]
pub(super) struct Disc {
    pub x: f64,
    pub y: f64,
    pub radius: f64,
}

impl Disc {
    /// Reach of the disc's contact shadow.
    pub(super) fn shadow_reach(&self) -> f64 {
        0.12 * self.radius
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
        let disc = spec.reference.as_ref().map(|d| Disc {
            x: d.centre.0 * width,
            y: d.centre.1 * height,
            radius: 0.5 * d.diameter_mm * px_per_mm,
        });
        let thumb = spec.thumb.then(|| {
            let span = (THUMB_WIDTH_MM * px_per_mm).clamp(0.08 * width, 0.2 * width);
            let radius = 0.5 * span;
            let (sin, cos) = 12.0_f64.to_radians().sin_cos();
            Thumb { tip: [0.66 * width, height - 0.1 * height - 0.4 * radius], down: [sin, cos], radius }
        });
        Self { width, height, px_per_mm, sheet, disc, thumb, beyond, gap: spec.min_gap_px }
    }

    /// Low and high corner of the box in which particles are tried.
    pub(super) fn extent(&self) -> ([f64; 2], [f64; 2]) {
        match &self.sheet {
            None => ([-self.beyond; 2], [self.width + self.beyond, self.height + self.beyond]),
            Some(s) => {
                let reach_x = s.half[0] * s.cos.abs() + s.half[1] * s.sin.abs();
                let reach_y = s.half[0] * s.sin.abs() + s.half[1] * s.cos.abs();
                let [x, y] = s.centre;
                ([x - reach_x, y - reach_y], [x + reach_x, y + reach_y])
            }
        }
    }

    /// Whether a circle lies on free paper.
    pub(super) fn is_free(&self, x: f64, y: f64, radius: f64) -> bool {
        let margin = SHEET_MARGIN_MM * self.px_per_mm;
        self.sheet.as_ref().is_none_or(|s| s.distance(x, y) <= -(radius + margin)) && self.is_clear(x, y, radius)
    }

    fn is_clear(&self, x: f64, y: f64, radius: f64) -> bool {
        self.disc.is_none_or(|d| {
            let clear = self.gap.max(4.0) + d.shadow_reach();
            (x - d.x).hypot(y - d.y) >= d.radius + clear + radius
        }) && self.thumb.as_ref().is_none_or(|t| t.axis_distance(x, y) >= 1.3 * t.radius + self.gap + radius)
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
                on_paper(x, y) && self.is_clear(x, y, 0.0)
            })
            .count();
        hits as f64 * step[0] * step[1]
    }
}
