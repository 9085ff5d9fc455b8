//! How far independent observers agree.
//!
//! There are two uses. [`alpha`] measures how far growers who judged the same cultivars independently agree
//! on a descriptor, so that a descriptor without agreement shows. [`dawid_skene`] estimates how each reviewer
//! errs. That is a diagnosis of who may need help and which classes get mixed up. It never decides a finding:
//! it starts from the majority as the truth, and it trusts colluders who behave well elsewhere.

pub mod alpha;
pub mod dawid_skene;
pub mod descriptor;

/// Lowest alpha for reliable agreement (Krippendorff's customary threshold).
pub const GOOD: f64 = 0.80;
/// Lowest alpha for tentative conclusions (Krippendorff's lowest threshold).
pub const TENTATIVE: f64 = 0.667;

/// Returns `good`, `tentative` or `weak`, by the thresholds of K. Krippendorff, Content Analysis. NaN gives
/// `weak`.
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
