use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64Mcg;

/// Seeded random numbers with a documented stream (PCG), the same on every machine and for any number of threads:
/// each task takes its own `stream`.
pub struct Draws(Pcg64Mcg);

impl Draws {
    /// The stream `stream` of the seed `seed`.
    pub fn new(seed: u64, stream: u64) -> Self {
        // Odd multiplier of the golden ratio: neighbouring streams start far apart.
        Draws(Pcg64Mcg::seed_from_u64(seed ^ stream.wrapping_add(1).wrapping_mul(0x9E37_79B9_7F4A_7C15)))
    }

    /// Next 64 random bits.
    pub fn bits(&mut self) -> u64 {
        self.0.next_u64()
    }

    /// Uniform on [0, 1).
    pub fn uniform(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Uniform index below `n` (`n` > 0).
    pub fn below(&mut self, n: usize) -> usize {
        ((u128::from(self.bits()) * n as u128) >> 64) as usize
    }

    /// Standard normal draw (Box–Muller).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }

    /// Fills `counts` with independent Poisson draws of mean 1: the weights of one bootstrap draw.
    ///
    /// Drawn by inversion from 16 random bits each; the cut at 2⁻¹⁶ changes the mean by less than 1e-4.
    pub fn poisson_one(&mut self, counts: &mut [u8]) {
        // Cumulative Poisson(1) probabilities for 0..=7, in 1/65536.
        const CUMULATIVE: [u16; 8] = [24109, 48218, 60273, 64291, 65296, 65497, 65530, 65535];
        const LANES: usize = 64;
        let mut uniform = [0u16; LANES];
        for chunk in counts.chunks_mut(LANES) {
            for four in uniform.chunks_exact_mut(4) {
                let bits = self.bits();
                for (k, u) in four.iter_mut().enumerate() {
                    *u = (bits >> (16 * k)) as u16;
                }
            }
            // Comparing all lanes with one bound after the other runs in vector registers.
            chunk.fill(0);
            for bound in CUMULATIVE {
                for (count, &u) in chunk.iter_mut().zip(&uniform) {
                    *count += u8::from(u >= bound);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn poisson_draws_have_mean_and_variance_one() {
        let mut counts = vec![0u8; 400_000];
        Draws::new(1, 2).poisson_one(&mut counts);
        let n = counts.len() as f64;
        let mean = counts.iter().map(|&c| f64::from(c)).sum::<f64>() / n;
        let variance = counts.iter().map(|&c| (f64::from(c) - mean).powi(2)).sum::<f64>() / n;
        assert!((mean - 1.0).abs() < 0.006, "{mean}");
        assert!((variance - 1.0).abs() < 0.01, "{variance}");
    }

    #[test]
    fn streams_differ_and_repeat() {
        assert_ne!(Draws::new(1, 0).bits(), Draws::new(1, 1).bits());
        assert_eq!(Draws::new(5, 3).bits(), Draws::new(5, 3).bits());
    }
}
