"""What users call: one meaning of set-up and load everywhere, text with units, one word for one."""

import inspect
from dataclasses import replace

import numpy as np
import pytest

import suspkit as sk
from suspkit.panels.live import Panel
from suspkit.shop.worksheet import work_sheet
from suspkit.vehicle.entrance import GIVEN, USUAL, known_load, known_setup, with_setup
from suspkit.vehicle.setup import CORNERS

UNIT7 = sk.example("unit7")
SETUP = UNIT7.setup
STOCK = UNIT7.setups["stock"]


@pytest.mark.parametrize("name", sorted(sk._HOMES))
def test_set_up_stands_second_and_none_is_no_set_up_of_its_own(name):
    one = getattr(sk, name)
    if inspect.isclass(one):
        return
    parameters = list(inspect.signature(one).parameters.values())
    places = {p.name: i for i, p in enumerate(parameters)}
    if "setup" in places:
        assert places["setup"] == 1 and parameters[1].default is None
        assert parameters[1].kind is inspect.Parameter.POSITIONAL_OR_KEYWORD


def test_a_set_up_by_name_is_the_set_up():
    for ask in (
        lambda setup: sk.settle(UNIT7, setup, load="patrol").height,
        lambda setup: sk.sensitivity(UNIT7, setup, load="patrol").select_dtypes("number"),
        lambda setup: sk.solve_preload(UNIT7, setup, load="patrol", rear_height=0.36).turns["rear"],
        lambda setup: sk.spread(UNIT7, setup, load="patrol", count=20).height,
        lambda setup: work_sheet(UNIT7, setup).front_height,
        lambda setup: sk.sweep(UNIT7, setup, measure=["rake"])["rake"],
    ):
        np.testing.assert_array_equal(ask("stock"), ask(STOCK))
    assert known_setup(UNIT7) is SETUP and known_setup(UNIT7, "stock") is STOCK


def test_a_panel_takes_a_set_up_that_is_not_in_the_file():
    assert with_setup(UNIT7, "stock") == (UNIT7, "stock")
    assert with_setup(UNIT7, STOCK)[1] == "stock"
    new = SETUP.change("front", turns=7.0)
    panel = Panel(UNIT7, "preload", new)
    assert panel.controls["front_turns"].value == 7.0 and GIVEN in panel.vehicle.setups


def test_no_load_is_nothing_aboard_everywhere():
    """Loads settle lower, so that the same height twice is the same load."""
    bare = sk.settle(UNIT7, load="bare").rear_height
    assert sk.settle(UNIT7, load=None).rear_height == bare == sk.settle(UNIT7).rear_height
    usual = UNIT7.usual_load
    assert known_load(UNIT7, None) is None and known_load(UNIT7, USUAL) == usual == "patrol"
    assert work_sheet(UNIT7, load=None).rear_height == bare
    assert work_sheet(UNIT7).load == "patrol"
    from suspkit.studies.fit import road_test

    assert road_test(UNIT7)[-1].load == "patrol" and road_test(UNIT7, load=None)[-1].load is None
    assert Panel(UNIT7, "preload", load=None).controls["load"].value is None
    assert Panel(UNIT7, "preload").controls["load"].value == "patrol"


def test_a_load_not_given_is_the_same_one_for_advice_and_sheet():
    """Without targets both once took another: one none, one the first of the file."""
    aimless = replace(UNIT7, targets=None)
    assert known_load(aimless, USUAL) == next(iter(aimless.loads)) == work_sheet(aimless).load
    assert inspect.signature(sk.advise).parameters["load"].default is USUAL


def test_text_with_a_unit_is_a_number():
    by_text = sk.solve_preload(UNIT7, load="patrol", rear_height="360 mm")
    assert by_text.turns == sk.solve_preload(UNIT7, load="patrol", rear_height=0.36).turns
    corner = sk.CornerSetup(stack="kit-front", turns="4", gap="1 in")
    assert (corner.turns, corner.gap) == (4.0, 0.0254)
    spring = sk.Spring(rate="200 lb/in", free_length="8 in", solid_length="3 in")
    assert spring.rate == pytest.approx(200 * 4.4482216152605 / 0.0254)  # by definition of the lbf
    with pytest.raises(ValueError, match="rear_height is 345; expected a number of m from 0 to 3"):
        sk.solve_preload(UNIT7, load="patrol", rear_height=345)


