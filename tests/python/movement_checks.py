"""Small hand-made cases for the movement evaluator: `movement.py --self-check`.

One group of cases for each rule of section 4.1 of the model, and one for the
rest of the paper's section 4.
"""

import copy
import random

import movement
import movement_cases

TAXA = [
    {"name": "Citrus sinensis", "within": "Citrus", "parent": False},
    {"name": "Calamondin", "within": "Citrus", "parent": True},
    {"name": "Calamondin", "within": "Fortunella", "parent": True},
    {"name": "Calamansi", "within": "Calamondin", "parent": False},
]


class Check:
    """Counts cases that do not come out as the paper says."""

    def __init__(self):
        self.cases, self.failures = 0, 0

    def same(self, what, found, expected):
        """Compare one outcome with the one expected."""
        self.cases += 1
        if found != expected:
            self.failures += 1
            print(f"FAILED {what}: found {found!r}, expected {expected!r}")


def rule(rule_id, start, end, verdict="prohibited", **more):
    """A rule row with common values."""
    row = {
        "id": rule_id,
        "version": "1",
        "kind": "rule",
        "hosts": ["*"],
        "parts": ["scion"],
        "from": start,
        "to": end,
        "verdict": verdict,
        "effective_from": None,
        "effective_to": None,
        "excepts": None,
        "open_to": None,
        "void_if": [],
        "most": None,
        "on_the_way": False,
    }
    return {**row, **more}


def relief(rule_id, base, start, end, **more):
    """An exception open to anyone that sets conditions."""
    return rule(
        rule_id, start, end, "conditions", **{"excepts": base, "open_to": "anyone", **more}
    )


def ask(rules, members=(), aliases=(), **changes):
    """The answer to one question; changes are fields of the question."""
    names = ("area", "place", "from", "to")
    world = {
        "places": {
            "members": [
                dict(zip(names, (*row, None, None)[:4], strict=True)) for row in members
            ],
            "aliases": [list(pair) for pair in aliases],
        },
        "taxa": TAXA,
        "rules": rules,
    }
    question = {
        "plants": ["Citrus sinensis"],
        "parts": ["scion"],
        "grown_at": ["XA-A"],
        "to": ["XB-A"],
        "by_way_of": [],
        "dispatch": "2024-05-13",
        "arrival": "2024-05-13",
        "count": None,
        "documents": [],
    }
    return movement.answers(world, [{**question, **changes}])[0]


def brief(reply):
    """Verdict and kept rules of an answer, in short."""
    return reply["verdict"], {k.split()[0]: v for k, v in reply["kept"].items()}


def kept(*args, **changes):
    """Only the kept rules of an answer."""
    return brief(ask(*args, **changes))[1]


# ---------------------------------------------------------------- section 4.1


def check_atoms(check):
    """4.1.1: an exception stays in its atom; every atom has its own verdict."""
    base = rule("B", "XA", "XB")
    opened = relief("E", "B", "XA-A", "XB")
    check.same("replaced", brief(ask([base, opened])), ("conditions", {"E": "sure"}))
    two = ask([base, opened], grown_at=["XA-A", "XA-B"])
    check.same("other origin", brief(two), ("prohibited", {"B": "sure", "E": "sure"}))
    parts = ask([rule("C", "XA", "XB", "conditions")], parts=["scion", "seed"])
    bare = [["seed", "XA-A", "XB-A", "citrus sinensis"]]
    check.same("part left open", (parts["verdict"], parts["open"]), ("conditions", bare))
    base = rule("B", "XA", "XB", hosts=["Fortunella"])
    opened = relief("E", "B", "XA", "XB", hosts=["Citrus"])
    hybrid = ask([base, opened], plants=["Calamansi"])
    expected = ("prohibited", {"B": "sure", "E": "sure"})
    check.same("other parent", brief(hybrid), expected)
    half = ask([rule("C", "XA", "XB", hosts=["Citrus"])], plants=["Calamondin"])
    bare = [["scion", "XA-A", "XB-A", "calamondin"]]
    check.same("one parent open", (half["verdict"], half["open"]), ("prohibited", bare))
    early = relief("E", "B", "XA", "XB", effective_to="2024-05-13")
    days = ask([rule("B", "XA", "XB"), early], arrival="2024-05-15")
    check.same("other day", brief(days), expected)


