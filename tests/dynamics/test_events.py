"""Events: what each asks of the road and the driver, and one sentence for each slip."""

from dataclasses import replace

import numpy as np
import pytest

from suspkit import Road
from suspkit.dynamics import events
from suspkit.dynamics.drive import drive


def test_a_g_out_is_a_dip_of_its_depth_after_the_approach():
    event = events.g_out(radius=12.0, depth=0.6, speed=9.0, approach=3.0)
    t = np.linspace(0.0, event.duration, 20_001)
    ground, rise = event.under(t)
    assert ground.min() == pytest.approx(-0.6, abs=1e-6)
    assert (ground[t < 3.0 / 9.0] == 0).all()
    assert rise[t < 3.0 / 9.0].max() == 0
    # At the bottom the ground curves up with its radius: v**2 / radius.
    bottom = ground.argmin()
    bend = np.gradient(rise, t)[bottom]
    assert bend == pytest.approx(9.0**2 / 12.0, rel=1e-3)


@pytest.mark.parametrize("behind", [0.0, 2.9])
def test_rear_wheels_meet_the_road_later(behind):
    event = events.single_bump(height=0.2, length=2.0, speed=8.0, approach=3.0)
    t = np.linspace(0.0, event.duration, 40_001)
    ground, _ = event.under(t, behind=behind)
    assert ground.max() == pytest.approx(0.2, rel=1e-6)
    assert t[ground.argmax()] == pytest.approx((3.0 + behind + 1.0) / 8.0, abs=1e-3)
    # It lasts until the rear wheels are over it and the body has had time to come to rest.
    assert t[-1] > (3.0 + behind + 2.0) / 8.0 + 1.0


def test_how_fast_the_ground_rises_is_its_derivative():
    for event in (
        events.whoops(height=0.3, spacing=3.0, speed=7.0, count=3),
        events.square_edge(height=0.1, speed=6.0),
        events.rough_road(road_class="D", speed=10.0, duration=1.0),
    ):
        t = np.linspace(0.0, event.duration, 200_001)
        for left in (True, False):
            ground, rise = event.under(t, left=left)
            slope = np.gradient(ground, t)
            assert np.abs(rise - slope).max() < 2e-3 * np.abs(rise).max()


def test_an_edge_stays_up():
    event = events.square_edge(height=0.15, speed=8.0, patch=0.25)
    ground, rise = event.under([0.0, event.duration])
    assert ground.tolist() == pytest.approx([0.0, 0.15])
    assert rise.tolist() == [0.0, 0.0]
    # Up in the length of the contact patch.
    t = np.linspace(0.0, event.duration, 100_001)
    moving = t[event.under(t)[1] > 0]
    assert np.ptp(moving) * 8.0 == pytest.approx(0.25, abs=0.005)


def test_whoops_are_as_many_as_asked():
    event = events.whoops(height=0.3, spacing=4.0, speed=8.0, count=5)
    t = np.linspace(0.0, event.duration, 100_001)
    ground, _ = event.under(t)
    crests = (ground[1:-1] > ground[:-2]) & (ground[1:-1] >= ground[2:]) & (ground[1:-1] > 0.2)
    assert crests.sum() == 5
    assert ground.max() == pytest.approx(0.3, rel=1e-6)


def test_rough_ground_is_the_same_for_the_same_seed():
    one, two, other = (
        events.rough_road(road_class="C", speed=10.0, duration=2.0, seed=seed) for seed in (3, 3, 4)
    )
    t = np.linspace(0.0, 2.0, 500)
    assert (one.under(t)[0] == two.under(t)[0]).all()
    assert np.abs(one.under(t)[0] - other.under(t)[0]).max() > 1e-3
    left, right = one.under(t)[0], one.under(t, left=False)[0]
    assert np.abs(left - right).max() > 1e-4
    # Long enough for the front wheels all the time.
    assert one.road.length >= 10.0 * 2.0


def test_a_measured_profile(tmp_path):
    path = tmp_path / "lane.csv"
    x = np.arange(0.0, 4.01, 0.05)
    rows = [f"{a:.2f},{0.05 * np.sin(np.pi * a / 4) ** 2:.6f}" for a in x]
    path.write_text("distance (m),height (m)\n" + "\n".join(rows) + "\n")
    event = events.profile(path, speed=5.0, approach=1.0)
    t = np.linspace(0.0, event.duration, 5001)
    assert event.under(t)[0].max() == pytest.approx(0.05, abs=1e-3)