@pytest.mark.parametrize("at", [np.array([1.0, 2.0]), [1.0, 2.0], np.float32(2), 2])
def test_numbers_and_arrays_of_turns_are_still_taken(at):
    assert np.shape(sk.CornerSetup(stack="kit-front", turns=at).turns) == np.shape(at)


def test_a_run_has_a_bound():
    with pytest.raises(ValueError, match=r"step is 1e-12 s; expected at least 2e-06 s"):
        sk.drive(UNIT7, event=sk.events.drop(height=0.3, duration=2.0), step=1e-12)


def test_clicks_left_out_are_mid_range_on_the_sheet_too():
    """The sheet once said nan where its own damping took the middle of 12."""
    bare = SETUP.change("all", clicks={})
    for name in CORNERS:
        shown = work_sheet(UNIT7, bare).corners[name].clicks
        shock = UNIT7.axle_of(name).shock
        assert [one.count for one in shown] == [c.middle for c in shock.clickers.values()]
        assert shock.clicks_out({}) == shock.clicks_out(shock.clicks_set({}))


def test_clicks_past_the_adjuster_are_refused_wherever_the_vehicle_is_known():
    wrong = SETUP.change("front", clicks={"rebound": 99})
    for ask in (sk.assemble, sk.settle, sk.sensitivity, sk.damping_ratios, sk.sweep):
        with pytest.raises(ValueError, match="front_left: rebound clicks is 99; expected"):
            ask(UNIT7, wrong)


# ------------------------------------------------------------------------------ unknown friction


def without_friction(axle="front"):
    old = getattr(UNIT7, axle)
    return replace(UNIT7, **{axle: replace(old, shock=replace(old.shock, friction=None))})


def test_friction_not_stated_is_not_none():
    """3.5 % of the spring force at ride, our judgement: the sprung weight of a corner by the
    scales over the motion ratio, by hand."""
    unknown = without_friction()
    axle, scales = unknown.front, unknown.scales
    mean = 0.5 * (scales.front_left + scales.front_right) - axle.unsprung_mass
    ratio = float(axle.motion.motion_ratio(0.5 * axle.motion.travel_max))
    by_hand = 0.035 * mean * 9.80665 / ratio
    assert unknown.friction_of("front_left") == pytest.approx(by_hand, rel=1e-12)
    assert unknown.friction_of("rear_left") == UNIT7.rear.shock.friction
    assert unknown.friction_assumed == ("front",) and UNIT7.friction_assumed == ()
    low, high = sk.height_band(unknown, load="patrol")
    assert np.all(high - low > 0.5e-3)  # what a tape begins to see
    none = replace(UNIT7.front, shock=replace(UNIT7.front.shock, friction=0.0))
    none = replace(UNIT7, front=none)
    low, high = sk.height_band(none, load="patrol")
    assert np.all((high - low)[:2] < (high - low)[2:])  # stated as none: only the rear's own


def test_assumed_friction_is_marked_on_check_and_sheet(tmp_path, capsys):
    from suspkit.cli import main
    from suspkit.shop import sheet
    from suspkit.vehicle.file import data_folder

    text = (data_folder() / "unit7.toml").read_text()
    assert "friction assumed" not in sheet.html(UNIT7)
    for name in data_folder().iterdir():
        if name.is_file():
            (tmp_path / name.name).write_bytes(name.read_bytes())
    path = tmp_path / "unknown.toml"
    path.write_text(text.replace('friction = "18 lbf"\n', ""))
    assert main(["check", str(path)]) in (0, None)
    assert "front.shock.friction is not stated; friction assumed, 3.5%" in capsys.readouterr().out
    assert sheet.html(sk.load_vehicle(path)).count("friction assumed") >= 2