def check_only_stricter(check):
    """4.1.2: more places, parts or days, or less certain ones, are no milder."""
    rng = random.Random(7)
    for case in movement_cases.generate(600, 7)["worlds"]:
        world = movement.World(case["world"])
        for question in case["questions"]:
            less = movement.answer(world, question)
            wider = copy.deepcopy(question)
            field = rng.choice(("grown_at", "to", "parts", "plants"))
            values = {
                "grown_at": [None, "XA-A", "XB", "XC-C/p"],
                "to": ["XA", "XB-B", "XC-A/p"],
                "parts": list(movement_cases.PARTS),
                "plants": ["Alba", "Mixta", "Ignota"],
            }
            wider[field] = (wider[field] or [None]) + [rng.choice(values[field])]
            more = movement.answer(world, wider)
            check.same(f"milder with more {field}", is_milder(more, less), False)
            missing = [row for row in less["open"] if row not in more["open"]]
            check.same(f"freed by more {field}", missing, [])
            coarse = copy.deepcopy(question)
            for side in ("grown_at", "to"):
                coarse[side] = [place_above(world, place) for place in coarse[side]]
            more = movement.answer(world, coarse)
            check.same("milder when coarser", is_milder(more, less), False)
            coarse["grown_at"] = [None]
            more = movement.answer(world, coarse)
            check.same("milder when not known", is_milder(more, less), False)


def is_milder(one, other):
    """True if one answer's verdict is milder than the other's."""
    rank = movement.VERDICTS.index
    return rank(one["verdict"]) < rank(other["verdict"])


def place_above(world, code):
    """The next place above a code; a country, a bloc and null stay as they are."""
    steps = movement.chain(world.resolve(code))
    return code if len(steps) == 1 else steps[-2]


def check_expressions(check):
    """4.1.3: the narrowest term decides; at the same width exclusion."""

    def holds(start, place, members=()):
        return kept([rule("R", start, "XB")], members, grown_at=[place]).get("R")

    check.same("excluded part", holds("XA|!XA-A", "XA-A"), None)
    check.same("rest of country", holds("XA|!XA-A", "XA-B"), "sure")
    check.same("country in part", holds("XA|!XA-A", "XA"), "unsure")
    check.same("included again", holds("XA|!XA-A|XA-A/p", "XA-A/p"), "sure")
    check.same("included again, coarse", holds("XA|!XA-A|XA-A/p", "XA-A"), "unsure")
    check.same("include in exclusion", holds("!XA|XA-A", "XA-A"), "sure")
    check.same("same width", holds("XA-A|!XA-A", "XA-A"), None)
    check.same("only exclusion", holds("!XA-A", "XA-B"), None)
    check.same("bloc wider", holds("UNION|!XA", "XA-A", [("UNION", "XA")]), None)
    check.same("bloc out", holds("XA|!UNION", "XA-A", [("UNION", "XA")]), "sure")
    check.same("world", holds("WORLD|!XA", "XC"), "sure")
    area = [("RA:K", "XA"), ("RA:K", "XA-A")]
    check.same("area as narrow as member", holds("XA-A|!RA:K", "XA-A", area), None)
    check.same("area as wide as member", holds("XA-B|!RA:K", "XA-B", area), "sure")
    check.same("local part is narrower", holds("XA-A|!XA-A/p", "XA-A/p/f"), None)
    check.same("not known", holds("XA-A", None), "unsure")
    check.same("not known, all", holds("WORLD", None), "sure")

    def between(end, origin, goal):
        return kept([rule("R", "XA", end)], grown_at=[origin], to=[goal]).get("R")

    check.same("same state", between("XA|!SAME-SUBDIV", "XA-A", "XA-A/p"), None)
    check.same("other state", between("XA|!SAME-SUBDIV", "XA-A", "XA-B"), "sure")
    check.same("state unsaid", between("XA|!SAME-SUBDIV", "XA", "XA-B"), "unsure")
    check.same("both unsaid", between("XA|!SAME-SUBDIV", "XA", "XA"), "unsure")
    check.same("same state only", between("SAME-SUBDIV", "XA", "XA"), "unsure")
    check.same("own part", between("XA-A/p|!SAME-SUBDIV", "XA-A", "XA-A/p"), "sure")


