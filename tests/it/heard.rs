//! Names as growers type them: by hand, from how people write and say them, not by rule. Each has to come first, or
//! among the first five.

use crate::reference::registry;

/// What is typed, and the record that is meant.
const HEARD: &[(&str, &str)] = &[
    // Mango.
    ("alfonso", "Alphonso"),
    ("alphonzo mango", "Alphonso"),
    ("hapus badami", "Badami"),
    ("tommy atkin", "Tommy Atkins"),
    ("tomy atkins", "Tommy Atkins"),
    ("atkins", "Tommy Atkins"),
    ("kensington", "Kensington Pride"),
    ("kp kensington pride", "Kensington Pride"),
    ("bowen mango", "Kensington Pride"),
    ("keit", "Keitt"),
    ("kiett", "Keitt"),
    ("kent mango", "Kent"),
    ("irwin mangoes", "Irwin"),
    ("r2 e2", "R2E2"),
    ("r2e2 mango", "R2E2"),
    ("calipso", "Calypso"),
    ("honeygold", "Honey Gold"),
    ("van dyk", "Van Dyke"),
    ("vandyke", "Van Dyke"),
    ("palmer mango", "Palmer"),
    ("osten", "Osteen"),
    ("carrie mango", "Carrie"),
    ("cogshal", "Cogshall"),
    ("pickerings", "Pickering"),
    ("malika", "Mallika"),
    ("amrapalli", "Amrapali"),
    ("dasheri", "Dashehari"),
    ("dussehri", "Dashehari"),
    ("langara", "Langra"),
    ("kesar aam", "Kesar"),
    ("banganpalli", "Banganapalli"),
    ("banginapalli", "Banganapalli"),
    ("totapuri mango", "Totapuri"),
    ("thothapuri", "Totapuri"),
    ("neelam", "Neelum"),
    ("himsagor", "Himsagar"),
    ("chausa", "Chaunsa"),
    ("sindri", "Sindhri"),
    ("anwar rataul", "Anwar Ratol"),
    ("mahachanock", "Mahachanok"),
    ("chokanan", "Chok Anan"),
    ("arumanis mango", "Arumanis"),
    ("carabo", "Carabao"),
    ("lemonzest", "Lemon Zest"),
    ("sweet tart mango", "Sweet Tart"),
    ("coconut creme", "Coconut Cream"),
    ("madame francisque", "Madame Francis"),
    ("pina collada", "Pina Colada"),
    ("rosy gold", "Rosigold"),
    ("julie mango", "Julie"),
    // Citrus.
    ("meyers lemon", "Meyer lemon"),
    ("meyer", "Meyer lemon"),
    ("eureka", "Eureka lemon"),
    ("ureka lemon", "Eureka lemon"),
    ("lisbon", "Lisbon lemon"),
    ("lemon lisbon", "Lisbon lemon"),
    ("volkameriana", "Volkamer lemon"),
    ("persian lime", "Tahiti lime"),
    ("bears lime", "Tahiti lime"),
    ("tahitian lime", "Tahiti lime"),
    ("keylime", "key lime"),
    ("mexican lime", "key lime"),
    ("makrut", "makrut lime"),
    ("rangpur", "Rangpur lime"),
    ("caracara", "Cara Cara navel"),
    ("cara cara", "Cara Cara navel"),
    ("cara cara orange", "Cara Cara navel"),
    ("washington navel orange", "Washington navel"),
    ("lane late", "Lane Late navel"),
    ("navalina", "Navelina navel"),
    ("moro", "Moro blood orange"),
    ("taroco", "Tarocco blood orange"),
    ("sanguinello", "Sanguinelli blood orange"),
    ("hamlins", "Hamlin"),
    ("clemantine", "Clementine mandarin"),
    ("clementines", "Clementine mandarin"),
    ("nules", "Nules clementine"),
    ("ponkan mandarin", "Ponkan"),
    ("imperial", "Imperial mandarin"),
    ("daisy", "Daisy mandarin"),
    ("owari", "Owari satsuma"),
    ("satsuma mandarin", "satsuma"),
    ("honey murcott", "Murcott tangor"),
    ("minneola", "Minneola tangelo"),
    ("mineola tangelo", "Minneola tangelo"),
    ("orlando", "Orlando tangelo"),
    ("rio red", "Rio Red grapefruit"),
    ("ruby red grape fruit", "Ruby Red grapefruit"),
    ("star ruby", "Star Ruby grapefruit"),
    ("oro blanco", "Oroblanco"),
    ("chandler", "Chandler pummelo"),
    ("nagami", "Nagami kumquat"),
    ("meiwa", "Meiwa kumquat"),
    ("calamansi calamondin", "calamondin"),
    ("flying dragon", "Flying Dragon trifoliate"),
    ("poncirus trifoliate orange", "trifoliate orange"),
    ("swingle", "Swingle citrumelo"),
    ("troyer", "Troyer citrange"),
    ("cleopatra", "Cleopatra mandarin"),
    // Avocado.
    ("haas", "Hass"),
    ("hass avocado", "Hass"),
    ("haas avocados", "Hass"),
    ("lambhass", "Lamb Hass"),
    ("fuerta", "Fuerte"),
    ("zutanno", "Zutano"),
    ("bacon avocado", "Bacon"),
    ("read avocado", "Reed"),
    ("pinkertons", "Pinkerton"),
    ("sharwill", "Sharwil"),
    ("wurts", "Wurtz"),
    ("littlecado", "Wurtz"),
    ("choquete", "Choquette"),
    ("ettingers", "Ettinger"),
    ("mexicola grand", "Mexicola Grande"),
    ("brogden", "Brogdon"),
    ("shepherd", "Shepard"),
    ("simmonds avocado", "Simmonds"),
    ("lula avocado", "Lula"),
    ("topatopa", "Topa Topa"),
    ("duke seven", "Duke 7"),
    ("dusa rootstock", "Dusa"),
];

