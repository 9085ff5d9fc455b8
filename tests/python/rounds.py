"""Swap rounds: a thousand small ones settled by us and by HiGHS (scipy.optimize.milp), objective by objective; every
outcome checked by deploy/verify-round, which must also notice every kind of tampering; reasons compared with a round that
is settled again with the unit forced; published and own worked examples.

Usage: rounds.py FIGURES_BINARY [ROUNDS]
"""

import copy
import importlib.machinery
import importlib.util
import json
import pathlib
import random
import subprocess
import sys

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import lil_matrix

HERE = pathlib.Path(__file__).resolve().parent
loader = importlib.machinery.SourceFileLoader("verify_round", str(HERE.parents[1] / "deploy" / "verify-round"))
verify = importlib.util.module_from_spec(importlib.util.spec_from_loader("verify_round", loader))
sys.dont_write_bytecode = True
loader.exec_module(verify)

draw = random.Random(1974)


def made(number):
    """A small round with everything that a round can have."""
    members = []
    for at in range(draw.randint(2, 9)):
        balance = draw.choice([0, 0, 0, 1, 2, -1, -2, 5, -5])
        members.append({
            "id": f"m{at}", "give": draw.choice([0, 1, 1, 2]) + max(0, -balance),
            "get": draw.choice([0, 0, 0, 1, 2]) + max(0, balance), "balance": balance, "cap": draw.randint(1, 5),
            "caps": {"g0": draw.randint(1, 2)} if draw.random() < 0.2 else {},
        })
    lots = []
    for member in members:
        for _ in range(draw.randint(0, 3)):
            lots.append({
                "id": f"l{len(lots)}", "owner": member["id"], "units": draw.randint(1, 3),
                "group": draw.choice(["g0", "g1", "g2"]), "gift": draw.random() < 0.15,
            })
    wants, barred = [], []
    several = draw.random() < 0.5
    for member in members:
        named = draw.sample(lots, min(len(lots), draw.randint(0, 7)))
        rank = 0
        while named:
            here = named[: draw.randint(1, 3) if several else 1]
            if member["caps"]:
                here = [lot for lot in here if lot["group"] == here[0]["group"]]
            named = [lot for lot in named if lot not in here]
            rank += draw.choice([1, 1, 1, 0, 3])
            want = {
                "id": f"{member['id']}:{len(wants)}", "member": member["id"], "rank": max(1, rank),
                "quantity": draw.randint(1, 3), "lots": [lot["id"] for lot in here],
            }
            wants.append(want)
            for lot in here:
                if draw.random() < 0.1:
                    barred.append({"lot": lot["id"], "want": want["id"], "why": "movement"})
    given = {
        "round": f"r{number}", "members": members, "lots": lots, "wants": wants, "barred": barred, "fixed": [], "kept": [],
    }
    if draw.random() < 0.15:
        given["fair_levels"] = draw.randint(-1, 2)
    return given


