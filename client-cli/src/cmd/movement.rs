//! What rules on file say of moving plants.

use scionary_proto::v1;

use super::more;
use crate::{
    args::{CheckArguments, MovementCommand},
    client::Client,
    error::Failure,
    output::Output,
    words,
};

pub(super) async fn run(client: &Client, output: &Output, command: MovementCommand) -> Result<(), Failure> {
    match command {
        MovementCommand::Check(arguments) => check(client, output, *arguments).await,
        MovementCommand::Import { folder, note, propose } => {
            client.need_session()?;
            let mut files = Vec::new();
            for name in ["rules.csv", "places.csv", "aliases.csv", "taxa.csv", "pests.csv", "authorities.csv"]
            {
                match std::fs::read_to_string(folder.join(name)) {
                    Ok(text) => {
                        files.push(v1::RuleFile { name: name.into(), text });
                    }
                    Err(error) if error.kind() == std::io::ErrorKind::NotFound => {}
                    Err(error) => {
                        return Err(Failure::usage(format!("{}: {error}", folder.join(name).display())));
                    }
                }
            }
            let request = v1::ProposeMovementRulesRequest { files, note, dry_run: !propose };
            let reply: v1::ProposeMovementRulesResponse = client.call(request).await?;
            output.reply(&reply, |out| released(out, reply.release.as_ref()))
        }
        MovementCommand::Releases { paging } => {
            client.need_session()?;
            let request =
                v1::ListMovementReleasesRequest { page_size: paging.page_size, page_token: paging.page };
            let reply: v1::ListMovementReleasesResponse = client.call(request).await?;
            output.reply(&reply, |out| {
                if reply.releases.is_empty() {
                    out.text("No rules were proposed: those that ship with the server are in force.");
                }
                for release in &reply.releases {
                    released(out, Some(release));
                    out.gap();
                }
                more(out, &reply.next_page_token);
            })
        }
        MovementCommand::Publish { release } => {
            client.need_session()?;
            let request = v1::PublishMovementRulesRequest { release };
            let reply: v1::PublishMovementRulesResponse = client.call(request).await?;
            output.reply(&reply, |out| released(out, reply.release.as_ref()))
        }
        MovementCommand::TakeBack { release } => {
            client.need_session()?;
            let request = v1::WithdrawMovementRulesRequest { release };
            let reply: v1::WithdrawMovementRulesResponse = client.call(request).await?;
            output.reply(&reply, |out| released(out, reply.release.as_ref()))
        }
        MovementCommand::Rules { plant, paging } => {
            let request = v1::ListMovementRulesRequest {
                host: plant,
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::ListMovementRulesResponse = client.call(request).await?;
            output.reply(&reply, |out| {
                if reply.rules.is_empty() {
                    out.text("No such rule is on file. That is no answer: ask the plant-health authority.");
                }
                for rule in &reply.rules {
                    brief(out, rule, &[]);
                    out.item(2, "", &rule.conditions);
                }
                if !reply.empty_areas.is_empty() {
                    out.gap();
                    out.faint(&format!(
                        "Areas that rules name and that no one has listed here, so that such rules match nothing: {}.",
                        reply.empty_areas.join(", ")
                    ));
                }
                more(out, &reply.next_page_token);
            })
        }
    }
}

/// A release, and what is next.
fn released(out: &Output, release: Option<&v1::MovementRelease>) {
    let Some(release) = release else { return };
    let dry = release.release == 0;
    out.heading(&if dry {
        "Dry run: nothing is proposed".into()
    } else {
        format!("Release {}", release.release)
    });
    out.field("why", &release.note);
    out.field("proposed", &words::day_of(release.proposed_at.as_ref()));
    out.field("published", &words::day_of(release.published_at.as_ref()));
    out.field("taken back", &words::day_of(release.withdrawn_at.as_ref()));
    out.field("state", if release.in_force { "in force" } else { "" });
    if release.rules > 0 {
        out.field("rules then", &release.rules.to_string());
    }
    out.field("added", &release.added.join(", "));
    out.field("gone", &release.gone.join(", "));
    if dry {
        out.faint("No mistake was found. Propose it with --propose; another steward publishes it.");
    } else if release.published_at.is_none() && release.withdrawn_at.is_none() {
        out.faint(&format!(
            "Another steward puts it in force: scionary movement publish {}",
            release.release
        ));
    }
}

async fn check(client: &Client, output: &Output, typed: CheckArguments) -> Result<(), Failure> {
    let CheckArguments {
        name,
        crop,
        offer,
        plant,
        unlisted,
        rootstock,
        material,
        form,
        from,
        to,
        by_way_of,
        leaves,
        arrives,
        count,
        document,
        full,
    } = typed;
    let request = v1::CheckMovementRequest {
        offer_id: offer,
        cultivar: name.join(" "),
        crop: words::crop(crop),
        botanical_name: plant,
        material: material.unwrap_or_default().into(),
        form: form.unwrap_or_default().into(),
        grown_at: from,
        to,
        by_way_of,
        dispatch: leaves,
        arrival: arrives,
        count,
        documents: document,
        rootstock,
        unlisted,
    };
    let reply: v1::CheckMovementResponse = client.call(request).await.map_err(|failure| {
        let wrong = |name: &str| failure.fields.iter().any(|(field, _)| field == name);
        if wrong("botanical_name") && !unlisted {
            failure.then("a plant that no list has: add --unlisted")
        } else if wrong("rootstock") {
            failure.then("add --rootstock NAME, or --rootstock unknown")
        } else {
            failure
        }
    })?;
    output.reply(&reply, |out| show(out, &reply, full))
}

/// A rule in a line, with what is special about it.
fn brief(out: &Output, rule: &v1::MovementRule, special: &[&str]) {
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
    out.item(
        0,
        "-",
        &format!(
            "{}: {}{marks} [{} version {}, text of {}]",
            words::verdict(rule.verdict()),
            citation.unwrap_or_default(),
            rule.rule_id,
            rule.version,
            rule.text_date
        ),
    );
}

fn listed(out: &Output, title: &str, rules: &[v1::AppliedRule], full: bool) {
    if rules.is_empty() {
        return;
    }
    out.gap();
    out.heading(title);
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
        if !rule.open_to.is_empty() && rule.open_to != "anybody" {
            special.push(&open);
        }
        brief(out, rule, &special);
        out.item(2, "says:", &rule.conditions);
        out.item(2, "ask:", &rule.authority);
        if full {
            if !rule.note.is_empty() {
                out.item(2, "note:", &rule.note);
            }
            if !rule.source_url.is_empty() {
                out.item(2, "text:", &rule.source_url);
            }
        }
    }
}

