"""What each adjustment does: signs, closed forms for two linear springs, settled differences."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

import suspkit as sk
from suspkit.statics.sensitivity import CHANGES
from suspkit.vehicle.setup import AXLES
from tests.tools import independent

TENDER, MAIN = 50e3, 65e3  # N/m


@pytest.fixture(scope="module")
def unit7():
    return sk.example("unit7")


@pytest.fixture(scope="module")
def table(unit7):
    return sk.sensitivity(unit7, load="patrol").set_index(["axle", "change"])


def plain_vehicle(gap, **changes):
    """Two linear springs, constant motion ratio, no top-out spring, gas or bump stop."""
    axle = {"a": 0.6, "b": 0.0, "friction": 0.0}
    vehicle = independent.make_vehicle(
        front=independent.make_axle(**axle),
        rear=independent.make_axle(point_behind=2.6, **axle),
        scales=(220, 220, 220, 220),
    )
    return vehicle, vehicle.setup.change("all", gap=gap, **changes)


# ---------------------------------------------------------------------------- closed forms


def test_below_crossover_one_turn_moves_the_shock_one_pitch():
    vehicle, setup = plain_vehicle(0.08)
    pitch, ratio = vehicle.front.shock.thread.collar_pitch, 0.6
    assert not sk.settle(vehicle, setup).past_crossover.any()
    rows = sk.sensitivity(vehicle, setup).set_index(["axle", "change"])
    for axle in AXLES:
        for change in ("collar, ring left", "collar, gap re-set"):
            # The load at the shock stays, so the springs' squeeze stays and the shaft goes out by
            # what the collar came down. Nearly: tilting moves the centre of gravity, four per cent
            # of weight on axle here.
            own = rows.loc[(axle, change), "ride_height"]
            other = rows.loc[(axle, change), "other_height"]
            # Both measuring points on one straight body: carry the change out to the axles.
            points = {"front": (0.25, 2.6), "rear": (2.6, 0.25)}[axle]
            tilt = (own - other) / (points[0] - points[1])
            place = {"front": 0.0, "rear": 2.9}[axle]
            assert_allclose(own + tilt * (place - points[0]), pitch / ratio, rtol=0.05)


def test_gap_drift_below_crossover_is_the_tenders_share():
    # Ring left: p more preload opens the gap by p k_t / (k_t + k_m) (two springs in series).
    vehicle, setup = plain_vehicle(0.05)
    pitch = vehicle.front.shock.thread.collar_pitch
    rows = sk.sensitivity(vehicle, setup, turns=2.0).set_index(["axle", "change"])
    drift = 2 * pitch * TENDER / (TENDER + MAIN)
    for axle in AXLES:
        # Hanging on the metal limit the shock gives a micrometre, no more.
        assert_allclose(rows.loc[(axle, "collar, ring left"), "gap"], drift, rtol=2e-3)
        assert_allclose(rows.loc[(axle, "collar, gap re-set"), "gap"], 0.0, atol=1e-12)
        assert_allclose(rows.loc[(axle, "ring"), "gap"], 2 * pitch, rtol=1e-9)


def test_crossover_travel_in_closed_form():
    # From droop hang: gap (k_m + k_t) / k_m of shock travel, whatever the preload.
    for turns in (2.0, 6.0):
        vehicle, setup = plain_vehicle(0.05, turns=turns)
        corner = sk.assemble(vehicle, setup)["front_left"]
        assert_allclose(corner.crossover - corner.hang, 0.05 * (MAIN + TENDER) / MAIN, rtol=1e-9)
    # So a turn of the ring delays it by its pitch times that, and a turn of the collar with the
    # ring left by what the gap drifts.
    rows = sk.sensitivity(vehicle, setup).set_index(["axle", "change"])
    pitch, ratio = vehicle.front.shock.thread.ring_pitch, 0.6
    later = pitch * (MAIN + TENDER) / MAIN / ratio
    assert_allclose(rows.loc[("front", "ring"), "crossover"], later, rtol=1e-3)
    share = TENDER / (TENDER + MAIN)
    left = rows.loc[("front", "collar, ring left"), "crossover"]
    assert_allclose(left, later * share, rtol=2e-3)
    assert_allclose(rows.loc[("front", "collar, gap re-set"), "crossover"], 0.0, atol=1e-5)


def test_past_crossover_only_the_ring_and_the_reset_gap_move_it():
    vehicle, setup = plain_vehicle(0.004)
    assert sk.settle(vehicle, setup).past_crossover.all()
    rows = sk.sensitivity(vehicle, setup).set_index(["axle", "change"])
    pitch, ratio = vehicle.front.shock.thread.ring_pitch, 0.6
    both = sk.settle(vehicle, setup.change("all", ring=0.005))
    before = sk.settle(vehicle, setup.change("all", ring=0.004))
    assert_allclose(before.height - both.height, 0.001 / ratio, rtol=1e-9)
    for axle in AXLES:
        left = rows.loc[(axle, "collar, ring left")]
        assert_allclose(left["ride_height"], 0.0, atol=1e-12)
        assert_allclose(left["energy"], 0.0, atol=1e-8)
        assert -pitch / ratio < rows.loc[(axle, "ring"), "ride_height"] < -0.7 * pitch / ratio
        # Gap re-set: the ring follows the divider, which the collar pushed down against the main.
        reset = rows.loc[(axle, "collar, gap re-set"), "ride_height"]
        share = TENDER / (TENDER + MAIN)
        assert_allclose(reset / -rows.loc[(axle, "ring"), "ride_height"], share, rtol=5e-3)


# -------------------------------------------------------------------------------- the table


def test_rows_and_units(table, unit7):
    plain = sk.sensitivity(unit7, load="patrol")
    assert list(plain["change"].unique()) == list(CHANGES)
    assert len(plain) == 6
    numbers = [c for c in plain.columns if c not in ("axle", "change")]
    assert list(plain.attrs["units"]) == numbers


def test_stack_without_ring_has_the_collar_alone(unit7):
    plain = sk.sensitivity(unit7, unit7.setups["stock"], load="patrol")
    assert list(plain["change"]) == ["collar, gap re-set"] * 2
    assert plain["crossover"].isna().all() and plain["gap"].isna().all()
    assert (plain["ride_height"] > 0).all()


def test_signs(table):
    for axle in AXLES:
        reset, ring = table.loc[(axle, "collar, gap re-set")], table.loc[(axle, "ring")]
        assert reset["ride_height"] > 0.001  # a turn down on the collar lifts that end
        assert abs(reset["other_height"]) < 0.25 * reset["ride_height"]
        assert np.sign(reset["rake"]) == (1 if axle == "front" else -1)  # nose high positive
        assert reset["energy"] > 0 and reset["load_factor"] > 0
        assert reset["crossover"] < 0  # the same gap is met sooner on a stiffer start
        assert ring["gap"] > 0 and ring["crossover"] > 0  # a wider gap is met later
        assert ring["load_factor"] < 0 and ring["energy"] < 0
        assert table.loc[(axle, "collar, ring left"), "gap"] > 0


@pytest.mark.parametrize("turns", [1.0, 2.5])
def test_table_is_differences_of_settled_vehicles(unit7, turns):
    rows = sk.sensitivity(unit7, load="patrol", turns=turns).set_index(["axle", "change"])
    before = independent.settle(unit7, unit7.setup, "patrol").height
    for axle, own in (("front", slice(0, 2)), ("rear", slice(2, 4))):
        now = getattr(unit7.setup, AXLES[axle][0])
        changed = {"collar, gap re-set": unit7.setup.change(axle, turns=now.turns + turns)}
        held = {}
        for name in AXLES[axle]:  # ring left: what the tape would read at contact
            plain = independent.Corner(unit7, unit7.setup, name)
            preload = now.turns * plain.shock.thread.collar_pitch
            held[name] = plain.stack.caps[0] - plain.shock.divider_lip - preload
        name = AXLES[axle][0]
        changed["collar, ring left"] = unit7.setup.change(
            axle, turns=now.turns + turns, ring=held[name]
        )
        pitch = unit7.axle_of(name).shock.thread.ring_pitch
        changed["ring"] = unit7.setup.change(axle, ring=held[name] + turns * pitch)
        for change, setup in changed.items():
            after = independent.settle(unit7, setup, "patrol").height
            row = rows.loc[(axle, change)]
            assert_allclose(row["ride_height"], np.mean((after - before)[own]), atol=1e-9)
            rake = (after - before)[:2].mean() - (after - before)[2:].mean()
            assert_allclose(row["rake"], rake, atol=1e-9)


def test_ring_left_past_crossover_changes_nothing_on_the_front(table):
    # The kit's front crosses early and stands past crossover in this load.
    left = table.loc[("front", "collar, ring left")]
    assert_allclose(
        left[["ride_height", "other_height", "rake", "load_factor"]].to_list(), 0.0, atol=1e-9
    )
    assert left["gap"] > 0 and left["crossover"] > 0
