"""Charts: what their artists hold, whether they move rightly, and whether they can be read.

Expected curves come from hand formulas written here or from `independent`, never from the functions
that feed the charts. A sign error in preload, in the gap shift, in motion ratio or in the top-out
spring must break one of the tests under "signs".
"""

import io
import itertools
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import matplotlib
import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.text import Text
from numpy.testing import assert_allclose
from PIL import Image
from scipy.optimize import brentq

import suspkit as sk
from suspkit import Gas, TopOut
from suspkit.charts import board as charts
from suspkit.charts.board import CHARTS, MAIN, TENDER, Board, rows_for
from suspkit.statics.view import STATES, lean, look
from tests.statics.test_view import CASES, UNIT7, all_round, pair, seen, single, triple
from tests.tools import independent

INCH, LBF, G = 0.0254, 4.4482216152605, 9.80665  # exact by definition (NIST SP 811, appendix B)
SCALE = {"us": {"length": INCH, "force": LBF, "rate": LBF / INCH},
         "metric": {"length": 1e-3, "force": 1.0, "rate": 1e3}}  # fmt: skip

every_case = pytest.mark.parametrize("case", CASES)
both_axles = pytest.mark.parametrize("axle", ["front", "rear"])
both_units = pytest.mark.parametrize("units", ["us", "metric"])
KINDS = ("start", "install", "preload", "gap")


def drawn(name, view, axle="front", units="us", first=None):
    """One chart, made for ``first`` and moved to ``view``."""
    board = Board(first or view, [[(name, axle)]], units=units)
    board.update(view)
    return board.charts[0]


def data(line, x="length", y="force", units="us"):
    """What a line shows, in SI."""
    a, b = line.get_data()
    return np.asarray(a) * SCALE[units][x], np.asarray(b) * SCALE[units][y]


def corner_of(view, axle):
    return independent.Corner(view.vehicle, view.setup, f"{axle}_left")


def standing(view, axle):
    """Index into arrays of four, and the independent answer."""
    answer = independent.settle(view.vehicle, view.setup, view.load)
    return (0 if axle == "front" else 2), answer


# ---------------------------------------------------------------------------- the shock's curve


@every_case
@both_axles
@both_units
def test_shock_curve(case, axle, units):
    view = seen(case)
    chart, other = drawn("shock", view, axle, units), corner_of(view, axle)
    s, force = data(chart.curve, units=units)
    assert s[0] == pytest.approx(other.hang, abs=1e-8) and s[-1] == pytest.approx(other.full_bump)
    for i in range(0, s.size, 13):
        assert force[i] == pytest.approx(other.force(s[i]), rel=1e-6, abs=1e-2)


@both_axles
@both_units
def test_shock_curve_markers(axle, units):
    view = seen("pair")
    chart, other = drawn("shock", view, axle, units), corner_of(view, axle)
    i, answer = standing(view, axle)
    s = answer.compression[i]
    (at,), (force,) = data(chart.ride, units=units)
    assert at == pytest.approx(s, abs=1e-7) and force == pytest.approx(other.force(s), rel=1e-6)
    across, down = data(chart.drop, units=units)
    assert_allclose(across, [at, at, 0])
    assert_allclose(down, [0, force, force])
    # Two linear springs: crossover after gap (k_m + k_t) / k_m of shock travel.
    met = other.hang + (0.03 + 0.003) * (65e3 + 50e3) / 65e3
    (at,), (force,) = data(chart.cross, units=units)
    assert at == pytest.approx(met, abs=1e-8)
    assert force == pytest.approx(other.force(met), rel=1e-6)
    for line, place in ((chart.strip_cross, met), (chart.strip_ride, s)):
        assert_allclose(data(line, y="length", units=units)[0], [place, place], atol=1e-7)
    words = sk.units.show(met, "length", units)
    assert chart.cross_text.get_text().strip() == f"crossover {words}"
    assert chart.ride_text.get_text().strip() == f"standing {sk.units.show(s, 'length', units)}"


@both_axles
@both_units
def test_the_ghost_is_the_curve_without_the_ring(axle, units):
    view = seen("kit")
    chart, other = drawn("shock", view, axle, units), corner_of(view, axle)
    s, ghost = data(chart.ghost, units=units)
    free = independent.Stack(other.stack.springs, {})
    for i in range(0, s.size, 13):
        expected = free.force(s[i] + other.seat) + other.gas(s[i]) + other.limits(s[i])
        assert ghost[i] == pytest.approx(expected, rel=1e-6, abs=1e-2)
    assert chart.ghost_text.get_text() == "without the ring"


