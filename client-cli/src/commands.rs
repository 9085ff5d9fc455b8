//! The command line for each action that a view names.

use scionary_show::{Act, Deed};

/// Returns the command as people type it, with unknown values as placeholders in capitals.
pub(crate) fn command(act: &Act) -> String {
    let mut text = format!("scionary {}", template(act.deed));
    for (place, name) in act.deed.about().iter().enumerate() {
        let value = match act.on.get(place) {
            Some(value) if value.chars().all(|c| c.is_alphanumeric() || "-_.:/".contains(c)) => value.clone(),
            Some(value) => format!("\"{}\"", value.replace('"', "")),
            None => name.to_uppercase(),
        };
        text = text.replace(&format!("{{{name}}}"), &value);
    }
    text
}

fn template(deed: Deed) -> &'static str {
    match deed {
        Deed::AccountInvite => "account invite",
        Deed::AccountSignIn => "account sign-in {handle}",
        Deed::AccountSignUp => "account sign-up {handle} --code {code}",
        Deed::ServerStatus => "status",
        Deed::Help => "--help",
        Deed::Connect => "connect {address}",
        Deed::LookUp => "lookup {name}",
        Deed::MovementCheckName => "movement check {name} --to AREA",
        Deed::RoundList => "round list",
        Deed::MeHome => "me --home TOWN",
        Deed::Partners => "partners {cultivar}",
        Deed::MeCountPlants => "me --count-plants yes",
        Deed::LookUpMore => "lookup {name} --more",
        Deed::RoutesMore => "routes {cultivar} --more",
        Deed::PlanDraftAll => "plan draft {cultivar} --way {way} --all",
        Deed::RoutesCompare => "routes {cultivar}",
        Deed::CultivarListMostlyTrue => "cultivar list --seed mostly-true",
        Deed::CropShow => "crop show {crop}",
        Deed::CropShowMore => "crop show {crop} --more",
        Deed::OfferPost => "offer post",
        Deed::OfferPostInClub => "offer post --club {club}",
        Deed::OfferPostFor => "--on-behalf-of {account} offer post",
        Deed::OfferPostFromLot => "offer post --lot {lot}",
        Deed::OfferList => "offer list",
        Deed::OfferSearch => "offer search {name}",
        Deed::OfferShow => "offer show {offer}",
        Deed::OfferChange => "offer change {offer} --quantity 3",
        Deed::OfferWithdraw => "offer withdraw {offer}",
        Deed::ClaimAsk => "claim ask {offer}",
        Deed::ClaimListAll => "claim list --all",
        Deed::ClaimShow => "claim show {claim}",
        Deed::ClaimAccept => "claim accept {claim}",
        Deed::ClaimDecline => "claim decline {claim}",
        Deed::ClaimWithdraw => "claim withdraw {claim}",
        Deed::ClaimHandedOver => "claim handed-over {claim}",
        Deed::EvidenceAdd => "evidence add {cultivar}",
        Deed::EvidenceAddSeason => "evidence add {cultivar} --first-ripe DAY --last-ripe DAY",
        Deed::EvidenceAddFromSowing => "evidence add {cultivar} --sowing {sowing}",
        Deed::EvidenceRecord => "evidence record",
        Deed::EvidenceCorrect => "evidence correct {evidence} --reason \"WHY\"",
        Deed::EvidenceWithdraw => "evidence withdraw {evidence} --reason \"WHY\"",
        Deed::SowingAdd => "sowing add {cultivar} --seeds 10",
        Deed::PlanKeep => "plan keep {cultivar} --way {way}",
        Deed::PlanShow => "plan show {plan}",
        Deed::PlanShowAll => "plan show {plan} --all",
        Deed::PlanDone => "plan done {plan} {step}",
        Deed::PlanCalendar => "plan calendar {plan} --output trees.ics",
        Deed::PlanAgain => "plan again {plan} {step}",
        Deed::GraftLog => "graft log {cultivar} --method cleft --made 4",
        Deed::GraftReport => "graft report {graft} --took 3",
        Deed::WantAdd => "want add --cultivar NAME",
        Deed::WantAddCultivar => "want add --cultivar {cultivar}",
        Deed::InboxList => "inbox list",
        Deed::InboxListAll => "inbox list --all",
        Deed::InboxRead => "inbox read",
        Deed::InboxMail => "inbox mail {address}",
        Deed::InboxConfirmMail => "inbox confirm-mail {code}",
        Deed::ReportClose => "report close {ticket} --outcome \"WHAT WAS DONE\"",
        Deed::ProposalShow => "proposal show {proposal}",
        Deed::ProposalAccept => "proposal accept {proposal} --reason \"WHY\"",
        Deed::ProposalRefuse => "proposal refuse {proposal} --reason \"WHY\"",
        Deed::MovementPublish => "movement publish {release}",
        Deed::MovementCheck => "movement check {cultivar} --to CODE",
        Deed::ClubCreate => "club create --name {name}",
        Deed::ClubFind => "club find",
        Deed::ClubShow => "club show {club}",
        Deed::ClubMembersWaiting => "club members {club} --waiting",
        Deed::ClubInvite => "club invite {club} {handle}",
        Deed::ClubAccept => "club accept {club}",
        Deed::ClubDecline => "club decline {club}",
        Deed::ClubJoin => "club join {club}",
        Deed::RoundListAll => "round list --all",
        Deed::RoundShow => "round show {round}",
        Deed::RoundJoin => "round join {round}",
        Deed::RoundLots => "round lots {round}",
        Deed::RoundLotsLeft => "round lots {round} --left",
        Deed::RoundBring => "round bring {round} {offer}",
        Deed::RoundTakeBack => "round take-back {round} {lot}",
        Deed::RoundTake => "round take {round} {lot}",
        Deed::RoundWish => "round wish {round}",
        Deed::RoundMine => "round mine {round}",
        Deed::RoundDryRun => "round dry-run {round}",
        Deed::RoundSeal => "round seal {round}",
        Deed::RoundReopen => "round reopen {round}",
        Deed::RoundSettle => "round settle {round}",
        Deed::RoundShares => "round shares {round}",
        Deed::RoundSheets => "round sheets {round} --out sheets.pdf",
        Deed::RoundAudit => "round audit {round} --out audit.json",
        Deed::RoundBegin => "round begin {round}",
        Deed::RoundBeginEarly => "round begin {round} --early",
        Deed::RoundClosePending => "round close {round} --pending",
        Deed::RoundCheckIn => "round check-in {round} {lot}",
        Deed::RoundAbsent => "round absent {round} {member}",
        Deed::RoundHandOver => "round hand-over {round} LOT MEMBER",
        Deed::RoundClose => "round close {round}",
        Deed::LotAdd => "lot add {kind}",
        Deed::LotList => "lot list",
        Deed::LotTrace => "lot trace {lot}",
        Deed::AlertRaise => "alert raise {lot} health --words \"WHAT YOU SAW\"",
        Deed::AlertShow => "alert show {alert}",
        Deed::AlertRecall => "alert recall {alert}",
        Deed::AlertConfirm => "alert confirm {alert} --words \"WHAT WAS SEEN\"",
        Deed::AlertDismiss => "alert dismiss {alert} --reason \"WHY\"",
        Deed::AlertWithdraw => "alert withdraw {alert}",
    }
}

