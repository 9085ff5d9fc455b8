//! Reads what a grower observed from options, prompts and the rows of a file.

use scionary_proto::v1::{self, observed_thing::Thing};

use crate::{args::ObservedArguments, error::Failure, prompt::ask, words};

fn thing(thing: Thing) -> v1::ObservedThing {
    v1::ObservedThing { thing: Some(thing) }
}

/// Splits `trait=value`; the key is in lower case with underscores.
fn pair<'a>(option: &str, text: &'a str) -> Result<(String, &'a str), String> {
    match text.split_once('=') {
        Some((key, value)) if !key.trim().is_empty() && !value.trim().is_empty() => {
            Ok((key.trim().to_lowercase().replace('-', "_"), value.trim()))
        }
        Some(_) | None => Err(format!("--{option}: TRAIT=VALUE expected, {text:?} found")),
    }
}

/// Parses a number and its unit: `350g`, `0.77 lb`.
pub(super) fn number_and_unit(text: &str) -> Result<(f64, String), String> {
    // Many countries write a comma as the decimal point.
    let text = &text.trim().replacen(',', ".", 1);
    let end = text.find(|c: char| !(c.is_ascii_digit() || c == '.')).unwrap_or(text.len());
    let (number, unit) = text.split_at(end);
    let number =
        number.parse().map_err(|_| format!("a number such as 350 or 350g expected, {text:?} found"))?;
    Ok((number, unit.trim().to_string()))
}

fn whole(text: &str) -> Result<i32, String> {
    text.trim().parse().map_err(|_| format!("a whole number expected, {text:?} found"))
}

fn measure(text: &str) -> Result<v1::ObservedThing, String> {
    let (descriptor_key, value) = pair("measure", text)?;
    let (value, sample) = match value.split_once('/') {
        Some((value, sample)) => (value, whole(sample)?),
        None => (value, 0),
    };
    let (value, unit) = number_and_unit(value)?;
    Ok(thing(Thing::Measure(v1::Measure { descriptor_key, value, unit, sample })))
}

fn rating(text: &str) -> Result<v1::ObservedThing, String> {
    let (descriptor_key, state) = pair("rating", text)?;
    Ok(thing(Thing::Rating(v1::Rating { descriptor_key, state: state.into() })))
}

/// Parses a statement. Only the server knows whether the trait has states, so the value is sent as state and as text.
pub(super) fn says(text: &str) -> Result<v1::ObservedThing, String> {
    let (descriptor_key, value) = pair("says", text)?;
    let statement = v1::Statement { descriptor_key, state: value.into(), text: value.into() };
    Ok(thing(Thing::Statement(statement)))
}

fn count(text: &str) -> Result<v1::ObservedThing, String> {
    let (descriptor_key, value) = pair("count", text)?;
    let Some((of_these, counted)) = value.split_once('/') else {
        return Err(format!(
            "--count: TRAIT=OF THESE/COUNTED, such as zygotic_seeds=4/45, expected, {text:?} found"
        ));
    };
    let count = v1::Count { descriptor_key, counted: whole(counted)?, of_these: whole(of_these)? };
    Ok(thing(Thing::Count(count)))
}

/// Returns whether the user typed no observation.
pub(super) fn is_empty(a: &ObservedArguments) -> bool {
    [a.sown, a.sprouted, a.one, a.two, a.more, a.several, a.judged].iter().all(Option::is_none)
        && a.measure.is_empty()
        && a.rating.is_empty()
        && a.says.is_empty()
        && a.count.is_empty()
        && a.first_ripe.is_none()
        && a.last_ripe.is_none()
}

/// Converts the typed options to a draft.
pub(super) fn draft(a: ObservedArguments) -> Result<v1::EvidenceDraft, Failure> {
    let usage = Failure::usage;
    let mut observed = Vec::new();
    let ObservedArguments {
        sown,
        sprouted,
        one,
        two,
        more,
        several,
        judged,
        off_type,
        which,
        measure: measures,
        rating: ratings,
        first_ripe,
        last_ripe,
        says: statements,
        count: counts,
        day,
        tree,
        method,
        place,
        area,
        place_label,
        published,
        citation,
        named_as,
        note,
    } = a;
    let sowing = v1::SowingTally { sown, sprouted, one, two, more, several };
    if sowing != v1::SowingTally::default() {
        observed.push(thing(Thing::Sowing(sowing)));
    }
    if let Some((judged, off_type)) = judged.zip(off_type) {
        let which = which.unwrap_or(v1::JudgedSeedlings::AsTheyCame).into();
        observed.push(thing(Thing::Seedlings(v1::SeedlingTally { which, judged, off_type })));
    }
    for text in &measures {
        observed.push(measure(text).map_err(usage)?);
    }
    for text in &ratings {
        observed.push(rating(text).map_err(usage)?);
    }
    if first_ripe.is_some() || last_ripe.is_some() {
        let sighting = v1::Sighting { descriptor_key: String::new(), first_ripe, last_ripe };
        observed.push(thing(Thing::Sighting(sighting)));
    }
    for text in &statements {
        observed.push(says(text).map_err(usage)?);
    }
    for text in &counts {
        observed.push(count(text).map_err(usage)?);
    }
    let place = v1::Place {
        area_code: area.unwrap_or_default(),
        grid_code: place.unwrap_or_default(),
        label: place_label.unwrap_or_default(),
    };
    Ok(v1::EvidenceDraft {
        observed,
        day,
        place: (place != v1::Place::default()).then_some(place),
        tree: tree.unwrap_or_default(),
        method: method.unwrap_or(v1::ObservationMethod::Unspecified).into(),
        published,
        citation: citation.unwrap_or_default(),
        named_as: named_as.unwrap_or_default(),
        note: note.unwrap_or_default(),
    })
}

