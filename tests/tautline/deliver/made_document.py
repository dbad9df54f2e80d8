"""Result documents of plain numbers, made without the program: what the deliverables are tried on.

A route is written as spans of simple elements; tensions come from small steps of the force balance
dT/ds = w sin g + c |T k - w n| in plain Python, so that the pictures look like real pulls. The names, the place and the
cable are invented. ``python made_document.py`` writes ``handwritten.json`` beside itself.
"""

from __future__ import annotations

import json
import math
from pathlib import Path

FT = 1200 / 3937
BORE = 0.1274
DIAMETER = 0.0411
WEIGHT = 76.5
CORRECTION, SIDEWALL_FACTOR = 1.30025, 0.63358
TENSION_LIMIT, SIDEWALL_LIMIT, REEL, SLACK = 22241.1, 7297.0, 762.0, 4.572


def straight(length, grade=0.0):
    g = math.radians(grade)
    return (length, g, g, 0.0)


def bend(radius, turn, grade=0.0):
    g, t = math.radians(grade), math.radians(turn)
    return (radius * abs(t) / math.cos(g), g, g, t)


def vertical(radius, grade_in, grade_out):
    a, b = math.radians(grade_in), math.radians(grade_out)
    return (radius * abs(b - a), a, b, 0.0)


def reverse(segment):
    length, a, b, turn = segment
    return (length, -b, -a, -turn)


def walk(segments, start, heading):
    """Points along the segments (chords of 5 degrees), the index of each segment's start, end heading."""
    x, y, z = start
    path, index = [[x, y, z]], [0]
    for length, a, b, turn in segments:
        steps = max(1, math.ceil(max(abs(turn), abs(b - a)) / math.radians(5)))
        for k in range(steps):
            ds, mid = length / steps, (k + 0.5) / steps
            g, h = a + (b - a) * mid, heading + turn * mid
            chord = 1.0 if turn == 0 else math.sin(turn / steps / 2) / (turn / steps / 2)
            x += ds * math.cos(g) * chord * math.cos(h)
            y += ds * math.cos(g) * chord * math.sin(h)
            z += ds * math.sin(g)
            path.append([round(x, 4), round(y, 4), round(z, 4)])
        heading += turn
        index.append(len(path) - 1)
    return path, index, heading


def integrate(segments, frictions, entry):
    """Tension at segment ends and greatest sidewall pressure on each, by 40 midpoint steps a segment."""
    tension, out, wall = entry, [entry], [0.0]
    for (length, a, b, turn), mu in zip(segments, frictions, strict=True):
        ds, c, worst = length / 40, mu * CORRECTION, 0.0
        dg, dh = (b - a) / length, turn / length

        def slope(t, s, a=a, dg=dg, dh=dh, c=c):
            g = a + dg * s
            return WEIGHT * math.sin(g) + c * math.hypot(t * dg - WEIGHT * math.cos(g), t * dh * math.cos(g))

        for k in range(40):
            half = tension + ds / 2 * slope(tension, k * ds)
            tension += ds * slope(half, (k + 0.5) * ds)
            curve = math.hypot(dg, dh * math.cos(a + dg * (k + 0.5) * ds))
            if curve > 0 and 1 / curve > BORE:
                worst = max(worst, SIDEWALL_FACTOR * tension / (1 / curve - BORE / 2))
        out.append(tension)
        wall.append(worst)
    return out, wall


def held(segments, frictions, entry):
    """The least entry, at least ``entry``, that keeps the cable taut, and the profile it gives."""
    low, high = 0.0, 0.0
    if min(integrate(segments, frictions, 0.0)[0]) < -1e-9:
        high = 20000.0
        for _ in range(40):
            mid = (low + high) / 2
            low, high = (low, mid) if min(integrate(segments, frictions, mid)[0]) >= 0 else (mid, high)
    used = max(entry, high)
    return used, high, *integrate(segments, frictions, used)


