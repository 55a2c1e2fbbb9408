"""What a chart is given: curves and places of a vehicle as set, and the same in words.

The numbers are held against `independent` (springs searched by brentq, the body balanced with
force vectors) or against closed forms written out here.
"""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad

import suspkit as sk
from suspkit import Setup, Spring, TopOut
from suspkit.parts.shock import BumpStop
from suspkit.statics import view as view_module
from suspkit.statics.settle import LEVEL, rake_in_words
from suspkit.statics.view import STATES, TIPPED, cautions, in_words, lean, look, readout
from suspkit.units import INCH, show, tape
from suspkit.vehicle.setup import CORNERS, CornerSetup
from suspkit.vehicle.vehicle import Item, Load, StackPlan
from tests.tools import independent

G = 9.80665  # standard gravity [m/s^2], exact by definition
UNIT7 = sk.example("unit7")
both_axles = pytest.mark.parametrize("axle", ["front", "rear"])
both_units = pytest.mark.parametrize("units", ["us", "metric"])


def pair(**options):
    """Two springs and a ring at each corner, a top-out spring, a linkage that bends."""
    axle = {"top_out": TopOut(rate=30e3, length=0.04), "lip": 0.003}
    return independent.make_vehicle(
        front=independent.make_axle(**axle),
        rear=independent.make_axle(**axle, point_behind=2.6, b=0.15),
        **options,
    )


def all_round(**corner):
    return Setup(**dict.fromkeys(CORNERS, CornerSetup(stack="pair", **corner)))


def triple():
    springs = {
        "helper": Spring(name="helper", rate=40e3, free_length=0.10, solid_length=0.04),
        "tender": Spring(name="tender", rate=60e3, free_length=0.16, solid_length=0.05),
        "main": Spring(name="main", rate=90e3, free_length=0.36, solid_length=0.08),
    }
    plan = StackPlan(springs=tuple(springs), rings_below=("helper", "tender"))
    vehicle = pair(
        springs=springs, stacks={"pair": plan}, setup=all_round(turns=5.0, gap=(0.02, 0.05))
    )
    return vehicle


def single(rate=45e3, turns=5.0, **options):
    springs = {"main": Spring(name="main", rate=rate, free_length=0.5, solid_length=0.05)}
    return independent.make_vehicle(
        springs=springs, stacks={"pair": StackPlan(springs=("main",))},
        setup=all_round(turns=turns), **options,
    )  # fmt: skip


def far_ring():
    """The tender is solid before its divider gets to the ring."""
    return pair(setup=all_round(turns=5.0, gap=0.11))


CASES = {
    "kit": lambda: (UNIT7, UNIT7.setups["kit"], "patrol"),
    "heavy": lambda: (UNIT7, UNIT7.setups["kit"], "carry-out"),
    "stock": lambda: (UNIT7, UNIT7.setups["stock"], "patrol"),
    "pair": lambda: (pair(), None, None),
    "triple": lambda: (triple(), None, None),
    "single": lambda: (single(), None, None),
    "far": lambda: (far_ring(), None, None),
}
every_case = pytest.mark.parametrize("case", CASES)


def seen(case):
    vehicle, setup, load = CASES[case]()
    return look(vehicle, setup, load=load)


def theirs(view, axle):
    return independent.Corner(view.vehicle, view.setup, f"{axle}_left")


# ------------------------------------------------------------------------------------ the curves


@every_case
@both_axles
def test_force_over_compression(case, axle):
    view = seen(case)
    mine, other = view.axles[axle], theirs(view, axle)
    assert mine.compression[0] == pytest.approx(other.hang, abs=1e-9)
    assert mine.compression[-1] == other.full_bump
    assert (np.diff(mine.compression) > 0).all()
    free = independent.Stack(other.stack.springs, {})
    for i in range(0, mine.compression.size, 9):
        s = mine.compression[i]
        springs = other.springs(s)
        assert mine.spring_force[i] == pytest.approx(springs, rel=1e-7, abs=1e-4)
        around = other.gas(s) + other.limits(s)
        assert mine.force[i] == pytest.approx(springs + around, rel=1e-7, abs=1e-4)
        no_ring = free.force(s + other.seat) + around
        if np.isfinite(mine.no_ring_force[i]):
            assert mine.no_ring_force[i] == pytest.approx(no_ring, rel=1e-7, abs=1e-4)
        else:  # without a ring all would be solid here
            assert s + other.seat > free.partial(1e7) - 1e-9


