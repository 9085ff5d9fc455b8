//! Finds the authority to ask about a place. The table is its own data; a rule that names a place adds no authority.

use serde::{Deserialize, Serialize};

use super::place::{OF_BLOC, Places, chain};
use crate::time::Date;

/// Side of a movement on which a place is asked: leaving, entering, or moving within.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// The plant leaves the place.
    Leaving,
    /// The plant enters the place.
    Entering,
    /// The plant stays within the place.
    Within,
}

/// The authority responsible for one place, and optionally for one side of a movement only.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Authority {
    /// Code of the place: a country, a part of a country, or a bloc.
    pub place: String,
    /// The only side that this authority answers for; `None` means all sides.
    pub side: Option<Side>,
    /// Name and contact of the authority, as the source prints them.
    pub name: String,
    /// Citation of the source.
    pub source: String,
}

/// Table of authorities by place.
#[derive(Clone, Debug, Default)]
pub struct Authorities(Vec<Authority>);

impl Authorities {
    /// Builds the table and replaces each place's code by its canonical code.
    pub fn new(mut rows: Vec<Authority>, places: &Places) -> Self {
        for row in &mut rows {
            row.place = places.canonical(&row.place);
        }
        Self(rows)
    }

    /// Returns the authority to ask: the nearest listed place upward in the tree, then a bloc that contains the
    /// place. At each place a row for the given `side` comes before a row for all sides. Without any row the
    /// text is generic.
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

    /// Returns all rows, with canonical codes.
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
