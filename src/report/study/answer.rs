//! The answer in three sentences, and what is known and what is open.

use super::super::dial;
use super::words::{self, Said, Standing};
use crate::compare::Verdict;
use crate::study::findings::{Findings, TastingVerdict};
use crate::study::wear::Shape;

/// The three sentences: what changed, when it stopped, whether it matters in the cup.
pub(super) fn answer(f: &Findings) -> [String; 3] {
    [changed(f), stopped(f), matters(f)]
}

fn changed(f: &Findings) -> String {
    let of = |verdict: Verdict| f.comparisons.iter().find(|c| c.verdict == verdict);
    if let Some(c) = of(Verdict::Different).or(of(Verdict::Alike)).or(of(Verdict::Undecided)) {
        return words::comparison(c).1;
    }
    "No two samples were asked to be compared.".to_owned()
}

fn stopped(f: &Findings) -> String {
    // The clearest: a plateau, then a change, then none; among equals the smallest chance of error.
    let trends = f.series.iter().filter_map(|s| Some((s, s.trend.as_ref().ok()?)));
    let rank = |shape: Shape| match shape {
        Shape::Plateau => 0,
        Shape::Line => 1,
        Shape::NoChange => 2,
    };
    let best = trends.min_by(|(_, a), (_, b)| {
        (rank(a.shape()), a.p_adjusted)
            .partial_cmp(&(rank(b.shape()), b.p_adjusted))
            .unwrap_or(std::cmp::Ordering::Equal)
    });
    match best {
        Some((s, _)) => words::series(f, s).1,
        None if f.series.is_empty() => {
            "Nothing can be said of wear: no set of burrs has samples at different kilograms.".to_owned()
        }
        None => "Nothing can be said of wear: no set of burrs has samples at enough different kilograms.".to_owned(),
    }
}

fn matters(f: &Findings) -> String {
    let triangle = |i: &usize| matches!(f.tastings[*i], TastingVerdict::Triangle(_));
    let known = |i: &usize| words::tasting(f, *i).0 == Standing::Known;
    let all: Vec<usize> = (0..f.tastings.len()).collect();
    let best = all.iter().find(|i| triangle(i) && known(i)).or(all.iter().find(|i| known(i))).or(all.first());
    if let Some(i) = best {
        return words::tasting(f, *i).1;
    }
    let pairs: Vec<Said> = f.cup_differences.iter().map(|c| words::cup_pair(f, c)).collect();
    match pairs.iter().find(|p| p.0 == Standing::Known).or(pairs.first()) {
        Some((_, text)) => format!("{text} Nobody has tasted blind."),
        None => {
            "Whether it matters in the cup was not asked: there is no tasting and no brew of two samples.".to_owned()
        }
    }
}

/// Everything known and everything open, each as sentences.
pub(super) fn standings(f: &Findings) -> [Vec<String>; 2] {
    let mut all: Vec<Said> = f.comparisons.iter().map(words::comparison).collect();
    if let Some(Ok(d)) = &f.dials {
        all.extend(d.pairs.iter().map(|pair| {
            let standing = if dial::verdict(pair) == Verdict::Undecided { Standing::Open } else { Standing::Known };
            (standing, dial::sentences(d, pair))
        }));
    }
    all.extend(words::wears(f));
    all.extend(f.cup_differences.iter().map(|c| words::cup_pair(f, c)));
    all.extend(f.brew_times.iter().map(words::brew_time));
    all.extend((0..f.tastings.len()).map(|i| words::tasting(f, i)));
    let one_photo = f.grinds.iter().flatten().filter(|g| g.of_photos.len() == 1).count();
    if one_photo > 0 {
        let text = format!(
            "{} rest on one photo: nothing shows there how much two spreads of the same grounds differ.",
            super::super::format::count(one_photo, "sample")
        );
        all.push((Standing::Open, text));
    }
    if f.grinds.iter().flatten().any(|g| g.fines_at_least) {
        all.push((
            Standing::Open,
            "Some photos do not show the finest fines: their share is the least that there is.".to_owned(),
        ));
    }
    let of = |standing| all.iter().filter(|s| s.0 == standing).map(|s| s.1.clone()).collect();
    [of(Standing::Known), of(Standing::Open)]
}
