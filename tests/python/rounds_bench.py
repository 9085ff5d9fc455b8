"""A round settled by OR-tools' SimpleMinCostFlow, for comparison: the same objectives one after the other, those with no
arcs left out, each solved from scratch with the arcs closed that earlier ones decided.

    rounds_bench.py INPUT.json OUTCOME.json

OUTCOME.json is what Scionary made of it. Prints the seconds that OR-tools' solver took (its own only: the network is built
and the potentials, which it does not give, are found outside of the clock) and whether both gave everybody the same.
"""
import importlib.machinery
import importlib.util
import json
import pathlib
import sys
import time

import numpy as np
from ortools.graph.python import min_cost_flow

VERIFY = str(pathlib.Path(__file__).resolve().parents[2] / "deploy" / "verify-round")
loader = importlib.machinery.SourceFileLoader("verify_round", VERIFY)
verify = importlib.util.module_from_spec(importlib.util.spec_from_loader("verify_round", loader))
loader.exec_module(verify)


def main():
    given = json.load(open(sys.argv[1], encoding="utf-8"))
    ours = json.load(open(sys.argv[2], encoding="utf-8"))
    # the network without any flow: the verifier's, of an empty outcome
    empty = {"seed": ours["seed"], "redraw": ours["redraw"], "shares": [], "steps": []}
    arcs = verify.network({"input": given, "outcome": empty})
    nodes = {}
    for arc in arcs:
        nodes.setdefault(arc.tail, len(nodes))
        nodes.setdefault(arc.head, len(nodes))
    tail = np.array([nodes[arc.tail] for arc in arcs])
    head = np.array([nodes[arc.head] for arc in arcs])
    lower = np.array([arc.lower for arc in arcs])
    upper = np.array([arc.upper for arc in arcs])
    closed = lower == upper
    flow = np.zeros(len(arcs), dtype=np.int64)
    clock, solves = 0.0, 0
    for aim, of in verify.aims(given, arcs):
        weight = np.array([arc.weight(aim, of) for arc in arcs], dtype=np.int64)
        if not (weight[~closed] > 0).any():
            continue
        # closed arcs keep their flow: what they carry is supply and demand at their ends
        low = np.where(closed, flow, lower)
        supply = np.zeros(len(nodes), dtype=np.int64)
        np.add.at(supply, head, low)
        np.subtract.at(supply, tail, low)
        part = np.flatnonzero(~closed)
        solver = min_cost_flow.SimpleMinCostFlow()
        solver.add_arcs_with_capacity_and_unit_cost(tail[part], head[part], (upper - low)[part], -weight[part])
        solver.set_nodes_supplies(np.arange(len(nodes)), supply)
        began = time.perf_counter()
        status = solver.solve()
        clock += time.perf_counter() - began
        solves += 1
        assert status == solver.OPTIMAL, status
        flow[part] = low[part] + solver.flows(np.arange(len(part)))
        # potentials: cheapest ways in what could still change, from everywhere at once (Bellman and Ford)
        more, less = part[flow[part] < upper[part]], part[flow[part] > lower[part]]
        start = np.concatenate([tail[more], head[less]])
        end = np.concatenate([head[more], tail[less]])
        cost = np.concatenate([-weight[more], weight[less]])
        far = np.zeros(len(nodes), dtype=np.int64)
        while True:
            nearer = far.copy()
            np.minimum.at(nearer, end, far[start] + cost)
            if (nearer == far).all():
                break
            far = nearer
        reduced = -weight + far[tail] - far[head]
        closed = closed | (reduced != 0)
    shares = {}
    for arc, units in zip(arcs, flow):
        if arc.tail[0] == "lot" and units:
            pair = (arc.tail[1], arc.head[1])
            shares[pair] = shares.get(pair, 0) + int(units)
    same = shares == verify.sums(ours["shares"])
    print(json.dumps({"seconds": round(clock, 2), "solves": solves, "units": sum(shares.values()), "same": same}))
    sys.exit(0 if same else 1)


main()