def check(name, value, limit, unit, source, *, minimum=False, binding=True, station=None, overridden=False):
    use = None if value is None or limit is None else (limit / value if minimum else value / limit)
    verdict = "note" if use is None else "pass" if use <= 0.8 else "attention" if use <= 1 else "fail"
    if verdict == "fail" and not binding:
        verdict = "attention"
    return {
        "name": name,
        "value": value,
        "limit": limit,
        "utilisation": use,
        "unit": unit,
        "source": source,
        "binding": binding,
        "verdict": verdict,
        "station_m": station,
        "overridden": overridden,
    }


def frictions_of(segments, relube_at, mu=0.21, hold=450.0, dry=0.50):
    """Friction by distance since the feed or the last re-lube segment."""
    out, since = [], 0.0
    for k, segment in enumerate(segments):
        if k in relube_at:
            since = 0.0
        beyond = since + segment[0] / 2 - hold
        out.append(mu if beyond <= 0 else dry - (dry - mu) * math.exp(-beyond / hold))
        since += segment[0]
    return out


def one_way(spans, tags, relube, entry):
    """Segments in the direction of the pull with their profile."""
    segments, passes, at = [], [], 0.0
    for span, tag in zip(spans, tags[1:], strict=True):
        segments += span
        at += sum(s[0] for s in span)
        passes.append((tag, at, len(segments)))
    marks = {count for tag, _, count in passes if tag in relube}
    mu = frictions_of(segments, marks)
    used, holding, tension, wall = held(segments, mu, entry)
    station = [0.0]
    for s in segments:
        station.append(station[-1] + s[0])
    return segments, passes[:-1], mu, used, holding, tension, wall, station


