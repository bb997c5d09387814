//! Homographies and cameras against OpenCV and scipy: see `tests/data/README.md`.

use std::path::Path;

use lightsieve::numeric::Draws;
use lightsieve::scale::{CameraError, CameraModel, CameraSpread, PlaneView, Pose, fit_camera, fit_homography};
use serde_json::Value;

fn data() -> Value {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/views.json");
    serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap()
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

fn points(value: &Value) -> Vec<[f64; 2]> {
    value.as_array().unwrap().iter().map(|p| numbers(p).try_into().unwrap()).collect()
}

/// Corners of a board, mm: x fastest.
fn board(case: &Value) -> Vec<[f64; 2]> {
    let [columns, rows, pitch] = ["columns", "rows", "pitch_mm"].map(|k| case["board"][k].as_u64().unwrap());
    (0..rows).flat_map(|y| (0..columns).map(move |x| [(x * pitch) as f64, (y * pitch) as f64])).collect()
}

/// Views of a board, as float32 because OpenCV calibrates with such points.
fn views(plane: &[[f64; 2]], shown: &Value) -> Vec<PlaneView> {
    let view = |v| PlaneView {
        plane_mm: plane.to_vec(),
        shown_px: points(v).into_iter().map(|p| p.map(|c| f64::from(c as f32))).collect(),
    };
    shown.as_array().unwrap().iter().map(view).collect()
}

fn size(case: &Value) -> [usize; 2] {
    [0, 1].map(|i| case["size"][i].as_u64().unwrap() as usize)
}

/// The camera of the reference.
fn camera(value: &Value) -> CameraModel {
    let pair = |v: &Value| -> [f64; 2] { numbers(v).try_into().unwrap() };
    let pose = |v| {
        let p = numbers(v);
        Pose { rotation: [p[0], p[1], p[2]], translation_mm: [p[3], p[4], p[5]] }
    };
    let s = value.get("deviations").map_or(vec![0.0; 6], numbers);
    CameraModel {
        focal_px: pair(&value["focal"]),
        centre_px: pair(&value["centre"]),
        k1: value["k1"].as_f64().unwrap(),
        k2: value["k2"].as_f64().unwrap(),
        poses: value["poses"].as_array().unwrap().iter().map(pose).collect(),
        rms_px: value["rms"].as_f64().unwrap(),
        spread: CameraSpread { focal_px: [s[0], s[1]], centre_px: [s[2], s[3]], k1: s[4], k2: s[5] },
    }
}

/// The numbers of a camera that have names of their own, and their standard uncertainties.
fn named(c: &CameraModel) -> [(f64, f64); 6] {
    let s = c.spread;
    [
        (c.focal_px[0], s.focal_px[0]),
        (c.focal_px[1], s.focal_px[1]),
        (c.centre_px[0], s.centre_px[0]),
        (c.centre_px[1], s.centre_px[1]),
        (c.k1, s.k1),
        (c.k2, s.k2),
    ]
}

fn alike(found: f64, reference: f64, relative: f64) {
    assert!((found / reference - 1.0).abs() < relative, "{found} is not {reference}");
}

/// Every named number within 1/10000 of its standard uncertainty (sums of squares resolve about 1e-6 of it, in which k2 of
/// the noisy views is 1e-6 of its value), all else within 1e-6: rms, uncertainties, rotations and translations as vectors.
fn same_camera(found: &CameraModel, reference: &CameraModel) {
    let relative = 1e-6;
    for ((value, spread), (expected, expected_spread)) in named(found).into_iter().zip(named(reference)) {
        assert!((value - expected).abs() < 1e-4 * spread, "{value} is not {expected}");
        alike(spread, expected_spread, relative);
    }
    alike(found.rms_px, reference.rms_px, relative);
    assert_eq!(found.poses.len(), reference.poses.len());
    for (a, b) in found.poses.iter().zip(&reference.poses) {
        for (a, b) in [(a.rotation, b.rotation), (a.translation_mm, b.translation_mm)] {
            let norm = |v: [f64; 3]| v.iter().map(|c| c * c).sum::<f64>().sqrt();
            assert!(norm([0, 1, 2].map(|i| a[i] - b[i])) < relative * norm(b), "{a:?} is not {b:?}");
        }
    }
}

/// As the true camera shows the board, with normal errors of `noise_px` in each direction.
fn drawn(truth: &CameraModel, poses: &[Pose], plane: &[[f64; 2]], noise_px: f64, stream: u64) -> Vec<PlaneView> {
    let mut draws = Draws::new(1, stream);
    poses
        .iter()
        .map(|pose| PlaneView {
            plane_mm: plane.to_vec(),
            shown_px: plane.iter().map(|&p| truth.show(pose, p).map(|c| c + noise_px * draws.normal())).collect(),
        })
        .collect()
}

#[test]
fn homographies_are_those_of_opencv_and_scipy() {
    let data = &data()["homography"];
    // OpenCV stops up to 2e-7 before the least squares, which scipy finds; the exact points are rounded to 1e-9 px.
    for (case, reference, relative) in [
        ("exact", "opencv", 1e-6),
        ("exact", "least_squares", 1e-12),
        ("perturbed", "opencv", 1e-6),
        ("perturbed", "least_squares", 1e-10),
    ] {
        let case = &data[case];
        let h = fit_homography(&points(&case["from"]), &points(&case["to"])).unwrap();
        for (i, &expected) in numbers(&case[reference]).iter().enumerate() {
            alike(h[(i / 3, i % 3)], expected, relative);
        }
    }
    let exact = &data["exact"];
    let h = fit_homography(&points(&exact["from"]), &points(&exact["to"])).unwrap();
    for (i, &expected) in numbers(&data["true"]).iter().enumerate() {
        alike(h[(i / 3, i % 3)], expected, 1e-9);
    }
}

#[test]
fn synthetic_views_give_the_camera_that_opencv_finds() {
    let data = &data()["synthetic"];
    for case in ["exact", "noisy"] {
        let case = &data[case];
        let found = fit_camera(&views(&board(data), &case["views"]), size(data)).unwrap();
        same_camera(&found, &camera(&case["opencv"]));
    }
}

#[test]
fn photographs_of_a_board_give_the_camera_that_opencv_finds() {
    let data = &data()["photographs"];
    let mut views = views(&board(data), &data["views"]);
    let mut reference = camera(&data["opencv"]);
    // Pixel (0, 0) has its centre at (0, 0) in OpenCV and at (0.5, 0.5) here. Nothing but the centre notices.
    views.iter_mut().flat_map(|v| &mut v.shown_px).flatten().for_each(|c| *c += 0.5);
    reference.centre_px = reference.centre_px.map(|c| c + 0.5);
    let found = fit_camera(&views, size(data)).unwrap();
    same_camera(&found, &reference);
}

#[test]
fn the_stated_uncertainties_hold_the_truth() {
    let data = &data()["synthetic"];
    let (plane, truth) = (board(data), camera(&data["true"]));
    const DRAWS: u64 = 60;
    let mut held = [0; 6];
    for stream in 0..DRAWS {
        let found = fit_camera(&drawn(&truth, &truth.poses, &plane, 0.1, stream), size(data)).unwrap();
        for (held, ((value, spread), (expected, _))) in
            held.iter_mut().zip(named(&found).into_iter().zip(named(&truth)))
        {
            *held += u64::from((value - expected).abs() < 1.96 * spread);
        }
    }
    assert!(held.iter().all(|h| h * 100 >= 85 * DRAWS), "{held:?} of {DRAWS}");
}

#[test]
fn views_that_tell_too_little_are_refused() {
    let all = data();
    let (made, photos) = (&all["synthetic"], &all["photographs"]);
    let noisy = views(&board(made), &made["noisy"]["views"]);
    let size = size(made);
    assert_eq!(fit_camera(&noisy[..1], size), Err(CameraError::FewViews(1)));
    assert_eq!(fit_camera(&noisy[..2], size), Err(CameraError::FewViews(2)));
    for view in noisy.iter().chain(&views(&board(photos), &photos["views"])) {
        assert_eq!(fit_camera(&vec![view.clone(); 4], size), Err(CameraError::Alike));
    }
    assert_eq!(fit_camera(&[&noisy[..2], &noisy[..2]].concat(), size), Err(CameraError::Alike));

    // One plane, four times found anew, and shifted and turned within itself.
    let (plane, truth) = (board(made), camera(&made["true"]));
    for (stream, pose) in truth.poses.iter().enumerate() {
        let again = drawn(&truth, &[*pose; 4], &plane, 0.2, stream as u64);
        assert_eq!(fit_camera(&again, size), Err(CameraError::Alike), "{stream}");
    }
    let flat = |turn: f64| Pose { rotation: [0.0, 0.0, turn], translation_mm: [-60.0 + 20.0 * turn, -50.0, 340.0] };
    for noise_px in [0.0, 0.2] {
        let parallel = drawn(&truth, &[0.0, 0.4, 0.8, 1.2].map(flat), &plane, noise_px, 9);
        assert_eq!(fit_camera(&parallel, size), Err(CameraError::Alike), "{noise_px}");
    }
}

#[test]
fn views_with_too_few_points_are_refused() {
    let data = &data()["synthetic"];
    let full = views(&board(data), &data["noisy"]["views"]);
    let only = |keep: &[usize]| -> Vec<PlaneView> {
        let of = |points: &[[f64; 2]]| keep.iter().map(|&i| points[i]).collect();
        full[..3].iter().map(|v| PlaneView { plane_mm: of(&v.plane_mm), shown_px: of(&v.shown_px) }).collect()
    };
    let size = size(data);
    assert_eq!(fit_camera(&only(&[0, 7, 40]), size), Err(CameraError::Points(1)));
    assert_eq!(fit_camera(&only(&[0, 1, 2, 3, 4, 5, 6, 7]), size), Err(CameraError::Points(1)));
    assert_eq!(fit_camera(&only(&[0, 7, 40, 47]), size), Err(CameraError::FewPoints));
}
