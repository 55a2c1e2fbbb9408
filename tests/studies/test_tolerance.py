"""How sure a number is: closed forms, GUM propagation, what drops out, the same draws again.

GUM is JCGM 100:2008, Guide to the expression of uncertainty in measurement: 4.3.7 (a quantity
within plus or minus a, uniform, has the standard uncertainty a / sqrt 3) and 5.1.2, eq. (10), the
law of propagation u^2 = sum (df/dx_i)^2 u_i^2. Both from memory.
"""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

import suspkit as sk
from suspkit.studies import tolerance
from suspkit.studies.tolerance import BLOCK, Tolerances
from suspkit.units import GRAVITY
from suspkit.vehicle.setup import CORNERS, CornerSetup
from suspkit.vehicle.vehicle import StackPlan
from tests.tools import independent

INCH = 0.0254
RATE, RATIO, TRACK, BASE = 40e3, 0.6, 1.55, 2.9  # N/m, -, m, m
TYRE = 150e3  # N/m
POINT = 0.25  # m, measuring points left and right of the middle
HUB = 0.18  # m, below the frame's bottom line at full droop
PITCH = 0.0015875  # m a turn
TURNS = 4.0

WHEEL = RATE * RATIO**2
RIDE = WHEEL * TYRE / (WHEEL + TYRE)
SHARE = (225 - 34.0) * GRAVITY  # N, sprung weight on each corner
TRAVEL = SHARE / WHEEL - TURNS * PITCH / RATIO  # m, of each wheel as it stands

NOTHING = Tolerances().only()


def sure(n):
    """Five standard errors of a standard deviation from n normal draws, as a share of it."""
    return 5 / np.sqrt(2 * n)


WEIGHT = 4 * 225 * GRAVITY  # N, of all of it
HUB_UP = 0.4 - 225 * GRAVITY / TYRE  # m, hubs above ground as it stands
# A round wheel stands under its hub, so in pitch the weight, its centre on the ground, hangs that
# far below where it turns: stiffness k B^2 becomes k B^2 + W HUB_UP.
PITCHES = 1 / (1 + WEIGHT * HUB_UP / (RIDE * BASE**2))


def make_plain(above_ground):
    """One linear spring a corner, constant motion ratio, symmetric.

    The centre of gravity of all masses stands so far above ground [m]. On the ground a small tilt
    moves no weight, and the vehicle is linear.
    """
    sprung = (WEIGHT * above_ground - 4 * 34.0 * GRAVITY * HUB_UP) / (4 * SHARE)
    only = sk.Spring(name="only", rate=RATE, free_length=0.5, solid_length=0.1)
    corner = CornerSetup(stack="only", turns=TURNS)
    axle = {"a": RATIO, "b": 0.0, "friction": 0.0, "track": TRACK, "tyre_rate": TYRE}
    axle |= {"hub_below": HUB, "pitch": PITCH}
    return independent.make_vehicle(
        front=independent.make_axle(point_behind=0.0, **axle),
        rear=independent.make_axle(point_behind=BASE, **axle),
        springs={"only": only},
        stacks={"only": StackPlan(springs=("only",))},
        setup=sk.Setup(**dict.fromkeys(CORNERS, corner)),
        scales=(225, 225, 225, 225),
        wheelbase=BASE,
        cg=sprung - HUB_UP + TRAVEL - HUB,
    )


@pytest.fixture(scope="module")
def plain():
    return make_plain(0.0)


@pytest.fixture(scope="module")
def unit7():
    return sk.example("unit7")


def sd(spread, quantity, where):
    return spread.numbers.loc[(quantity, where), "sd"]


# ------------------------------------------------------------------------------- closed forms


def rigid(lift):
    """Height at the four points when each corner alone would rise by ``lift`` [m].

    Equal ride rates under a stiff frame: the frame takes the least-squares plane through them.
    In pitch it turns a little less, see `PITCHES`.
    """
    x = np.array([0.0, 0.0, -BASE, -BASE])
    y = 0.5 * TRACK * np.array([1, -1, 1, -1])
    plane = np.linalg.pinv(np.c_[np.ones(4), x + BASE / 2, y]) * [[1.0], [PITCHES], [1.0]]
    return np.c_[np.ones(4), x + BASE / 2, POINT * np.array([1, -1, 1, -1])] @ plane @ lift


