//! How the camera stands to the paper: a pinhole with radial bend, and plain scale without one.

use super::outline::Point;
use super::spec::SceneSpec;

/// Diagonal of the 36 mm x 24 mm frame to which focal lengths are commonly referred.
const DIAGONAL_35MM: f64 = 43.266_615_305_567_87;
/// Paper seen more flatly than this is as good as the horizon.
const GRAZING_DEG: f64 = 5.0;
/// A lens bends long sides: each drawn piece is this share of the picture's diagonal at most.
const LONGEST_SIDE: f64 = 0.01;
/// Enough for a side across several pictures.
const MAX_PIECES: f64 = 2000.0;

/// Where the camera stands and how its lens draws. Pixels are square and the optical axis meets the
/// middle of the picture. Paper coordinates are millimetres: the origin is the paper point seen at
/// the middle, and with neither tilt nor turn x runs right and y down.
///
/// The paper is first turned in its own plane and then tilted, both about the origin, so that the
/// origin keeps its distance and `um_per_px` its meaning: a small thing facing the camera there has
/// exactly that scale.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct View {
    /// Angle between the optical axis and the paper's normal, degrees, 0..=40.
    pub tilt_deg: f64,
    /// Direction in the picture, in degrees, in which the paper falls away.
    pub tilt_direction_deg: f64,
    /// Turn of the paper about the optical axis, degrees; positive takes its x axis downwards.
    pub turn_deg: f64,
    /// Focal length in mm that gives the same diagonal field of view on 36 mm x 24 mm, 10..=1000.
    pub focal_35mm: f64,
    /// First radial term: x_d = x_u (1 + k1 r² + k2 r⁴), in units of the focal length, -0.5..=0.5.
    pub k1: f64,
    /// Second radial term, -0.5..=0.5.
    pub k2: f64,
}

impl Default for View {
    /// From straight above with the main lens of a telephone.
    fn default() -> Self {
        Self { tilt_deg: 0.0, tilt_direction_deg: 90.0, turn_deg: 0.0, focal_35mm: 26.0, k1: 0.0, k2: 0.0 }
    }
}

/// From the paper to the picture and back. "Flat" pixels are those of a picture without a view.
#[derive(Clone, Debug)]
pub(super) struct Projection {
    middle: Point,
    px_per_mm: f64,
    pose: Option<Pose>,
}

/// Angles are kept as (cos, sin).
#[derive(Clone, Debug)]
struct Pose {
    turn: Point,
    fall: Point,
    tilt: Point,
    focal_px: f64,
    distance_mm: f64,
    k: [f64; 2],
    /// Radius, in focal lengths, up to which the radial terms draw in order.
    valid: f64,
}

fn cos_sin(deg: f64) -> Point {
    let (sin, cos) = deg.to_radians().sin_cos();
    [cos, sin]
}

fn rotate([x, y]: Point, [cos, sin]: Point) -> Point {
    [x * cos - y * sin, x * sin + y * cos]
}

fn unrotate(p: Point, [cos, sin]: Point) -> Point {
    rotate(p, [cos, -sin])
}

impl Pose {
    fn new(view: &View, spec: &SceneSpec) -> Self {
        let diagonal = f64::from(spec.width_px).hypot(f64::from(spec.height_px));
        let focal_px = view.focal_35mm * diagonal / DIAGONAL_35MM;
        // Where the slope 1 + 3 k1 r² + 5 k2 r⁴ first falls to nothing.
        let (a, b) = (5.0 * view.k2, 3.0 * view.k1);
        let root = (b * b - 4.0 * a).max(0.0).sqrt();
        let turns = [-2.0 / (b + root), -2.0 / (b - root)];
        let squared = if b * b < 4.0 * a {
            f64::INFINITY
        } else {
            turns.into_iter().filter(|&r| r > 0.0).fold(f64::INFINITY, f64::min)
        };
        Self {
            turn: cos_sin(view.turn_deg),
            fall: cos_sin(view.tilt_direction_deg),
            tilt: cos_sin(view.tilt_deg),
            focal_px,
            distance_mm: focal_px * spec.um_per_px / 1000.0,
            k: [view.k1, view.k2],
            valid: squared.sqrt(),
        }
    }