def pull_of(spans, tags, start, heading, forward, relube=(), entry=445.0, tension_limit=TENSION_LIMIT):
    """One pull over ``spans`` (given in the feeder's direction), drawn forward or backward."""
    path, index, _ = walk([s for span in spans for s in span], start, heading)
    back = ([[reverse(s) for s in reversed(span)] for span in reversed(spans)], tags[::-1])
    ways = [(spans, tags), back] if forward else [back, (spans, tags)]
    segments, passes, mu, used, holding, tension, wall, station = one_way(*ways[0], relube, entry)
    _, _, _, r_used, r_holding, r_tension, r_wall, r_station = one_way(*ways[1], relube, entry)
    if not forward:
        path = path[::-1]
        index = [len(path) - 1 - k for k in reversed(index)]
    elevation = [path[k][2] for k in index]
    n = len(segments)
    top = max(range(n + 1), key=lambda k: wall[k])
    r_top = max(range(n + 1), key=lambda k: r_wall[k])
    radii = [s[0] / math.hypot(s[3], s[2] - s[1]) for s in segments if s[3] or s[1] != s[2]]
    turns = math.degrees(sum(abs(s[3]) + abs(s[2] - s[1]) for s in segments))
    checks = [
        check(
            "max_tension",
            max(tension),
            tension_limit,
            "N",
            "limits.max_tension in the job; replaces the conductor, eye and grip limits",
            station=station[tension.index(max(tension))],
            overridden=True,
        ),
        check(
            "max_sidewall",
            wall[top],
            SIDEWALL_LIMIT,
            "N/m",
            "500 lbf/ft for shielded cable (handbooks; AEIC CG5, from memory)",
            station=station[top] if wall[top] else None,
        ),
        check(
            "bending_radius",
            min(radii) - BORE / 2 if radii else None,
            12 * DIAMETER,
            "m",
            "12 x diameter, shielded (NEC 300.34, from memory)",
            minimum=True,
        ),
        check(
            "clearance",
            0.0669,
            0.00635,
            "m",
            "not under 0.25 in (handbooks; common practice)",
            minimum=True,
        ),
        check("jam_ratio", 3.26, None, "1", "1.05 D/d, critical from 2.8 to 3.2 (common practice)"),
        check(
            "fill",
            0.31,
            0.40,
            "1",
            "40 % for three cables or more (NEC Chapter 9 Table 1, from memory)",
            binding=False,
        ),
        check(
            "bend_total",
            math.radians(turns),
            2 * math.pi,
            "rad",
            "360 degrees between pull points (NEC 352.26, from memory); a wiring code's rule, advice for utility ducts",
            binding=False,
        ),
        check(
            "restart_tension",
            1.25 * max(tension) if relube else None,
            tension_limit,
            "N",
            "factor 1.25 on the tension after a stop (common practice, no source)",
            binding=False,
        ),
    ]
    use = max(c["utilisation"] or 0.0 for c in checks if c["binding"])
    governs = max((c for c in checks if c["binding"]), key=lambda c: c["utilisation"] or 0.0)["name"]
    r_use = max(max(r_tension) / tension_limit, max(r_wall) / SIDEWALL_LIMIT)
    litres = 0.733425 * station[-1] * BORE * 1000 / 1000
    at = [ways[0][1][0], *relube]

    def profile(s, t, w, z):
        return {
            "station_m": [round(v, 4) for v in s],
            "tension_N": [round(v, 3) for v in t],
            "sidewall_N_per_m": [round(v, 3) for v in w],
            "elevation_m": [round(v, 4) for v in z],
        }

    return {
        "feed": ways[0][1][0],
        "pull": ways[0][1][-1],
        "length_m": station[-1],
        "passes": [{"tag": tag, "station_m": s} for tag, s, _ in passes],
        "relube": list(relube),
        "weight_N_per_m": WEIGHT,
        "arrangement": "cradled",
        "entry_tension_N": used,
        "holding_tension_N": holding,
        "exit_tension_N": tension[-1],
        "max_tension_N": max(tension),
        "max_sidewall_N_per_m": wall[top],
        "max_sidewall_station_m": station[top] if wall[top] else None,
        "limits": {"max_tension_N": tension_limit, "max_sidewall_N_per_m": SIDEWALL_LIMIT},
        "utilisation": use,
        "governs": governs,
        "verdict": "fail" if use > 1 else "pass",
        "reverse": {
            "entry_tension_N": r_used,
            "holding_tension_N": r_holding,
            "exit_tension_N": r_tension[-1],
            "max_tension_N": max(r_tension),
            "max_sidewall_N_per_m": r_wall[r_top],
            "max_sidewall_station_m": r_station[r_top] if r_wall[r_top] else None,
            "utilisation": r_use,
            "relube": list(relube),
            "verdict": "fail" if r_use > 1 else "pass",
            "profile": profile(r_station, r_tension, r_wall, elevation[::-1]),
        },
        "lubricant": {
            "total_L": litres,
            "grade": "regular",
            "at": [
                {
                    "vault": tag,
                    "litres": litres / len(at),
                    "how": "by hand or pump at the duct mouth; 2 bags of half a US gallon ahead of the cable",
                }
                for tag in at
            ],
            "notes": ["base quantity by length and duct size (common practice, no source)"],
        },
        "checks": checks,
        "segments": {
            "length_m": [s[0] for s in segments],
            "grade_in_rad": [s[1] for s in segments],
            "grade_out_rad": [s[2] for s in segments],
            "turn_rad": [s[3] for s in segments],
            "friction": mu,
            "weight_correction": [CORRECTION] * n,
            "added_N": [0.0] * n,
            "sidewall_factor": [SIDEWALL_FACTOR] * n,
            "inside_diameter_m": [BORE] * n,
            "guide": [False] * n,
            "id": [f"2F{k:X}" for k in range(n)],
            "how": ["drawn"] * n,
            "path_index": index,
        },
        "profile": profile(station, tension, wall, elevation),
        "path": path,
        "notes": ["friction grows beyond 1,476 ft from the last lubrication"] if station[-1] > 450 else [],
    }


def route_of(spans, tags, start, heading):
    """Route spans, vault places and the start (place, heading) of each span."""
    route, places, at = [], [], []
    for k, span in enumerate(spans):
        path, index, after = walk(span, start, heading)
        at.append((start, heading))
        places.append(start)
        route.append(
            {
                "from": tags[k],
                "to": tags[k + 1],
                "duct": f"D-{k + 1:02d}",
                "bore": "5 in PVC 40",
                "path": path,
                "path_index": index,
                "turn_rad": [s[3] for s in span],
            }
        )
        start, heading = tuple(path[-1]), after
    places.append(start)
    return route, places, at


