//! Sets of burrs over the settings of their dial, each set at each stage of its wear for itself.

use super::file::Study;
use super::grind::Grind;
use crate::compare::{DialError, DialQuestion, Dials, Ground, dials};

/// The sets that were ground at several settings at the same kilograms, compared at the same median; `None` with fewer than two.
pub fn dialled(study: &Study, grinds: &[Option<Grind>]) -> Option<Result<Dials, DialError>> {
    let stage = |i: usize| (study.samples[i].burrs, study.samples[i].kg.map(f64::to_bits));
    let set: Vec<usize> =
        (0..study.samples.len()).filter(|&i| grinds[i].is_some() && study.samples[i].setting.is_some()).collect();
    let turned =
        |i: usize| set.iter().any(|&j| stage(j) == stage(i) && study.samples[j].setting != study.samples[i].setting);
    let grounds: Vec<Ground> = set
        .iter()
        .filter(|&&i| turned(i))
        .filter_map(|&i| {
            let sample = &study.samples[i];
            let burrs = &study.burrs[sample.burrs].name;
            let set = sample.kg.map_or_else(|| burrs.clone(), |kg| format!("{burrs} at {kg} kg"));
            Some(Ground { set, setting: sample.setting?, grounds: grinds[i].as_ref()?.grounds.clone() })
        })
        .collect();
    let first = grounds.first()?;
    grounds.iter().any(|g| g.set != first.set).then(|| {
        let [margin, fines_margin] = study.margins;
        let question =
            DialQuestion { level: study.level, fines_um: study.fines_um, median_um: None, margin, fines_margin };
        dials(&grounds, &question)
    })
}
