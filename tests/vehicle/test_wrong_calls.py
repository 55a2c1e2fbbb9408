"""Wrong calls of all that ``import suspkit as sk`` offers: each ends in one sentence, at once."""

import re
import time
import warnings
from dataclasses import replace

import numpy as np
import pytest

import suspkit as sk

UNIT7 = sk.example("unit7")
SETUP = UNIT7.setup
CORNER = SETUP.front_left
NAN, INF = float("nan"), float("inf")
DROP = sk.events.drop(height=0.1, duration=0.1)
RIDE = sk.Ride(setup=SETUP, load="patrol", heights=(0.37, 0.37, 0.36, 0.36))
SPRING = sk.Spring(rate=40e3, free_length=0.2, solid_length=0.08)
SHOCK = UNIT7.front.shock


def many(of, **wrong):
    """One call for each wrong value of each argument, the value's text to be echoed."""
    for name, values in wrong.items():
        for value in values:
            yield f"{name}={value!r:.40}", lambda n=name, v=value: of(**{n: v}), name, value


def table():
    """Callable's name, what is wrong, the call, the argument to be named, the value echoed."""
    v = UNIT7

    def on(function, **good):
        return lambda **wrong: function(v, **(good | wrong))

    loads = ["nobody", 3, NAN, True, ["nobody"], [], [3], SETUP]
    setups = ["nobody", 3, True, v, CORNER, [SETUP], {"kit": SETUP}]
    one_load = {"load": ["nobody", 3, True, ["patrol"]]}
    for name, function, good in (
        ("settle", sk.settle, {}),
        ("height_band", sk.height_band, {}),
        ("assemble", sk.assemble, {}),
        ("sensitivity", sk.sensitivity, {}),
        ("solve_preload", sk.solve_preload, {"rear_height": 0.35}),
        ("solve_stop_gap", sk.solve_stop_gap, {"axle": "rear", "load_factor": 2.5}),
        ("solve_clicks", sk.solve_clicks, {"axle": "rear", "ratio": 0.3}),
        ("damping_ratios", sk.damping_ratios, {}),
        ("compressor_check", sk.compressor_check, {}),
        ("drive", sk.drive, {"event": DROP}),
        ("error_estimate", sk.error_estimate, {"event": DROP}),
        ("roll_balance", sk.roll_balance, {}),
        ("bar_off_limit", sk.bar_off_limit, {}),
        ("spread", sk.spread, {"count": 10}),
        ("compare_habits", sk.compare_habits, {"count": 10}),
        ("which_matters", sk.which_matters, {"count": 10}),
        ("side_check", sk.side_check, {"count": 10}),
        ("choose_springs", sk.choose_springs, {"axle": "rear"}),
        ("advise", sk.advise, {"complaints": "nose high loaded"}),
    ):
        for setup in setups[:3]:
            yield name, f"setup {setup!r}", lambda f=function, g=good, s=setup: f(v, s, **g), (
                "setup"), setup  # fmt: skip
        for vehicle in (None, "unit7.toml", SETUP, {}):
            yield name, f"vehicle {vehicle!r:.20}", lambda f=function, g=good, x=vehicle: f(
                x, **g), "vehicle", vehicle  # fmt: skip
    for name, function, good in (
        ("sensitivity", sk.sensitivity, {}),
        ("drive", sk.drive, {"event": DROP}),
        ("solve_preload", sk.solve_preload, {"rear_height": 0.35}),
        ("spread", sk.spread, {"count": 10}),
        ("roll_balance", sk.roll_balance, {}),
        ("damping_ratios", sk.damping_ratios, {}),
        ("advise", sk.advise, {"complaints": "nose high loaded"}),
    ):
        for what, *rest in many(on(function, **good), **one_load):
            yield name, what, *rest
    for setup in setups[3:]:
        yield "settle", f"setup {setup!r:.20}", lambda s=setup: sk.settle(v, s), "setup", setup
    calls = {
        "settle": many(
            on(sk.settle), load=loads, lateral=["fast", NAN, INF, None, True, {}, [1, "x"]],
            friction=["all", NAN, None, {"front_left": "x"}],
        ),
        "solve_preload": many(
            on(sk.solve_preload), front_height=[345, "345", -1, NAN, INF, True, [0.3], "345 kg"],
            rear_height=["x", 1e9, {}], rake=["x", NAN, 5, True],
        ),
        "solve_stop_gap": many(
            on(sk.solve_stop_gap, axle="rear"), load_factor=["x", NAN, -1, None, 1e9],
            energy=[INF, True, []], drop_height=["3", -0.1], crossover_at=[25.4, "x"],
        ),
        "solve_clicks": many(
            on(sk.solve_clicks, axle="rear", ratio=0.3), axle=["middle", None, 3, ["rear"]],
            ratio=["x", NAN, 0, -1, True, None], direction=["up", None, 3, []],
            where=["there", None, {}], amplitude=["x", 0, NAN], frequency=[-1, INF],
            temperature=["hot", 20, NAN],
        ),
        "drive": many(
            on(sk.drive, event=DROP), event=[None, "drop", 3, sk.events.drop],
            model=["double", None, 3, []], corner=["front", None, 1], step=[
                1e-12, 0, -1, NAN, INF, "x", None, True], keep=[0, NAN, "x"],
            temperature=["hot", 20, NAN, True],
        ),
        "drive_many": many(
            lambda **w: sk.drive_many(v, **({"setups": [SETUP], "event": DROP} | w)),
            setups=[None, SETUP, "kit", 3, [3], ["nobody"]], workers=[0, -1, 1.5, "x"],
            model=["double"], load=["nobody"],
        ),
        "first_bottoms": many(
            on(sk.first_bottoms, event=lambda x: sk.events.drop(height=x), low=0.1, high=0.2,
               model="quarter"),
            low=[NAN, "x", None, 1.0], high=[INF, True], tolerance=[0, 1, NAN, "x"],
            looks=[1, 2.5, 10**9, "x"], corner=["front", 3], event=[DROP, None], load=["nobody"],
        ),
        "whoop_speed_map": many(
            on(sk.whoop_speed_map, heights=[0.2], spacings=[4.0]),
            heights=[[], "x", [NAN], [-1], None, [["a"]], np.ones(2000)], spacings=[0, [INF], {}],
            slowest=["x", NAN, 30], count=[0, -1, "x"], looks=[0, "x"],
        ),
        "roll_balance": many(on(sk.roll_balance), lateral=["x", NAN, None, True, INF]),
        "bar_off_limit": many(
            on(sk.bar_off_limit), lateral=[0, "x", NAN, [1, 2]], more_roll=[0, -1, NAN, "x"],
            share_points=[0, True, None],
        ),
        "sensitivity": many(on(sk.sensitivity), turns=["x", NAN, True, 1e9, [1, 2], None]),
        "spread": many(
            on(sk.spread, count=10), count=[0, 1, 1.5, "x", True, 10**12, NAN],
            seed=[-1, 1.5, "x", None], habit=["guess", None, 3, []],
            tolerances=["loose", 3, {}, sk.Doubts()], miscount=[3, {"front": 1}, {
                "front_left": "x"}, {"front_left": NAN}],
        ),
        "side_check": many(
            on(sk.side_check, count=10), miscounts=[None, "x", [NAN], [True], range(1000)],
            tolerances=[3],
        ),
        "choose_springs": many(
            on(sk.choose_springs, axle="rear"), axle=["middle", None, []],
            loads=["nobody", [3], []],
            rack=[3, "rack.csv", {"a": 3}], targets=[3, "x"], turns=[[], "x", [-1], [NAN], None],
            gaps=[[], [25.4], ["x"], np.zeros(10**6)], objectives=[["joy"], []],
        ),
        "advise": many(
            on(sk.advise, complaints="nose high loaded"),
            complaints=[None, 3, "ugly", [], ["ugly"]],
            heights=[3, [0.3], "x", [NAN, 1, 1, 1], [True, None, None, None], [345, 1, 1, 1]],
            rack=[3, "rack.csv"], units=["yards", None], most=[0, "x", 1.5],
        ),
        "sweep": many(
            on(sk.sweep), setup=["nobody", 3, []], load=["nobody", 3], vary=[
                3, "x", {"setup.front.turns": []}, {"setup.front.turns": ["x"]}, {"x": [1]},
                {3: [1]}, {"setup.front.turns": [NAN]}, ],
            event=[3, "drop"], model=["double", None], measure=["joy", [3], 3],
        ),
        "fit": many(
            lambda **w: sk.fit(v, **({"rides": RIDE} | w)),
            rides=[None, 3, "log", [], [None], SETUP, v, [3],
                   replace(RIDE, heights=(370, 1, 1, 1)), replace(RIDE, heights=("a", 1, 1, 1)),
                   replace(RIDE, heights=(True, 1, 1, 1)), replace(RIDE, heights=3),
                   replace(RIDE, load="nobody"), replace(RIDE, at_rest="asleep"),
                   sk.Ride(setup=None),
                   replace(RIDE, setup=SETUP.change("all", stack="none"))],
            tolerances=["loose", 3, {}],
        ),
        "exercise": many(
            lambda **w: sk.exercise(**({"kind": "drift", "seed": 1} | w)), kind=["x", None, 3, []],
            units=["yards", None],
        ),
        "example": many(lambda **w: sk.example(**w), name=["nobody", None, 3, "../unit7", ""]),
        "CornerSetup": many(
            lambda **w: sk.CornerSetup(**({"stack": "kit-front"} | w)),
            turns=[True, NAN, INF, -1, "x", None, 1e6, {}, [NAN]],
            gap=[25.4, 1.0, NAN, -0.01, "x", True, "1 kg", (NAN, 0.01), {}],
            ring=[25.4, NAN, "x"], clicks=[3, {"rebound": NAN}, {"rebound": "x"}, {
                "rebound": True}, {"rebound": -1}, None], stack=[None, 3],
        ),
        "Setup": many(
            lambda **w: replace(SETUP, **w), front_left=[None, 3, "kit", SETUP],
            front_bar=["on", NAN, 2, None, -1],
        ),
        "Spring": many(
            lambda **w: replace(SPRING, **w), rate=["x", NAN, -1, 0, True, INF, []],
            free_length=["x", None, NAN, 0, {}], solid_length=["x", NAN, -1, 0.3],
            table=[3, "x"], coils=[3], wire=[3, "x"],
        ),
        "StopRing": many(
            lambda **w: sk.StopRing(**({"below": 0} | w)), below=[None, "x", 0.5, True],
            cap=["x", None, NAN, True],
        ),
        "Stack": many(
            lambda **w: sk.Stack(**({"springs": [SPRING, SPRING]} | w)),
            springs=[None, [], 3, [None], "x", SPRING], rings=[None, 3, [3]],
        ),
        "VariedSpring": many(
            lambda **w: sk.VariedSpring(**({"nominal": SPRING} | w)), nominal=[None, 3],
            stiffer=["x", None, NAN, 0], longer=["x", None, NAN, -1],
        ),
        "Tolerances": many(lambda **w: sk.Tolerances(**w), rate=["x", NAN, -1, None, True],
                           tape=[INF, []]),
        "Doubts": many(lambda **w: sk.Doubts(**w), tape=["x", 0, NAN, None, True], along=[-1, []]),
        "Bar": many(
            lambda **w: replace(UNIT7.front.bar, **w), diameter=["x", None, 0, NAN, True],
            motion_ratio=["x", -1],
        ),
        "Gas": many(
            lambda **w: replace(SHOCK.gas, **w), pressure=["x", None, NAN, -1],
            volume=[0, "x", True],
        ),
        "BumpStop": many(
            lambda **w: replace(SHOCK.bump_stop, **w), free_length=["x", None, 0],
            table=[3, "x", ()],
        ),
        "TopOut": many(
            lambda **w: sk.TopOut(**({"rate": 1e4, "length": 0.01} | w)), rate=["x", None, 0, NAN],
            length=[True, -1],
        ),
        "Shock": many(
            lambda **w: replace(SHOCK, **w), stroke=["x", None, NAN, 0], friction=["x", -1, True],
            gas=[3, "x"], damper=[3], clickers=[3], thread=[None],
        ),
        "Vehicle": many(
            lambda **w: replace(UNIT7, **w), wheelbase=["x", None, NAN, True, 0],
            front=[None, 3, "x"], springs=[3, {"x": 3}], setups=[3, {"kit": 3}], scales=[None],
            current=["nobody", None], stacks=[3, {"kit-front": 3}], loads=[3, {"x": 3}],
        ),
        "Wire": many(
            lambda **w: sk.Wire(**({
                "wire_diameter": 0.01, "mean_diameter": 0.09, "total_coils": 9} | w)),
            wire_diameter=["x", None, NAN, 0, True], total_coils=["x", -1], ends=["round", None, 3],
        ),
        "Curve": many(
            lambda **w: sk.Curve(**({"x": [0.0, 1.0], "y": [0.0, 1.0]} | w)),
            x=[[], "x", None], y=["x", {}],
        ),
        "Damper": many(
            lambda **w: replace(SHOCK.damper, **w), piston_diameter=["x", 0, NAN],
            valving=[3, "x"],
        ),
    }  # fmt: skip
    for name, wrong in calls.items():
        for what, *rest in wrong:
            yield name, what, *rest
    for function in (sk.load_vehicle, sk.load_rack, sk.load_dyno):
        for path in (None, 3, "", "no-such-file.toml", "/", b"\xff", "a\0b"):
            yield function.__name__, f"path {path!r}", lambda f=function, p=path: f(p), "", ""
    for path in (None, 3, "/", ""):
        yield "JobLog", f"path {path!r}", lambda p=path: sk.JobLog(p), "", ""
    for name in (
        "settle",
        "drive",
        "fit",
        "spread",
        "Spring",
        "Setup",
        "Vehicle",
        "Ride",
        "advise",
    ):
        yield name, "nothing at all", lambda n=name: getattr(sk, n)(), "", ""
        yield name, "an unknown argument", lambda n=name: getattr(sk, n)(colour="red"), "", ""


