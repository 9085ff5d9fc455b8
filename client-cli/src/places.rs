//! Places by the names that people give them: towns, states, countries.

use scionary_proto::v1;

use crate::{client::Client, error::Failure, prompt};

/// Returns the place that a person calls `text`.
///
/// # Errors
/// As [`crate::names::resolved`]; a country where a town or a state is needed.
pub(crate) async fn place(client: &Client, text: &str, needs_cell: bool) -> Result<v1::Place, Failure> {
    let prefer = client.home_country().await;
    let reply: v1::FindPlacesResponse =
        client.call(v1::FindPlacesRequest { text: text.into(), prefer }).await?;
    let fits = |p: &&v1::NamedPlace| !needs_cell || p.place.as_ref().is_some_and(|p| !p.grid_code.is_empty());
    let places: Vec<&v1::NamedPlace> = reply.places.iter().filter(fits).collect();
    let first_kept = places.first().copied() == reply.places.first();
    let chosen = match places.as_slice() {
        [..] if !first_kept && !reply.places.is_empty() && (reply.clear || places.is_empty()) => {
            return Err(
                Failure::usage(format!("“{text}” is too large for a place")).then("name a town in it")
            );
        }
        [] => {
            return Err(Failure::not_found(format!("no place is on file as “{text}”")).then(
                "name the next larger town, or give latitude,longitude from a map, such as -27.47,153.02",
            ));
        }
        [first, ..] if reply.clear && first_kept => first,
        [only] => only,
        several => {
            let names: Vec<String> = several.iter().map(|p| p.full_name.clone()).collect();
            let at = prompt::choose(client, &format!("“{text}” may be:"), &names)?;
            several.get(at).ok_or_else(|| Failure::bug("no such choice"))?
        }
    };
    client.say(&format!("Place: {}.", chosen.full_name));
    chosen.place.clone().ok_or_else(|| Failure::bug("a place without a place"))
}

/// Returns the state that a code of two letters was meant for; `None` to leave it as the country's. A person is asked;
/// where no one can be, how to type the other one is said.
///
/// # Errors
/// Returns a [`Failure`] when the server cannot be asked, or no answer is given.
pub(crate) async fn state_or_country(client: &Client, text: &str) -> Result<Option<v1::Place>, Failure> {
    if client.is_quiet() {
        return Ok(None);
    }
    let prefer = client.home_country().await;
    let request = v1::FindPlacesRequest { text: text.into(), prefer };
    let reply: v1::FindPlacesResponse = client.call(request).await?;
    let code = text.to_ascii_uppercase();
    let area = |p: &v1::NamedPlace| p.place.as_ref().map(|p| p.area_code.clone()).unwrap_or_default();
    let country = reply.places.iter().find(|p| area(p) == code);
    let state = reply.places.iter().find(|p| area(p).ends_with(&format!("-{code}")));
    let (Some(country), Some(state)) = (country, state) else { return Ok(None) };
    if !prompt::can_ask() {
        let other = area(state);
        client.say(&format!("{code} is {}; for {} type {other}.", country.full_name, state.full_name));
        return Ok(None);
    }
    let names = [state.full_name.clone(), country.full_name.clone()];
    let at = prompt::choose(client, &format!("“{text}” may be:"), &names)?;
    Ok(if at == 0 { state.place.clone() } else { None })
}
