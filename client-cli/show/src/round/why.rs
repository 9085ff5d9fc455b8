//! Why a line of a list was not met, in words. Every sentence says what settling the round again with one more pack for the
//! line would change, and gives counts, never names.

use scionary_proto::v1;

use crate::words;

/// Returns why a line did not get one more pack, as one or two sentences.
pub fn why_not(why: &v1::WhyNot) -> String {
    let went = match why.others {
        0 => String::new(),
        1 => "It went to one member. ".into(),
        n => format!("It went to {n} members. "),
    };
    match why.rule() {
        v1::WhyNotRule::Unspecified => String::new(),
        v1::WhyNotRule::NotBrought => "No one brought it.".into(),
        v1::WhyNotRule::FromLeftOvers => "You took it from what was left over.".into(),
        v1::WhyNotRule::NotWorkedOut => "In a round of this size reasons are not worked out.".into(),
        v1::WhyNotRule::Withdrawn => {
            "It was yours, and then one of you two withdrew, or it was settled again.".into()
        }
        v1::WhyNotRule::Barred => sentence(&why.bar_words),
        v1::WhyNotRule::AllOfIt => "You have all of it that this line can have.".into(),
        v1::WhyNotRule::Gone => "All of it has been handed over to others.".into(),
        v1::WhyNotRule::Limits => format!("{went}{}", limits(why)),
        v1::WhyNotRule::NoChain => {
            format!("{went}No chain of swaps within what members agreed to give and take brings it to you.")
        }
        v1::WhyNotRule::EarlierOutcome => match why.lines_less {
            0 => format!("{went}You would lose what was yours before for it."),
            n => format!(
                "{went}It would take back {} that others were given before.",
                words::counted(n, "pack")
            ),
        },
        v1::WhyNotRule::Level => format!("{went}{}", level(why)),
        v1::WhyNotRule::DrawOfMembers => format!("{went}{}", draw_of_members(why)),
        v1::WhyNotRule::Rank => format!("{went}{}", rank(why)),
        v1::WhyNotRule::DrawOfLots => format!("{went}{}", draw_of_lots(why)),
    }
}

fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}.", letters.as_str())
}

fn members(n: i32) -> String {
    match n {
        0 => "no one".into(),
        1 => "one member".into(),
        n => format!("{n} members"),
    }
}

fn limits(why: &v1::WhyNot) -> String {
    let each = why.limits().map(|limit| match limit {
        v1::RoundLimit::Unspecified => "",
        v1::RoundLimit::Cap => "if one member could take more packs here",
        v1::RoundLimit::CultivarCap => "if one member could take more packs of one cultivar here",
        v1::RoundLimit::Get => "if you could take one more beyond what you give",
        v1::RoundLimit::Give => "if who brings it gave one more beyond what they get",
    });
    format!("It would be possible {}.", each.collect::<Vec<_>>().join(", and "))
}

/// What would change in packs that members have in all.
fn totals(why: &v1::WhyNot) -> String {
    let less = match (why.own_total < 0, why.others_less) {
        (true, 0) => "you".to_string(),
        (true, n) => format!("you and {}", members(n)),
        (false, n) => members(n),
    };
    let more = match (why.own_total > 0, why.others_more) {
        (true, 0) => "you".to_string(),
        (true, n) => format!("you and {}", members(n)),
        (false, n) => members(n),
    };
    let and = |n: i32, own: bool| if n + i32::from(own) > 1 { " each" } else { "" };
    format!(
        "take one pack{} from {less} and bring one{} to {more}",
        and(why.others_less, why.own_total < 0),
        and(why.others_more, why.own_total > 0)
    )
}

fn level(why: &v1::WhyNot) -> String {
    let one_for_one = why.own_total > 0 && why.others_more == 0 && why.others_less == why.at_level;
    if one_for_one && why.at_level > 0 && why.standing <= 0 {
        let who = match why.at_level {
            1 => "a member who has".to_string(),
            n => format!("{n} members who have"),
        };
        let than = if why.standing == 0 { "no more than you" } else { "fewer than you" };
        return format!("One more for you would take one from {who} {than}, counting earlier rounds.");
    }
    format!("It would {}, and those who have least come first.", totals(why))
}

