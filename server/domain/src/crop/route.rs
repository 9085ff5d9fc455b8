//! The ways from a wish to a tree, as a crop's profile tells them.

use serde::{Deserialize, Serialize};

use super::Only;

crate::offer::words! {
    /// A way from a wish to a tree of the cultivar.
    Way {
        /// Plant a tree that somebody grafted.
        GraftedTree = "grafted_tree",
        /// Sow its seed.
        Seed = "seed",
        /// Raise a rootstock from seed and graft a scion on it.
        OwnRootstock = "own_rootstock",
        /// Graft scions into a grown tree.
        TopWorking = "top_working",
    }
}

/// What a profile says of a way.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RouteProfile {
    /// Which way.
    pub way: Way,
    /// A few words for a heading.
    pub title: String,
    /// What is done, in a sentence or two.
    pub about: String,
    /// How much work it is.
    pub effort: String,
    /// What one needs.
    pub needs: Vec<String>,
    /// Steps of the timings that pass before the years to fruit begin, such as raising a rootstock.
    #[serde(default)]
    pub before: Vec<String>,
    /// Steps of the timings that tell the years to the first fruit; sources that disagree stand side by side.
    #[serde(default)]
    pub first_fruit: Vec<String>,
    /// The same for seed that gives one new seedling; where it is empty the others hold.
    #[serde(default)]
    pub first_fruit_one_sprout: Vec<String>,
    /// Steps of the timings that tell how often it succeeds.
    #[serde(default)]
    pub succeeds: Vec<String>,
    /// Topics of the cautions that go with it.
    pub cautions: Vec<String>,
    /// A source's key.
    #[serde(default)]
    pub source: String,
    /// Or what else it rests on.
    #[serde(default)]
    pub basis: String,
}

impl RouteProfile {
    /// Where it comes from.
    pub fn origin(&self) -> &str {
        if self.source.is_empty() { &self.basis } else { &self.source }
    }
    /// All steps of timings that it names.
    pub fn steps(&self) -> impl Iterator<Item = &String> {
        self.before.iter().chain(&self.first_fruit).chain(&self.first_fruit_one_sprout).chain(&self.succeeds)
    }
    /// Steps of the timings that tell the years to the first fruit, for this kind of seed.
    pub fn fruit_steps(&self, seed: Only) -> &[String] {
        match seed {
            Only::OneSprout if !self.first_fruit_one_sprout.is_empty() => &self.first_fruit_one_sprout,
            Only::OneSprout | Only::SeveralSprouts => &self.first_fruit,
        }
    }
}