TABLE = list(table())


@pytest.mark.parametrize(
    "call, name, value",
    [row[2:] for row in TABLE],
    # Every worker must find the same names, so none holds an address.
    ids=[re.sub(" at 0x[0-9a-f]+", "", f"{row[0]}-{row[1]}") for row in TABLE],
)
def test_a_wrong_call_ends_in_one_sentence(call, name, value):
    began = time.process_time()
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with pytest.raises((ValueError, TypeError, OSError)) as error:
            call()
    said = str(error.value)
    raw = type(error.value).__module__ in ("numpy", "numba", "pandas", "pydantic_core")
    assert not raw and not isinstance(error.value, UnicodeError)
    assert time.process_time() - began < 5  # far from any limit; what is not refused never ends
    assert "\n" not in said and len(said) < 700
    if name:
        # Of a sequence it is one entry that is told: "ride 1", "load".
        assert name.removesuffix("s") in said, said
        assert "expected" in said or "write it like" in said, said


@pytest.mark.parametrize(
    "gap", [np.float64(-0.25), np.array(-0.25), np.array([0.01, -0.25]), (0.01, np.float64(-0.25))]
)
def test_a_number_of_numpy_is_echoed_as_a_number(gap):
    with pytest.raises(ValueError, match=r"^gap(\[1\])? is -0\.25; expected"):
        sk.CornerSetup(stack="kit-front", gap=gap)
    with pytest.raises(ValueError, match=r"ring \(0\.5, 0\.25\) are both given"):
        sk.CornerSetup(stack="kit-front", gap=0.0, ring=(0.5, np.float64(0.25)))


def test_every_callable_of_the_package_is_called_wrongly():
    told = {row[0] for row in TABLE}
    made_for_us = {"Corner", "Linkage", "Road", "Run", "Solution", "Stance", "Training"}
    errors = {name for name in sk._HOMES if name.endswith("Error")}
    assert set(sk._HOMES) - errors - made_for_us <= told
    assert len(TABLE) >= 150
