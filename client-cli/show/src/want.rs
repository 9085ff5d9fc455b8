//! Wants.

use scionary_proto::v1;

use crate::{Deed, View, words};

/// Shows a [`v1::CreateWantResponse`].
pub fn create_want(view: &mut View, reply: &v1::CreateWantResponse) {
    if let Some(want) = &reply.want {
        line(view, want, "");
    }
    view.gap();
    view.line(
        "Your inbox tells you when something on offer fits; what is there already shows within a moment.",
    );
    view.act("See your inbox", Deed::InboxList.bare());
}

/// Shows a [`v1::ListMyWantsResponse`].
pub fn list_my_wants(view: &mut View, reply: &v1::ListMyWantsResponse) {
    if reply.wants.is_empty() {
        view.line("You seek nothing.");
        view.act("Seek something", Deed::WantAdd.bare());
    }
    for want in &reply.wants {
        line(view, want, if want.is_open { "" } else { " [over]" });
    }
    view.more(&reply.next_page_token);
}

/// Shows a [`v1::SearchWantsResponse`].
pub fn search_wants(view: &mut View, reply: &v1::SearchWantsResponse) {
    if reply.wants.is_empty() {
        view.line("No one seeks anything like it.");
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
        view.act("Post what you have: those who seek it are notified", Deed::OfferPost.bare());
    }
}

/// Returns in words what a want looks for.
pub fn sought(want: &v1::Want) -> String {
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

pub(crate) fn line(view: &mut View, want: &v1::Want, tail: &str) {
    let seeks = want.seeks.clone().unwrap_or_default();
    let around = if seeks.within_km == 0 {
        String::new()
    } else {
        format!(", within {} km of {}", seeks.within_km, seeks.near_grid_code)
    };
    view.entry(&want.want_id, format!("{}{around}, until {}{tail}", sought(want), words::day(seeks.until)));
    if !seeks.note.is_empty() {
        view.item(5, "", &seeks.note);
    }
}
