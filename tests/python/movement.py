#!/usr/bin/env python3
"""Independent evaluator of movement rules, by brute force over atoms.

Usage:
  movement.py world.json questions.json   one JSON list, one answer per question
  movement.py --worlds cases.json         the same for the output of --generate:
                                          one list of answers per world
  movement.py --generate N SEED           N random questions in small random worlds
  movement.py --self-check                small hand-made cases; exit 1 on failure

An atom is one origin, one destination, one part, one day and one line of a
plant.  Every rule is looked at in every atom, and every exact place that a
stated place may mean is tried.  Nothing is indexed; results of pure functions
are remembered, that is all.
"""

import json
import sys

NOT, POSSIBLY, SURELY = 0, 1, 2

# Widths of places, widest first.  A local part adds one for every slash.
WORLD_WIDTH, BLOC_WIDTH, COUNTRY_WIDTH, SUBDIVISION_WIDTH = 0, 1, 2, 3

WORLD = "WORLD"
SAME_SUBDIV = "SAME-SUBDIV"
SAME_AREA = "SAME-AREA"
RELATIONS = (SAME_SUBDIV, SAME_AREA)

# Mildest first.
VERDICTS = ("none", "conditions", "document", "prohibited")

# Marks a country or a subdivision that nothing on file names.
UNNAMED = "~"


# ---------------------------------------------------------------- codes


def is_area(code):
    """True for the name of a regulated area."""
    return code.startswith("RA:")


def chain(code):
    """The code and all codes above it, widest first, without blocs and world.

    US-TX/zapata/farm gives US, US-TX, US-TX/zapata, US-TX/zapata/farm.
    """
    if is_area(code) or code == WORLD:
        return [code]
    head, *local = code.split("/")
    country = head.split("-", 1)[0]
    steps = [country]
    if head != country:
        steps.append(head)
    for part in local:
        steps.append(steps[-1] + "/" + part)
    return steps


def code_width(code):
    """Width of a country, a subdivision or a local part."""
    head, *local = code.split("/")
    if local:
        return SUBDIVISION_WIDTH + len(local)
    return SUBDIVISION_WIDTH if "-" in head else COUNTRY_WIDTH


def subdivision(code):
    """The subdivision that an exact place is in, None if it is in none.

    A local part directly under a country is its own subdivision.
    """
    steps = chain(code)
    return steps[1] if len(steps) > 1 else None


def in_force(first, last, day):
    """True if the day lies between two dates, both inclusive, either open."""
    return (not first or first <= day) and (not last or day <= last)


# ---------------------------------------------------------------- the world


class Rule:
    """One version of one rule."""

    def __init__(self, row, resolve):
        self.id = row["id"]
        self.key = f"{row['id']} {row['version']}"
        self.kind = row.get("kind") or "rule"
        self.hosts = [host.lower() for host in row["hosts"]]
        self.parts = list(row["parts"])
        self.origin_terms = parse_terms(row["from"], resolve)
        self.goal_terms = parse_terms(row["to"], resolve)
        self.verdict = row["verdict"]
        self.first_day = row.get("effective_from")
        self.last_day = row.get("effective_to")
        self.excepts = row.get("excepts")
        self.open_to = row.get("open_to")
        self.void_if = list(row.get("void_if") or [])
        self.most = row.get("most")
        self.on_the_way = bool(row.get("on_the_way"))

    def named_areas(self):
        """Regulated areas that `from` includes by name."""
        return [
            term
            for excluded, term in self.origin_terms
            if not excluded and is_area(term)
        ]


def parse_terms(text, resolve):
    """A place expression as a list of (excluded, term)."""
    terms = []
    for word in (text or "").split("|"):
        word = word.strip()
        excluded = word.startswith("!")
        word = word.lstrip("!").strip()
        if word:
            terms.append((excluded, word if word in RELATIONS else resolve(word)))
    return terms