#[test]
fn names_as_growers_type_them_reach_their_record() {
    let registry = registry();
    let (mut first, mut five, mut missed) = (0, 0, Vec::new());
    for (typed, meant) in HEARD {
        let hits = registry.find(typed, "", 5);
        let names: Vec<&str> = hits.iter().map(|hit| hit.record.cultivar.name.as_str()).collect();
        first += usize::from(names.first() == Some(meant));
        if names.contains(meant) {
            five += 1;
        }
        if names.first() != Some(meant) {
            missed.push(format!("{typed}: {meant} expected, {names:?}"));
        }
    }
    let of = HEARD.len();
    println!("{first} of {of} first, {five} within five\n{}", missed.join("\n"));
    assert!(first * 100 >= of * 95, "{first} of {of} first\n{}", missed.join("\n"));
    assert!(five * 100 >= of * 98, "{five} of {of} within five\n{}", missed.join("\n"));
}

/// A crop's word is no likeness: nothing absurd comes first.
#[test]
fn words_that_all_share_are_no_likeness() {
    let registry = registry();
    for (typed, absurd) in [
        ("cara cara", "Carabao"),
        ("nagami kumquat", "Nagami"),
        ("verna lemon", "Eureka lemon"),
        ("zinfandel lemon", "Lisbon lemon"),
        ("unheard of mango", "BARI Mango-4"),
    ] {
        let hits = registry.find(typed, "", 1);
        let name = hits.first().map(|hit| hit.record.cultivar.name.as_str());
        assert_ne!(name, Some(absurd), "{typed}");
    }
    // Two long names that share only a word of their crop do not meet.
    let hits = registry.find("zinfandel lemon", "", 5);
    assert!(hits.is_empty(), "{:?}", hits.iter().map(|h| &h.record.cultivar.name).collect::<Vec<_>>());
}

/// A crop is no misspelt cultivar, but a cultivar that is called like a crop is found.
#[test]
fn a_crop_is_not_taken_for_a_cultivar() {
    let registry = registry();
    for (typed, crop) in
        [("fig", "fig"), ("Figs", "fig"), ("mangoes", "mango"), ("dragon fruit", "dragon_fruit")]
    {
        assert_eq!(registry.crop_called(typed).map(|c| c.slug.as_str()), Some(crop));
        assert!(registry.find(typed, "", 5).is_empty(), "{typed}");
        let refused = registry.resolve("cultivar", typed, "").map(|r| r.cultivar.full_name()).unwrap_err();
        assert!(format!("{refused:?}").contains("is a crop: name one of its cultivars"), "{refused:?}");
    }
    let peach = registry.find("peach", "", 1);
    assert_eq!(peach.first().map(|hit| hit.record.cultivar.crop.as_str()), Some("mango"));
}