class Model:
    """A round as an integer program."""

    def __init__(self, given, outcome):
        self.given, self.outcome = given, outcome
        members = {m["id"]: m for m in given["members"]}
        lots = {lot["id"]: lot for lot in given["lots"]}
        barred = {(b["lot"], b["want"]) for b in given["barred"]}
        fixed, kept = verify.sums(given["fixed"]), verify.sums(given["kept"])
        self.columns, low, high = [], [], []
        for want in given["wants"]:
            for lot in want["lots"]:
                pair = (lot, want["id"])
                if pair in fixed or (lots[lot]["owner"] != want["member"] and pair not in barred):
                    done = fixed.get(pair, 0)
                    self.columns.append(("pair", lot, want))
                    low.append(done)
                    high.append(max(done, min(lots[lot]["units"], want["quantity"])))
        self.pairs = len(self.columns)
        for at, (_, lot, want) in enumerate(list(self.columns)):
            pair = (lot, want["id"])
            if pair in kept:
                self.columns.append(("kept", at, min(kept[pair], high[at] - low[at])))
                low.append(0)
                high.append(min(kept[pair], high[at] - low[at]))
        for member in given["members"]:
            for unit in range(1, member["cap"] + 1):
                self.columns.append(("unit", member["id"], unit - max(-3, min(3, member["balance"]))))
                low.append(0)
                high.append(1)
        self.low, self.high = np.array(low, float), np.array(high, float)
        self.rows = []
        taken = {m: {} for m in members}
        over = {m: {} for m in members}
        for at, (kind, *what) in enumerate(self.columns):
            if kind == "pair":
                lot, want = what
                taken[want["member"]][at] = 1
                over[want["member"]][at] = over[want["member"]].get(at, 0) + 1
                if not lots[lot]["gift"]:
                    over[lots[lot]["owner"]][at] = over[lots[lot]["owner"]].get(at, 0) - 1
        for name, lot in lots.items():
            self.row({at: 1 for at, c in enumerate(self.columns) if c[0] == "pair" and c[1] == name}, 0, lot["units"])
        for want in given["wants"]:
            self.row({at: 1 for at, c in enumerate(self.columns) if c[0] == "pair" and c[2] is want}, 0, want["quantity"])
        for name, member in members.items():
            for group, cap in member["caps"].items():
                self.row({at: 1 for at in taken[name] if lots[self.columns[at][1]]["group"] == group}, 0, cap)
            units = {at: -1 for at, c in enumerate(self.columns) if c[0] == "unit" and c[1] == name}
            self.row({**taken[name], **units}, 0, 0)
            self.row(over[name], -member["give"], member["get"])
        for at, column in enumerate(self.columns):
            if column[0] == "kept":
                # what stays is no more than what is given beyond what was handed over
                self.row({at: 1, column[1]: -1}, -np.inf, -self.low[column[1]])
        self.taken = taken

    def row(self, terms, low, high):
        if terms:
            self.rows.append((terms, low, high))

    def weights(self, aim, of):
        seed, redraw = self.outcome["seed"], self.outcome["redraw"]
        found = np.zeros(len(self.columns))
        for at, (kind, *what) in enumerate(self.columns):
            if aim == "kept" and kind == "kept":
                found[at] = 1
            elif aim == "level" and kind == "unit" and what[1] == of:
                found[at] = 1
            elif aim == "who" and kind == "unit":
                found[at] = verify.draw(seed, redraw, f"member|{what[0]}")
            elif aim == "rank" and kind == "pair" and min(what[1]["rank"], 10) == of:
                found[at] = 1
            elif aim == "which" and kind == "pair":
                found[at] = verify.draw(seed, redraw, f"arc|{what[0]}|{what[1]['id']}")
        return found

    def best(self, weights):
        """The columns' values that are best by the weights; none where nothing is possible."""
        matrix = lil_matrix((len(self.rows), len(self.columns)))
        for at, (terms, _, _) in enumerate(self.rows):
            for column, factor in terms.items():
                matrix[at, column] = factor
        low, high = [row[1] for row in self.rows], [row[2] for row in self.rows]
        found = milp(
            -weights, integrality=np.ones(len(self.columns)), bounds=Bounds(self.low, self.high),
            constraints=LinearConstraint(matrix.tocsr(), low, high), options={"mip_rel_gap": 0},
        )
        return None if found.x is None else np.round(found.x)

    def settle(self, until=None):
        """Objective by objective: their values, and who gets what. `until`: stops at the first value that is lower."""
        values, x = [], np.zeros(len(self.columns))
        for step in self.outcome["steps"][:-1]:
            aim, of = step["aim"], step.get("of")
            weights = self.weights(aim, of)
            if not self.columns:
                values.append(0)
                continue
            x = self.best(weights)
            if x is None:
                return None, None
            value = int(sum(int(w) * int(v) for w, v in zip(weights, x)))
            values.append(value)
            if until is not None and value != step["value"]:
                return values, None
            if aim == "who":
                # the numbers are large, and their best is one set of members: it is held member by member
                for member in self.given["members"]:
                    units = {at: 1 for at, c in enumerate(self.columns) if c[0] == "unit" and c[1] == member["id"]}
                    total = sum(x[at] for at in units)
                    self.row(units, total, total)
            elif aim != "which":
                self.row({at: 1 for at in np.flatnonzero(weights)}, value, value)
        return values, {
            (c[1], c[2]["id"]): int(v) for c, v in zip(self.columns[: self.pairs], x) if c[0] == "pair" and v > 0
        }


