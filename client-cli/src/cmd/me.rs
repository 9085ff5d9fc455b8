//! `scionary me`: what is kept so that it need not be typed again.

use scionary_proto::v1;
use scionary_show::me as show;

use crate::{
    args::{Kept, MeArguments, Units},
    client::Client,
    error::Failure,
    output::Output,
};

pub(super) async fn me(client: &Client, output: &Output, typed: MeArguments) -> Result<(), Failure> {
    client.need_session()?;
    let MeArguments { home, contact, units, crop, climate, count_plants, forget } = typed;
    let forgets = |what: Kept| forget.contains(&what);
    let named = [
        (home.is_some() || forgets(Kept::Home), "home"),
        (contact.is_some() || forgets(Kept::Contact), "contact"),
        (units.is_some(), "imperial"),
        (crop.is_some() || forgets(Kept::Crop), "crop"),
        (climate.is_some() || forgets(Kept::Climate), "climate"),
        (count_plants.is_some(), "count_plants"),
    ];
    let paths: Vec<String> =
        named.iter().filter(|(typed, _)| *typed).map(|(_, name)| (*name).into()).collect();
    if !paths.is_empty() {
        let profile = v1::Profile {
            home: home.map(|grid_code| v1::Place { grid_code, ..Default::default() }),
            contact: contact.unwrap_or_default(),
            imperial: units == Some(Units::Imperial),
            crop: crop.unwrap_or_default(),
            climate: climate.unwrap_or_default().into(),
            version: 0,
            count_plants: count_plants.unwrap_or_default(),
        };
        let update_mask = Some(prost_types::FieldMask { paths });
        let request = v1::UpdateProfileRequest { profile: Some(profile), update_mask, version: 0 };
        let _: v1::UpdateProfileResponse = client.call(request).await?;
    }
    let reply: v1::GetProfileResponse = client.call(v1::GetProfileRequest {}).await?;
    output.reply(&reply, |view| show::get_profile(view, &reply))
}
