//! Deliberately coarse places. A grid code is an Open Location Code (the open standard of that name) cut to six
//! digits: a cell of 0.05 degrees, about 5.5 km from south to north.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::{field::Fields, limits};

/// Number of digits kept in a grid code.
const DIGITS_KEPT: usize = 6;
const ALPHABET: &str = "23456789CFGHJMPQRVWX";

/// Number of the standard's finest steps per degree of latitude (8,000 x 5^5) and of longitude (8,000 x 4^5).
const STEPS_NORTH: f64 = 25_000_000.0;
const STEPS_EAST: f64 = 8_192_000.0;
/// Number of cells from pole to pole.
const CELLS_NORTH: usize = 3600;

/// A grid cell of 0.05 degrees.
#[derive(Clone, PartialEq, Eq, Hash, Debug, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct GridCode(String);

/// Error for a text or point that has no grid code.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("an Open Location Code of at least six digits such as 5RQ2VX00+ expected, {0:?} found")]
pub struct GridError(String);

impl GridCode {
    /// Parses a full code of any precision and cuts it to six digits.
    ///
    /// # Errors
    /// Returns [`GridError`] for a short (relative) code, fewer than six digits, letters outside the standard's
    /// alphabet, or a place beyond the poles.
    pub fn parse(text: &str) -> Result<Self, GridError> {
        let wrong = || GridError(text.chars().take(20).collect());
        let upper = text.trim().to_ascii_uppercase();
        let (front, rest) = upper.split_once('+').ok_or_else(wrong)?;
        let digits: String = front.chars().take_while(|c| *c != '0').collect();
        let padding = front.get(digits.len()..).unwrap_or_default();
        let fits = front.len() == 8
            && digits.len() >= DIGITS_KEPT
            && digits.len().is_multiple_of(2)
            && padding.chars().all(|c| c == '0')
            && digits.chars().chain(rest.chars()).all(|c| ALPHABET.contains(c));
        if !fits {
            return Err(wrong());
        }
        let kept: String = digits.chars().take(DIGITS_KEPT).collect();
        let cell = Self(format!("{kept}00+"));
        let (latitude, longitude) = cell.middle();
        ((-90.0..=90.0).contains(&latitude) && (-180.0..=180.0).contains(&longitude))
            .then_some(cell)
            .ok_or_else(wrong)
    }

    /// Returns the cell that contains a point given in degrees.
    ///
    /// # Errors
    /// Returns [`GridError`] when the point is not on the earth.
    pub fn around(latitude: f64, longitude: f64) -> Result<Self, GridError> {
        let wrong = || GridError(format!("{latitude}, {longitude}"));
        if !(-90.0..=90.0).contains(&latitude) || !(-180.0..=180.0).contains(&longitude) {
            return Err(wrong());
        }
        // The standard counts in whole steps of its finest digits, so that rounding moves no point over the
        // edge of its cell. The pole belongs to the last cell, and 180 degrees east to the first.
        let cell = |degrees: f64, steps: f64| {
            let whole = ((degrees * steps * 1e6).round() / 1e6).floor();
            (whole / (steps / 20.0)).floor() as usize
        };
        let north = cell(latitude + 90.0, STEPS_NORTH).min(CELLS_NORTH - 1);
        let east = cell(longitude + 180.0, STEPS_EAST) % (2 * CELLS_NORTH);
        // Pairs of digits, latitude first: 20 degrees, 1 degree, 0.05 degrees.
        let digits = [400, 20, 1].into_iter().flat_map(|size| [north / size % 20, east / size % 20]);
        let code: String = digits.filter_map(|at| ALPHABET.chars().nth(at)).collect();
        Self::parse(&format!("{code}00+"))
    }

    /// Returns latitude and longitude of the cell's centre, in degrees.
    pub fn middle(&self) -> (f64, f64) {
        // The standard's first six digits: 20 x 20, 1 x 1 and 0.05 x 0.05 degrees, latitude first.
        let values: Vec<f64> = self
            .0
            .chars()
            .take(DIGITS_KEPT)
            .map(|c| ALPHABET.find(c).and_then(|at| u8::try_from(at).ok()).map_or(0.0, f64::from))
            .collect();
        let sum = |offset: usize| {
            [20.0, 1.0, 0.05]
                .iter()
                .enumerate()
                .map(|(pair, size)| values.get(pair * 2 + offset).unwrap_or(&0.0) * size)
                .sum::<f64>()
        };
        (sum(0) - 90.0 + 0.025, sum(1) - 180.0 + 0.025)
    }

