//! Scenes seen aslant, and what is printed on them.

use super::outline::area;
use super::*;

fn blank() -> SceneSpec {
    SceneSpec {
        width_px: 800,
        height_px: 600,
        um_per_px: 100.0,
        coverage: 0.0,
        paper: Paper { texture: 0.0, ..Paper::default() },
        light: Light { gradient: 0.0, vignette: 0.0, ..Light::default() },
        shadow: Shadow { strength: 0.0, ..Shadow::default() },
        ..SceneSpec::default()
    }
}

fn aslant() -> View {
    View { tilt_deg: 24.0, tilt_direction_deg: 70.0, turn_deg: 40.0, focal_35mm: 26.0, k1: -0.05, k2: 0.02 }
}

/// Darkness of the first plane before any lens: its sum over (paper − ink), and its middle.
fn darkness(spec: &SceneSpec, ink: f64) -> (f64, [f64; 2]) {
    let (scene, _) = set(spec).unwrap();
    let strip = paint::radiance(&scene, 0..spec.height_px as usize);
    let paper = spec.paper.reflectance[0];
    let (mut sum, mut x, mut y) = (0.0, 0.0, 0.0);
    for (i, &v) in strip.planes[0].iter().enumerate() {
        let dark = (paper - f64::from(v)) / (paper - ink);
        sum += dark;
        x += dark * ((i % strip.width) as f64 + 0.5);
        y += dark * ((i / strip.width) as f64 + 0.5);
    }
    (sum, [x / sum, y / sum])
}

