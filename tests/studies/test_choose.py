"""Springs chosen from the rack: against a plain loop, against the laws, against the limits.

The plain loop below shares no search with `suspkit.studies.choose`: one set-up at a time, put
together and settled as a user would, the trade-off found by comparing each kit with each.
"""

import itertools
import re
from dataclasses import replace

import numpy as np
import pytest

import suspkit as sk
from suspkit.statics.compressor import compressor_check
from suspkit.studies.choose import (
    LIMITS,
    OBJECTIVES,
    UNITS,
    KitTargets,
    choose_springs,
    spring_pairs,
    undominated,
)  # fmt: skip
from suspkit.units import GRAVITY, INCH, POUND_FORCE
from suspkit.vehicle.corner import BrokenSetupError, assemble, thread_problems
from suspkit.vehicle.vehicle import StackPlan

LBF_IN = POUND_FORCE / INCH

SMALL = {
    "front": (
        "stock-tender-front", "tender-150-6", "tender-250-5.5", "tender-350-5",
        "main-260-16", "main-320-16", "main-400-16.5", "main-480-16.5",
    ),
    "rear": (
        "stock-tender-rear", "tender-250-11.5", "tender-350-12", "tender-450-11.5",
        "main-400-16.5", "main-480-16.5", "stock-main-rear",
    ),
}  # fmt: skip
TURNS = {"front": (2.0, 4.0, 7.0, 11.0), "rear": (3.0, 5.0, 9.0, 22.0)}
GAPS = {
    "front": tuple(n * INCH for n in (0.75, 1.0, 1.25, 1.75)),
    "rear": tuple(n * INCH for n in (0.5, 2.75, 3.25, 4.25)),
}


@pytest.fixture(scope="module", params=["front", "rear"])
def axle(request):
    return request.param


@pytest.fixture(scope="module")
def wide(unit7, axle):
    """Targets loose enough that a small rack leaves something to trade off."""
    return KitTargets.of(
        unit7, axle=axle, height_within=1.2 * INCH, crossover=(4.25 * INCH, 12 * INCH),
        load_factor=2.2, room=0.1 * INCH,
    )  # fmt: skip


@pytest.fixture(scope="module")
def small(unit7, axle, wide):
    rack = {name: unit7.springs[name] for name in SMALL[axle]}
    return choose_springs(
        unit7, axle=axle, rack=rack, targets=wide, turns=TURNS[axle], gaps=GAPS[axle]
    )


@pytest.fixture(scope="module")
def full(unit7, axle):
    """The whole rack with the targets of the vehicle's file."""
    return choose_springs(unit7, axle=axle)


# --- the plain loop ------------------------------------------------------------------------------


def fitted(vehicle, axle, tender, main, turns, gap):
    plan = StackPlan(springs=(tender, main), rings_below=(tender,))
    vehicle = replace(vehicle, stacks={**vehicle.stacks, "tried": plan})
    return vehicle, vehicle.setup.change(axle, stack="tried", turns=turns, gap=gap)


