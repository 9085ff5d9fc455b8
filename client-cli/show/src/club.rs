//! Clubs.

use scionary_proto::v1;

use crate::{Deed, View, words};

/// Shows a [`v1::ListClubsResponse`].
pub fn list_clubs(view: &mut View, reply: &v1::ListClubsResponse) {
    if reply.clubs.is_empty() {
        view.line("No club has such a name.");
        view.act("Make one", Deed::ClubCreate.bare());
    }
    reply.clubs.iter().for_each(|club| line(view, club));
    view.more(&reply.next_page_token);
}

/// Shows a [`v1::ListMyClubsResponse`].
pub fn list_my_clubs(view: &mut View, reply: &v1::ListMyClubsResponse) {
    if reply.clubs.is_empty() {
        view.line("You belong to no club.");
        view.act("Find one", Deed::ClubFind.bare());
    }
    reply.clubs.iter().for_each(|club| line(view, club));
}

/// Shows a [`v1::ListClubMembersResponse`].
pub fn list_club_members(view: &mut View, reply: &v1::ListClubMembersResponse) {
    if reply.members.is_empty() {
        view.line("No one.");
    }
    let rows = reply.members.iter().map(|member| {
        let helped = if member.consent.is_empty() { "" } else { "; organisers act for them" };
        [
            member.handle.clone(),
            member.name.clone(),
            format!("{}{helped}", words::club_standing(member.standing())),
            words::day_of(member.since.as_ref()),
            member.words.clone(),
        ]
    });
    if !reply.members.is_empty() {
        view.table(["HANDLE", "NAME", "STANDING", "SINCE", "SAID"], rows);
    }
    view.more(&reply.next_page_token);
}

/// Shows the last [`v1::AnswerClubRequestResponse`] of several, with the names of those who were answered.
pub fn let_in(view: &mut View, reply: &v1::AnswerClubRequestResponse, names: &[String], refused: bool) {
    let count =
        words::counted(i32::try_from(names.len()).unwrap_or(i32::MAX), "person").replace("persons", "people");
    view.answer(format!("{count} {}: {}.", if refused { "refused" } else { "let in" }, names.join(", ")));
    let club = reply.club.clone().unwrap_or_default();
    let says = club.says.unwrap_or_default();
    let waiting = if club.waiting == 0 { String::new() } else { format!("; {} still wait", club.waiting) };
    view.line(format!("{}: {}{waiting}.", says.name, words::counted(club.members, "member")));
}

/// Shows a [`v1::InviteToClubResponse`].
pub fn invite_to_club(view: &mut View, reply: &v1::InviteToClubResponse, typed: &str) {
    view.answer(format!("{typed} is invited; one who had asked is a member now."));
    view.line("The member with this handle finds it in their inbox. Check the spelling: the server does not say which handles exist.");
    view.gap();
    told(view, reply.club.as_ref());
}

/// Shows a [`v1::EnterHelpedMemberResponse`].
pub fn enter_helped_member(view: &mut View, reply: &v1::EnterHelpedMemberResponse) {
    view.answer(format!("Entered: {}", reply.account_id));
    view.line(
        "You can act for them in this club's offers, claims and rounds. What you enter for them is marked.",
    );
    view.act("Offer something for them", Deed::OfferPostFor.on(&reply.account_id));
}

/// Shows who was entered from a list.
pub fn entered(view: &mut View, names: &[String]) {
    let count = words::counted(i32::try_from(names.len()).unwrap_or(i32::MAX), "member");
    view.answer(format!("{count} entered: {}.", names.join(", ")));
    view.line("You can act for them in this club's offers, claims and rounds, by their name. What you enter for them is marked.");
    view.act("Offer something for one", Deed::OfferPostFor.bare());
}

/// Shows a [`v1::CloseClubResponse`].
pub fn close_club(view: &mut View, _: &v1::CloseClubResponse) {
    view.line(
        "Closed. Its offers are withdrawn and its members are notified. What was promised stays promised.",
    );
}

pub(crate) fn line(view: &mut View, club: &v1::Club) {
    let says = club.says.clone().unwrap_or_default();
    let area = if says.area_code.is_empty() { String::new() } else { format!(", {}", says.area_code) };
    let own = Some(club.own_standing())
        .filter(|standing| *standing != v1::ClubStanding::Unspecified)
        .map(|standing| format!(" [{}]", words::club_standing(standing)))
        .unwrap_or_default();
    view.item(0, "-", format!("{}{area}, {}{own}", says.name, words::counted(club.members, "member")));
}

/// Shows a club and what its reader can do next.
pub fn told(view: &mut View, club: Option<&v1::Club>) {
    let Some(club) = club else { return };
    let says = club.says.clone().unwrap_or_default();
    view.title(&says.name);
    view.fact("club", &club.club_id);
    view.fact("about", &says.about);
    view.fact("where", &says.area_code);
    view.fact("members", club.members.to_string());
    view.fact("joining", if says.takes_requests { "by request or invitation" } else { "by invitation" });
    let own = club.own_standing();
    if own != v1::ClubStanding::Unspecified {
        view.fact("you", words::club_standing(own));
    }
    view.fact("helped", if club.may_be_helped { "its organisers may act for you" } else { "" });
    view.fact("waiting", &if club.waiting == 0 { String::new() } else { club.waiting.to_string() });
    view.gap();
    let id = &club.club_id;
    match own {
        v1::ClubStanding::Organiser => {
            view.act("See who waits", Deed::ClubMembersWaiting.on(id));
            view.act("Invite a member", Deed::ClubInvite.on(id));
        }
        v1::ClubStanding::Member => {
            view.act("Offer something to its members alone", Deed::OfferPostInClub.on(id));
        }
        v1::ClubStanding::Invited => {
            view.act("Accept", Deed::ClubAccept.on(id));
            view.act("Decline", Deed::ClubDecline.on(id));
        }
        v1::ClubStanding::Asked => {
            view.note("An organiser will answer.");
            view.act("See the answer", Deed::InboxList.bare());
        }
        v1::ClubStanding::Unspecified if says.takes_requests => {
            view.act("Ask to join", Deed::ClubJoin.on(id));
        }
        v1::ClubStanding::Unspecified => {}
    }
}
