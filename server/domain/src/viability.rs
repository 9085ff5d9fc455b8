//! How long offered material stays alive, from the day of cutting, picking or extraction and from its storage.

use crate::{
    crop::{Crop, Storage},
    field::Fields,
    offer::Material,
    time::Date,
};

/// Expected life of some material.
#[derive(Clone, Debug, PartialEq)]
pub struct Life {
    /// Kind of storage, in words.
    pub how: String,
    /// Last day on which it is said to live; `None` if no source says.
    pub good_until: Option<Date>,
    /// Last day of use; after it the material is dead, or no source says that it lives. `None` if not stated.
    pub use_by: Option<Date>,
    /// Remark of the crop's profile.
    pub note: String,
    /// Source key, or `common practice`.
    pub origin: String,
}

fn life_of(storage: &Storage, taken: Date) -> Life {
    let after = |days: Option<u32>| days.map(|d| taken.plus_days(d.into()));
    Life {
        how: storage.how.clone(),
        good_until: after(storage.good_days),
        use_by: after(storage.use_by_days()),
        note: storage.note.clone(),
        origin: storage.origin().to_string(),
    }
}

/// Returns the life of material taken on a day and stored in this way. Without a stated storage it uses the one
/// with the earliest use-by day. Returns `None` without a day or without a storage on file.
pub fn life(crop: &Crop, material: Material, taken: Option<Date>, kept: &str) -> Option<Life> {
    let mut ways = crop.storages_of(material);
    let storage = if kept.is_empty() {
        ways.filter(|s| s.use_by_days().is_some()).min_by_key(|s| s.use_by_days())
    } else {
        ways.find(|s| s.key == kept)
    };
    Some(life_of(storage?, taken?))
}

/// Checks the giver's statements: the crop lists the storage for the material, and the day is not in the future.
pub fn check(
    fields: &mut Fields,
    crop: &Crop,
    material: Option<Material>,
    taken: Option<Date>,
    kept: &str,
    available_from: Date,
    today: Date,
) {
    if let Some(material) = material
        && let Some(use_by) = life(crop, material, taken, kept).and_then(|life| life.use_by)
        && use_by < available_from.max(today)
    {
        fields.wrong(
            "offer.taken_on",
            format!(
                "{} that lives when it can be had expected: taken then, it is last to be used by {use_by}, and can be had from {available_from} on; say how it is kept, or cut fresh",
                material.label()
            ),
        );
    }
    if let Some(day) = taken.filter(|day| *day > today.plus_days(1)) {
        fields.wrong(
            "offer.taken_on",
            format!("a day that has come expected, {day} found; leave it out for what will be cut to order"),
        );
    }
    let Some(material) = material.filter(|_| !kept.is_empty()) else { return };
    if !crop.storages_of(material).any(|s| s.key == kept) {
        let known: Vec<&str> = crop.storages_of(material).map(|s| s.key.as_str()).collect();
        let expected = if known.is_empty() {
            format!("nothing expected: no way of keeping {} is on file for {}", material.label(), crop.slug)
        } else {
            format!("one of {} expected, {kept:?} found", known.join(", "))
        };
        fields.wrong("offer.kept_how", expected);
    }
}

