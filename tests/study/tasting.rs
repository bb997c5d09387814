//! Tastings against a published table and values computed with SciPy 1.17.1 and statsmodels 0.15.0.

use lightsieve::numeric::{binomial_upper_tail, exact_share};
use lightsieve::study::tasting::{
    MOST_ASSESSORS, Preference, Triangle, assessors, assessors_for_similarity, critical, power, similarity_power,
};

fn near(found: f64, known: f64, within: f64) {
    assert!((found - known).abs() < within, "{found} is not {known}");
}

/// Fewest right answers at 10, 5, 1 and 0.1 %; 0 where not even all are enough.
/// Source: FAO document V7180E, Appendix A (the rule of ISO 4120, Table A.1).
const TABLE: [(u32, [u32; 4]); 44] = [
    (3, [3, 3, 0, 0]),
    (4, [4, 4, 0, 0]),
    (5, [4, 4, 5, 0]),
    (6, [5, 5, 6, 0]),
    (7, [5, 5, 6, 7]),
    (8, [5, 6, 7, 8]),
    (9, [6, 6, 7, 8]),
    (10, [6, 7, 8, 9]),
    (11, [7, 7, 8, 10]),
    (12, [7, 8, 9, 10]),
    (13, [8, 8, 9, 11]),
    (14, [8, 9, 10, 11]),
    (15, [8, 9, 10, 12]),
    (16, [9, 9, 11, 12]),
    (17, [9, 10, 11, 13]),
    (18, [10, 10, 12, 13]),
    (19, [10, 11, 12, 14]),
    (20, [10, 11, 13, 14]),
    (21, [11, 12, 13, 15]),
    (22, [11, 12, 14, 15]),
    (23, [12, 12, 14, 16]),
    (24, [12, 13, 15, 16]),
    (25, [12, 13, 15, 17]),
    (26, [13, 14, 15, 17]),
    (27, [13, 14, 16, 18]),
    (28, [14, 15, 16, 18]),
    (29, [14, 15, 17, 19]),
    (30, [14, 15, 17, 19]),
    (31, [15, 16, 18, 20]),
    (32, [15, 16, 18, 20]),
    (33, [15, 17, 18, 21]),
    (34, [16, 17, 19, 21]),
    (35, [16, 17, 19, 22]),
    (36, [17, 18, 20, 22]),
    (42, [19, 20, 22, 25]),
    (48, [21, 22, 25, 27]),
    (54, [23, 25, 27, 30]),
    (60, [26, 27, 30, 33]),
    (66, [28, 29, 32, 35]),
    (72, [30, 32, 34, 38]),
    (78, [32, 34, 37, 40]),
    (84, [35, 36, 39, 43]),
    (90, [37, 38, 42, 45]),
    (96, [39, 41, 44, 48]),
];

#[test]
fn critical_numbers_are_those_of_the_published_table() {
    for (n, wanted) in TABLE {
        for (alpha, least) in [0.1, 0.05, 0.01, 0.001].into_iter().zip(wanted) {
            assert_eq!(critical(n, alpha), (least > 0).then_some(least), "{n} tests at {alpha}");
        }
    }
    assert_eq!(critical(1, 0.05), None);
}

/// scipy.stats.binom.sf(k − 1, n, 1/3).
#[test]
fn chances_of_guessing() {
    for (n, k, p) in [
        (5, 4, 0.045267489711934145),
        (12, 8, 0.01875843226247128),
        (24, 13, 0.028441128095468803),
        (30, 15, 0.04348227572791943),
        (36, 18, 0.028349210190715804),
    ] {
        near(Triangle { presented: n, correct: k }.verdict(0.95, 0.3).p, p, 1e-12);
    }
    assert_eq!(binomial_upper_tail(0, 5, 0.2), 1.0);
    assert_eq!(binomial_upper_tail(6, 5, 0.2), 0.0);
}

/// statsmodels.stats.proportion.proportion_confint(k, n, method="beta").
#[test]
fn exact_intervals() {
    for (k, n, low, high) in [
        (14, 30, 0.283418079183537, 0.656744761839266),
        (0, 20, 0.0, 0.168433470983085),
        (20, 20, 0.831566529016915, 1.0),
        (13, 24, 0.32820807569517796, 0.7444697980052537),
        (3, 200, 0.003104107621554, 0.043208281917713),
    ] {
        let found = exact_share(k, n, 0.95);
        near(found[0], low, 1e-10);
        near(found[1], high, 1e-10);
    }
    // scipy.stats.beta.ppf(0.05, 14, 17), one-sided; and the interval above, brought to those who can tell.
    near(lightsieve::numeric::lower_bound(14, 30, 0.05), 0.30846402719339394, 1e-10);
    let told = Triangle { presented: 30, correct: 14 }.verdict(0.95, 0.3).can_tell;
    near(told.value, 0.2, 1e-12);
    near(told.high, 0.48511714275889883, 1e-10);
    assert_eq!(told.low, 0.0);
}