def test_rate_against_the_law_of_propagation(plain):
    n = 20_000
    found = sk.spread(plain, count=n, tolerances=replace(NOTHING, rate=0.02))
    # A spring stiffer by e carries the same force with e F / k less squeeze: the corner rises by
    # that over the motion ratio, F_wheel / k_wheel.
    rise = SHARE / WHEEL
    each = rigid(np.eye(4) * rise) * 0.02 / np.sqrt(3)
    want = np.sqrt((each**2).sum(axis=1))
    for i, where in enumerate(("front left", "front right", "rear left", "rear right")):
        assert_allclose(sd(found, "ride height", where), want[i], rtol=sure(n))
    # Left less right in one line: the roll a frame takes from four corners is a quarter of the sum
    # of left less right over half the track; the points are 2 POINT apart.
    apart = 2 * POINT / TRACK * rise * 0.02 / np.sqrt(3)
    for axle in ("front", "rear"):
        assert_allclose(sd(found, "left less right", axle), apart, rtol=sure(n))
        mean = 0.5 * (each[0] + each[1]) if axle == "front" else 0.5 * (each[2] + each[3])
        assert_allclose(sd(found, "ride height", axle), np.sqrt((mean**2).sum()), rtol=sure(n))
    rake = each[:2].mean(axis=0) - each[2:].mean(axis=0)
    assert_allclose(sd(found, "rake", "vehicle"), np.sqrt((rake**2).sum()), rtol=sure(n))


def test_copied_collar_against_the_law_of_propagation(plain):
    n = 20_000
    only = replace(NOTHING, free_length=INCH / 8)
    copied = sk.spread(plain, habit="copy collar", count=n, tolerances=only)
    # A spring longer by d is squeezed d more: the wheel goes down by d over the motion ratio.
    apart = 2 * POINT / TRACK * INCH / 8 / RATIO / np.sqrt(3)
    assert_allclose(sd(copied, "left less right", "front"), apart, rtol=sure(n))
    low = np.ptp(copied.collar, axis=1)
    assert_allclose(low, 0.0, atol=1e-15)


def test_collar_load_and_balance_against_the_law_of_propagation(plain):
    n = 20_000
    turned = sk.spread(plain, count=n, tolerances=replace(NOTHING, collar=0.5))
    apart = 2 * POINT / TRACK * 0.5 * PITCH / RATIO / np.sqrt(3)
    assert_allclose(sd(turned, "left less right", "rear"), apart, rtol=sure(n))
    loaded = sk.spread(plain, count=n, tolerances=replace(NOTHING, mass=10.0))
    for axle in ("front", "rear"):  # the centre is in the middle: four equal shares
        sinks = 10.0 * GRAVITY / (4 * RIDE)
        assert_allclose(sd(loaded, "ride height", axle), sinks, rtol=sure(n))
        assert_allclose(sd(loaded, "left less right", axle), 0.0, atol=1e-12)
    # A moment on four ride rates, W u, over the stiffnesses k B^2 in pitch and k T^2 in roll.
    along = sk.spread(plain, count=n, tolerances=replace(NOTHING, along=0.01))
    sinks = PITCHES * 4 * SHARE * 0.01 / (RIDE * BASE**2) * BASE / 2
    for axle in ("front", "rear"):
        assert_allclose(sd(along, "ride height", axle), sinks, rtol=sure(n))
    across = sk.spread(plain, count=n, tolerances=replace(NOTHING, across=0.01))
    leans = 4 * SHARE * 0.01 / (RIDE * TRACK**2) * 2 * POINT
    assert_allclose(sd(across, "left less right", "front"), leans, rtol=sure(n))


def test_high_centre_of_gravity_adds_to_the_lean():
    # Tilting carries the weight W at a height h out: stiffness k T^2 becomes k T^2 - W h.
    n, h = 20_000, 0.6
    found = sk.spread(make_plain(h), count=n, tolerances=replace(NOTHING, collar=0.5))
    apart = 2 * POINT / TRACK * 0.5 * PITCH / RATIO / np.sqrt(3)
    more = 1 / (1 - WEIGHT * h / (RIDE * TRACK**2))
    assert more > 1.1
    assert_allclose(sd(found, "left less right", "front"), apart * more, rtol=sure(n))


