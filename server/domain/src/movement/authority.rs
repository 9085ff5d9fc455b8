//! Whom to ask: data of its own, never taken from a rule that merely names a place.

use serde::{Deserialize, Serialize};

use super::place::{OF_BLOC, Places, chain};
use crate::time::Date;

/// Leaving a place, or entering one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// Leaving it.
    Leaving,
    /// Entering it.
    Entering,
    /// Within it.
    Within,
}

/// Who answers for a place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Authority {
    /// The place: a country, a part of one, or a bloc.
    pub place: String,
    /// For leaving or entering it only; for both, and within it, where it is not said.
    pub side: Option<Side>,
    /// Who, and how to reach them as the source prints it.
    pub name: String,
    /// Who says so.
    pub source: String,
}

/// Who answers for which place.
#[derive(Clone, Debug, Default)]
pub struct Authorities(Vec<Authority>);

impl Authorities {
    /// From what is on file.
    pub fn new(mut rows: Vec<Authority>, places: &Places) -> Self {
        for row in &mut rows {
            row.place = places.canonical(&row.place);
        }
        Self(rows)
    }

    /// Whom to ask: the nearest place upward of which a row is on file; in general words where none is.
    pub fn ask(&self, places: &Places, place: &str, side: Side, day: Date) -> String {
        let row = |fits: &dyn Fn(&Authority) -> bool| {
            let of_side = |a: &&Authority| fits(a) && a.side == Some(side);
            let of_any = |a: &&Authority| fits(a) && a.side.is_none();
            self.0.iter().find(of_side).or_else(|| self.0.iter().find(of_any))
        };
        let in_tree = chain(place).find_map(|at| row(&|a: &Authority| a.place == at));
        let in_bloc = || row(&|a: &Authority| places.contains(&a.place, place, day) == Some(OF_BLOC));
        in_tree.or_else(in_bloc).map_or_else(
            || format!("the plant-health authority of {place}"),
            |authority| authority.name.clone(),
        )
    }

    /// The rows.
    pub fn rows(&self) -> &[Authority] {
        &self.0
    }
}

#[cfg(test)]
mod tests {
    use super::{super::Member, *};

    #[test]
    fn the_nearest_place_upward_answers() {
        let bloc =
            Member { area: "BLOC".into(), place: "XC".into(), from: None, to: None, citation: String::new() };
        let places = Places::new(vec![bloc], vec![]);
        let row = |place: &str, side, name: &str| Authority {
            place: place.into(),
            side,
            name: name.into(),
            source: "made up for the test".into(),
        };
        let all = Authorities::new(
            vec![
                row("XB", None, "the service of XB"),
                row("XB-N", Some(Side::Entering), "the border post of XB-N"),
                row("BLOC", None, "the member state"),
            ],
            &places,
        );
        let day: Date = "2025-01-01".parse().unwrap();
        let ask = |place: &str, side| all.ask(&places, place, side, day);
        assert_eq!(ask("XB-N", Side::Entering), "the border post of XB-N");
        assert_eq!(ask("XB-N", Side::Leaving), "the service of XB");
        assert_eq!(ask("XB-S/bay", Side::Within), "the service of XB");
        assert_eq!(ask("XC", Side::Leaving), "the member state");
        assert_eq!(ask("XQ-A", Side::Leaving), "the plant-health authority of XQ-A");
    }
}
