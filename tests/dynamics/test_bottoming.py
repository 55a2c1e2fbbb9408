"""Where a set-up first bottoms."""

import numpy as np
import pytest

from suspkit import first_bottoms, settle, whoop_speed_map
from suspkit.dynamics import events
from suspkit.dynamics.drive import drive

LOAD = "patrol"


def falls(height):
    return events.drop(height=height, duration=1.2)


@pytest.mark.parametrize("model", ["quarter", "full"])
def test_it_bottoms_from_there_on_and_not_below(unit7, model):
    found = first_bottoms(
        unit7, event=falls, low=0.02, high=0.6, load=LOAD, model=model, tolerance=1e-4
    )
    assert found.outcome == "found"
    resolution = 1e-4 * (0.6 - 0.02)
    for value, bottoms in ((found.value, True), (found.value - resolution, False)):
        run = drive(unit7, event=falls(value), load=LOAD, model=model)
        assert (run.bottomings.sum() > 0) == bottoms
    assert f"{found.value:.4g}" in found.message
    assert found.corner.replace("_", " ") in found.message
    assert found.travel_used == pytest.approx(1.0, abs=2e-3)


def test_a_damper_only_adds_to_the_undamped_drop(unit7):
    stance = settle(unit7, load=LOAD)
    for i, corner in ((0, "front_left"), (2, "rear_left")):
        found = first_bottoms(
            unit7, event=falls, low=0.01, high=1.0, load=LOAD, model="quarter", corner=corner
        )
        assert found.corner == corner
        assert found.value > stance.bottoming.drop_height[i]


def test_a_smaller_gap_bottoms_later(unit7):
    values = [
        first_bottoms(
            unit7, unit7.setup.change("rear", gap=gap), event=falls, low=0.01, high=1.0, load=LOAD,
            model="quarter", corner="rear_left",
        ).value
        for gap in (0.12, 0.11, 0.10)
    ]  # fmt: skip
    assert values[0] < values[1] < values[2]


def test_one_corner_of_the_whole_vehicle(unit7):
    any_corner = first_bottoms(unit7, event=falls, low=0.02, high=0.6, load=LOAD)
    rear = first_bottoms(unit7, event=falls, low=0.02, high=0.6, load=LOAD, corner="rear_left")
    assert rear.corner == "rear_left"
    assert rear.value >= any_corner.value


def test_never_and_always_are_said(unit7):
    never = first_bottoms(unit7, event=falls, low=0.01, high=0.03, load=LOAD, model="quarter")
    assert (never.value, never.outcome, never.corner) == (np.inf, "never", "")
    assert 0.5 < never.travel_used < 1
    assert never.message.startswith("Never bottoms (any corner) up to 0.03: there it uses ")
    always = first_bottoms(unit7, event=falls, low=0.8, high=1.0, load=LOAD, model="quarter")
    assert (always.value, always.outcome, always.corner) == (-np.inf, "always", "front_left")
    assert always.message == "Bottoms (front left) at 0.8 already."


def test_the_first_place_is_found_where_it_does_not_come_to_stay(unit7):
    """Between two values it bottoms and past them it does not, as when whoops are skipped."""

    def only_between(value):
        return falls(0.5 if 0.4 <= value <= 0.7 else 0.02)

    found = first_bottoms(
        unit7, event=only_between, low=0.0, high=1.0, load=LOAD, model="quarter", tolerance=1e-5
    )
    assert found.value == pytest.approx(0.4, abs=1e-5)


def test_turning_over_counts_as_past(unit7):
    found = first_bottoms(
        unit7, event=lambda a: events.cornering(lateral=a, duration=3.0), low=1.0, high=14.0,
        load=LOAD,
    )  # fmt: skip
    assert found.outcome == "found"
    assert found.value < 14.0
    beyond = first_bottoms(
        unit7, event=lambda a: events.cornering(lateral=a), low=13.0, high=14.0, load=LOAD
    )
    assert beyond.outcome == "always"
    assert beyond.message.startswith("The vehicle turns over: ")


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"low": 1.0, "high": 0.5}, "low is 1.0 and high is 0.5; expected low below high"),
        ({"low": np.nan, "high": 0.5}, "low is nan"),
        ({"tolerance": 0.0}, "tolerance is 0.0; expected a number between 0 and 1"),
        ({"looks": 1}, "looks is 1; expected a whole number, 2 or more"),
        ({"corner": "spare"}, "corner is 'spare'; expected a corner: front_left"),
        (
            {"corner": "rear_right", "model": "half"},
            "corner is 'rear_right'; expected one of front",
        ),
        ({"model": "third"}, "model is 'third'"),
    ],
)
def test_wrong_questions_are_one_sentence(unit7, how, words):
    with pytest.raises(ValueError, match=words):
        first_bottoms(unit7, event=falls, **({"low": 0.1, "high": 0.5} | how))


def test_the_whoop_speed_map(unit7):
    heights, spacings = [0.1, 0.3, 0.4], [3.0, 6.0]
    table = whoop_speed_map(unit7, heights=heights, spacings=spacings, load=LOAD, count=4)
    assert table.index.tolist() == heights
    assert table.columns.tolist() == spacings
    assert table.attrs["units"] == {"height": "m", "spacing": "m", "speed": "m/s"}
    # Higher whoops bottom at a lower speed, longer ones at a higher.
    assert (np.diff(table.to_numpy(), axis=0) < 0).all()
    assert (np.diff(table.loc[0.3:].to_numpy(), axis=1) > 0).all()
    speed = table.loc[0.3, 3.0]
    resolution = 0.01 * (25.0 - 2.0)
    for value, bottoms in ((speed, True), (speed - resolution, False)):
        event = events.whoops(height=0.3, spacing=3.0, speed=value, count=4)
        run = drive(unit7, event=event, load=LOAD, model="half")
        assert (run.bottomings.sum() > 0) == bottoms