/// Returns warnings for giver and taker on a day: dead or dying material, an offer that runs longer than the
/// material lives, and the expected life if no day was stated.
pub fn warnings(
    crop: &Crop,
    material: Material,
    taken: Option<Date>,
    kept: &str,
    until: Date,
    today: Date,
) -> Vec<String> {
    let name = material.label();
    if let Some(life) = life(crop, material, taken, kept) {
        let mut all = Vec::new();
        if kept.is_empty() {
            all.push(format!(
                "How this {name} is kept was not said, so the days are those of the way that keeps it shortest."
            ));
        }
        let Life { how, good_until, use_by, origin, .. } = &life;
        match (use_by, good_until) {
            (Some(day), _) if *day < today => all.push(format!(
                "Kept {how}, this {name} was last to be used by {day}: take it for dead unless it proves alive [{origin}]."
            )),
            (Some(day), Some(good)) if *good < today => all.push(format!(
                "Kept {how}, this {name} is past {good}, until when it is said to live; use it at once, by {day} at the latest [{origin}]."
            )),
            (Some(day), _) => {
                all.push(format!("Kept {how}, this {name} is to be used by {day} [{origin}]."));
                if *day < until {
                    all.push(format!("The offer goes on until {until}, but it is not shown after {day}."));
                }
            }
            (None, _) => {}
        }
        return all;
    }
    let mut ways: Vec<&Storage> = crop.storages_of(material).collect();
    if ways.is_empty() {
        return Vec::new();
    }
    ways.sort_by_key(|s| s.surely_days());
    let shortest = ways.first().and_then(|s| Some((s, s.surely_days()?)));
    let mut all = Vec::new();
    if let Some((storage, days)) = shortest.filter(|_| taken.is_none()) {
        let days = if days == 1 { "1 day".to_string() } else { format!("{days} days") };
        all.push(format!(
            "Cut or taken too early, this {name} dies: kept {}, it lives {days} [{}].",
            storage.how,
            storage.origin()
        ));
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mango() -> Crop {
        toml::from_str(include_str!("../../data/crops/mango.toml")).unwrap()
    }
    fn day(text: &str) -> Date {
        text.parse().unwrap()
    }

    #[test]
    fn use_by_follows_from_the_day_and_the_keeping() {
        let crop = mango();
        let cut = day("2027-04-01");
        // Scion wood damp in plastic at room temperature: 6 to 9 days (AH24-72). Good for the fewer, use by the more.
        let scion = life(&crop, Material::ScionWood, Some(cut), "damp_plastic").unwrap();
        assert_eq!((scion.good_until, scion.use_by), (Some(day("2027-04-07")), Some(day("2027-04-10"))));
        // Fewer than 6 days in the hot months (AH24-72).
        let hot = life(&crop, Material::ScionWood, Some(cut), "damp_plastic_hot").unwrap();
        assert_eq!((hot.good_until, hot.use_by), (None, Some(day("2027-04-06"))));
        // Seed: some weeks (PD11); 80 of 100 alive after 70 days in charcoal dust (MORTON87).
        let seed = life(&crop, Material::Seed, Some(cut), "unprotected").unwrap();
        assert_eq!((seed.good_until, seed.use_by), (Some(day("2027-04-15")), Some(day("2027-04-28"))));
        let seed = life(&crop, Material::Seed, Some(cut), "charcoal").unwrap();
        assert_eq!(seed.use_by, Some(day("2027-06-10")));
        assert_eq!(life(&crop, Material::Seed, None, "charcoal"), None);
        // Without a stated storage: the one that ends first, drying slowly (DALE-CN).
        assert_eq!(life(&crop, Material::Seed, Some(cut), "").unwrap().use_by, Some(day("2027-04-08")));
        assert_eq!(life(&crop, Material::GraftedPlant, Some(cut), ""), None);
    }

    #[test]
    fn warnings_get_stronger() {
        let crop = mango();
        let cut = day("2027-04-01");
        let on = |today: &str, kept: &str| {
            warnings(&crop, Material::Seed, Some(cut), kept, day("2027-05-30"), day(today))
        };
        let fresh = on("2027-04-02", "unprotected");
        assert!(fresh[0].contains("used by 2027-04-28") && fresh[1].contains("not shown after"), "{fresh:?}");
        assert!(on("2027-04-20", "unprotected")[0].contains("at once"));
        assert!(on("2027-04-29", "unprotected")[0].contains("dead"));
        assert!(on("2027-04-02", "")[0].contains("was not said"));
        let to_order = warnings(&crop, Material::ScionWood, None, "", day("2027-05-30"), cut);
        assert!(to_order[0].contains("5 days"), "{to_order:?}");
        assert!(warnings(&crop, Material::GraftedPlant, None, "", cut, cut).is_empty());
    }

    #[test]
    fn what_cannot_be_is_refused() {
        let crop = mango();
        let mut fields = Fields::new();
        let today = day("2027-04-01");
        check(
            &mut fields,
            &crop,
            Some(Material::Seed),
            Some(day("2027-04-09")),
            "damp_plastic",
            today,
            today,
        );
        let wrong: Vec<String> = fields.finish(Some(())).unwrap_err().into_iter().map(|e| e.field).collect();
        assert_eq!(wrong, ["offer.taken_on", "offer.kept_how"]);
        let from = |available: &str| {
            let mut fields = Fields::new();
            let scion = Some(Material::ScionWood);
            check(&mut fields, &crop, scion, Some(today), "damp_plastic", day(available), today);
            fields.finish(Some(())).is_ok()
        };
        assert!(from("2027-04-10") && !from("2027-04-11"), "dead before it can be had");
    }
}