def one_kit(vehicle, axle, tender, main, turns, gap, targets):
    """Every number of one kit, settled load by load; nothing if it cannot be fitted."""
    vehicle, setup = fitted(vehicle, axle, tender, main, turns, gap)
    try:
        corners = assemble(vehicle, setup)
    except BrokenSetupError:
        return None
    job = compressor_check(vehicle, setup)[axle]
    if thread_problems(corners) or job.binds:
        return None
    corner, part = corners[f"{axle}_left"], getattr(vehicle, axle)
    # At full extension the springs may not be as loose as slips the retainer out.
    shock = part.shock
    if corner.contact_hang - turns * shock.thread.collar_pitch > shock.retainer_clearance:
        return None
    full = corner.shock.full_bump
    deflections = corner.stack.deflections(full + corner.seat)
    springs = corner.stack.springs
    stances = {
        load: sk.settle(vehicle, setup, load=load, corners=corners) for load in vehicle.loads
    }
    pair = [f"{axle}_left", f"{axle}_right"]

    def mean(load, name):
        return np.mean([stances[load].at(side)[name] for side in pair])

    def reserve(load, name):
        rows = slice(0, 2) if axle == "front" else slice(2, 4)
        return np.mean(getattr(stances[load].bottoming, name)[rows])

    heights = {load: mean(load, "height") for load in vehicle.loads}
    met, load = corner.crossover, targets.load
    found = {
        "turns": turns, "gap": gap, "height": heights[load],
        "lowest": min(heights.values()), "highest": max(heights.values()),
        "height_change": max(heights.values()) - min(heights.values()),
        "frequency": mean(load, "frequency"), "load_factor": reserve(load, "load_factor"),
        "energy": min(reserve(one, "energy") for one in vehicle.loads),
        "drop_height": min(reserve(one, "drop_height") for one in vehicle.loads),
        "room": min(s.travel - x for s, x in zip(springs, deflections, strict=True)),
        # All is solid with the tender at its ring, or solid itself, and the main solid.
        "metal_room": min(float(corner.stack.rings[0].cap), springs[0].travel)
        + springs[1].travel - float(corner.seat) - shock.stroke,
        "safety_factor": min(
            s.wire.safety_factor(s.law(x)) for s, x in zip(springs, deflections, strict=True)
        ),
        "squeeze": job.squeeze, "compressor_force": job.force,
        "to_bump_stop": min(
            corner.shock.bump_touch - stance.at(side)["compression"]
            for stance in stances.values() for side in pair
        ),
    }  # fmt: skip
    if met > full:
        return None
    found["crossover"] = corner.linkage.travel(met)
    found["to_crossover"] = found["crossover"] - mean(load, "travel")
    found["soft_travel"] = max(found["to_crossover"], 0.0)
    for side, name in ((-1, "frequency_below"), (1, "frequency_past")):
        # Far from top-out spring and bump stop, so the corner's own rate is springs and gas.
        rate = corner.linkage.wheel_rate(
            found["crossover"], force=corner.force(met), rate=corner.rate(met + side * 1e-9)
        )
        rate = 1 / (1 / rate + 1 / part.tyre.rate)
        found[name] = np.sqrt(rate * GRAVITY / mean(load, "wheel_force")) / (2 * np.pi)
    # Two springs a track apart, the bar beside them, tyres in series.
    left, right = (stances[load].at(side)["wheel_rate"] for side in pair)
    tyres = part.track**2 * part.tyre.rate / 2
    for bar, name in ((0.0, "roll_without_bar"), (part.bar.wheel_rate, "roll_with_bar")):
        springs = part.track**2 * (left * right / (left + right) + bar)
        found[name] = springs * tyres / (springs + tyres)
    return found | {f"height_{one}": h for one, h in heights.items()}


def does(kit, t):
    """Whether a kit of the plain loop is within the targets."""
    return (
        kit["compressor_force"] <= t.compressor_force
        and kit["room"] >= t.room
        and kit["safety_factor"] >= t.safety_factor
        and t.turns[0] <= kit["turns"] <= t.turns[1]
        and t.crossover[0] <= kit["crossover"] <= t.crossover[1]
        and kit["to_bump_stop"] >= 0
        and abs(kit["height"] - t.ride_height) <= t.height_within
        and t.heights[0] <= kit["lowest"] <= kit["highest"] <= t.heights[1]
        and t.frequency_below[0] <= kit["frequency_below"] <= t.frequency_below[1]
        and t.frequency_past[0] <= kit["frequency_past"] <= t.frequency_past[1]
        and kit["load_factor"] >= t.load_factor
        and kit["drop_height"] >= t.drop_height
        and kit["roll_without_bar"] >= t.roll_without_bar
    )


def better(one, other):
    """Whether one list of whole steps beats another: nowhere worse, somewhere better."""
    return all(a >= b for a, b in zip(one, other, strict=True)) and one != other


@pytest.fixture(scope="module")
def looped(unit7, axle, wide):
    """All kits of the small rack that do, by springs and setting, one settle at a time."""
    rate = {name: unit7.springs[name].rate for name in SMALL[axle]}
    found = {}
    for tender, main in itertools.permutations(SMALL[axle], 2):
        if rate[tender] < rate[main]:
            for turns, gap in itertools.product(TURNS[axle], GAPS[axle]):
                kit = one_kit(unit7, axle, tender, main, turns, gap, wide)
                if kit is not None and does(kit, wide):
                    found[tender, main, turns, gap] = kit
    return found


def labels(table):
    return [(row.tender, row.main, row.turns, row.gap) for row in table.itertuples()]


