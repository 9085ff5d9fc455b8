//! `scionary club`.

use std::{collections::BTreeMap, path::Path};

use scionary_proto::v1;
use scionary_show::club as show;

use super::{PAGE_MAX, mask, save};
use crate::{
    args::{ClubArguments, ClubChanges, ClubCommand},
    client::Client,
    error::Failure,
    names,
    output::Output,
    paper::{Line, Section, sheet},
    prompt,
    table::Rows,
    words,
};

pub(super) async fn run(client: &Client, output: &Output, command: ClubCommand) -> Result<(), Failure> {
    if !matches!(command, ClubCommand::Find { .. } | ClubCommand::Show { .. }) {
        client.need_session()?;
    }
    match command {
        ClubCommand::Create(arguments) => {
            let request = v1::CreateClubRequest { club: Some(says(arguments)) };
            let reply: v1::CreateClubResponse = client.call(request).await?;
            output.reply(&reply, |view| show::told(view, reply.club.as_ref()))
        }
        ClubCommand::Change { club, says: arguments } => {
            let (says, mask) = changes(arguments)?;
            let request = v1::UpdateClubRequest {
                club_id: club,
                club: Some(says),
                version: 0,
                update_mask: Some(mask),
            };
            let reply: v1::UpdateClubResponse = client.call(request).await?;
            output.reply(&reply, |view| show::told(view, reply.club.as_ref()))
        }
        ClubCommand::Find { name, paging } => {
            let request = v1::ListClubsRequest {
                name: name.join(" "),
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::ListClubsResponse = client.call(request).await?;
            output.reply(&reply, |view| show::list_clubs(view, &reply))
        }
        ClubCommand::List => {
            let request = v1::ListMyClubsRequest {};
            let reply: v1::ListMyClubsResponse = client.call(request).await?;
            output.reply(&reply, |view| show::list_my_clubs(view, &reply))
        }
        ClubCommand::Show { club } => {
            let request = v1::GetClubRequest { club_id: club };
            let reply: v1::GetClubResponse = client.call(request).await?;
            output.reply(&reply, |view| show::told(view, reply.club.as_ref()))
        }
        ClubCommand::Members { club, waiting, paging } => {
            let request = v1::ListClubMembersRequest {
                club_id: club,
                waiting,
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::ListClubMembersResponse = client.call(request).await?;
            output.reply(&reply, |view| show::list_club_members(view, &reply))
        }
        ClubCommand::Join { club, words } => {
            let request = v1::AskToJoinClubRequest { club_id: club, words };
            let reply: v1::AskToJoinClubResponse = client.call(request).await?;
            output.reply(&reply, |view| show::told(view, reply.club.as_ref()))
        }
        ClubCommand::Accept { club } => answer(client, output, club, true).await,
        ClubCommand::Decline { club } => answer(client, output, club, false).await,
        ClubCommand::Leave { club } => {
            prompt::sure(client, &format!("Leave {club}? Your offers for it alone are withdrawn. Leave it"))?;
            let request = v1::LeaveClubRequest { club_id: club };
            let reply: v1::LeaveClubResponse = client.call(request).await?;
            output.reply(&reply, |view| show::told(view, reply.club.as_ref()))
        }
        ClubCommand::LetHelp { club, stop } => {
            let request = v1::AllowHelpRequest { club_id: club, allow: Some(!stop) };
            let reply: v1::AllowHelpResponse = client.call(request).await?;
            output.reply(&reply, |view| show::told(view, reply.club.as_ref()))
        }
        ClubCommand::Invite { club, handle, words } => {
            let typed = handle.clone();
            let request = v1::InviteToClubRequest { club_id: club, handle, words };
            let reply: v1::InviteToClubResponse = client.call(request).await?;
            output.reply(&reply, |view| show::invite_to_club(view, &reply, &typed))
        }
        ClubCommand::EnterList { club, file } => enter_list(client, output, &club, file.as_deref()).await,
        ClubCommand::LetIn { club, members, all, refuse } => {
            let_in(client, output, &club, (members, all), refuse).await
        }
        ClubCommand::Organiser { club, account, stop } => {
            let request =
                v1::SetClubOrganiserRequest { club_id: club, account_id: account, organiser: Some(!stop) };
            let reply: v1::SetClubOrganiserResponse = client.call(request).await?;
            output.reply(&reply, |view| show::told(view, reply.club.as_ref()))
        }
        ClubCommand::Remove { club, account, reason } => {
            // Members are found by their handle; people who are invited are known by the handle only.
            let (account_id, handle) = match names::account(client, &account).await {
                Ok(id) => (id, String::new()),
                Err(failure) if failure.is_not_found() => (String::new(), account),
                Err(failure) => return Err(failure),
            };
            let reason = reason.unwrap_or_default();
            let request = v1::RemoveClubMemberRequest { club_id: club, account_id, reason, handle };
            let reply: v1::RemoveClubMemberResponse = client.call(request).await?;
            output.reply(&reply, |view| show::told(view, reply.club.as_ref()))
        }
        ClubCommand::EnterHelped { club, name, consent } => {
            let request = v1::EnterHelpedMemberRequest { club_id: club, name, consent };
            let reply: v1::EnterHelpedMemberResponse = client.call(request).await?;
            output.reply(&reply, |view| show::enter_helped_member(view, &reply))
        }
        ClubCommand::Sheet { club, out } => {
            let claims = promised(client, &club).await?;
            let pdf = sheet(&day(&claims)).map_err(|e| Failure::usage(e.to_string()))?;
            std::fs::write(&out, pdf).map_err(|e| Failure::usage(format!("{}: {e}", out.display())))?;
            output.aside(&format!(
                "{} in {}. What changed hands: scionary claim handed-over ID",
                words::counted(i32::try_from(claims.len()).unwrap_or(i32::MAX), "promise"),
                out.display()
            ));
            Ok(())
        }
        ClubCommand::Export { club, out } => {
            let bytes = export(client, &club, &out).await?;
            output.aside(&format!("{bytes} bytes are in {}.", out.display()));
            Ok(())
        }
        ClubCommand::Close { club, export_to } => {
            let bytes = export(client, &club, &export_to).await?;
            output.aside(&format!("{bytes} bytes are in {}.", export_to.display()));
            prompt::sure(
                client,
                "Close the club? Its offers are withdrawn and its members are notified. Close it",
            )?;
            let request = v1::CloseClubRequest { club_id: club };
            let reply: v1::CloseClubResponse = client.call(request).await?;
            output.reply(&reply, |view| show::close_club(view, &reply))
        }
    }
}

/// Returns every claim that is promised in a club, from all pages.
async fn promised(client: &Client, club: &str) -> Result<Vec<v1::Claim>, Failure> {
    let mut all = Vec::new();
    let mut page_token = String::new();
    loop {
        let request = v1::ListClubClaimsRequest { club_id: club.to_string(), page_size: 100, page_token };
        let reply: v1::ListClubClaimsResponse = client.call(request).await?;
        all.extend(reply.claims);
        page_token = reply.next_page_token;
        if page_token.is_empty() {
            return Ok(all);
        }
    }
}

/// Returns the parts of a swap day's sheet. Each giver has a table, numbered by name.
fn day(claims: &[v1::Claim]) -> Vec<(String, Vec<Section>)> {
    let mut givers: BTreeMap<&str, Vec<&v1::Claim>> = BTreeMap::new();
    let mut takers: BTreeMap<&str, Vec<&v1::Claim>> = BTreeMap::new();
    for claim in claims {
        givers.entry(&claim.giver_name).or_default().push(claim);
        takers.entry(&claim.taker_name).or_default().push(claim);
    }
    let table: BTreeMap<&str, usize> = givers.keys().enumerate().map(|(at, name)| (*name, at + 1)).collect();
    let table_of = |giver: &str| table.get(giver).copied().unwrap_or(0);
    let what = |c: &v1::Claim| {
        format!(
            "{} of {} ({})",
            words::amount(c.quantity, c.unit()),
            c.cultivar_name,
            words::material(c.material())
        )
    };
    let tail =
        |c: &v1::Claim| c.claim_id.chars().rev().take(6).collect::<Vec<_>>().into_iter().rev().collect();
    let section = |heading: String, claims: &[&v1::Claim], who: &dyn Fn(&v1::Claim) -> String| Section {
        heading,
        lines: claims.iter().map(|c| Line { what: what(c), who: who(c), code: tail(c) }).collect(),
    };
    let brings = givers
        .iter()
        .map(|(giver, all)| {
            section(format!("{giver}, table {}", table_of(giver)), all, &|c| format!("for {}", c.taker_name))
        })
        .collect();
    let takes = takers
        .iter()
        .map(|(taker, all)| {
            section((*taker).to_string(), all, &|c| {
                format!("from {}, table {}", c.giver_name, table_of(&c.giver_name))
            })
        })
        .collect();
    let mut by_table: Vec<(usize, &str)> = table.iter().map(|(name, at)| (*at, *name)).collect();
    by_table.sort_unstable();
    let pick = by_table
        .into_iter()
        .filter_map(|(at, giver)| {
            let mut all = givers.get(giver)?.clone();
            all.sort_by(|a, b| (&a.cultivar_name, &a.taker_name).cmp(&(&b.cultivar_name, &b.taker_name)));
            Some(section(format!("Table {at}: {giver}"), &all, &|c| c.taker_name.clone()))
        })
        .collect();
    vec![
        ("Who brings what".to_string(), brings),
        ("Who takes what".to_string(), takes),
        ("Pick list by table".to_string(), pick),
    ]
}

fn says(arguments: ClubArguments) -> v1::ClubDraft {
    let ClubArguments { name, about, area, takes_requests } = arguments;
    v1::ClubDraft { name, about, area_code: area, takes_requests }
}

/// Returns a draft with the typed values, and the update mask that names them.
fn changes(arguments: ClubChanges) -> Result<(v1::ClubDraft, prost_types::FieldMask), Failure> {
    let ClubChanges { name, about, area, takes_requests } = arguments;
    let named = [
        (name.is_some(), "name"),
        (about.is_some(), "about"),
        (area.is_some(), "area_code"),
        (takes_requests.is_some(), "takes_requests"),
    ];
    let draft = v1::ClubDraft {
        name: name.unwrap_or_default(),
        about: about.unwrap_or_default(),
        area_code: area.unwrap_or_default(),
        takes_requests: takes_requests.unwrap_or_default(),
    };
    Ok((draft, mask(named)?))
}

/// The columns of a list of members.
const LIST_COLUMNS: [&str; 2] = ["name", "consent"];

/// Enters members from a CSV file (RFC 4180). All rows are checked before the first is entered.
async fn enter_list(
    client: &Client,
    output: &Output,
    club: &str,
    file: Option<&Path>,
) -> Result<(), Failure> {
    let Some(file) = file else {
        let mut view = output.view();
        view.drawn(LIST_COLUMNS.join(","));
        view.drawn("Ada Quill,\"By phone, 3 May: I may enter her offers.\"");
        output.show(view);
        return Ok(());
    };
    let rows = read_list(file)?;
    let club_id = names::id(client, v1::ItemKind::Club, club).await?;
    let known = everyone(client, &club_id, false).await?;
    let twice: Vec<&str> = rows
        .iter()
        .map(|(name, _)| name.as_str())
        .filter(|name| known.iter().any(|member| member.name.to_lowercase() == name.to_lowercase()))
        .collect();
    if !twice.is_empty() {
        return Err(Failure::usage(format!(
            "members by these names are in the club already: {}",
            twice.join(", ")
        ))
        .then("take their lines out of the file, or change the names"));
    }
    let mut entered = Vec::new();
    for (name, consent) in rows {
        let request = v1::EnterHelpedMemberRequest { club_id: club_id.clone(), name: name.clone(), consent };
        let reply: Result<v1::EnterHelpedMemberResponse, Failure> = client.call(request).await;
        reply.map_err(|failure| {
            let done = entered.len();
            failure.about(&name).then(format!("{done} were entered before; take their lines out and go on"))
        })?;
        entered.push(name);
    }
    let mut view = output.view();
    show::entered(&mut view, &entered);
    output.show(view);
    Ok(())
}

/// Reads a list of members: names and consents.
fn read_list(file: &Path) -> Result<Vec<(String, String)>, Failure> {
    let rows = Rows::read(file, &LIST_COLUMNS, &LIST_COLUMNS)?;
    let (mut read, mut wrong) = (Vec::new(), Vec::new());
    for (line, row) in &rows.rows {
        let (name, consent) = (rows.cell(row, "name").to_string(), rows.cell(row, "consent").to_string());
        if name.is_empty() {
            wrong.push((format!("line {line}"), "the name is missing".to_string()));
        }
        if consent.is_empty() {
            wrong.push((format!("line {line}"), "say how they agreed that you act for them".to_string()));
        }
        read.push((name, consent));
    }
    rows.wrong(wrong, "no one was entered")?;
    Ok(read)
}

/// Returns all members of a club, or all who wait.
async fn everyone(client: &Client, club_id: &str, waiting: bool) -> Result<Vec<v1::ClubMember>, Failure> {
    let (mut all, mut page_token) = (Vec::new(), String::new());
    loop {
        let request =
            v1::ListClubMembersRequest { club_id: club_id.into(), waiting, page_size: PAGE_MAX, page_token };
        let reply: v1::ListClubMembersResponse = client.call(request).await?;
        all.extend(reply.members);
        if reply.next_page_token.is_empty() {
            return Ok(all);
        }
        page_token = reply.next_page_token;
    }
}

/// Answers requests to join, of the people that are named or of all who wait, and says for each what came of it.
async fn let_in(
    client: &Client,
    output: &Output,
    club: &str,
    (members, all): (Vec<String>, bool),
    refuse: bool,
) -> Result<(), Failure> {
    let club = names::id(client, v1::ItemKind::Club, club).await?;
    let mut people: Vec<(String, String)> = Vec::new();
    if all {
        let asked = everyone(client, &club, true).await?;
        let asked = asked.into_iter().filter(|m| m.standing() == v1::ClubStanding::Asked);
        people.extend(asked.map(|m| (m.account_id, format!("{} ({})", m.name, m.handle))));
    } else {
        // Every name is looked up before the first is let in, so that a slip of the pen lets no one in.
        for member in members {
            people.push((names::account(client, &member).await?, member));
        }
    }
    let mut last = None;
    for (account_id, name) in &people {
        let (club_id, account_id) = (club.clone(), account_id.clone());
        let request = v1::AnswerClubRequestRequest { club_id, account_id, accept: Some(!refuse) };
        let reply: v1::AnswerClubRequestResponse =
            client.call(request).await.map_err(|failure| failure.about(name))?;
        last = Some(reply);
    }
    let Some(reply) = last else {
        output.aside("No one waits.");
        return Ok(());
    };
    let names: Vec<String> = people.into_iter().map(|(_, name)| name).collect();
    output.reply(&reply, |view| show::let_in(view, &reply, &names, refuse))
}

async fn answer(client: &Client, output: &Output, club: String, accept: bool) -> Result<(), Failure> {
    let request = v1::AnswerClubInvitationRequest { club_id: club, accept: Some(accept) };
    let reply: v1::AnswerClubInvitationResponse = client.call(request).await?;
    output.reply(&reply, |view| show::told(view, reply.club.as_ref()))
}

/// Writes everything about a club to a file and returns the bytes written. The file appears whole or not at all.
async fn export(client: &Client, club: &str, path: &Path) -> Result<usize, Failure> {
    let request = v1::ExportClubRequest { club_id: club.to_string() };
    let stream = client.replies(request).await?;
    save(client, stream, path, |reply| reply.chunk).await
}