def plan_document(name, spans, tags, cuts, *, start, heading=0.0, units="us", crs="EPSG:2229"):
    """A planned feeder. ``cuts``: for each section (first vault, last vault, [(first, last, forward, relube)])."""
    route, places, at = route_of(spans, tags, start, heading)
    sections, roles = [], {tag: set() for tag in tags}
    for low, high, pulls in cuts:
        made = [
            pull_of(spans[a:b], tags[a : b + 1], *at[a], forward, relube) for a, b, forward, relube in pulls
        ]
        length = sum(s[0] for span in spans[low:high] for s in span)
        sections.append(
            {"from": tags[low], "to": tags[high], "cable_length_m": length + 2 * SLACK, "pulls": made}
        )
        for p in made:
            roles[p["feed"]].add("feed")
            roles[p["pull"]].add("pull")
            for stop in p["passes"]:
                roles[stop["tag"]].add("relube" if stop["tag"] in p["relube"] else "pass")
        for end in (low, high):
            roles[tags[end]].add("end" if end in (0, len(tags) - 1) else "splice")
    station, total = [0.0], 0.0
    for span in spans:
        total += sum(s[0] for s in span)
        station.append(total)
    everything = [p for s in sections for p in s["pulls"]]
    relubes = sum(len(p["relube"]) for p in everything)
    order = ["end", "splice", "feed", "pull", "relube", "pass"]
    return {
        "schema": "tautline-result/1",
        "program": {"name": "tautline", "version": "0.1.0"},
        "job": {"name": name, "units": units, "file": "harbour.toml"},
        "command": "plan",
        "verdict": "fail" if any(p["verdict"] == "fail" for p in everything) else "pass",
        "feeder": {"from": tags[0], "to": tags[-1], "length_m": total, "vaults": tags},
        "bundle": {"cables": [cable() for _ in range(3)], "weight_N_per_m": WEIGHT},
        "sections": sections,
        "vaults": [
            {
                "tag": tag,
                "x": p[0],
                "y": p[1],
                "z": p[2],
                "roles": [r for r in order if r in roles[tag]],
                "kind": "riser" if tag == tags[-1] else "manhole",
                "station_m": s,
            }
            for tag, p, s in zip(tags, places, station, strict=True)
        ],
        "route": route,
        "crs": crs,
        "ground": {"unit": "us_survey_foot", "metres_per_unit": FT}
        if units == "us"
        else {"unit": "metre", "metres_per_unit": 1.0},
        "source": {"file": "harbour.dxf", "sha256": "5f" * 32},
        "cost": {
            "splices": len(sections) - 1,
            "setups": len(everything),
            "relubes": relubes,
            "total": 10.0 * (len(sections) - 1) + 3.0 * len(everything) + relubes,
        },
        "no_plan": None,
        "reel": {"longest_m": REEL, "slack_m": SLACK},
        "settings": [
            {"name": "friction.lubricated", "value": 0.21, "unit": "1", "source": "job"},
            {"name": "friction.dry", "value": 0.50, "unit": "1", "source": "job"},
            {"name": "friction.hold", "value": 450.0, "unit": "m", "source": "job"},
            {
                "name": "pulling.attachment",
                "value": "eye",
                "unit": "",
                "source": "default: common practice, no source",
            },
            {
                "name": "pulling.entry",
                "value": 445.0,
                "unit": "N",
                "source": "default: 100 lbf a reel, common practice",
            },
        ],
        "assumptions": [
            "Guides at vaults have a radius of 36 in and friction 0.12 (common practice, no source).",
            "The rope is fastened with a pulling eye (common practice, no source).",
            "Three single cables lie cradled above D/d = 2.5 (IEEE Std 1185, from memory).",
        ],
        "overrides": [
            "limits.max_tension = 5000 lbf replaces the conductor, eye and grip limits (10,000 lbf, eye)."
        ],
        "cautions": [
            "A rope under tension can part and kill: nobody stands in line with it, in the bight, or in a vault "
            "while it runs.",
            "Before anyone enters a vault: test the air, ventilate, prove every cable there dead or keep clear of it, "
            "by the local rules.",
            "The cable maker's own limits, local codes and a licensed engineer's judgement go before this result.",
        ],
        "findings": [
            finding(
                "gap-closed",
                "info",
                "A gap of 0.04 ft between two pieces was closed.",
                "DUCT-PRIM",
                "2F4",
                places[min(2, len(places) - 1)],
            ),
            finding(
                "corner-swept",
                "warning",
                "A corner of 42 degrees drawn sharp was given the sweep of 12.5 ft that the job states.",
                "DUCT-PRIM",
                "30A",
                places[min(4, len(places) - 1)],
                "Draw the bend as built, or state sweep in [route].",
            ),
        ],
    }


