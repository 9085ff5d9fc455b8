//! `scionary odds`, `routes` and `season`. The `///` comments here are the help text.

use clap::Args;
use scionary_proto::v1;

use crate::words;

const EXAMPLES: &str = "Examples:\n  scionary odds Lantern Moth --plants 3\n  scionary odds --off-type 5/48 --germination 80% --plants 10 --sure 95\n  scionary odds Lantern Moth --kept-days 20 --kept-how charcoal";

/// A share as people type it: a rate `4%`, or a count `5/48`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TypedShare {
    /// A rate from 0 to 1.
    Rate(f64),
    /// A count, such as 5 of 48.
    Counted(v1::CountOf),
}

fn share(text: &str) -> Result<TypedShare, String> {
    let expected = || "a rate such as 4%, or a count such as 5/48, expected".to_string();
    let text = text.trim();
    if let Some((of_these, counted)) = text.split_once('/') {
        let number = |t: &str| t.trim().parse::<u32>().map_err(|_| expected());
        return Ok(TypedShare::Counted(v1::CountOf {
            of_these: number(of_these)?,
            counted: number(counted)?,
        }));
    }
    let pct = text.strip_suffix('%').ok_or_else(expected)?.trim();
    let pct: f64 = pct.parse().map_err(|_| expected())?;
    if !(0.0..=100.0).contains(&pct) {
        return Err("0% to 100% expected".into());
    }
    Ok(TypedShare::Rate(pct / 100.0))
}

fn sure(text: &str) -> Result<f64, String> {
    let pct: f64 = text
        .trim()
        .trim_end_matches('%')
        .parse()
        .map_err(|_| "a percentage from 50 to 99.9 expected".to_string())?;
    if !(50.0..=99.9).contains(&pct) {
        return Err("a percentage from 50 to 99.9 expected".into());
    }
    Ok(pct / 100.0)
}

/// The sowing to calculate
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct OddsArguments {
    /// The cultivar, as you heard its name; without one, the numbers you type are used
    #[arg(num_args = 0.., value_name = "NAME")]
    pub name: Vec<String>,
    /// The crop, if two share the name
    #[arg(long)]
    pub crop: Option<String>,
    /// True plants you want in the end
    #[arg(long, default_value_t = 1, value_name = "COUNT", value_parser = clap::value_parser!(u32).range(1..=500))]
    pub plants: u32,
    /// How sure you want to be, in percent
    #[arg(long, default_value = "90", value_name = "PERCENT", value_parser = sure)]
    pub sure: f64,
    /// Also calculate how likely an off-type is among this many seedlings
    #[arg(long, default_value_t = 0, value_name = "COUNT", hide_default_value = true)]
    pub batch: u32,
    /// Days the seed has been kept
    #[arg(long, default_value_t = 0, value_name = "DAYS", hide_default_value = true)]
    pub kept_days: u32,
    /// How it was kept: a key that the answer and `scionary crop show` list
    #[arg(long, default_value = "", value_name = "KEY", hide_default_value = true, requires = "kept_days")]
    pub kept_how: String,
    /// Off-type seedlings: a rate such as 4%, or your count such as 5/48
    #[arg(long, value_name = "SHARE", value_parser = share)]
    pub off_type: Option<TypedShare>,
    /// Seeds that come up: a rate such as 80%, or your count such as 30/40
    #[arg(long, value_name = "SHARE", value_parser = share)]
    pub germination: Option<TypedShare>,
    /// Show every citation
    #[arg(long)]
    pub sources: bool,
    /// Marker loci with which a laboratory would test the seedlings
    #[arg(long, default_value_t = 0, value_name = "LOCI", hide_default_value = true)]
    pub markers: u32,
}

/// Parses a height or width in metres (`4`, `4m`) or feet (`13ft`), and returns metres.
fn metres(text: &str) -> Result<f64, String> {
    const METRES_A_FOOT: f64 = 0.3048;
    let text = text.trim().to_lowercase();
    let (number, factor) = match (text.strip_suffix("ft"), text.strip_suffix('m')) {
        (Some(feet), _) => (feet, METRES_A_FOOT),
        (None, Some(metres)) => (metres, 1.0),
        (None, None) => (text.as_str(), 1.0),
    };
    let number: f64 =
        number.trim().parse().map_err(|_| "metres such as 4, or feet such as 13ft, expected")?;
    Ok(number * factor)
}

/// The tree you want
#[derive(Debug, Args)]
#[command(after_help = "Example: scionary routes Lantern Moth --height 4 --width 15ft --have-scion")]
pub struct RoutesArguments {
    /// The cultivar, as you heard its name
    #[arg(required = true, num_args = 1.., value_name = "NAME")]
    pub name: Vec<String>,
    /// The crop, if two share the name
    #[arg(long)]
    pub crop: Option<String>,
    /// How high a tree may grow in your yard: metres, or feet such as 13ft
    #[arg(long, value_name = "HEIGHT", value_parser = metres)]
    pub height: Option<f64>,
    /// How wide a tree may grow in your yard: metres, or feet such as 13ft
    #[arg(long, value_name = "WIDTH", value_parser = metres)]
    pub width: Option<f64>,
    /// You have a grown tree of the crop
    #[arg(long)]
    pub have_tree: bool,
    /// You have, or can get, scion wood of the cultivar
    #[arg(long)]
    pub have_scion: bool,
    /// You have a rootstock large enough to graft
    #[arg(long)]
    pub have_rootstock: bool,
    /// Show each way in full, with all cautions
    #[arg(long)]
    pub more: bool,
    /// Show every citation
    #[arg(long)]
    pub sources: bool,
}

/// The cultivars to compare
#[derive(Debug, Args)]
#[command(
    after_help = "Example: scionary season \"Lantern Moth\" \"Ferrywell Gold\" --crop mango --fill-gaps --near -27.47,153.02 --within 50"
)]
pub struct SeasonArguments {
    /// Names or ids; quote a name of several words
    #[arg(required_unless_present = "my_plans", num_args = 1.., value_name = "NAME")]
    pub names: Vec<String>,
    /// Also use the cultivars of your plans
    #[arg(long)]
    pub my_plans: bool,
    /// The crop of all the cultivars
    #[arg(long)]
    pub crop: Option<String>,
    /// Show months for a place south of the equator
    #[arg(long, conflicts_with = "near")]
    pub south: bool,
    /// Suggest cultivars on offer that fill the gaps
    #[arg(long, requires = "crop")]
    pub fill_gaps: bool,
    /// Use seasons and offers near this place: a town, or latitude,longitude
    #[arg(long, value_parser = words::parse_grid, value_name = "PLACE", allow_hyphen_values = true)]
    pub near: Option<String>,
    /// At most this many kilometres away
    #[arg(long, default_value_t = 0, value_name = "KM", hide_default_value = true, requires = "near")]
    pub within: i32,
}
