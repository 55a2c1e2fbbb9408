"""Ride charts: what their artists hold, beside values from the damper and from `drive` itself."""

import re
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from numpy.testing import assert_allclose

import suspkit as sk
from suspkit.charts import drive as ride_charts
from suspkit.charts.board import FAINT, INK, MAIN, TENDER
from suspkit.charts.drive import RIDE_CHARTS, RideBoard, ride_chart, ride_rows
from suspkit.dynamics.drive import drive
from suspkit.dynamics.view import CLICK_TRIALS, TRIALS, Bench

INCH, LBF = 0.0254, 4.4482216152605  # exact by definition (NIST SP 811, appendix B)
SCALE = {"us": (INCH, LBF), "metric": (1e-3, 1.0)}

UNIT7 = sk.example("unit7")
KIT, STOCK = UNIT7.setups["kit"], UNIT7.setups["stock"]
PAIR = {"stock": STOCK, "kit": KIT}
G_OUT = TRIALS["g-out"].event(10.0)

both_units = pytest.mark.parametrize("units", ["us", "metric"])
both_axles = pytest.mark.parametrize("axle", ["front", "rear"])


@pytest.fixture(scope="module")
def bench():
    return Bench(UNIT7)


@pytest.fixture(scope="module")
def view(bench):
    return bench.look(PAIR, load="patrol", event=G_OUT, moment=0.96)


@pytest.fixture(scope="module")
def clicked(bench):
    setup = KIT.change("all", clicks={"compression": 3, "rebound": 8})
    event = CLICK_TRIALS["step"].event()
    return bench.look({"as set": setup, "mid": KIT}, load="patrol", event=event, clicks=True)


def drawn(name, view, axle="front", units="us", first=None):
    """One chart, made for ``first`` and moved to ``view``."""
    board = RideBoard(first or view, [[(name, axle)]], units=units)
    board.update(view)
    return board.charts[0]


# -------------------------------------------------------------------------------------- the clicks


@both_axles
@both_units
def test_the_bold_curve_is_the_damper_as_set(clicked, axle, units):
    chart = drawn("force", clicked, axle, units)
    length, newton = SCALE[units]
    x, y = chart.curve.get_data()
    speed = length if units == "us" else 1.0
    force = UNIT7.axle_of(f"{axle}_left").shock.damper_force(
        x * speed, {"compression": 3, "rebound": 8}
    )
    assert_allclose(y * newton, force, rtol=1e-4, atol=0.1)
    assert x[0] < 0 < x[-1] and chart.curve.get_linewidth() > 2
    assert chart.texts["compression"].get_text() == "compression 3"
    assert chart.texts["rebound"].get_text() == "rebound 8"


@both_axles
def test_the_family_has_every_click_of_both_directions(clicked, axle):
    chart = drawn("force", clicked, axle)
    lines = chart.family.get_segments()
    assert len(lines) == 2 * 13
    shock = UNIT7.axle_of(f"{axle}_left").shock
    ends = {0: ("compression", 0), 12: ("compression", 12), 13: ("rebound", 0), 25: ("rebound", 12)}
    for i, (direction, click) in ends.items():
        line = lines[i]
        clicks = {"compression": 6, "rebound": 6} | {direction: click}
        force = shock.damper_force(line[:, 0] * INCH, clicks)
        assert_allclose(line[:, 1] * LBF, force, rtol=1e-4, atol=0.1)
    assert not chart.family.get_animated(), "a click does not move it"


@both_axles
def test_ratio_lines_and_marks(clicked, axle):
    chart = drawn("ratio", clicked, axle)
    table = sk.damping_ratios(UNIT7, KIT, load="patrol")
    for (direction, where), line in chart.lines.items():
        rows = table[
            (table.corner == f"{axle}_left") & (table.direction == direction)
            & (table["where"] == where)
        ].sort_values("clicks")  # fmt: skip
        x, y = line.get_data()
        assert_allclose(x, rows.clicks)
        assert_allclose(y, rows.ratio)
        assert to_rgb(line.get_color()) == to_rgb({"below": TENDER, "past": MAIN}[where])
    for direction, click in (("compression", 3), ("rebound", 8)):
        x, y = chart.marks[direction].get_data()
        assert list(x) == [click, click]
        expected = [chart.lines[direction, w].get_ydata()[click] for w in ("below", "past")]
        assert_allclose(y, expected)
        assert y[0] > y[1], "past crossover the same click damps less"


