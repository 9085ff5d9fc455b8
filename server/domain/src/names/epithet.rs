//! Checks a new cultivar name (epithet) against the International Code of Nomenclature for Cultivated Plants,
//! 9th edition, 2016, as registrars and clubs quote it.
//!
//! Three rules are not checked here. Whether a name is already taken needs the registry. Whether a name is a
//! translation, or a Latin word in common use elsewhere, cannot be seen from the name. Latin-looking words come
//! from a deliberately short list.

use unicode_normalization::{UnicodeNormalization, char::is_combining_mark};

/// Maximum number of letters, digits and marks in a name; spaces do not count.
pub const MAX_LENGTH: usize = 30;
/// Maximum number of letters in a name that is a code.
const MAX_CODE: usize = 10;
/// Maximum number of words that one country's registrar accepts.
const MAX_WORDS: usize = 3;
/// Maximum number of characters that a message quotes from a text.
const SHOWN: usize = 60;

/// One rule for new names.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Rule {
    /// The name must contain a letter or digit.
    NotEmpty,
    /// The name must not contain quotation marks or "cv.".
    NoQuotes,
    /// Only Latin letters and the digits 0 to 9 may occur.
    LatinLetters,
    /// Only the listed punctuation marks may occur.
    Punctuation,
    /// A slash is only allowed by later editions.
    Slash,
    /// The name has at most 30 characters.
    Length,
    /// A name that is a code has at most 10 letters.
    CodeLength,
    /// The name has at most three words.
    WordCount,
    /// The name is more than one letter.
    SingleLetter,
    /// The name is more than a number.
    OnlyDigits,
    /// Each word begins with a capital letter, with listed exceptions.
    Capitals,
    /// The name must not claim to be the best of its kind.
    Superlative,
    /// Words for a kind of plant group, such as "hybrid", must not occur.
    ForbiddenWord,
    /// The name must not be in Latin form as a whole.
    LatinForm,
}

impl Rule {
    /// All rules, in the order in which [`check`] reports them.
    #[rustfmt::skip]
    pub const ALL: [Self; 14] = [
        Self::NotEmpty, Self::NoQuotes, Self::LatinLetters, Self::Punctuation, Self::Slash, Self::Length,
        Self::CodeLength, Self::WordCount, Self::SingleLetter, Self::OnlyDigits, Self::Capitals,
        Self::Superlative, Self::ForbiddenWord, Self::LatinForm,
    ];

    /// Returns what the rule demands, as one or two sentences.
    pub const fn text(self) -> &'static str {
        self.about().0
    }
    /// Returns the keys of the sources in which the rule was read.
    pub const fn source(self) -> &'static str {
        self.about().1
    }

    #[rustfmt::skip]
    const fn about(self) -> (&'static str, &'static str) {
        match self {
            Self::NotEmpty => ("A name has letters or digits.", "follows from RHS-NAMING"),
            Self::NoQuotes => ("A name is entered without quotation marks; single ones are put around it \
                where it is shown. Double ones and \"cv.\" are wrong.", "ISHS-NAME"),
            Self::LatinLetters => ("A name is written in Latin letters, accents included; from other scripts \
                it is transcribed.", "VKC, AHS16, RHS-NAMING"),
            Self::Punctuation => ("Only the apostrophe, the comma, one exclamation mark, the hyphen and the \
                full stop are allowed.", "FAO-POP (edition of 1995)"),
            Self::Slash => ("Later editions also allow a slash.", "from memory"),
            Self::Length => ("From 1996 a name has at most 30 letters, digits and marks; spaces are not \
                counted.", "RHS-NAMING"),
            Self::CodeLength => ("A name may be a code of up to 10 letters.", "RHS-NAMING"),
            Self::WordCount => ("One country's registrar takes at most three words.",
                "VKC; FAO-POP sets no limit"),
            Self::SingleLetter => ("A name is more than one single letter.", "RHS-NAMING"),
            Self::OnlyDigits => ("A name is more than a number.", "RHS-NAMING"),
            Self::Capitals => ("Each word begins with a capital, except conjunctions, prepositions and the \
                word after a hyphen.",
                "FAO-POP, CORNELL; always for the first word, and local custom: from memory"),
            Self::Superlative => ("From 1959 a name does not claim to be the best of its kind.",
                "RHS-NAMING"),
            Self::ForbiddenWord => ("Words for kinds of plants and for breeding, such as form, variety or \
                hybrid, are not allowed.", "VKC, RHS-NAMING; cultivar and series: from memory"),
            Self::LatinForm => ("From 1959 a new name is not in Latin form as a whole. Latin words in common \
                use in another language, and Latin beside modern words, are allowed.",
                "RHS-NAMING, FAO-POP, AHS16 (Art. 21.12); the list of Latin words is ours"),
        }
    }
}

