//! Figures at a matched median: what a finer or coarser setting alone does to span and fines is taken out.

use crate::numeric::{normal_quantile, regression, student_t_quantile};

/// Fewest degrees of freedom for the slope.
const FEWEST: f64 = 3.0;

/// One sample: its median and another figure, as logarithms.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Row {
    /// Samples of one set of burrs at the same kilograms belong together: only the setting differs among them.
    pub group: usize,
    /// Logarithm of D50.
    pub ln_median: f64,
    /// Logarithm of the figure.
    pub ln_figure: f64,
}

/// How a figure follows the median.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slope {
    /// Change of the logarithm of the figure with that of the median.
    pub value: f64,
    /// Its standard error.
    pub error: f64,
    /// Degrees of freedom behind that.
    pub freedom: f64,
}

impl Slope {
    /// The error for one who takes it as known for sure: as much larger as Student's t is than the normal law at this confidence.
    pub fn sure_error(&self, level: f64) -> f64 {
        let p = 0.5 + 0.5 * level;
        self.error * student_t_quantile(p, self.freedom) / normal_quantile(p)
    }
}

/// How a figure follows the median when only the dial is turned: the slope of the logarithms, common to all groups, each
/// with a level of its own. `None` where too few samples differ in their setting alone.
pub fn slope(rows: &[Row]) -> Option<Slope> {
    let mut groups: Vec<usize> = rows.iter().map(|r| r.group).collect();
    groups.sort_unstable();
    groups.dedup();
    let in_groups = |group: usize| rows.iter().filter(move |r| r.group == group);
    let mut centred: Vec<(f64, f64)> = Vec::new();
    for &group in groups.iter().filter(|&&g| in_groups(g).count() > 1) {
        let n = in_groups(group).count() as f64;
        let median = in_groups(group).map(|r| r.ln_median).sum::<f64>() / n;
        let figure = in_groups(group).map(|r| r.ln_figure).sum::<f64>() / n;
        centred.extend(in_groups(group).map(|r| (r.ln_median - median, r.ln_figure - figure)));
    }
    let levels = groups.iter().filter(|&&g| in_groups(g).count() > 1).count() as f64;
    let freedom = centred.len() as f64 - levels - 1.0;
    if freedom < FEWEST {
        return None;
    }
    let columns: Vec<Vec<f64>> = centred.iter().map(|c| vec![c.0]).collect();
    let values: Vec<f64> = centred.iter().map(|c| c.1).collect();
    let fit = regression(&columns, &values, &vec![1.0; values.len()])?;
    // The levels of the groups were fitted, too.
    Some(Slope { value: fit.coefficients[0], error: fit.error(0) * (fit.freedom / freedom).sqrt(), freedom })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_slope_is_that_within_groups() {
        // Within a group the figure falls by half as much as the median rises; groups lie anywhere.
        let row =
            |group: usize, x: f64| Row { group, ln_median: x + group as f64, ln_figure: 3.0 * group as f64 - 0.5 * x };
        let rows: Vec<Row> = (0..3).flat_map(|g| [0.0, 0.1, 0.3].map(|x| row(g, x))).collect();
        let found = slope(&rows).unwrap();
        assert!((found.value + 0.5).abs() < 1e-12 && found.error < 1e-9);
        assert_eq!(slope(&rows[..4]), None, "too few settings");
        let one: Vec<Row> = (0..8).map(|g| row(g, 0.0)).collect();
        assert_eq!(slope(&one), None, "no group with two settings");
    }
}