def test_the_same_kits_as_a_plain_loop(small, looped):
    assert len(looped) > 15
    assert set(labels(small.kits)) == set(looped)
    assert len(small.kits) == len(looped)


def test_every_number_of_them_is_that_of_the_plain_loop(small, looped):
    for label, (_, row) in zip(labels(small.kits), small.kits.iterrows(), strict=True):
        kit = looped[label]
        assert set(kit) == set(row.index) - {"tender", "main", "buckles"}
        for name, value in kit.items():
            assert row[name] == pytest.approx(value, rel=1e-8, abs=1e-12), (label, name)


def test_the_same_front_as_a_plain_loop(small, looped, wide):
    steps = {
        label: tuple(round(aim.sign * kit[name] / aim.step) for name, aim in OBJECTIVES.items())
        for label, kit in looped.items()
    }
    clear = [label for label, kit in looped.items() if kit["metal_room"] >= 0]
    assert 0 < len(clear) < len(looped)
    steps = {label: steps[label] for label in clear}
    stands = [label for label in clear if not any(better(o, steps[label]) for o in steps.values())]
    nearest = {}
    for label in stands:
        alike = nearest.setdefault((*label[:2], steps[label]), label)
        away = [abs(looped[one]["height"] - wide.ride_height) for one in (label, alike)]
        if away[0] < away[1]:
            nearest[*label[:2], steps[label]] = label
    assert 3 <= len(nearest) < len(looped)
    assert len(nearest) < len(stands) or small.axle == "rear", "nothing alike was tried"
    assert set(labels(small.front)) == set(nearest.values())
    assert len(small.front) == len(nearest)
    assert small.front["frequency"].is_monotonic_increasing


# --- the whole rack ------------------------------------------------------------------------------


def test_every_kit_of_the_full_front_holds_when_fitted(unit7, axle, full):
    assert len(full.front) > 10 and full.pairs == 294 and full.settings == 294 * 23 * 32
    for label, row in full.front.iterrows():
        vehicle, setup = full.fit(label)
        corners = assemble(vehicle, setup)  # refuses springs solid before full bump
        assert thread_problems(corners) == ()
        kit = one_kit(vehicle, axle, row["tender"], row["main"], row["turns"], row["gap"],
                      full.targets)  # fmt: skip
        assert does(kit, full.targets)
        stance = sk.settle(vehicle, setup, load="patrol")
        at = float(stance.front_height if axle == "front" else stance.rear_height)
        assert at == pytest.approx(row["height"], abs=1e-9)
        job = compressor_check(vehicle, setup)[axle]
        assert not job.binds and job.force <= 1000 * POUND_FORCE
        # The other axle was left alone.
        other = "rear" if axle == "front" else "front"
        assert getattr(setup, f"{other}_left") == getattr(unit7.setup, f"{other}_left")


def test_what_the_work_sheet_says_of_the_softest_kit(full, axle):
    row = full.front.iloc[0]
    vehicle, setup = full.fit(row)
    from suspkit.shop.worksheet import work_sheet

    sheet = work_sheet(vehicle, setup=setup, load="patrol").corners[f"{axle}_left"]
    assert sheet.weakest.safety_factor == pytest.approx(row["safety_factor"], rel=1e-9)
    assert min(spring.room for spring in sheet.springs) == pytest.approx(row["room"], rel=1e-9)
    # The sheet is of one side, the table of both.
    assert sheet.frequency_below == pytest.approx(row["frequency_below"], rel=0.01)
    assert sheet.frequency_past == pytest.approx(row["frequency_past"], rel=0.01)
    assert sheet.crossings[0].travel == pytest.approx(row["crossover"], rel=1e-9)


def test_all_that_was_tried_is_accounted_for(full, small):
    for choice in (full, small):
        with_kits = choice.kits.groupby(["tender", "main"]).ngroups
        assert choice.rejected["pairs"].sum() + with_kits == choice.pairs
        assert choice.rejected["settings"].sum() + len(choice.kits) == choice.settings
        assert list(choice.rejected.index) == list(LIMITS)
        assert set(choice.front.index) <= set(choice.kits.index)
        for table in (choice.front, choice.kits):
            units = table.attrs["units"]
            assert set(units) == set(table.columns) - {"tender", "main", "buckles"}
            assert units["gap"] == "m" and units["energy"] == "J"
            assert not table[list(UNITS)].isna().any().any()