def test_tape_alone_fails_a_quarter_of_perfect_vehicles(plain):
    # Two readings each within 1/16 in: their difference is triangular between -1/8 and 1/8 in,
    # past 1/16 in either way in (1/2)^2 of the cases.
    n = 20_000
    found = sk.spread(plain, count=n, tolerances=replace(NOTHING, tape=INCH / 16))
    for axle in ("front", "rear"):
        assert_allclose(found.fails[axle], 0.25, atol=5 * np.sqrt(0.25 * 0.75 / n))
    assert_allclose(found.fails["either"], 1 - 0.75**2, atol=5 * np.sqrt(0.25 / n))
    assert_allclose(sd(found, "left less right", "front"), 0.0, atol=1e-14)
    assert_allclose(
        sd(found, "left less right by tape", "front"), INCH / 16 * np.sqrt(2 / 3), rtol=sure(n)
    )


def test_shares_of_a_linear_vehicle_add_up(plain):
    found = tolerance.which_matters(plain, count=8000)
    spreads, shares = found.sd, found.share
    assert list(shares.index) == [*tolerance.SOURCES, "all"]
    for key in tolerance.STUDIED:
        parts = shares[key].drop("all")
        assert_allclose(parts.sum(), 1.0, atol=0.06)
        assert_allclose(parts["free length"], 0.0, atol=1e-18)
    # Against eq. (10) again, from each source's own closed form.
    rate = 2 * POINT / TRACK * SHARE / WHEEL * 0.04 / np.sqrt(3)
    key = ("left less right", "front")
    assert_allclose(spreads.loc["rate", key], rate, rtol=sure(8000))
    assert_allclose(shares.loc["rate", key], (rate / spreads.loc["all", key]) ** 2, rtol=0.1)
    for units, unit in (("us", "in"), ("metric", "mm")):
        column = found.table(units)["front left less right"]
        share = f"{shares.loc['rate', key]:.0%}"
        shown = sk.units.show(spreads.loc["rate", key], "length", units, 3 if units == "us" else 2)
        assert column["rate"].rstrip("*") == f"{shown} {share}" and unit in shown
        assert column["free length"].endswith("0%")
        (starred,) = (source for source, words in column.items() if words.endswith("*"))
        assert starred == shares[key].drop("all").idxmax()


# ------------------------------------------------------- against the independent solution


def changed(vehicle, setup, corner, spring, **fields):
    """The vehicle with one spring of one corner made differently."""
    chosen = getattr(setup, corner)
    plan = vehicle.stacks[chosen.stack]
    own = f"own {spring}"
    names = tuple(own if name == spring else name for name in plan.springs)
    rings = tuple(own if name == spring else name for name in plan.rings_below)
    made = replace(vehicle.springs[spring], wire=None, **fields)
    setup = setup.change(corner, stack="own")
    return replace(
        vehicle,
        springs={**vehicle.springs, own: made},
        stacks={**vehicle.stacks, "own": replace(plan, springs=names, rings_below=rings)},
        setups={**vehicle.setups, "own": setup},
        current="own",
    ), setup


def slopes(read, step):
    """Central difference of four heights."""
    return (read(step) - read(-step)) / (2 * step)


def uncertain_heights(vehicle, setup, load, off, copied):
    """Each source's part in the four heights [m] by GUM eq. (10), slopes by `independent.settle`.

    ``copied`` says whether collars are copied, so that a longer spring is squeezed more.
    """
    parts = {"rate": [], "free length": [], "collar": [], "tape": []}
    for corner in CORNERS:
        chosen, axle = getattr(setup, corner), vehicle.axle_of(corner)
        pitch = axle.shock.thread.collar_pitch
        for name in vehicle.stacks[chosen.stack].springs:
            spring = vehicle.springs[name]

            def stiffer(by, corner=corner, name=name, spring=spring):
                made, own = changed(vehicle, setup, corner, name, rate=spring.rate * (1 + by))
                return independent.settle(made, own, load).height

            def longer(by, corner=corner, name=name, spring=spring, chosen=chosen, pitch=pitch):
                made, own = changed(
                    vehicle, setup, corner, name, free_length=spring.free_length + by
                )
                more = by / pitch if copied else 0.0
                own = own.change(corner, turns=chosen.turns + more)
                return independent.settle(made, own, load).height

            parts["rate"].append(slopes(stiffer, 0.005) * off.rate / np.sqrt(3))
            parts["free length"].append(slopes(longer, 0.001) * off.free_length / np.sqrt(3))

        def turned(by, corner=corner, chosen=chosen):
            own = setup.change(corner, turns=chosen.turns + by)
            return independent.settle(vehicle, own, load).height

        def gapped(by, corner=corner, chosen=chosen):
            return independent.settle(
                vehicle, setup.change(corner, gap=chosen.gap + by), load
            ).height

        parts["collar"].append(slopes(turned, 0.05) * off.collar / np.sqrt(3))
        parts["tape"].append(slopes(gapped, 0.0005) * off.tape / np.sqrt(3))
    return {source: np.array(each) for source, each in parts.items()}