/// One rule that a name breaks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Breach {
    /// The broken rule.
    pub rule: Rule,
    /// What was found, and what the reader should do.
    pub message: String,
    /// True if a new name with this breach is refused; false if the breach is only a remark.
    pub severe: bool,
}

/// Returns the rules that a new name breaks, at most one breach per rule, in the order of [`Rule::ALL`].
pub fn check(epithet: &str) -> Vec<Breach> {
    let name = Name::read(epithet);
    Rule::ALL
        .into_iter()
        .filter_map(|rule| name.find(rule).map(|(severe, message)| Breach { rule, message, severe }))
        .collect()
}

/// Returns the length as the rule counts it: letters, digits and marks. Spaces and enclosing quotation marks do
/// not count; an accented letter counts as one.
pub fn counted_length(epithet: &str) -> usize {
    Name::read(epithet).counted()
}

/// Turns every refusal into a remark. Use this for names that were in use before the rules.
pub fn accept_historic(breaches: Vec<Breach>) -> Vec<Breach> {
    let mut kept = breaches;
    for breach in kept.iter_mut().filter(|breach| breach.severe) {
        breach.severe = false;
        breach.message.push_str(" An old name is kept as it is.");
    }
    kept
}

/// Severity (true if refused) and message of a breach.
type Found = Option<(bool, String)>;

fn severe(message: impl Into<String>) -> (bool, String) {
    (true, message.into())
}
fn only_remark(message: impl Into<String>) -> (bool, String) {
    (false, message.into())
}
/// Returns true if a space-separated list contains the word.
fn has(list: &str, word: &str) -> bool {
    list.split_whitespace().any(|known| known == word)
}

/// A name without its enclosing marks.
struct Name {
    /// The name without outer spaces, quotation marks and "cv.".
    core: String,
    /// True if quotation marks or "cv." were removed.
    quoted: bool,
}

const fn is_double_quote(c: char) -> bool {
    matches!(c, '"' | '“' | '”' | '„' | '‟' | '«' | '»' | '″' | '＂')
}
const fn is_single_quote(c: char) -> bool {
    matches!(c, '\'' | '‘' | '’' | '‚' | '‛')
}
const fn is_hyphen(c: char) -> bool {
    matches!(c, '-' | '\u{2010}' | '\u{2011}')
}
const fn is_apostrophe(c: char) -> bool {
    matches!(c, '\'' | '’')
}
/// Characters that many keyboards and typists use for an apostrophe.
const fn is_near_apostrophe(c: char) -> bool {
    matches!(c, '‘' | '‛' | 'ʻ' | 'ʼ' | '′')
}
/// Letters of the Unicode blocks Basic Latin to IPA Extensions, Latin Extended Additional, C, D and E.
fn is_latin(c: char) -> bool {
    matches!(c, 'A'..='Z' | 'a'..='z' | 'ª' | 'º' | 'À'..='ʯ' | 'Ḁ'..='ỿ' | '\u{2c60}'..='\u{2c7f}'
        | '\u{a722}'..='\u{a7ff}' | '\u{ab30}'..='\u{ab64}')
        && c.is_alphabetic()
}

/// Returns the first [`SHOWN`] characters of a text, without control characters, for a message.
fn shown(text: &str) -> String {
    let mut start: String = text.chars().take(SHOWN).filter(|c| !c.is_control()).collect();
    if text.chars().nth(SHOWN).is_some() {
        start.push('…');
    }
    start
}

