"""The sensitivity table as text, and what one collar turn does at the shaft."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

import suspkit as sk
from suspkit.statics.sensitivity import readable, shaft_shift
from suspkit.statics.solve import ring_left

INCH = 0.0254
LBF = 4.4482216152605  # N, exact: 0.45359237 kg under 9.80665 m/s2 (NIST SP 811, appendix B)
FT_LBF = 12 * INCH * LBF


def shift_of_one_turn(vehicle, setup, axle, load="patrol"):
    """Shift at the left shaft from one turn of an axle's collars, in pitches; and both corners."""
    name = f"{axle}_left"
    more = setup.change(axle, turns=getattr(setup, name).turns + 1)
    before, after = (sk.assemble(vehicle, s)[name] for s in (setup, more))
    stands = sk.settle(vehicle, setup, load=load).at(name)["compression"]
    pitch = before.shock.thread.collar_pitch
    return shaft_shift(before, after, compression=stands) / pitch, before, after


def test_below_crossover_a_turn_is_a_pitch_at_the_shaft(unit7):
    for setup in (unit7.setup, ring_left(unit7)):
        assert_allclose(shift_of_one_turn(unit7, setup, "rear")[0], 1.0, rtol=1e-9)


def test_past_crossover_with_the_ring_left_alone_a_turn_does_nothing(unit7):
    assert abs(shift_of_one_turn(unit7, ring_left(unit7), "front")[0]) < 1e-9


def test_past_crossover_with_the_gap_reset_the_tender_keeps_its_share(unit7):
    # data/springs.csv: a 250 over a 320 lbf/in spring.
    shift, before, after = shift_of_one_turn(unit7, unit7.setup, "front")
    back = (after.given_back - before.given_back) / before.shock.thread.collar_pitch
    assert back > 0.3
    assert_allclose(shift, 1 - (1 - back) * 320 / (250 + 320), rtol=1e-9)


def test_without_a_top_out_spring_it_is_the_share_of_the_textbook(unit7):
    shock = replace(unit7.front.shock, top_out=None)
    plain = replace(unit7, front=replace(unit7.front, shock=shock))
    # A wider gap, because without it the stack would be solid before full bump.
    setup = plain.setup.change("front", gap=1.5 * INCH)
    # Not exact: the shock rests on a metal stop that gives a little.
    shift = shift_of_one_turn(plain, setup, "front")[0]
    assert_allclose(shift, 250 / (250 + 320), rtol=3e-3)


def test_shift_takes_arrays(unit7):
    before = sk.assemble(unit7)["rear_left"]
    after = sk.assemble(unit7, unit7.setup.change("rear", turns=7.0))["rear_left"]
    at = np.array([0.06, 0.08, 0.10])
    assert_allclose(shaft_shift(before, after, compression=at), 2 * INCH / 16, rtol=1e-9)


@pytest.mark.parametrize(
    "units, length, energy, inch, joule",
    [("us", "in", "ft·lbf", INCH, FT_LBF), ("metric", "mm", "J", 1e-3, 1.0)],
)
def test_readable_says_what_the_table_says(unit7, units, length, energy, inch, joule):
    table = sk.sensitivity(unit7, load="patrol")
    text = readable(table, units=units)
    raw = table.set_index(["axle", "change"])
    assert list(text.index) == list(raw.index)
    fine = 3 if units == "us" else 1
    for heading, name, one, digits in [
        (f"ride height, {length}", "ride_height", inch, fine),
        (f"other axle, {length}", "other_height", inch, fine),
        (f"rake, {length}", "rake", inch, fine),
        # One more decimal: a pitch of 1/16 in would else be halfway between two numbers.
        (f"stop gap, {length}", "gap", inch, fine + 1),
        (f"crossover, {length}", "crossover", inch, fine),
        ("load factor", "load_factor", 1.0, 3),
        (f"energy, {energy}", "energy", joule, 1),
    ]:
        for said, value in zip(text[heading], raw[name] / one, strict=True):
            assert abs(float(said) - value) <= 0.5 * 10.0**-digits + 1e-12
            assert said == "0" or (said[0] in "+-" and len(said.partition(".")[2]) == digits)
    assert text.loc[("front", "collar, ring left"), f"ride height, {length}"] == "0"


def test_readable_marks_what_is_not_there(unit7):
    text = readable(sk.sensitivity(unit7, unit7.setups["stock"], load="patrol"))
    assert set(text["stop gap, in"]) == {"–"}
    assert set(text["crossover, in"]) == {"–"}