fn off(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

#[test]
fn printed_disc_has_its_area_and_place() {
    let centre = [7.137, -4.211];
    let mut spec = SceneSpec { print: vec![Ink::disc(centre, 5.0)], ..blank() };
    let (sum, middle) = darkness(&spec, 0.032);
    assert!((sum / (std::f64::consts::PI * 2500.0) - 1.0).abs() < 2e-5, "{sum}");
    assert!(off(middle, [400.0 + 71.37, 300.0 - 42.11]) < 1e-3, "{middle:?}");
    // A hole in it gives the paper back.
    spec.print.push(Ink::white_disc(centre, 3.0));
    let (sum, _) = darkness(&spec, 0.032);
    assert!((sum / (std::f64::consts::PI * 1600.0) - 1.0).abs() < 4e-5, "{sum}");
}

#[test]
fn printed_disc_goes_where_the_view_maps_it() {
    let centre = [-17.0, 9.0];
    let spec = SceneSpec { view: Some(aslant()), print: vec![Ink::disc(centre, 0.6)], ..blank() };
    let made = render(&spec).unwrap();
    let (sum, middle) = darkness(&spec, 0.032);
    // Small enough that its middle is hardly drawn aside.
    assert!(off(middle, made.px_of(centre, 0.0)) < 0.05, "{middle:?}");
    let asked = std::f64::consts::PI * 600.0_f64.powi(2) / made.um_per_px_at(centre, 0.0).powi(2);
    assert!((sum / asked - 1.0).abs() < 2e-3, "{sum} for {asked}");
}

#[test]
fn long_printed_sides_bend_with_the_lens() {
    let view = View { k1: 0.2, ..View::default() };
    let bar =
        Ink { outline_mm: vec![[-60.0, 20.0], [60.0, 20.0], [60.0, 70.0], [-60.0, 70.0]], reflectance: Some([0.0; 3]) };
    let spec = SceneSpec { view: Some(view), print: vec![bar], ..blank() };
    let (scene, _) = set(&spec).unwrap();
    let strip = paint::radiance(&scene, 0..600);
    let projection = view::Projection::new(&spec);
    for x in [-35.0, -20.0, 0.0, 20.0, 35.0] {
        let [column, row] = projection.to_px([x, 20.0], 0.0);
        let paper = spec.paper.reflectance[0] as f32;
        let light: f32 = (0..600).map(|y| strip.planes[0][y * 800 + column as usize] / paper).sum();
        assert!((f64::from(light) - row).abs() < 0.2, "{light} for {row}");
    }
}

#[test]
fn particles_are_seen_by_the_local_scale() {
    let spec = SceneSpec {
        um_per_px: 40.0,
        coverage: 0.05,
        view: Some(aslant()),
        grind: Grind { fines_number_share: 0.2, ..Grind::default() },
        ..blank()
    };
    let (scene, truth) = set(&spec).unwrap();
    let projection = &scene.stage.projection;
    assert!(truth.len() > 100 && truth.iter().any(|t| t.cut_by_frame));
    for (seen, t) in scene.particles.iter().zip(&truth) {
        let local = projection.um_per_px_at([t.x_mm, t.y_mm], 0.0);
        let ratio = area(&seen.outline) * local * local / t.area_um2;
        assert!((ratio - 1.0).abs() < 0.01, "{ratio}");
        // The near half is drawn larger, which moves the centroid by a share of the size squared.
        assert!(off([t.x_px, t.y_px], projection.to_px([t.x_mm, t.y_mm], 0.0)) < 5e-4 * seen.ecd.powi(2));
    }
    // Every part of the paper in the frame gets its share: compare the quarters.
    let mut quarters = [0.0; 4];
    for (t, seen) in truth.iter().zip(&scene.particles) {
        quarters[usize::from(t.x_px > 400.0) + 2 * usize::from(t.y_px > 300.0)] += area(&seen.outline);
    }
    assert!(quarters.iter().all(|q| (0.02..0.09).contains(&(q / 120_000.0))), "{quarters:?}");
}

#[test]
fn a_view_from_straight_above_is_no_view() {
    let plain = SceneSpec { um_per_px: 30.0, coverage: 0.05, print: vec![Ink::disc([2.0, 1.0], 2.0)], ..blank() };
    let plain = SceneSpec { spread_mm: Some([-9.0, -7.0, 9.0, 7.0]), ..plain };
    let viewed = SceneSpec { view: Some(View::default()), ..plain.clone() };
    let (a, b) = (render(&plain).unwrap(), render(&viewed).unwrap());
    assert_eq!(a.truth.len(), b.truth.len());
    for (p, q) in a.truth.iter().zip(&b.truth) {
        assert!(off([p.x_px, p.y_px], [q.x_px, q.y_px]) < 1e-6 && p.area_um2 == q.area_um2);
        assert!(off([p.x_mm, p.y_mm], [(p.x_px - 400.0) * 0.03, (p.y_px - 300.0) * 0.03]) < 1e-9);
    }
    let most = a.image.as_raw().iter().zip(b.image.as_raw()).map(|(p, q)| p.abs_diff(*q)).max();
    assert!(most <= Some(1), "{most:?}");
}

#[test]
fn without_a_view_pictures_stay_as_they_were() {
    let spec = SceneSpec {
        width_px: 900,
        height_px: 700,
        touching_share: 0.3,
        reference: Some(ReferenceDisc { diameter_mm: 8.0, ..ReferenceDisc::default() }),
        ..SceneSpec::default()
    };
    let made = render(&spec).unwrap();
    let bytes = made.image.as_raw();
    let mean = bytes.iter().map(|&v| f64::from(v)).sum::<f64>() / bytes.len() as f64;
    let places: f64 = made.truth.iter().map(|p| p.x_px + p.y_px).sum();
    // From the renderer before it had views.
    assert_eq!(made.truth.len(), 300);
    assert!((places - 274_519.901_582_628_66).abs() < 1e-6, "{places}");
    assert!((mean - 206.549_777_777_777_8).abs() < 1e-4, "{mean}");
    assert!((made.mass_figures(100.0).d50_um - 787.400_373_247_001_3).abs() < 1e-9);
}

#[test]
fn grounds_stay_in_their_box() {
    let [x0, y0, x1, y1] = [-12.0, -8.0, 20.0, 10.0];
    for view in [None, Some(aslant())] {
        let spec =
            SceneSpec { coverage: 0.08, touching_share: 0.4, spread_mm: Some([x0, y0, x1, y1]), view, ..blank() };
        let made = render(&spec).unwrap();
        assert!(made.truth.iter().all(|t| (x0..=x1).contains(&t.x_mm) && (y0..=y1).contains(&t.y_mm)));
        let share = made.truth.iter().map(|t| t.area_um2 * 1e-6).sum::<f64>() / ((x1 - x0) * (y1 - y0));
        assert!((0.0795..0.086).contains(&share), "{share}");
        // None was cut, so all weigh alike.
        let moment = |k| made.truth.iter().map(|t| t.ecd_um.powi(k)).sum::<f64>();
        assert!((made.mass_figures(100.0).d32_um / (moment(3) / moment(2)) - 1.0).abs() < 1e-9);
    }
}

#[test]
fn disc_and_card_are_drawn_where_the_truth_says() {
    let dark = [0.0; 3];
    let disc = ReferenceDisc {
        diameter_mm: 20.0,
        centre: (0.3, 0.3),
        reflectance: dark,
        thickness_mm: 1.8,
        ..ReferenceDisc::default()
    };
    let card = ReferenceCard {
        centre_mm: [10.0, 9.0],
        width_mm: 30.0,
        height_mm: 18.0,
        corner_mm: 0.0,
        turn_deg: 25.0,
        reflectance: dark,
        ..ReferenceCard::default()
    };
    for view in [None, Some(View { k1: 0.0, k2: 0.0, ..aslant() })] {
        // Shadows of plates are always there: too faint here to tell, as the ink is black.
        let only_disc = SceneSpec { view, reference: Some(disc.clone()), ..blank() };
        let made = render(&only_disc).unwrap();
        let truth = made.reference.unwrap();
        assert!(off([truth.x_px, truth.y_px], made.px_of([truth.x_mm, truth.y_mm], 1.8)) < 1e-9);
        assert!(dark_share(&made, [truth.x_px, truth.y_px], 0.49 * truth.diameter_px / 1.15) > 0.999);

        let only_card = SceneSpec { view, card: Some(card.clone()), ..blank() };
        let made = render(&only_card).unwrap();
        let truth = made.card.unwrap();
        let (sin, cos) = 25.0_f64.to_radians().sin_cos();
        let first = [10.0 - 15.0 * cos + 9.0 * sin, 9.0 - 15.0 * sin - 9.0 * cos];
        assert!(off(truth.corners_px[0], made.px_of(first, 0.76)) < 1e-9);
        for corner in truth.corners_px {
            // Just inside a corner it is dark, just outside it is light.
            let at = |k: f64| [truth.x_px + k * (corner[0] - truth.x_px), truth.y_px + k * (corner[1] - truth.y_px)];
            assert!(dark_share(&made, at(0.96), 1.0) == 1.0 && dark_share(&made, at(1.1), 1.0) == 0.0);
        }
    }
}

/// Share of the pixels about a point that are dark.
fn dark_share(made: &Rendered, at: [f64; 2], radius: f64) -> f64 {
    let near = |&(x, y, _): &(u32, u32, _)| off([f64::from(x) + 0.5, f64::from(y) + 0.5], at) < radius;
    let seen: Vec<_> = made.image.enumerate_pixels().filter(near).collect();
    seen.iter().filter(|(_, _, p)| p.0[1] < 100).count() as f64 / seen.len() as f64
}

#[test]
fn the_sides_of_a_card_bend_with_the_lens() {
    let card = ReferenceCard { reflectance: [0.0; 3], centre_mm: [0.0, 45.0], ..ReferenceCard::default() };
    for k1 in [-0.15, 0.2] {
        let view = View { tilt_deg: 10.0, k1, ..View::default() };
        let made =
            render(&SceneSpec { um_per_px: 160.0, view: Some(view), card: Some(card.clone()), ..blank() }).unwrap();
        // Along the upper side, which the wall leaves as it is: dark just inside, light outside.
        for x in [-38.0, -15.0, 0.0, 30.0] {
            let at = |y| made.px_of([x, y], 0.76);
            let side = 45.0 - 26.99;
            assert!(dark_share(&made, at(side + 0.4), 1.0) == 1.0 && dark_share(&made, at(side - 0.4), 1.0) == 0.0);
        }
    }
}

#[test]
fn grounds_keep_clear_of_raised_things() {
    let spec = SceneSpec {
        coverage: 0.02,
        view: Some(aslant()),
        card: Some(ReferenceCard::default()),
        um_per_px: 200.0,
        ..blank()
    };
    let made = render(&spec).unwrap();
    let on_card = |t: &&TrueParticle| t.x_mm.abs() < 42.8 && t.y_mm.abs() < 26.99;
    assert!(made.truth.len() > 2000 && made.truth.iter().filter(on_card).count() == 0);
}

#[test]
fn cast_shadow_darkens_one_side() {
    let cast = CastShadow { through_px: [300.0, 100.0], direction_deg: 0.0, strength: 0.4, softness_px: 50.0 };
    let spec = SceneSpec { light: Light { cast: Some(cast), ..blank().light }, ..blank() };
    let (scene, _) = set(&spec).unwrap();
    let strip = paint::radiance(&scene, 0..4);
    let light = |x: usize| strip.planes[0][x] / spec.paper.reflectance[0] as f32;
    assert!((light(270) - 1.0).abs() < 1e-5 && (light(330) - 0.6).abs() < 1e-5);
    assert!((0.5 * (light(299) + light(300)) - 0.8).abs() < 1e-5);
    // A quarter of the way: smoothstep(0.25) = 0.15625.
    assert!((0.5 * (light(287) + light(287 + 1)) - (1.0 - 0.4 * 0.156_25)).abs() < 6e-3);
}

#[test]
fn strips_leave_no_seam_under_a_view() {
    let spec = SceneSpec {
        coverage: 0.05,
        view: Some(aslant()),
        print: vec![Ink::disc([0.0, 0.0], 60.0), Ink::white_disc([0.0, 0.0], 20.0), Ink::disc([4.0, 2.0], 2.0)],
        card: Some(ReferenceCard { centre_mm: [-20.0, 0.0], ..ReferenceCard::default() }),
        reference: Some(ReferenceDisc { centre: (0.8, 0.5), thickness_mm: 2.0, ..ReferenceDisc::default() }),
        ..blank()
    };
    let (scene, _) = set(&spec).unwrap();
    assert!(camera::photograph(&scene, 600) == camera::photograph(&scene, 77));
}

#[test]
fn impossible_views_are_refused() {
    let refused = |view: View, word: &str| {
        let message = render(&SceneSpec { view: Some(view), ..blank() }).unwrap_err().to_string();
        assert!(message.contains(word), "{message}");
    };
    refused(View { tilt_deg: 41.0, ..View::default() }, "view.tilt_deg");
    refused(View { tilt_deg: 35.0, focal_35mm: 14.0, ..View::default() }, "view.tilt_deg");
    refused(View { k1: -0.5, ..View::default() }, "fold");
    refused(View { focal_35mm: f64::NAN, ..View::default() }, "view.focal_35mm");
}