def ask(binary, questions):
    lines = "".join(json.dumps(question) + "\n" for question in questions)
    asked = subprocess.run([binary], input=lines, capture_output=True, text=True)
    assert asked.returncode == 0, asked.stderr[:600]
    return [json.loads(line) for line in asked.stdout.splitlines()]


def leaves(value, path=()):
    """Every value of a document with its path, and the path with numbers left out."""
    if isinstance(value, dict):
        for key, below in value.items():
            yield from leaves(below, path + (key,))
    elif isinstance(value, list):
        for at, below in enumerate(value):
            yield from leaves(below, path + (at,))
    if path:
        yield path, value


def changed(document, path, do):
    """A copy of a document in which the value at a path was changed, or None where `do` changes nothing."""
    other = copy.deepcopy(document)
    at = other
    for step in path[:-1]:
        at = at[step]
    before = json.dumps(other, sort_keys=True)
    do(at, path[-1])
    return None if json.dumps(other, sort_keys=True) == before else other


def bump(at, key):
    if isinstance(at[key], bool):
        at[key] = not at[key]
    elif isinstance(at[key], int):
        at[key] += 1
    elif isinstance(at[key], str):
        at[key] = at[key][:-1] + ("x" if not at[key].endswith("x") else "y")


def lower(at, key):
    if isinstance(at[key], int) and not isinstance(at[key], bool):
        at[key] -= 1


def remove(at, key):
    del at[key]


def twice(at, key):
    if isinstance(at, list):
        at.append(copy.deepcopy(at[key]))


def turn(at, key):
    if isinstance(at, list) and len(at) > 1:
        at[key], at[key - 1] = at[key - 1], at[key]


def said(audit):
    """What an audit claims: the lists and who gets what. The potentials are only the proof."""
    rows = sorted((s["lot"], s["want"], s["units"]) for s in audit["outcome"]["shares"])
    return json.dumps([audit["input"], rows], sort_keys=True)


# kinds of events whose packs the verifier reads
COUNTING = {"arrived", "counted", "handed_over", "taken_back", "left_over", "refused"}


def tampered(audit):
    """The audit with one value changed, of every kind of place in it: what it is called, and the audit."""
    places = {}
    for path, _ in leaves(audit):
        # elsewhere in the log a number of packs claims nothing
        if path[0] == "log" and path[-1] == "units" and audit["log"][path[1]]["kind"] not in COUNTING:
            continue
        places.setdefault(tuple("*" if isinstance(step, int) else step for step in path), []).append(path)
    for kind, paths in sorted(places.items(), key=str):
        for do in (bump, lower, remove, twice, turn):
            other = changed(audit, draw.choice(paths), do)
            if other is not None:
                yield f"{do.__name__} {'.'.join(kind)}", other


def notice(what, other, audit, noticed, harmless):
    """A changed audit is refused, or it claims what the true one claims."""
    try:
        verify.verify(other, audit["commitment"], audit["sealed_hash"])
    except (verify.Wrong, KeyError, TypeError, AttributeError, IndexError, ValueError):
        noticed.add(what)
    else:
        assert said(other) == said(audit), f"not noticed: {what}"
        harmless.add(what)