class World:
    """Places, taxa and rules on file."""

    def __init__(self, data):
        places = data.get("places") or {}
        self.aliases = {further: code for further, code in places.get("aliases") or []}
        self.members = [
            (
                self.resolve(row["area"]),
                self.resolve(row["place"]),
                row.get("from"),
                row.get("to"),
            )
            for row in places.get("members") or []
        ]
        self.collections = {row[0] for row in self.members}
        self.rules = [Rule(row, self.resolve) for row in data.get("rules") or []]
        self.taxa = [
            (row["name"].lower(), row["within"].lower(), bool(row.get("parent")))
            for row in data.get("taxa") or []
        ]
        self.on_file = self.codes_on_file()
        self.width_memo = {}
        self.place_memo = {}
        self.lines_memo = {}

    # ------------------------------------------------------------ places

    def resolve(self, code):
        """The code that a code stands for, aliases followed to the end."""
        if not code:
            return WORLD
        for _ in range(len(self.aliases) + 1):
            for step in reversed(chain(code)):
                if step in self.aliases:
                    code = graft(self.aliases[step], code[len(step):])
                    break
            else:
                return code
        raise ValueError(f"aliases of {code} go round in a circle")

    def is_collection(self, code):
        """True for a regulated area or a bloc: a list of members."""
        return is_area(code) or code in self.collections

    def codes_on_file(self):
        """Every place named by a rule, a member row or an alias, and all above."""
        named = set()
        for rule in self.rules:
            named.update(t for _, t in rule.origin_terms + rule.goal_terms)
        named.update(place for _, place, _, _ in self.members)
        named.update(self.resolve(code) for code in self.aliases)
        named.difference_update(RELATIONS)
        return self.with_places_above(named)

    def with_places_above(self, codes):
        """The codes that are places of the tree, with all places above them."""
        found = set()
        for code in codes:
            if code != WORLD and not self.is_collection(code):
                found.update(chain(code))
        return found

    def stated(self, code):
        """What a stated place counts as.

        A local part that nothing on file names counts as the nearest place
        above that is named or is no local part.  Where parts of a country are
        named by local codes directly below it, a subdivision that nothing names
        may be any of them: it counts as the country.
        """
        code = self.resolve(code)
        if code == WORLD or self.is_collection(code):
            return code
        for step in reversed(chain(code)):
            country = chain(code)[0]
            by_local = any(
                known.startswith(country + "/") for known in self.on_file
            )
            if step in self.on_file or step == country:
                return step
            if "/" not in step and not by_local:
                return step
        raise AssertionError("a chain begins with a country")

    def width(self, term, place, day, outer=()):
        """Width of a term at an exact place, None if it does not contain it."""
        memo_key = (term, place, day)
        if not outer and memo_key in self.width_memo:
            return self.width_memo[memo_key]
        if term == WORLD:
            found = WORLD_WIDTH
        elif self.is_collection(term):
            found = self.collection_width(term, place, day, outer)
        else:
            found = code_width(term) if term in chain(place) else None
        if not outer:
            self.width_memo[memo_key] = found
        return found

    def collection_width(self, name, place, day, outer):
        """Width of a bloc or a regulated area at an exact place, or None."""
        if name in outer:
            return None
        widths = []
        for area, member, first, last in self.members:
            if area == name and in_force(first, last, day):
                found = self.width(member, place, day, outer + (name,))
                if found is not None:
                    widths.append(found)
        if not widths:
            return None
        return max(widths) if is_area(name) else BLOC_WIDTH

    def relation_width(self, term, rule, origin, goal, day):
        """Width of SAME-SUBDIV or SAME-AREA for two exact places, or None."""
        if term == SAME_SUBDIV:
            home = subdivision(origin)
            same = home is not None and home == subdivision(goal)
            return SUBDIVISION_WIDTH if same else None
        widths = [
            self.width(area, goal, day)
            for area in rule.named_areas()
            if self.width(area, origin, day) is not None
            and self.width(area, goal, day) is not None
        ]
        return max(widths, default=None)

    def expression_holds(self, terms, place, rule, origin, goal, day):
        """True if a place expression of a rule holds at an exact place.

        Of the terms that contain the place the narrowest decides; at equal
        width exclusion decides.
        """
        narrowest, included = None, False
        for excluded, term in terms:
            if term in RELATIONS:
                found = self.relation_width(term, rule, origin, goal, day)
            else:
                found = self.width(term, place, day)
            if found is None:
                continue
            if narrowest is None or found > narrowest:
                narrowest, included = found, not excluded
            elif found == narrowest and excluded:
                included = False
        return included

    def exact_places(self, origin, goal):
        """All exact places to try for a stated origin and a stated goal.

        A code means "there, but in none of the narrower places named".  Each
        country and the rest of the world have two subdivisions that nothing
        names besides.
        """
        codes = self.on_file | self.with_places_above([origin, goal])
        countries = {code for code in codes if code_width(code) == COUNTRY_WIDTH}
        unnamed = {
            f"{country}-{UNNAMED}{number}"
            for country in countries | {UNNAMED}
            for number in (1, 2)
        }
        return sorted(codes | unnamed)

    def places_match(self, rule, origin, goal, day):
        """How a rule's places hold for a stated origin and a stated goal."""
        memo_key = (rule, origin, goal, day)
        if memo_key not in self.place_memo:
            self.place_memo[memo_key] = self.try_places(rule, origin, goal, day)
        return self.place_memo[memo_key]

    def try_places(self, rule, origin, goal, day):
        """Try every pair of exact places."""
        exact = self.exact_places(origin, goal)
        origins = [p for p in exact if self.width(origin, p, day) is not None]
        goals = [p for p in exact if self.width(goal, p, day) is not None]
        outcomes = set()
        for start in origins:
            for end in goals:
                outcomes.add(
                    self.expression_holds(
                        rule.origin_terms, start, rule, start, end, day
                    )
                    and self.expression_holds(
                        rule.goal_terms, end, rule, start, end, day
                    )
                )
                if len(outcomes) == 2:
                    return POSSIBLY
        return SURELY if outcomes == {True} else NOT

    # ------------------------------------------------------------ plants

    def lines(self, name):
        """The lines of a plant: sets of names, one per choice of parents.

        Rank and synonym rows are followed all together; at a hybrid one
        parent is chosen.
        """
        name = name.lower()
        if name not in self.lines_memo:
            found = []
            self.extend_line(frozenset(), [name], found)
            self.lines_memo[name] = found
        return self.lines_memo[name]

    def extend_line(self, line, pending, found):
        """Follow the pending names; put every finished line into `found`."""
        if not pending:
            if line not in found:
                found.append(line)
            return
        name, rest = pending[0], pending[1:]
        if name in line:
            self.extend_line(line, rest, found)
            return
        rows = [row for row in self.taxa if row[0] == name]
        ranks = [within for _, within, parent in rows if not parent]
        parents = [within for _, within, parent in rows if parent]
        for choice in [[parent] for parent in parents] or [[]]:
            self.extend_line(line | {name}, rest + ranks + choice, found)

    def host_match(self, rule, name, line):
        """How a rule's hosts hold for an asked name and one of its lines."""
        if any(host == "*" or host in line for host in rule.hosts):
            return SURELY
        for host in rule.hosts:
            if any(name in above for above in self.lines(host)):
                return POSSIBLY
        return NOT