def test_example_vehicle_against_propagation_through_the_independent_solver(unit7):
    # The front stands past crossover and the rear before it, so ring, gap and both springs count.
    n, off = 12_000, replace(Tolerances(), rate=0.02)
    for habit in ("count turns", "copy collar"):
        parts = uncertain_heights(unit7, unit7.setup, "patrol", off, habit == "copy collar")
        for source, each in parts.items():
            found = sk.spread(
                unit7, load="patrol", habit=habit, count=n, tolerances=off.only(source)
            )
            want = np.sqrt((each**2).sum(axis=0))
            apart = np.sqrt(((each[:, 0] - each[:, 1]) ** 2).sum())
            ours = found.height.std(axis=1, ddof=1)
            said = f"{habit}: {source}"
            # Curved linkage and gas: the slopes themselves change a little across the tolerance.
            assert_allclose(ours, want, rtol=0.01 + sure(n), atol=1e-9, err_msg=said)
            assert_allclose(
                sd(found, "left less right", "front"), apart, rtol=0.01 + sure(n), atol=1e-9,
                err_msg=said,
            )  # fmt: skip


# -------------------------------------------------------------------------- what drops out


@pytest.mark.parametrize("load", [None, "patrol", "carry-out"])
def test_counted_turns_forget_the_free_length(unit7, load):
    only = Tolerances().only("free length")
    counted = sk.spread(unit7, load=load, count=3000, tolerances=only)
    for values in (counted.height, counted.crossover, counted.gap, counted.tyre_load / 1e4):
        assert np.ptp(values, axis=1).max() < 1e-11
    # The collar's place keeps it: two springs, each within 1/8 in.
    assert_allclose(counted.collar.std(axis=1), INCH / 8 * np.sqrt(2 / 3), rtol=0.04)
    copied = sk.spread(unit7, load=load, habit="copy collar", count=3000, tolerances=only)
    assert copied.height.std(axis=1).min() > 5e-4
    assert np.ptp(copied.collar, axis=1).max() < 1e-12


def test_until_a_spring_binds(unit7):
    # The stock tenders, 1-11/16 in and 1-15/16 in of stroke, are solid as the vehicle stands, so
    # there its length is in the height again: a tender longer by d is solid d later.
    only = replace(NOTHING, free_length=INCH / 8)
    found = sk.spread(unit7, unit7.setups["stock"], load="patrol", count=3000, tolerances=only)
    binds = [
        max(e.compression for e in c.events if e.kind == "bind" and "tender" in e.name)
        for c in sk.assemble(unit7, unit7.setups["stock"]).values()
    ]
    assert (sk.settle(unit7, unit7.setups["stock"], load="patrol").compression > binds).all()
    assert found.height.std(axis=1).min() > 1e-3


def test_ring_left_in_place(unit7):
    # As a number read at contact it is told from each spring's own length; copied, from the body.
    corners = sk.assemble(unit7)
    setup = sk.vehicle.corner.hold_rings(unit7.setup, corners)
    only = Tolerances().only("free length")
    counted = sk.spread(unit7, setup, load="patrol", count=500, tolerances=only)
    assert np.ptp(counted.height, axis=1).max() < 1e-11
    copied = sk.spread(unit7, setup, load="patrol", habit="copy collar", count=500, tolerances=only)
    # Past crossover the main alone carries the front from the ring: its own length is all there is.
    assert np.std(copied.height[:2]) > 1e-3
    # Nobody sets a ring by tape that is left alone.
    taped = sk.spread(unit7, setup, load="patrol", count=50, tolerances=Tolerances().only("tape"))
    assert np.ptp(taped.height, axis=1).max() < 1e-12
    assert np.ptp(taped.reading - taped.height) > INCH / 16


