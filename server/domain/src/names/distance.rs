//! Edit distances for short ASCII texts.

/// Returns the optimal string alignment distance: insertions, deletions, replacements and swaps of neighbours
/// cost 1 each, and no substring is edited twice.
pub fn osa(a: &str, b: &str) -> usize {
    let (a, b) = (a.as_bytes(), b.as_bytes());
    let width = b.len() + 1;
    let mut before: Vec<usize> = vec![0; width];
    let mut last: Vec<usize> = (0..width).collect();
    let mut current: Vec<usize> = vec![0; width];
    for (i, &x) in a.iter().enumerate() {
        set(&mut current, 0, i + 1);
        for (j, &y) in b.iter().enumerate() {
            let replace = at(&last, j) + usize::from(x != y);
            let mut best = replace.min(at(&last, j + 1) + 1).min(at(&current, j) + 1);
            if i > 0 && j > 0 && a.get(i - 1) == Some(&y) && b.get(j - 1) == Some(&x) {
                best = best.min(at(&before, j - 1) + 1);
            }
            set(&mut current, j + 1, best);
        }
        std::mem::swap(&mut before, &mut last);
        std::mem::swap(&mut last, &mut current);
    }
    at(&last, b.len())
}

/// Returns 1 minus the distance divided by the longer length; 1 for two empty texts.
pub fn similarity(a: &str, b: &str) -> f64 {
    let longer = a.len().max(b.len());
    if longer == 0 { 1.0 } else { 1.0 - ratio(osa(a, b), longer) }
}

/// Returns twice the longest common subsequence over the sum of both lengths: similarity without replacements.
pub fn indel_similarity(a: &str, b: &str) -> f64 {
    let total = a.len() + b.len();
    if total == 0 {
        return 1.0;
    }
    let mut row: Vec<usize> = vec![0; b.len() + 1];
    for x in a.bytes() {
        let mut diagonal = 0;
        for (j, y) in b.bytes().enumerate() {
            let above = at(&row, j + 1);
            let value = if x == y { diagonal + 1 } else { above.max(at(&row, j)) };
            set(&mut row, j + 1, value);
            diagonal = above;
        }
    }
    2.0 * ratio(at(&row, b.len()), total)
}

/// Returns the quotient of two counts; 0 if `whole` is 0.
pub fn ratio(part: usize, whole: usize) -> f64 {
    let number = |n: usize| u32::try_from(n).map_or(f64::from(u32::MAX), f64::from);
    if whole == 0 { 0.0 } else { number(part) / number(whole) }
}

fn at(row: &[usize], index: usize) -> usize {
    row.get(index).copied().unwrap_or(0)
}
fn set(row: &mut [usize], index: usize, value: usize) {
    if let Some(cell) = row.get_mut(index) {
        *cell = value;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn classic_pairs() {
        // Classic pairs, reproduced with PyPI rapidfuzz 3.14.6 (optimal string alignment).
        for (a, b, distance) in
            [("CA", "ABC", 3), ("KITTEN", "SITTING", 3), ("SATURDAY", "SUNDAY", 3), ("TEH", "THE", 1)]
        {
            assert_eq!(osa(a, b), distance, "{a} {b}");
        }
    }

    proptest! {
        #[test]
        fn is_a_sensible_distance(a in "[a-d]{0,8}", b in "[a-d]{0,8}") {
            prop_assert_eq!(osa(&a, &b), osa(&b, &a));
            prop_assert_eq!(osa(&a, &b) == 0, a == b);
            prop_assert!(osa(&a, &b) <= a.len().max(b.len()));
            prop_assert!((0.0..=1.0).contains(&indel_similarity(&a, &b)));
        }
        #[test]
        fn one_edit_is_one(a in "[a-z]{1,10}", at in 0usize..10, c in "[a-z]") {
            let mut edited = a.clone();
            edited.insert_str(at.min(a.len()), &c);
            prop_assert_eq!(osa(&a, &edited), 1);
        }
    }
}
