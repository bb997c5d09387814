//! Which frame of the sheet is in view, and how it lies.

use rayon::prelude::*;

use super::faint::{Faint, faint};
use super::layout::{Frame, Mark, frames};
use super::mark::{Seen, has_dots, read};
use super::round::{Round, rounds};
use crate::numeric::{Draws, convex_hull, determinant, mean_point, median, shoelace};
use crate::photo::Photo;
use crate::scale::focal::Focal;
use crate::scale::homography::{fit_homography, project};
use crate::scale::plane::{Optics, Plane, PlaneFit, fit_plane};

/// Fewest marks that make a pose: ten unknowns need five, and a wrong reading must show.
const FEWEST: usize = 7;
/// Share of the frame that the marks used must enclose, so that the field lies between them.
const ENCLOSED: f64 = 0.5;
/// Largest distance of the marks from a flat sheet, share of the frame's width.
const FLAT: f64 = 0.0012;
/// Largest bend of the lens at the frame, share of the distance from the middle.
const BEND: f64 = 0.25;

/// A frame of the sheet as it lies in the photo.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// Name of the frame.
    pub frame: &'static str,
    /// The frame's field x0, y0, x1, y1 on the plane, mm; its upper left corner is the origin.
    pub field_mm: [f64; 4],
    /// From the photo to the paper, mm from the field's upper left corner.
    pub plane: Plane,
    /// Marks of the frame, those read, and those used.
    pub marks: [usize; 3],
    /// Root of the mean squared distance of the marks from their places, px.
    pub residual_px: f64,
    /// Relative standard uncertainty of the scale from the fit alone.
    pub fit_uncertainty: f64,
    /// Centres of the marks used, on the paper as printed (mm) and in the photo (px).
    pub centres: Vec<([f64; 2], [f64; 2])>,
    /// Outlines of the marks used, px.
    pub rims: Vec<Vec<[f64; 2]>>,
    /// The field and half of the white about it as a polygon in the photo, px: where particles can be whole.
    pub region: Vec<[f64; 2]>,
    /// The field as a polygon in the photo, px.
    pub field_px: Vec<[f64; 2]>,
}

/// Why no sheet was found, or none that can be trusted.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs, reason = "each variant is its message")]
pub enum SheetError {
    #[error("no mark of the printed scale sheet is in view")]
    NoMarks,
    #[error("no mark of the printed scale sheet can be read{0}")]
    Faint(Faint),
    #[error(
        "only {0} marks of the scale sheet can be read, and {FEWEST} are needed. Let the whole frame of marks fill the \
         picture, in focus, free of grounds"
    )]
    FewMarks(usize),
    #[error(
        "the marks that can be read lie on one side of the frame only. Uncover the others: marks on three sides at \
         least must be seen"
    )]
    OneSided,
    #[error("two scale sheets are in view. Photograph one frame at a time")]
    TwoSheets,
    #[error(
        "the marks in view do not fit one sheet: a mirrored photo, or marks of several prints. Photograph one sheet, not mirrored"
    )]
    Scrambled,
    #[error(
        "the scale sheet does not lie flat: its marks are {0:.2} mm from where a flat sheet has them. Press it flat, or \
         fix it to a board"
    )]
    NotFlat(f64),
    #[error(
        "the photo bends straight lines by {0:.0} % at the frame, too much to undo. Use the main camera, not the wide one"
    )]
    Bent(f64),
    #[error("the frame of the scale sheet is cut by the picture. Step back until the whole field is in view")]
    Cut,
}

impl Sheet {
    /// Takes the print as stretched along x and y by these factors.
    pub(crate) fn stretch(&mut self, [sx, sy]: [f64; 2]) {
        self.plane = self.plane.stretched([sx, sy]);
        let [x0, y0, x1, y1] = self.field_mm;
        self.field_mm = [sx * x0, sy * y0, sx * x1, sy * y1];
    }