/// Returns up to five words for a message, each in double quotes.
fn listed(words: impl IntoIterator<Item = impl AsRef<str>>) -> String {
    let words: Vec<String> =
        words.into_iter().take(5).map(|w| format!("\"{}\"", shown(w.as_ref()))).collect();
    words.join(", ")
}

impl Name {
    fn read(epithet: &str) -> Self {
        let composed: String = epithet.nfc().collect();
        let mut quoted = composed.contains(is_double_quote);
        let bare = composed.replace(is_double_quote, "");
        let mut core = bare.trim();
        if let Some((before, after)) = core.split_at_checked(3)
            && before.eq_ignore_ascii_case("cv.")
        {
            quoted = true;
            core = after.trim();
        }
        // An apostrophe at only one end belongs to the word.
        if let Some(inner) = core.strip_prefix(is_single_quote).and_then(|c| c.strip_suffix(is_single_quote))
        {
            quoted = true;
            core = inner.trim();
        }
        Self { core: core.to_string(), quoted }
    }

    fn words(&self) -> impl Iterator<Item = &str> {
        self.core.split_whitespace()
    }

    /// Returns the words in lower case, split also at hyphens and slashes, without marks at their ends.
    fn parts(&self) -> Vec<String> {
        self.core
            .split(|c: char| c.is_whitespace() || is_hyphen(c) || c == '/')
            .map(|part| part.trim_matches(|c: char| !c.is_alphanumeric() && c != '.'))
            .map(|part| part.trim_start_matches('.').to_lowercase())
            .filter(|part| part.chars().any(char::is_alphanumeric))
            .collect()
    }

    fn counted(&self) -> usize {
        self.core.chars().filter(|c| !c.is_whitespace() && !is_combining_mark(*c)).count()
    }
    fn letters(&self) -> usize {
        self.core.chars().filter(|c| c.is_alphabetic()).count()
    }
    fn digits(&self) -> usize {
        self.core.chars().filter(|c| c.is_numeric()).count()
    }

    fn find(&self, rule: Rule) -> Found {
        let (letters, digits, length) = (self.letters(), self.digits(), self.counted());
        let words = self.words().count();
        match rule {
            Rule::NotEmpty => {
                (letters + digits == 0).then(|| severe("There is not one letter or digit. Enter a name."))
            }
            Rule::NoQuotes => self.quoted.then(|| {
                let core = shown(&self.core);
                severe(format!("Enter only {core}. Quotation marks are put around it where it is shown."))
            }),
            Rule::LatinLetters => self.latin_letters(),
            Rule::Punctuation => self.punctuation(),
            Rule::Slash => (self.core.contains('/')).then(|| {
                only_remark("Earlier editions of the rules did not allow a slash. A hyphen is right in all.")
            }),
            Rule::Length => (length > MAX_LENGTH).then(|| {
                let over = length - MAX_LENGTH;
                severe(format!("{length} characters without spaces are {over} too many. Shorten the name."))
            }),
            Rule::CodeLength => {
                let is_code = words == 1 && !self.core.chars().any(char::is_lowercase);
                (is_code && letters > MAX_CODE).then(|| {
                    only_remark(format!("If this is a code, its {letters} letters are more than {MAX_CODE}."))
                })
            }
            Rule::WordCount => (words > MAX_WORDS).then(|| {
                only_remark(format!("{words} words: the rules set no limit, one country takes {MAX_WORDS}."))
            }),
            Rule::SingleLetter => (letters == 1 && digits == 0)
                .then(|| severe("One letter alone is no name. Add a word or a number.")),
            Rule::OnlyDigits => (letters == 0 && digits > 0)
                .then(|| severe("A number alone is no name. Add a word or a letter.")),
            Rule::Capitals => self.capitals(),
            Rule::Superlative => self.superlative(),
            Rule::ForbiddenWord => self.forbidden_word(),
            Rule::LatinForm => self.latin_form(),
        }
    }

