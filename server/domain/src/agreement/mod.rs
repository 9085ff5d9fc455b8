//! How far independent observers agree.
//!
//! Two uses. [`alpha`] tells how far growers who judged the same cultivars apart from each other agree on a
//! descriptor, so that a descriptor nobody can judge alike is seen for what it is. [`dawid_skene`] estimates
//! how each reviewer errs: a diagnosis, to see who may need help or which classes get mixed up. It is not a
//! decision: it takes what most say as the truth to start from and trusts colluders who behave well
//! elsewhere, so it never decides a finding.

pub mod alpha;
pub mod dawid_skene;
pub mod descriptor;

/// From this alpha on, agreement is good enough to build on (Krippendorff's customary line).
pub const GOOD: f64 = 0.80;
/// From this alpha on, tentative conclusions are in order (Krippendorff's lowest line).
pub const TENTATIVE: f64 = 0.667;

/// An alpha in a word: `good`, `tentative` or `weak`, by the lines of K. Krippendorff, Content Analysis.
/// What is not a number reads as `weak`.
pub fn reading(alpha: f64) -> &'static str {
    if alpha >= GOOD {
        "good"
    } else if alpha >= TENTATIVE {
        "tentative"
    } else {
        "weak"
    }
}

#[cfg(test)]
mod tests {
    use super::reading;

    #[test]
    fn lines_belong_to_the_better_side() {
        assert_eq!(reading(1.0), "good");
        assert_eq!(reading(0.80), "good");
        assert_eq!(reading(0.799_999), "tentative");
        assert_eq!(reading(0.667), "tentative");
        assert_eq!(reading(0.666_999), "weak");
        assert_eq!(reading(-0.5), "weak");
        assert_eq!(reading(f64::NAN), "weak");
    }
}
