//! What ripens when: a calendar of cultivars, its gaps, and what on offer fills them.

use scionary_domain::{
    calendar::{self, Bars, Filler},
    field::Fields,
    limits,
    place::GridCode,
};

use crate::{
    App, Call, Error,
    offers::Offered,
    registry::{Record, Registry, Season},
};

/// What a calendar is asked for.
#[derive(Clone, Debug)]
pub struct AskRipe {
    /// The cultivars: ids or exact names.
    pub cultivars: Vec<String>,
    /// Their crop, where names are given or gaps are to be filled; else empty.
    pub crop: String,
    /// South of the equator, where no place is named.
    pub south: bool,
    /// Whether to look for cultivars on offer that fill the gaps.
    pub fill_gaps: bool,
    /// A place; may be empty.
    pub near_grid_code: String,
    /// How far offers may be, in kilometres; 0 for any distance.
    pub within_km: i32,
}

/// A cultivar that fills gaps.
pub struct RipeFiller<'r> {
    /// The record.
    pub record: &'r Record,
    /// When it is ripe.
    pub season: Season,
    /// Which gaps it fills.
    pub filler: Filler,
    /// How much of it is on offer.
    pub offered: Offered,
}

/// A calendar.
pub struct Ripe<'r> {
    /// The cultivars, in the order asked for, each once.
    pub rows: Vec<(&'r Record, Season)>,
    /// The half months (0 to 23) in which none of them is ripe.
    pub gaps: Vec<usize>,
    /// What on offer fills the gaps, the best first.
    pub fillers: Vec<RipeFiller<'r>>,
    /// South of the equator: by the place, where one was named.
    pub south: bool,
    /// So near the equator that seasons follow the rains.
    pub near_equator: bool,
}

impl App {
    /// When cultivars are ripe, the gaps between them, and what on offer fills these.
    ///
    /// # Errors
    /// All wrong fields; names that are not on file.
    pub async fn ripe<'r>(
        &self,
        call: &Call,
        registry: &'r Registry,
        asked: &AskRipe,
    ) -> Result<Ripe<'r>, Error> {
        let AskRipe { cultivars, crop, south, fill_gaps, near_grid_code, within_km } = asked;
        let mut fields = Fields::new();
        if cultivars.is_empty() || cultivars.len() > limits::CALENDAR_CULTIVARS_MAX {
            fields.wrong("cultivars", format!("1 to {} cultivars expected", limits::CALENDAR_CULTIVARS_MAX));
        }
        if *fill_gaps && crop.is_empty() {
            fields.wrong("crop", "a crop expected, to look for others that fill the gaps");
        }
        fields.take("crop", registry.check_crop(crop).map_err(|e| e.expected));
        let near = if near_grid_code.is_empty() {
            None
        } else {
            fields.take("near_grid_code", GridCode::parse(near_grid_code))
        };
        fields.finish(Some(()))?;
        let south = near.as_ref().map_or(*south, |grid| grid.middle().0 < 0.0);
        let mut seasons = registry.seasons(south, near);
        let near_equator = seasons.is_near_equator();
        let mut rows: Vec<(&Record, Season)> = Vec::new();
        for (at, name) in cultivars.iter().enumerate() {
            let record = registry.resolve(&format!("cultivars[{at}]"), name, crop)?;
            if !rows.iter().any(|(own, _)| own.cultivar.id == record.cultivar.id) {
                rows.push((record, seasons.of(record)));
            }
        }
        let have: Vec<Bars> = rows.iter().filter_map(|(_, season)| season.expected).collect();
        let gaps = calendar::gaps(&have);
        let mut fillers = Vec::new();
        if *fill_gaps {
            let offered = self.offered(call, crop, near_grid_code, *within_km).await?;
            let mut others: Vec<&Record> = offered
                .keys()
                .filter_map(|id| registry.record(*id))
                .filter(|r| !rows.iter().any(|(own, _)| own.cultivar.id == r.cultivar.id))
                // the crop's pattern alone is no reason to plant one of them
                .filter(|r| seasons.may_fill(r, &gaps))
                .take(limits::FILLERS_LOOKED_AT)
                .collect();
            others.sort_by_key(|record| record.cultivar.full_name());
            let others: Vec<(&Record, Season)> = others.into_iter().map(|r| (r, seasons.of(r))).collect();
            let bars: Vec<Bars> = others.iter().map(|(_, s)| s.expected.unwrap_or_default()).collect();
            for filler in calendar::fillers(&gaps, &bars, limits::FILLERS_MAX) {
                let Some((record, season)) = others.get(filler.at) else { continue };
                let offered = offered.get(&record.cultivar.id).copied().unwrap_or_default();
                fillers.push(RipeFiller { record, season: season.clone(), filler, offered });
            }
        }
        Ok(Ripe { rows, gaps, fillers, south, near_equator })
    }
}
