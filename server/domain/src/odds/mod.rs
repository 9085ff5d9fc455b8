//! Odds of a sowing: the chance that a kept seedling is true to type, and the seeds and seedlings needed, for a
//! cultivar on file or for typed-in numbers. Uncertainty is carried through; without evidence there are no odds.

mod chance;

pub use chance::{Batch, Chance, Needed, at_least_one, markers_tell, needed};

use crate::{
    crop::{self, Crop, Storage},
    evidence::{Finding, Standing, share::in_hundred},
    field::{FieldError, Fields},
    limits,
    offer::Material,
    seed::{self, Advice, Answer},
    sowing::SEEDS_MAX,
    trueness::{CropModel, Observed, OffTypes, Spread, Trueness, after},
};

/// Numbers that a grower types in, for an unlisted cultivar or from own sowings. They override what is on file.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Typed {
    /// Share of off-types among unselected seedlings, 0 to 1.
    pub off_type: Option<f64>,
    /// The same as a count: (off-type, all).
    pub off_type_counted: Option<(u32, u32)>,
    /// Share of seeds that germinate, 0.001 to 1.
    pub germination: Option<f64>,
    /// The same as a count: (germinated, sown).
    pub germination_counted: Option<(u32, u32)>,
}

/// Input of the odds calculation.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    /// Number of true plants wanted in the end.
    pub wanted: u32,
    /// Wanted probability of success, 0.5 to 0.999.
    pub confidence: f64,
    /// Size of a batch of seedlings, for the chance that it holds an off-type; 0 for no batch.
    pub batch: u32,
    /// Days for which the seed has been stored.
    pub kept_days: u32,
    /// Storage key of the crop profile; empty if not stated.
    pub kept_how: String,
    /// Number of marker loci of a planned seedling test; 0 for none.
    pub markers: u32,
    /// Typed-in numbers.
    pub typed: Typed,
}

impl Question {
    /// Returns the default question: one true plant, 90 % sure, from fresh seed.
    pub fn usual() -> Self {
        Self {
            wanted: 1,
            confidence: 0.9,
            batch: 0,
            kept_days: 0,
            kept_how: String::new(),
            markers: 0,
            typed: Typed::default(),
        }
    }

    /// Checks all fields against their limits and the crop's storages.
    ///
    /// # Errors
    /// Returns one [`FieldError`] for every wrong field.
    pub fn check(&self, crop: Option<&Crop>) -> Result<(), Vec<FieldError>> {
        let mut fields = Fields::new();
        if self.wanted == 0 || self.wanted > limits::PLANTS_WANTED_MAX {
            fields.wrong("wanted", format!("1 to {} true plants expected", limits::PLANTS_WANTED_MAX));
        }
        if !(0.5..=0.999).contains(&self.confidence) {
            fields.wrong("confidence", "0.5 to 0.999 expected, such as 0.9");
        }
        if self.batch > SEEDS_MAX {
            fields.wrong("batch", format!("at most {SEEDS_MAX} seedlings expected"));
        }
        if self.markers > limits::MARKERS_MAX {
            fields.wrong("markers", format!("at most {} marker loci expected", limits::MARKERS_MAX));
        }
        let typed = self.typed;
        for (field, rate, least) in [
            ("off_type", typed.off_type, 0.0),
            // A germination of 0 would need infinitely many seeds.
            ("germination", typed.germination, 0.001),
        ] {
            if rate.is_some_and(|r| !(least..=1.0).contains(&r)) {
                fields.wrong(field, format!("a share from {least} to 1 expected"));
            }
        }
        for (field, counted) in
            [("off_type_counted", typed.off_type_counted), ("germination_counted", typed.germination_counted)]
        {
            if counted.is_some_and(|(of_these, all)| all == 0 || of_these > all) {
                fields.wrong(field, "so many of so many expected, the first no more than the second");
            }
        }
        for (field, twice) in [
            ("off_type", typed.off_type.is_some() && typed.off_type_counted.is_some()),
            ("germination", typed.germination.is_some() && typed.germination_counted.is_some()),
        ] {
            if twice {
                fields.wrong(field, "either a rate or a count expected, both found");
            }
        }
        if !self.kept_how.is_empty() {
            let known: Vec<&str> = crop
                .map(|c| c.storages_of(Material::Seed).map(|s| s.key.as_str()).collect())
                .unwrap_or_default();
            if !known.contains(&self.kept_how.as_str()) {
                fields.wrong(
                    "kept_how",
                    if known.is_empty() {
                        "no way of keeping seed is on file for this crop: leave it out".to_string()
                    } else {
                        format!("one of {} expected", known.join(", "))
                    },
                );
            }
        }
        fields.finish(Some(()))
    }
}