def graft(target, rest):
    """Put the rest of a code below the code that its beginning stands for."""
    if rest.startswith("-") and code_width(target) != COUNTRY_WIDTH:
        rest = "/" + rest[1:]
    return target + rest


# ---------------------------------------------------------------- one atom


def count_match(rule, count):
    """How a rule's greatest number holds for a count that may be unsaid."""
    if rule.most is None:
        return SURELY
    if count is None:
        return POSSIBLY
    return SURELY if count <= rule.most else NOT


def rule_match(world, rule, atom, question):
    """What a rule comes to in an atom: the weakest of its three matches."""
    origin, goal, part, day, name, line = atom
    if part not in rule.parts or not in_force(rule.first_day, rule.last_day, day):
        return NOT
    others = min(
        world.host_match(rule, name, line),
        count_match(rule, question.get("count")),
    )
    if others == NOT:
        return NOT
    goals = [goal]
    if rule.on_the_way:
        goals += [world.stated(place) for place in question.get("by_way_of") or []]
    places = max(world.places_match(rule, origin, end, day) for end in goals)
    return min(places, others)


def is_open(rule, question):
    """True if an exception is open to this sender."""
    if rule.open_to == "anyone":
        return True
    for document in question.get("documents") or []:
        valid_to = document.get("valid_to")
        if document["opens"] == rule.id and (
            not valid_to or valid_to >= question["arrival"]
        ):
            return True
    return False


