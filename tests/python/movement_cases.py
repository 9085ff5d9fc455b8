"""Random worlds and questions for the movement evaluator.

`generate(count, seed)` is what `movement.py --generate` prints.
"""

import copy
import random

import movement

COUNTRIES = ("XA", "XB", "XC")
PARTS = ("scion", "plant", "seed", "fruit", "leaf")
DAYS = (
    "2024-03-01",
    "2024-03-10",
    "2024-03-20",
    "2024-04-01",
    "2024-04-02",
    "2024-04-15",
    "2024-05-01",
)
OPEN_TO = ("anyone", "registered_operator", "permit_only", "research_only")
QUESTIONS_PER_WORLD = 20


def next_day(day):
    """The day after one of DAYS (none of them is the last of its month)."""
    return f"{day[:8]}{int(day[8:]) + 1:02d}"


# ---------------------------------------------------------------- the generator


class Maker:
    """Makes one random world and questions about it."""

    def __init__(self, rng):
        self.rng = rng
        self.subdivisions = [
            f"{country}-{letter}"
            for country in COUNTRIES
            for letter in "ABC"[: rng.randint(2, 3)]
        ]
        self.locals = []
        for place in self.subdivisions:
            if self.chance(0.4):
                self.locals.append(place + "/p")
                if self.chance(0.5):
                    self.locals.append(place + "/q")
                if self.chance(0.3):
                    self.locals.append(place + "/p/f")
        if self.chance(0.5):
            self.locals.append(rng.choice(COUNTRIES) + "/n")
        self.blocs = ["BLOCK", "UNION"][: rng.randint(1, 2)]
        self.areas = [f"RA:{letter}" for letter in "KLMN"[: rng.randint(2, 4)]]
        self.aliases = self.make_aliases()
        self.taxa, self.names = self.make_taxa()
        self.members = self.make_members()
        self.rules = self.make_rules()

    def chance(self, share):
        """True in about this share of the calls."""
        return self.rng.random() < share

    def some(self, values, least, most):
        """A few different values, in random order."""
        values = list(values)
        most = min(most, len(values))
        return self.rng.sample(values, self.rng.randint(min(least, most), most))

    # ------------------------------------------------------------ places

    def make_aliases(self):
        """Further codes of places."""
        found = []
        if self.chance(0.6):
            found.append(["XD", self.rng.choice(self.subdivisions)])
        if self.chance(0.3):
            found.append(["XE", self.rng.choice(COUNTRIES)])
        if self.locals and self.chance(0.3):
            code = self.rng.choice(self.locals)
            found.append([code.rsplit("/", 1)[0] + "/z", code])
        return found

    def place(self):
        """A place of the tree, sometimes by a further code."""
        draw = self.rng.random()
        if draw < 0.12 and self.aliases:
            further, code = self.rng.choice(self.aliases)
            below = [p[len(code):] for p in self.locals if p.startswith(code + "/")]
            if below and self.chance(0.5):
                return further + self.rng.choice(below)
            return further
        if draw < 0.30 and self.locals:
            return self.rng.choice(self.locals)
        if draw < 0.75:
            return self.rng.choice(self.subdivisions)
        return self.rng.choice(COUNTRIES)

    def make_members(self):
        """Members of blocs and areas; the last area has none."""
        rows = []
        for number, bloc in enumerate(self.blocs):
            for place in self.some(COUNTRIES, 1, 2):
                rows.append(member(bloc, place))
            if number and self.chance(0.5):
                rows.append(member(bloc, self.blocs[0]))
            if self.chance(0.4):
                rows.append(member(bloc, self.place(), *self.span()))
        for number, area in enumerate(self.areas[:-1]):
            for _ in range(self.rng.randint(1, 3)):
                rows.append(member(area, self.place(), *self.span()))
            if number and self.chance(0.6):
                rows.append(
                    member(area, self.rng.choice(self.areas[:number]), *self.span())
                )
            if self.chance(0.15):
                rows.append(member(area, self.rng.choice(self.blocs), *self.span()))
        return rows

    def span(self):
        """Two days in order, each often left open."""
        first, last = sorted(self.rng.sample(DAYS, 2))
        return (
            first if self.chance(0.35) else None,
            last if self.chance(0.25) else None,
        )

    # ------------------------------------------------------------ plants

    def make_taxa(self):
        """A small tree of names with hybrids and a hybrid's synonym."""
        rows = []

        def put(name, within, parent=False):
            rows.append({"name": name, "within": within, "parent": parent})

        genera = ["Alba", "Bruna", "Clara"][: self.rng.randint(2, 3)]
        families = ["Primaceae", "Secundaceae"]
        for genus in genera:
            put(genus, self.rng.choice(families))
        species = []
        for genus in genera:
            for word in self.some(["minor", "major"], 1, 2):
                put(f"{genus} {word}", genus)
                species.append(f"{genus} {word}")
        if self.chance(0.5):
            put("Silver apple", self.rng.choice(species))
        for parent in self.some(genera + species, 2, 2):
            put("Mixta", parent, True)
        if self.chance(0.4):
            put("Mixta", self.rng.choice(families))
        if self.chance(0.7):
            put("Golden pear", "Mixta")
        if self.chance(0.4):
            put("Mixta nova", "Mixta")
        if self.chance(0.4):
            put("Trina", "Mixta", True)
            put("Trina", self.rng.choice(genera), True)
        self.rng.shuffle(rows)
        names = sorted({r["name"] for r in rows} | {r["within"] for r in rows})
        return rows, names

    # ------------------------------------------------------------ rules

    def include(self):
        """A term that a place expression includes."""
        draw = self.rng.random()
        if draw < 0.18:
            return "WORLD"
        if draw < 0.32:
            return self.rng.choice(self.blocs)
        if draw < 0.52:
            return self.rng.choice(self.areas)
        if draw < 0.80:
            return self.rng.choice(COUNTRIES)
        return self.place()

    def exclude(self, terms):
        """A term to leave out, mostly within the terms included."""
        first = terms[0]
        inside = [p for p in self.subdivisions + self.locals if p.startswith(first)]
        inside = [p for p in inside if p != first]
        if inside and self.chance(0.8):
            return self.rng.choice(inside)
        draw = self.rng.random()
        if draw < 0.35:
            return self.rng.choice(self.areas)
        if draw < 0.5:
            return self.rng.choice(self.blocs)
        return self.place()

    def expression(self):
        """A place expression without relations, as a list of terms."""
        terms = [self.include() for _ in range(self.rng.choice((1, 1, 1, 2)))]
        if self.chance(0.4):
            out = self.exclude(terms)
            terms.append("!" + out)
            inside = [p for p in self.locals if p.startswith(out + "/")]
            if inside and self.chance(0.5):
                terms.append(self.rng.choice(inside))
        return terms

    def from_and_to(self):
        """The two place expressions of a rule."""
        start, end = self.expression(), self.expression()
        draw = self.rng.random()
        if draw < 0.18:
            if self.chance(0.7):
                start.append(self.rng.choice(self.areas))
            end.append(self.rng.choice(("!SAME-AREA", "!SAME-AREA", "SAME-AREA")))
        elif draw < 0.38:
            end.append(self.rng.choice(("!SAME-SUBDIV", "!SAME-SUBDIV", "SAME-SUBDIV")))
        elif draw < 0.42:
            end = [self.rng.choice(("SAME-SUBDIV", "SAME-AREA"))]
        return "|".join(start), "|".join(end)

    def hosts(self):
        """The hosts of a rule."""
        if self.chance(0.3):
            return ["*"]
        found = self.some(self.names, 1, 4)
        if self.chance(0.05):
            found.append("Sola rule")
        return found

    def make_rules(self):
        """Three to twelve rule versions; an exception names an earlier id."""
        wanted = self.rng.randint(3, 12)
        rows, depth = [], {}
        while len(rows) < wanted:
            rule_id = f"R{len(depth) + 1:02d}"
            bases = [known for known in depth if depth[known] < 2]
            base = None
            if bases and self.chance(0.4):
                base = self.rng.choice(bases)
            depth[rule_id] = depth[base] + 1 if base else 0
            rows.extend(self.versions(rule_id, base, rows, wanted - len(rows)))
        known = sorted(depth)
        for row in rows:
            if row["excepts"] and self.chance(0.4):
                others = [k for k in known if k not in (row["id"], row["excepts"])]
                row["void_if"] = sorted(self.some(others, 1, 2))
        self.rng.shuffle(rows)
        return rows

    def versions(self, rule_id, base, rows, room):
        """One rule's versions, which never overlap in time."""
        row = self.new_rule(rule_id, base, rows)
        if room < 2 or not self.chance(0.25):
            row["effective_from"], row["effective_to"] = self.span()
            return [row]
        later = copy.deepcopy(row)
        later["version"] = "2"
        if self.chance(0.7):
            later["verdict"] = self.verdict()
        if self.chance(0.5):
            later["from"], later["to"] = self.from_and_to()
        turn = self.rng.choice(DAYS)
        row["effective_to"] = turn
        later["effective_from"] = next_day(turn)
        return [row, later]

    def verdict(self):
        """A verdict; "none" is rare in a rule."""
        return self.rng.choices(movement.VERDICTS, (1, 6, 6, 6))[0]

    def new_rule(self, rule_id, base, rows):
        """A rule row without days.  An exception mostly resembles its base."""
        start, end = self.from_and_to()
        row = {
            "id": rule_id,
            "version": "1",
            "kind": self.rng.choices(("rule", "stub", "unverified"), (84, 8, 8))[0],
            "hosts": self.hosts(),
            "parts": self.some(PARTS, 2, 4),
            "from": start,
            "to": end,
            "verdict": self.verdict(),
            "effective_from": None,
            "effective_to": None,
            "excepts": base,
            "open_to": None,
            "void_if": [],
            "most": self.rng.choice((5, 10, 50)) if self.chance(0.15) else None,
            "on_the_way": self.chance(0.15),
        }
        if base:
            row["open_to"] = self.rng.choices(OPEN_TO, (6, 2, 2, 1))[0]
            if self.chance(0.05):
                row["open_to"] = None
            model = next(other for other in rows if other["id"] == base)
            for field in ("hosts", "parts", "from", "to"):
                if self.chance(0.75):
                    row[field] = copy.copy(model[field])
        return row

    # ------------------------------------------------------------ questions

    def stated_place(self):
        """A place as a question states it."""
        draw = self.rng.random()
        if draw < 0.07:
            return self.rng.choice(self.blocs)
        if draw < 0.14:
            return self.rng.choice(self.subdivisions) + self.rng.choice(("/u", "/p/u"))
        if draw < 0.17:
            return self.rng.choice(COUNTRIES) + "/u"
        return self.place()

    def plant(self):
        """A plant as a question names it."""
        if self.chance(0.06):
            return "Ignota"
        name = self.rng.choice(self.names)
        return name.lower() if self.chance(0.3) else name

    def question(self):
        """One question, mostly aimed at one of the rules."""
        asked = self.aimless_question()
        if self.chance(0.25):
            return asked
        exceptions = [row for row in self.rules if row["excepts"]]
        rules = exceptions if exceptions and self.chance(0.6) else self.rules
        row = self.rng.choice(rules)
        if self.chance(0.9):
            asked["parts"][0] = self.rng.choice(row["parts"])
            asked["parts"] = list(dict.fromkeys(asked["parts"]))
        host = self.rng.choice(row["hosts"])
        if host != "*" and self.chance(0.8):
            below = [r["name"] for r in self.taxa if r["within"] == host]
            asked["plants"][0] = self.rng.choice([host, *below])
        if asked["grown_at"] and self.chance(0.75):
            asked["grown_at"][0] = self.place_within(row["from"])
        if self.chance(0.75):
            asked["to"][0] = self.place_within(row["to"])
        if row["on_the_way"] and self.chance(0.6):
            asked["by_way_of"] = [self.place_within(row["to"])]
        if row["most"] and self.chance(0.6):
            asked["count"] = row["most"] + self.rng.choice((-1, 0, 0, 1))
        if row["excepts"] and self.chance(0.4):
            valid_to = self.rng.choice((None, asked["arrival"], *DAYS))
            asked["documents"].append({"opens": row["id"], "valid_to": valid_to})
        return asked

    def place_within(self, expression):
        """A place likely to lie in a place expression."""
        words = [word for word in expression.split("|") if word[0] != "!"]
        term = self.rng.choice(words)
        for _ in range(3):
            inside = [row["place"] for row in self.members if row["area"] == term]
            if not inside:
                break
            term = self.rng.choice(inside)
        if term == "WORLD" or term.startswith(("RA:", "SAME-")):
            return self.stated_place()
        below = [p for p in self.subdivisions + self.locals if p.startswith(term)]
        return self.rng.choice(below) if below and self.chance(0.7) else term

    def aimless_question(self):
        """One question drawn without a look at the rules."""
        origins = [
            None if self.chance(0.1) else self.stated_place()
            for _ in range(self.rng.choice((1, 1, 1, 2, 2, 3)))
        ]
        if self.chance(0.04):
            origins = []
        dispatch, arrival = sorted(self.rng.choices(DAYS, k=2))
        if self.chance(0.4):
            arrival = dispatch
        exceptions = sorted({r["id"] for r in self.rules if r["excepts"]})
        documents = []
        if exceptions and self.chance(0.5):
            for opened in self.some(exceptions, 1, 2):
                valid_to = self.rng.choice((None, None, *DAYS))
                documents.append({"opens": opened, "valid_to": valid_to})
        return {
            "plants": [self.plant() for _ in range(self.rng.choice((1, 1, 1, 2)))],
            "parts": self.some(PARTS, 1, 2),
            "grown_at": origins,
            "to": [self.stated_place() for _ in range(self.rng.choice((1, 1, 1, 2)))],
            "by_way_of": [self.stated_place()] if self.chance(0.25) else [],
            "dispatch": dispatch,
            "arrival": arrival,
            "count": self.rng.choice((None, None, 1, 5, 6, 10, 50, 51)),
            "documents": documents,
        }

    def world(self):
        """The world in the form of world.json."""
        return {
            "places": {"members": self.members, "aliases": self.aliases},
            "taxa": self.taxa,
            "rules": self.rules,
        }


def member(area, place, first=None, last=None):
    """One membership row."""
    return {"area": area, "place": place, "from": first, "to": last}


def generate(count, seed):
    """`count` questions in worlds of about twenty; the same for the same seed."""
    rng = random.Random(seed)
    worlds = []
    while count > 0:
        maker = Maker(rng)
        asked = min(count, QUESTIONS_PER_WORLD)
        questions = [maker.question() for _ in range(asked)]
        worlds.append({"world": maker.world(), "questions": questions})
        count -= asked
    return {"worlds": worlds}