@both_axles
@both_units
def test_squeeze_of_each_spring(axle, units):
    view = seen("pair")
    chart, other = drawn("shock", view, axle, units), corner_of(view, axle)
    kt, km = 50e3, 65e3
    s, tender = data(chart.parts[0], y="length", units=units)
    _, main = data(chart.parts[1], y="length", units=units)
    total = s + other.seat
    cap = 0.03 + 0.003 + (other.hang + other.seat) * km / (km + kt)  # gap, lip, squeeze at hang
    assert_allclose(tender, np.minimum(total * km / (km + kt), cap), atol=1e-8)
    assert_allclose(main, total - tender, atol=1e-8)
    assert [t.get_text().strip() for t in chart.part_texts] == ["tender", "main"]


def test_squeeze_of_one_and_of_three_springs():
    chart, other = drawn("shock", seen("single")), corner_of(seen("single"), "front")
    (only,) = chart.parts
    s, squeeze = data(only, y="length")
    assert_allclose(squeeze, s + other.seat, atol=1e-9)
    assert chart.part_texts[0].get_text().strip() == "spring"
    chart, other = drawn("shock", seen("triple")), corner_of(seen("triple"), "front")
    lines = [data(line, y="length") for line in chart.parts]
    assert_allclose(sum(q for _, q in lines), lines[0][0] + other.seat, atol=1e-9)
    roles = [t.get_text().strip() for t in chart.part_texts]
    assert roles == ["tender", "middle", "main"]
    # The upper ring freezes the helper, the lower one the tender.
    assert lines[0][1].max() < lines[1][1].max() < lines[2][1].max()


@pytest.mark.parametrize("case", ["stock", "single", "far"])
def test_nothing_is_marked_where_no_ring_is_met(case):
    """Also after one was: the same picture moves on."""
    view = seen(case)
    if case == "far":
        first = look(view.vehicle, view.setup.change("all", gap=0.03), load=None)
    else:
        first = view
    board = Board(first, [[("shock", "front"), ("wheel", "front")]])
    board.update(first)
    board.update(view)
    shock, wheel = board.charts
    for line in (shock.ghost, shock.cross, shock.strip_cross, wheel.cross, wheel.rate_cross):
        assert len(line.get_xdata()) == 0
    for text in (shock.ghost_text, shock.cross_text, wheel.cross_text):
        assert text.get_text() == ""


# --------------------------------------------------------------------------------- at the wheel


@every_case
@both_axles
@both_units
def test_wheel_curve(case, axle, units):
    view = seen(case)
    chart, other = drawn("wheel", view, axle, units), corner_of(view, axle)
    z, force = data(chart.force, units=units)
    for i in range(0, z.size - 1, 13):
        assert force[i] == pytest.approx(other.wheel_force(z[i]), rel=1e-6, abs=2e-2)
    z, rate = data(chart.rate, y="rate", units=units)
    # Central differences, away from kinks and below the bump stop's cut.
    top = 0.9 * chart.rate_axes.get_ylim()[1] * SCALE[units]["rate"]
    clear = [i for i in range(3, z.size - 3, 7) if z[i + 1] - z[i - 1] > 1e-3 and rate[i] < top]
    assert len(clear) > 10
    for i in clear:
        a, b = other.wheel_force(z[i] - 1e-6), other.wheel_force(z[i] + 1e-6)
        if abs(rate[i + 1] - rate[i - 1]) < 0.02 * rate[i]:
            assert rate[i] == pytest.approx((b - a) / 2e-6, rel=1e-4)


@both_axles
@both_units
def test_wheel_curve_markers(axle, units):
    view = seen("pair")
    chart, other = drawn("wheel", view, axle, units), corner_of(view, axle)
    i, answer = standing(view, axle)
    z = answer.travel[i]
    load = other.wheel_force(z)
    (at,), (force,) = data(chart.ride, units=units)
    assert at == pytest.approx(z, abs=1e-7) and force == pytest.approx(load, rel=1e-4)
    s, ratio = other.motion(z)
    rate = 65e3 * ratio**2 + other.force(s) * 2 * other.motion.b  # past crossover: main alone
    (at,), (shown,) = data(chart.rate_ride, y="rate", units=units)
    assert at == pytest.approx(z, abs=1e-7) and shown == pytest.approx(rate, rel=1e-6)
    across, down = data(chart.level, units=units)
    assert_allclose(across, [0, z, z], atol=1e-7)
    assert_allclose(down, [load, load, 0], rtol=1e-4)
    words = chart.ride_text.get_text().strip()
    assert words == f"carries {sk.units.show(load, 'force', units)}"
    hertz = np.sqrt(1 / (1 / rate + 1 / 150e3) / (load / G)) / (2 * np.pi)
    assert chart.rate_text.get_text() == f"{hertz:.2f} Hz here"
    met = other.hang + 0.033 * (65e3 + 50e3) / 65e3
    for line in (chart.cross, chart.rate_cross):
        z_met = data(line, units=units)[0]
        assert_allclose([other.motion(z)[0] for z in z_met], [met, met], atol=1e-7)


# ------------------------------------------------------------------------------------------ signs