    fn latin_letters(&self) -> Found {
        let is_foreign = |c: char| {
            (c.is_alphabetic() && !is_latin(c) && !is_near_apostrophe(c))
                || (c.is_numeric() && !c.is_ascii_digit())
        };
        self.core.contains(is_foreign).then(|| {
            let (found, guess) = (listed([&self.core]), shown(any_ascii::any_ascii(&self.core).trim()));
            severe(format!(
                "{found} has other letters than Latin ones or digits than 0 to 9. Enter the name as it is \
                 transcribed, very roughly {guess}, and keep this spelling as a further name."
            ))
        })
    }

    fn punctuation(&self) -> Found {
        let is_known = |c: char| {
            c.is_alphanumeric()
                || c.is_whitespace()
                || is_combining_mark(c)
                || is_apostrophe(c)
                || is_near_apostrophe(c)
                || is_hyphen(c)
                || matches!(c, ',' | '!' | '.' | '/')
        };
        let name = |c: char| if c.is_control() { format!("U+{:04X}", u32::from(c)) } else { c.to_string() };
        let mut wrong: Vec<String> = self.core.chars().filter(|c| !is_known(*c)).map(name).collect();
        wrong.extend((self.core.matches('!').count() > 1).then(|| "!!".to_string()));
        wrong.sort_unstable();
        wrong.dedup();
        if wrong.is_empty() {
            return self.core.contains(is_near_apostrophe).then(|| {
                only_remark("If an apostrophe is meant, write the plain one ('): others are easily lost.")
            });
        }
        let advice =
            if wrong.iter().any(|mark| mark == "&") { "write \"and\" for &" } else { "write a word for it" };
        Some(severe(format!("{} is not allowed in a name: leave it out, or {advice}.", listed(wrong))))
    }

    fn capitals(&self) -> Found {
        let (mut wrong, mut articles, mut loud) = (Vec::new(), Vec::new(), Vec::new());
        for (index, word) in self.words().enumerate() {
            let first_part = word.split(is_hyphen).next().unwrap_or_default();
            let bare = first_part.trim_matches(|c: char| !c.is_alphanumeric());
            let small = bare.chars().next().is_some_and(char::is_lowercase);
            if !small && bare.chars().count() > 4 && bare.chars().all(char::is_uppercase) {
                loud.push(word);
            } else if !small || is_elided(bare) || (index > 0 && has(SMALL_WORDS, bare)) {
                // Correct: a capital, an elided word, or a conjunction or preposition after the first word.
            } else if index > 0 && has(ARTICLES, bare) {
                articles.push(word);
            } else {
                wrong.push(word);
            }
        }
        if !wrong.is_empty() {
            return Some(severe(format!("Begin {} with a capital letter.", listed(wrong))));
        }
        if !articles.is_empty() {
            let words = listed(articles);
            return Some(only_remark(format!(
                "{words}: only conjunctions and prepositions are small, unless the language does otherwise."
            )));
        }
        (!loud.is_empty()).then(|| {
            only_remark(format!("Unless {} is a code, only its first letter is large.", listed(loud)))
        })
    }

    fn superlative(&self) -> Found {
        let among = |list: &str| {
            let parts = self.parts().into_iter();
            parts.filter(|part| has(list, part.trim_end_matches('.'))).collect::<Vec<String>>()
        };
        let (found, abroad) = (among(SUPERLATIVES), among(FOREIGN_BEST));
        if !found.is_empty() {
            let words = listed(found);
            return Some(severe(format!("{words} claims that no other is as good. Leave the word out.")));
        }
        (!abroad.is_empty()).then(|| {
            let words = listed(abroad);
            only_remark(format!("{words} means \"best\" in some languages, and no name may claim that."))
        })
    }

    fn forbidden_word(&self) -> Found {
        let among = |list: &str| {
            let is_in = |part: &String| {
                let bare = part.trim_end_matches('.');
                let owner = bare.strip_suffix("'s").or_else(|| bare.strip_suffix("’s"));
                has(list, part) || has(list, owner.unwrap_or(bare))
            };
            self.parts().into_iter().filter(is_in).collect::<Vec<String>>()
        };
        let (found, doubtful) = (among(FORBIDDEN), among(FORBIDDEN_FROM_MEMORY));
        if !found.is_empty() {
            let words = listed(found);
            return Some(severe(format!("{words} is not allowed in a name. Leave it out.")));
        }
        (!doubtful.is_empty()).then(|| {
            only_remark(format!("{} may not be allowed in a name. Better leave it out.", listed(doubtful)))
        })
    }

