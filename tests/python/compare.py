"""Shares and moments of random plans, raisewatch against PyNiteFEA (a general-purpose structural library from PyPI).

Reads JSON lines (statics/examples/comparison.rs) from standard input, builds each as a space frame of its own, and
compares: shares relative to the sum of all shares, moments and heights relative to the largest of the plan. Prints the
worst differences and "N passed, N failed"; exit status 1 if any differs by more than 0.1 %.

Axes: the plan's (x, y, up) is (X, -Z, Y) here; in-plane motion is held at every node. A straight truss is held by its
cradles against turning about its length, as in raisewatch.
"""

import json
import sys

from Pynite import FEModel3D

TOLERANCE = 1e-3
SAME_M = 1e-7  # the plans' corners meet exactly


def build(plan):
    model = FEModel3D()
    model.add_material("truss", 1e9, 1e9, 0.3, 0.0)
    nodes, where, on_piece = {}, [], []

    def node(x, y):
        for name, (a, b) in nodes.items():
            if abs(a - x) < SAME_M and abs(b - y) < SAME_M:
                return name
        name = f"N{len(nodes)}"
        nodes[name] = (x, y)
        model.add_node(name, x, 0.0, -y)
        return name

    for p, piece in enumerate(plan["pieces"]):
        (x0, y0), (x1, y1) = piece["from"], piece["to"]
        length = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5
        cuts = {0.0, length}
        cuts |= {t["x"] for t in plan["towers"] if t["piece"] == p}
        for load in plan["loads"]:
            if load["piece"] == p:
                cuts |= {load["x"]} if "x" in load else {load["from"], load["to"]}
        cuts |= {probe["x"] for probe in plan["probes"] if probe["piece"] == p}
        cuts = sorted(cuts)
        model.add_section(f"S{p}", 1.0, 1e-3, piece["ei"] / 1e9, piece["gj"] / 1e9)
        stations = [(c, node(x0 + (x1 - x0) * c / length, y0 + (y1 - y0) * c / length)) for c in cuts]
        members = []
        for (a, i), (b, j) in zip(stations, stations[1:]):
            if i == j:
                continue
            name = f"M{p}_{len(members)}"
            model.add_member(name, i, j, "truss", f"S{p}")
            model.add_member_dist_load(name, "Fy", -piece["weight"], -piece["weight"])
            members.append((name, a, b))
        if piece["hinged_to"]:
            model.def_releases(members[-1][0], Rzj=True)
        where.append(dict(stations))
        on_piece.append((members, ((x1 - x0) / length, (y1 - y0) / length)))

    for name in nodes:
        model.def_support(name, True, False, True, False, True, False)
    straight = len(plan["pieces"]) == 1
    for tower in plan["towers"]:
        name = where[tower["piece"]][tower["x"]]
        model.def_support(name, True, tower["k"] is None, True, straight, True, False)
        if tower["k"] is None:
            model.def_node_disp(name, "DY", tower["height"])
        else:
            model.def_support_spring(name, "DY", tower["k"])
            model.add_node_load(name, "FY", tower["k"] * tower["height"])

    for load in plan["loads"]:
        members, (dx, dy) = on_piece[load["piece"]]
        if "x" in load:
            name = where[load["piece"]][load["x"]]
            model.add_node_load(name, "FY", -load["n"])
            torque = -load["n"] * load["across"]
            model.add_node_load(name, "MX", torque * dx)
            model.add_node_load(name, "MZ", -torque * dy)
            continue
        run = load["to"] - load["from"]
        for name, a, b in members:
            if a >= load["from"] - 1e-9 and b <= load["to"] + 1e-9:
                at = lambda x: load["first"] + (load["last"] - load["first"]) * (x - load["from"]) / run
                model.add_member_dist_load(name, "Fy", -at(a), -at(b))
    return model, where, on_piece


def compare(plan):
    model, where, on_piece = build(plan)
    model.analyze_linear(check_stability=False, check_statics=False)
    shares = []
    for tower in plan["towers"]:
        node = model.nodes[where[tower["piece"]][tower["x"]]]
        down = node.DY["Combo 1"]
        shares.append(node.RxnFY["Combo 1"] if tower["k"] is None else tower["k"] * (tower["height"] - down))
    moments, heights = [], []
    for probe in plan["probes"]:
        name = next(n for n, a, b in on_piece[probe["piece"]][0] if abs(b - probe["x"]) < 1e-9)
        member = model.members[name]
        # Its moment is negative where the truss sags.
        moments.append(-member.moment("Mz", member.L(), "Combo 1"))
        heights.append(model.nodes[where[probe["piece"]][probe["x"]]].DY["Combo 1"])
    off = lambda found, printed, scale: max(abs(f - p) for f, p in zip(found, printed)) / scale
    ours = plan["shares"]
    largest = max(abs(p["moment"]) for p in plan["probes"])
    highest = max(abs(p["w"]) for p in plan["probes"])
    return (
        off(shares, ours, sum(abs(s) for s in ours)),
        off(moments, [p["moment"] for p in plan["probes"]], largest),
        off(heights, [p["w"] for p in plan["probes"]], highest),
    )


def main():
    passed = failed = 0
    worst = [0.0, 0.0, 0.0]
    for number, line in enumerate(sys.stdin):
        plan = json.loads(line)
        differs = compare(plan)
        worst = [max(a, b) for a, b in zip(worst, differs)]
        if max(differs) <= TOLERANCE:
            passed += 1
        else:
            failed += 1
            print(f"plan {number}: shares, moments, heights differ by {differs}", file=sys.stderr)
    print(f"worst relative difference: shares {worst[0]:.1e}, moments {worst[1]:.1e}, heights {worst[2]:.1e}")
    if passed + failed < 200:
        failed += 1
        print(f"expected 200 plans, read {passed + failed - 1}", file=sys.stderr)
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