KT, KM, PITCH, LIP = 50e3, 65e3, 0.0015875, 0.003
A, B = 0.55, 0.1  # the linkage is s = A z + B z^2
TOP_RATE, TOP_LENGTH, UNSPRUNG = 30e3, 0.04, 34.0
ROD, FILL, VOLUME = 0.02, 9e5, 1.8e-4


def signed(**corner):
    """A vehicle with everything that has a sign, as a view."""
    axle = {
        "top_out": TopOut(rate=TOP_RATE, length=TOP_LENGTH), "lip": LIP,
        "gas": Gas(rod_diameter=ROD, pressure=FILL, volume=VOLUME),
    }  # fmt: skip
    front = independent.make_axle(a=A, b=B, **axle)
    vehicle = independent.make_vehicle(front=front, setup=all_round(**corner))
    return look(vehicle, load=None)


def push(s):
    """Gas and top-out spring by hand [N]."""
    area = np.pi * ROD**2 / 4
    gauge = (FILL + 101325.0) * VOLUME / (VOLUME - area * s) - 101325.0  # isothermal
    return gauge * area - TOP_RATE * np.maximum(0.0, TOP_LENGTH - s)


def ratio(s):
    return np.sqrt(A**2 + 4 * B * s)  # dz of A z + B z^2 at that s


def hand(turns, *, gap=None, ring=None):
    """Shock force over compression, hang, and crossover, by hand."""

    def hanging(springs):
        return brentq(
            lambda s: (springs(s) + push(s)) * ratio(s) + UNSPRUNG * G, 1e-6, 0.1, xtol=1e-15
        )

    series = KT * KM / (KT + KM)
    contact = hanging(lambda s: 0.0)
    preload = turns * PITCH

    def below(s):
        return series * np.maximum(0.0, s - contact + preload)

    hang = hanging(below)
    if ring is None:
        held = gap + LIP + below(hang) / KT
    else:
        held = ring + LIP + preload  # a ring left alone: more preload moves the divider off it
    cross = held * (KT + KM) / KM + contact - preload

    def force(s):
        past = KM * (s - contact + preload - held)
        return np.where(s < cross, below(s), past) + push(s)

    return force, hang, cross


@pytest.mark.parametrize("turns", [0.0, 5.0, 12.0])
def test_sign_of_preload(turns):
    """More turns, more force: by as much as the hand formula says, at every place."""
    force, hang, _ = hand(turns, gap=0.03)
    s, shown = data(drawn("shock", signed(turns=turns, gap=0.03)).curve)
    assert s[0] == pytest.approx(hang, abs=1e-9)
    assert_allclose(shown, force(s), rtol=1e-7, atol=1e-3)


def test_sign_of_the_gap_shift():
    """Ring left alone: two more turns move crossover *later*, by k_t / k_m of their travel."""
    crosses = []
    for turns in (5.0, 7.0):
        view = signed(turns=turns, ring=0.028)
        chart = drawn("shock", view)
        force, hang, cross = hand(turns, ring=0.028)
        s, shown = data(chart.curve)
        assert_allclose(shown, force(s), rtol=1e-7, atol=1e-3)
        (at,), _ = data(chart.cross)
        assert at == pytest.approx(cross, abs=1e-9)
        crosses.append(at)
        # The gap in the cut-away: from divider to ring at droop hang.
        _, down = drawn("cutaway", view).columns[0]["gap"].get_data()
        assert down[1] - down[0] == pytest.approx(gap_left_alone(turns, hang), abs=1e-9)
    assert crosses[1] - crosses[0] == pytest.approx(2 * PITCH * KT / KM, abs=1e-9)


def gap_left_alone(turns, hang):
    """What the tape reads with the ring left at 28 mm: its place less the tender's squeeze."""
    contact = hand(0.0, gap=0.03)[1]
    tender = (hang - contact + turns * PITCH) * KM / (KT + KM)
    return 0.028 + turns * PITCH - tender


def test_past_crossover_with_the_ring_left_alone_the_collar_does_nothing():
    curves = [data(drawn("shock", signed(turns=t, ring=0.028)).curve) for t in (5.0, 7.0)]
    past = np.linspace(0.12, 0.23, 40)
    (first, second) = (np.interp(past, *curve) - push(past) for curve in curves)
    assert_allclose(first, second, rtol=1e-4)


@pytest.mark.parametrize("gap", [0.01, 0.05])
def test_sign_of_the_gap(gap):
    """A wider gap, a later crossover and a softer full bump."""
    force, _, cross = hand(5.0, gap=gap)
    chart = drawn("shock", signed(turns=5.0, gap=gap))
    s, shown = data(chart.curve)
    assert_allclose(shown, force(s), rtol=1e-7, atol=1e-3)
    assert data(chart.cross)[0][0] == pytest.approx(cross, abs=1e-9)