@every_case
@both_axles
def test_the_springs_share_the_squeeze(case, axle):
    view = seen(case)
    mine = view.axles[axle]
    springs = mine.corner.stack.springs
    assert mine.squeeze.shape == (len(springs), mine.compression.size)
    seat = theirs(view, axle).seat
    assert_allclose(mine.squeeze.sum(axis=0), mine.compression + seat, atol=1e-12)
    # The main is below every ring, so it always carries the whole spring force.
    expected = [independent.spring_deflection(springs[-1], f) for f in mine.spring_force]
    assert_allclose(mine.squeeze[-1], expected, atol=1e-9)
    assert (np.diff(mine.squeeze, axis=1) > -1e-12).all()


@every_case
@both_axles
def test_wheel_force_and_rate(case, axle):
    mine = seen(case).axles[axle]
    other = theirs(seen(case), axle)
    for i in range(0, mine.travel.size - 1, 11):
        z = mine.travel[i]
        assert mine.wheel_force[i] == pytest.approx(other.wheel_force(z), rel=1e-6, abs=1e-2)
    # Between kinks the rate is the slope of the force, ends averaged: a central difference.
    step = np.diff(mine.travel)
    clear = step > 1e-4
    slope = np.diff(mine.wheel_force)[clear] / step[clear]
    middle = 0.5 * (mine.wheel_rate[1:] + mine.wheel_rate[:-1])[clear]
    assert_allclose(slope[1:-1], middle[1:-1], rtol=2e-3)


@both_axles
def test_the_rate_steps_at_crossover_by_what_the_ring_locks_out(axle):
    view = seen("pair")
    mine = view.axles[axle]
    kt, km = 50e3, 65e3
    ratio = theirs(view, axle).motion(mine.crossover_travel)[1]
    at = np.flatnonzero(np.abs(mine.travel - mine.crossover_travel) < 1e-9)
    assert at.size == 2, "two points stand at the kink"
    step = mine.wheel_rate[at[1]] - mine.wheel_rate[at[0]]
    assert step == pytest.approx((km - kt * km / (kt + km)) * ratio**2, rel=1e-6)


@both_axles
def test_crossover_by_the_trade_formula(axle):
    view = seen("pair")
    kt, km, gap, lip = 50e3, 65e3, 0.03, 0.003
    other, mine = theirs(view, axle), view.axles[axle]
    assert mine.crossover == pytest.approx(other.hang + (gap + lip) * (km + kt) / km, abs=1e-9)
    assert other.motion(mine.crossover_travel)[0] == pytest.approx(mine.crossover, abs=1e-9)


@both_axles
def test_a_ring_met_just_at_full_bump_is_not_met_before_it(axle):
    springs = {
        "tender": Spring(name="tender", rate=130e3, free_length=0.15, solid_length=0.05),
        "main": Spring(name="main", rate=65e3, free_length=0.42, solid_length=0.10),
    }
    vehicle, full = pair(springs=springs), 0.24
    other = independent.Corner(vehicle, vehicle.setup, f"{axle}_left")
    just = (full - other.hang) * 65e3 / (65e3 + 130e3) - 0.003
    for gap, met in ((just - 1e-9, True), (just + 1e-9, False)):
        one = look(vehicle, vehicle.setup.change("all", gap=gap), load=None).axles[axle]
        assert np.isfinite(one.crossover) == met
        assert np.isfinite(one.crossover_travel) == met


@pytest.mark.parametrize("case", ["stock", "single", "far"])
def test_no_crossover_where_no_ring_is_met(case):
    for one in seen(case).axles.values():
        assert np.isnan(one.crossover) and np.isnan(one.crossover_travel)
        assert_allclose(one.no_ring_force, one.force, rtol=1e-12)


