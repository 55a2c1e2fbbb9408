"""Springs as they were made, and settling under given masses: laws, batches, bad input."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

import suspkit as sk
from suspkit.vehicle.setup import CORNERS
from suspkit.vehicle.vehicle import Masses
from tests.tools import independent

INCH = 0.0254

LINEAR = sk.Spring(name="linear", rate=50e3, free_length=0.30, solid_length=0.12)
TABLED = sk.Spring(
    name="tabled", free_length=0.30, solid_length=0.12,
    table=((0.05, 2000.0), (0.10, 5000.0), (0.15, 9500.0)),
)  # fmt: skip
COILED = sk.Spring(
    name="coiled", free_length=0.30, solid_length=0.22,
    coils=((400e3, 0.015), (300e3, 0.025), (250e3, 0.04)),
)  # fmt: skip
SPRINGS = (LINEAR, TABLED, COILED)
each_law = pytest.mark.parametrize("nominal", SPRINGS, ids=lambda spring: spring.name)


# ------------------------------------------------------------------------------------- the law


@each_law
def test_as_it_should_be_is_the_nominal_spring(nominal):
    made = sk.VariedSpring(nominal=nominal)
    assert_array_equal(made.compliance.x, nominal.compliance.x)
    assert_array_equal(made.compliance.y, nominal.compliance.y)
    for field in ("name", "free_length", "solid_length", "travel"):
        assert getattr(made, field) == getattr(nominal, field)


@each_law
def test_stiffer_is_force_over_force_at_the_same_deflection(nominal):
    made = sk.VariedSpring(nominal=nominal, stiffer=1.07)
    squeeze = np.linspace(0.0, nominal.travel, 41)[1:-1]
    force = np.array([_force(nominal, x) for x in squeeze])
    assert_allclose(made.compliance.inverse()(squeeze), 1.07 * force, rtol=1e-9)
    # And the inverse: the nominal deflection under the force over the factor.
    deflections = [independent.spring_deflection(nominal, f / 1.07) for f in force]
    assert_allclose(made.compliance(force), deflections, rtol=1e-9)


def _force(spring, deflection):
    from scipy.optimize import brentq

    return brentq(lambda f: independent.spring_deflection(spring, f) - deflection, 0.0, 1e6)


@each_law
@pytest.mark.parametrize("longer", [INCH / 8, -INCH / 8])
def test_longer_binds_later_at_the_same_rate(nominal, longer):
    made = sk.VariedSpring(nominal=nominal, longer=longer)
    assert_allclose(made.free_length, nominal.free_length + longer)
    assert made.solid_length == nominal.solid_length
    assert_allclose(made.travel, nominal.travel + longer)
    # Wherever both still move the force is the same ...
    short = min(made.travel, nominal.travel)
    squeeze = np.linspace(0.0, short, 30)[1:-1]
    ours, theirs = made.compliance.inverse(), nominal.compliance.inverse()
    assert_allclose(ours(squeeze), theirs(squeeze), rtol=1e-9)
    # ... and from there the last rate goes on to bind, exactly at the travel.
    x, y = nominal.compliance.x, nominal.compliance.y
    last = (x[-1] - x[-2]) / (y[-1] - y[-2])
    assert_allclose(made.compliance.y[-1], made.travel, rtol=1e-15)
    assert_allclose(made.compliance.reach(made.compliance.y[-1]), x[-1] + last * longer, rtol=1e-12)
    beyond = 2 * made.compliance.x[-1]
    assert made.compliance(beyond) == made.compliance.y[-1]


def test_linear_one_is_a_spring_of_that_rate_and_length():
    made = sk.VariedSpring(nominal=LINEAR, stiffer=0.95, longer=0.004)
    plain = replace(LINEAR, rate=0.95 * LINEAR.rate, free_length=LINEAR.free_length + 0.004)
    assert_allclose(made.compliance.x, plain.compliance.x, rtol=1e-14)
    assert_allclose(made.compliance.y, plain.compliance.y, rtol=1e-14)


@each_law
def test_batch_is_the_springs_one_by_one(nominal):
    stiffer = np.array([[0.9, 1.0, 1.1]])
    longer = np.array([[0.002], [-0.003]])
    batch = sk.VariedSpring(nominal=nominal, stiffer=stiffer, longer=longer)
    assert batch.compliance.x.shape[:-1] == (2, 3)
    for i in range(2):
        for j in range(3):
            one = sk.VariedSpring(nominal=nominal, stiffer=stiffer[0, j], longer=longer[i, 0])
            assert_array_equal(batch.compliance.x[i, j], one.compliance.x)
            assert_array_equal(batch.compliance.y[i, j], one.compliance.y)
    assert_array_equal(np.broadcast_to(batch.travel, (2, 1)), batch.compliance.y[:, :1, -1])


def test_in_a_stack_with_a_ring_it_is_the_series_recursion():
    rng = np.random.default_rng(5)
    factor, more = rng.uniform(0.9, 1.1, (2, 20)), rng.uniform(-0.003, 0.003, (2, 20))
    nominal = (TABLED, LINEAR)
    made = [
        sk.VariedSpring(nominal=s, stiffer=factor[i], longer=more[i]) for i, s in enumerate(nominal)
    ]
    stack = sk.Stack(made, [sk.StopRing(below=0, cap=0.07)])
    assert_allclose(stack.free_length, 0.6 + more.sum(axis=0))
    for n in range(0, 20, 4):
        force = np.linspace(10.0, 7000.0, 13)
        first = [min(independent.spring_deflection(TABLED, f / factor[0, n]), 0.07) for f in force]
        second = force / (factor[1, n] * LINEAR.rate)
        one = stack.curve.pick(n)
        assert_allclose(one.inverse()(force), np.array(first) + second, rtol=1e-9)
    kinds = {event.kind for event in stack.events}
    assert kinds == {"crossover", "bind", "coil"}


@pytest.mark.parametrize("stiffer", [0.0, -1.0, np.array([1.0, 0.0])])
def test_force_factor_is_above_zero(stiffer):
    with pytest.raises(ValueError, match="stiffer is .*; expected above zero"):
        sk.VariedSpring(nominal=LINEAR, stiffer=stiffer)


@each_law
def test_too_short_for_its_last_coils(nominal):
    last = np.diff(nominal.compliance.y)[-1]
    sk.VariedSpring(nominal=nominal, longer=-0.999 * last)
    for longer in (-last, np.array([0.0, -1.001 * last])):
        with pytest.raises(ValueError, match=f"longer is .*{nominal.name}.*last coils"):
            sk.VariedSpring(nominal=nominal, longer=longer)


# ------------------------------------------------------------------------------ settled on them


def own_springs(vehicle, make):
    """The vehicle with its own springs on each corner: ``make(nominal, corner, place)``."""
    springs, stacks, setup = dict(vehicle.springs), dict(vehicle.stacks), vehicle.setup
    for i, corner in enumerate(CORNERS):
        plan = vehicle.stacks[getattr(setup, corner).stack]
        own = {name: f"{name} {corner}" for name in plan.springs}
        for j, name in enumerate(plan.springs):
            springs[own[name]] = make(vehicle.springs[name], i, j)
        stacks[f"own {corner}"] = replace(
            plan,
            springs=tuple(own.values()),
            rings_below=tuple(own[name] for name in plan.rings_below),
        )
        setup = setup.change(corner, stack=f"own {corner}")
    setups = {**vehicle.setups, "own": setup}
    return replace(vehicle, springs=springs, stacks=stacks, setups=setups, current="own")


def varied(factor, more):
    """For `own_springs`: a row a corner, a column a spring, then the batch."""
    return lambda spring, i, j: sk.VariedSpring(
        nominal=spring, stiffer=factor[i, j], longer=more[i, j]
    )


def test_vehicle_on_varied_springs_is_the_one_on_those_springs(unit7):
    rng = np.random.default_rng(11)
    factor, more = rng.uniform(0.93, 1.07, (4, 2)), rng.uniform(-0.004, 0.004, (4, 2))

    def plain(spring, i, j):
        rate, length = spring.rate * factor[i, j], spring.free_length + more[i, j]
        return replace(spring, wire=None, rate=rate, free_length=length)

    ours = sk.settle(own_springs(unit7, varied(factor, more)), load="patrol")
    same = own_springs(unit7, plain)
    assert_allclose(ours.height, sk.settle(same, load="patrol").height, rtol=1e-12)
    theirs = independent.settle(same, same.setup, "patrol")
    assert_allclose(ours.height, theirs.height, rtol=1e-8)
    assert_allclose(ours.tyre_load, theirs.tyre_load, rtol=1e-8)


def test_batch_of_vehicles_is_the_vehicles_one_by_one(unit7):
    rng = np.random.default_rng(12)
    factor, more = rng.uniform(0.93, 1.07, (4, 2, 6)), rng.uniform(-0.004, 0.004, (4, 2, 6))
    ours = sk.settle(own_springs(unit7, varied(factor, more)), load=["bare", "patrol"])
    assert ours.height.shape == (4, 2, 6)
    for n in range(6):
        one = own_springs(unit7, varied(factor[..., n], more[..., n]))
        single = sk.settle(one, load=["bare", "patrol"])
        assert_allclose(ours.height[..., n], single.height, rtol=1e-12)
        factors = ours.bottoming.load_factor[..., n], single.bottoming.load_factor
        assert_allclose(*factors, rtol=1e-9)


# ---------------------------------------------------------------------------- masses of its own


def test_masses_of_a_load_are_that_load(unit7):
    named = sk.settle(unit7, load="patrol")
    given = sk.settle(unit7, masses=unit7.masses("patrol"))
    for field in ("height", "tyre_load", "pitch", "roll", "travel"):
        assert_array_equal(getattr(named, field), getattr(given, field))
    assert given.load is None


def test_masses_against_the_independent_solution(unit7):
    # The same body by other means: a heavy item in the load's list.
    extra = sk.vehicle.vehicle.Item(
        mass=60.0, behind_front_axle=2.2, left_of_centre=0.4, above_frame=0.7
    )
    load = sk.vehicle.vehicle.Load(items=(*unit7.loads["patrol"].items, "extra"))
    other = replace(
        unit7, items={**unit7.items, "extra": extra}, loads={**unit7.loads, "with": load}
    )
    base = unit7.masses("patrol")
    total = base.mass + 60.0
    places = {
        axis: (base.mass * getattr(base, axis) + 60.0 * getattr(extra, axis)) / total
        for axis in ("behind_front_axle", "left_of_centre", "above_frame")
    }
    ours = sk.settle(unit7, masses=Masses(mass=total, **places))
    theirs = independent.settle(other, other.setup, "with")
    assert_allclose(ours.height, theirs.height, rtol=1e-8)
    assert_allclose(ours.tyre_load, theirs.tyre_load, rtol=1e-8)
    # All of the weight is on the ground.
    unsprung = 2 * (unit7.front.unsprung_mass + unit7.rear.unsprung_mass)
    assert_allclose(ours.tyre_load.sum(), (total + unsprung) * 9.80665, rtol=1e-9)


def test_masses_broadcast_against_set_ups(unit7):
    base = unit7.masses("patrol")
    heavier = base.mass + np.array([0.0, 30.0, 90.0])[:, None]
    to_the_left = base.left_of_centre + np.array([-0.02, 0.0, 0.03, 0.05])
    turns = np.array([3.0, 4.0, 5.0, 6.0])
    masses = replace(base, mass=heavier, left_of_centre=to_the_left)
    setup = unit7.setup.change("front", turns=turns)
    batch = sk.settle(unit7, setup, masses=masses)
    assert batch.height.shape == (4, 3, 4) and batch.rake.shape == (3, 4)
    for i in range(3):
        for j in range(4):
            one = sk.settle(
                unit7,
                unit7.setup.change("front", turns=float(turns[j])),
                masses=replace(base, mass=heavier[i, 0], left_of_centre=to_the_left[j]),
            )
            assert_allclose(batch.height[:, i, j], one.height, rtol=1e-12)
    # More weight sinks it, weight to the left leans it left.
    assert (np.diff(batch.height.mean(axis=0), axis=0) < 0).all()
    assert (np.diff((batch.height[0] - batch.height[1])[0]) < 0).all()
    # Masses that are alone a batch.
    alone = sk.settle(unit7, masses=replace(base, mass=heavier[:, 0]))
    assert alone.height.shape == (4, 3)


def test_masses_take_the_place_of_a_load(unit7):
    bare = unit7.masses(None)
    assert_array_equal(
        sk.settle(unit7, load="carry-out", masses=bare).height, sk.settle(unit7).height
    )
