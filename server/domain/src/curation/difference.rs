//! The differences between two versions of a record.

use super::Content;
use crate::cultivar::{NameKind, ParentRole, Rank};

/// One difference: a changed field, or one list entry removed or added.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Difference {
    /// The field, in words.
    pub field: String,
    /// Earlier value; empty if there was none.
    pub before: String,
    /// Later value; empty if there is none.
    pub after: String,
}

fn kind(kind: NameKind) -> &'static str {
    match kind {
        NameKind::Synonym => "synonym",
        NameKind::Spelling => "spelling",
        NameKind::Regional => "regional",
    }
}

fn role(role: ParentRole) -> &'static str {
    match role {
        ParentRole::SeedParent => "seed parent",
        ParentRole::PollenParent => "pollen parent",
        ParentRole::UnknownParent => "parent",
    }
}

fn rank(rank: Rank) -> &'static str {
    match rank {
        Rank::Cultivar => "cultivar",
        Rank::Group => "group",
    }
}

/// Returns the differences field by field. For lists it returns removed entries first, then added ones.
pub fn difference(before: &Content, after: &Content) -> Vec<Difference> {
    let mut all = Vec::new();
    let mut say = |field: &str, b: &str, a: &str| {
        if b != a {
            all.push(Difference { field: field.into(), before: b.into(), after: a.into() });
        }
    };
    say("name", &before.name, &after.name);
    say("qualifier", &before.qualifier, &after.qualifier);
    say("botanical name", &before.botanical_name, &after.botanical_name);
    say("rank", rank(before.rank), rank(after.rank));
    say("origin", &before.origin, &after.origin);
    say("notes", &before.notes, &after.notes);
    let disputed = |yes: bool| if yes { ", disputed" } else { "" };
    let names = |c: &Content| -> Vec<String> {
        c.names.iter().map(|n| format!("{} ({}{})", n.name, kind(n.kind), disputed(n.disputed))).collect()
    };
    let parents = |c: &Content| -> Vec<String> {
        c.parents.iter().map(|p| format!("{}: {}{}", role(p.role), p.name, disputed(p.disputed))).collect()
    };
    let pins = |c: &Content| -> Vec<String> {
        c.pins
            .iter()
            .map(|p| format!("{}: {} [{}]", p.descriptor, p.value.plain_text(), p.citation))
            .collect()
    };
    for (field, b, a) in [
        ("further name", names(before), names(after)),
        ("parent", parents(before), parents(after)),
        ("set finding", pins(before), pins(after)),
    ] {
        for gone in b.iter().filter(|x| !a.contains(x)) {
            say(field, gone, "");
        }
        for come in a.iter().filter(|x| !b.contains(x)) {
            say(field, "", come);
        }
    }
    all
}