def day_of(audit):
    """A day after a settling: its log, and what is settled again."""
    sealed, shares = audit["input"], copy.deepcopy(audit["outcome"]["shares"])
    owner = {lot["id"]: lot["owner"] for lot in sealed["lots"]}
    taker = {want["id"]: want["member"] for want in sealed["wants"]}
    log = [{"kind": "sealed", "lot": None, "member": None, "units": 0}, {"kind": "settled", "lot": None, "member": None, "units": 0}]
    note = lambda kind, lot=None, member=None, units=0: log.append({"kind": kind, "lot": lot, "member": member, "units": units})
    given = copy.deepcopy(sealed)
    absent = draw.choice(given["members"])["id"]
    note("absent", member=absent)
    for lot in given["lots"]:
        came = draw.randint(1, lot["units"])
        lot["units"] = came
        note("counted", lot=lot["id"], units=came)
    given["fixed"], given["kept"], refused, handed = [], [], set(), {}
    for share in shares:
        pair = (share["lot"], taker[share["want"]])
        room = next(lot["units"] for lot in given["lots"] if lot["id"] == share["lot"])
        out = sum(f["units"] for f in given["fixed"] if f["lot"] == share["lot"])
        here = absent not in (owner[share["lot"]], pair[1])
        if pair in handed or (here and pair not in refused and draw.random() < 0.3 and out + share["units"] <= room):
            if pair not in handed and any(
                s["lot"] == share["lot"] and taker[s["want"]] == pair[1] and s is not share for s in shares
            ):
                given["kept"].append(share)
                continue
            given["fixed"].append(share)
            handed[pair] = share["units"]
            note("handed_over", pair[0], pair[1], share["units"])
        elif pair in refused or draw.random() < 0.15:
            refused.add(pair)
            note("refused", pair[0], pair[1])
        else:
            given["kept"].append(share)
    given["kept"] = [k for k in given["kept"] if (k["lot"], taker[k["want"]]) not in refused]
    known = {(b["lot"], b["want"]) for b in given["barred"]} | {(f["lot"], f["want"]) for f in given["fixed"]}
    for want in given["wants"]:
        for lot in want["lots"]:
            if (lot, want["id"]) in known or owner[lot] == want["member"]:
                continue
            if absent in (owner[lot], want["member"]):
                given["barred"].append({"lot": lot, "want": want["id"], "why": "absent"})
            elif (lot, want["member"]) in refused:
                given["barred"].append({"lot": lot, "want": want["id"], "why": "refused"})
    note("settled")
    return given, log