def test_copied_ring_stays_on_the_thread(unit7):
    # The copied ring's place on the body does not move with the springs.
    setup = sk.vehicle.corner.hold_rings(unit7.setup, sk.assemble(unit7))
    job = tolerance._Job(
        vehicle=unit7, setup=setup, masses=unit7.masses(None), habit="copy collar",
        tolerances=Tolerances().only("free length"), seed=1,
    )  # fmt: skip
    placed, fit = [], tolerance.fit_corner

    def spy(*args, **fields):
        placed.append(fit(*args, **fields))
        return placed[-1]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tolerance, "fit_corner", spy)
        job.block(0, 200)
    for corner in placed:
        assert np.ptp(corner.ring_at()) < 1e-12 and np.ptp(corner.collar_at) < 1e-12


def test_loose_springs_when_a_collar_is_copied(unit7):
    # Half a turn from contact, 1/32 in: a copied collar stands short of contact where the two
    # springs together are shorter than that by chance. The sum of two within a is triangular:
    # less than -b in (1 - b / 2a)^2 / 2 of the cases.
    setup = unit7.setup.change("all", turns=0.5)
    only = Tolerances().only("free length")
    n = 5000
    copied = sk.spread(unit7, setup, habit="copy collar", count=n, tolerances=only)
    want = 0.5 * (1 - (INCH / 32) / (INCH / 4)) ** 2
    # With a top-out spring the unloaded stack hangs where contact was found: no other slack.
    assert_allclose(copied.loose.mean(axis=1), want, atol=5 * np.sqrt(0.25 / n))
    assert "hang loose" in copied.words()
    counted = sk.spread(unit7, setup, count=n, tolerances=only)
    assert not counted.loose.any() and "loose" not in counted.words()


def test_count_of_turns_leaves_less_scatter(unit7):
    both = tolerance.compare_habits(unit7, load="patrol", count=4000)
    assert both.counted.habit == "count turns" and both.copied.habit == "copy collar"
    # Same draws for both.
    counted, copied = (s.reading - s.height for s in (both.counted, both.copied))
    assert_allclose(counted, copied, atol=1e-15)
    ratio = both.ratio
    for axle in ("front", "rear"):
        one = sd(both.copied, "left less right", axle) / sd(both.counted, "left less right", axle)
        assert_allclose(ratio["left less right", axle], one)
        assert 1.2 < one < 1.4
    assert both.words().startswith("Counting turns from contact leaves less scatter")
    assert f"by a factor of {one:.1f} " in both.words() and "mm" in both.words("metric")
    swapped = tolerance.Habits(counted=both.copied, copied=both.counted)
    assert swapped.words().startswith("Copying the collar's place")
    same = tolerance.Habits(counted=both.counted, copied=both.counted)
    assert same.words().startswith("Both habits leave the same scatter")


# ------------------------------------------------------------------------------ the check


def test_side_check(unit7):
    told = tolerance.side_check(unit7, load="patrol", count=1500)
    assert told.limit == unit7.targets.side_to_side
    good = sk.spread(unit7, load="patrol", count=1500)
    assert told.caught.loc[0.0].to_dict() == {k: good.fails[k] for k in ("front", "rear")}
    springs = sk.spread(
        unit7,
        load="patrol",
        count=1500,
        tolerances=replace(NOTHING, free_length=INCH / 8, rate=0.04),
    )
    assert told.springs_alone == {k: springs.fails[k] for k in ("front", "rear")}
    assert 0 < told.springs_alone["front"] < 0.02
    # One turn by two settled vehicles: what it moves left less right by.
    before = sk.settle(unit7, load="patrol")
    for axle, rows in (("front", [0, 1]), ("rear", [2, 3])):
        corner = f"{axle}_left"
        more = unit7.setup.change(corner, turns=getattr(unit7.setup, corner).turns + 1)
        after = sk.settle(unit7, more, load="patrol")
        for ours, read in (
            (told.by_tape, lambda s: s.height),
            (told.on_scales, lambda s: s.tyre_load / GRAVITY),
        ):
            left, right = (read(after) - read(before))[rows]
            assert_allclose(ours[axle], left - right, rtol=0.01)
    # A stiff frame on points near its middle hides it: eight turns are still missed.
    assert told.unseen == {"front": 8.0, "rear": 8.0}
    assert "missed more often than caught" in told.words()
    assert "8 turns or more" in told.words() and "mm" in told.words("metric")
    # Short of contact is no miscount.
    short = tolerance.side_check(
        unit7, unit7.setup.change("all", turns=1.0), load="patrol", count=50, miscounts=(-2, -1, 1)
    )
    assert list(short.caught.index) == [-1.0, 0.0, 1.0]