def test_a_drop_is_flat_ground_from_above():
    event = events.drop(height=0.3)
    assert event.drop == 0.3
    assert event.speed == 0
    assert (event.under(np.linspace(0, 2, 9))[0] == 0).all()


def test_manoeuvres_build_up_over_their_ramp():
    corner = events.cornering(lateral=4.0, ramp=0.5)
    # On the end of the ramp and one float either side.
    at = [0.0, 0.25, np.nextafter(0.5, 0), 0.5, np.nextafter(0.5, 1), 3.0]
    assert corner.lateral(at) == pytest.approx([0, 2, 4, 4, 4, 4])
    assert (corner.forward(at) == 0).all()
    stop = events.braking(slowing=5.0, ramp=0.0)
    assert stop.forward([0.0, 1.0]).tolist() == [-5.0, -5.0]
    assert (stop.lateral(np.array(at)) == 0).all()


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: events.g_out(radius=12, depth=0.5, speed=-3.0), "speed is -3.0; expected above"),
        (lambda: events.single_bump(height=0.1, length=1, speed=0.0), "speed is 0.0; expected"),
        (lambda: events.whoops(height=0.1, spacing=3, speed=np.nan), "speed is nan; expected"),
        (lambda: events.square_edge(height=0.1, speed=-1.0), "speed is -1.0; expected"),
        (lambda: events.rough_road(road_class="C", speed=-5.0), "speed is -5.0; expected"),
        (lambda: events.rough_road(road_class="K", speed=5.0), "road_class is 'K'"),
        (lambda: events.rough_road(road_class="C", speed=5.0, duration=np.nan), "duration is nan"),
        (lambda: events.drop(height=-0.1), "drop is -0.1; expected zero or more"),
        (lambda: events.drop(height=0.1, duration=0.0), "duration is 0.0; expected above zero"),
        (lambda: events.cornering(lateral=np.nan), "lateral_steady is nan; expected"),
        (lambda: events.cornering(lateral=3.0, ramp=-1.0), "ramp is -1.0; expected"),
        (lambda: events.braking(slowing=np.inf), "forward_steady is -inf; expected"),
        (lambda: events.whoops(height=9.0, spacing=3, speed=4.0), "height is 9 m; expected"),
        (
            lambda: events.single_bump(height=0.1, length=1, speed=3, approach=-1.0),
            "approach is -1",
        ),
    ],
)
def test_a_slip_is_one_sentence(make, words):
    with pytest.raises(ValueError) as error:
        make()
    text = str(error.value)
    assert words in text
    assert "\n" not in text


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (["0,0", "0.5,nan", "1,0"], "nan"),
        (["0,0", "0.6,0.1", "0.5,0.1", "1,0"], "0.5"),
        (["0,0", "0.5,high", "1,0"], "high"),
    ],
)
def test_a_wrong_profile_is_one_sentence(tmp_path, rows, words):
    path = tmp_path / "lane.csv"
    path.write_text("distance (m),height (m)\n" + "\n".join(rows) + "\n")
    with pytest.raises(ValueError, match=words) as error:
        events.profile(path, speed=5.0)
    assert "\n" not in str(error.value)
    assert "lane.csv" in str(error.value)


def test_a_road_under_one_wheel_path_only():
    road = Road.single_bump(0.1, length=1.0, side="right")
    event = replace(events.single_bump(height=0.1, length=1.0, speed=4.0), road=road)
    t = np.linspace(0.0, event.duration, 2001)
    assert (event.under(t)[0] == 0).all()
    assert event.under(t, left=False)[0].max() == pytest.approx(0.1, rel=1e-4)


@pytest.mark.parametrize("model", ["quarter", "half", "full"])
def test_a_rough_road_starts_from_rest_without_a_jolt(unit7, model):
    event = events.rough_road(road_class="E", speed=10.0, duration=0.5)
    run = drive(unit7, event=event, load="patrol", model=model)
    first = run.time < 0.01
    assert np.abs(run.body_acceleration[0, first]).max() < 0.5
