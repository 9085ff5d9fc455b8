//! The first screen: what the reader can do from here.

use scionary_proto::v1;

use crate::{Deed, View, words};

/// Shows what one can do. `unread` is the number of new notices of a member who is signed in; `home` tells whether the
/// member has said where they grow.
pub fn start(view: &mut View, server: &v1::GetServerResponse, unread: Option<i32>, home: bool) {
    view.title(&server.name);
    view.line(format!(
        "{} cultivars and {} pieces of evidence are on file.",
        server.cultivar_count, server.evidence_count
    ));
    view.gap();
    view.act("Does its seed come true", Deed::LookUp.bare());
    view.act("How to get a tree", Deed::RoutesCompare.bare());
    view.act("Who has it", Deed::OfferSearch.bare());
    view.act("Which rules are on file for moving it", Deed::MovementCheckName.bare());
    view.gap();
    let Some(unread) = unread else {
        view.line("To ask for plants, post your own and keep plans, sign in:");
        view.act("With an account", Deed::AccountSignIn.bare());
        view.act("With an invitation", Deed::AccountSignUp.bare());
        return;
    };
    if unread > 0 {
        view.act(&format!("You have {}", words::counted(unread, "new notice")), Deed::InboxList.bare());
    }
    if !home {
        view.act("Say where you grow, once", Deed::MeHome.bare());
    }
    view.act("Give something away", Deed::OfferPost.bare());
    view.act("Ask for something", Deed::ClaimAsk.bare());
    view.act("Look for something", Deed::WantAdd.bare());
    view.act("Keep a plan with dates", Deed::PlanKeep.bare());
    view.act("Your club's swap days", Deed::RoundList.bare());
    view.act("Everything else", Deed::Help.bare());
}

/// Shows what to do when no server answers.
pub fn no_server(view: &mut View, message: &str) {
    view.line(format!("Scionary: {message}."));
    view.gap();
    view.act("Say where your club's server is", Deed::Connect.bare());
    view.line("Your club tells you its address. To try it on this machine, run: scionaryd demo");
    view.act("Everything else", Deed::Help.bare());
}