def test_side_check_sees_a_large_miscount_with_a_good_tape(unit7):
    fine = replace(NOTHING, tape=1e-4)
    told = tolerance.side_check(
        unit7, load="patrol", tolerances=fine, count=200, miscounts=(4.0, 20.0)
    )
    assert told.caught.loc[20.0].min() == 1.0 and told.caught.loc[4.0].max() == 0.0
    assert told.unseen == {"front": 4.0, "rear": 4.0} and "or more" not in told.words()


def test_miscount_is_a_change_of_turns(unit7):
    wrong = sk.spread(unit7, load="patrol", count=300, miscount={"rear_left": 1.5})
    set_so = sk.spread(unit7, unit7.setup.change("rear_left", turns=6.5), load="patrol", count=300)
    assert_allclose(wrong.height, set_so.height, rtol=1e-14)
    right = sk.spread(unit7, load="patrol", count=300)
    assert (wrong.height - right.height)[2].min() > 1e-4


# ---------------------------------------------------------------------- the same again


FIELDS = ("height", "reading", "tyre_load", "crossover", "load_factor", "gap", "collar", "loose")


def test_same_seed_same_vehicles_whatever_the_workers(unit7, monkeypatch):
    count = BLOCK + 700
    first = sk.spread(unit7, load="patrol", count=count, seed=3)
    monkeypatch.setattr(tolerance.os, "cpu_count", lambda: 1)
    alone = sk.spread(unit7, load="patrol", count=count, seed=3)
    monkeypatch.setattr(tolerance.os, "cpu_count", lambda: 5)
    many = sk.spread(unit7, load="patrol", count=count, seed=3)
    fewer = sk.spread(unit7, load="patrol", count=900, seed=3)
    for name in FIELDS:
        assert_array_equal(getattr(first, name), getattr(alone, name))
        assert_array_equal(getattr(first, name), getattr(many, name))
        # Worked out in arrays of another length, which may change a last bit.
        assert_allclose(getattr(first, name)[:, :900], getattr(fewer, name), rtol=1e-12, atol=1e-12)
    other = sk.spread(unit7, load="patrol", count=900, seed=4)
    assert not np.isclose(other.height, fewer.height, rtol=0, atol=1e-6).any(axis=1).all()
    # The next block draws afresh.
    assert np.abs(first.height[:, BLOCK:] - first.height[:, :700]).min(axis=1).max() > 0


def test_sources_are_drawn_apart(unit7):
    every = Tolerances()
    read = sk.spread(unit7, count=400, tolerances=every)
    # Another tolerance, stack or habit leaves the readings' errors as they were.
    for other in (
        sk.spread(unit7, count=400, tolerances=replace(every, rate=0.01)),
        sk.spread(unit7, unit7.setups["stock"], count=400),
        sk.spread(unit7, count=400, habit="copy collar"),
    ):
        assert_allclose(other.reading - other.height, read.reading - read.height, atol=1e-15)
    # No two corners alike, and none tied to another.
    off = (read.reading - read.height) / every.tape
    assert_allclose(np.corrcoef(off)[np.triu_indices(4, 1)], 0.0, atol=5 / np.sqrt(400))
    # Setting a gap and reading a height are two readings.
    set_to = (read.gap - read.gap.mean(axis=1, keepdims=True)) / every.tape
    assert_allclose(np.corrcoef(off, set_to)[:4, 4:], 0.0, atol=5 / np.sqrt(400))


def test_draws_have_their_distribution(plain):
    n = 8000
    found = sk.spread(plain, count=n, tolerances=replace(NOTHING, tape=0.002))
    off = found.reading - found.height
    assert np.abs(off).max() <= 0.002 and np.abs(off).max() > 0.00199
    assert_allclose(np.quantile(off, [0.25, 0.75]), [-0.001, 0.001], atol=5e-5)
    loaded = sk.spread(plain, count=n, tolerances=replace(NOTHING, mass=5.0))
    sunk = loaded.height[0] - loaded.height[0].mean()
    # Normal: 68.27 % within one sd.
    assert_allclose((np.abs(sunk) < sunk.std()).mean(), 0.6827, atol=5 * np.sqrt(0.22 / n))