fn show(out: &Output, reply: &v1::CheckMovementResponse, full: bool) {
    out.answer(&format!("{}.", reply.headline));
    let arrives = if reply.arrival == reply.dispatch {
        String::new()
    } else {
        format!(" to {}", words::day(reply.arrival))
    };
    out.text(&format!(
        "{}, grown at {}; {}{arrives}.",
        reply.botanical_name,
        reply.grown_at.join(", "),
        words::day(reply.dispatch)
    ));
    for counted in &reply.counted {
        out.text(&format!(
            "{} is on no list here: it was counted as {}, so some rules may hold for a part of it only.",
            counted.stated, counted.counted_as
        ));
    }
    for plant in &reply.unlisted_plants {
        out.text(&format!(
            "{plant} is on no list here: only rules on any plant were looked at. Ask {}.",
            reply.ask
        ));
    }
    listed(out, "What makes the answer", &reply.lead, full);
    listed(out, "Binding too", &reply.also, full);
    listed(out, "Reported, text not on file: do not send before asking", &reply.stubs, full);
    listed(out, "From memory only: ask", &reply.unverified, full);
    listed(out, "Exceptions that are not open to everybody", &reply.could_change, full);
    listed(out, "In force later", &reply.coming, full);
    listed(
        out,
        "Not looked at, as no one has listed the places of an area here: ask",
        &reply.not_looked_at,
        full,
    );
    if reply.verdict() != v1::MovementVerdict::NoRule && !reply.open.is_empty() {
        out.gap();
        out.heading("Nothing on file for these parts of it: that is no answer");
        for open in &reply.open {
            out.item(0, "-", &format!("{} of {} from {} to {}", open.part, open.plant, open.from, open.to));
        }
    }
    if !reply.gaps.is_empty() {
        out.gap();
        out.heading("No rule on file for");
        for gap in &reply.gaps {
            let side = match gap.side() {
                v1::MovementSide::Leaving => "leaving",
                v1::MovementSide::Entering => "entering",
                v1::MovementSide::Within | v1::MovementSide::Unspecified => "moving within",
            };
            let place = if gap.place.is_empty() { "a place that no one knows" } else { &gap.place };
            out.item(0, "-", &format!("{side} {place}: ask {}.", gap.ask));
        }
    }
    if !reply.pests.is_empty() {
        out.gap();
        out.heading("Known to travel with it");
        for pest in &reply.pests {
            let not = if pest.not_by.is_empty() {
                String::new()
            } else {
                format!(" Not known to travel with: {}.", pest.not_by)
            };
            out.item(0, "-", &format!("{}. Carried by: {}.{not}", pest.name, pest.carried_by));
            if full {
                out.item(2, "", &format!("{} [{}]", pest.how, pest.source));
            }
        }
    }
    out.gap();
    out.text(&reply.notice);
}
