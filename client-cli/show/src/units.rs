//! Units for the reader: metric, or feet, pounds and Fahrenheit on request.

use scionary_proto::v1;

const METRES_A_FOOT: f64 = 0.3048;
const GRAMS_A_POUND: f64 = 453.592_37;
const GRAMS_AN_OUNCE: f64 = GRAMS_A_POUND / 16.0;
const CM_AN_INCH: f64 = 2.54;

/// Rounds a number to at most `decimals` decimals.
fn rounded(number: f64, decimals: i32) -> f64 {
    let scale = 10_f64.powi(decimals);
    (number * scale).round() / scale
}

/// Converts metric numbers to feet, inches, pounds, ounces or Fahrenheit. Returns `None` for any other unit.
fn customary(unit: &str, numbers: [Option<f64>; 3]) -> Option<(&'static str, [Option<f64>; 3])> {
    let heavy = numbers.iter().flatten().any(|grams| *grams >= GRAMS_A_POUND);
    let (unit, convert): (&str, fn(f64) -> f64) = match unit {
        "m" => ("ft", |m| rounded(m / METRES_A_FOOT, 0)),
        "cm" => ("in", |cm| rounded(cm / CM_AN_INCH, 1)),
        "mm" => ("in", |mm| rounded(mm / 10.0 / CM_AN_INCH, 2)),
        "g" if heavy => ("lb", |g| rounded(g / GRAMS_A_POUND, 2)),
        "g" => ("oz", |g| rounded(g / GRAMS_AN_OUNCE, 1)),
        "kg" => ("lb", |kg| rounded(kg * 1000.0 / GRAMS_A_POUND, 2)),
        "°C" => ("°F", |c| rounded(c * 9.0 / 5.0 + 32.0, 0)),
        _ => return None,
    };
    Some((unit, numbers.map(|n| n.map(convert))))
}

/// Returns a profile's figure in feet, pounds and Fahrenheit, or unchanged if its unit has no counterpart.
pub fn timing(timing: &v1::Timing) -> v1::Timing {
    match customary(&timing.unit, [timing.low, timing.high, None]) {
        Some((unit, [low, high, _])) => v1::Timing { low, high, unit: unit.into(), ..timing.clone() },
        None => timing.clone(),
    }
}

/// Returns a measurement as text in feet, pounds and Fahrenheit, or `None` if its unit has no counterpart.
pub fn quantity(summary: &v1::QuantitySummary) -> Option<String> {
    let numbers = [Some(summary.median), Some(summary.spread_low), Some(summary.spread_high)];
    let (unit, [median, low, high]) = customary(&summary.unit, numbers)?;
    let text = |n: Option<f64>| n.map(|n| n.to_string()).unwrap_or_default();
    if low == high {
        return Some(format!("{} {unit}", text(median)));
    }
    Some(format!("{} {unit}, {} to {} {unit}", text(median), text(low), text(high)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_in_feet_pounds_and_fahrenheit() {
        let of = |unit: &str, low: f64, high: f64| {
            let metric =
                v1::Timing { unit: unit.into(), low: Some(low), high: Some(high), ..Default::default() };
            let t = timing(&metric);
            (t.low.unwrap(), t.high.unwrap(), t.unit)
        };
        // HS2: 30 to 100 ft high, killed at 29 to 30 °F; KSU: scions of 6 to 8 in
        assert_eq!(of("m", 9.1, 30.5), (30.0, 100.0, "ft".into()));
        assert_eq!(of("°C", -1.7, -1.1), (29.0, 30.0, "°F".into()));
        assert_eq!(of("cm", 15.0, 20.0), (5.9, 7.9, "in".into()));
        assert_eq!(of("years", 3.0, 5.0), (3.0, 5.0, "years".into()));
        let fruit = |median, low: f64, high: f64| v1::QuantitySummary {
            median,
            spread_low: low,
            spread_high: high,
            unit: "g".into(),
            ..Default::default()
        };
        assert_eq!(quantity(&fruit(450.0, 300.0, 600.0)).unwrap(), "0.99 lb, 0.66 to 1.32 lb");
        assert_eq!(quantity(&fruit(100.0, 100.0, 100.0)).unwrap(), "3.5 oz");
    }
}