def test_reasons_name_limits_and_count_pairs(full):
    counted = [int(re.match(r"(\d+) pairs?: ", line)[1]) for line in full.reasons]
    assert counted == sorted(counted, reverse=True)
    assert sum(counted) == full.rejected["pairs"].sum() > 0
    assert all(line.split(": ", 1)[1] in LIMITS for line in full.reasons)


def test_words_tell_each_end_and_the_kit_there(full):
    told = " ".join(full.words)
    for name, aim in OBJECTIVES.items():
        alike = np.ptp(full.front[name]) < aim.step
        assert (aim.best in told) == (not alike)
        if alike:
            continue
        end = full.front.loc[(aim.sign * full.front[name]).idxmax()]
        (sentence,) = [words for words in full.words if aim.best in words]
        assert f"{end['tender']} over {end['main']}, {end['turns']:g} turns" in sentence
        clear = full.kits[full.kits["metal_room"] >= 0]
        assert clear[name].mul(aim.sign).max() <= aim.sign * end[name] + aim.step


def test_kits_that_go_solid_before_metal_come_last(full):
    solid = full.kits["metal_room"].to_numpy() < 0
    assert 0 < solid.sum() < len(solid)
    assert (np.diff(solid.astype(int)) >= 0).all()
    assert (full.front["metal_room"] >= 0).all()
    told = f"{solid.sum()} of {len(solid)} kits go solid before metal"
    assert any(told in words for words in full.words)
    for label in (*full.kits.index[:2], *full.kits.index[-2:]):
        corner = assemble(*full.fit(label))[f"{full.axle}_left"]
        # The springs' own force at the end of the stroke: endless where they are solid by then.
        endless = np.isinf(corner.stack_curve(corner.shock.stroke + 1e-9))
        assert endless == (full.kits.loc[label, "metal_room"] < 0)


def test_where_no_kit_clears_metal_that_is_said(unit7):
    # Unit 7's own front clears metal by 0.004 in; a main a quarter inch longer when solid can't.
    main = unit7.springs["main-320-16"]
    rack = {
        "tender-250-5.5": unit7.springs["tender-250-5.5"],
        "thick": replace(main, name="thick", solid_length=main.solid_length + INCH / 4),
    }
    targets = KitTargets.of(unit7, axle="front", room=INCH / 8)
    choice = choose_springs(
        unit7, axle="front", rack=rack, targets=targets, turns=[4.0], gaps=[INCH]
    )
    assert len(choice.front) == len(choice.kits) == 1
    assert choice.front["metal_room"].iloc[0] == pytest.approx((0.004 - 0.25) * INCH, abs=2e-5)
    (told,) = [words for words in choice.words if "metal" in words]
    assert told.startswith("No kit clears metal") and "0.25 in before" in told


# --- limits --------------------------------------------------------------------------------------

IMPOSSIBLE = {
    "collar turns": {"turns": (90.0, 99.0)},
    "force at the compressor": {"compressor_force": -1.0},
    "room to coil bind": {"room": 1.0},
    "stress at full bump": {"safety_factor": 9.0},
    "place of crossover": {"crossover": (0.0, 0.001)},
    "ride height": {"height_within": -1.0},
    "height in another load": {"heights": (0.0, 0.1)},
    "frequency below crossover": {"frequency_below": (0.0, 0.1)},
    "frequency past crossover": {"frequency_past": (9.0, np.inf)},
    "load factor": {"load_factor": 9.0},
    "drop height": {"drop_height": 9.0},
    "roll support without the bar": {"roll_without_bar": 1e9},
}


@pytest.mark.parametrize("limit", IMPOSSIBLE)
def test_a_target_nothing_meets_rejects_every_kit_by_its_name(small, wide, limit):
    targets = replace(wide, **IMPOSSIBLE[limit])
    none = small.narrowed(targets)
    assert none.front.empty and none.kits.empty
    assert none.rejected["settings"][limit] == len(small.kits)
    assert none.rejected["pairs"].sum() == none.rejected["pairs"][limit]
    assert limit in none.words[0] and none.words[0].startswith("No kit meets every target")
    again = choose_springs(
        small.vehicle, axle=small.axle, targets=targets, turns=TURNS[small.axle][:2],
        gaps=GAPS[small.axle][:2], rack={n: small.vehicle.springs[n] for n in SMALL[small.axle]},
    )  # fmt: skip
    assert again.front.empty and again.rejected["settings"][limit] > 0