def test_sign_of_motion_ratio():
    """Wheel force is shock force times ds/dz; the rate keeps the bend of the linkage."""
    force, _, cross = hand(5.0, gap=0.03)
    chart = drawn("wheel", signed(turns=5.0, gap=0.03))
    z, shown = data(chart.force)
    s, slope = A * z + B * z**2, A + 2 * B * z
    assert_allclose(shown, force(s) * slope, rtol=1e-6, atol=1e-2)
    z, rate = data(chart.rate, y="rate")
    s, slope = A * z + B * z**2, A + 2 * B * z
    area = np.pi * ROD**2 / 4
    gas = (FILL + 101325.0) * VOLUME * area**2 / (VOLUME - area * s) ** 2
    springs = np.where(s < cross, KT * KM / (KT + KM), KM) + np.where(s < TOP_LENGTH, TOP_RATE, 0)
    expected = (springs + gas) * slope**2 + force(s) * 2 * B
    clear = (np.abs(s - cross) > 1e-6) & (np.abs(s - TOP_LENGTH) > 1e-6) & (s < 0.239)
    assert clear.sum() > 100
    assert_allclose(rate[clear], expected[clear], rtol=1e-5)


def test_sign_of_the_top_out_spring():
    """It pulls the shaft in: without it the shock hangs longer and the curve starts higher."""
    force, hang, _ = hand(5.0, gap=0.03)
    s, shown = data(drawn("shock", signed(turns=5.0, gap=0.03)).curve)
    inside = s < TOP_LENGTH
    assert inside.sum() > 5 and hang < TOP_LENGTH
    area = np.pi * ROD**2 / 4
    gas = ((FILL + 101325.0) * VOLUME / (VOLUME - area * s) - 101325.0) * area
    springs = KT * KM / (KT + KM) * (s - hand(0.0, gap=0.03)[1] + 5 * PITCH)
    assert_allclose((shown - gas - springs)[inside], -TOP_RATE * (TOP_LENGTH - s)[inside], atol=0.1)
    # What hangs on it: the wheel, through the motion ratio.
    assert shown[0] == pytest.approx(-UNSPRUNG * G / ratio(hang), rel=1e-6)


# ------------------------------------------------------------------------------- the cut-away


@pytest.mark.parametrize("case", ["kit", "stock", "pair", "triple", "single"])
@both_axles
def test_cut_away(case, axle):
    view = seen(case)
    chart, other = drawn("cutaway", view, axle), corner_of(view, axle)
    shock = getattr(view.vehicle, axle).shock
    springs = other.stack.springs
    turns = getattr(view.setup, f"{axle}_left").turns
    free = sum(s.free_length for s in springs) + shock.divider_height * (len(springs) - 1)
    span = shock.thread.seat_span
    collar = span - other.contact_hang - free + turns * shock.thread.collar_pitch
    i, answer = standing(view, axle)
    places = (other.hang, answer.compression[i], other.full_bump)
    assert len(chart.columns) == len(STATES)
    for x, s, column in zip(chart.step * np.arange(3), places, chart.columns, strict=True):
        tops = [line.get_ydata()[0] for line in column["coils"]]
        bottoms = [line.get_ydata()[-1] for line in column["coils"]]
        assert tops[0] == pytest.approx(collar, abs=1e-7)
        assert bottoms[-1] == pytest.approx(span - s, abs=1e-7)
        assert_allclose(np.subtract(tops[1:], bottoms[:-1]), shock.divider_height, atol=1e-7)
        main = independent.spring_deflection(springs[-1], other.springs(s))
        assert bottoms[-1] - tops[-1] == pytest.approx(springs[-1].free_length - main, abs=1e-6)
        for line, spring in zip(column["coils"], springs, strict=True):
            wide = spring.wire.mean_diameter if spring.wire else 3.5 * INCH
            assert np.ptp(line.get_xdata()) == pytest.approx(wide)
            assert np.mean(line.get_xdata()[1:]) == pytest.approx(x)
        # Collar, retainer and each divider.
        assert len(column["metal"].get_paths()) == 1 + len(springs)
        assert len(column["ring"].get_paths()) == len(other.stack.caps)


@both_units
@both_axles
def test_the_gap_is_dimensioned_where_it_is_open(axle, units):
    view = seen("pair")
    columns = drawn("cutaway", view, axle, units).columns
    _, down = columns[0]["gap"].get_data()
    assert down[1] - down[0] == pytest.approx(0.03, abs=1e-9)
    face = columns[0]["ring"].get_paths()[0].vertices[:, 1].max()
    assert down[0] == pytest.approx(face, abs=1e-9)
    assert columns[0]["words"][0].get_text() == {"us": "1-3/16 in", "metric": "30.0 mm"}[units]
    for column in columns[1:]:  # standing past crossover, and full bump
        assert np.isnan(column["gap"].get_ydata()).all()
        assert column["words"][0].get_text() == "closed"
        assert column["ring"].get_paths()[0].vertices[:, 1].max() == pytest.approx(face)


def test_each_ring_has_its_gap():
    words = drawn("cutaway", seen("triple"), units="metric").columns[0]["words"]
    assert [w.get_text() for w in words] == ["20.0 mm", "50.0 mm"]
    assert drawn("cutaway", seen("single")).columns[0]["words"] == []