def forged(given, log):
    """What an organiser who wants another outcome might have settled on the day: what it is called, the input, the log."""

    def one(what, do, on_log=lambda rows: None):
        other, rows = copy.deepcopy(given), copy.deepcopy(log)
        try:
            if do(other) is False:
                return
        except (IndexError, StopIteration):
            return
        on_log(rows)
        if (other, rows) != (given, log):
            yield what, other, rows

    pick = lambda rows: draw.choice(rows)
    for field in ("cap", "give", "get", "balance"):
        yield from one(f"a member's {field} more", lambda a: pick(a["members"]).update({field: pick(a["members"])[field] + 1}))
    yield from one("a member's cap less", lambda a: next(m for m in a["members"] if m["cap"] > 1).update(cap=1))
    yield from one("a limit by group", lambda a: pick(a["members"]).setdefault("caps", {}).update({"new": 1}))
    yield from one("a member more", lambda a: a["members"].append({**a["members"][0], "id": "stranger"}))
    yield from one("a lot more", lambda a: a["lots"].append({**pick(a["lots"]), "id": "new-lot"}))
    yield from one("more packs", lambda a: pick(a["lots"]).update(units=9))
    yield from one("fewer packs", lambda a: next(l for l in a["lots"] if l["units"] > 1).update(units=1))
    yield from one("another owner", lambda a: pick(a["lots"]).update(owner=a["members"][-1]["id"]))
    yield from one("a gift", lambda a: (lambda l: l.update(gift=not l["gift"]))(pick(a["lots"])))
    yield from one("another group", lambda a: pick(a["lots"]).update(group="other"))
    yield from one("another rank", lambda a: (lambda w: w.update(rank=w["rank"] + 1))(pick(a["wants"])))
    yield from one("another quantity", lambda a: (lambda w: w.update(quantity=w["quantity"] + 1))(pick(a["wants"])))
    yield from one("a wish more", lambda a: a["wants"].append({**pick(a["wants"]), "id": "new-wish"}))
    yield from one("fewer lots of a wish", lambda a: next(w for w in a["wants"] if len(w["lots"]) > 1)["lots"].pop())
    yield from one(
        "more lots of a wish",
        lambda a: (lambda w: w["lots"].extend([l["id"] for l in a["lots"] if l["id"] not in w["lots"]][:1]))(pick(a["wants"])),
    )
    yield from one("levels", lambda a: a.update(fair_levels=1 if a.get("fair_levels") is None else None))
    yield from one("another round", lambda a: a.update(round="other"))
    fixed = {(f["lot"], f["want"]) for f in given["fixed"]}
    barred = {(b["lot"], b["want"]) for b in given["barred"]}
    free = [(l, w) for w in given["wants"] for l in w["lots"] if (l, w["id"]) not in fixed | barred]
    free = [(l, w) for l, w in free if next(x for x in given["lots"] if x["id"] == l)["owner"] != w["member"]]
    if free:
        lot, want = pick(free)
        for why in ("absent", "refused"):
            yield from one(f"a bar: {why}", lambda a: a["barred"].append({"lot": lot, "want": want["id"], "why": why}))
        yield from one("something handed over", lambda a: a["fixed"].append({"lot": lot, "want": want["id"], "units": 1}))
        yield from one("something kept", lambda a: a["kept"].append({"lot": lot, "want": want["id"], "units": 1}))
    for why in ("movement", "absent", "refused"):
        yield from one(
            f"no bar: {why}",
            lambda a: a["barred"].remove(next(b for b in a["barred"] if b["why"] == why)),
        )
    yield from one("less kept", lambda a: a["kept"].pop(draw.randrange(len(a["kept"]))) if a["kept"] else False)
    yield from one("less handed over", lambda a: a["fixed"].pop() if a["fixed"] else False)
    yield from one("more kept", lambda a: (lambda k: k.update(units=k["units"] + 1))(pick(a["kept"])))
    for kind in ("absent", "handed_over", "refused", "counted", "settled"):
        yield from one(
            f"the log without {kind}",
            lambda a: None,
            lambda rows: rows.remove(next((r for r in reversed(rows) if r["kind"] == kind), rows[0])),
        )


def days(binary, rounds):
    """Rounds that are settled again on their day: the file holds; forged files, settled as any file is, do not."""
    noticed, harmless, forgeries = set(), set(), 0
    sealed = [one for one in (made(50_000 + n) for n in range(rounds)) if one["lots"] and one["wants"]]
    first = ask(binary, [{"what": "round", "input": one, "secret": f"day {n}"} for n, one in enumerate(sealed)])

    def file(before, answer, log):
        run = {key: before[key] for key in ("input", "input_hash", "outcome")}
        return {**answer, "run": 2, "earlier": [run], "log": log, "sealed_hash": before["sealed_hash"]}

    def settle(all_days):
        asked = [
            {"what": "round", "input": given, "secret": before["secret"], "sealed_hash": before["sealed_hash"]}
            for before, given, _ in all_days
        ]
        return [file(before, answer, log) for (before, _, log), answer in zip(all_days, ask(binary, asked))]

    second = [(before, *day_of(before)) for before in first]
    for number, ((before, given, log), audit) in enumerate(zip(second, settle(second))):
        audit.pop("reasons", None)
        found = verify.verify(audit, before["commitment"], before["sealed_hash"])
        assert found["runs"] == 2
        if number < 6:
            for what, other in tampered(audit):
                notice(what, other, audit, noticed, harmless)
        # every settling that differs is refused, however well it is settled
        tries = list(forged(given, log))
        good = []
        for what, other, rows in tries:
            try:
                [answer] = settle([(before, other, rows)])
            except AssertionError:
                # no settling of it exists
                noticed.add(what)
                continue
            good.append((what, answer))
        for what, answer in good:
            answer.pop("reasons", None)
            forgeries += 1
            try:
                verify.verify(answer, before["commitment"], before["sealed_hash"])
            except (verify.Wrong, KeyError):
                noticed.add(what)
            else:
                assert said(answer) == said(audit), f"day {number}: a forged file holds: {what}"
                harmless.add(what)
    print(
        f"days: {len(second)} settled again and proved; {len(noticed)} kinds of tampering and forging noticed, "
        f"{forgeries} forged settlings"
    )
    assert len(noticed) >= 100, (len(noticed), sorted(noticed))
    # what is never noticed changes nothing that the file claims
    quiet = harmless - noticed
    assert all("potentials" in what or what.startswith(("turn ", "twice log", "the log")) for what in quiet), sorted(quiet)