#[cfg(test)]
mod tests {
    use clap::Parser as _;

    use super::*;
    use crate::args::Arguments;

    /// Splits a command as a shell does, with double quotes only.
    fn words(command: &str) -> Vec<String> {
        command
            .split('"')
            .enumerate()
            .flat_map(|(place, part)| match place % 2 {
                1 => vec![part.to_string()],
                _ => part.split_whitespace().map(String::from).collect(),
            })
            .collect()
    }

    /// Every suggested command, with its placeholders filled in, parses.
    #[test]
    fn every_command_that_is_suggested_parses() {
        let mut wrong = Vec::new();
        for deed in Deed::ALL {
            let on = deed.about().iter().map(|name| match *name {
                "kind" | "way" => "seed".to_string(),
                "lot" | "member" | "release" => "12".to_string(),
                "offer" | "claim" | "round" | "club" | "plan" | "alert" | "evidence" | "sowing" => {
                    "ofr_01m8cnz27tes2b1a7hraxs3yeg".to_string()
                }
                other => format!("some {other}"),
            });
            let command = command(&Act { deed: *deed, on: on.collect() });
            // The reader fills in the second of two long ids.
            let second = "ofr_01m8cnz27tes2b1a7hraxs3yeg ofr_01m8cnz27tes2b1a7hraxs3yeg";
            let wide = command.replace(second, "ofr_01m8cnz27tes2b1a7hraxs3yeg OFFER");
            assert!(wide.chars().count() <= 78, "{command} is wider than a screen");
            let command = command
                .replace(" CODE", " AU-QLD")
                .replace(" LOT MEMBER", " 3 4")
                .replace(" DAY", " 2026-07-01")
                .replace("LATITUDE,LONGITUDE", "-27.47,153.02");
            let asks_for_help = |e: &clap::Error| e.kind() == clap::error::ErrorKind::DisplayHelp;
            if let Err(error) = Arguments::try_parse_from(words(&command)).map(drop)
                && !asks_for_help(&error)
            {
                wrong.push(format!("{command}: {error}"));
            }
        }
        assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    }
}
