use lightsieve::pipeline::ScaleChoice;
use lightsieve::render::{Rendered, SceneSpec, View, render};

use super::bench::{inks, shot, try_measure};

fn refusal(rendered: &Rendered) -> String {
    match try_measure(rendered, ScaleChoice::Sheet(None)) {
        Ok(photo) => panic!("accepted with {:?}", photo.scale.parts()),
        Err(e) => e.to_string(),
    }
}

fn picture(change: impl FnOnce(&mut super::bench::Shot)) -> Rendered {
    let mut shot = shot(0, [1600, 1200], View { tilt_deg: 6.0, ..View::default() }, 5);
    change(&mut shot);
    render(&shot.spec).unwrap()
}

#[test]
fn no_sheet_names_every_way_to_a_scale() {
    let spec = SceneSpec { width_px: 1200, height_px: 900, ..SceneSpec::default() };
    let text = refusal(&render(&spec).unwrap());
    for way in ["lightsieve target", "--reference coin:", "card", "--points", "--scale 20"] {
        assert!(text.contains(way), "{text}");
    }
}

#[test]
fn too_few_marks_say_so() {
    let text = refusal(&picture(|s| s.cover(&(0..14).collect::<Vec<_>>(), false)));
    assert!(text.contains("only 6 marks"), "{text}");
}

#[test]
fn marks_on_one_side_only_are_not_enough() {
    // The upper row and the upright ones next to it remain.
    let text = refusal(&picture(|s| s.cover(&(8..19).collect::<Vec<_>>(), true)));
    assert!(text.contains("one side"), "{text}");
}

#[test]
fn two_sheets_are_refused() {
    let text = refusal(&picture(|s| {
        // A second print of the same frame, half as large, in the field.
        s.spec.print.extend(inks(&s.frame, s.shift, 0.5));
    }));
    assert!(text.contains("two scale sheets"), "{text}");
}

#[test]
fn a_curled_sheet_is_refused() {
    // Printed as a sheet is seen whose left and right parts rise towards the camera: x is drawn out by its square.
    let text = refusal(&picture(|s| {
        for ink in &mut s.spec.print {
            for p in &mut ink.outline_mm {
                p[1] += 0.4 * (p[0] / 12.0).sin();
            }
        }
    }));
    assert!(text.contains("flat"), "{text}");
}

#[test]
fn a_field_cut_by_the_picture_is_refused() {
    let mut rendered = picture(|_| {});
    // The right marks and a strip of the field are cut off; the marks on the other sides are still enough for a pose.
    rendered.image = image::imageops::crop_imm(&rendered.image, 0, 0, 1390, 1200).to_image();
    let text = refusal(&rendered);
    assert!(text.contains("cut by the picture"), "{text}");
}

#[test]
fn a_mirrored_photo_is_refused() {
    let mut rendered = picture(|_| {});
    image::imageops::flip_horizontal_in_place(&mut rendered.image);
    let text = refusal(&rendered);
    assert!(text.contains("mirrored") || text.contains("marks"), "{text}");
}