# --------------------------------------------------------------------------- what is told


def test_numbers_are_those_of_the_samples(unit7):
    found = sk.spread(unit7, load="patrol", count=1000)
    assert found.count == 1000 and found.load == "patrol"
    for key, values in found.samples.items():
        row = found.numbers.loc[key]
        assert values.shape == (1000,) and row["share"] == 1.0
        assert_allclose(row[["mean", "sd"]], [values.mean(), values.std(ddof=1)])
        assert_allclose(row[["low", "middle", "high"]], np.percentile(values, [5, 50, 95]))
    height = found.height
    assert_allclose(found.samples["left less right", "rear"], height[2] - height[3])
    assert_allclose(
        found.samples["rake", "vehicle"], height[:2].mean(axis=0) - height[2:].mean(axis=0)
    )
    # The middle of the draw is the vehicle of the file.
    nominal = sk.settle(unit7, load="patrol")
    assert_allclose(found.height.mean(axis=1), nominal.height, atol=5 * 0.003 / np.sqrt(1000))
    assert_allclose(found.load_factor.mean(axis=1), nominal.bottoming.load_factor, rtol=0.005)
    met = [c.linkage.travel(c.crossover) for c in nominal.corners.values()]
    assert_allclose(found.crossover.mean(axis=1), met, rtol=0.005)
    assert_allclose(found.gap.mean(axis=1), [c.gap[0] for c in nominal.corners.values()], rtol=5e-3)


def test_each_vehicle_is_the_one_settled_alone(unit7):
    # Nothing off: every vehicle is the nominal one, in every number.
    found = sk.spread(unit7, load="patrol", count=3, tolerances=NOTHING)
    nominal = sk.settle(unit7, load="patrol")
    for i in range(3):
        assert_allclose(found.height[:, i], nominal.height, rtol=1e-12)
        assert_allclose(found.reading[:, i], nominal.height, rtol=1e-12)
        assert_allclose(found.tyre_load[:, i], nominal.tyre_load, rtol=1e-9)
        assert_allclose(found.load_factor[:, i], nominal.bottoming.load_factor, rtol=1e-9)


def test_what_is_not_there_is_left_out(unit7):
    found = sk.spread(unit7, unit7.setups["stock"], load="patrol", count=50)
    assert np.isnan(found.gap).all() and np.isnan(found.crossover).all()
    assert found.numbers.loc[("stop gap", "front left"), "share"] == 0.0
    assert "stop gap" not in found.table().index.get_level_values(0)


def test_solid_vehicles_are_counted_not_averaged(unit7):
    # Springs so much too short that some stacks are solid before full bump.
    short = replace(NOTHING, free_length=0.06)
    found = sk.spread(unit7, load="patrol", count=400, tolerances=short)
    solid = np.isnan(found.load_factor)
    assert 0 < solid.mean() < 0.5
    share = found.numbers.loc[("load factor", "front left"), "share"]
    assert_allclose(share, 1 - solid[0].mean())
    assert np.isfinite(found.numbers.loc["load factor"].to_numpy()).all()
    told = f"In {solid.any(axis=0).sum()} of 400 all springs of a corner are solid"
    assert told in found.words()


def test_vehicles_that_tip_over_are_counted():
    # Top-heavy, W h nearly k T^2, and loaded so far off centre that some lean too far.
    h = 0.97 * RIDE * TRACK**2 / (4 * SHARE)
    found = sk.spread(make_plain(h), count=60, tolerances=replace(NOTHING, across=0.2))
    tipped = np.isnan(found.height).any(axis=0)
    assert 0 < tipped.sum() < 60
    assert f"In {tipped.sum()} of 60 there is no upright balance." in found.words()
    assert "solid" not in found.words()
    assert_allclose(found.numbers.loc[("rake", "vehicle"), "share"], 1 - tipped.mean())