    /// How many particles of its size one stands for that lies at `at` on the paper and whose largest Feret diameter is
    /// `size` (mm): the inverse chance that the circle of that size about a random place of the field lies in the field.
    /// `None` when this circle does not.
    ///
    /// Source: R. E. Miles (1974), as in ISO 13322-1 (from memory).
    pub fn edge_weight(&self, [x, y]: [f64; 2], size: f64) -> Option<f64> {
        let [x0, y0, x1, y1] = self.field_mm;
        let half = 0.5 * size;
        let inside = x - half >= x0 && x + half <= x1 && y - half >= y0 && y + half <= y1;
        let (w, h) = (x1 - x0, y1 - y0);
        inside.then(|| w * h / ((w - size) * (h - size)))
    }
}

/// Finds the scale sheet in `photo`; where there is none, says what keeps marks that may be there from being read.
///
/// # Errors
/// No sheet, or none that can be trusted; the reason says what to do.
pub fn find_sheet_or_why(photo: &Photo) -> Result<Sheet, SheetError> {
    find_sheet(photo).map_err(|e| match e {
        SheetError::NoMarks => faint(photo).map_or(e, SheetError::Faint),
        _ => e,
    })
}

/// Finds the scale sheet in `photo`.
///
/// # Errors
/// No sheet, or none that can be trusted.
pub fn find_sheet(photo: &Photo) -> Result<Sheet, SheetError> {
    let seen: Vec<Seen> = candidates(photo).par_iter().filter_map(|round| read(photo, round)).collect();
    let frames = frames();
    // The frame that covers most of the picture: others of the same page may be in view.
    let (frame, pairs, agreeing) = frames
        .iter()
        .map(|frame| {
            let pairs = pairs_of(frame, &seen);
            let agreeing = consensus(&pairs, frame.outer[2] - frame.outer[0]);
            (frame, pairs, agreeing)
        })
        .filter(|(_, pairs, _)| !pairs.is_empty())
        .max_by(|a, b| extent(&a.2).total_cmp(&extent(&b.2)).then(a.1.len().cmp(&b.1.len())))
        .ok_or(SheetError::NoMarks)?;
    let size = [photo.width() as f64, photo.height() as f64];
    lay(frame, &pairs, agreeing, size, Optics::usual(size, Focal::of(photo).px))
}

/// Round dark shapes with white dots; each place once, as the brightest level has it that tells it from its surroundings.
fn candidates(photo: &Photo) -> Vec<Round> {
    let mut found: Vec<Round> = Vec::new();
    for round in rounds(photo).into_iter().filter(|round| has_dots(photo, round)) {
        let same = |r: &Round| distance(r.centre, round.centre) < 0.2 * round.half[1];
        if !found.iter().any(same) {
            found.push(round);
        }
    }
    found
}

/// Area that the marks of a pose enclose in the picture, px²; 0 for too few.
fn extent(marks: &[(&Mark, &Seen)]) -> f64 {
    let points: Vec<[f64; 2]> = marks.iter().map(|(_, s)| s.centre).collect();
    if points.len() < FEWEST { 0.0 } else { shoelace(&convex_hull(&points)).abs() }
}

