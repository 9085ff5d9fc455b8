//! Wants.

use scionary_proto::v1;
use scionary_show::View;

use crate::{
    args::{WantArguments, WantCommand},
    client::Client,
    error::Failure,
    output::Output,
    words,
};

pub(super) async fn run(client: &Client, output: &Output, command: WantCommand) -> Result<(), Failure> {
    if !matches!(command, WantCommand::Search { .. }) {
        client.need_session()?;
    }
    match command {
        WantCommand::Add(arguments) => {
            let request = v1::MakeWantRequest { want: Some(draft(*arguments)) };
            let reply: v1::MakeWantResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                if let Some(want) = &reply.want {
                    line(view, want, "");
                }
                view.gap();
                view.line("Your inbox tells you when something on offer fits, what is there already within a moment: scionary inbox list");
            })
        }
        WantCommand::List { all, paging } => {
            let request = v1::ListMyWantsRequest {
                closed_too: all,
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::ListMyWantsResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                if reply.wants.is_empty() {
                    view.line("You seek nothing. Seek something with: scionary want add");
                }
                for want in &reply.wants {
                    line(view, want, if want.is_open { "" } else { " [over]" });
                }
                view.more(&reply.next_page_token);
            })
        }
        WantCommand::Withdraw { want } => {
            let request = v1::WithdrawWantRequest { want_id: want };
            let reply: v1::WithdrawWantResponse = client.call(request).await?;
            output.reply(&reply, |view| view.line("Taken back."))
        }
        WantCommand::Search { crop, material, near, within, paging } => {
            let request = v1::SearchWantsRequest {
                crop: words::crop(Some(crop)),
                materials: material.into_iter().map(i32::from).collect(),
                near_grid_code: near.unwrap_or_default(),
                within_km: within.unwrap_or(0),
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::SearchWantsResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                if reply.wants.is_empty() {
                    view.line("Nobody seeks anything like it.");
                }
                for found in &reply.wants {
                    let km = found.distance_km.map(|km| format!(" about {km} km away")).unwrap_or_default();
                    if let Some(want) = &found.want {
                        line(view, want, &km);
                    }
                }
                view.more(&reply.next_page_token);
                if !reply.wants.is_empty() {
                    view.gap();
                    view.note("Post what you have; those who seek it are told: scionary offer post");
                }
            })
        }
    }
}

fn draft(arguments: WantArguments) -> v1::WantDraft {
    let WantArguments {
        cultivar,
        crop,
        comes_true,
        ripe_in,
        traits,
        material,
        near,
        within,
        to,
        until,
        note,
    } = arguments;
    v1::WantDraft {
        cultivar,
        crop: words::crop(crop),
        comes_true,
        ripe_in_months: ripe_in,
        traits,
        materials: material.into_iter().map(i32::from).collect(),
        near_grid_code: near,
        within_km: within,
        to_area_code: to,
        until,
        note,
    }
}

/// What is sought, in words.
fn sought(want: &v1::Want) -> String {
    let seeks = want.seeks.clone().unwrap_or_default();
    let mut parts = Vec::new();
    parts.push(if want.cultivar_name.is_empty() {
        format!("any {}", seeks.crop)
    } else {
        want.cultivar_name.clone()
    });
    if !seeks.ripe_in_months.is_empty() {
        parts.push(format!("ripe in {}", words::months(&seeks.ripe_in_months)));
    }
    if seeks.comes_true {
        parts.push("seed comes true".into());
    }
    for wish in &seeks.traits {
        let key = wish.descriptor_key.replace('_', " ");
        parts.push(match (wish.least, wish.most) {
            (Some(least), Some(most)) => format!("{key} {least} to {most}"),
            (Some(least), None) => format!("{key} at least {least}"),
            (None, Some(most)) => format!("{key} at most {most}"),
            (None, None) => format!("{key}: {}", wish.states.join(" or ").replace('_', " ")),
        });
    }
    let materials: Vec<String> = seeks.materials().map(words::material).collect();
    let of = if materials.is_empty() { String::new() } else { format!(" ({})", materials.join(", ")) };
    format!("{}{of}", parts.join(", "))
}

fn line(view: &mut View, want: &v1::Want, tail: &str) {
    let seeks = want.seeks.clone().unwrap_or_default();
    let around = if seeks.within_km == 0 {
        String::new()
    } else {
        format!(", within {} km of {}", seeks.within_km, seeks.near_grid_code)
    };
    view.item(0, "-", format!("{}{around}, until {}{tail}", sought(want), words::day(seeks.until)));
    if !seeks.note.is_empty() {
        view.item(2, "", &seeks.note);
    }
    view.item(2, "", &want.want_id);
}