def test_tables_and_words(unit7):
    found = sk.spread(unit7, load="patrol", count=2000)
    for units, unit in (("us", "in"), ("metric", "mm")):
        table = found.table(units)
        assert list(table.columns) == ["mean", "sd", "5 %", "50 %", "95 %", "share"]
        mean = found.numbers.loc[("ride height", "front"), "mean"]
        shown, label = table.loc[("ride height", "front"), "mean"].split()
        assert label == unit and table["share"].eq("100.0%").all()
        assert_allclose(float(shown), mean / (INCH if units == "us" else 1e-3), atol=0.051)
    words = found.words()
    assert words.startswith("2000 vehicles set by counting turns from contact")
    assert f"{found.fails['front']:.0%} of the fronts" in words and "within 1/16 in" in words
    assert "within ±1/8 in of its free length and ±4% of its rate" in words
    assert "1.6 mm" in found.words("metric") and " in " not in Tolerances().words("metric").replace(
        " in the", ""
    )


# ------------------------------------------------------------------------------- bad input


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({"count": 1}, "count is 1; expected a whole number, 2 or more"),
        ({"count": 2.5}, "count is 2.5; expected a whole number, 2 or more"),
        ({"seed": -1}, "seed is -1; expected a whole number, 0 or more"),
        ({"habit": "guess"}, "habit is 'guess'; expected a way to set the preload: count turns"),
        ({"load": "nope"}, "load is 'nope'; expected a load of this vehicle"),
        ({"load": ["bare"]}, "load is .'bare'.; expected the name of one load"),
        ({"miscount": {"left": 1}}, "miscount is 'left'; expected a corner"),
        (
            {"tolerances": Tolerances(free_length=0.1)},
            "tolerances.free_length is 3.94 in; expected less than 3.31 in, .*'tender-250-5.5'",
        ),
        ({"tolerances": Tolerances(rate=1.0)}, "tolerances.rate is 1; expected less than 1"),
    ],
)
def test_bad_input_in_one_sentence(unit7, how, said):
    with pytest.raises(ValueError, match=said) as caught:
        sk.spread(unit7, **how)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("value", [-0.1, float("nan"), float("inf"), "1/16 kg", None])
def test_tolerances_are_zero_or_more(value):
    said = r"tolerances\.tape(: .* is a mass| is .*); expected a (number of m, zero or|length)"
    with pytest.raises(ValueError, match=said):
        Tolerances(tape=value)


def test_other_refusals(unit7):
    with pytest.raises(ValueError, match="source is 'wind'; expected one of"):
        Tolerances().only("wind")
    batch = unit7.setup.change("front", turns=np.array([3.0, 4.0]))
    with pytest.raises(ValueError, match="setup is a batch of set-ups; expected one"):
        sk.spread(unit7, batch)


# ------------------------------------------------------------------------------- friction


def test_friction_alone_scatters_as_far_as_the_friction_band(unit7):
    """All shocks held alike are the ends of the band; each on its own never leaves it."""
    only = Tolerances().only("friction")
    found = sk.spread(unit7, load="patrol", count=4000, tolerances=only)
    low, high = sk.height_band(unit7, load="patrol")
    assert np.all(found.height >= low[:, None] - 1e-9)
    assert np.all(found.height <= high[:, None] + 1e-9)
    assert np.all(found.height.std(axis=1) > 0.1 * (high - low))
    half = sk.spread(unit7, load="patrol", count=4000, tolerances=replace(only, friction=0.5))
    # Even draws of half the width, the same ones; nearly linear, so half the scatter.
    assert_allclose(half.height.std(axis=1), 0.5 * found.height.std(axis=1), rtol=0.02)


def test_friction_not_stated_scatters_too(unit7):
    def scatter(friction):
        """Of left less right in front, with the same friction stated at both ends."""
        axles = {
            name: replace(axle, shock=replace(axle.shock, friction=friction))
            for name, axle in (("front", unit7.front), ("rear", unit7.rear))
        }
        only = Tolerances().only("friction")
        found = sk.spread(replace(unit7, **axles), count=500, tolerances=only)
        return found.samples["left less right", "front"].std()

    assert scatter(0.0) < 1e-9
    assert scatter(None) > 0.2e-3  # what the eye sees on a tape, about


def test_friction_is_in_the_check_of_left_against_right(unit7):
    """Without it fewer good vehicles would seem to fail."""
    every = sk.side_check(unit7, load="patrol", count=2000, miscounts=())
    less = replace(Tolerances(), friction=0.0)
    without = sk.side_check(unit7, load="patrol", count=2000, miscounts=(), tolerances=less)
    for axle in ("front", "rear"):
        assert every.caught.loc[0.0, axle] > without.caught.loc[0.0, axle]
        assert every.springs_alone[axle] == without.springs_alone[axle]