def test_names_of_the_ratio_lines_stand_apart(clicked):
    for axle in ("front", "rear"):
        chart = drawn("ratio", clicked, axle)
        heights = sorted(t.get_position()[1] for t in chart.names.values())
        assert np.diff(heights).min() > 0.05 * chart.top
        for (_, where), text in chart.names.items():
            assert where in text.get_text()


def test_one_ratio_where_there_is_no_ring(bench):
    event = CLICK_TRIALS["step"].event()
    view = bench.look({"stock": STOCK}, load="patrol", event=event, clicks=True)
    chart = drawn("ratio", view)
    assert {where for _, where in chart.lines} == {"ride"}
    x, _ = chart.marks["rebound"].get_data()
    assert list(x) == [6]


# -------------------------------------------------------------------------------------- the traces


@both_axles
@both_units
def test_travel_of_both_setups(view, axle, units):
    chart = drawn("travel", view, axle, units)
    wheel, (length, _) = (0 if axle == "front" else 2), SCALE[units]
    for line, setup in zip(chart.lines, (STOCK, KIT), strict=True):
        run = drive(UNIT7, setup, event=G_OUT, load="patrol")
        x, y = line.get_data()
        assert_allclose(x, run.time)
        assert_allclose(y * length, run.travel[wheel], atol=1e-8)
    assert chart.lines[0].get_linestyle() == "-" and chart.lines[1].get_linestyle() != "-"
    full = UNIT7.axle_of(f"{axle}_left").motion
    corner = sk.assemble(UNIT7, KIT)[f"{axle}_left"]
    assert chart.full * length == pytest.approx(full.travel(corner.shock.full_bump))
    assert chart.words.get_text() == "stock solid, kit dashed"
    assert_allclose(chart.cursor.get_xdata(), [0.96, 0.96])


def test_crossover_is_that_of_the_solid_setup(bench, view):
    assert drawn("travel", view).cross_text.get_text() == ""  # stock has no ring
    other = bench.look({"kit": KIT, "stock": STOCK}, load="patrol", event=G_OUT)
    chart = drawn("travel", other, "rear")
    corner = sk.assemble(UNIT7, KIT)["rear_left"]
    level = corner.linkage.travel(float(corner.crossover))
    assert_allclose(np.asarray(chart.cross.get_ydata()) * INCH, [level, level])
    assert chart.cross_text.get_text() == "crossover, solid"
    # Moved on to one without, nothing stays behind.
    chart.update(view)
    assert len(chart.cross.get_xdata()) == 0 and chart.cross_text.get_text() == ""


def test_each_hit_is_marked(view):
    chart = drawn("travel", view)
    run = drive(UNIT7, STOCK, event=G_OUT, load="patrol")
    at = run.compression[0] >= run.corners[0].shock.full_bump
    # One dip is one hit, however it chatters: the first time counts.
    assert_allclose(chart.hits.get_xdata(), run.time[at][:1])
    assert len(drawn("travel", view, "rear").hits.get_xdata()) == 0


def test_seat_acceleration_in_g(view):
    chart = drawn("seat", view)
    for line, seat in zip(chart.lines, view.seats, strict=True):
        assert_allclose(line.get_ydata(), seat / 9.80665)
    peak = np.abs(view.seats[0]).max() / 9.80665
    assert (chart.beyond.get_text() == "") == (peak <= 2.0)


# ------------------------------------------------------------------------------- the moving picture


def test_the_wheels_stand_where_the_run_has_them(view):
    chart = drawn("run-side", view)
    run, i = view.run, view.frame
    hubs = np.asarray(chart.hubs.get_ydata())
    assert hubs[0] - hubs[1] == pytest.approx(run.hub_height[0, i] - run.hub_height[2, i])
    # The ground under the front wheel is the road where it then is.
    x, y = chart.ground.get_data()
    at = G_OUT.speed * run.time[i] - G_OUT.approach
    base = UNIT7.wheelbase
    road = G_OUT.road.height(np.array([at, at - base]), side="left")
    shown = np.interp([0.0, -base], x, y)
    assert shown[0] - shown[1] == pytest.approx(road[0] - road[1], abs=2e-3)
    assert hubs[0] - shown[0] == pytest.approx(run.hub_height[0, i] - road[0], abs=2e-3)


