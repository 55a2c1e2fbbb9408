"""One spring: each law against a route of its own, bind, energy, and every refusal."""

from dataclasses import FrozenInstanceError

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from suspkit.parts.spring import Spring
from suspkit.parts.wire import Wire

LINEAR = Spring(rate=50e3, free_length=0.40, solid_length=0.22)
TABLE = Spring(
    table=((0.02, 500.0), (0.05, 1400.0), (0.09, 3000.0)), free_length=0.30, solid_length=0.20
)
COILS = Spring(
    coils=((400e3, 0.004), (500e3, 0.010), (600e3, 0.016), (600e3, 0.030)),
    free_length=0.20,
    solid_length=0.14,
)
# Shigley, Mechanical Engineering Design, 10th ed. Prob. 10-3 (read): music wire, d = 2.5 mm,
# OD = 31 mm, plain and ground, 14 coils: k = 1.314 N/mm, solid 35 mm. The free length is ours.
SHIGLEY_10_3 = Wire(
    wire_diameter=0.0025, mean_diameter=0.0285, total_coils=14, ends="plain-ground",
    material="music-wire", shear_modulus=81e9,
)  # fmt: skip
WIRE = Spring(wire=SHIGLEY_10_3, free_length=0.160)

LAWS = {"rate": LINEAR, "table": TABLE, "coils": COILS, "wire": WIRE}
every_law = pytest.mark.parametrize("spring", LAWS.values(), ids=LAWS.keys())


# ---------------------------------------------------------------- the four laws


def test_a_linear_spring_is_rate_times_deflection():
    assert LINEAR.travel == pytest.approx(0.18)
    assert LINEAR.law(0.1) == pytest.approx(5000.0)
    assert LINEAR.compliance(5000.0) == pytest.approx(0.1)
    assert LINEAR.bind_force == pytest.approx(9000.0)
    assert LINEAR.energy(0.1) == pytest.approx(250.0)


def test_a_wire_gives_its_rate_and_solid_length():
    # Shigley Prob. 10-3 (read): 1.314 N/mm to half a unit of the last digit, solid 35 mm.
    assert WIRE.rate == pytest.approx(1314.0, abs=0.5)
    assert WIRE.solid_length == pytest.approx(0.035, rel=1e-9)
    assert WIRE.law(0.05) == pytest.approx(WIRE.rate * 0.05)


def test_a_stated_rate_and_length_win_over_the_wire():
    measured = Spring(rate=1290.0, free_length=0.16, solid_length=0.036, wire=SHIGLEY_10_3)
    assert measured.rate == 1290.0
    assert measured.solid_length == 0.036


def test_a_table_is_interpolated_and_its_last_rate_carried_on_to_bind():
    deflection = np.linspace(0.0, 0.09, 37)
    expected = np.interp(deflection, [0, 0.02, 0.05, 0.09], [0, 500, 1400, 3000])
    np.testing.assert_allclose(TABLE.law(deflection), expected, rtol=1e-12, atol=1e-9)
    assert TABLE.law(0.095) == pytest.approx(3000 + 0.005 * 40e3)
    assert TABLE.bind_force == pytest.approx(3000 + 0.01 * 40e3)


def test_a_table_may_state_its_zero_row():
    stated = Spring(table=((0.0, 0.0), *TABLE.table), free_length=0.30, solid_length=0.20)
    np.testing.assert_array_equal(stated.law.x, TABLE.law.x)
    np.testing.assert_array_equal(stated.law.y, TABLE.law.y)


@pytest.mark.parametrize("last", [0.10, 0.12], ids=["at bind", "past bind"])
def test_table_rows_at_or_past_bind_do_not_move_it(last):
    spring = Spring(
        table=((0.05, 1000.0), (last, 1000.0 + (last - 0.05) * 40e3)),
        free_length=0.30,
        solid_length=0.20,
    )
    assert spring.bind_force == pytest.approx(3000.0)
    assert spring.compliance.x[-1] == spring.bind_force
    at_bind = spring.compliance(spring.bind_force)
    assert at_bind == spring.travel
    assert spring.law(spring.travel) == spring.bind_force
    assert spring.energy(spring.travel) == pytest.approx(0.5 * 1000 * 0.05 + 2000 * 0.05)