@pytest.mark.parametrize("case", ["kit", "heavy", "stock", "pair", "triple", "single"])
def test_where_it_stands(case):
    vehicle, setup, load = CASES[case]()
    view = look(vehicle, setup, load=load)
    answer = independent.settle(vehicle, view.setup, load)
    for i, one in ((0, view.axles["front"]), (2, view.axles["rear"])):
        assert one.ride == pytest.approx(answer.compression[i], abs=1e-7)
        assert one.ride_travel == pytest.approx(answer.travel[i], abs=1e-7)
        assert one.height == pytest.approx(answer.height[i : i + 2].mean(), abs=1e-7)


# ---------------------------------------------------------------------------------- the cut-away


@every_case
@both_axles
def test_the_cut_away_closes(case, axle):
    """Collar, springs and dividers end to end fill the space to the retainer in every place."""
    mine = seen(case).axles[axle]
    shock, corner = mine.corner.shock, mine.corner
    assert tuple(mine.cutaways) == STATES
    places = {"droop": corner.hang, "ride": mine.ride, "bump": shock.full_bump}
    for state, cut in mine.cutaways.items():
        assert cut.compression == pytest.approx(places[state])
        assert cut.retainer == pytest.approx(shock.thread.seat_span - places[state])
        assert cut.springs[-1][1] == pytest.approx(cut.retainer, abs=1e-9)
        assert cut.springs[0][0] == cut.collar
        for (_, bottom), (top, _), edge in zip(
            cut.springs[:-1], cut.springs[1:], cut.dividers, strict=True
        ):
            assert edge == pytest.approx(bottom, abs=1e-12)
            assert top - edge == pytest.approx(shock.divider_height)
        for spring, (top, bottom) in zip(corner.stack.springs, cut.springs, strict=True):
            assert spring.solid_length - 1e-9 <= bottom - top <= spring.free_length + 1e-9


@every_case
@both_axles
def test_collar_and_rings_stay_on_the_body(case, axle):
    view = seen(case)
    mine, other = view.axles[axle], theirs(view, axle)
    shock = mine.corner.shock
    free = sum(s.free_length for s in mine.corner.stack.springs)
    free += shock.divider_height * (len(mine.corner.stack.springs) - 1)
    turns = getattr(view.setup, f"{axle}_left").turns
    contact = shock.thread.seat_span - other.contact_hang - free
    collar = contact + turns * shock.thread.collar_pitch
    for cut in mine.cutaways.values():
        assert cut.collar == pytest.approx(collar, abs=1e-8)
        assert cut.rings == mine.cutaways["droop"].rings


@pytest.mark.parametrize("case", ["kit", "pair", "triple", "far"])
@both_axles
def test_the_gap_at_droop_is_what_the_tape_was_set_to(case, axle):
    view = seen(case)
    cut = view.axles[axle].cutaways["droop"]
    asked = getattr(view.setup, f"{axle}_left").gap
    asked = asked if isinstance(asked, tuple) else (asked,)
    assert_allclose(cut.gaps, asked, atol=1e-12)
    for (below, face), gap in zip(cut.rings, cut.gaps, strict=True):
        assert cut.dividers[below] - face == pytest.approx(gap, abs=1e-12)
    assert not any(cut.closed)


@pytest.mark.parametrize("case", ["kit", "pair"])
@both_axles
def test_the_divider_meets_the_ring_at_crossover(case, axle):
    mine = seen(case).axles[axle]
    lip = mine.corner.shock.divider_lip
    assert lip > 0

    def at(s):
        return view_module.cutaway_at(mine.corner, s)

    met = mine.crossover
    for s in (np.nextafter(met, 0), met, np.nextafter(met, 1)):
        assert at(s).gaps[0] == pytest.approx(-lip, abs=1e-12) and at(s).closed == (True,)
    assert at(met - 1e-6).closed == (False,) and at(met - 1e-6).gaps[0] > -lip
    # From there on the ring holds it.
    assert at(met + 0.01).gaps[0] == pytest.approx(-lip, abs=1e-12)
    assert at(met + 0.01).closed == (True,)