/// Which seedlings the grower keeps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kept {
    /// All seedlings, unselected.
    AsTheyCome,
    /// Those left after picking out odd ones by eye (roguing).
    AfterRoguing,
    /// The strongest sprout of each seed.
    Largest,
    /// Those from seeds with several sprouts.
    FromSeveral,
    /// Those from seeds with a single sprout.
    CameUpAlone,
}

impl Kept {
    const ALL: [Self; 5] =
        [Self::AsTheyCome, Self::AfterRoguing, Self::Largest, Self::FromSeveral, Self::CameUpAlone];
    /// Returns the key of the descriptor that counts off-types among these seedlings.
    pub const fn descriptor(self) -> &'static str {
        match self {
            Self::AsTheyCome => "off_type_seedlings",
            Self::AfterRoguing => "off_type_after_roguing",
            Self::Largest => "off_type_largest_sprout",
            Self::FromSeveral => "off_type_multi_sprout",
            Self::CameUpAlone => "off_type_single_sprout",
        }
    }
    /// Returns the choice in words.
    pub const fn label(self) -> &'static str {
        match self {
            Self::AsTheyCome => "seedlings taken as they come",
            Self::AfterRoguing => "seedlings kept after picking out odd ones by eye",
            Self::Largest => "the strongest sprout of each seed",
            Self::FromSeveral => "seedlings of seeds that sent up several sprouts",
            Self::CameUpAlone => "seedlings that came up alone",
        }
    }
}

/// Odds for one choice of seedlings to keep.
#[derive(Clone, Debug, PartialEq)]
pub struct KindOdds {
    /// Which seedlings are kept.
    pub kept: Kept,
    /// Chance that one of them is true to type.
    pub is_true: Chance,
    /// Evidence behind the chance, in words.
    pub basis: String,
    /// Source keys, `typed in`, or `growers' counts`.
    pub origins: Vec<String>,
    /// Standing of the evidence; `None` for typed-in numbers and for the range of the whole crop.
    pub standing: Option<Standing>,
    /// Seedlings to keep for the wanted plants.
    pub seedlings: Needed,
    /// Seeds to sow for that many seedlings, if germination is known. One plant is kept from each seed.
    pub seeds: Option<Needed>,
    /// Chance that the batch holds an off-type; `None` if no batch was given.
    pub off_type_in_batch: Option<Batch>,
}

/// Result of the odds calculation.
#[derive(Clone, Debug, PartialEq)]
pub struct Odds {
    /// Main result, in one or two sentences.
    pub headline: String,
    /// True if a seedling is a new plant, so that being true to type has no odds.
    pub new_plant: bool,
    /// Odds for each choice of seedlings with evidence; empty if nothing is known.
    pub kinds: Vec<KindOdds>,
    /// Chance that a seed survives storage and germinates; `None` if unknown.
    pub germination: Option<Chance>,
    /// Evidence behind the germination, and the effect of storage, in words.
    pub germination_basis: String,
    /// Advice, each with its sources.
    pub notes: Vec<Advice>,
}

const PRACTICE: &str = "common practice";
const COMPUTED: &str = "computed";

/// Returns the chance after updating a prior with observations.
fn learnt(prior: &Spread, observed: &Observed) -> Chance {
    Chance::Known(after(prior, observed))
}

/// Returns the prior for a share without any observation.
fn nothing_known() -> Spread {
    CropModel::default().predictive().clone()
}

/// Returns the chance, text and sources of a finding, from its counts and published rates together.
fn of_finding(finding: &Finding) -> Option<(Chance, String, Vec<String>)> {
    let observed = Observed::of(finding);
    let mut sources: Vec<String> = finding
        .pieces
        .iter()
        .map(|p| p.evidence.source.clone())
        .filter(|source| !source.is_empty())
        .collect();
    sources.sort_unstable();
    sources.dedup();
    (!observed.is_empty()).then(|| (learnt(&nothing_known(), &observed), finding.text.clone(), sources))
}