    fn latin_form(&self) -> Found {
        let parts = self.parts().into_iter().map(|part| part.trim_end_matches('.').to_string());
        let parts: Vec<String> = parts.filter(|part| part.chars().any(char::is_alphabetic)).collect();
        let latin: Vec<&String> = parts.iter().filter(|part| is_latin_form(part)).collect();
        if latin.is_empty() || LATIN_PHRASES.contains(&parts.join(" ").as_str()) {
            return None;
        }
        let words = listed(latin);
        Some(if parts.iter().all(|part| is_latin_form(part) || may_be_latin(part)) {
            severe(format!(
                "{words}: the whole name has the form of botanical Latin. Choose a word of a living \
                 language, or enter the name as an old one if it was in use before 1959."
            ))
        } else {
            only_remark(format!("{words} looks like botanical Latin. Beside other words that is allowed."))
        })
    }
}

/// Returns true for one or two letters elided before a name, as in "d'Or".
fn is_elided(word: &str) -> bool {
    word.split_once(is_apostrophe).is_some_and(|(before, after)| {
        (1..=2).contains(&before.chars().count()) && after.chars().next().is_some_and(char::is_uppercase)
    })
}

fn is_latin_form(word: &str) -> bool {
    let stem_in_list = |ending: &&str| word.strip_suffix(*ending).is_some_and(|stem| has(LATIN_STEMS, stem));
    // A shorter stem makes it a given name, such as Nicola.
    let long_before = |suffix: &str| word.strip_suffix(suffix).is_some_and(|stem| stem.chars().count() >= 3);
    !has(MODERN, word)
        && (has(LATIN_WORDS, word)
            || ["us", "a", "um"].iter().any(stem_in_list)
            || LATIN_SUFFIXES.split_whitespace().any(long_before))
}

/// Words that count as Latin only next to a word that certainly is Latin.
fn may_be_latin(word: &str) -> bool {
    has(MAYBE_LATIN, word) || MAYBE_SUFFIXES.split_whitespace().any(|suffix| word.ends_with(suffix))
}

/// Conjunctions and prepositions of the languages in the registry.
const SMALL_WORDS: &str = "\
    about after against among and as at before between but by down for from in into n near nor of off on \
    onto or out over per since so than through to under until up upon via with within without yet au aux \
    avec chez d dans de des du en et mais ou par pour sans sous sur à a al ao com con da dal das dei del \
    della delle di do dos e ed em entre na nas no nos o para por sem sin sobre u y aan am an auf aus bei \
    bij für im met mit nach oder ohne op te ten ter uit um und unter van vom von voor vor zu zum zur atau \
    dan dari ke aur ka ki";
const ARTICLES: &str = "the la le les las los el il lo gli os der die das den dem het t";
const SUPERLATIVES: &str = "\
    best biggest boldest bravest brightest choicest cleanest creamiest darkest deepest earliest easiest \
    fairest fastest fattest finest firmest freshest fullest grandest greatest happiest hardest hardiest \
    healthiest heaviest highest hottest juiciest keenest largest latest lightest longest loveliest \
    meatiest mightiest mildest most neatest newest nicest noblest oldest plumpest prettiest proudest \
    purest quickest rarest reddest richest ripest roundest safest silkiest smoothest softest spiciest \
    strongest sturdiest sunniest sweetest tallest tangiest tastiest tenderest toughest truest warmest \
    whitest yellowest";
const FOREIGN_BEST: &str = "beste bester bestes meilleur meilleure mejor melhor migliore terbaik";
const FORBIDDEN: &str = "\
    variety varieties var. form forms cross crosses hybrid hybrids grex grexes group groups maintenance \
    mutant mutants seedling seedlings plant plants selection selections sport sports strain strains genus \
    genera improved transformed changed";
const FORBIDDEN_FROM_MEMORY: &str = "cultivar cultivars cv. series";