def test_spring_names_are_drawn_as_written():
    """A dollar sign is no mathematics, and a broken formula must not break the picture."""
    vehicle = pair()
    odd = {"a": "<b>$\\frac$</b>", "b": "50$ & 60$"}
    springs = {
        "tender": replace(vehicle.springs["tender"], name=odd["a"]),
        "main": replace(vehicle.springs["main"], name=odd["b"]),
    }
    view = look(replace(vehicle, springs=springs), load=None)
    board = Board(view, [[("cutaway", "front")]])
    assert board.render(view)
    texts = [t.get_text() for t in board.charts[0].axes.texts]
    assert any(odd["a"] in t and odd["b"] in t for t in texts)


# ------------------------------------------------------------------------------------- side view


@pytest.mark.parametrize("case", ["kit", "heavy", "pair"])
@both_units
def test_side_view(case, units):
    view = seen(case)
    chart = drawn("side", view, units=units)
    answer = independent.settle(view.vehicle, view.setup, view.load)
    front, rear = answer.height[:2].mean(), answer.height[2:].mean()
    heave, pitch = answer.pose[:2]
    # Nose down is a positive pitch (ISO 8855): the frame's front end is then the lower one.
    x, z = map(np.asarray, chart.frame.get_data())
    assert x[0] > x[1]
    assert_allclose(z, heave - np.array([12 * INCH, -view.vehicle.wheelbase - 10 * INCH])
                    * np.sin(pitch), atol=1e-7)  # fmt: skip
    assert (z[0] > z[1]) == (pitch < 0)
    for i, axle in enumerate((view.vehicle.front, view.vehicle.rear)):
        load = answer.tyre_load[2 * i : 2 * i + 2].mean()
        hub = axle.tyre.radius - load / axle.tyre.rate
        assert np.asarray(chart.hubs.get_ydata())[i] == pytest.approx(hub, abs=1e-7)
        travel = answer.travel[2 * i : 2 * i + 2].mean()
        # The same hub from the body's side: pose, hub below the frame and wheel travel.
        x_hub = -view.vehicle.wheelbase * i
        from_body = heave - x_hub * np.sin(pitch) + (travel - axle.hub_below_frame) * np.cos(pitch)
        assert from_body == pytest.approx(hub, abs=1e-3)
        assert chart.hubs.get_xdata()[i] == pytest.approx(x_hub * np.cos(pitch), abs=0.02)
        rim = chart.wheels[i].get_ydata()
        assert rim.min() == 0 and rim.max() == pytest.approx(hub + axle.tyre.radius, abs=1e-6)
    assert_allclose(np.asarray(chart.dims.get_ydata())[[1, 4]], [front, rear], atol=1e-7)
    assert_allclose(np.asarray(chart.dims.get_ydata())[[0, 3]], 0)
    say = [sk.units.show(h, "length", units) for h in (front, rear)]
    assert [t.get_text() for t in chart.texts] == [f"front {say[0]}", f"rear {say[1]}"]
    assert chart.rake.get_text() == lean(view, units)


@both_units
def test_side_view_says_which_end_is_high(units):
    heavy = drawn("side", seen("heavy"), units=units).rake.get_text()
    assert "nose high by" in heavy and heavy.endswith({"us": "in", "metric": "mm"}[units])
    setup = UNIT7.setup.change("rear", turns=11.0)
    low = drawn("side", look(UNIT7, setup, load="patrol"), units=units).rake.get_text()
    assert low.startswith("tail high by ")


# ------------------------------------------------------------------------------- units and axes


@pytest.mark.parametrize("name", CHARTS)
def test_the_unit_switch_only_rescales(name):
    view = seen("kit")
    us, metric = (drawn(name, view, "rear", units) for units in ("us", "metric"))
    lines = [(a, b) for a, b in zip(us.moving, metric.moving, strict=True)
             if isinstance(a, matplotlib.lines.Line2D)]  # fmt: skip
    assert lines
    for a, b in lines:
        for kind_x, kind_y in [("length", k) for k in ("force", "length", "rate")]:
            there = data(a, kind_x, kind_y, "us"), data(b, kind_x, kind_y, "metric")
            if all(
                np.allclose(p, q, rtol=1e-9, equal_nan=True) for p, q in zip(*there, strict=True)
            ):
                break
        else:  # cut-away and side view are to scale in metres, whatever the reader's units
            assert name in ("cutaway", "side")
            assert_allclose(a.get_xydata(), b.get_xydata())
    if name in ("shock", "wheel"):
        assert us.axes.get_ylabel().endswith("lbf") and metric.axes.get_ylabel().endswith(" N")
        assert_allclose(np.array(us.axes.get_xlim()) * 25.4, metric.axes.get_xlim())
        assert_allclose(np.array(us.axes.get_ylim()) * LBF, metric.axes.get_ylim())
    if name == "shock":
        assert us.strip.get_xlabel().endswith(", in") and us.strip.get_ylabel() == "squeeze, in"
        assert metric.strip.get_xlabel().endswith(", mm")
    if name == "wheel":
        assert us.rate_axes.get_ylabel() == "wheel rate, lbf/in"
        assert metric.rate_axes.get_ylabel() == "wheel rate, N/mm"
        assert "rear wheel force" in us.axes.get_ylabel()