fn draw_of_members(why: &v1::WhyNot) -> String {
    if why.own_total > 0 && why.others_less == 1 && why.others_more == 0 {
        return "Someone else had the same right to a pack as you, and the draw was theirs.".into();
    }
    format!("It would {}; by all else that was equal, and the draw decided.", totals(why))
}

fn wishes(n: i32, rank: i32) -> String {
    match (n, rank) {
        (1, 1) => "one first wish".into(),
        (n, 1) => format!("{n} first wishes"),
        (1, rank) => format!("one wish of rank {rank}"),
        (n, rank) => format!("{n} wishes of rank {rank}"),
    }
}

/// The member's own lines that would get less, such as "your wish 2".
fn own(why: &v1::WhyNot) -> Option<String> {
    let ranks: Vec<String> = why.own_lines.iter().map(ToString::to_string).collect();
    match ranks.as_slice() {
        [] => None,
        [one] => Some(format!("your wish {one}")),
        several => Some(format!("your wishes {}", several.join(" and "))),
    }
}

fn rank(why: &v1::WhyNot) -> String {
    match (why.lines_less, own(why)) {
        (0, Some(own)) => format!("You have {own} instead."),
        (0, None) => "As many first wishes as possible come first, then second ones, and so on.".into(),
        (n, own) => {
            let gain = match why.lines_more {
                0 => String::new(),
                more => format!(" and bring others {}", wishes(more, why.rank)),
            };
            let own = own.map(|own| format!(", and {own}")).unwrap_or_default();
            format!("It would cost others {}{gain}{own}.", wishes(n, why.rank))
        }
    }
}

fn draw_of_lots(why: &v1::WhyNot) -> String {
    let got = match (why.same_line, own(why)) {
        (true, None) => Some("this line got another lot".to_string()),
        (false, Some(own)) => Some(format!("you have {own}")),
        (true, Some(own)) => Some(format!("this line got another lot, and you have {own}")),
        (false, None) => None,
    };
    match (why.lines_less, got) {
        (0, Some(got)) => format!("Instead {got}: that was equal by every rule, and the draw chose."),
        (_, _) => "Which lot goes to whom was equal by every rule, and the draw chose.".into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(rule: v1::WhyNotRule) -> v1::WhyNot {
        v1::WhyNot { rule: rule.into(), ..Default::default() }
    }

    #[test]
    fn sentences_say_whose_loss_it_is() {
        let level =
            v1::WhyNot { own_total: 1, others_less: 1, at_level: 1, others: 2, ..of(v1::WhyNotRule::Level) };
        assert_eq!(
            why_not(&level),
            "It went to 2 members. One more for you would take one from a member who has no more than you, counting earlier rounds."
        );
        let lower = v1::WhyNot { standing: -1, others_less: 2, at_level: 2, ..level.clone() };
        assert!(
            why_not(&lower)
                .ends_with("take one from 2 members who have fewer than you, counting earlier rounds.")
        );
        let swap = v1::WhyNot { own_total: 0, others_less: 1, others_more: 1, ..level };
        assert!(why_not(&swap).contains("take one pack from one member and bring one to one member"));
        let own = v1::WhyNot { own_lines: vec![2], rank: 2, ..of(v1::WhyNotRule::Rank) };
        assert!(why_not(&own).starts_with("You have your wish 2 instead"));
        let theirs = v1::WhyNot { lines_less: 1, rank: 1, ..of(v1::WhyNotRule::Rank) };
        assert_eq!(why_not(&theirs), "It would cost others one first wish.");
        let both = v1::WhyNot { lines_less: 2, lines_more: 1, own_lines: vec![3], rank: 3, ..theirs };
        assert_eq!(
            why_not(&both),
            "It would cost others 2 wishes of rank 3 and bring others one wish of rank 3, and your wish 3."
        );
        let draw = v1::WhyNot { same_line: true, ..of(v1::WhyNotRule::DrawOfLots) };
        assert!(why_not(&draw).starts_with("Instead this line got another lot"));
        let limits = vec![v1::RoundLimit::Cap.into(), v1::RoundLimit::Give.into()];
        let limits = v1::WhyNot { limits, ..of(v1::WhyNotRule::Limits) };
        assert_eq!(
            why_not(&limits),
            "It would be possible if one member could take more packs here, and if who brings it gave one more beyond what they get."
        );
    }
}
