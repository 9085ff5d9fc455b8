//! Cautions for people who handle or eat what is offered.

use super::{
    Material,
    health::{Declaration, Observed},
};

impl Declaration {
    /// Returns a caution for fruit and seed that was, or may have been, sprayed or treated; `None` for other
    /// materials. It refers to the product's label, which is binding law in most countries (common practice).
    pub fn cautions(&self, material: Material) -> Option<String> {
        let (name, sprayed, eaten) = match material {
            Material::FruitForSeed => ("fruit", self.sprayed, "eat none of it"),
            // Cleaning a seed removes what the tree was sprayed with, but not a seed dressing.
            Material::Seed => ("seed", Observed::No, "neither eat it nor feed it to animals"),
            Material::ScionWood
            | Material::Budwood
            | Material::Seedling
            | Material::Rootstock
            | Material::GraftedPlant
            | Material::Cutting
            | Material::RootedPlant => return None,
        };
        let with = self
            .treatments
            .iter()
            .flat_map(|t| [&t.active_ingredient, &t.treatment])
            .chain([&self.sprayed_text])
            .find(|text| !text.is_empty());
        let with = with.map(|what| format!(" ({what})")).unwrap_or_default();
        let care = format!(
            "Wear gloves and wash your hands; {eaten} unless the product's label allows it and its waiting time is over. Ask the giver which product it was, and when."
        );
        match (sprayed, self.treatments.is_empty()) {
            (Observed::No, true) => None,
            (Observed::Unknown, true) => {
                Some(format!("The giver does not know whether this {name} was sprayed. {care}"))
            }
            (Observed::Yes, _) | (_, false) => {
                Some(format!("This {name} was sprayed or treated{with}. {care}"))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::offer::health::{Form, Purpose, Treatment};

    use super::*;

    #[test]
    fn what_may_have_been_sprayed_comes_with_a_caution() {
        let looked = |sprayed| Declaration {
            grown_at: Vec::new(),
            botanical_name: String::new(),
            rootstock: String::new(),
            form: Form::WholeFruit,
            purpose: Purpose::Planting,
            source_tree: String::new(),
            last_looked: None,
            symptoms: Observed::No,
            symptoms_text: String::new(),
            pests: Observed::No,
            pests_text: String::new(),
            sprayed,
            sprayed_text: "copper".into(),
            treatments: Vec::new(),
            tests: Vec::new(),
            documents: Vec::new(),
            note: String::new(),
        };
        let fruit = |sprayed| looked(sprayed).cautions(Material::FruitForSeed);
        assert_eq!(fruit(Observed::No), None);
        assert!(
            fruit(Observed::Yes)
                .unwrap()
                .starts_with("This fruit was sprayed or treated (copper). Wear gloves")
        );
        assert!(fruit(Observed::Unknown).unwrap().contains("does not know"));
        assert_eq!(looked(Observed::Yes).cautions(Material::Seed), None);
        assert_eq!(looked(Observed::Yes).cautions(Material::Budwood), None);
        let mut dressed = looked(Observed::No);
        dressed.treatments.push(Treatment {
            date: None,
            treatment: "dressed".into(),
            active_ingredient: "thiram".into(),
            official: false,
        });
        let said = dressed.cautions(Material::Seed).unwrap();
        assert!(said.contains("(thiram)") && said.contains("nor feed it to animals"), "{said}");
    }
}