def test_each_ring_of_a_triple_closes_in_its_turn():
    mine = seen("triple").axles["front"]
    met = sorted(e.compression for e in mine.corner.events if e.kind == "crossover")
    closed = [view_module.cutaway_at(mine.corner, s + 1e-6).closed for s in met]
    assert [sum(c) for c in closed] == [1, 2]
    assert mine.crossover == met[-1]


def test_ring_left_alone_stays_when_the_collar_turns():
    vehicle = pair()
    held = sk.solve.ring_left(vehicle)
    before = look(vehicle, held, load=None).axles["front"].cutaways["droop"]
    after = look(vehicle, held.change("front", turns=9.0), load=None)
    more = after.axles["front"].cutaways["droop"]
    assert more.rings[0][1] == pytest.approx(before.rings[0][1], abs=1e-12)
    assert more.collar - before.collar == pytest.approx(4 * 0.0015875)
    assert more.gaps[0] > before.gaps[0] + 1e-3  # the gap drifts open


def test_a_ring_run_down_past_a_loose_tender_holds_the_divider():
    """The collar is at contact and the ring 7 mm further down than the tender reaches."""
    vehicle = pair(setup=all_round(turns=0.0, ring=-0.01))
    cut = look(vehicle, load=None).axles["front"].cutaways["droop"]
    (tender_top, tender_bottom), (main_top, main_bottom) = cut.springs
    assert tender_bottom - tender_top == pytest.approx(0.15)
    assert cut.dividers[0] - tender_bottom == pytest.approx(0.007, abs=1e-9)
    assert main_top == pytest.approx(cut.dividers[0])
    assert main_bottom == pytest.approx(cut.retainer, abs=1e-9)
    assert cut.gaps[0] == pytest.approx(-0.003, abs=1e-12) and cut.closed == (True,)


# ------------------------------------------------------------------------------------- in words


def leaning():
    """A vehicle heavier on its left and at the back."""
    return pair(scales=(215, 195, 270, 240))


@both_units
def test_in_words(units):
    vehicle = leaning()
    view = look(vehicle, vehicle.setup.change("rear", gap=0.09), load=None)
    answer = independent.settle(vehicle, view.setup)

    def say(value):
        return show(value, "length", units)

    text = in_words(view, units)
    front, rear = answer.height[:2].mean(), answer.height[2:].mean()
    gap = {"us": (tape(0.03), tape(0.09)), "metric": ("30.0 mm", "90.0 mm")}[units]
    start = (
        f"Front: 5.00 turns, gap {gap[0]}; ride height {say(front)}, {say(answer.travel[0])} into "
        "the travel, stands past crossover at "
    )
    assert text.startswith(start)
    assert (
        f" Rear: 5.00 turns, gap {gap[1]}; ride height {say(rear)}, {say(answer.travel[2])} into "
        "the travel, stands below crossover at " in text
    )
    assert front > rear + LEVEL
    assert text.endswith(f" of travel. Nose high by {say(front - rear)}.")
    other = "mm" if units == "us" else " in,"
    assert other not in text


@both_units
def test_in_words_without_a_ring(units):
    text = in_words(seen("stock"), units)
    assert "gap" not in text and "crossover" not in text
    assert text.count("meets no stop ring before full bump") == 2


def test_in_words_names_both_rings():
    assert "gap 13/16 in and 1-15/16 in" in in_words(seen("triple"))
    assert readout(seen("triple"), "metric")["stop gap at droop hang"][0] == "20.0 mm and 50.0 mm"


