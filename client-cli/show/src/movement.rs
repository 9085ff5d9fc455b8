//! Rules on moving plants and their releases.

use scionary_proto::v1;

use crate::{Deed, View, words};

/// Shows a [`v1::ListMovementReleasesResponse`].
pub fn list_movement_releases(view: &mut View, reply: &v1::ListMovementReleasesResponse) {
    if reply.releases.is_empty() {
        view.line("No rules were proposed: those that ship with the server are in force.");
    }
    for release in &reply.releases {
        released(view, Some(release));
        view.gap();
    }
    view.more(&reply.next_page_token);
}

/// Shows a [`v1::ListMovementRulesResponse`].
pub fn list_movement_rules(view: &mut View, reply: &v1::ListMovementRulesResponse) {
    if reply.rules.is_empty() {
        view.line("No such rule is on file. That is no answer: ask the plant-health authority.");
    }
    for rule in &reply.rules {
        brief(view, rule, &[]);
        view.item(2, "", &rule.conditions);
    }
    if !reply.empty_areas.is_empty() {
        view.gap();
        view.note(format!(
            "Areas that rules name and that no one has listed here, so that such rules match nothing: {}.",
            reply.empty_areas.join(", ")
        ));
    }
    view.more(&reply.next_page_token);
}

/// Shows a release of rules and what to do next.
pub fn released(view: &mut View, release: Option<&v1::MovementRelease>) {
    let Some(release) = release else { return };
    let dry = release.release == 0;
    view.title(&if dry {
        "Dry run: nothing is proposed".into()
    } else {
        format!("Release {}", release.release)
    });
    view.fact("why", &release.note);
    view.fact("proposed", words::day_of(release.proposed_at.as_ref()));
    view.fact("published", words::day_of(release.published_at.as_ref()));
    view.fact("taken back", words::day_of(release.withdrawn_at.as_ref()));
    view.fact("state", if release.in_force { "in force" } else { "" });
    if release.rules > 0 {
        view.fact("rules then", release.rules.to_string());
    }
    view.fact("added", release.added.join(", "));
    view.fact("gone", release.gone.join(", "));
    if dry {
        view.note("No mistake was found. Propose it with --propose; another steward publishes it.");
    } else if release.published_at.is_none() && release.withdrawn_at.is_none() {
        view.act("Another steward puts it in force", Deed::MovementPublish.on(&release.release.to_string()));
    }
}

/// Shows a rule in one line, with its special marks.
pub fn brief(view: &mut View, rule: &v1::MovementRule, special: &[&str]) {
    let mut marks: Vec<String> = special.iter().map(ToString::to_string).collect();
    if rule.stub {
        marks.push("a restriction is reported, its text is not on file".into());
    }
    if rule.unverified {
        marks.push("from memory only".into());
    }
    if !rule.read_how.is_empty() {
        marks.push(format!("read so: {}", rule.read_how));
    }
    if let Some(until) = rule.effective_to {
        marks.push(format!("until {}", words::day(Some(until))));
    }
    let marks = if marks.is_empty() { String::new() } else { format!(" ({})", marks.join("; ")) };
    let citation = [rule.citation.as_str(), rule.instrument.as_str()].into_iter().find(|t| !t.is_empty());
    view.item(
        0,
        "-",
        format!(
            "{}: {}{marks} [{} version {}, text of {}]",
            words::verdict(rule.verdict()),
            citation.unwrap_or_default(),
            rule.rule_id,
            rule.version,
            rule.text_date
        ),
    );
}

pub(crate) fn listed(view: &mut View, title: &str, rules: &[v1::AppliedRule], full: bool) {
    if rules.is_empty() {
        return;
    }
    view.gap();
    view.title(title);
    for applied in rules {
        let Some(rule) = &applied.rule else { continue };
        let mut special = Vec::new();
        if applied.unsure {
            special.push("true for a part of what you said: name a finer place, plant or count");
        }
        let stale = match rule.checked_on {
            Some(on) => format!("text last checked on {}: ask", words::day(Some(on))),
            None => format!("its text was to be looked at again by {}: ask", words::day(rule.review_by)),
        };
        if applied.stale {
            special.push(&stale);
        }
        let open = format!("open to {} only", rule.open_to);
        if !rule.open_to.is_empty() && rule.open_to != "anyone" {
            special.push(&open);
        }
        brief(view, rule, &special);
        view.item(2, "says:", &rule.conditions);
        view.item(2, "ask:", &rule.authority);
        if full {
            if !rule.note.is_empty() {
                view.item(2, "note:", &rule.note);
            }
            if !rule.source_url.is_empty() {
                view.item(2, "text:", &rule.source_url);
            }
        }
    }
}

/// Shows the rules on file for a movement.
pub fn show(view: &mut View, reply: &v1::CheckMovementResponse, full: bool) {
    view.answer(format!("{}.", reply.headline));
    let arrives = if reply.arrival == reply.dispatch {
        String::new()
    } else {
        format!(" to {}", words::day(reply.arrival))
    };
    view.line(format!(
        "{}, grown at {}; {}{arrives}.",
        reply.botanical_name,
        reply.grown_at.join(", "),
        words::day(reply.dispatch)
    ));
    for counted in &reply.counted {
        view.line(format!(
            "{} is on no list here: it was counted as {}, so some rules may hold for a part of it only.",
            counted.stated, counted.counted_as
        ));
    }
    for plant in &reply.unlisted_plants {
        view.line(format!(
            "{plant} is on no list here: only rules on any plant were looked at. Ask {}.",
            reply.ask
        ));
    }
    listed(view, "What makes the answer", &reply.lead, full);
    listed(view, "Binding too", &reply.also, full);
    listed(view, "Reported, text not on file: do not send before asking", &reply.stubs, full);
    listed(view, "From memory only: ask", &reply.unverified, full);
    listed(view, "Exceptions that are not open to everyone", &reply.could_change, full);
    listed(view, "In force later", &reply.coming, full);
    listed(
        view,
        "Not looked at, as no one has listed the places of an area here: ask",
        &reply.not_looked_at,
        full,
    );
    if reply.verdict() != v1::MovementVerdict::NoRule && !reply.open.is_empty() {
        view.gap();
        view.title("Nothing on file for these parts of it: that is no answer");
        for open in &reply.open {
            view.item(
                0,
                "-",
                format!("{} of {} from {} to {}", open.part, open.plant, open.from_place, open.to_place),
            );
        }
    }
    if !reply.gaps.is_empty() {
        view.gap();
        view.title("No rule on file for");
        for gap in &reply.gaps {
            let side = match gap.side() {
                v1::MovementSide::Leaving => "leaving",
                v1::MovementSide::Entering => "entering",
                v1::MovementSide::Within | v1::MovementSide::Unspecified => "moving within",
            };
            let place = if gap.place.is_empty() { "a place that no one knows" } else { &gap.place };
            view.item(0, "-", format!("{side} {place}: ask {}.", gap.ask));
        }
    }
    if !reply.pests.is_empty() {
        view.gap();
        view.title("Known to travel with it");
        for pest in &reply.pests {
            let not = if pest.not_by.is_empty() {
                String::new()
            } else {
                format!(" Not known to travel with: {}.", pest.not_by)
            };
            view.item(0, "-", format!("{}. Carried by: {}.{not}", pest.name, pest.carried_by));
            if full {
                view.item(2, "", format!("{} [{}]", pest.how, pest.source));
            }
        }
    }
    view.gap();
    view.line(&reply.notice);
}
