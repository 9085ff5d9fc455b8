//! Wants as their seekers see them, and what is sought as everyone may see it.

use scionary_domain::{
    field::Fields,
    limits,
    offer::Material,
    page::{Asked, Page},
    place::GridCode,
    time::Date,
    want::Want,
};
use scionary_store::want_store;

use crate::{App, Call, Error, registry::Registry};

/// A want as its seeker sees it.
#[derive(Clone, Debug)]
pub struct ShownWant {
    /// The want.
    pub want: Want,
    /// The cultivar's name; empty for a wish.
    pub cultivar_name: String,
    /// Whether it still seeks.
    pub is_open: bool,
}

/// What is sought, as everyone may see it: not by whom.
#[derive(Clone, Debug)]
pub struct Sought {
    /// The want.
    pub shown: ShownWant,
    /// How far away; none where no place was named.
    pub km: Option<f64>,
}

/// What sought things are looked for.
#[derive(Clone, Debug, Default)]
pub struct SearchWants {
    /// The crop.
    pub crop: String,
    /// Any of these materials.
    pub materials: Vec<Material>,
    /// Distances are counted from here.
    pub near_grid_code: String,
    /// At most this far; 0 for any distance.
    pub within_km: i32,
}

impl ShownWant {
    pub(super) fn new(registry: &Registry, want: Want, today: Date) -> Self {
        let record = want.cultivar.and_then(|id| registry.record(id));
        Self {
            cultivar_name: record.map(|r| r.cultivar.full_name()).unwrap_or_default(),
            is_open: want.is_open(today),
            want,
        }
    }
}

impl App {
    /// A page of the caller's wants, newest first.
    ///
    /// # Errors
    /// Wrong fields; a page token that does not fit.
    pub async fn my_wants(
        &self,
        call: &Call,
        closed_too: bool,
        page_size: i32,
        token: &str,
    ) -> Result<Page<ShownWant>, Error> {
        let account = call.account()?;
        let today = call.now.date();
        let search = format!("wants {} {closed_too}", account.id);
        let asked = Asked::read(page_size, token, search)?;
        let open_on = (!closed_too).then_some(today);
        let found =
            want_store::of(self.store().reader(), account.id, open_on, asked.after, asked.limit()).await?;
        let Page { rows: found, next } = asked.cut(found, |last| last.id);
        let registry = self.registry();
        let rows = found.into_iter().map(|want| ShownWant::new(&registry, want, today)).collect();
        Ok(Page { rows, next })
    }

    /// A page of what is sought on a crop, newest first.
    ///
    /// # Errors
    /// Wrong fields; a page token that does not fit.
    pub async fn sought(
        &self,
        call: &Call,
        search: &SearchWants,
        page_size: i32,
        token: &str,
    ) -> Result<Page<Sought>, Error> {
        let registry = self.registry();
        let today = call.now.date();
        let mut fields = Fields::new();
        if registry.crop(&search.crop).is_none() {
            fields.wrong("crop", registry.crop_expected(&search.crop));
        }
        let near = if search.near_grid_code.trim().is_empty() {
            if search.within_km > 0 {
                fields.wrong("near_grid_code", "a place expected, as a distance is given");
            }
            None
        } else {
            fields.take("near_grid_code", GridCode::parse(&search.near_grid_code))
        };
        if !(0..=limits::SEARCH_KM_MAX).contains(&search.within_km) {
            fields.wrong("within_km", format!("0 to {} expected", limits::SEARCH_KM_MAX));
        }
        fields.finish(Some(()))?;
        let asked = Asked::read(page_size, token, format!("sought {search:?}"))?;
        let mut after = asked.after;
        let mut rows: Vec<Sought> = Vec::new();
        // rows that do not fit are passed over, a bounded number of them
        for _ in 0..limits::OFFER_PAGES_LOOKED_AT {
            let some = want_store::open_on_crop(
                self.store().reader(),
                &search.crop,
                today,
                after,
                limits::WANTS_LOOKED_AT,
            )
            .await?;
            let is_last = u64::try_from(some.len()).unwrap_or(u64::MAX) < limits::WANTS_LOOKED_AT;
            for want in some {
                let km = near.as_ref().map(|grid| grid.distance_km(&want.grid));
                let too_far =
                    search.within_km > 0 && km.is_some_and(|km| km.round() > f64::from(search.within_km));
                let other = !search.materials.is_empty()
                    && !want.materials.is_empty()
                    && !want.materials.iter().any(|m| search.materials.contains(m));
                if rows.len() == asked.size {
                    return Ok(Page { rows, next: after.map(|id| asked.next(&id)) });
                }
                after = Some(want.id);
                if !too_far && !other {
                    rows.push(Sought { shown: ShownWant::new(&registry, want, today), km });
                }
            }
            if is_last {
                return Ok(Page { rows, next: None });
            }
        }
        Ok(Page { rows, next: after.map(|id| asked.next(&id)) })
    }
}
