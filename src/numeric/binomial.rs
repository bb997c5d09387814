use statrs::function::beta::beta_reg;

/// Chance of `k` or more successes in `n` trials of chance `p` each (0..1), dimensionless.
///
/// By the incomplete beta function of the library `statrs`; checked against SciPy in `tests/study/tasting.rs`.
pub fn binomial_upper_tail(k: u32, n: u32, p: f64) -> f64 {
    match k {
        0 => 1.0,
        k if k > n => 0.0,
        k => beta_reg(f64::from(k), f64::from(n - k) + 1.0, p),
    }
}

/// Exact interval of a share of which `k` successes in `n` trials (`n` > 0) were seen, each end missed with a chance of at
/// most (1 − `level`)/2.
///
/// Source: C. J. Clopper & E. S. Pearson, Biometrika 26 (1934) 404–413 (from memory); held to statsmodels in
/// `tests/study/tasting.rs`.
pub fn exact_share(k: u32, n: u32, level: f64) -> [f64; 2] {
    let tail = 0.5 * (1.0 - level);
    [lower_bound(k, n, tail), upper_bound(k, n, tail)]
}

/// Least share under which `k` or more successes of `n` still have the chance `tail`.
pub fn lower_bound(k: u32, n: u32, tail: f64) -> f64 {
    if k == 0 { 0.0 } else { solve(|p| binomial_upper_tail(k, n, p) - tail) }
}

/// Largest share under which `k` or fewer successes of `n` still have the chance `tail`.
pub fn upper_bound(k: u32, n: u32, tail: f64) -> f64 {
    if k >= n { 1.0 } else { solve(|p| binomial_upper_tail(k + 1, n, p) - (1.0 - tail)) }
}

fn solve(rising: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if rising(middle) < 0.0 { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}