fn germination(
    question: &Question,
    findings: &[Finding],
    storage: Option<&Storage>,
) -> (Option<Chance>, String) {
    let typed = question.typed;
    let (chance, mut basis) = if let Some(rate) = typed.germination {
        (Some(Chance::exactly(rate)), format!("{} in 100 seeds come up, as typed in", in_hundred(rate)))
    } else if let Some((up, sown)) = typed.germination_counted {
        (
            Some(learnt(&nothing_known(), &Observed::counted(up, sown))),
            format!("{up} of {sown} seeds came up, as typed in"),
        )
    } else {
        match findings.iter().find(|f| f.descriptor == "germination").and_then(of_finding) {
            Some((chance, text, _)) => (Some(chance), format!("On file: {text}")),
            None => (
                None,
                "How many of its seeds come up is not on file, so the numbers are of seedlings, not of seeds. Sow more than that, or give the germination you know".into(),
            ),
        }
    };
    match storage {
        _ if question.kept_days == 0 => {}
        Some(storage) => {
            let kept = storage.after(question.kept_days).text(storage, question.kept_days);
            basis = format!("{basis}. {kept}");
        }
        None => {
            basis = format!(
                "{basis}. What {} days of keeping did to the seed is not included: how it was kept was not said",
                question.kept_days
            );
        }
    }
    (chance, sentence(&basis))
}

fn sentence(text: &str) -> String {
    if text.ends_with('.') { text.to_string() } else { format!("{text}.") }
}

/// Calculates the odds from the cultivar's findings, its seed answer and its known off-types. Pass none of them
/// for typed-in numbers alone.
pub fn odds(
    question: &Question,
    profile: Option<&Crop>,
    findings: &[Finding],
    answer: Option<Answer>,
    known: Option<&Trueness>,
) -> Odds {
    let storage = profile.and_then(|c| c.storages_of(Material::Seed).find(|s| s.key == question.kept_how));
    let (up, germination_basis) = germination(question, findings, storage);
    let kept = storage.filter(|_| question.kept_days > 0).map(|s| s.after(question.kept_days));
    let alive = kept.map_or(Chance::exactly(1.0), crop::Kept::alive);
    // A seed must survive its storage and then germinate.
    let up = up.map(|up| up.and(&alive));
    let typed_in = question.typed.off_type.is_some() || question.typed.off_type_counted.is_some();
    let new_plant = !typed_in && matches!(answer, Some(Answer::NotTrue));
    let mut kinds = Vec::new();
    if !new_plant {
        for kept in Kept::ALL {
            if let Some((off_type, basis, origins, standing)) =
                off_types(kept, question, findings, answer, known)
            {
                let is_true = off_type.complement();
                let (wanted, sure) = (question.wanted, question.confidence);
                kinds.push(KindOdds {
                    kept,
                    basis,
                    origins,
                    standing,
                    seedlings: needed(wanted, sure, &is_true),
                    seeds: up.as_ref().map(|up| needed(wanted, sure, &up.and(&is_true))),
                    off_type_in_batch: (question.batch > 0).then(|| at_least_one(question.batch, &off_type)),
                    is_true,
                });
            }
        }
    }
    Odds {
        headline: if kept == Some(crop::Kept::Dead) {
            "Look for fresh seed: kept that long and that way, sources found nothing alive.".into()
        } else {
            headline(question, new_plant, answer, &kinds)
        },
        new_plant,
        germination: up,
        germination_basis,
        notes: notes(question, profile, new_plant, &kinds),
        kinds,
    }
}

fn off_types(
    kept: Kept,
    question: &Question,
    findings: &[Finding],
    answer: Option<Answer>,
    known: Option<&Trueness>,
) -> Option<(Chance, String, Vec<String>, Option<Standing>)> {
    let typed = || vec!["typed in".to_string()];
    let finding = findings.iter().find(|f| f.descriptor == kept.descriptor());
    if kept != Kept::AsTheyCome {
        let (chance, text, origins) = finding.and_then(of_finding)?;
        return Some((chance, text, origins, finding.map(|f| f.standing)));
    }
    if let Some(rate) = question.typed.off_type {
        let text = format!("{} in 100 off-type, as typed in", in_hundred(rate));
        return Some((Chance::exactly(rate), text, typed(), None));
    }
    if let Some((of_these, all)) = question.typed.off_type_counted {
        let text = format!("{of_these} of {all} off-type, as typed in");
        let prior = known.filter(|_| answer != Some(Answer::NotTrue)).map(|known| &known.of_crop);
        let nothing = nothing_known();
        let chance = learnt(prior.unwrap_or(&nothing), &Observed::counted(of_these, all));
        return Some((chance, text, typed(), None));
    }
    let known = known?;
    if known.own {
        let seeds = findings.iter().find(|f| f.descriptor == OffTypes::SEEDS);
        let all: Vec<&Finding> = finding.into_iter().chain(seeds).collect();
        let mut origins: Vec<String> =
            all.iter().filter_map(|f| of_finding(f)).flat_map(|(_, _, origins)| origins).collect();
        origins.dedup();
        let text: Vec<&str> = all.iter().map(|f| f.text.as_str()).collect();
        return Some((
            Chance::Known(known.off_type.clone()),
            text.join("; "),
            origins,
            finding.map(|f| f.standing),
        ));
    }
    // Reported to send up several sprouts but never counted: only the spread among the crop's cultivars is known.
    let said = matches!(answer, Some(Answer::NotCounted | Answer::Doubtful | Answer::BothKinds));
    (said && known.others > 0).then(|| {
        let text = format!(
            "not counted for this cultivar; what the crop's others tell. {}",
            seed::others_words(known)
        );
        (Chance::Known(known.off_type.clone()), text, vec![COMPUTED.into()], None)
    })
}