/// Latin phrases in common use outside Latin (Art. 21.12; three examples from AHS16, and one of our own).
const LATIN_PHRASES: &[&str] = &["corpus christi", "habeas corpus", "non sequitur", "magna carta"];
/// Declined Latin forms that are words of modern languages.
const MODERN: &str = "album magnum magnus maximum maximus minimum pendulum";
/// Stems of botanical adjectives with the endings -us, -a and -um.
const LATIN_STEMS: &str = "\
    acid acuminat alat alb albomarginat albovariegat ambigu amoen arabic arbore argente armeniac asiatic \
    aurantiac aure aureomarginat aureovariegat auriculat caerule californic carne carolinian caudat \
    coccine compact conic cordat crispat dentat domestic elat erect europae excels fastigiat floridan \
    fruticos fulv germanic gigante glabr glauc globos hirsut hispanic hybrid incarnat indic italic \
    japonic javanic lanceolat longissim lucid lute maculat magn malabaric marginat marilandic maxim minim \
    moschat nigr nitid oblong obtus odorat ornat ovat pendul persic pulchr pulcherrim punctat purpure \
    pyriform reticulat robust rose rubr sanguine sativ serotin serrat sibiric speciosissim spicat spinos \
    stellat striat sumatran superb taiwanic tomentos trifoliat undulat variegat venust virginian";
/// Botanical epithets of other declensions.
const LATIN_WORDS: &str = "\
    aestivalis amabilis australis autumnalis canescens columnaris communis dulcis edulis elegans fertilis \
    fragrans gracilis grandis horizontalis humilis imperialis insignis mirabilis mitis nobilis \
    occidentalis officinalis orientalis praecox procumbens pubescens purpurascens pyramidalis regalis \
    repens rubescens scandens semperflorens sempervirens silvestris speciosa speciosum speciosus \
    spectabilis splendens sterilis sylvestris tenuis utilis vernalis virens viridis vulgaris";
const LATIN_SUFFIXES: &str = "ensis oides iflora iflorus iflorum ifolia ifolius ifolium icola";
/// Latin words that are also modern words, names or places.
const MAYBE_LATIN: &str = "\
    africana americana bella borealis citrus flore formosa grata major mangifera mexicana minor montana \
    multiplex nana niger nova persea plena pleno prima prunus regia regina rosa rotunda simplex superior \
    texana vera";