def test_the_frame_is_pitched_as_the_body(view):
    chart = drawn("run-side", view)
    x, z = chart.frame.get_data()
    # Nose down is positive: the front end, first, is then the lower one.
    slope = (z[0] - z[1]) / (x[0] - x[1])
    assert np.arctan(slope) == pytest.approx(-view.run.pitch[view.frame])


def test_full_bump_is_said_and_coloured(view):
    run = view.run
    at = run.compression[0] >= run.corners[0].shock.full_bump
    hit, clear = (float(run.time[k]) for k in (np.flatnonzero(at)[0], 0))
    for moment, full in ((hit, True), (clear, False)):
        now = replace(view, moment=moment)
        side, cut = drawn("run-side", now, first=view), drawn("run-cutaway", now, first=view)
        assert ("full bump" in side.texts[0].get_text()) == full
        assert (to_rgb(side.wheels[0].get_color()) == to_rgb(TENDER)) == full
        assert (cut.foot_texts["front"].get_text() == "full bump") == full
        colour = to_rgb(cut.columns["front"]["stop"].get_facecolor()[0])
        assert colour == to_rgb(TENDER if full else FAINT)
        assert to_rgb(side.wheels[1].get_color()) == to_rgb(INK)


def test_on_the_bump_stop_but_not_full(view):
    run, shock = view.run, view.run.corners[2].shock
    on = (run.compression[2] > shock.bump_touch) & (run.compression[2] < shock.full_bump)
    now = replace(view, moment=float(run.time[np.flatnonzero(on)[0]]))
    chart = drawn("run-cutaway", now, first=view)
    assert chart.foot_texts["rear"].get_text() == "on the bump stop"
    assert to_rgb(chart.columns["rear"]["stop"].get_facecolor()[0]) == to_rgb(MAIN)


def test_springs_of_the_cutaway_fill_the_shock(view):
    chart = drawn("run-cutaway", replace(view, shown=1))
    run = view.runs[1]
    for axle, wheel in (("front", 0), ("rear", 2)):
        coils = chart.columns[axle]["coils"]
        retainer = run.corners[wheel].shock.thread.seat_span - run.compression[wheel, view.frame]
        assert coils[-1].get_ydata()[-1] == pytest.approx(retainer, abs=1e-6)


# ---------------------------------------------------------------------------------------- all of it


@pytest.mark.parametrize("kind", ["clicks", "road"])
@both_units
def test_boards_draw_and_move(kind, units, view, clicked):
    seen = clicked if kind == "clicks" else view
    rows, size = ride_rows(kind, "front")
    board = RideBoard(seen, rows, units=units, size=size)
    one = board.render(seen)
    moved = (
        replace(seen, moment=1.3) if kind == "road"
        else replace(seen, clicks={
            a: replace(c, now={"compression": 0, "rebound": 0}) for a, c in seen.clicks.items()
        })
    )  # fmt: skip
    two = board.render(moved)
    assert one != two and board.render(seen) == one
    words = board.describe(seen)
    assert words.count(".") >= 3 and "nan" not in words
    assert bool(re.search(r"\d (in|lbf)\b", words)) == (units == "us")


@pytest.mark.parametrize("name", RIDE_CHARTS)
def test_one_chart_as_a_figure(name, view, clicked):
    seen = clicked if name in ("force", "ratio") else view
    figure = ride_chart(name, seen, axle="rear", units="metric")
    assert isinstance(figure, Figure)
    assert not any(a.get_animated() for a in figure.findobj())


@pytest.mark.parametrize("trial", TRIALS)
def test_every_event_can_be_drawn(bench, trial):
    event = TRIALS[trial].event()
    seen = bench.look(PAIR, load="patrol", event=event, moment=0.5)
    rows, size = ride_rows("road", "front")
    board = RideBoard(seen, rows, size=size)
    board.update(seen)
    for chart in board.charts:
        if isinstance(chart, ride_charts.TravelTrace):
            low, high = chart.axes.get_ylim()
            for line in chart.lines:
                inside = (line.get_ydata() >= low) & (line.get_ydata() <= high)
                assert inside.mean() > 0.99, "the trace leaves the picture"