fn headline(question: &Question, new_plant: bool, answer: Option<Answer>, kinds: &[KindOdds]) -> String {
    if new_plant {
        return "A seedling of it is a new plant, not this cultivar: there are no odds of a true one. It is good as a rootstock for a scion of the cultivar, or as a gamble on something new.".into();
    }
    let plants = if question.wanted == 1 {
        "one true plant".into()
    } else {
        format!("{} true plants", question.wanted)
    };
    let sure = in_hundred(question.confidence);
    let Some(first) = kinds.iter().find(|k| k.kept == Kept::AsTheyCome) else {
        return if kinds.is_empty() {
            "No one on file has counted how many of its seedlings are true, so there are no odds to give. Take its seed as a gamble, or graft.".into()
        } else {
            "How many of its seedlings are true was counted only in part; see below which.".into()
        };
    };
    let contested =
        if answer == Some(Answer::Contested) { " The sources disagree: do not rely on it." } else { "" };
    match (first.seedlings.likely, first.seedlings.at_best, first.seedlings.at_worst) {
        (Some(likely), _, _) => {
            format!("Keep {} for {plants} ({sure} % sure).{contested}", seedlings(likely))
        }
        (None, Some(best), Some(worst)) if best == worst => {
            format!("Keep {} for {plants} ({sure} % sure).{contested}", seedlings(worst))
        }
        (None, Some(best), Some(worst)) => format!(
            "Keep {best} to {worst} seedlings for {plants} ({sure} % sure): {best} if the chance is at its good end, {worst} if at its bad end.{contested}"
        ),
        _ => format!(
            "It is not practical: more than {SEEDS_MAX} seedlings for {plants} ({sure} % sure). Graft instead."
        ),
    }
}

fn seedlings(count: u32) -> String {
    if count == 1 { "1 seedling".into() } else { format!("{count} seedlings from different seeds") }
}