def redraws(binary, rounds):
    """With draws of two bits ties are common: each redraw carries its proof, and none is accepted without."""
    verify.BITS = 2
    given = [one for one in (made(90_000 + n) for n in range(rounds)) if one["lots"] and one["wants"]]
    tied = forged = 0
    audits = ask(binary, [{"what": "round", "input": one, "secret": f"t{n}", "bits": 2} for n, one in enumerate(given)])
    for audit in audits:
        verify.verify(audit)
        outcome = audit["outcome"]
        if outcome["redraw"] == 0:
            continue
        tied += 1
        for do in (
            lambda o: o.pop("ties"),
            lambda o: o["ties"].pop(),
            lambda o: o.update(redraw=o["redraw"] - 1),
            lambda o: o["ties"][0].update(other=o["ties"][0]["shares"]),
            lambda o: o["ties"][0]["other"].pop(),
            lambda o: o["ties"][0]["steps"].pop(),
        ):
            other = copy.deepcopy(audit)
            do(other["outcome"])
            try:
                verify.verify(other)
            except (verify.Wrong, KeyError, IndexError):
                forged += 1
            else:
                raise AssertionError("a redraw without its proof holds")
    verify.BITS = 32
    assert tied > 5, tied
    print(f"redraws: {tied} proved, {forged} forged ones noticed")


def examples(binary):
    """Worked examples, published and our own: every seed gives one of the expected outcomes, with the expected values."""
    count = 0
    for example in json.load(open(HERE / "rounds.json", encoding="utf-8"))["examples"]:
        seen = set()
        answers = ask(binary, [{"what": "round", "input": example["input"], "secret": f"s{n}"} for n in range(40)])
        for audit in answers:
            verify.verify(audit)
            got = tuple(sorted((s["lot"], s["want"], s["units"]) for s in audit["outcome"]["shares"]))
            expected = [tuple(tuple(share) for share in one) for one in example["expected"]]
            if "units" in example:
                assert sum(s[2] for s in got) == example["units"], (example["name"], got)
            else:
                assert got in expected, (example["name"], got)
            values = {f"{s['aim']} {s['of']}": s["value"] for s in audit["outcome"]["steps"] if "of" in s}
            # the ranks depend on who is drawn, where several are equal
            alone = len(expected) == 1
            for name, value in [v for v in example.get("values", []) if alone or v[0].startswith("level")]:
                assert values.get(name, 0) == value, (example["name"], name, values)
            seen.add(got)
            count += 1
        assert "units" in example or len(seen) == len(example["expected"]), f"{example['name']}: some outcomes never come"
    print(f"worked examples of rounds: {count} outcomes as published or worked by hand")


