"""Ducts drawn in pieces as drafters leave them; the truth is the code that made the duct, straights and tangent arcs."""

import math
import random

import ezdxf
import numpy as np
import pytest

UNITS = {6: 1.0, 4: 0.001, 2: 0.3048, 21: 1200 / 3937, 1: 0.0254}
RADII, TURNS = (3.0, 4.0, 5.0, 10.0, 25.0, 50.0), (11.25, 22.5, 30.0, 45.0, 60.0, 90.0)


def made(chance):
    """A duct: straights, and arcs as (radius, turn) between them, placed; each as (from, to, bulge, length, turn)."""
    x, y, heading = chance.uniform(0, 1e5), chance.uniform(0, 1e5), chance.uniform(0, 6.28)
    out = []
    for k in range(2 * chance.randint(1, 5) + 1):
        if k % 2:
            radius, turn = chance.choice(RADII), math.radians(chance.choice(TURNS)) * chance.choice((-1, 1))
            length, chord = radius * abs(turn), 2 * radius * math.sin(abs(turn) / 2)
        else:
            turn, length = 0.0, chance.uniform(10, 60)
            chord = length
        along = heading + turn / 2
        there = (x + chord * math.cos(along), y + chord * math.sin(along))
        out.append(((x, y), there, math.tan(turn / 4), length, turn))
        (x, y), heading = there, heading + turn
    return out


def in_pieces(duct, gap, chance):
    """Straights with ends off by up to the gap or cut in two that meet, part or overlap; one piece twice; in any order."""
    pieces = []
    for k, (p, q, bulge, length, turn) in enumerate(duct):
        if turn:
            pieces.append((p, q, bulge))
            continue
        u = np.subtract(q, p) / length
        a = p + u * (0 if k == 0 else chance.uniform(-gap, gap))
        b = q - u * (0 if k == len(duct) - 1 else chance.uniform(-gap, gap))
        if chance.random() < 0.4:
            cut = p + u * chance.uniform(0.3, 0.7) * length
            pieces += [(a, cut, 0.0), (cut - u * chance.choice((0, 0.02, -0.02, 1.0, 2.0)), b, 0.0)]
        else:
            pieces.append((a, b, 0.0))
    if chance.random() < 0.4:
        pieces.append(chance.choice(pieces))
    chance.shuffle(pieces)
    return pieces


def draw(path, duct, pieces, chance):
    code, unit = chance.choice(list(UNITS.items()))
    drawing = ezdxf.new("R2013", units=code)
    drawing.header["$MEASUREMENT"] = int(code in (4, 6))
    space = drawing.modelspace()
    for tag, place in (("A", duct[0][0]), ("B", duct[-1][1])):
        space.add_point(np.divide(place, unit), dxfattribs={"layer": "VAULT"})
        text = space.add_text(tag, height=0.5 / unit, dxfattribs={"layer": "VAULT"})
        text.set_placement(np.add(place, 0.5) / unit)
    for p, q, bulge in pieces:
        if chance.random() < 0.5:
            p, q, bulge = q, p, -bulge
        p, q = np.divide(p, unit), np.divide(q, unit)
        vertices = [(*p, bulge), (*q, 0.0)]
        if not bulge and chance.random() < 0.5:
            vertices.insert(1, (*(p + q) / 2, 0.0))
        space.add_lwpolyline(vertices, format="xyb", dxfattribs={"layer": "DUCT"})
    drawing.saveas(path)


@pytest.mark.parametrize("gap", [0.0, 0.02, 0.1])
@pytest.mark.parametrize(
    "seed", [*range(4), *(pytest.param(s, marks=pytest.mark.slow) for s in range(4, 80))]
)
def test_a_duct_drawn_in_pieces_is_the_duct(seed, gap, tmp_path, survey):
    chance = random.Random(seed)
    duct = made(chance)
    path = tmp_path / "pieces.dxf"
    draw(path, duct, in_pieces(duct, gap, chance), chance)
    (found,) = survey(path, sweep=2.0).ducts
    assert {found.start_vault, found.end_vault} == {"A", "B"}
    chain = found.chain
    # every gap moves what it closes by its own width at most; a straight turns by as much over its length
    assert chain.total_length == pytest.approx(sum(d[3] for d in duct), abs=0.02 + 2 * gap * len(duct))
    assert np.abs(chain.turn).sum() == pytest.approx(sum(abs(d[4]) for d in duct), abs=1e-3 + 0.3 * gap)
    bends = chain.turn != 0.0
    radii = np.sort(chain.length[bends] / np.abs(chain.turn[bends]))
    assert radii == pytest.approx(sorted(d[3] / abs(d[4]) for d in duct if d[4]), rel=1e-3 + 0.2 * gap)
