//! Words for growers that say why a lot cannot go to a member.

use crate::clearing::Bar;

/// Returns why a lot could not go to a member, independently of every other decision.
pub const fn bar_words(bar: Bar) -> &'static str {
    match bar {
        Bar::Own => "it is your own",
        Bar::Movement => {
            "a rule on file prohibits moving it to you, or asks for a document that is not named"
        }
        Bar::NoRule => {
            "no rule is on file on moving it to you, and what the plant-health authority says is not noted yet"
        }
        Bar::HandOver => "there is no way of handing over that both of you can take",
        Bar::Alert => "a confirmed alert reaches it",
        Bar::Viability => "it will not be fit for use on the day any more, or its offer ends before",
        Bar::Blocked => "you and who brings it do not deal with each other here",
        Bar::Refused => "one of you said no to it",
        Bar::Absent => "who brings it, the lot itself, or you yourself were not there on the day",
    }
}