/// scipy.stats.binom.sf(critical − 1, n, 1/3 + 2/3·pd).
#[test]
fn power_and_number_of_people() {
    near(power(66, 0.3, 0.05), 0.9507276598410805, 1e-12);
    near(power(24, 0.3, 0.05), 0.550475132488567, 1e-12);
    near(power(60, 0.3, 0.001), 0.449724886377965, 1e-12);
    // Share of right answers 0.6.
    near(power(30, 0.4, 0.05), 0.902943156179251, 1e-12);
    // Fewest people from which on the power of scipy.stats.binom stays above the wanted one.
    for (pd, alpha, wanted, people) in [
        (0.5, 0.05, 0.8, 16),
        (0.3, 0.05, 0.8, 42),
        (0.3, 0.05, 0.9, 57),
        (0.25, 0.05, 0.8, 60),
        (0.4, 0.01, 0.9, 49),
        (0.2, 0.1, 0.8, 74),
    ] {
        assert_eq!(assessors(pd, alpha, wanted), Some(people), "{pd} {alpha} {wanted}");
    }
    assert_eq!(assessors(0.001, 0.05, 0.8), None, "more than {MOST_ASSESSORS} people");
}

/// scipy.stats.beta.ppf for the bound, scipy.stats.binom.cdf for the chance.
#[test]
fn similarity() {
    for (n, chance) in
        [(24, 0.5944660744337368), (36, 0.7066847166048726), (60, 0.9319848216411192), (96, 0.9872522285367304)]
    {
        near(similarity_power(n, 0.3, 0.05), chance, 1e-10);
    }
    assert_eq!(assessors_for_similarity(0.3, 0.05, 0.8), Some(46));
    // The largest numbers of right answers that show similarity below 30 %, and one more.
    let of = |presented, correct| Triangle { presented, correct }.verdict(0.95, 0.3);
    assert!(of(60, 25).similar && !of(60, 26).similar);
    assert!(of(96, 41).differs && of(96, 41).similar, "a few can tell: both are true");
}

/// scipy.stats.binomtest(k, n, 0.5).
#[test]
fn preferences() {
    for (n, k, p, low) in [
        (24, 17, 0.06391465663909912, 0.48905218614216706),
        (30, 15, 1.0, 0.3129702858679498),
        (20, 3, 0.0025768280029296875, 0.03207093718554477),
    ] {
        let found = Preference { pairs: n, prefer_first: k }.verdict(0.95);
        near(found.p, p, 1e-12);
        near(found.first.low, low, 1e-10);
        assert_eq!(found.differs, p < 0.05);
    }
}

/// Coverage of the printed interval, reckoned exactly over all outcomes instead of drawn.
#[test]
fn the_interval_of_those_who_can_tell_holds_the_truth() {
    for n in [12, 24, 36, 60] {
        for pd in [0.0, 0.1, 0.3, 0.5, 0.9] {
            let p = 1.0 / 3.0 + 2.0 / 3.0 * pd;
            let chance = |k: u32| binomial_upper_tail(k, n, p) - binomial_upper_tail(k + 1, n, p);
            let holds = |k: &u32| {
                let told = Triangle { presented: n, correct: *k }.verdict(0.95, 0.3).can_tell;
                told.low <= pd + 1e-9 && pd <= told.high + 1e-9
            };
            let coverage: f64 = (0..=n).filter(holds).map(chance).sum();
            assert!(coverage >= 0.95, "{n} people, {pd}: {coverage}");
        }
    }
}

#[test]
fn a_difference_that_is_shown_has_someone_who_can_tell() {
    // scipy.stats.beta.ppf(0.05, k, n - k + 1), as a share who can tell.
    for (presented, correct, least) in [(42, 20, 0.013290996480798595), (36, 20, 0.10914216583556488)] {
        let v = Triangle { presented, correct }.verdict(0.95, 0.3);
        assert!(v.differs);
        near(v.at_least, least, 1e-9);
    }
    // scipy.stats.binom.cdf(k, 24, 1/3): 0.00487 for 2, 0.0199 for 3.
    let below = |correct| Triangle { presented: 24, correct }.verdict(0.95, 0.3).below_guessing;
    assert!(below(0) && below(2) && !below(3) && !below(8));
}