    /// Growth of a radius by the lens. Out where its terms would fold the picture over, the growth
    /// stays as it is, so that nothing comes back into the frame.
    fn bend(&self, r: f64) -> f64 {
        let squared = r.min(self.valid).powi(2);
        1.0 + squared * (self.k[0] + squared * self.k[1])
    }

    fn straight(&self, at_mm: Point, height_mm: f64) -> Point {
        let [cos, sin] = self.tilt;
        let [down, across] = unrotate(rotate(at_mm, self.turn), self.fall);
        let depth = self.distance_mm + down * sin - height_mm * cos;
        // What lies beside or behind the camera goes far out of the frame.
        let depth = depth.max(1e-3 * self.distance_mm);
        let scale = self.focal_px / depth;
        rotate([(down * cos + height_mm * sin) * scale, across * scale], self.fall)
    }

    /// Radius before the lens bent it, by Newton's method.
    fn unbent(&self, bent: f64) -> f64 {
        let mut r = bent;
        for _ in 0..30 {
            let squared = r * r;
            let slope = if r < self.valid {
                1.0 + squared * (3.0 * self.k[0] + squared * 5.0 * self.k[1])
            } else {
                self.bend(r)
            };
            let step = (r * self.bend(r) - bent) / slope.max(1e-6);
            r -= step;
            if step.abs() < 1e-13 {
                break;
            }
        }
        r
    }

    fn to_mm(&self, px: Point, height_mm: f64) -> Point {
        let [cos, sin] = self.tilt;
        let [x, y] = px.map(|v| v / self.focal_px);
        let bent = x.hypot(y);
        let scale = if bent > 0.0 { self.unbent(bent) / bent } else { 1.0 };
        let [a, b] = unrotate([x * scale, y * scale], self.fall);
        let above = self.distance_mm - height_mm * cos;
        let down = (a * above - height_mm * sin) / (cos - a * sin).max(1e-6);
        unrotate(rotate([down, b * (above + down * sin)], self.fall), self.turn)
    }
}

impl Projection {
    pub(super) fn new(spec: &SceneSpec) -> Self {
        Self {
            middle: [0.5 * f64::from(spec.width_px), 0.5 * f64::from(spec.height_px)],
            px_per_mm: 1000.0 / spec.um_per_px,
            pose: spec.view.as_ref().map(|view| Pose::new(view, spec)),
        }
    }

    pub(super) fn is_flat(&self) -> bool {
        self.pose.is_none()
    }

    /// Paper to picture. Without a view the height above the paper makes no difference.
    pub(super) fn to_px(&self, at_mm: Point, height_mm: f64) -> Point {
        self.bent(self.straight(at_mm, height_mm))
    }

    /// Pixels from the middle before the lens bends them: lines stay lines.
    pub(super) fn straight(&self, at_mm: Point, height_mm: f64) -> Point {
        self.pose.as_ref().map_or(at_mm.map(|v| v * self.px_per_mm), |pose| pose.straight(at_mm, height_mm))
    }

    fn bent(&self, [x, y]: Point) -> Point {
        let scale = self.pose.as_ref().map_or(1.0, |pose| pose.bend(x.hypot(y) / pose.focal_px));
        [self.middle[0] + x * scale, self.middle[1] + y * scale]
    }