/// Asks for a count that the user may leave out.
fn maybe(question: &str) -> Result<Option<i32>, Failure> {
    ask(question, Some(""), |t| {
        if t.is_empty() {
            return Ok(None);
        }
        match t.parse::<i32>() {
            Ok(n) if n >= 0 => Ok(Some(n)),
            Ok(_) | Err(_) => Err("a whole number, or nothing, expected".to_string()),
        }
    })
}

fn line(question: &str) -> Result<Option<String>, Failure> {
    ask(question, Some(""), |t| Ok(t.to_string())).map(|t| Some(t).filter(|t| !t.is_empty()))
}

/// Asks for a choice: its number in the list, or the beginning of its text. Returns its index; one choice is not asked.
fn choice(question: &str, choices: &[String]) -> Result<usize, Failure> {
    if choices.len() == 1 {
        return Ok(0);
    }
    ask(question, None, |t| {
        let begins = |c: &String| !t.is_empty() && c.to_lowercase().starts_with(&t.to_lowercase());
        match t.parse::<usize>() {
            Ok(n) if (1..=choices.len()).contains(&n) => Ok(n - 1),
            Ok(_) => Err(format!("a number from 1 to {} expected", choices.len())),
            Err(_) => choices
                .iter()
                .position(begins)
                .ok_or_else(|| format!("a number from 1 to {} expected", choices.len())),
        }
    })
}

/// Converts the typed counts of a sowing to the domain's tally; a negative count becomes `None`.
fn tally(a: &ObservedArguments) -> scionary_domain::evidence::tally::Sowing {
    let count = |n: Option<i32>| n.and_then(|n| u32::try_from(n).ok());
    scionary_domain::evidence::tally::Sowing {
        sown: count(a.sown),
        sprouted: count(a.sprouted),
        one: count(a.one),
        two: count(a.two),
        more: count(a.more),
        several: count(a.several),
    }
}

fn list(choices: &[String]) {
    let width = textwrap::termwidth().clamp(40, 110);
    for (at, text) in choices.iter().enumerate() {
        let first = format!("  {}. ", at + 1);
        let options = textwrap::Options::new(width).initial_indent(&first).subsequent_indent("     ");
        eprintln!("{}", textwrap::fill(text, options));
    }
}