def test_rake_is_said_as_the_trade_says_it():
    for sign, end in ((1, "nose"), (-1, "tail")):
        assert rake_in_words(sign * np.nextafter(LEVEL, 0)) == "level"
        for rise in (LEVEL, np.nextafter(LEVEL, 1)):
            assert rake_in_words(sign * rise, kind="length") == f"{end} high by 0.03 in"
            assert rake_in_words(sign * rise, "metric", kind="length") == f"{end} high by 0.8 mm"
        assert rake_in_words(sign * 2.36 * 0.0254) == f"{end} high by 2-3/8 in"
    assert rake_in_words(np.nan) == "no balance"
    # A difference of heights, whatever the wheelbase: what a tape in front and at the rear reads.
    view = seen("heavy")
    apart = view.axles["front"].height - view.axles["rear"].height
    assert apart > 0.005 and lean(view) == f"nose high by {show(apart, 'length', 'us')}"
    assert float(view.stance.rake) == pytest.approx(apart, abs=1e-15)


@both_units
def test_readout(units):
    vehicle = leaning()
    view = look(vehicle, load=None)
    answer, table = independent.settle(vehicle, view.setup), readout(view, units)

    def say(value, kind="length"):
        return show(float(value), kind, units)

    for j, (i, axle) in enumerate(((0, "front"), (2, "rear"))):
        other = theirs(view, axle)
        row = {label: texts[j] for label, texts in table.items()}
        assert row["collar turns from contact"] == "5.00"
        gap = tape(0.03) if units == "us" else "30.0 mm"
        assert row["stop gap at droop hang"] == gap
        left, right = answer.height[i], answer.height[i + 1]
        assert left < right - 0.001, "heavier on its left"
        assert row["ride height, left and right"] == f"{say(left)}, {say(right)}"
        a, b = other.shock.clickers["parabola"]
        bump = (-a + np.sqrt(a**2 + 4 * b * other.full_bump)) / (2 * b)
        used = answer.travel[i] - other.hang_travel
        assert row["wheel travel used / left"] == f"{say(used)} / {say(bump - answer.travel[i])}"
        met = other.hang + 0.033 * (65e3 + 50e3) / 65e3
        met_travel = (-a + np.sqrt(a**2 + 4 * b * met)) / (2 * b)
        assert row["crossover at wheel travel"] == f"{say(met_travel)}, stands past it"
        # Past crossover: the main spring alone, its motion ratio and the bend of the linkage.
        s, ratio = other.motion(answer.travel[i])
        rate = 65e3 * ratio**2 + other.force(s) * 2 * b
        with_tyre = 1 / (1 / rate + 1 / 150e3)
        frequency = np.sqrt(with_tyre / (other.force(s) * ratio / G)) / (2 * np.pi)
        assert row["ride frequency"] == say(frequency, "frequency")
        full = other.springs(other.full_bump) * (a + 2 * b * bump)
        factor = full / (other.force(s) * ratio)
        assert row["load factor at full bump"] == f"{factor:.2f}"
        energy, _ = quad(other.force, s, other.full_bump, epsabs=1e-6)
        assert row["energy to full bump"] == say(energy, "energy")


def test_readout_where_no_ring_is_met():
    assert readout(seen("stock"))["stop gap at droop hang"] == ("no ring", "no ring")
    for case in ("stock", "far", "single"):
        row = readout(seen(case))["crossover at wheel travel"]
        assert row == ("not before full bump", "not before full bump")


def test_readout_below_crossover():
    assert readout(seen("kit"))["crossover at wheel travel"][1].endswith(", stands below it")


# ------------------------------------------------------------------------------------- cautions


def test_no_caution_for_a_good_setup():
    for case in ("kit", "stock", "heavy"):
        assert cautions(seen(case)) == ()


def _tipped():
    item = Item(mass=2000.0, behind_front_axle=1.4, left_of_centre=1.2, above_frame=1.0)
    vehicle = replace(pair(), items={"it": item}, loads={"it": Load(items=("it",))})
    return look(vehicle, load="it")


@both_units
def test_tipped(units):
    view = _tipped()
    assert view.stance.tipped
    assert cautions(view, units) == (TIPPED,) == (in_words(view, units),)
    table = readout(view, units)
    assert table["ride height, left and right"] == ("–, –", "–, –")
    assert table["load factor at full bump"] == ("–", "–")
    # Crossover belongs to springs and gap, but nothing stands on either side of it.
    assert "stands" not in " ".join(table["crossover at wheel travel"])


