//! Who still keeps a cultivar: counted, coarse enough that no one is found by it.

use std::collections::{BTreeMap, BTreeSet};

use crate::{ids::AccountId, place::AreaCode};

/// A country with fewer keepers of a cultivar is not named. A choice.
pub const NAMED_FROM: usize = 3;
/// Kept by no more members than this, a cultivar is at risk: a hard winter or a move can end it. A choice.
pub const AT_RISK: usize = 3;

/// How many members keep a cultivar, of those who let their plants be counted.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Keeping {
    /// All of them.
    pub members: usize,
    /// Countries with at least [`NAMED_FROM`] of them, most first.
    pub countries: Vec<(String, usize)>,
    /// The others.
    pub elsewhere: usize,
}

impl Keeping {
    /// Counts keepers; a member who is listed twice counts once.
    pub fn of<'a>(keepers: impl IntoIterator<Item = (AccountId, Option<&'a AreaCode>)>) -> Self {
        let mut seen = BTreeSet::new();
        let mut by_country: BTreeMap<String, usize> = BTreeMap::new();
        for (account, area) in keepers {
            if seen.insert(account)
                && let Some(area) = area
            {
                *by_country.entry(area.country().to_string()).or_default() += 1;
            }
        }
        let mut countries: Vec<(String, usize)> =
            by_country.into_iter().filter(|(_, members)| *members >= NAMED_FROM).collect();
        countries.sort_by(|(a, n), (b, m)| m.cmp(n).then_with(|| a.cmp(b)));
        let named: usize = countries.iter().map(|(_, members)| members).sum();
        Self { members: seen.len(), countries, elsewhere: seen.len() - named }
    }

    /// Returns whether someone keeps it, but so few that it may be lost.
    pub fn is_at_risk(&self) -> bool {
        (1..=AT_RISK).contains(&self.members)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_one_is_found_by_it() {
        let account = |n: u128| AccountId::from_uuid(uuid::Uuid::from_u128(n));
        let [au, qld, us] = ["AU", "AU-QLD", "US-FL"].map(|code| AreaCode::parse(code).unwrap());
        let all =
            [(1, Some(&au)), (2, Some(&qld)), (3, Some(&qld)), (4, Some(&us)), (5, None), (1, Some(&us))];
        let found = Keeping::of(all.map(|(n, area)| (account(n), area)));
        assert_eq!(found, Keeping { members: 5, countries: vec![("AU".into(), 3)], elsewhere: 2 });
        assert!(!found.is_at_risk());
        let few = Keeping::of(all[3..].iter().take(1).map(|(n, area)| (account(*n), *area)));
        assert_eq!(few, Keeping { members: 1, countries: vec![], elsewhere: 1 }, "one is never placed");
        assert!(few.is_at_risk() && !Keeping::default().is_at_risk());
    }
}
