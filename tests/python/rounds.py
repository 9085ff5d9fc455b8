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


def tampered(audit):
    """The same audit with something changed that must be noticed: what it is called, and the audit."""
    outcome = audit["outcome"]
    if outcome["shares"]:
        share = draw.randrange(len(outcome["shares"]))

        def change(what, do):
            other = copy.deepcopy(audit)
            do(other)
            return what, other

        yield change("a share left out", lambda a: a["outcome"]["shares"].pop(share))
        yield change("a unit more", lambda a: a["outcome"]["shares"][share].update(units=outcome["shares"][share]["units"] + 1))
        others = [w["id"] for w in audit["input"]["wants"] if w["id"] != outcome["shares"][share]["want"]]
        if others:
            yield change("given to another", lambda a: a["outcome"]["shares"][share].update(want=draw.choice(others)))
    else:
        def change(what, do):
            other = copy.deepcopy(audit)
            do(other)
            return what, other
    step = draw.randrange(len(outcome["steps"]) - 1)
    yield change("a value", lambda a: a["outcome"]["steps"][step].update(value=outcome["steps"][step]["value"] + 1))
    yield change("an objective left out", lambda a: a["outcome"]["steps"].pop(step))
    yield change("another seed", lambda a: a["outcome"].update(seed="0" * 64))
    yield change("another secret", lambda a: a.update(secret="changed"))
    if audit["input"]["members"]:
        yield change("the input", lambda a: a["input"]["members"][0].update(cap=99))


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
    for number, (one, audit) in enumerate(zip(given, audits)):
        outcome = audit["outcome"]
        verify.verify(audit, audit["commitment"])
        values, shares = Model(one, outcome).settle()
        ours = [step["value"] for step in outcome["steps"][:-1]]
        assert values == ours, f"round {number}: HiGHS {values}, ours {ours}\n{json.dumps(one)}"
        assert shares == verify.sums(outcome["shares"]), f"round {number}: who gets what\n{json.dumps(one)}"
        units += sum(shares.values())
        if number < rounds // 4:
            for what, changed in tampered(audit):
                try:
                    verify.verify(changed)
                except (verify.Wrong, KeyError):
                    tampering += 1
                else:
                    raise AssertionError(f"round {number}: not noticed: {what}")
        for lot, want, reason in audit.get("reasons", []):
            assert reason is not None, f"round {number}: no reason why {lot} for {want}\n{json.dumps(one)}"
            if reason["reason"] not in ("decided", "taker_books", "giver_books", "books"):
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
                assert step["value"] - values[broken] == reason["loss"], (number, lot, want, reason, values[broken])
    print(f"rounds: {rounds} settled as HiGHS does, {units} units, the same for everybody; all within limits and proved")
    print(f"rounds: {tampering} changed audits were noticed; {reasons} reasons agree with a forced unit ({books} impossible)")


if __name__ == "__main__":
    if len(sys.argv) not in (2, 3):
        sys.exit(__doc__)
    main(sys.argv[1], int(sys.argv[2]) if len(sys.argv) == 3 else 1000)