def check_same_area(check):
    """4.1.4: SAME-AREA needs both places in one area that `from` names."""
    members = [("RA:K", "XA-A"), ("RA:L", "XB-A"), ("RA:K", "XB-B")]
    out = [rule("R", "RA:K|RA:L", "WORLD|!SAME-AREA")]
    check.same("two areas", kept(out, members), {"R": "sure"})
    check.same("one area", kept(out, members, to=["XB-B"]), {})
    check.same("part of area", kept(out, members, to=["XB"]), {"R": "unsure"})
    other = [rule("R", "RA:L|XA", "WORLD|!SAME-AREA")]
    check.same("area not named", kept(other, members, to=["XB-B"]), {"R": "sure"})
    nested = [("RA:K", "XA-A"), ("RA:L", "RA:K"), ("RA:L", "XB-A")]
    check.same("nested area", kept(out, nested), {})
    narrow = [rule("R", "RA:K", "XB-A/p|!SAME-AREA")]
    wide = [("RA:K", "XA"), ("RA:K", "XB")]
    check.same("wide area", kept(narrow, wide, to=["XB-A/p"]), {"R": "sure"})


def check_unknown_words(check):
    """4.1.5: unknown names and parts of places; aliases hold both ways."""
    rules = [rule("A", "XA", "XB", hosts=["*"]), rule("C", "XA", "XB", hosts=["Citrus"])]
    check.same("unknown plant", kept(rules, plants=["Ignota"]), {"A": "sure"})
    check.same("small letters", kept(rules, plants=["CITRUS"]), {"A": "sure", "C": "sure"})
    species = [rule("S", "XA", "XB", hosts=["Citrus sinensis"])]
    check.same("coarse plant", kept(species, plants=["Citrus"]), {"S": "unsure"})
    local = [rule("P", "XA-A/p", "XB"), rule("A", "XA-A", "XB"), rule("B", "XA-B", "XB")]
    expected = {"P": "unsure", "A": "sure"}
    check.same("unknown part", kept(local, grown_at=["XA-A/x/y"]), expected)
    expected = {"P": "unsure", "A": "unsure", "B": "unsure"}
    check.same("unknown part of country", kept(local, grown_at=["XA/x"]), expected)
    alias = [("XD", "XA-A")]
    check.same("alias asked", kept(local[:2], (), alias, grown_at=["XD/p"]),
               {"P": "sure", "A": "sure"})
    further = [rule("R", "XD/p", "XB")]
    check.same("alias in rule", kept(further, (), alias, grown_at=["XA-A/p"]), {"R": "sure"})
    listed = ask(further, (), alias, grown_at=["XD"], parts=["seed"])
    check.same("as looked at", listed["open"], [["seed", "XA-A", "XB-A", "citrus sinensis"]])


def check_area_days(check):
    """4.1.6: areas have days, origins unknown or not."""
    members = [("RA:K", "XA-A", "2024-05-14", None)]
    rules = [rule("R", "RA:K", "XB"), rule("Z", "RA:Z", "XB")]
    check.same("before", kept(rules, members), {})
    check.same("arrival", kept(rules, members, arrival="2024-05-14"), {"R": "sure"})
    check.same("before, not known", kept(rules, members, grown_at=[]), {})
    later = kept(rules, members, grown_at=[None], arrival="2024-05-14")
    check.same("arrival, not known", later, {"R": "unsure"})
    bloc = [("UNION", "XA", None, "2024-05-12"), ("UNION", "XC", None, None)]
    check.same("bloc", kept([rule("R", "XC", "XB")], bloc, grown_at=["UNION"]), {"R": "sure"})


