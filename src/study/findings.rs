//! Everything that a study comes to.

use rayon::prelude::*;

use super::brew_time::{BrewTime, brew_times};
use super::cup::{CupDifference, Extraction, cup_difference, extraction};
use super::dialled::dialled;
use super::file::{BrewKind, Study, TastingKind};
use super::grind::{Grind, Measured};
use super::series::{Series, series};
use super::tasting::{PreferenceVerdict, TriangleVerdict, critical};
use crate::compare::sieve::predicted;
use crate::compare::{Comparison, DialError, Dials, Grounds, Question, compare, holm};
use crate::distribution::SieveShape;
use crate::numeric::Estimate;

/// What a study comes to.
#[derive(Clone, Debug)]
pub struct Findings {
    /// The study.
    pub study: Study,
    /// Each sample's grind, where it could be measured.
    pub grinds: Vec<Option<Grind>>,
    /// What could not be measured or compared: file or sample, and reason.
    pub failed: Vec<(String, String)>,
    /// Advice on photos: photo and sentence.
    pub advice: Vec<(String, String)>,
    /// The comparisons asked for.
    pub comparisons: Vec<Comparison>,
    /// Sample and shares of its sieve layers that its photos predict; empty where it has none.
    pub sieves: Vec<(usize, Vec<Estimate>)>,
    /// Sets of burrs at the same median, where several were ground at several settings; or why that cannot be said.
    pub dials: Option<Result<Dials, DialError>>,
    /// Figures over the kilograms.
    pub series: Vec<Series>,
    /// Brew (its place) and what was extracted.
    pub cups: Vec<(usize, Extraction)>,
    /// Yields of two samples that are compared or tasted: samples, kind, difference (absent with fewer than two brews a side),
    /// and its p-value for all of them.
    pub cup_differences: Vec<CupPair>,
    /// Brew time against the grind.
    pub brew_times: Vec<BrewTime>,
    /// Verdict of each tasting, in the order of the file; differences and preferences are told with all of them counted.
    pub tastings: Vec<TastingVerdict>,
    /// The p-value of each with all of them counted (Holm).
    pub tastings_p: Vec<f64>,
}

/// Yields of two samples.
#[derive(Clone, Debug, PartialEq)]
pub struct CupPair {
    /// The samples.
    pub samples: [usize; 2],
    /// Kind of brew.
    pub kind: BrewKind,
    /// Brews of each.
    pub brews: [usize; 2],
    /// Their difference, % of the dose.
    pub difference: Option<CupDifference>,
    /// Its p-value for all such pairs.
    pub p_adjusted: Option<f64>,
}

/// What a tasting says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TastingVerdict {
    /// Triangle tests.
    Triangle(TriangleVerdict),
    /// Preferences.
    Preference(PreferenceVerdict),
}

/// Works out the `study` from what was `measured` of each of its samples.
pub fn findings(study: Study, measured: &[Measured]) -> Findings {
    let mut failed: Vec<(String, String)> = measured.iter().flat_map(|m| m.failed.clone()).collect();
    let found: Vec<Result<Option<Grind>, String>> = study
        .samples
        .par_iter()
        .zip(measured)
        .map(|(sample, m)| {
            if m.photos.is_empty() {
                return Ok(None);
            }
            let grind = Grind::of(&sample.name, m, study.fines_um, study.level, study.seed);
            grind.map(Some).map_err(|e| e.to_string())
        })
        .collect();
    let mut grinds = Vec::new();
    for (sample, grind) in study.samples.iter().zip(found) {
        grinds.push(grind.unwrap_or_else(|e| {
            failed.push((sample.name.clone(), e));
            None
        }));
    }
    let comparisons = comparisons(&study, &grinds, &mut failed);
    let sieves = study.samples.iter().zip(&grinds).enumerate().filter_map(|(i, (sample, grind))| {
        let stack = sample.sieve.as_ref()?;
        let shares = grind
            .as_ref()
            .map(|g| predicted(&g.grounds.sample, &stack.apertures_um, &SieveShape::default(), study.level));
        Some((i, shares.unwrap_or_default()))
    });
    let sieves = sieves.collect();
    let cups: Vec<(usize, Extraction)> = study
        .brews
        .iter()
        .enumerate()
        .filter_map(|(i, b)| Some((i, extraction(&b.brewed?, &study.steps, study.level).ok()?)))
        .collect();
    let (tastings, tastings_p) = tastings(&study);
    Findings {
        comparisons,
        sieves,
        dials: dialled(&study, &grinds),
        series: series(&study, &grinds),
        cup_differences: cup_differences(&study, &cups),
        cups,
        brew_times: brew_times(&study, &grinds),
        tastings,
        tastings_p,
        advice: measured.iter().flat_map(|m| m.advice.clone()).collect(),
        failed,
        grinds,
        study,
    }
}