def test_narrowed_is_the_search_with_those_targets(unit7, axle, small, wide):
    tighter = replace(wide, height_within=0.8 * INCH, load_factor=2.3, room=0.2 * INCH)
    rack = {name: unit7.springs[name] for name in SMALL[axle]}
    searched = choose_springs(
        unit7, axle=axle, rack=rack, targets=tighter, turns=TURNS[axle], gaps=GAPS[axle]
    )
    narrowed = small.narrowed(tighter)
    assert 0 < len(narrowed.kits) < len(small.kits)
    with_kits = narrowed.kits.groupby(["tender", "main"]).ngroups
    assert narrowed.pairs == small.kits.groupby(["tender", "main"]).ngroups
    assert narrowed.rejected["pairs"].sum() + with_kits == narrowed.pairs
    assert narrowed.rejected["settings"].sum() + len(narrowed.kits) == narrowed.settings
    for name in ("kits", "front"):
        one, other = getattr(searched, name), getattr(narrowed, name)
        assert labels(one) == labels(other)
        # Not in the same batches: sums may differ in their last bits.
        numbers = (table[list(UNITS)].to_numpy(float) for table in (one, other))
        np.testing.assert_allclose(*numbers, rtol=1e-12)
    with pytest.raises(ValueError, match=r"targets.load is 'bare'; expected 'patrol'"):
        small.narrowed(replace(wide, load="bare"))


def test_a_kit_past_several_limits_counts_by_the_first(small, wide):
    none = small.narrowed(replace(wide, room=1.0, load_factor=9.0, ride_height=1.0))
    assert none.rejected["settings"]["room to coil bind"] == len(small.kits)
    assert none.rejected["settings"].sum() == len(small.kits)


def test_threads_reject_what_they_would_refuse(unit7):
    pair = ("tender-150-6", "stock-main-rear")
    turns, gaps = np.arange(0.0, 121.0, 12.0), np.array([0.25, 2.0, 4.0, 6.0, 8.0]) * INCH
    choice = choose_springs(
        unit7, axle="rear", rack={n: unit7.springs[n] for n in pair}, turns=turns, gaps=gaps
    )
    collar = solid = ring = 0
    for setting in itertools.product(turns, gaps):
        corners = assemble(*fitted(unit7, "rear", *pair, *setting), refuse_solid=False)
        problems = [p for p in thread_problems(corners) if p.startswith("rear_left")]
        if any(".turns" in p or ".stack" in p for p in problems):
            collar += 1
        elif corners["rear_left"].room < 0:
            solid += 1
        elif problems:
            ring += 1
    lost = choice.rejected["settings"]
    assert lost["collar past the end of its thread"] == collar > 0
    assert lost["springs solid before full bump"] == solid > 0
    assert lost["stop ring past the end of its thread"] == ring > 0
    # The limit that took its last setting is why the pair is gone.
    assert choice.kits.empty
    assert choice.reasons == (f"1 pair: {lost[lost > 0].index[-1]}",)
    assert lost[lost > 0].index[-1] not in ("collar past the end of its thread", *LIMITS[:2])


def test_unguided_springs_may_not_buckle(unit7):
    main = unit7.springs["main-480-16.5"]
    slim = replace(main.wire, mean_diameter=2.7 * INCH, wire_diameter=0.55 * INCH)
    rack = {
        "tender-350-12": unit7.springs["tender-350-12"],
        "main-480-16.5": main,
        "slim": replace(main, wire=slim, name="slim"),
    }
    targets = KitTargets.of(unit7, axle="rear", safety_factor=0.0)
    guided = choose_springs(unit7, axle="rear", rack=rack, targets=targets)
    free = choose_springs(unit7, axle="rear", rack=rack, targets=replace(targets, guided=False))
    # Shigley Eq. 10-10 and 10-12 written out, alpha 0.5, E 203.4 and G 77.2 GPa. Slenderness: 2.26
    # of the stout main, which never buckles, 3.06 of the slim one, past the critical 2.61.
    slender = 0.5 * 16.5 / 2.7
    c1, c2 = 203.4 / (2 * 126.2), 2 * np.pi**2 * 126.2 / (2 * 77.2 + 203.4)
    critical = 16.5 * INCH * c1 * (1 - np.sqrt(1 - c2 / slender**2))
    buckled = guided.kits["buckles"]
    for label, row in guided.kits.iterrows():
        corner = assemble(*guided.fit(label))["rear_left"]
        squeezed = corner.stack.deflections(corner.shock.full_bump + corner.seat)[1]
        assert row["buckles"] == (row["main"] == "slim" and squeezed >= critical)
    assert 0 < buckled.sum() < (guided.kits["main"] == "slim").sum()
    assert labels(free.kits) == labels(guided.kits[~buckled])
    assert free.rejected["settings"]["buckling"] >= buckled.sum()