def evaluate_atom(world, atom, question):
    """The verdict of one atom, whether it is open, and its lists: rule key -> match.

    An atom is open if no rule holds surely in it: for a part of what was stated
    there may be nothing on file.
    """
    matches = [
        (rule, level)
        for rule in world.rules
        if (level := rule_match(world, rule, atom, question)) != NOT
    ]

    def strongest(rule_ids):
        """The best match among all versions of the rules with these ids."""
        return max((m for rule, m in matches if rule.id in rule_ids), default=NOT)

    lists = {"kept": {}, "could_change": {}, "stubs": {}, "unverified": {}}
    standing, replaced = [], set()
    for rule, level in matches:
        if rule.excepts is None:
            standing.append((rule, level))
            continue
        if not is_open(rule, question):
            if strongest([rule.excepts]) != NOT:
                lists["could_change"][rule.key] = level
            continue
        shut = strongest(rule.void_if)
        if shut == SURELY:
            continue
        if shut == POSSIBLY:
            # what may be shut holds for a part of what was stated at most
            level = POSSIBLY
        standing.append((rule, level))
        if level == SURELY and rule.kind == "rule":
            replaced.add(rule.excepts)
    names = {"rule": "kept", "stub": "stubs", "unverified": "unverified"}
    for rule, level in standing:
        if rule.id not in replaced:
            lists[names[rule.kind]][rule.key] = level

    verdict, is_bare = "none", True
    for rule, level in standing:
        if rule.key in lists["kept"]:
            verdict = stricter(verdict, rule.verdict)
            if level == SURELY and rule.verdict != "none":
                is_bare = False
    return verdict, is_bare, lists


def stricter(one, other):
    """The stricter of two verdicts."""
    return max(one, other, key=VERDICTS.index)


# ---------------------------------------------------------------- a question


def once(values):
    """The values in order, each once."""
    return list(dict.fromkeys(values))


def answer(world, question):
    """The answer to one question: every atom evaluated, results put together."""
    days = once([question["dispatch"], question["arrival"]])
    verdict, lists, bare = "none", {}, set()
    for name in ("kept", "could_change", "stubs", "unverified"):
        lists[name] = {}
    for origin in once(question.get("grown_at") or [None]):
        for goal in once(question["to"]):
            for part in once(question["parts"]):
                for day in days:
                    for plant in once(question["plants"]):
                        for line in world.lines(plant):
                            atom = (
                                world.stated(origin),
                                world.stated(goal),
                                part,
                                day,
                                plant.lower(),
                                line,
                            )
                            result, is_bare, found = evaluate_atom(world, atom, question)
                            verdict = stricter(verdict, result)
                            if is_bare:
                                place = "" if origin is None else atom[0]
                                bare.add((part, place, atom[1], plant.lower()))
                            for name, levels in found.items():
                                for key, level in levels.items():
                                    best = max(level, lists[name].get(key, NOT))
                                    lists[name][key] = best
    reply = {"verdict": verdict}
    for name, levels in lists.items():
        reply[name] = {
            key: "sure" if levels[key] == SURELY else "unsure" for key in sorted(levels)
        }
    reply["open"] = [list(row) for row in sorted(bare)]
    return reply


def answers(data, questions):
    """One answer per question, in order."""
    world = World(data)
    return [answer(world, question) for question in questions]


# ---------------------------------------------------------------- command line


def read(path):
    """The JSON content of a file."""
    with open(path, encoding="utf-8") as stream:
        return json.load(stream)


def main(words):
    """Run one command; return the exit status."""
    if words == ["--self-check"]:
        import movement_checks

        return movement_checks.run()
    if len(words) == 3 and words[0] == "--generate":
        import movement_cases

        print(json.dumps(movement_cases.generate(int(words[1]), int(words[2]))))
        return 0
    if len(words) == 2 and words[0] == "--worlds":
        cases = read(words[1])["worlds"]
        print(json.dumps([answers(c["world"], c["questions"]) for c in cases]))
        return 0
    if len(words) == 2:
        print(json.dumps(answers(read(words[0]), read(words[1]))))
        return 0
    print(__doc__, file=sys.stderr)
    return 2


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
