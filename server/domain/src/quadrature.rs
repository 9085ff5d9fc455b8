//! Gauss-Jacobi quadrature: averages over an uncertain share, with the same result on every machine.
//!
//! The nodes are the eigenvalues of the Jacobi matrix, and the weights are the squares of the first components
//! of its eigenvectors (Golub and Welsch 1969, Math. Comp. 23: 221-230), found by the implicit QL method.

use crate::stats::Share;

/// Number of nodes. It is exact for polynomials up to degree 47, which covers the counts that growers sow.
pub const POINTS: usize = 24;

/// One node of an average with its weight; the weights sum to 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Value of the share, 0 to 1.
    pub at: f64,
    /// Weight of the node.
    pub weight: f64,
}

fn count(n: usize) -> f64 {
    u32::try_from(n).map_or(0.0, f64::from)
}

/// Returns the nodes for an average over a Beta-distributed share, in ascending order.
pub fn points(share: Share) -> Vec<Point> {
    // On -1 to 1 the Beta density is the Jacobi weight (1 - x)^(b - 1) (1 + x)^(a - 1).
    let (alpha, beta) = (share.b - 1.0, share.a - 1.0);
    let sum = alpha + beta;
    let mut diagonal: Vec<f64> = (0..POINTS)
        .map(|n| {
            if n == 0 {
                return (beta - alpha) / (sum + 2.0);
            }
            let twice = 2.0 * count(n) + sum;
            (beta * beta - alpha * alpha) / (twice * (twice + 2.0))
        })
        .collect();
    let mut beside: Vec<f64> = (1..POINTS)
        .map(|n| {
            let k = count(n);
            let twice = 2.0 * k + sum;
            let square = if n == 1 {
                4.0 * (1.0 + alpha) * (1.0 + beta) / (twice * twice * (twice + 1.0))
            } else {
                4.0 * k * (k + alpha) * (k + beta) * (k + sum)
                    / (twice * twice * (twice + 1.0) * (twice - 1.0))
            };
            square.max(0.0).sqrt()
        })
        .collect();
    beside.push(0.0);
    let first = eigen(&mut diagonal, &mut beside);
    let mut all: Vec<Point> = diagonal
        .iter()
        .zip(&first)
        .map(|(x, v)| Point { at: f64::midpoint(1.0, *x).clamp(0.0, 1.0), weight: v * v })
        .collect();
    all.sort_by(|p, q| p.at.total_cmp(&q.at));
    all
}

/// Replaces the diagonal of a symmetric tridiagonal matrix by its eigenvalues, and returns the first components
/// of the eigenvectors: implicit QL with Wilkinson's shift.
#[expect(clippy::indexing_slicing, reason = "every index is below the length that all three share")]
fn eigen(diagonal: &mut [f64], beside: &mut [f64]) -> Vec<f64> {
    let n = diagonal.len();
    let mut first = vec![0.0; n];
    if let Some(one) = first.first_mut() {
        *one = 1.0;
    }
    for low in 0..n {
        // Convergence needs far fewer iterations than this limit.
        for _ in 0..100 {
            let high = (low..n - 1)
                .find(|&m| {
                    let size = diagonal[m].abs() + diagonal[m + 1].abs();
                    beside[m].abs() <= f64::EPSILON * size
                })
                .unwrap_or(n - 1);
            if high == low {
                break;
            }
            let mut g = (diagonal[low + 1] - diagonal[low]) / (2.0 * beside[low]);
            let mut r = g.hypot(1.0);
            g = diagonal[high] - diagonal[low] + beside[low] / (g + r.copysign(g));
            let (mut s, mut c, mut p) = (1.0, 1.0, 0.0);
            for i in (low..high).rev() {
                let f = s * beside[i];
                let b = c * beside[i];
                r = f.hypot(g);
                beside[i + 1] = r;
                if r == 0.0 {
                    break;
                }
                s = f / r;
                c = g / r;
                g = diagonal[i + 1] - p;
                let turn = (diagonal[i] - g) * s + 2.0 * c * b;
                p = s * turn;
                diagonal[i + 1] = g + p;
                g = c * turn - b;
                let z = first[i + 1];
                first[i + 1] = s * first[i] + c * z;
                first[i] = c * first[i] - s * z;
            }
            diagonal[low] -= p;
            beside[low] = g;
            beside[high] = 0.0;
        }
    }
    first
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// The moments of the Beta distribution are known in closed form.
        #[test]
        fn moments_come_out(a in 0.5f64..60.0, b in 0.5f64..60.0) {
            let points = points(Share { a, b });
            let moment = |k: i32| points.iter().map(|p| p.weight * p.at.powi(k)).sum::<f64>();
            prop_assert!((moment(0) - 1.0).abs() < 1e-10);
            prop_assert!((moment(1) - a / (a + b)).abs() < 1e-10);
            prop_assert!((moment(2) - a * (a + 1.0) / ((a + b) * (a + b + 1.0))).abs() < 1e-10);
        }
    }
}