EXTREMES = [(t, g) for t in (0.0, 12.0) for g in (0.0, 1.0, 2.5, 4.0, 6.0)]


def extremes(case):
    """Every corner of the sliders' ranges that can be built."""
    vehicle, setup, load = CASES[case]()
    setup = vehicle.setup if setup is None else setup
    ringed = [n for n in ("front", "rear") if getattr(setup, f"{n}_left").gap is not None]
    for turns, gap in EXTREMES if ringed else [(0.0, None), (12.0, None)]:
        changed = setup.change("all", turns=turns)
        for name in ringed:
            old = getattr(setup, f"{name}_left").gap
            new = (gap * INCH, gap * INCH + 0.03) if isinstance(old, tuple) else gap * INCH
            changed = changed.change(name, gap=new)
        for name in ("front", "rear"):
            one = setup
            for corner in sk.vehicle.setup.AXLES[name]:
                one = replace(one, **{corner: getattr(changed, corner)})
            try:
                yield name, look(vehicle, one, load=load)
            except sk.vehicle.corner.BrokenSetupError:
                continue


@every_case
@both_units
def test_fixed_axes_hold_every_curve(case, units):
    first, count = seen(case), 0
    boards = {
        axle: Board(first, [[("shock", axle), ("wheel", axle), ("cutaway", axle), ("side", axle)]],
                    units=units)
        for axle in ("front", "rear")
    }  # fmt: skip
    for axle, view in extremes(case):
        count += 1
        board = boards[axle]
        board.update(view)
        shock, wheel, cut, side = board.charts
        held = {
            shock.axes: [shock.curve, shock.ride, shock.cross],
            shock.strip: shock.parts,
            wheel.axes: [wheel.force, wheel.ride],
            wheel.rate_axes: [wheel.rate_ride],
            cut.axes: [
                line for column in cut.columns for line in [*column["coils"], column["gap"]]
            ],
            side.axes: [side.frame, side.hubs, side.dims, side.cage, *side.wheels],
        }
        for axes, lines in held.items():
            left, right = sorted(axes.get_xlim())
            low, high = sorted(axes.get_ylim())
            for line in lines:
                x, y = line.get_data()
                keep = np.isfinite(np.asarray(x, float)) & np.isfinite(np.asarray(y, float))
                x, y = np.asarray(x)[keep], np.asarray(y)[keep]
                if x.size:
                    assert left - 0.001 * right <= x.min() and x.max() <= right
                    assert y.max() <= high
                    # Below zero the shaft hangs on the top-out spring: left out on purpose.
                    hanging = (shock.curve, shock.cross, wheel.force)
                    assert line in hanging or y.min() >= low - 1e-9
        # The wheel rate up to the bump stop, whose own rate is off the chart on purpose.
        other = corner_of(view, axle)
        z, rate = data(wheel.rate, y="rate", units=units)
        touch = view.axles[axle].corner.shock.bump_touch
        until = [r for a, r in zip(z, rate, strict=True) if other.motion(a)[0] < touch - 1e-6]
        if other.hang > 1e-4:  # not hanging on metal
            assert max(until) <= wheel.rate_axes.get_ylim()[1] * SCALE[units]["rate"]
    assert count >= 4


# ------------------------------------------------------------------- one picture, drawn two ways


def pixels(png):
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB"), dtype=int)


def off(a, b):
    """Share of pixels that differ by more than a shade."""
    return float((np.abs(a - b).max(axis=-1) > 40).mean())


@pytest.mark.parametrize("kind", KINDS)
@both_axles
@both_units
def test_a_frame_and_the_still_picture_agree(kind, axle, units):
    rows, size = rows_for(kind, axle)
    first = seen("kit")
    changed = UNIT7.setup.change("front", turns=8.0, gap=2.5 * INCH)
    view = look(UNIT7, changed.change("rear", turns=1.0, gap=5 * INCH), load="carry-out")
    # Moving words are drawn without hinting; here all words are, so that only content can differ.
    with matplotlib.rc_context({"text.hinting": "none"}):
        board = Board(first, rows, units=units, size=size)
        before = pixels(board.render(first))
        frame = pixels(board.render(view))
        again = pixels(board.render(first))
        # Words are pasted on whole pixels, so they are compared apart, by where they stand.
        wordless = Board(first, rows, units=units, size=size)
        other = Board(first, rows, units=units, size=size)
        for chart in (*wordless.charts, *other.charts):
            for text in (a for a in chart.moving if isinstance(a, Text)):
                text.set_visible(False)
        bare = pixels(wordless.render(view))
        other.still(view).canvas.draw()
    still = np.asarray(other.canvas.buffer_rgba())[..., :3].astype(int)
    assert bare.shape == frame.shape == still.shape
    assert off(bare, still) < 0.0005
    assert off(frame, before) > 0.01, "the test would see a stale frame"
    assert off(again, before) == 0, "nothing is left behind"


