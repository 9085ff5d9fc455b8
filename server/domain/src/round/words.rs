//! Words for growers that explain an outcome. They give counts and costs, and never the names of other members.

use crate::clearing::{Aim, Bar, Reason};

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

fn others(takers: u32) -> String {
    match takers {
        0 => String::new(),
        1 => "It went to one member. ".into(),
        n => format!("It went to {n} members. "),
    }
}

fn members(n: i64) -> String {
    if n == 1 { "one of those".into() } else { format!("{n} of those") }
}

/// Returns why a line did not get one more unit of a lot. `takers` is the number of others who got some of the lot.
pub fn reason_words(reason: &Reason, takers: u32) -> String {
    let to = others(takers);
    match reason {
        Reason::Barred { bar } => {
            let words = bar_words(*bar);
            let mut letters = words.chars();
            let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
            format!("{first}{}.", letters.as_str())
        }
        Reason::Met => "You got all that you asked for on this line.".into(),
        Reason::AllOfIt => "You got all that this line can have of it.".into(),
        Reason::TakerBooks => {
            format!(
                "{to}You would take more than you give, by more than this round allows, or more than its limit."
            )
        }
        Reason::GiverBooks => {
            format!("{to}Who brings it would give more than they get, by more than they agreed to.")
        }
        Reason::Books => {
            format!("{to}No chain of swaps balances what you would take with what others can give.")
        }
        Reason::Decided { by: Aim::Level(_), loss } => format!(
            "{to}One more for you would take one from {} who come before you, counting what each member gave and took in earlier rounds.",
            members(*loss)
        ),
        Reason::Decided { by: Aim::Who, .. } => {
            format!("{to}Someone else had the same right to it as you, and the draw was theirs.")
        }
        Reason::Decided { by: Aim::Rank(rank), loss } => {
            let cost = match (*loss, rank) {
                (1, 1) => "one first wish".to_string(),
                (n, 1) => format!("{n} first wishes"),
                (1, rank) => format!("one wish of rank {rank}"),
                (n, rank) => format!("{n} wishes of rank {rank}"),
            };
            format!("{to}Giving it to you would cost {cost} of others.")
        }
        Reason::Decided { by: Aim::Which | Aim::Settled, .. } => {
            format!("{to}It was equal in every rule which lot goes to whom, and the draw said otherwise.")
        }
        Reason::Decided { by: Aim::Kept, .. } => {
            format!("{to}It would take back what was allotted to others before.")
        }
    }
}

/// Returns why a line got less than its quantity: no member brought it, or the reason of the nearest lot.
pub fn unmet_words(reasons: &[(Reason, u32)]) -> String {
    let nearest = reasons.iter().max_by_key(|(reason, _)| nearness(reason));
    nearest.map_or_else(|| "No one brought it.".into(), |(reason, takers)| reason_words(reason, *takers))
}

/// Ranks how near a lot was to being allotted. Higher is nearer; objectives decided later are nearer.
fn nearness(reason: &Reason) -> i32 {
    match reason {
        Reason::Barred { .. } => 0,
        Reason::TakerBooks | Reason::GiverBooks | Reason::Books => 1,
        Reason::Decided { by, .. } => match by {
            Aim::Kept => 2,
            Aim::Level(level) => 100 + level,
            Aim::Who => 300,
            Aim::Rank(rank) => 400 + i32::try_from(*rank).unwrap_or(0),
            Aim::Which | Aim::Settled => 500,
        },
        Reason::AllOfIt => 600,
        Reason::Met => 700,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_lot_that_came_closest_is_told() {
        let far = (Reason::Barred { bar: Bar::Movement }, 0);
        let near = (Reason::Decided { by: Aim::Who, loss: 9 }, 2);
        assert!(
            unmet_words(&[far, near]).starts_with("It went to 2 members. Someone else had the same right")
        );
        assert!(unmet_words(&[far]).starts_with("A rule on file prohibits"));
        assert_eq!(unmet_words(&[]), "No one brought it.");
    }
}