def check_whom_to_ask(check):
    """4.1.7: whom to ask is no part of a rule's answer."""
    found = sorted(ask([rule("R", "XA", "XB")]))
    expected = ["could_change", "kept", "open", "stubs", "unverified", "verdict"]
    check.same("fields of an answer", found, expected)


def check_generator(check):
    """4.1.8: the random cases are the same each time and as many as asked."""
    cases = movement_cases.generate(57, 3)
    check.same("same cases", cases == movement_cases.generate(57, 3), True)
    check.same("count", sum(len(case["questions"]) for case in cases["worlds"]), 57)
    for case in cases["worlds"]:
        rows = case["world"]["rules"]
        names = {row["id"] for row in rows}
        bases = {row["excepts"] for row in rows if row["excepts"]}
        check.same("bases of the same world", bases <= names, True)
        keys = {(row["id"], row["version"]) for row in rows}
        check.same("versions", len(keys), len(rows))


# ---------------------------------------------------------------- section 4


def check_exceptions(check):
    """Sections 4.2 and 4.3: open, shut and uncertain exceptions."""
    base = rule("B", "XA", "XB")
    shut = relief("E", "B", "XA", "XB", open_to="permit_only")
    reply = ask([base, shut])
    check.same("not open", (brief(reply), reply["could_change"]),
               (("prohibited", {"B": "sure"}), {"E 1": "sure"}))
    check.same("no base", ask([shut])["could_change"], {})

    def paper(valid_to):
        documents = [{"opens": "E", "valid_to": valid_to}]
        return kept([base, shut], documents=documents, arrival="2024-05-15")

    check.same("document", paper(None), {"E": "sure"})
    check.same("document to arrival", paper("2024-05-15"), {"E": "sure"})
    check.same("document over", paper("2024-05-14"), {"B": "sure"})
    small = relief("E", "B", "XA", "XB", most=5)
    check.same("count within", kept([base, small], count=5), {"E": "sure"})
    check.same("count above", kept([base, small], count=6), {"B": "sure"})
    check.same("count unsaid", kept([base, small]), {"B": "sure", "E": "unsure"})
    void = relief("E", "B", "XA", "XB", void_if=["V"])
    stub = rule("V", "XA-A", "XB", kind="stub")
    check.same("void", kept([base, void, stub]), {"B": "sure"})
    check.same("not void", kept([base, void, stub], grown_at=["XA-B"]), {"E": "sure"})
    unsure = kept([base, void, stub], grown_at=["XA"])
    check.same("possibly void", unsure, {"B": "sure", "E": "unsure"})
    vague = relief("E", "B", "XA", "XB", kind="unverified")
    reply = ask([base, vague])
    check.same("unverified replaces nothing", brief(reply), ("prohibited", {"B": "sure"}))
    check.same("unverified listed", reply["unverified"], {"E 1": "sure"})
    reply = ask([stub])
    check.same("stub", (reply["verdict"], reply["stubs"]), ("none", {"V 1": "sure"}))
    check.same("stub leaves open", len(reply["open"]), 1)
    second = relief("F", "E", "XA", "XB")
    chain = [base, relief("E", "B", "XA", "XB"), second]
    check.same("exception of an exception", kept(chain), {"F": "sure"})
    way = [rule("R", "XA", "XC", on_the_way=True), rule("S", "XA", "XC")]
    check.same("on the way", kept(way, by_way_of=["XC-A"]), {"R": "sure"})
    strict = [rule("A", "XA", "XB", "conditions"), rule("D", "XA", "XB", "document")]
    check.same("strictest", ask(strict)["verdict"], "document")
    ends = [rule("R", "XA", "XB", effective_to="2024-05-12")]
    check.same("over", kept(ends), {})


def run():
    """Run all groups; return the exit status."""
    check = Check()
    for group in (
        check_atoms,
        check_only_stricter,
        check_expressions,
        check_same_area,
        check_unknown_words,
        check_area_days,
        check_whom_to_ask,
        check_generator,
        check_exceptions,
    ):
        group(check)
    print(f"{check.cases} cases, {check.failures} failed")
    return 1 if check.failures else 0