def test_threads_do_not_draw_with_each_others_settings():
    """One unhinted word too many would stay: the settings are those of the whole process."""
    views = [seen("kit"), look(UNIT7, UNIT7.setups["kit"], load="carry-out")]
    boards = [Board(view, rows_for("start", "front")[0]) for view in views]
    alone = [board.render(view) for board, view in zip(boards, views, strict=True)]

    def draw(i):
        made = set()
        for _ in range(8):
            board = Board(views[i], rows_for("start", "front")[0])  # with a background of its own
            made.add(board.render(views[i]))
        return made

    with ThreadPoolExecutor(4) as pool:
        drawn = list(pool.map(draw, [0, 1, 0, 1]))
    assert drawn == [{alone[0]}, {alone[1]}] * 2
    assert matplotlib.rcParams["text.hinting"] == matplotlib.rcParamsDefault["text.hinting"]


@pytest.mark.parametrize("kind", KINDS)
def test_pasted_words_stand_where_drawn_ones_would(kind):
    rows, size = rows_for(kind, "front")
    board = Board(seen("kit"), rows, size=size)
    board.render(seen("kit"))
    renderer = board.canvas.get_renderer()
    words = [a for c in board.charts for a in c.moving if isinstance(a, Text) and a.get_text()]
    assert words
    for text in words:
        x, y = text.get_transform().transform(text.get_position())
        image, left, bottom = board._stamp(text)
        patch = text.get_bbox_patch()
        text.draw(renderer)  # its box is laid out when it is drawn
        box = (patch or text).get_window_extent(renderer)
        pasted = [x + left, y + bottom, x + left + image.shape[1], y + bottom + image.shape[0]]
        slack = 1.5 if patch else 5  # letters without tails do not fill a bare text's box
        assert np.abs(np.array(pasted) - box.extents).max() <= slack, text.get_text()


def test_a_frame_after_the_still_picture_has_no_ghost_of_it():
    rows, size = rows_for("gap", "rear")
    first, view = seen("kit"), look(UNIT7, UNIT7.setup.change("all", turns=10.0), load="bare")
    board = Board(first, rows, size=size)
    clean = pixels(board.render(first))
    board.still(view).canvas.draw()
    assert off(pixels(board.render(first)), clean) == 0


@pytest.mark.parametrize("case", ["stock", "triple", "single", "far"])
def test_every_stack_can_be_drawn(case):
    view = seen(case)
    for axle in ("front", "rear"):
        rows, size = rows_for("start", axle)
        frame = pixels(Board(view, rows, size=size).render(view))
        assert frame.shape == (720, 930, 3)
        assert 0.02 < (frame.min(axis=-1) < 200).mean() < 0.5, "neither blank nor full"


@pytest.mark.parametrize("name", CHARTS)
def test_every_moving_artist_is_left_out_of_the_background(name):
    board = Board(seen("kit"), [[(name, "front")]])
    chart = board.charts[0]
    assert chart.moving and all(a.get_animated() for a in chart.moving)
    board.still(seen("kit"))
    assert not any(a.get_animated() for a in chart.moving)


@pytest.mark.parametrize(
    "make, name",
    [("shock_curve", "shock"), ("wheel_curve", "wheel"), ("cut_away", "cutaway"),
     ("side_view", "side")],
)  # fmt: skip
@both_units
def test_single_charts(make, name, units):
    view = seen("kit")
    options = {} if name == "side" else {"axle": "rear"}
    figure = getattr(charts, make)(view, units=units, size=(6.0, 4.0), **options)
    assert isinstance(figure, Figure) and tuple(figure.get_size_inches()) == (6.0, 4.0)
    asked = drawn(name, view, options.get("axle", "front"), units)
    lines = {tuple(np.ravel(line.get_xydata())) for axes in figure.axes for line in axes.lines}
    for artist in asked.moving:
        if isinstance(artist, matplotlib.lines.Line2D) and np.isfinite(artist.get_xydata()).all():
            assert tuple(np.ravel(artist.get_xydata())) in lines


def test_no_pyplot_state():
    import sys

    before = "matplotlib.pyplot" in sys.modules
    figures = len(matplotlib._pylab_helpers.Gcf.get_all_fig_managers()) if before else 0
    charts.shock_curve(seen("kit"))
    assert ("matplotlib.pyplot" in sys.modules) == before
    if before:
        assert len(matplotlib._pylab_helpers.Gcf.get_all_fig_managers()) == figures


# -------------------------------------------------------------------------------------- in words


