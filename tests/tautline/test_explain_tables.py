"""Parts of one stretch written as a table: every line of it followed from what stands on the page, against an integrator."""

import math
import re

import pytest
from scipy.integrate import solve_ivp

from tautline.explain import explain
from tautline.explain_page import Page
from tautline.explain_tensions import tension_lines

W, K, Q, DIAMETER = 20.0, 1.25, 0.6, 0.1
LIGHT, DRY, HOLD = 0.2, 0.4, 10.0
# length, grade in, grade out, turn of each stretch; beyond the hold, each is cut into four that differ in friction
STRETCHES = [
    (12.0, 0.0, 0.0, 0.0),
    (8.0, 0.0, 0.0, 0.0),
    (6.0, 0.0, 0.0, 1.0),
    (10.0, 0.0, 0.3, 0.0),
    (8.0, 0.3, 0.3, 0.0),
    (8.0, 0.3, 0.3, -0.9),
    (6.0, 0.3, 0.1, 0.05),
    (6.0, 0.1, 0.0, 0.0),
]
TOLD = re.compile(r"^ +(\d+) to (\d+)\. ([a-z ]+),")


def worn(d):
    return LIGHT if d <= HOLD else DRY - (DRY - LIGHT) * math.exp(-(d - HOLD) / HOLD)


@pytest.fixture(scope="module")
def page():
    """A pull over the stretches, its tensions by a general-purpose integrator."""
    segments = {
        name: [] for name in ("length_m", "grade_in_rad", "grade_out_rad", "turn_rad", "friction", "id")
    }
    station, tension, pressed = [0.0], [100.0], [0.0]
    for n, (length, one, other, turn) in enumerate(STRETCHES):
        for j in range(4 if n else 1):
            size = length / (4 if n else 1)
            low = one + (other - one) * j / 4 if n else one
            high = one + (other - one) * (j + 1) / 4 if n else other
            part = turn / (4 if n else 1)
            c = K * worn(station[-1] + size / 2)

            def slope(s, t, low=low, rate=(high - low) / size, h=part / size, c=c):
                g = low + rate * s
                return W * math.sin(g) + c * math.hypot(t[0] * rate - W * math.cos(g), t[0] * h * math.cos(g))

            found = solve_ivp(slope, (0, size), tension[-1:], method="DOP853", rtol=1e-11, atol=1e-9).y[0, -1]
            level = 1.0 if low * high <= 0 else max(math.cos(low), math.cos(high))
            curve = math.hypot(high - low, part * level) / size
            station.append(station[-1] + size)
            pressed.append(Q * max(found, tension[-1]) * curve / (1 - DIAMETER / 2 * curve))
            tension.append(found)
            for name, value in zip(segments, (size, low, high, part, c / K, f"F{n}"), strict=True):
                segments[name].append(value)
    many = len(segments["id"])
    law = {"lubricated": LIGHT, "dry": DRY, "hold_m": HOLD, "pressed": None, "press_force_N_per_m": None}
    segments |= {"laws": [law], "law": [0] * many, "guide": [False] * many, "how": ["drawn"] * many}
    segments |= {"weight_correction": [K] * many, "sidewall_factor": [Q] * many, "added_N": [0.0] * many}
    segments["inside_diameter_m"] = [DIAMETER] * many
    profile = {"station_m": station, "tension_N": tension, "sidewall_N_per_m": pressed}
    pull = {"feed": "A", "pull": "B", "passes": [], "relube": [], "segments": segments, "profile": profile}
    pull |= {
        "weight_N_per_m": W,
        "entry_tension_N": 100.0,
        "exit_tension_N": tension[-1],
        "max_tension_N": max(tension),
    }
    return Page.of({"job": {"units": "si"}, "bundle": {"cables": []}}, pull)


def tables(text):
    """Kind, words above it and lines of every table."""
    lines = text.splitlines()
    for at, line in enumerate(lines):
        if begun := TOLD.match(line):
            words, rows, heads = [], {}, None
            for under in lines[at + 1 :]:
                cells = under.split()
                if cells[0] == "no":
                    heads = cells[1:]
                elif heads and cells[0].isdecimal() and len(cells) == len(heads) + 1:
                    rows.setdefault(int(cells[0]), {}).update(zip(heads, map(float, cells[1:]), strict=True))
                elif heads:
                    break
                else:
                    words.append(under)
            assert list(rows) == list(range(int(begun[1]), int(begun[2]) + 1))
            yield begun[3], "\n".join(words), list(rows.values())


def told(words, name):
    return float(
        re.findall(rf"(?<![\w']){re.escape(name)} (?:= (?:L/a|L/\|g1 - g0\|) )?(?:=|from) (-?[\d.]+)", words)[
            0
        ]
    )


def stepped(slope, start, size):
    """One step of the classical fourth-order rule."""
    k1 = slope(0, start)
    k2 = slope(size / 2, start + size / 2 * k1)
    k3 = slope(size / 2, start + size / 2 * k2)
    return (k1 + 2 * k2 + 2 * k3 + slope(size, start + size * k3)) / 6