const MAYBE_SUFFIXES: &str = "ata atum osa osum ica icum issima escens iana";

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn refused(name: &str) -> Vec<Rule> {
        check(name).into_iter().filter(|b| b.severe).map(|b| b.rule).collect()
    }
    fn remarks(name: &str) -> Vec<Rule> {
        check(name).into_iter().filter(|b| !b.severe).map(|b| b.rule).collect()
    }
    fn names(list: &str) -> impl Iterator<Item = &str> {
        list.split('|').map(str::trim)
    }

    #[test]
    fn good_names_have_no_breach() {
        let good =
            "Kent | Tommy Atkins | Loderi King George | Cloth of Gold | R2E2 | Ah Ping | Golek | Nicola
            | Madame Francis | Corpus Christi | Habeas Corpus | Non Sequitur | Florida | Alphonsa | Forest
            | Everest | Harvest | West | Crest | Ernest | Priest | Hillside Weeper | Itamaracá | Momi K
            | Santa Alexandrina | Magnus | Coeur d'Or | O'Neal | Growers' Pride | Rock 'n' Roll | Snow-white
            | Wow! | Terra Bella | Album | C.P.B. 4475 | Number 11 | No. 9 | Formal Sporting Planter | d'Arcy
            | Ọba | Magna Carta";
        for name in names(good) {
            assert_eq!(check(name), [], "{name}");
        }
        assert_eq!((refused("J. F. da Silva"), remarks("J. F. da Silva")), (vec![], vec![Rule::WordCount]));
    }

    #[test]
    fn bad_new_names_are_refused() {
        for (list, rule) in [
            ("Apricot Variety | Plants | Kent Var. Red | Improved Alphonso", Rule::ForbiddenWord),
            ("Kent's Cross-Bred | A Sport's Pride", Rule::ForbiddenWord),
            ("Earliest of All | Hollands Best | Best | World-Finest", Rule::Superlative),
            ("7 | 13-1 | 4/9", Rule::OnlyDigits),
            ("K | K.", Rule::SingleLetter),
            ("Indica Magna | Robusta | Alba | Alba Plena | Marilandica | Serotina Erecta", Rule::LatinForm),
            ("Aureomarginata | Elegans | Malayensis | Alba 2", Rule::LatinForm),
            ("kent | Tommy atkins | of Gold | Snow-white and the seven dwarfs", Rule::Capitals),
            ("\"Kent\" | 'Kent' | ‘Kent’ | cv. Kent | cv. 'Kent' | “Kent”", Rule::NoQuotes),
            ("Black & White | Wow!! | Kent (Red) | Kent × Irwin | Kent – Red", Rule::Punctuation),
            ("अल्फांसो | Кент | आम १", Rule::LatinLetters),
            (" - |", Rule::NotEmpty),
        ] {
            for name in names(list) {
                assert_eq!(refused(name), [rule], "{name}");
            }
        }
    }

    #[test]
    fn remarks_do_not_refuse() {
        for (list, rule) in [
            ("Alba Queen", Rule::LatinForm),
            ("Pride of the Lake | ATKINS", Rule::Capitals),
            ("Mejor", Rule::Superlative),
            ("Sunset Series", Rule::ForbiddenWord),
            ("Puʻu Kane", Rule::Punctuation),
            ("Red/Green", Rule::Slash),
            ("ABCDEFGHIJKL9", Rule::CodeLength),
        ] {
            for name in names(list) {
                assert_eq!(refused(name), [], "{name}");
                assert!(remarks(name).contains(&rule), "{name}");
            }
        }
        assert!(!remarks("ABCDEFGHIJ9").contains(&Rule::CodeLength));
    }

    #[test]
    fn old_names_are_kept() {
        for name in names("13-1 | 4/9 | Number 11 | No. 9 | Robusta | Indica Magna | Apricot Variety") {
            let after = accept_historic(check(name));
            assert!(after.len() == check(name).len() && after.iter().all(|breach| !breach.severe), "{name}");
            assert_eq!(accept_historic(after.clone()), after);
        }
    }

    #[test]
    fn thirty_characters_pass_and_thirty_one_do_not() {
        assert_eq!(counted_length("Alampur Baneshan"), 15);
        assert_eq!(counted_length("'Alampur  Baneshan' "), 15);
        assert_eq!(counted_length("Itamaraca\u{301}"), 9);
        assert_eq!(counted_length("Wow, O'Neal!"), 11);
        let word = |n: usize| "A".to_string() + &"b".repeat(n - 1);
        assert_eq!(refused(&word(30)), []);
        assert_eq!(refused(&format!("{} {}", word(14), word(16))), []);
        assert_eq!(refused(&word(31)), [Rule::Length]);
        assert_eq!(refused(&format!("{} {}!", word(14), word(16))), [Rule::Length]);
    }

    #[test]
    fn every_rule_has_text_and_source() {
        assert!(Rule::ALL.iter().all(|rule| rule.text().ends_with('.') && !rule.source().is_empty()));
        assert!(Rule::ALL.is_sorted());
    }

    proptest! {
        #[test]
        fn any_text_is_checked_without_panic_and_always_alike(text in any::<String>()) {
            let breaches = check(&text);
            prop_assert_eq!(&breaches, &check(&text));
            prop_assert!(breaches.windows(2).all(|w| w[0].rule < w[1].rule));
            prop_assert!(breaches.iter().all(|b| !b.message.is_empty() && b.message.chars().count() < 1000));
            prop_assert!(accept_historic(breaches).iter().all(|b| !b.severe));
        }
        #[test]
        fn quotes_and_spaces_are_not_counted(name in "[D-Z][a-z0-9,.-]{0,20}( [A-Z][a-z]{0,9})?") {
            let bare = counted_length(&name);
            prop_assert_eq!(bare, name.chars().filter(|c| *c != ' ').count());
            prop_assert_eq!(bare, counted_length(&format!(" '{name}' ")));
            prop_assert_eq!(bare, counted_length(&format!("cv. \"{name}\"")));
        }
    }
}