    /// A polygon of straight pixels as it is seen, its sides in pieces that follow the bend.
    pub(super) fn trace(&self, straight: &[Point]) -> Vec<Point> {
        let longest = 2.0 * LONGEST_SIDE * self.middle[0].hypot(self.middle[1]);
        let ends = straight.iter().zip(straight.iter().cycle().skip(1));
        ends.flat_map(|(&[x, y], to)| {
            let way = [to[0] - x, to[1] - y];
            let pieces = (way[0].hypot(way[1]) / longest).ceil().clamp(1.0, MAX_PIECES);
            let pieces = if self.is_flat() { 1.0 } else { pieces };
            (0..pieces as usize).map(move |i| {
                let share = i as f64 / pieces;
                self.bent([x + way[0] * share, y + way[1] * share])
            })
        })
        .collect()
    }

    /// A polygon on the paper, or so far above it, as it is seen.
    pub(super) fn outline(&self, outline_mm: &[Point], height_mm: f64) -> Vec<Point> {
        self.trace(&outline_mm.iter().map(|&p| self.straight(p, height_mm)).collect::<Vec<_>>())
    }

    pub(super) fn flat_to_mm(&self, [x, y]: Point) -> Point {
        [(x - self.middle[0]) / self.px_per_mm, (y - self.middle[1]) / self.px_per_mm]
    }

    pub(super) fn mm_to_flat(&self, [x, y]: Point) -> Point {
        [self.middle[0] + x * self.px_per_mm, self.middle[1] + y * self.px_per_mm]
    }

    pub(super) fn flat_to_px(&self, flat: Point, height_mm: f64) -> Point {
        if self.is_flat() { flat } else { self.to_px(self.flat_to_mm(flat), height_mm) }
    }

    pub(super) fn px_to_flat(&self, px: Point, height_mm: f64) -> Point {
        match &self.pose {
            None => px,
            Some(pose) => self.mm_to_flat(pose.to_mm([px[0] - self.middle[0], px[1] - self.middle[1]], height_mm)),
        }
    }

    /// True local scale: the side of a square on the paper that is drawn with the area of a pixel.
    pub(super) fn um_per_px_at(&self, [x, y]: Point, height_mm: f64) -> f64 {
        let step = 0.5 / self.px_per_mm;
        let slope = |low: Point, high: Point| {
            let (a, b) = (self.to_px(low, height_mm), self.to_px(high, height_mm));
            [(b[0] - a[0]) / (2.0 * step), (b[1] - a[1]) / (2.0 * step)]
        };
        let (u, v) = (slope([x - step, y], [x + step, y]), slope([x, y - step], [x, y + step]));
        1000.0 / (u[0] * v[1] - u[1] * v[0]).abs().sqrt()
    }

    /// A direction on the flat paper as it points in the picture, but for the tilt.
    pub(super) fn turned(&self, way: Point) -> Point {
        self.pose.as_ref().map_or(way, |pose| rotate(way, pose.turn))
    }

    pub(super) fn unturned(&self, way: Point) -> Point {
        self.pose.as_ref().map_or(way, |pose| unrotate(way, pose.turn))
    }

