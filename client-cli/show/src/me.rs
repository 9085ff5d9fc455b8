//! The reader's own profile.

use scionary_proto::v1;

use crate::{Deed, View, words};

/// Shows a [`v1::GetProfileResponse`].
pub fn get_profile(view: &mut View, reply: &v1::GetProfileResponse) {
    let profile = reply.profile.clone().unwrap_or_default();
    let home = profile.home.clone().unwrap_or_default();
    let parts = [home.label.clone(), home.area_code.clone(), home.grid_code.clone()];
    let parts: Vec<String> = parts.into_iter().filter(|p| !p.is_empty()).collect();
    let or_none = |text: String| if text.is_empty() { "not said".to_string() } else { text };
    view.title("What is kept about you (only you see it)");
    view.fact("home", or_none(parts.join(", ")));
    view.fact("contact", or_none(profile.contact.clone()));
    view.fact("units", if profile.imperial { "feet, pounds, Fahrenheit" } else { "metric" });
    view.fact("crop", or_none(profile.crop.clone()));
    view.fact(
        "winters",
        if profile.climate() == v1::Climate::Unspecified {
            "not said; guessed from where you are".to_string()
        } else {
            words::climate(profile.climate())
        },
    );
    view.fact(
        "plants",
        if profile.count_plants { "counted by country, never by name" } else { "not counted" },
    );
    view.gap();
    if home.grid_code.is_empty() {
        view.line("With a home, offers show how far they are, and no command asks where you grow.");
        view.act("Say where you grow", Deed::MeHome.bare());
    } else {
        view.note("Home is kept to about five kilometres. It goes out with what you post; your contact goes to the other side of an accepted claim.");
    }
}