@both_axles
@both_units
def test_describe(axle, units):
    view = seen("pair")
    other = corner_of(view, axle)
    i, answer = standing(view, axle)

    def say(value, kind="length"):
        return sk.units.show(float(value), kind, units)

    words = {name: drawn(name, view, axle, units).describe(view) for name in CHARTS}
    met = other.hang + 0.033 * (65e3 + 50e3) / 65e3
    s, slope = other.motion(answer.travel[i])
    assert words["shock"] == (
        f"{axle.capitalize()} shock force over compression: rises to "
        f"{say(other.force(0.24), 'force')} where it is full at {say(0.24)}; standing at {say(s)}; "
        f"crossover at {say(met)}."
    )
    rate = 65e3 * slope**2 + other.force(s) * 2 * other.motion.b
    assert (
        f"standing at {say(answer.travel[i])} with a wheel rate of {say(rate, 'rate')}"
        in (words["wheel"])
    )
    gap = {"us": "1-3/16 in", "metric": "30.0 mm"}[units]
    assert words["cutaway"] == (
        f"Cut-away of the {axle} shock, collar on top: tender over main. Stop gap: droop hang "
        f"{gap}, standing closed, full bump closed."
    )
    front, rear = answer.height[:2].mean(), answer.height[2:].mean()
    assert words["side"].startswith("Side view of the vehicle on the ground. Front: 5.00 turns")
    assert say(front) in words["side"] and say(rear) in words["side"]


def test_describe_where_there_is_less_to_tell():
    assert "crossover" not in drawn("shock", seen("stock")).describe(seen("stock"))
    touch = drawn("shock", seen("stock")).describe(seen("stock"))
    assert "where the bump stop is touched at 7.50 in" in touch  # 9.5 in stroke, 2 in stop
    assert "gap" not in drawn("cutaway", seen("single")).describe(seen("single"))
    both = drawn("cutaway", seen("triple"), units="metric").describe(seen("triple"))
    assert "helper over tender over main" in both and "droop hang 20.0 mm and 50.0 mm" in both


def test_a_board_says_each_thing_once():
    view = seen("kit")
    rows, size = rows_for("start", "rear")
    board = Board(view, rows + rows, size=size)
    words = board.describe(view)
    assert words.count("Side view") == words.count("Cut-away of the rear shock") == 1


# ------------------------------------------------------------------------------- grey and colour


def luminance(colour):
    """Relative luminance of an sRGB colour (WCAG 2.2, definition)."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    return float(np.dot([0.2126, 0.7152, 0.0722], linear))


def lightness(colour):
    """CIE 1976 L* (ISO/CIE 11664-4)."""
    return 116 * np.cbrt(luminance(colour)) - 16


def test_the_two_spring_inks_part_in_grey_print():
    assert abs(lightness(TENDER) - lightness(MAIN)) > 10
    for case in ("pair", "triple"):
        parts = drawn("shock", seen(case)).parts
        assert parts[0].get_color() == TENDER and parts[-1].get_color() == MAIN
        styles = [str(line._dash_pattern) for line in parts]
        assert len(set(styles)) == len(parts), "no two springs share a line style"


def test_inks_can_be_read_as_words():
    # 4.5 to 1 on white for text (WCAG 2.2, criterion 1.4.3).
    for ink in (TENDER, MAIN, charts.INK, charts.SOFT):
        assert 1.05 / (luminance(ink) + 0.05) >= 4.5


@both_axles
@pytest.mark.parametrize("units", ["us", "metric"])
def test_labels_stay_in_the_picture(axle, units):
    """At the set-ups a lesson starts from, no word is cut off at the picture's edge."""
    for setup, load in itertools.product(UNIT7.setups.values(), ("bare", "patrol", "carry-out")):
        view = look(UNIT7, setup, load=load)
        for kind in KINDS:
            rows, size = rows_for(kind, axle)
            board = Board(view, rows, units=units, size=size)
            board.still(view)
            renderer = board.canvas.get_renderer()
            frame = board.figure.bbox
            for axes in board.figure.axes:
                for text in axes.texts:
                    if text.get_text().strip():
                        box = text.get_window_extent(renderer)
                        assert frame.x0 - 1 <= box.x0 and box.x1 <= frame.x1 + 1, text
                        assert frame.y0 - 1 <= box.y0 and box.y1 <= frame.y1 + 1, text


def test_rows_for_a_lesson():
    for kind in KINDS:
        for axle in ("front", "rear"):
            rows, (width, height) = rows_for(kind, axle)
            assert width <= 10.4 and height <= 7.2  # fits a laptop's window
            assert {a for row in rows for _, a in row} == {axle}


def test_examples_are_what_they_say():
    """The cases above really are past, before, single, triple and never met."""
    assert seen("kit").stance.past_crossover.tolist() == [True, True, False, False]
    assert len(triple().springs) == 3 and len(single().springs) == 1
    assert np.isnan(seen("far").axles["front"].crossover)
