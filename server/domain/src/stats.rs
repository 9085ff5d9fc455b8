//! Binomial, Beta and beta-binomial arithmetic.

use statrs::distribution::{Beta, ContinuousCDF};
use statrs::function::gamma::ln_gamma;

/// A Beta distribution: what is known of a share after so many counts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Share {
    /// First parameter, above 0.
    pub a: f64,
    /// Second parameter, above 0.
    pub b: f64,
}

impl Share {
    /// The Jeffreys prior, Beta(1/2, 1/2): nothing counted yet (Brown, Cai and DasGupta 2001,
    /// Statistical Science 16(2): 101-133, recommend its interval for small counts).
    pub const JEFFREYS: Self = Self { a: 0.5, b: 0.5 };

    /// After `of_these` in `counted` more (effective counts; fractions are fine).
    pub fn after(self, counted: f64, of_these: f64) -> Self {
        Self { a: self.a + of_these, b: self.b + (counted - of_these).max(0.0) }
    }
    /// What is known of the rest, 1 minus the share.
    pub fn complement(self) -> Self {
        Self { a: self.b, b: self.a }
    }
    /// The mean.
    pub fn mean(self) -> f64 {
        self.a / (self.a + self.b)
    }
    /// P(share <= at).
    pub fn below(self, at: f64) -> f64 {
        match Beta::new(self.a, self.b) {
            Ok(beta) => beta.cdf(at.clamp(0.0, 1.0)),
            Err(_) => f64::NAN,
        }
    }
    /// The share that is not passed with this probability: Chandrupatla's bracketing root finder (1997, Advances
    /// in Engineering Software 28(3): 145-149) on the distribution function, to the last bits. A bracket is kept
    /// throughout, so that it cannot run away; about ten evaluations instead of sixty by halving.
    pub fn quantile(self, probability: f64) -> f64 {
        let height = |x: f64| self.below(x) - probability;
        let (mut a, mut b) = (0.0_f64, 1.0_f64);
        let (mut fa, mut fb) = (height(a), height(b));
        if fa >= 0.0 {
            return a;
        }
        if fb <= 0.0 {
            return b;
        }
        let mut t = 0.5;
        for _ in 0..200 {
            let x = a + t * (b - a);
            let fx = height(x);
            let (c, fc);
            if (fx > 0.0) == (fa > 0.0) {
                (c, fc) = (a, fa);
            } else {
                (c, fc) = (b, fb);
                (b, fb) = (a, fa);
            }
            (a, fa) = (x, fx);
            let best = if fa.abs() < fb.abs() { a } else { b };
            let width = (b - a).abs();
            if fa == 0.0 || width <= 4.0 * f64::EPSILON * best.abs().max(f64::MIN_POSITIVE) {
                return best;
            }
            // inverse quadratic interpolation where it is trustworthy, halving otherwise
            let (xi, phi) = ((a - b) / (c - b), (fa - fb) / (fc - fb));
            let trusted = phi * phi < xi && (1.0 - phi) * (1.0 - phi) < 1.0 - xi;
            t = if trusted {
                fa / (fb - fa) * (fc / (fb - fc)) + (c - a) / (b - a) * (fa / (fc - fa)) * (fb / (fc - fb))
            } else {
                0.5
            };
            let least = 2.0 * f64::EPSILON * best.abs() / width;
            t = t.clamp(least.min(0.5), 1.0 - least.min(0.5));
        }
        f64::midpoint(a, b)
    }
    /// The interval that leaves the same chance on both sides, such as 0.90.
    pub fn interval(self, confidence: f64) -> (f64, f64) {
        let tail = (1.0 - confidence) / 2.0;
        (self.quantile(tail), self.quantile(1.0 - tail))
    }
}

/// P(X >= k) for X ~ Binomial(n, p), summed exactly term by term in logarithms.
pub fn binomial_at_least(k: u32, n: u32, p: f64) -> f64 {
    if k == 0 {
        return 1.0;
    }
    if p <= 0.0 || k > n {
        return 0.0;
    }
    if p >= 1.0 {
        return 1.0;
    }
    let below: f64 = (0..k)
        .map(|i| (ln_choose(n, i) + f64::from(i) * p.ln() + f64::from(n - i) * (1.0 - p).ln()).exp())
        .sum();
    (1.0 - below).clamp(0.0, 1.0)
}

/// P(X >= k) for X ~ Binomial(n, p), p ~ `share`: the beta-binomial.
pub fn beta_binomial_at_least(k: u32, n: u32, share: Share) -> f64 {
    if k == 0 {
        return 1.0;
    }
    if k > n {
        return 0.0;
    }
    let below: f64 = (0..k)
        .map(|i| {
            let (hits, rest) = (f64::from(i), f64::from(n - i));
            (ln_choose(n, i) + ln_beta(share.a + hits, share.b + rest) - ln_beta(share.a, share.b)).exp()
        })
        .sum();
    (1.0 - below).clamp(0.0, 1.0)
}

fn ln_choose(n: u32, k: u32) -> f64 {
    ln_gamma(f64::from(n) + 1.0) - ln_gamma(f64::from(k) + 1.0) - ln_gamma(f64::from(n - k) + 1.0)
}

fn ln_beta(a: f64, b: f64) -> f64 {
    ln_gamma(a) + ln_gamma(b) - ln_gamma(a + b)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(found: f64, wanted: f64, tolerance: f64) {
        assert!((found - wanted).abs() <= tolerance, "found {found}, wanted {wanted}");
    }

    #[test]
    fn jeffreys_intervals_check_values() {
        // Jeffreys 95 % intervals, computed with statsmodels 0.15.0 and again with scipy.
        for (n, x, low, high) in [
            (1.0, 0.0, 0.000_386, 0.853_254),
            (1.0, 1.0, 0.146_746, 0.999_614),
            (5.0, 0.0, 9.3e-5, 0.379_377),
            (5.0, 1.0, 0.022_513, 0.628_626),
            (5.0, 2.0, 0.094_39, 0.790_583),
            (5.0, 4.0, 0.371_374, 0.977_487),
        ] {
            let (l, h) = Share::JEFFREYS.after(n, x).interval(0.95);
            close(l, low, 2e-6);
            close(h, high, 2e-6);
        }
    }

    #[test]
    fn quantiles_undo_the_distribution_function() {
        for (a, b) in [(0.5, 0.5), (0.5, 40.5), (9.4, 0.78), (1.0, 1.0), (200.5, 3.5), (0.5, 1e6)] {
            let share = Share { a, b };
            for p in [0.001, 0.05, 0.5, 0.95, 0.999] {
                close(share.below(share.quantile(p)), p, 1e-9);
            }
        }
        assert_eq!(Share { a: 1.0, b: 1.0 }.quantile(0.25), 0.25);
    }

    #[test]
    fn binomial_tail_is_exact_on_small_cases() {
        close(binomial_at_least(1, 3, 0.5), 0.875, 1e-12);
        close(binomial_at_least(2, 3, 0.5), 0.5, 1e-12);
        close(binomial_at_least(0, 0, 0.5), 1.0, 0.0);
        // Beta(1, 1) makes every count equally likely.
        close(beta_binomial_at_least(3, 4, Share { a: 1.0, b: 1.0 }), 0.4, 1e-12);
    }
}