/// What was seen of the marks of `frame`. A mark is there twice when a word was misread, or with a second sheet.
fn pairs_of<'a>(frame: &'a Frame, seen: &'a [Seen]) -> Vec<(&'a Mark, &'a Seen)> {
    let mut found: Vec<(&Mark, &Seen)> = Vec::new();
    for mark in &frame.marks {
        for one in seen.iter().filter(|s| s.word == mark.word) {
            // The same mark comes out at several levels.
            let same = |(_, s): &(&Mark, &Seen)| distance(s.centre, one.centre) < one.radius;
            if !found.iter().any(same) {
                found.push((mark, one));
            }
        }
    }
    found
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// The pose of the frame from the marks that agree, `used`, in a picture of that width and height (px).
fn lay(
    frame: &Frame,
    marks: &[(&Mark, &Seen)],
    mut used: Vec<(&Mark, &Seen)>,
    size: [f64; 2],
    optics: Optics,
) -> Result<Sheet, SheetError> {
    if marks.len() < FEWEST {
        return Err(SheetError::FewMarks(marks.len()));
    }
    let origin = [frame.field[0], frame.field[1]];
    let width = frame.outer[2] - frame.outer[0];
    let others: Vec<(&Mark, &Seen)> =
        marks.iter().copied().filter(|(_, s)| !used.iter().any(|(_, u)| u.centre == s.centre)).collect();
    if consensus(&others, width).len() >= FEWEST - 1 {
        return Err(SheetError::TwoSheets);
    }
    if used.len() < FEWEST || 3 * used.len() < 2 * marks.len() {
        return Err(SheetError::Scrambled);
    }
    let place = |m: &Mark| [m.centre[0] - origin[0], m.centre[1] - origin[1]];
    let mut centres: Vec<[f64; 2]> = used.iter().map(|(_, s)| s.centre).collect();
    let mut fit = None::<PlaneFit>;
    // The centre of the ellipse is not the picture of the disc's centre: the rim is taken back to the paper, where it is a
    // circle, and the circle's centre is sent out again. Twice is enough, the third time settles what was left out.
    for round in 0..4 {
        let mm: Vec<[f64; 2]> = used.iter().map(|(m, _)| place(m)).collect();
        let now = fit_plane(&mm, &centres, optics).ok_or(SheetError::Scrambled)?;
        if round == 1 {
            let off = |i: usize| distance(now.plane.px(mm[i]), centres[i]);
            let offs: Vec<f64> = (0..mm.len()).map(off).collect();
            let limit = (5.0 * median(&mut offs.clone()).unwrap_or(0.0)).max(0.3);
            let mut kept = offs.iter().map(|&o| o < limit);
            used.retain(|_| kept.next().expect("one for each mark"));
            if used.len() < FEWEST {
                return Err(SheetError::FewMarks(used.len()));
            }
        }
        centres =
            used.iter().map(|(_, s)| centre_on(&now.plane, s)).collect::<Option<_>>().ok_or(SheetError::Scrambled)?;
        fit = Some(now);
    }
    let fit = fit.expect("fitted four times");
    let centres = used.iter().map(|(m, _)| place(m)).zip(centres).collect();
    finish(frame, marks.len(), &used, centres, &fit, size)
}

/// Marks that agree with the pose that most marks agree with: a misread word lies far from its place.
fn consensus<'a>(marks: &[(&'a Mark, &'a Seen)], width_mm: f64) -> Vec<(&'a Mark, &'a Seen)> {
    let mut draws = Draws::new(1, 0);
    let mut best = Vec::new();
    if marks.len() < 5 {
        return best;
    }
    for _ in 0..60 {
        let mut four = [0usize; 4];
        four.iter_mut().for_each(|i| *i = draws.below(marks.len()));
        let px: Vec<[f64; 2]> = four.iter().map(|&i| marks[i].1.centre).collect();
        let mm: Vec<[f64; 2]> = four.iter().map(|&i| marks[i].0.centre).collect();
        let Some(h) = fit_homography(&px, &mm) else { continue };
        // Bend of the lens moves marks by some percent of the frame; a wrong word by a seventh of it and more.
        let near = |(m, s): &(&Mark, &Seen)| distance(project(&h, s.centre), m.centre) < 0.05 * width_mm;
        let agreeing: Vec<_> = marks.iter().copied().filter(near).collect();
        if agreeing.len() > best.len() {
            best = agreeing;
        }
        if best.len() == marks.len() {
            break;
        }
    }
    best
}

/// Where the centre of the printed disc is seen.
fn centre_on(plane: &Plane, seen: &Seen) -> Option<[f64; 2]> {
    let rim: Vec<[f64; 2]> = seen.rim.iter().map(|&p| plane.mm(p)).collect::<Option<_>>()?;
    Some(plane.px(circle_centre(&rim)?))
}

/// Centre of the circle nearest to the points.
///
/// Source: I. Kåsa, IEEE Trans. Instrum. Meas. 25 (1976) 8–14 (from memory); without bias for points all round.
fn circle_centre(points: &[[f64; 2]]) -> Option<[f64; 2]> {
    let mean = mean_point(points);
    let (mut a, mut b) = ([[0.0; 3]; 3], [0.0; 3]);
    for p in points {
        let (x, y) = (p[0] - mean[0], p[1] - mean[1]);
        let terms = [x, y, 1.0];
        for i in 0..3 {
            for j in 0..3 {
                a[i][j] += terms[i] * terms[j];
            }
            b[i] += terms[i] * (x * x + y * y);
        }
    }
    let [u, v, _] = crate::numeric::solve(a, b)?;
    Some([mean[0] + 0.5 * u, mean[1] + 0.5 * v])
}