# ---------------------------------------------------------------- variable pitch


def coils_deflection(coils, force):
    """Brute force: each coil gives force/rate until its gap is used up."""
    return sum(min(force / rate, gap) for rate, gap in coils)


@given(
    st.lists(
        st.tuples(st.floats(5e4, 1e6), st.floats(1e-3, 0.03)), min_size=1, max_size=8
    ),
    st.floats(0.001, 0.999),
)  # fmt: skip
def test_variable_pitch_against_brute_force(coils, share):
    travel = sum(gap for _, gap in coils)
    spring = Spring(coils=tuple(coils), free_length=travel + 0.05, solid_length=0.05)
    deflection = share * travel
    most = 2 * max(rate * gap for rate, gap in coils)
    force = brentq(lambda f: coils_deflection(coils, f) - deflection, 0.0, most, rtol=1e-14)
    assert spring.law(deflection) == pytest.approx(force, rel=1e-9)
    assert spring.compliance(force) == pytest.approx(deflection, rel=1e-9)
    assert spring.bind_force == pytest.approx(max(r * g for r, g in coils), rel=1e-9)
    # Closing coils only ever stiffen it.
    rates = spring.law.slope(np.linspace(0.0, 0.999 * travel, 60))
    assert (np.diff(rates) >= -1e-6 * rates[:-1]).all()


def test_variable_pitch_starts_at_the_series_rate_of_all_coils():
    series = 1 / sum(1 / rate for rate, _ in COILS.coils)
    assert COILS.law.slope(0.0) == pytest.approx(series)
    # The first coil closes at 400e3 * 0.004 = 1600 N; the other three are left.
    first = coils_deflection(COILS.coils, 1600.0)
    left = 1 / sum(1 / rate for rate, _ in COILS.coils[1:])
    assert COILS.law.slope(first - 1e-6) == pytest.approx(series)
    assert COILS.law.slope(first + 1e-6) == pytest.approx(left)


def test_coils_that_close_together_are_one_knot():
    twins = Spring(coils=((1e5, 0.01), (1e5, 0.01)), free_length=0.1, solid_length=0.08)
    assert len(twins.compliance.x) == 2
    assert twins.law(0.01) == pytest.approx(500.0)


# ---------------------------------------------------------------- bind, slack, energy


@every_law
def test_bind_exactly_and_one_float_either_side(spring):
    travel = spring.compliance(spring.bind_force)
    assert travel == pytest.approx(spring.travel, rel=1e-12)
    assert spring.law(travel) == spring.bind_force
    assert spring.law(np.nextafter(travel, 0.0)) == pytest.approx(spring.bind_force)
    assert spring.law(np.nextafter(travel, 1.0)) == np.inf
    assert spring.law.slope(travel, side="left") < np.inf
    assert spring.law.slope(travel, side="right") == np.inf
    assert spring.compliance(np.nextafter(spring.bind_force, np.inf)) == travel
    assert spring.compliance(10 * spring.bind_force) == travel
    assert spring.compliance(np.inf) == travel
    assert spring.compliance(np.nextafter(spring.bind_force, 0.0)) <= travel


@every_law
def test_a_slack_spring_neither_pushes_nor_pulls(spring):
    assert spring.law(-0.05) == 0.0
    assert spring.law(0.0) == 0.0
    assert spring.compliance(0.0) == 0.0
    assert spring.compliance(-100.0) == 0.0
    assert spring.energy(-0.05) == 0.0


@every_law
def test_energy_is_the_work_of_the_force(spring):
    deflection = 0.93 * spring.travel
    kinks = spring.law.x[(spring.law.x > 0) & (spring.law.x < deflection)]
    work = quad(spring.law, 0.0, deflection, points=kinks if kinks.size else None)[0]
    assert spring.energy(deflection) == pytest.approx(work, rel=1e-9)


