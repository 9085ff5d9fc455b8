//! The ways from a wish to a tree, as a crop's profile describes them.

use serde::{Deserialize, Serialize};

use super::Only;

crate::offer::words! {
    /// A way from a wish to a tree of the cultivar.
    Way {
        /// Plant a tree that is already grafted.
        GraftedTree = "grafted_tree",
        /// Sow seed of the cultivar.
        Seed = "seed",
        /// Raise a rootstock from seed and graft a scion onto it.
        OwnRootstock = "own_rootstock",
        /// Graft scions into a mature tree.
        TopWorking = "top_working",
        /// Root a cutting.
        Cutting = "cutting",
        /// Plant a layer, a sucker or a division.
        Division = "division",
    }
}

/// A crop profile's entry for one way.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RouteProfile {
    /// The way that this entry describes.
    pub way: Way,
    /// Short heading.
    pub title: String,
    /// What the grower does, in a sentence or two.
    pub about: String,
    /// Amount of work, in words.
    pub effort: String,
    /// Things that the grower needs.
    pub needs: Vec<String>,
    /// Timing steps that pass before the years to first fruit begin, such as raising a rootstock.
    #[serde(default)]
    pub before: Vec<String>,
    /// Timing steps with the years to first fruit, one for each source where sources disagree.
    #[serde(default)]
    pub first_fruit: Vec<String>,
    /// The same steps for seed that gives one new seedling; if empty, `first_fruit` applies.
    #[serde(default)]
    pub first_fruit_one_sprout: Vec<String>,
    /// Timing steps that say how often the way succeeds.
    #[serde(default)]
    pub succeeds: Vec<String>,
    /// Topics of the cautions that apply.
    pub cautions: Vec<String>,
    /// Key of the source; empty if there is none.
    #[serde(default)]
    pub source: String,
    /// Basis without a source, such as `common practice`.
    #[serde(default)]
    pub basis: String,
}

impl RouteProfile {
    /// Returns the source of the entry, or its basis without one.
    pub fn origin(&self) -> &str {
        if self.source.is_empty() { &self.basis } else { &self.source }
    }
    /// Returns every timing step that the entry names.
    pub fn steps(&self) -> impl Iterator<Item = &String> {
        self.before.iter().chain(&self.first_fruit).chain(&self.first_fruit_one_sprout).chain(&self.succeeds)
    }
    /// Returns the timing steps with the years to first fruit for this kind of seed.
    pub fn fruit_steps(&self, seed: Only) -> &[String] {
        match seed {
            Only::OneSprout if !self.first_fruit_one_sprout.is_empty() => &self.first_fruit_one_sprout,
            Only::OneSprout | Only::SeveralSprouts => &self.first_fruit,
        }
    }
}