def followed(kind, words, line, tension, grade):
    """Tension behind a line of a table, from what stands on the page."""
    w, c, size = told(words, "w"), line["c"], line["L"]
    if "straight" in kind:
        g = 0.0 if "level" in kind else told(words, "g")
        return tension + w * size * (math.sin(g) + c * math.cos(g))
    if kind.startswith("level bend"):
        assert line["a"] == pytest.approx(size / told(words, "R"), rel=2e-6)
        return tension * math.cosh(c * line["a"]) + math.hypot(tension, told(words, "w R")) * math.sinh(
            c * line["a"]
        )
    if "steady" in kind:
        across, g = told(words, "W"), told(words, "g")
        assert line["a"] == pytest.approx(size / told(words, "R"), rel=2e-6)
        u = math.asinh(tension / across)
        assert line["k"] == pytest.approx(
            stepped(lambda _, v: c + math.tan(g) / math.cosh(v), u, line["a"]), rel=2e-6
        )
        assert line["u2"] == pytest.approx(u + line["a"] * line["k"], rel=2e-6)
        return across * math.sinh(line["u2"])
    if "changing" in kind:
        rate, h = told(words, "g'"), told(words, "h'")

        def slope(s, t):
            g = grade + rate * s
            return w * math.sin(g) + c * math.hypot(t * rate - w * math.cos(g), t * h * math.cos(g))

        assert line["k"] == pytest.approx(stepped(slope, tension, size), rel=3e-6)
        assert line["g2"] == pytest.approx(grade + rate * size, rel=2e-6)
        return tension + size * line["k"]
    k, end, sign, wr = line["k"], line["g1"], 1 if kind == "crest" else -1, told(words, "w R")
    assert abs(k) == abs(c)
    p, q = sign * wr * (1 - k * k) / (1 + k * k), sign * 2 * k * wr / (1 + k * k)
    constant = (tension - p * math.cos(grade) - q * math.sin(grade)) * math.exp(-k * grade)
    assert line["A"] == pytest.approx(constant, rel=1e-5)
    return line["A"] * math.exp(k * end) + p * math.cos(end) + q * math.sin(end)


def follow(text):
    """Follow every line of every table; return the kinds there were."""
    kinds = []
    for kind, words, rows in tables(text):
        kinds.append(kind)
        tension = told(words, "T1")
        grade = next(
            (told(words, g) for g in ("g0", "g") if f"{g} = " in words or f"{g} from " in words), 0.0
        )
        (correction,) = re.findall(r"c = f x ([\d.]+)", words)
        law = re.findall(r"= ([\d.]+) - \(([\d.]+) - ([\d.]+)\) e\^\(-\(d - ([\d.]+)\) / ([\d.]+)\)", words)
        for line in rows:
            if law:
                dry, again, light, hold, same = map(float, law[0])
                assert (dry, hold) == (again, same)
                assert line["f"] == pytest.approx(
                    dry - (dry - light) * math.exp(-(line["d"] - hold) / hold), rel=2e-6
                )
            assert line["c"] == pytest.approx(line["f"] * float(correction), rel=2e-6)
            assert line["T2"] == pytest.approx(followed(kind, words, line, tension, grade), rel=3e-6)
            tension = line["T2"]
            grade = line.get("g1", line.get("g2", grade))
    return kinds


def test_a_table_of_every_kind_is_followed_line_by_line(page):
    text = "\n".join(tension_lines(page))
    assert "every T2 above agrees" in text
    assert follow(text) == [
        "level straight",
        "level bend to the left",
        "sag",
        "straight on a grade",
        "bend to the right on a steady grade",
        "bend to the left with changing grade",
        "crest",
    ]
    # the pressure of the last part of the level bend, the greatest of it
    greatest = Q * page.pull["profile"]["tension_N"][9] / (6.0 - DIAMETER / 2)
    (shown,) = re.findall(r"greatest in 9: p = .* = ([\d.]+) N/m", text)
    assert float(shown) == pytest.approx(greatest, rel=1e-6)


def test_a_part_that_the_document_has_otherwise_is_written_out(page):
    tension = page.pull["profile"]["tension_N"]
    right, tension[15] = tension[15], 1.01 * tension[15]
    text = "\n".join(tension_lines(page))
    tension[15] = right
    assert re.search(r"^  15\. straight on a grade", text, re.M)
    assert f"THE DOCUMENT SAYS {1.01 * right:.4f} N HERE" in text
    assert "NOT EVERY T2" in text


def test_tables_of_the_sample(sample_plan):
    document = sample_plan.to_dict()
    for section in document["sections"]:
        for pull in section["pulls"]:
            follow(explain(document, pull, 10**6))
    assert follow(explain(document, document["sections"][1]["pulls"][0], 10**6))