/// Asks what the grower observed. `crop` lists the traits and their states.
pub(super) fn complete(a: &mut ObservedArguments, crop: &v1::GetCropResponse) -> Result<(), Failure> {
    let kinds = [
        "seeds that came up, and their sprouts".to_string(),
        "seedlings judged: like the mother, or not".to_string(),
        "something weighed or measured".to_string(),
        "a step on a scale, such as fibre".to_string(),
        "first or last ripe fruit".to_string(),
        "a statement without a count".to_string(),
    ];
    eprintln!("What did you observe?");
    list(&kinds);
    match choice("Number", &kinds)? {
        0 => {
            eprintln!("Leave out what you did not count.");
            loop {
                a.sown = maybe("Seeds sown")?;
                a.sprouted = maybe("Seeds that came up")?;
                a.one = maybe("Of these, seeds with one sprout")?;
                a.two = maybe("Seeds with two sprouts")?;
                a.more = maybe("Seeds with three or more sprouts")?;
                if a.two.is_none() && a.more.is_none() {
                    a.several = maybe("Seeds with two or more sprouts, not counted apart")?;
                }
                let Err(wrong) = tally(a).rows("sowing") else { break };
                for wrong in wrong {
                    eprintln!("  {}", wrong.expected);
                }
                eprintln!("Once more:");
            }
        }
        1 => {
            let which = [
                v1::JudgedSeedlings::AsTheyCame,
                v1::JudgedSeedlings::AfterRoguing,
                v1::JudgedSeedlings::Alone,
                v1::JudgedSeedlings::OfSeveral,
                v1::JudgedSeedlings::Largest,
            ];
            let texts: Vec<String> = [
                "as they came, without choosing",
                "kept after pulling the odd ones",
                "those that came up alone",
                "those of seeds with several sprouts",
                "the largest of each seed",
            ]
            .map(str::to_string)
            .to_vec();
            eprintln!("Which seedlings?");
            list(&texts);
            let at = choice("Number", &texts)?;
            a.which = which.get(at).copied();
            let number = |t: &str| t.parse::<i32>().map_err(|_| "a whole number expected".to_string());
            let judged = ask("Seedlings judged", None, number)?;
            a.judged = Some(judged);
            a.off_type = Some(ask("Of these, unlike the mother tree", None, |t| match number(t) {
                Ok(n) if (0..=judged).contains(&n) => Ok(n),
                Ok(_) => Err(format!("at most the {judged} judged expected")),
                Err(expected) => Err(expected),
            })?);
            a.method = Some(ask("How did you judge (eye, fruit, marker)", Some("eye"), words::parse_method)?);
        }
        2 => {
            let found = pick(crop, v1::DescriptorKind::Quantity)?;
            let such = if found.unit == "g" { " (such as 350g, 0.77lb)" } else { "" };
            let value = ask(&format!("{}{such}", found.question), None, |t| {
                number_and_unit(t).map(|_| t.to_string())
            })?;
            let sample = maybe("Of how many fruits or plants is that the mean")?;
            let of = sample.map(|n| format!("/{n}")).unwrap_or_default();
            a.measure.push(format!("{}={value}{of}", found.descriptor_key));
        }
        3 => {
            let found = pick(crop, v1::DescriptorKind::Ordinal)?;
            let state = pick_state(&found)?;
            a.rating.push(format!("{}={state}", found.descriptor_key));
        }
        4 => {
            let day = |t: &str| if t.is_empty() { Ok(None) } else { crate::day::past(t).map(Some) };
            a.first_ripe = ask(
                "First ripe fruit on (year-month-day, such as 2026-06-11; may stay empty)",
                Some(""),
                day,
            )?;
            a.last_ripe = ask("Last ripe fruit on (may stay empty)", Some(""), day)?;
        }
        _ => {
            let found = pick(crop, v1::DescriptorKind::Category)?;
            let state = pick_state(&found)?;
            a.says.push(format!("{}={state}", found.descriptor_key));
        }
    }
    if a.day.is_none() && a.first_ripe.is_none() && a.last_ripe.is_none() {
        a.day = ask("When (year-month-day, such as 2026-03-31; may stay empty)", Some(""), |t| {
            if t.is_empty() { Ok(None) } else { crate::day::past(t).map(Some) }
        })?;
    }
    if a.tree.is_none() {
        a.tree = line("Which tree, in your words (may stay empty)")?;
    }
    if a.place.is_none() {
        a.place = ask(
            "Where? Latitude and longitude from any map, such as -27.47,153.02 (kept only to about 5 km; may stay empty)",
            Some(""),
            |t| if t.is_empty() { Ok(None) } else { words::parse_grid(t).map(Some) },
        )?;
    }
    if a.place.is_some() && a.place_label.is_none() {
        a.place_label = line("What do you call the place (may stay empty)")?;
    }
    if a.citation.is_none() {
        a.citation = line("From a publication? Its author, year and title (otherwise leave it empty)")?;
        a.published = a.citation.is_some();
    }
    if a.note.is_none() {
        a.note = line("Anything to note? Everyone can read it (may stay empty)")?;
    }
    Ok(())
}

/// Asks for one of the crop's traits of a kind.
fn pick(crop: &v1::GetCropResponse, kind: v1::DescriptorKind) -> Result<v1::Descriptor, Failure> {
    let all: Vec<&v1::Descriptor> = crop.descriptors.iter().filter(|d| d.kind() == kind).collect();
    let texts: Vec<String> = all.iter().map(|d| d.label.clone()).collect();
    if texts.is_empty() {
        return Err(Failure::usage("this crop keeps no such trait"));
    }
    eprintln!("Which trait?");
    list(&texts);
    let at = choice("Number", &texts)?;
    all.get(at).map(|d| (*d).clone()).ok_or_else(|| Failure::bug("a choice that is not there"))
}

fn pick_state(descriptor: &v1::Descriptor) -> Result<String, Failure> {
    let texts: Vec<String> = descriptor
        .states
        .iter()
        .map(|s| if s.help.is_empty() { s.label.clone() } else { format!("{}: {}", s.label, s.help) })
        .collect();
    eprintln!("{}", descriptor.question);
    list(&texts);
    let at = choice("Number", &texts)?;
    descriptor.states.get(at).map(|s| s.key.clone()).ok_or_else(|| Failure::bug("a choice that is not there"))
}
