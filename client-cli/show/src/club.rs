//! Clubs.

use scionary_proto::v1;

use crate::{View, words};

/// Shows a [`v1::ListClubsResponse`].
pub fn list_clubs(view: &mut View, reply: &v1::ListClubsResponse) {
    if reply.clubs.is_empty() {
        view.line("No club of that name. Make one with: scionary club create --name NAME");
    }
    reply.clubs.iter().for_each(|club| line(view, club));
    view.more(&reply.next_page_token);
}

/// Shows a [`v1::ListMyClubsResponse`].
pub fn list_my_clubs(view: &mut View, reply: &v1::ListMyClubsResponse) {
    if reply.clubs.is_empty() {
        view.line("You belong to no club. Find one with: scionary club find");
    }
    reply.clubs.iter().for_each(|club| line(view, club));
}

/// Shows a [`v1::ListClubMembersResponse`].
pub fn list_club_members(view: &mut View, reply: &v1::ListClubMembersResponse) {
    if reply.members.is_empty() {
        view.line("Nobody.");
    }
    for member in &reply.members {
        let helped = if member.consent.is_empty() { "" } else { "; organisers act for them" };
        let (standing, since) =
            (words::club_standing(member.standing()), words::day_of(member.since.as_ref()));
        view.item(0, "-", format!("{} [{standing} since {since}{helped}]", member.name));
        if !member.account_id.is_empty() {
            view.item(2, "", &member.account_id);
        }
        if !member.words.is_empty() {
            view.item(2, "", &member.words);
        }
    }
    view.more(&reply.next_page_token);
}

/// Shows a [`v1::InviteToClubResponse`].
pub fn invite_to_club(view: &mut View, reply: &v1::InviteToClubResponse, typed: &str) {
    view.answer(format!("{typed} is invited; one who had asked is a member now."));
    view.line("Whoever has this handle finds it in their inbox. Look at its spelling: the server does not tell which handles there are.");
    view.gap();
    told(view, reply.club.as_ref());
}

/// Shows a [`v1::EnterHelpedMemberResponse`].
pub fn enter_helped_member(view: &mut View, reply: &v1::EnterHelpedMemberResponse) {
    view.answer(format!("Entered: {}", reply.account_id));
    view.line(format!(
                    "Act for them in the club's own matters: scionary --on-behalf-of {} offer post --club CLUB, claim ask, round bring and so on. What you enter so is marked.",
                    reply.account_id
                ));
}

/// Shows a [`v1::CloseClubResponse`].
pub fn close_club(view: &mut View, _: &v1::CloseClubResponse) {
    view.line("Closed: its offers are withdrawn, and its members are told. What was promised stands.");
}

pub(crate) fn line(view: &mut View, club: &v1::Club) {
    let says = club.says.clone().unwrap_or_default();
    let area = if says.area_code.is_empty() { String::new() } else { format!(", {}", says.area_code) };
    let own = Some(club.own_standing())
        .filter(|standing| *standing != v1::ClubStanding::Unspecified)
        .map(|standing| format!(" [{}]", words::club_standing(standing)))
        .unwrap_or_default();
    view.item(0, "-", format!("{}{area}, {}{own}", says.name, words::counted(club.members, "member")));
    view.item(2, "", &club.club_id);
}

/// A club, and what its reader does next.
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
    view.note(&match own {
        v1::ClubStanding::Organiser => format!(
            "Who waits: scionary club members {0} --waiting. Invite: scionary club invite {0} HANDLE",
            club.club_id
        ),
        v1::ClubStanding::Member => {
            format!("Offer something to its members alone: scionary offer post --club {}", club.club_id)
        }
        v1::ClubStanding::Invited => {
            format!("Answer: scionary club accept {0}, or: scionary club decline {0}", club.club_id)
        }
        v1::ClubStanding::Asked => {
            "An organiser will answer; your inbox tells you: scionary inbox list".into()
        }
        v1::ClubStanding::Unspecified if says.takes_requests => {
            format!("Ask to join: scionary club join {}", club.club_id)
        }
        v1::ClubStanding::Unspecified => String::new(),
    });
}