    /// Returns the text form, such as `5RQ2VX00+`.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// Returns the great-circle distance between the cell centres, in kilometres.
    pub fn distance_km(&self, other: &Self) -> f64 {
        haversine_km(self.middle(), other.middle())
    }
}

impl fmt::Display for GridCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}
impl TryFrom<String> for GridCode {
    type Error = GridError;
    fn try_from(text: String) -> Result<Self, GridError> {
        Self::parse(&text)
    }
}
impl From<GridCode> for String {
    fn from(code: GridCode) -> String {
        code.0
    }
}

/// Returns the great-circle distance by the haversine formula (R. W. Sinnott, Sky and Telescope 68(2), 1984) on
/// a sphere of 6,371.0088 km, the mean radius of GRS 80. Degrees in, kilometres out.
pub fn haversine_km(a: (f64, f64), b: (f64, f64)) -> f64 {
    let (lat_a, lat_b) = (a.0.to_radians(), b.0.to_radians());
    let half_lat = ((lat_b - lat_a) / 2.0).sin();
    let half_lon = ((b.1 - a.1).to_radians() / 2.0).sin();
    let h = half_lat * half_lat + lat_a.cos() * lat_b.cos() * half_lon * half_lon;
    2.0 * 6371.0088 * h.sqrt().min(1.0).asin()
}

/// A country or subdivision of ISO 3166, such as `AU` or `AU-QLD`.
#[derive(Clone, PartialEq, Eq, Hash, Debug, Serialize, Deserialize)]
#[serde(try_from = "String")]
pub struct AreaCode(String);

impl AreaCode {
    /// Parses a code. The codes that ISO 3166-1 leaves to users (AA, QM to QZ, XA to XZ, ZZ) are accepted with
    /// any subdivision, for tests and training.
    ///
    /// # Errors
    /// Returns a message that quotes up to 20 characters of the text.
    pub fn parse(text: &str) -> Result<Self, String> {
        let upper = text.trim().to_ascii_uppercase();
        let country = upper.split('-').next().unwrap_or_default();
        let known = if user_assigned(country) {
            upper.len() <= 6 && upper.chars().all(|c| c.is_ascii_alphanumeric() || c == '-')
        } else if upper == country {
            rust_iso3166::from_alpha2(&upper).is_some()
        } else {
            rust_iso3166::iso3166_2::from_code(&upper).is_some()
        };
        if known {
            Ok(Self(upper))
        } else {
            let shown: String = text.chars().take(20).collect();
            Err(format!("a code of ISO 3166 such as AU or AU-QLD expected, {shown:?} found"))
        }
    }
    /// Returns the text form, in capitals.
    pub fn as_str(&self) -> &str {
        &self.0
    }
    /// Returns the country's code: the area's own, or that of the country which a subdivision belongs to.
    pub fn country(&self) -> &str {
        self.0.split('-').next().unwrap_or(&self.0)
    }
}

fn user_assigned(country: &str) -> bool {
    matches!(country.as_bytes(), [b'A', b'A'] | [b'Q', b'M'..=b'Z'] | [b'X', b'A'..=b'Z'] | [b'Z', b'Z'])
}

impl TryFrom<String> for AreaCode {
    type Error = String;
    fn try_from(text: String) -> Result<Self, String> {
        Self::parse(&text)
    }
}

/// Location of a plant, no finer than it is ever shown.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Place {
    /// Country or subdivision; `None` if not given.
    pub area: Option<AreaCode>,
    /// Grid cell.
    pub grid: GridCode,
    /// The grower's name for the place; may be empty.
    pub label: String,
}