def cable():
    return {
        "name": "15 kV 500 kcmil copper",
        "diameter_m": DIAMETER,
        "weight_N_per_m": WEIGHT / 3,
        "material": "copper",
        "conductor_area_m2": 2.5335e-4,
        "construction": "shielded",
        "role": "power",
    }


def finding(code, severity, message, layer, handle, place, remedy=""):
    return {
        "code": code,
        "severity": severity,
        "message": message,
        "remedy": remedy,
        "where": {"file": "harbour.dxf", "layer": layer, "id": handle, "x": place[0], "y": place[1]},
    }


HARBOUR_TAGS = ["SUB-A", "MH-1", "MH-2", "MH-3", "MH-4", "MH-5", "MH-6", "MH-7", "MH-8", "RISER-9"]
HARBOUR_SPANS = [
    [straight(140), bend(3.81, 90), straight(38)],
    [straight(120), bend(15.24, -22.5), straight(95)],
    [straight(60), bend(3.81, -45), straight(102)],
    [
        straight(70),
        vertical(30, 0, -8),
        straight(46, -8),
        vertical(30, -8, 6),
        straight(60, 6),
        vertical(30, 6, 0),
    ],
    [straight(110), bend(3.81, 45), straight(52), bend(3.81, -30), straight(33)],
    [straight(30), vertical(40, 0, 9), straight(120, 9), vertical(40, 9, -4), straight(61, -4)],
    [straight(88, -4), vertical(40, -4, 0), bend(7.62, -60), straight(120)],
    [straight(150), bend(3.81, 42), straight(64)],
    [straight(75), bend(1.524, -90), straight(12), vertical(1.524, 0, 80), straight(6, 80)],
]
HARBOUR_CUTS = [
    (0, 3, [(0, 3, False, ["MH-1"])]),
    (3, 5, [(3, 5, True, [])]),
    (5, 7, [(6, 5, True, []), (6, 7, True, [])]),
    (7, 9, [(7, 9, False, [])]),
]


def harbour():
    """The handwritten document: four sections, a dip and a hill, one section fed from its middle."""
    cuts = [
        (low, high, [(min(a, b), max(a, b), forward and a < b, relube) for a, b, forward, relube in pulls])
        for low, high, pulls in HARBOUR_CUTS
    ]
    start = (6_470_000 * FT, 1_840_000 * FT, 12.0)
    return plan_document("Harbour feeder", HARBOUR_SPANS, HARBOUR_TAGS, cuts, start=start, heading=0.35)


def many(vaults, span_length, *, units="us", name="Long feeder", per_section=3, tag="MH-{:03d}"):
    """A feeder of ``vaults`` vaults that wanders, for trying the deliverables at every size."""
    turns = [22.5, -45, 30, -11.25, 45, -22.5, 11.25, -30]
    spans = [
        [
            straight(span_length * 0.6),
            bend(min(15.0, span_length / 4), turns[k % 8]),
            straight(span_length * 0.3),
        ]
        for k in range(vaults - 1)
    ]
    tags = [tag.format(k) for k in range(vaults)]
    cuts = []
    for low in range(0, vaults - 1, per_section):
        high = min(low + per_section, vaults - 1)
        cuts.append((low, high, [(low, high, (low // per_section) % 2 == 0, [])]))
    return plan_document(name, spans, tags, cuts, start=(500_000.0, 4_000_000.0, 20.0), units=units, crs=None)


if __name__ == "__main__":
    target = Path(__file__).with_name("handwritten.json")
    target.write_text(json.dumps(harbour(), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