@both_units
def test_standing_on_the_bump_stops(units):
    stop = BumpStop(free_length=0.05, table=((0.02, 500.0), (0.04, 3000.0)))
    one = independent.make_axle(bump_stop=stop)
    vehicle = single(rate=8e3, front=one, rear=one, scales=(450, 450, 450, 450))
    notes = cautions(look(vehicle, load=None), units)
    for corner in ("front left", "front right", "rear left", "rear right"):
        assert f"The {corner} corner stands on its bump stop, solid." in notes


def test_a_wheel_off_the_ground():
    """The shocks of one diagonal wound up hard on stiff springs."""
    axles = {"front": independent.make_axle(a=0.6, b=0.0)}
    axles["rear"] = independent.make_axle(a=0.6, b=0.0, point_behind=2.6)
    vehicle = single(rate=200e3, turns=0.0, cg=0.1, scales=(150, 150, 300, 300), **axles)
    item = Item(mass=150.0, behind_front_axle=2.6, left_of_centre=-0.6, above_frame=0.2)
    vehicle = replace(vehicle, items={"it": item}, loads={"it": Load(items=("it",))})
    setup = vehicle.setup.change("front_right", turns=50.0).change("rear_left", turns=50.0)
    up = [
        name.replace("_", " ")
        for name, load in zip(
            independent.NAMES, independent.settle(vehicle, setup, "it").tyre_load, strict=True
        )
        if load == 0
    ]
    told = [n for n in cautions(look(vehicle, setup, load="it")) if "off the ground" in n]
    assert len(up) == 1 and told == [f"The {up[0]} wheel is off the ground."]


@pytest.mark.parametrize("units, text", [("us", "0.39 in"), ("metric", "10.0 mm")])
def test_loose_springs(units, text):
    """A collar backed off a centimetre from contact, which no set-up of ours can say."""
    vehicle = pair()
    corner = sk.assemble(vehicle)["front_left"]
    loose = replace(corner, preload=-0.01 + corner.contact_hang - corner.hang)
    view = look(vehicle, load=None)
    stance = replace(view.stance, corners=view.stance.corners | {"front_left": loose})
    notes = cautions(replace(view, stance=stance), units)
    assert f"The front left springs are {text} loose at droop hang." in notes


def test_turns_at_and_beyond_the_thread():
    front = independent.make_axle(collar_travel=0.06)
    vehicle = independent.make_vehicle(front=front)
    other = independent.Corner(vehicle, vehicle.setup, "front_left")
    thread = front.shock.thread
    contact = thread.seat_span - other.contact_hang - 0.15 - 0.42
    most = (thread.collar_travel - contact) / thread.collar_pitch
    for turns, told in ((most, False), (most + 1e-6, True), (most + 20, True)):
        setup = vehicle.setup.change("front_left", turns=turns)
        notes = " ".join(cautions(look(vehicle, setup, load=None)))
        sentence = (
            f"The front left collar cannot be at {turns:.1f} turns; the thread allows 0.0 to "
            f"{most:.1f}."
        )
        assert (sentence in notes) == told
        assert "front right collar" not in notes


@pytest.mark.parametrize("units, text", [("us", "6 in"), ("metric", "152.4 mm")])
def test_a_gap_beyond_the_rings_thread(units, text):
    setup = UNIT7.setups["kit"].change("front_right", gap=6 * INCH)
    view = look(UNIT7, setup, load="patrol")
    (note,) = cautions(view, units)
    assert note.startswith(f"The front right stop ring cannot be at a gap of {text}; its thread")
    # Hand: the ring's face may stand no higher than its own height below the collar's seat.
    cut = look(UNIT7, setup.change("front_left", gap=6 * INCH), load="patrol")
    droop = cut.axles["front"].cutaways["droop"]
    most = droop.dividers[0] - droop.collar - UNIT7.front.shock.thread.ring_height
    for gap, told in ((most - 1e-5, 0), (most + 1e-5, 1)):
        near = UNIT7.setups["kit"].change("front_right", gap=gap)
        assert len(cautions(look(UNIT7, near, load="patrol"))) == told