/// Each tasting for itself, then with all of them counted: of twenty tastings in which nobody can tell, one would else show a
/// difference.
fn tastings(study: &Study) -> (Vec<TastingVerdict>, Vec<f64>) {
    let mut all: Vec<TastingVerdict> = study.tastings.iter().map(|t| verdict(t.kind, study.level)).collect();
    let p: Vec<f64> = all
        .iter()
        .map(|t| match t {
            TastingVerdict::Triangle(v) => v.p,
            TastingVerdict::Preference(v) => v.p,
        })
        .collect();
    let adjusted = holm(&p, 1);
    let alpha = 1.0 - study.level;
    let many = all.len() as f64;
    for ((verdict, asked), p) in all.iter_mut().zip(&study.tastings).zip(&adjusted) {
        match (verdict, asked.kind) {
            (TastingVerdict::Triangle(v), TastingKind::Triangle(t, _)) => {
                v.differs = *p <= alpha;
                // So many show it whatever the other tastings say (Bonferroni's bound).
                v.critical = critical(t.presented, alpha / many);
            }
            (TastingVerdict::Preference(v), _) => v.differs = *p <= alpha,
            (TastingVerdict::Triangle(_), TastingKind::Preference(_)) => {
                unreachable!("verdicts are made in the order of the tastings")
            }
        }
    }
    (all, adjusted)
}

fn verdict(kind: TastingKind, level: f64) -> TastingVerdict {
    match kind {
        TastingKind::Triangle(t, similar) => TastingVerdict::Triangle(t.verdict(level, similar)),
        TastingKind::Preference(p) => TastingVerdict::Preference(p.verdict(level)),
    }
}

/// The comparisons of the file; those with the same base are adjusted together.
fn comparisons(study: &Study, grinds: &[Option<Grind>], failed: &mut Vec<(String, String)>) -> Vec<Comparison> {
    let question = Question {
        level: study.level,
        fines_um: study.fines_um,
        shares_above_um: Vec::new(),
        margin: study.margins[0],
        fines_margin: study.margins[1],
        seed: study.seed,
    };
    let mut bases: Vec<usize> = study.comparisons.iter().map(|c| c[0]).collect();
    bases.sort_unstable();
    bases.dedup();
    let mut all = Vec::new();
    for base in bases {
        let pairs = study.comparisons.iter().filter(|c| c[0] == base).map(|c| c[1]);
        let mut others: Vec<Grounds> = Vec::new();
        for other in pairs {
            match (&grinds[base], &grinds[other]) {
                (Some(_), Some(grind)) => others.push(grind.grounds.clone()),
                _ => failed.push((
                    format!("{} against {}", study.samples[other].name, study.samples[base].name),
                    "not compared: no photo of one of them could be measured".to_owned(),
                )),
            }
        }
        let Some(grind) = grinds[base].as_ref().filter(|_| !others.is_empty()) else { continue };
        match compare(&grind.grounds, &others, &question) {
            Ok(found) => all.extend(found),
            Err(e) => failed.push((study.samples[base].name.clone(), e.to_string())),
        }
    }
    all
}

/// Yields of the pairs that are compared or tasted.
fn cup_differences(study: &Study, cups: &[(usize, Extraction)]) -> Vec<CupPair> {
    let mut pairs: Vec<[usize; 2]> = Vec::new();
    for pair in study.comparisons.iter().copied().chain(study.tastings.iter().map(|t| t.samples)) {
        if !pairs.contains(&pair) && !pairs.contains(&[pair[1], pair[0]]) {
            pairs.push(pair);
        }
    }
    let mut all = Vec::new();
    for samples in pairs {
        for kind in BrewKind::ALL {
            let yields = samples.map(|sample| -> Vec<f64> {
                let own = cups.iter().filter(|(b, _)| study.brews[*b].sample == sample && study.brews[*b].kind == kind);
                own.map(|(_, e)| e.yield_pct.value).collect()
            });
            if yields.iter().all(|y| !y.is_empty()) {
                all.push(CupPair {
                    samples,
                    kind,
                    brews: [yields[0].len(), yields[1].len()],
                    difference: cup_difference([&yields[0], &yields[1]], study.level),
                    p_adjusted: None,
                });
            }
        }
    }
    let p: Vec<f64> = all.iter().filter_map(|c| Some(c.difference?.p)).collect();
    let known = all.iter_mut().filter(|c| c.difference.is_some());
    known.zip(holm(&p, 1)).for_each(|(c, p)| c.p_adjusted = Some(p));
    all
}