fn notes(question: &Question, crop: Option<&Crop>, new_plant: bool, kinds: &[KindOdds]) -> Vec<Advice> {
    let note = |text: &str, origins: &[String], basis: &str| Advice {
        text: capital(text),
        origins: if origins.is_empty() && basis.is_empty() {
            vec![PRACTICE.into()]
        } else if origins.is_empty() {
            vec![basis.into()]
        } else {
            origins.to_vec()
        },
    };
    let mut all = Vec::new();
    if !new_plant && let Some(seed) = crop.map(|c| &c.seed) {
        if !seed.roguing_text.is_empty() {
            all.push(note(&seed.roguing_text, &seed.roguing_sources, &seed.roguing_basis));
        }
        let alone = kinds.iter().any(|k| k.kept == Kept::CameUpAlone);
        if !seed.single_sprout_text.is_empty() && !alone {
            all.push(note(
                &format!("seedlings that come up alone: {}", seed.single_sprout_text),
                &seed.single_sprout_sources,
                &seed.single_sprout_basis,
            ));
        }
    }
    if question.markers > 0 {
        let loci = question.markers;
        let tells = in_hundred(markers_tell(loci));
        all.push(Advice {
            text: format!("A marker test at {loci} loci where the mother tree bears two alleles tells {tells} in 100 of her selfed seedlings from clones; a seedling of another father is found more often."),
            origins: vec![COMPUTED.into()],
        });
    }
    if kinds.iter().any(|k| matches!(&k.is_true, Chance::Known(spread) if !spread.is_exact())) {
        all.push(Advice {
            text: "The numbers carry along how little was counted; between the ends it lies nine times of ten. Year and tree matter, so your own sowing may differ from all that was counted.".into(),
            origins: vec![COMPUTED.into()],
        });
    }
    if !kinds.is_empty() {
        all.push(Advice {
            text: "One plant is kept of each seed. Off-types that look like the mother are missed by eye; only fruit or a marker test settles it.".into(),
            origins: vec![PRACTICE.into()],
        });
    }
    all
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_uppercase().collect::<String>()).unwrap_or_default();
    sentence(&format!("{first}{}", letters.as_str()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn question() -> Question {
        Question {
            wanted: 3,
            confidence: 0.9,
            batch: 20,
            kept_days: 0,
            kept_how: String::new(),
            markers: 0,
            typed: Typed::default(),
        }
    }

    #[test]
    fn typed_numbers_answer_without_a_cultivar() {
        let typed = Typed { off_type: Some(0.25), germination: Some(0.8), ..Typed::default() };
        let asked = Question { typed, ..question() };
        asked.check(None).unwrap();
        let found = odds(&asked, None, &[], None, None);
        assert_eq!(found.kinds.len(), 1);
        let kind = &found.kinds[0];
        // Sedcole's table at chance 3/4: 3 plants, 90 %: 6 (recomputed with scipy); 0.8 x 0.75 = 0.6.
        assert_eq!(kind.seedlings, Needed { likely: Some(6), at_best: Some(6), at_worst: Some(6) });
        assert_eq!(kind.seeds.unwrap().likely, crate::sowing::needed(3, 0.9, 0.6));
        assert!((kind.off_type_in_batch.unwrap().likely.unwrap() - (1.0 - 0.75_f64.powi(20))).abs() < 1e-12);
        assert_eq!(found.headline, "Keep 6 seedlings from different seeds for 3 true plants (90 % sure).");
    }

    #[test]
    fn counts_cost_more_than_the_rate_they_give() {
        let of = |typed| {
            odds(&Question { wanted: 10, confidence: 0.95, typed, ..question() }, None, &[], None, None)
        };
        let rate = of(Typed { off_type: Some(0.25), ..Typed::default() });
        let counts = of(Typed { off_type_counted: Some((3, 12)), ..Typed::default() });
        assert!(counts.kinds[0].seedlings.likely > rate.kinds[0].seedlings.likely);
        assert!(counts.kinds[0].seedlings.at_worst > counts.kinds[0].seedlings.at_best);
    }

    /// Storage does not make a germination count surer: 3 of 4 cost more seeds than 75 in 100, fresh or stored.
    #[test]
    fn keeping_carries_the_count_along() {
        let crop: Crop = toml::from_str(include_str!("../../../data/crops/mango.toml")).unwrap();
        let kept = |days, typed| {
            let kept_how = if days > 0 { "charcoal".to_string() } else { String::new() };
            let asked = Question { wanted: 10, kept_days: days, kept_how, typed, ..question() };
            asked.check(Some(&crop)).unwrap();
            odds(&asked, Some(&crop), &[], None, None).kinds[0].seeds.unwrap()
        };
        let rate = Typed { off_type: Some(0.25), germination: Some(0.75), ..Typed::default() };
        let count = Typed { off_type: Some(0.25), germination_counted: Some((3, 4)), ..Typed::default() };
        for days in [0, 60] {
            let (sure, counted) = (kept(days, rate), kept(days, count));
            assert!(counted.likely > sure.likely, "{days} days: {counted:?} {sure:?}");
            assert!(counted.likely <= counted.at_worst, "{counted:?}");
        }
        // Fewer stored seeds live: 80 in 100 after 70 days in charcoal dust (MORTON87).
        assert!(kept(60, count).likely > kept(0, count).likely);
        assert!(kept(60, rate).likely > kept(0, rate).likely);
    }

    #[test]
    fn everything_wrong_is_told_at_once() {
        let typed = Typed {
            off_type: Some(1.5),
            off_type_counted: Some((9, 3)),
            germination: Some(0.0),
            germination_counted: None,
        };
        let wrong = Question {
            wanted: 0,
            confidence: 1.0,
            batch: 6000,
            kept_how: "in a drawer".into(),
            markers: 1000,
            typed,
            ..question()
        };
        let fields: Vec<String> = wrong.check(None).unwrap_err().into_iter().map(|e| e.field).collect();
        assert_eq!(
            fields,
            [
                "wanted",
                "confidence",
                "batch",
                "markers",
                "off_type",
                "germination",
                "off_type_counted",
                "off_type",
                "kept_how"
            ]
        );
    }

    #[test]
    fn a_new_plant_has_no_odds() {
        let found = odds(&question(), None, &[], Some(Answer::NotTrue), None);
        assert!(found.new_plant && found.kinds.is_empty());
        assert!(found.headline.contains("new plant"), "{}", found.headline);
        let unknown = odds(&question(), None, &[], Some(Answer::Unknown), None);
        assert!(unknown.kinds.is_empty() && unknown.headline.contains("no odds"));
    }
}