impl Place {
    /// Checks the parts of a place; defects go to `fields`. `path` is the field's path on the wire.
    pub fn parse(fields: &mut Fields, path: &str, area: &str, grid: &str, label: &str) -> Option<Self> {
        let area = if area.trim().is_empty() {
            Some(None)
        } else {
            fields.take(&format!("{path}.area_code"), AreaCode::parse(area)).map(Some)
        };
        let grid = fields.take(&format!("{path}.grid_code"), GridCode::parse(grid));
        let label = fields.line(&format!("{path}.label"), label, 0, limits::PLACE_LABEL_CHARS_MAX);
        Some(Self { area: area?, grid: grid?, label: label? })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn haversine_check_value() {
        // Nashville to Los Angeles airports: 2,886.444 km on a sphere of 6,371 km radius (a widely published
        // worked example, value from memory), scaled to our radius.
        let km = haversine_km((36.12, -86.67), (33.94, -118.40));
        assert!((km - 2_886.444_44 * 6_371.008_8 / 6_371.0).abs() < 0.01, "{km}");
    }

    #[test]
    fn open_location_code_check_values() {
        // Test vectors of the Open Location Code repository (encoding.csv), from memory:
        // 20.375, 2.775 -> 7FG49Q00+ at six digits; 47.0000625, 8.0000625 -> 8FVC2222+22; 90, 1 -> CFX3X2X2+X2;
        // 1, 180 -> 62H22222+22; -89.5, -179.5 -> 22220000+ at four; -41.2730625, 174.7859375 -> 4VCPPQGP+Q9.
        assert_eq!(GridCode::around(20.375, 2.775).unwrap().as_str(), "7FG49Q00+");
        assert_eq!(GridCode::around(47.000_062_5, 8.000_062_5).unwrap().as_str(), "8FVC2200+");
        assert_eq!(GridCode::around(90.0, 1.0).unwrap().as_str(), "CFX3X200+");
        assert_eq!(GridCode::around(1.0, 180.0).unwrap().as_str(), "62H22200+");
        assert_eq!(GridCode::around(-41.273_062_5, 174.785_937_5).unwrap().as_str(), "4VCPPQ00+");
        let (lat, lon) = GridCode::parse("7FG49Q00+").unwrap().middle();
        assert!((lat - 20.375).abs() < 1e-9 && (lon - 2.775).abs() < 1e-9, "{lat} {lon}");
    }

    #[test]
    fn finer_codes_are_cut_and_bad_ones_refused() {
        assert_eq!(GridCode::parse("8fvc2222+22gcccc").unwrap().as_str(), "8FVC2200+");
        for bad in ["", "8FVC", "VC2222+22", "8FVC0000+", "8FVA2222+22", "XFVC2222+22", "8FVC220022+"] {
            assert!(GridCode::parse(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn areas() {
        assert!(AreaCode::parse("au-qld").is_ok());
        assert!(AreaCode::parse("XB-NS").is_ok());
        assert!(AreaCode::parse("AU-NOWHERE").is_err());
        assert!(AreaCode::parse("Queensland").is_err());
    }

    #[test]
    fn points_on_an_edge_belong_to_the_cell_north_and_east_of_it() {
        // Encoded by the standard's own Python implementation (openlocationcode on PyPI).
        for (latitude, longitude, code) in [
            (19.0, -146.9, "73FM2400+"),
            (46.35, -52.95, "88R99300+"),
            (86.55, 81.7, "CMR3HP00+"),
            (73.35, 145.9, "CR579W00+"),
            (-3.45, 137.4, "6Q8VHC00+"),
            (-23.45, 124.4, "5Q86HC00+"),
        ] {
            assert_eq!(GridCode::around(latitude, longitude).unwrap().as_str(), code);
        }
    }

    proptest! {
        #[test]
        fn a_cell_holds_its_point(lat in -89.9f64..89.9, lon in -179.9f64..179.9) {
            let cell = GridCode::around(lat, lon).unwrap();
            let (mid_lat, mid_lon) = cell.middle();
            prop_assert!((mid_lat - lat).abs() <= 0.0251 && (mid_lon - lon).abs() <= 0.0251);
        }
        #[test]
        fn never_panics(text in ".{0,20}") {
            let _ = GridCode::parse(&text);
            let _ = AreaCode::parse(&text);
        }
    }
}
