"""Every tension in a result document, recomputed from the document alone with a general-purpose integrator."""

import itertools
import math

import pytest
from scipy.integrate import solve_ivp

NEAR = 1e-6  # relative


def recomputed(segments, dry, entry):
    """Tension at the start and at the end of each segment, by the force balance and nothing else."""
    found = [entry]
    weights = segments.get("weight_N_per_m", [dry] * len(segments["length_m"]))
    for k, length in enumerate(segments["length_m"]):
        one, other = segments["grade_in_rad"][k], segments["grade_out_rad"][k]
        grade_rate, turn_rate = (other - one) / length, segments["turn_rad"][k] / length
        c = segments["friction"][k] * segments["weight_correction"][k]

        def slope(s, t, weight=weights[k], one=one, grade_rate=grade_rate, turn_rate=turn_rate, c=c):
            g = one + grade_rate * s
            across = math.hypot(t[0] * grade_rate - weight * math.cos(g), t[0] * turn_rate * math.cos(g))
            return [weight * math.sin(g) + c * across]

        done = solve_ivp(slope, (0.0, length), [found[-1]], method="DOP853", rtol=1e-10, atol=1e-8)
        found.append(float(done.y[0, -1]) + segments["added_N"][k])
    return found


def pressed(segments, tension):
    """Greatest sidewall pressure on each segment, by its definition at both ends and in between."""
    found = []
    for k, length in enumerate(segments["length_m"]):
        one, other = segments["grade_in_rad"][k], segments["grade_out_rad"][k]
        flattest = 1.0 if one * other <= 0 else max(math.cos(one), math.cos(other))
        curvature = math.hypot((other - one) / length, segments["turn_rad"][k] / length * flattest)
        if curvature * length < 1e-12:
            found.append(0.0)
            continue
        radius = 1 / curvature - (segments["inside_diameter_m"][k] or 0.0) / 2
        # an assist relieves the cable only once it has come out of the segment
        hardest = max(0.0, tension[k], tension[k + 1] - segments["added_N"][k])
        found.append(segments["sidewall_factor"][k] * hardest / radius)
    return found


def both_ways(document):
    pulls = document.get("pulls") or [p for s in document["sections"] for p in s["pulls"]]
    for pull in pulls:
        yield pull, pull["weight_N_per_m"]
        if pull["reverse"]:
            yield pull["reverse"], pull["weight_N_per_m"]


@pytest.mark.parametrize("run", ["sample_plan", "sample_check", "laden_check"])
def test_every_tension_and_sidewall_pressure(run, request):
    document = request.getfixturevalue(run).to_dict()
    count = 0
    for way, weight in both_ways(document):
        tension = recomputed(way["segments"], weight, way["entry_tension_N"])
        assert way["profile"]["tension_N"] == pytest.approx(tension, rel=NEAR, abs=1e-3)
        assert way["exit_tension_N"] == pytest.approx(tension[-1], rel=NEAR, abs=1e-3)
        assert way["max_tension_N"] == pytest.approx(max(tension), rel=NEAR)
        assert min(tension) >= -1e-3  # taut all along
        wall = pressed(way["segments"], tension)
        stated = way["profile"]["sidewall_N_per_m"][1:]
        if run == "laden_check":
            # waviness (4 degrees over 100 m) adds to a bend's curvature for the pressure, whichever way it waves
            most = [w + 1.2 * t * math.radians(4) / 100 for w, t in zip(wall, tension[1:], strict=True)]
            assert all(w * 0.999 - 1e-3 <= s <= m + 1.0 for w, s, m in zip(wall, stated, most, strict=True))
        else:
            # the greatest on a piece may lie inside it where curvature and tension both change
            assert stated == pytest.approx(wall, rel=1e-3, abs=1e-3)
            assert way["max_sidewall_N_per_m"] == pytest.approx(max(wall), rel=1e-3)
        count += len(tension)
    assert count > 200


@pytest.mark.parametrize("run", ["sample_plan", "sample_check", "laden_check"])
def test_the_path_has_the_length_of_the_segments(run, request):
    document = request.getfixturevalue(run).to_dict()
    pulls = document.get("pulls") or [p for s in document["sections"] for p in s["pulls"]]
    for pull in pulls:
        segments, path = pull["segments"], [[x, y, z or 0.0] for x, y, z in pull["path"]]
        index = segments["path_index"]
        assert len(index) == len(segments["length_m"]) + 1
        for k, length in enumerate(segments["length_m"]):
            part = path[index[k] : index[k + 1] + 1]
            along = sum(math.dist(a, b) for a, b in itertools.pairwise(part))
            # chords of 0.055 rad are shorter than their arcs by 1.3e-4 at most; vault mouths stand apart by inches
            loose = (
                0.5
                if segments["guide"][k] or (k + 1 < len(segments["guide"]) and segments["guide"][k + 1])
                else 0.05
            )
            assert along == pytest.approx(length, rel=2e-4, abs=loose)


@pytest.mark.parametrize("run", ["sample_plan", "sample_check"])
def test_the_winch_reads_the_cable_at_the_end_and_the_bends_ahead_before(run, request):
    """The rope by the capstan equation, e^(friction x angle), its weight left out; 0.3 in ducts is the table's value."""
    document = request.getfixturevalue(run).to_dict()
    pulls = document.get("pulls") or [p for s in document["sections"] for p in s["pulls"]]
    for pull in pulls:
        segments, profile = pull["segments"], pull["profile"]
        exponents = []
        for k, length in enumerate(segments["length_m"]):
            low, high = segments["grade_in_rad"][k], segments["grade_out_rad"][k]
            steps = 200
            grades = [low + (high - low) * (i + 0.5) / steps for i in range(steps)]
            angle = sum(math.hypot(high - low, segments["turn_rad"][k] * math.cos(g)) for g in grades) / steps
            exponents.append(
                angle * (segments["friction"][k] if segments["guide"][k] else 0.3) * (length > 0)
            )
        assert profile["winch_N"][-1] == pytest.approx(pull["exit_tension_N"], rel=1e-9)
        for k, reading in enumerate(profile["winch_N"]):
            ahead = sum(exponents[k:])
            assert reading == pytest.approx(profile["tension_N"][k] * math.exp(ahead), rel=1e-4, abs=1e-3)
        assert pull["winch_tension_N"] == max(profile["winch_N"]) >= pull["exit_tension_N"]
