//! The invented club: accounts and offers, made through the same use cases as everyone's.

use anyhow::Result;
use scionary_app::{
    App, Call, KeepReply,
    accounts::{ChangeStanding, StandingChange},
    offers::CreateOffer,
};
use scionary_domain::{
    account::{Account, Actor},
    ids::{RoundId, SessionId},
    offer::{
        Draft, HandOver, Material, Terms,
        health::{DeclarationDraft, Form, GrownAtDraft, Observed, Purpose},
    },
};

use super::swap;

/// The steward, who arranges the club.
pub(super) const STEWARD: &str = "corvin";
/// The grower that the tour signs in as.
pub(super) const GROWER: &str = "odalind";
/// The grower who checks what the first one entered.
pub(super) const CHECKER: &str = "tobin";
/// The password of every account of the demo.
pub(super) const PASSWORD: &str = "larkwater-orchard-demo-7";

pub(super) async fn member(app: &App, handle: &str, name: &str, code: &str) -> Result<Call> {
    let sign_up = app.prepare_sign_up(handle, name, PASSWORD, code).await?;
    let call = app.system_call()?;
    let made = std::sync::Arc::new(std::sync::OnceLock::<Account>::new());
    let keep = made.clone();
    let remember = move |account: &Account| {
        let _ = keep.set(account.clone());
        Vec::new()
    };
    app.write(&call, sign_up, KeepReply::Yes, remember).await?;
    let account = made.get().cloned().ok_or_else(|| anyhow::anyhow!("the account {handle} was not made"))?;
    let session = SessionId::from_uuid(scionary_app::ports::new_uuid(app.entropy(), call.now)?);
    let actor = Actor::Member { account, session, session_expires_at: call.now.plus_days(1) };
    Ok(Call { actor, ..call })
}

/// A health statement with which nothing is wrong.
pub(super) fn looked_at(form: Form, area: &str) -> DeclarationDraft {
    DeclarationDraft {
        grown_at: vec![GrownAtDraft { area_code: area.into(), ..GrownAtDraft::default() }],
        form: Some(form),
        purpose: Some(Purpose::Planting),
        symptoms: Some(Observed::No),
        pests: Some(Observed::No),
        sprayed: Some(Observed::No),
        ..DeclarationDraft::default()
    }
}

/// Makes the club, and its round.
pub(super) async fn furnish(app: &App) -> Result<RoundId> {
    let code = app.first_steward_code().await?;
    let steward = member(app, STEWARD, "Corvin Hathersage", &code).await?;
    let odalind = member(app, GROWER, "Odalind Marrack", "").await?;
    let tobin = member(app, CHECKER, "Tobin Ashgrove", "").await?;
    let sefa = member(app, "sefa", "Sefa Lindqvane", "").await?;
    // the steward knows them: their evidence counts
    for handle in [GROWER, CHECKER, "sefa"] {
        let reason = "of our club".to_string();
        let vouch = ChangeStanding { handle: handle.into(), change: StandingChange::Vouch, reason };
        app.write(&steward, vouch, KeepReply::Yes, |_| Vec::new()).await?;
    }
    let today = tobin.now.date();
    let offers = [
        (
            &tobin,
            "Quarrymead",
            Draft {
                material: Some(Material::ScionWood),
                quantity: 12,
                terms: Some(Terms::Swap),
                available_until: Some(today.plus_days(10)),
                area_code: "XB-NS".into(),
                grid_code: "2CGV2200+".into(),
                place_label: "Larkwater".into(),
                hand_over: vec![HandOver::Collect, HandOver::Meeting],
                note: "Cut to order from a ten-year-old tree.".into(),
                health: looked_at(Form::Leafless, "XB-NS"),
                ..Draft::default()
            },
        ),
        (
            &sefa,
            "Lantern Moth",
            Draft {
                material: Some(Material::Seed),
                quantity: 20,
                terms: Some(Terms::Gift),
                available_until: Some(today.plus_days(7)),
                area_code: "XB-NS".into(),
                grid_code: "2CGV6400+".into(),
                place_label: "Dunmere".into(),
                hand_over: vec![HandOver::Meeting, HandOver::Post],
                note: "Cleaned this week and kept moist.".into(),
                health: looked_at(Form::CleanedSeed, "XB-NS"),
                ..Draft::default()
            },
        ),
    ];
    for (call, cultivar, draft) in offers {
        let post = CreateOffer {
            cultivar: cultivar.into(),
            crop: "mango".into(),
            draft,
            lot: String::new(),
            club: String::new(),
        };
        app.write(call, post, KeepReply::Yes, |_| Vec::new()).await?;
    }
    swap::gather(app, &[&steward, &odalind, &tobin]).await
}