def main(binary, rounds):
    examples(binary)
    given = [made(number) for number in range(rounds)]
    # in some, a part was handed over already and the rest was allotted before
    first = ask(binary, [{"what": "round", "input": one, "secret": "first"} for one in given])
    for number, (one, audit) in enumerate(zip(given, first)):
        if number % 5 == 0 and audit["outcome"]["shares"]:
            shares = audit["outcome"]["shares"]
            one["fixed"] = shares[: len(shares) // 3]
            one["kept"] = shares[len(shares) // 3 :]
            gone = draw.choice(one["members"])["id"]
            done = {share["want"] for share in one["fixed"]}
            one["wants"] = [w for w in one["wants"] if w["member"] != gone or w["id"] in done]
            known = {w["id"] for w in one["wants"]}
            for key in ("kept", "barred"):
                one[key] = [row for row in one[key] if row["want"] in known]
            # its books are widened by what was handed over: the program below has no such rule
            takes, gives = {}, {}
            owner = {lot["id"]: lot for lot in one["lots"]}
            member = {w["id"]: w["member"] for w in one["wants"]}
            for share in one["fixed"]:
                takes[member[share["want"]]] = takes.get(member[share["want"]], 0) + share["units"]
                if not owner[share["lot"]]["gift"]:
                    giver = owner[share["lot"]]["owner"]
                    gives[giver] = gives.get(giver, 0) + share["units"]
            for row in one["members"]:
                over = takes.get(row["id"], 0) - gives.get(row["id"], 0)
                row["give"], row["get"] = max(row["give"], -over), max(row["get"], over)
    audits = ask(binary, [{"what": "round", "input": one, "secret": f"secret {n}", "reasons": n < rounds // 8}
                          for n, one in enumerate(given)])
    units = tampering = reasons = books = 0
    noticed = set()
    for number, (one, audit) in enumerate(zip(given, audits)):
        outcome = audit["outcome"]
        verify.verify(audit, audit["commitment"])
        values, shares = Model(one, outcome).settle()
        ours = [step["value"] for step in outcome["steps"][:-1]]
        assert values == ours, f"round {number}: HiGHS {values}, ours {ours}\n{json.dumps(one)}"
        assert shares == verify.sums(outcome["shares"]), f"round {number}: who gets what\n{json.dumps(one)}"
        units += sum(shares.values())
        if number < rounds // 4:
            for what, other in tampered(audit) if number < 8 else []:
                notice(what, other, audit, noticed, set())
                tampering += 1
        for lot, want, reason in audit.get("reasons", []):
            assert reason is not None, f"round {number}: no reason why {lot} for {want}\n{json.dumps(one)}"
            if reason["reason"] not in ("decided", "limits", "books"):
                continue
            forced = Model(one, outcome)
            at = next(n for n, c in enumerate(forced.columns) if c[0] == "pair" and c[1] == lot and c[2]["id"] == want)
            forced.low[at] = shares.get((lot, want), 0) + 1
            if forced.low[at] > forced.high[at]:
                continue
            values, _ = forced.settle(until="lower")
            reasons += 1
            if reason["reason"] != "decided":
                assert values is None, f"round {number}: {lot} for {want} is possible; {reason} was said\n{json.dumps(one)}"
                books += 1
                continue
            assert values is not None, f"round {number}: {lot} for {want} is not possible; {reason} was said"
            steps = outcome["steps"]
            broken = next(n for n, (v, s) in enumerate(zip(values, steps)) if v != s["value"])
            step = steps[broken]
            said = reason["by"]
            assert (step["aim"], step.get("of")) == (said["aim"], said.get("of")), (number, lot, want, step["aim"], said)
            if step["aim"] not in ("who", "which"):
                assert step["value"] - values[broken] == reason["change"]["loss"], (number, lot, want, reason, values[broken])
    print(f"rounds: {rounds} settled as HiGHS does, {units} units, the same for everybody; all within limits and proved")
    days(binary, max(rounds // 50, 20))
    redraws(binary, max(rounds // 5, 60))
    print(f"rounds: {tampering} changed audits were noticed, or claim the same; {reasons} reasons agree with a forced unit ({books} impossible)")


if __name__ == "__main__":
    if len(sys.argv) not in (2, 3):
        sys.exit(__doc__)
    main(sys.argv[1], int(sys.argv[2]) if len(sys.argv) == 3 else 1000)