    /// Largest tilt, in degrees, at which a frame this much wider still sees only paper. Not a
    /// number when the lens would fold the picture.
    pub(super) fn tilt_limit_deg(&self, wider_px: f64) -> f64 {
        let Some(pose) = &self.pose else { return 90.0 };
        let corner = (self.middle[0] + wider_px).hypot(self.middle[1] + wider_px) / pose.focal_px;
        let r = pose.unbent(corner);
        if r < pose.valid { 90.0 - GRAZING_DEG - r.atan().to_degrees() } else { f64::NAN }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(view: View) -> Projection {
        // The diagonal is 5000 px, so that a 26 mm lens has f = 26 · 5000 / 43.2666 px.
        Projection::new(&SceneSpec {
            width_px: 4000,
            height_px: 3000,
            um_per_px: 40.0,
            view: Some(view),
            ..SceneSpec::default()
        })
    }

    fn close(a: Point, b: Point) {
        assert!((a[0] - b[0]).hypot(a[1] - b[1]) < 1e-8, "{a:?} is not {b:?}");
    }

    #[test]
    fn known_poses_in_closed_form() {
        let f = 26.0 * 5000.0 / DIAGONAL_35MM;
        let d = f * 0.04;
        let (sin, cos) = 20.0_f64.to_radians().sin_cos();
        let flat = seen(View::default());
        close(flat.to_px([10.0, -6.0], 0.0), [2250.0, 1350.0]);
        // Nearer to the camera by 2 mm, larger by D / (D - 2).
        close(flat.to_px([10.0, -6.0], 2.0), [2000.0 + 250.0 * d / (d - 2.0), 1500.0 - 150.0 * d / (d - 2.0)]);

        // Down the picture the paper falls away.
        let tilted = seen(View { tilt_deg: 20.0, ..View::default() });
        let depth = d + 30.0 * sin;
        close(tilted.to_px([12.0, 30.0], 0.0), [2000.0 + f * 12.0 / depth, 1500.0 + f * 30.0 * cos / depth]);
        // A raised point moves the way the paper falls, and towards the camera.
        let depth = depth - 1.5 * cos;
        let down = 30.0 * cos + 1.5 * sin;
        close(tilted.to_px([12.0, 30.0], 1.5), [2000.0 + f * 12.0 / depth, 1500.0 + f * down / depth]);
        close(tilted.to_px([0.0, 0.0], 0.0), [2000.0, 1500.0]);

        // Falling away to the right; the paper's x axis then points down and its y axis left.
        let turned = seen(View { tilt_deg: 20.0, tilt_direction_deg: 0.0, turn_deg: 90.0, ..View::default() });
        let depth = d - 30.0 * sin;
        close(turned.to_px([12.0, 30.0], 0.0), [2000.0 - f * 30.0 * cos / depth, 1500.0 + f * 12.0 / depth]);
    }

    #[test]
    fn lens_follows_its_formula() {
        let f = 26.0 * 5000.0 / DIAGONAL_35MM;
        let bent = seen(View { k1: -0.08, k2: 0.03, ..View::default() });
        // At (3, 4) tenths of the focal length r² = 0.25.
        let k = 1.0 - 0.08 * 0.25 + 0.03 * 0.0625;
        close(bent.to_px([0.3 * f * 0.04, 0.4 * f * 0.04], 0.0), [2000.0 + 0.3 * f * k, 1500.0 + 0.4 * f * k]);
    }

    #[test]
    fn the_way_back_is_the_way() {
        for (k1, k2) in [(0.0, 0.0), (-0.12, 0.0), (0.15, -0.05), (-0.2, 0.1)] {
            let p =
                seen(View { tilt_deg: 33.0, tilt_direction_deg: 200.0, turn_deg: -70.0, k1, k2, ..View::default() });
            for px in [[1.0, 2.0], [3999.0, 5.0], [2000.0, 1500.0], [500.5, 2999.0]] {
                for height in [0.0, 3.0] {
                    close(p.flat_to_px(p.px_to_flat(px, height), height), px);
                }
            }
        }
    }

    #[test]
    fn local_scale_in_closed_form() {
        let d = 26.0 * 5000.0 / DIAGONAL_35MM * 0.04;
        let (sin, cos) = 20.0_f64.to_radians().sin_cos();
        let p = seen(View { tilt_deg: 20.0, tilt_direction_deg: 0.0, ..View::default() });
        // The plane's Jacobian: f² D cos t / depth³.
        for x in [-40.0, 0.0, 55.0] {
            let depth: f64 = d + x * sin;
            let asked = 40.0 * (depth.powi(3) / (d.powi(3) * cos)).sqrt();
            assert!((p.um_per_px_at([x, 7.0], 0.0) / asked - 1.0).abs() < 1e-6);
        }
    }

    #[test]
    fn nothing_folds_back_into_the_frame() {
        let p = seen(View { k1: -0.15, ..View::default() });
        let mut last = 0.0;
        for x in 0..2000 {
            let at = p.to_px([f64::from(x), 0.0], 0.0)[0];
            assert!(at > last);
            last = at;
        }
    }
}