def test_springs_that_are_solid_before_the_retainer_is_out(unit7):
    rack = {
        "a": sk.Spring(name="a", rate=200 * LBF_IN, free_length=12 * INCH, solid_length=11 * INCH),
        "b": sk.Spring(name="b", rate=400 * LBF_IN, free_length=20 * INCH, solid_length=19 * INCH),
    }
    choice = choose_springs(unit7, axle="rear", rack=rack)
    assert choice.reasons == ("1 pair: springs solid before the retainer is out",)


def test_a_spring_of_unknown_wire_is_not_refused_for_stress(unit7, wide, small, axle):
    rack = {
        f"plain {name}": replace(unit7.springs[name], wire=None, name=f"plain {name}")
        for name in SMALL[axle]
    }
    plain = choose_springs(
        unit7, axle=axle, rack=rack, targets=wide, turns=TURNS[axle], gaps=GAPS[axle]
    )
    assert plain.kits["safety_factor"].isna().all()
    assert [("plain " + t, "plain " + m, *rest) for t, m, *rest in labels(small.kits)] == labels(
        plain.kits
    )


# --- laws ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("bar", [False, True])
def test_roll_support_is_what_a_small_steady_turn_shows(small, axle, bar):
    # In a turn each axle's tyres carry its roll moment: (left - right)/2 of tyre load times track,
    # over the angle the body rolled (free-body balance, no formula of the search in it).
    part = getattr(small.vehicle, axle)
    for label in small.front.index[:: max(1, len(small.front) // 3)]:
        vehicle, setup = small.fit(label)
        setup = replace(setup, front_bar=bar, rear_bar=bar)
        stance = sk.settle(vehicle, setup, load="patrol", lateral=np.array([-1e-3, 1e-3]))
        rows = slice(0, 2) if axle == "front" else slice(2, 4)
        left, right = stance.tyre_load[rows]
        moment = np.diff(0.5 * (left - right) * part.track) / np.diff(stance.roll)
        told = small.kits.loc[label, "roll_with_bar" if bar else "roll_without_bar"]
        # Left and right stand a hair apart, so their rates do too.
        assert -moment[0] == pytest.approx(told, rel=5e-3)


def test_a_stiffer_main_alone_raises_what_it_should(unit7):
    # Past crossover at rest the main alone carries, so its rate orders the front's numbers.
    mains = ("main-320-16", "main-340-16", "main-380-16")
    rack = {n: unit7.springs[n] for n in ("tender-250-5.5", *mains)}
    targets = KitTargets.of(unit7, axle="front", height_within=2 * INCH, room=0.0)
    choice = choose_springs(
        unit7, axle="front", rack=rack, targets=targets, turns=[4.0], gaps=[1.25 * INCH]
    )
    kits = choice.kits[choice.kits["tender"] == "tender-250-5.5"].set_index("main").loc[list(mains)]
    for name in ("frequency", "energy", "height", "roll_without_bar", "load_factor"):
        assert kits[name].is_monotonic_increasing, name
    assert kits["height_change"].is_monotonic_decreasing
    assert (kits["roll_with_bar"] > kits["roll_without_bar"]).all()
    assert (kits["frequency_past"] > kits["frequency_below"]).all()


def test_undominated_against_every_pair():
    scores = np.random.default_rng(7).integers(0, 9, size=(60, 4)).astype(float)
    wanted = [not any(better(list(o), list(one)) for o in scores) for one in scores]
    assert undominated(scores).tolist() == wanted
    assert 5 < sum(wanted) < 55
    assert undominated(np.ones((3, 2))).tolist() == [True, True, True]


def test_pairs_are_the_softer_spring_at_the_collar(unit7):
    pairs = spring_pairs(unit7.springs)
    rates = {name: spring.rate for name, spring in unit7.springs.items()}
    assert len(pairs) == len(set(pairs)) == 294
    assert all(rates[upper] < rates[lower] for upper, lower in pairs)
    # 25 springs make 300 couples; those of equal rate are none, whatever their lengths.
    equal = sum(a == b for a, b in itertools.combinations(rates.values(), 2))
    assert 25 * 24 // 2 - equal == 294


# --- bad input -----------------------------------------------------------------------------------


def spring(name, rate):
    return sk.Spring(name=name, rate=rate, free_length=0.3, solid_length=0.1)


BAD = {
    "axle": ({"axle": "middle"}, ["axle is 'middle'", "expected front or rear"]),
    "empty rack": ({"rack": {}}, ["rack is empty", "a tender and a stiffer main"]),
    "one spring": ({"rack": {"a": spring("a", 4e4)}}, ["rack has a", "softer than another"]),
    "alike": (
        {"rack": {"a": spring("a", 4e4), "b": spring("b", 4e4)}},
        ["rack has a, b", "none is softer", "expected a tender and a stiffer main spring"],
    ),
    "name taken": (
        {"rack": {"tender-150-6": spring("tender-150-6", 1e4), "b": spring("b", 4e4)}},
        ["rack has 'tender-150-6'", "another spring of the vehicle", "expected another name"],
    ),
    "load": ({"loads": ["patroll"]}, ["loads is 'patroll'", "did you mean 'patrol'?"]),
    "objective": ({"objectives": ["comfort"]}, ["objectives is 'comfort'", "frequency"]),
    "no objective": ({"objectives": []}, ["objectives is ''", "expected one or more of"]),
    "turns": ({"turns": [-1.0]}, ["turns is -1.0", "expected a number from 0 to 1000"]),
    "no gaps": ({"gaps": []}, ["gaps is []", "expected at least one"]),
    "gap not a number": ({"gaps": [np.nan]}, ["gaps is nan", "expected a number of m"]),
}
BAD_TARGETS = {
    "too low": ({"ride_height": 2 * INCH}, ["ride_height is 2.00 in", "the rear linkage can"]),
    "too high": ({"ride_height": 30 * INCH}, ["ride_height is 30.00 in", "full bump to droop"]),
    "crossover": ({"crossover": (1.0, 2.0)}, ["crossover starts at 39.37 in", "full bump"]),
    "window": ({"heights": (2.0, 1.0)}, ["targets.heights is (2.0, 1.0)", "lower one first"]),
    "one end": ({"crossover": 0.2}, ["targets.crossover is 0.2", "a lowest and a highest"]),
    "nan": ({"ride_height": np.nan}, ["targets.ride_height is nan", "expected one number"]),
    "target load": ({"load": "x"}, ["load is 'x'", "a load of this vehicle"]),
}


def refuse(call, told):
    with pytest.raises(ValueError) as refused:
        call()
    sentence = str(refused.value)
    assert "\n" not in sentence
    for words in told:
        assert words in sentence


@pytest.mark.parametrize("case", BAD)
def test_bad_questions_get_one_sentence(unit7, case):
    changes, told = BAD[case]
    refuse(lambda: choose_springs(unit7, **{"axle": "rear"} | changes), told)


@pytest.mark.parametrize("case", BAD_TARGETS)
def test_bad_targets_get_one_sentence(unit7, case):
    changes, told = BAD_TARGETS[case]

    def call():
        targets = KitTargets.of(unit7, axle="rear", **changes)
        choose_springs(unit7, axle="rear", targets=targets)

    refuse(call, told)


def test_a_vehicle_without_targets_asks_for_some(unit7):
    bare = replace(unit7, targets=None)
    refuse(lambda: choose_springs(bare, axle="front"), ["targets are not given", "expected some"])


def test_a_kit_that_is_not_there_cannot_be_fitted(small):
    refuse(lambda: small.fit(-3), ["kit is -3", "expected a label of the table"])