@every_law
def test_law_and_compliance_undo_each_other_and_take_arrays(spring):
    deflection = np.linspace(0.0, 0.99 * spring.travel, 24).reshape(4, 6)
    force = spring.law(deflection)
    assert force.shape == (4, 6)
    np.testing.assert_allclose(spring.compliance(force), deflection, rtol=1e-10, atol=1e-15)
    assert (np.diff(force.ravel()) > 0).all()
    assert spring.energy(deflection).shape == (4, 6)


# ---------------------------------------------------------------- refusals


@pytest.mark.parametrize(
    "fields, message",
    [
        ({}, "spring 'odd' has no law; expected exactly one of rate, table, coils"),
        (
            {"rate": 1e4, "table": ((0.1, 100.0),)},
            "spring 'odd' has rate and table; expected exactly one",
        ),
        (
            {"table": ((0.1, 100.0),), "coils": ((1e4, 0.2),)},
            "spring 'odd' has table and coils; expected exactly one",
        ),
        ({"rate": 1e4, "solid_length": None}, "spring 'odd' has no solid_length; expected one"),
        ({"rate": 0.0}, "spring 'odd' has rate 0; expected above zero"),
        ({"rate": -5.0}, "spring 'odd' has rate -5; expected above zero"),
        ({"rate": np.nan}, "spring 'odd' has rate nan; expected above zero"),
        ({"rate": np.inf}, "spring 'odd' has rate inf; expected above zero"),
        ({"rate": 1e4, "free_length": -0.3}, "has free_length -0.3; expected above zero"),
        ({"rate": 1e4, "solid_length": 0.0}, "has solid_length 0; expected above zero"),
        (
            {"rate": 1e4, "solid_length": 0.3},
            "spring 'odd' has solid_length 0.3 m, not shorter than its free_length 0.3 m",
        ),
        ({"rate": 1e4, "solid_length": 0.4}, "solid_length 0.4 m, not shorter than"),
        ({"coils": ()}, r"has coils \(\); expected \(rate, gap\) pairs above zero"),
        ({"coils": ((1e4, 0.0), (1e4, 0.2))}, r"has coils .*; expected \(rate, gap\) pairs"),
        ({"coils": ((-1e4, 0.2),)}, r"has coils .*; expected \(rate, gap\) pairs"),
        ({"coils": ((0.0, 0.1), (1e4, 0.1))}, r"has coils .*; expected \(rate, gap\) pairs"),
        (
            {"coils": ((1e4, 0.05), (1e4, 0.05))},
            "has coil gaps that add up to 0.1 m; expected its free_length less its solid_length, "
            "0.2 m",
        ),
        (
            {"table": ((0.05, 100.0), (0.04, 200.0))},
            r"spring 'odd' table row 2 is \(0.04, 200\); expected both columns to rise",
        ),
        ({"table": ((0.05, -100.0),)}, r"spring 'odd' table row 1 is \(0.05, -100\); expected"),
        (
            {"table": ((0.0, 0.0), (0.05, 100.0), (0.06, 100.0))},
            r"spring 'odd' table row 3 is \(0.06, 100\); expected both columns to rise",
        ),
        ({"table": ((0.05, np.nan),)}, "spring 'odd' table holds a value that is not a number"),
        ({"table": ()}, "spring 'odd' table has 1 and 1 values; expected two equal columns"),
    ],
)
def test_a_bad_spring_is_refused_in_one_sentence(fields, message):
    with pytest.raises(ValueError, match=message):
        Spring(**{"name": "odd", "free_length": 0.3, "solid_length": 0.1, **fields})


def test_a_spring_is_frozen_and_keyword_only():
    with pytest.raises(FrozenInstanceError):
        LINEAR.rate = 1.0
    with pytest.raises(TypeError):
        Spring(0.4, 0.2)