fn finish(
    frame: &Frame,
    read: usize,
    used: &[(&Mark, &Seen)],
    centres: Vec<([f64; 2], [f64; 2])>,
    fit: &PlaneFit,
    size: [f64; 2],
) -> Result<Sheet, SheetError> {
    let places: Vec<[f64; 2]> = used.iter().map(|(m, _)| m.centre).collect();
    let all: Vec<[f64; 2]> = frame.marks.iter().map(|m| m.centre).collect();
    let area = |points: &[[f64; 2]]| shoelace(&convex_hull(points)).abs();
    if area(&places) < ENCLOSED * area(&all) {
        return Err(SheetError::OneSided);
    }
    let plane = &fit.plane;
    let (field_w, field_h) = (frame.field[2] - frame.field[0], frame.field[3] - frame.field[1]);
    let middle = plane.px([0.5 * field_w, 0.5 * field_h]);
    let det = determinant(plane.mm_per_px(middle).ok_or(SheetError::Scrambled)?);
    if det <= 0.0 {
        return Err(SheetError::Scrambled);
    }
    let off_mm = fit.residual_px * det.sqrt();
    if off_mm > FLAT * (frame.outer[2] - frame.outer[0]) && fit.residual_px > 1.0 {
        return Err(SheetError::NotFlat(off_mm));
    }
    let lens = plane.lens();
    let bend = used.iter().map(|(_, s)| {
        let r2 =
            ((s.centre[0] - lens.centre[0]).powi(2) + (s.centre[1] - lens.centre[1]).powi(2)) / lens.focal_px.powi(2);
        (r2 * (lens.k1 + r2 * lens.k2)).abs()
    });
    let bend = bend.fold(0.0, f64::max);
    if bend > BEND {
        return Err(SheetError::Bent(100.0 * bend));
    }
    // The field's sides are curves in the photo. Beyond the field half of the white gap may still show whole particles.
    let gap = 0.5 * (frame.field[0] - frame.outer[0] - 2.0 * frame.marks[0].radius);
    let around =
        |grow: f64| rectangle([-grow, -grow, field_w + grow, field_h + grow], 16).map(|p| plane.px(p)).collect();
    let region: Vec<[f64; 2]> = around(gap);
    let edge: Vec<[f64; 2]> = around(0.0);
    let inside = |p: &[f64; 2]| p[0] >= 0.0 && p[1] >= 0.0 && p[0] <= size[0] && p[1] <= size[1];
    if !edge.iter().all(inside) {
        return Err(SheetError::Cut);
    }
    let spots: Vec<[f64; 2]> = grid([field_w, field_h]).map(|p| plane.px(p)).collect();
    Ok(Sheet {
        frame: frame.name,
        field_mm: [0.0, 0.0, field_w, field_h],
        plane: plane.clone(),
        marks: [frame.marks.len(), read, used.len()],
        residual_px: fit.residual_px,
        fit_uncertainty: fit.scale_uncertainty(&spots),
        centres,
        rims: used.iter().map(|(_, s)| s.rim.clone()).collect(),
        region,
        field_px: edge,
    })
}

/// Twenty-five places spread over a rectangle from the origin.
pub(in crate::scale) fn grid([w, h]: [f64; 2]) -> impl Iterator<Item = [f64; 2]> {
    (0..25).map(move |i| [w * (0.1 + 0.2 * f64::from(i % 5)), h * (0.1 + 0.2 * f64::from(i / 5))])
}

/// Points along the sides of a rectangle x0, y0, x1, y1, `each` to a side.
pub(in crate::scale) fn rectangle([x0, y0, x1, y1]: [f64; 4], each: usize) -> impl Iterator<Item = [f64; 2]> {
    let corners = [[x0, y0], [x1, y0], [x1, y1], [x0, y1]];
    (0..4 * each).map(move |i| {
        let (a, b, t) = (corners[i / each], corners[(i / each + 1) % 4], (i % each) as f64 / each as f64);
        [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]
    })
}
