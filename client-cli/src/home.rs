//! What the member's profile answers, so that it need not be typed: where they grow, and how others reach them. What it
//! does not hold is asked for once, and kept.

use scionary_proto::v1;

use crate::{client::Client, error::Failure, places, prompt};

/// Kilometres that count as near home.
pub(crate) const NEAR_KM: i32 = 50;

/// Returns what was typed, or else the state or country of home.
///
/// # Errors
/// Returns a [`Failure`] if neither is known and no one can be asked.
pub(crate) async fn area(client: &Client, typed: Option<String>, option: &str) -> Result<String, Failure> {
    match typed.filter(|t| !t.trim().is_empty()) {
        Some(typed) => Ok(typed),
        None => Ok(home(client, option).await?.area_code),
    }
}

/// Returns what was typed, or else the map cell of home.
///
/// # Errors
/// As [`area`].
pub(crate) async fn cell(client: &Client, typed: Option<String>, option: &str) -> Result<String, Failure> {
    match typed.filter(|t| !t.trim().is_empty()) {
        Some(typed) => Ok(typed),
        None => Ok(home(client, option).await?.grid_code),
    }
}

/// Returns home, and asks for it if the profile has none.
async fn home(client: &Client, option: &str) -> Result<v1::Place, Failure> {
    if let Some(home) = client.profile().await?.home {
        return Ok(home);
    }
    if !prompt::can_ask() || client.is_quiet() || !client.is_signed_in() {
        return Err(Failure::usage(format!("say where with {option}, such as {option} Brisbane"))
            .then("or once and for all, when you are signed in: scionary me --home TOWN"));
    }
    let town = prompt::ask("Where do you grow? A town, such as Brisbane", None, needed)?;
    let home = places::place(client, &town, true).await?;
    keep(client, v1::Profile { home: Some(home.clone()), ..Default::default() }, "home").await?;
    Ok(home)
}

/// Returns what was typed, or else how the profile says that others reach the member.
///
/// # Errors
/// As [`area`].
pub(crate) async fn contact(client: &Client, typed: Option<String>) -> Result<String, Failure> {
    if let Some(typed) = typed {
        return Ok(typed);
    }
    let kept = client.profile().await?.contact;
    if !kept.is_empty() {
        return Ok(kept);
    }
    if !prompt::can_ask() || client.is_quiet() {
        return Err(Failure::usage(
            "say how to reach you with --contact, such as --contact \"0400 000 000\"",
        )
        .then("or once and for all: scionary me --contact TEXT"));
    }
    let contact = prompt::ask("How can they reach you? A telephone number, for example", None, needed)?;
    keep(client, v1::Profile { contact: contact.clone(), ..Default::default() }, "contact").await?;
    Ok(contact)
}

fn needed(text: &str) -> Result<String, String> {
    if text.is_empty() { Err("type something, or press Ctrl-C".into()) } else { Ok(text.into()) }
}

async fn keep(client: &Client, profile: v1::Profile, field: &str) -> Result<(), Failure> {
    let update_mask = Some(prost_types::FieldMask { paths: vec![field.into()] });
    let request = v1::UpdateProfileRequest { profile: Some(profile), update_mask, version: 0 };
    let _: v1::UpdateProfileResponse = client.call(request).await?;
    client.say("Kept for next time; only you see it. To change it: scionary me");
    Ok(())
}
