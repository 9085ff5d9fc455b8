//! Every limit that callers meet, with its reason, in one place. What an operator may tune is in the
//! server's settings instead.

macro_rules! limits {
    ($($(#[$doc:meta])* $name:ident: $ty:ty = $value:expr, $key:literal, $reason:literal;)*) => {
        $( #[doc = $reason] pub const $name: $ty = $value; )*
        /// All of them: name, value, reason.
        pub const ALL: &[(&str, i64, &str)] = &[$(($key, $value as i64, $reason)),*];
    };
}

limits! {
    HANDLE_CHARS_MIN: usize = 3, "handle_chars_min", "Shorter names are hard to tell apart.";
    HANDLE_CHARS_MAX: usize = 32, "handle_chars_max", "A handle fits on a label and in a table.";
    DISPLAY_NAME_CHARS_MAX: usize = 80, "display_name_chars_max", "A name fits one line of a terminal.";
    PASSWORD_CHARS_MIN: usize = 10, "password_chars_min", "Below this a stolen database gives passwords away quickly.";
    PASSWORD_CHARS_MAX: usize = 256, "password_chars_max", "Bounds the work of judging and hashing one.";
    SESSION_LABEL_CHARS_MAX: usize = 60, "session_label_chars_max", "A label, not a letter.";
    INVITATION_NOTE_CHARS_MAX: usize = 200, "invitation_note_chars_max", "A reminder, not a letter.";
    INVITATIONS_OPEN_MAX: i64 = 50, "invitations_open_max", "Nobody needs more open at once; bounds what a stolen account can do.";
    NAME_CHARS_MAX: usize = 100, "name_chars_max", "The longest cultivar names stay far below; bounds the work of matching.";
    SEARCH_TEXT_CHARS_MAX: usize = 200, "search_text_chars_max", "Bounds the work of a text search.";
    SEARCH_WORDS_MAX: usize = 8, "search_words_max", "Each word is one more condition for the database.";
    OFFER_NOTE_CHARS_MAX: usize = 2000, "offer_note_chars_max", "About a page.";
    HEALTH_TEXT_CHARS_MAX: usize = 500, "health_text_chars_max", "A few sentences a field.";
    HEALTH_ENTRIES_MAX: usize = 20, "health_entries_max", "Treatments, tests, papers or places of one offer.";
    PLACE_PART_CHARS_MAX: usize = 60, "place_part_chars_max", "A county or an area within it, not an address.";
    PLACE_LABEL_CHARS_MAX: usize = 80, "place_label_chars_max", "A district, not an address.";
    OFFER_QUANTITY_MAX: i32 = 10_000, "offer_quantity_max", "A hobby grower's surplus; larger lots are trade.";
    OFFER_WINDOW_DAYS_MAX: i64 = 366, "offer_window_days_max", "Material is alive: post it again next season.";
    OFFERS_OPEN_MAX: i64 = 200, "offers_open_max", "Open offers of one account; keeps searches useful.";
    SEARCH_KM_MAX: i32 = 20_000, "search_km_max", "Half the way around the earth.";
    CHOICES_MAX: usize = 32, "choices_max", "More choices than any list of them has.";
    FIELD_ERRORS_MAX: usize = 50, "field_errors_max", "Nobody corrects more at once; bounds the size of an error.";
    HEALTH_TEXT_TOTAL_MAX: usize = 6000, "health_text_total_max", "All texts of a health statement together; a page of offers stays below what clients take.";
    PASSWORD_JUDGED_CHARS: usize = 40, "password_judged_chars", "What is longer is not judged further: the estimate's work grows fast.";
    PAGE_SIZE_USUAL: usize = 20, "page_size_usual", "Fits a screen.";
    PAGE_SIZE_MAX: usize = 100, "page_size_max", "Bounds the work and the memory of one reply.";
    MATCHES_MAX: usize = 50, "matches_max", "Beyond these a name match is noise.";
    OBSERVED_TOGETHER_MAX: usize = 20, "observed_together_max", "One visit to one tree; more is an import.";
    CALENDAR_CULTIVARS_MAX: usize = 50, "calendar_cultivars_max", "Rows of one calendar; more fit no screen.";
    FILLERS_MAX: usize = 10, "fillers_max", "Cultivars suggested for the gaps of a calendar.";
    FILLERS_LOOKED_AT: usize = 200, "fillers_looked_at", "Cultivars on offer whose season near a place is worked out for one calendar.";
    OFFER_PAGES_LOOKED_AT: usize = 10, "offer_pages_looked_at", "Pages of offers behind one calendar; the nearest thousand.";
    PLANTS_WANTED_MAX: u32 = 500, "plants_wanted_max", "True plants of one sowing; more is a nursery's planning.";
    BLOCKED_MAX: usize = 200, "blocked_max", "People whom one account blocks; more is a case for a steward.";
    CLAIMS_OPEN_MAX: i64 = 60, "claims_open_max", "Open claims of one account: one season's wishes.";
    CLAIM_NOTE_CHARS_MAX: usize = 500, "claim_note_chars_max", "A few sentences to the other side.";
    CONTACT_CHARS_MAX: usize = 200, "contact_chars_max", "A telephone number, an address of mail, a place to meet.";
    CLAIM_WAITS_DAYS: i64 = 30, "claim_waits_days", "A claim that nobody answers lapses, so that nobody waits for ever.";
    CLAIM_HAND_OVER_DAYS: i64 = 21, "claim_hand_over_days", "A promise that nobody fetches lapses, so that others can have it.";
    CLAIMS_MOVED_UP_MAX: u64 = 100, "claims_moved_up_max", "Waiting claims looked at when something is left again.";
    CLAIMS_LAPSED_TOGETHER: u64 = 200, "claims_lapsed_together", "Claims that lapse in one transaction.";
    LOTS_MAX: i64 = 20_000, "lots_max", "Lots of one account; a lifetime of tags.";
    LOT_TEXT_CHARS_MAX: usize = 500, "lot_text_chars_max", "Where a lot came from, a few sentences.";
    LOT_ORIGINS_MAX: usize = 8, "lot_origins_max", "Lots that one lot is made of: a rootstock and the scions of a family tree.";
    LOT_TESTS_MAX: u64 = 100, "lot_tests_max", "Tests of one lot.";
    TEST_LATENCY_DAYS_MAX: i64 = 3_650, "test_latency_days_max", "No pathogen hides longer from a test.";
    TRACE_SHOWN_MAX: usize = 2_000, "trace_shown_max", "Lots of one trace shown at once; more is a recall report.";
    TRACE_LOTS_MAX: usize = 500_000, "trace_lots_max", "Lots that one trace may visit; they are held in memory.";
    WOKEN_HELD: usize = 4_096, "woken_held", "Inboxes that changed while a watcher looked elsewhere; one that missed more looks anyway.";
    WATCHES_EACH_MAX: usize = 5, "watches_each_max", "Inboxes watched at once by one account; each holds a stream open.";
    NOTICES_KEPT_DAYS: i64 = 180, "notices_kept_days", "Notices that were read are forgotten after half a year.";
    ALERTS_OPEN_MAX: i64 = 20, "alerts_open_max", "Open alerts raised by one account.";
    CLUB_NAME_CHARS_MAX: usize = 80, "club_name_chars_max", "A name fits a line.";
    CLUB_ABOUT_CHARS_MAX: usize = 2000, "club_about_chars_max", "About a page.";
    CLUBS_ORGANISED_MAX: usize = 10, "clubs_organised_max", "Clubs that one account arranges; more is nobody's hobby.";
    CLUB_MEMBERS_MAX: u64 = 20_000, "club_members_max", "Members of one club; the largest round that is measured has half as many.";
    CLUB_HELPED_MAX: u64 = 200, "club_helped_max", "Members of one club who have no computer; each is entered by hand.";
    LOT_LINKS_MAX: usize = 500, "lot_links_max", "Lots that one lot came from or was touched by; more grafts than a tree has branches.";
    LINEAGE_ABOVE_MAX: usize = 20_000, "lineage_above_max", "Lots above one lot that are looked through for alerts; one that has more is refused.";
    CLUB_ORGANISERS_TOLD: u64 = 20, "club_organisers_told", "Organisers who are told that somebody asks to join.";
    WANTS_OPEN_MAX: i64 = 50, "wants_open_max", "Open wants of one account; more is a shopping list of a nursery.";
    WANT_DAYS_MAX: i64 = 400, "want_days_max", "A season and some; then seek again.";
    WANTS_LOOKED_AT: u64 = 500, "wants_looked_at", "Wants, or offers, read at once while they are matched.";
    WANT_OFFERS_TOLD: usize = 10, "want_offers_told", "Offers told at once for a new want, the nearest first; others are found by a search.";
    RULE_FILE_BYTES_MAX: usize = 3 << 20, "rule_file_bytes_max", "A file of ten thousand rules with their words.";
    PLANS_MAX: i64 = 100, "plans_max", "Plans of one account; a hobby grower's trees.";
    PLAN_STEPS_MAX: usize = 80, "plan_steps_max", "Steps of one plan, own ones counted in; more is a diary.";
    PLAN_TEXT_TOTAL_MAX: usize = 20_000, "plan_text_total_max", "All of a grower's own words in one plan, characters.";
    PLAN_TITLE_CHARS_MAX: usize = 80, "plan_title_chars_max", "A title fits a line of a calendar.";
    PLAN_NOTE_CHARS_MAX: usize = 1000, "plan_note_chars_max", "About half a page.";
    GRAFTS_TOGETHER_MAX: u32 = 1_000, "grafts_together_max", "Grafts of one day by one hand; more is a nursery's.";
    GRAFT_ENTRIES_MAX: i64 = 5_000, "graft_entries_max", "Entries in one account's grafting log; a lifetime of weekends.";
    GRAFT_TEXT_CHARS_MAX: usize = 120, "graft_text_chars_max", "Which tree and which rootstock it was, not their story.";
    MARKERS_MAX: u32 = 100, "markers_max", "Marker loci of one test; beyond twenty nothing changes.";
    MEASURE_MAX: f64 = 1e9, "measure_max", "A thousand tonnes in grams; beyond it is a slip of the keyboard.";
    EVIDENCE_YEAR_MIN: i32 = 1700, "evidence_year_min", "Older observations are publications.";
    EVIDENCE_TEXT_CHARS_MAX: usize = 500, "evidence_text_chars_max", "A statement of a few sentences.";
    EVIDENCE_NOTE_CHARS_MAX: usize = 1000, "evidence_note_chars_max", "Half a page beside one observation.";
    TREE_CHARS_MAX: usize = 120, "tree_chars_max", "Which tree it was, not its story.";
    CITATION_CHARS_MIN: usize = 8, "citation_chars_min", "Author, year and title need more; shorter ones cannot be looked up.";
    CITATION_CHARS_MAX: usize = 500, "citation_chars_max", "The longest citations stay below.";
    REASON_CHARS_MIN: usize = 3, "reason_chars_min", "A reason that others can follow.";
    REASON_CHARS_MAX: usize = 1000, "reason_chars_max", "About half a page.";
    ORIGIN_CHARS_MAX: usize = 300, "origin_chars_max", "Where a cultivar comes from, in a few sentences.";
    RECORD_NOTES_CHARS_MAX: usize = 2000, "record_notes_chars_max", "About a page.";
    RECORD_NAMES_MAX: usize = 60, "record_names_max", "More names than any cultivar has; keeps a record readable.";
    PROPOSALS_OPEN_MAX: i64 = 50, "proposals_open_max", "Open proposals of one account; keeps the curators' queue useful.";
    EVIDENCE_DAILY_MAX: i64 = 2_000, "evidence_daily_max", "Pieces that one account enters in a day by hand; imports have their own limit.";
    CHECKS_DAILY_MAX: i64 = 300, "checks_daily_max", "Pieces that one account can have looked at in a day.";
    IMPORT_BYTES_MAX: usize = 64 << 20, "import_bytes_max", "All rows of one import together, as they came; they are held in memory.";
    IMPORT_DAILY_MAX: u64 = 300_000, "import_daily_max", "Pieces that one account enters in a day, imports and all.";
    IMPORT_WRONG_MAX: usize = 5_000, "import_wrong_max", "With more wrong rows than this something else is wrong: the check stops.";
    IMPORTS_AT_ONCE: usize = 2, "imports_at_once", "Each holds its rows in memory and keeps the writer busy.";
    EXPORTS_AT_ONCE: usize = 4, "exports_at_once", "Each holds a thread and a view of the registry while its reader reads.";
    EXPORT_WAIT_SECONDS: u64 = 5, "export_wait_seconds", "An export waits so long for a place; then it is told to come again.";
    EXPORT_STALL_SECONDS: u64 = 30, "export_stall_seconds", "A reader of an export who takes nothing for so long has gone.";
    FINDING_PIECES_SHOWN: usize = 40, "finding_pieces_shown", "Pieces shown within a finding; all of them are listed page by page.";
    IMPORT_ROWS_MAX: usize = 100_000, "import_rows_max", "Rows of one import; they are held in memory and, all or nothing, in one transaction.";
    IMPORT_BATCH_ROWS: usize = 2_000, "import_batch_rows", "Rows written together where the good ones are kept: short enough to let other writers in between.";
    IMPORT_ERRORS_MAX: usize = 200, "import_errors_max", "Wrong rows told one by one; beyond these something else is wrong.";
    IMPORT_SECONDS_MAX: u64 = 600, "import_seconds_max", "An import that takes longer is cut; what was kept stays.";
    SOWINGS_OPEN_MAX: i64 = 200, "sowings_open_max", "Open sowings of one account.";
    SOWN_SEEDS_MAX: u32 = 1_000_000, "sown_seeds_max", "Beyond it is a slip of the keyboard.";
    SPLIT_EVIDENCE_MAX: usize = 2_000, "split_evidence_max", "Pieces that a split moves at once.";
    TICKETS_OPEN_MAX: i64 = 20, "tickets_open_max", "Open complaints of one account.";
    IDEMPOTENCY_KEY_CHARS_MIN: usize = 16, "idempotency_key_chars_min", "Shorter keys meet by chance.";
    IDEMPOTENCY_KEY_CHARS_MAX: usize = 64, "idempotency_key_chars_max", "Room for a UUID or a hash.";
    IDEMPOTENCY_KEPT_DAYS: i64 = 7, "idempotency_kept_days", "Longer than any sensible retry.";
}

const _: () = {
    assert!(HANDLE_CHARS_MIN < HANDLE_CHARS_MAX);
    assert!(PASSWORD_CHARS_MIN < PASSWORD_CHARS_MAX);
    assert!(PAGE_SIZE_USUAL <= PAGE_SIZE_MAX);
    assert!(IDEMPOTENCY_KEY_CHARS_MIN < IDEMPOTENCY_KEY_CHARS_MAX);
};
