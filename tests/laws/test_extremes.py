"""The nastiest arguments that are allowed, and those just past: an answer or one clear sentence.

Never a nan without a word, a warning (the suite makes each an error), another exception or a hang.
What can be worked out by hand or by `independent` (brentq and force vectors) is.
"""

import re
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

import suspkit as sk
from suspkit.charts import board as charts
from suspkit.dynamics import events
from suspkit.panels import drive as ride_panels
from suspkit.panels import live as panels
from suspkit.panels import studies as study_panels
from suspkit.parts.shock import STOP_RATE, Clicker
from suspkit.parts.stack import StopRing
from suspkit.shop import sheet
from suspkit.statics import roll as rolling
from suspkit.statics import sensitivity as study
from suspkit.statics import view
from suspkit.studies import choose as choosing
from suspkit.studies import fit as fitting
from suspkit.teaching import exercises
from suspkit.units import INCH
from suspkit.vehicle.corner import BrokenSetupError, fit_corner
from suspkit.vehicle.setup import CORNERS, CornerSetup
from suspkit.vehicle.vehicle import Item, Load, Masses, StackPlan, TrailingArm
from tests.tools import independent

G = 9.80665  # standard gravity [m/s^2], exact by definition
UNIT7 = sk.example()

NO_SENTENCE = re.compile(
    r"nan|NaN|array\(|ufunc|broadcast|zero-size|has no attribute|NoneType|Axis limits|singular|"
    r"divide|solver cannot|\n"
)
REFUSALS = (ValueError, sk.NotSettledError, sk.UntrustedRunError)


def sentence(error):
    """The words of a refusal: one sentence, and a person's."""
    said = str(error)
    assert said and len(said) < 400 and not NO_SENTENCE.search(said), said
    return said


def answer(work):
    """What comes of a call, or the sentence it is refused with."""
    try:
        return work()
    except REFUSALS as error:
        return sentence(error)


# ------------------------------------------------------------------------------- vehicles


def axles(vehicle, **changes):
    """Both axles changed, field by field, to a value or to what a function makes of the old one."""
    made = {}
    for end in ("front", "rear"):
        old = getattr(vehicle, end)
        made[end] = replace(
            old, **{k: new(getattr(old, k)) if callable(new) else new for k, new in changes.items()}
        )
    return replace(vehicle, **made)


def shocks(vehicle=UNIT7, **changes):
    return axles(vehicle, shock=lambda shock: replace(shock, **changes))


def set_up(vehicle=UNIT7, **corner):
    return replace(vehicle, setups={"x": vehicle.setup.change("all", **corner)}, current="x")


def fitted(springs, rings=(), *, vehicle=UNIT7, **corner):
    """The same springs at all corners, and no others in the rack."""
    chosen = CornerSetup(stack="x", **corner)
    return replace(
        vehicle, springs=springs, current="x", targets=None,
        stacks={"x": StackPlan(springs=tuple(springs), rings_below=tuple(rings))},
        setups={"x": sk.Setup(**dict.fromkeys(CORNERS, chosen))},
    )  # fmt: skip


def spring(rate, free, solid, name="x"):
    return sk.Spring(name=name, rate=rate, free_length=free, solid_length=solid)


def ten_springs():
    """Ten in a stack, five rings; a body long enough for them."""
    springs = {f"s{i}": spring(300e3 + 20e3 * i, 0.055, 0.030, f"s{i}") for i in range(9)}
    springs["s9"] = spring(80e3, 0.40, 0.15, "s9")
    longer = axles(UNIT7, shock=lambda s: replace(
        s, divider_height=0.002, thread=replace(s.thread, seat_span=1.2, ring_lowest=1.0)
    ))  # fmt: skip
    gaps = (0.004, 0.007, 0.01, 0.014, 0.02)
    return fitted(springs, [f"s{i}" for i in (0, 2, 4, 6, 8)], vehicle=longer, turns=10.0, gap=gaps)


def two(upper, lower, ring=True):
    springs = {"a": spring(upper, 0.22, 0.08, "a"), "b": spring(lower, 0.35, 0.12, "b")}
    return fitted(springs, ["a"] if ring else [], turns=3.0, gap=0.03 if ring else None)


def loaded(mass, behind=1.5, *, left=0.0, up=0.0):
    item = Item(mass=mass, behind_front_axle=behind, left_of_centre=left, above_frame=up)
    return replace(UNIT7, items={"x": item}, loads={"x": Load(items=("x",))}, targets=None)


def bare_shocks(**setup):
    """No gas, bump stop, top-out spring, damper, clicker, bar or friction."""
    naked = {"gas": None, "bump_stop": None, "top_out": None, "friction": 0.0, "damper": None,
             "clickers": {}}  # fmt: skip
    ends = {
        end: replace(
            getattr(UNIT7, end), bar=None, shock=replace(getattr(UNIT7, end).shock, **naked)
        )
        for end in ("front", "rear")
    }
    options = {"turns": 0.0, "gap": 0.1} | setup
    chosen = UNIT7.setup.change("all", clicks={}, **options)
    return replace(UNIT7, **ends, setups={"x": chosen}, current="x")


ZOO = {
    "nothing to carry": lambda: replace(UNIT7, items={}, loads={}, targets=None),
    "one load": lambda: replace(UNIT7, loads={"patrol": UNIT7.loads["patrol"]}),
    "wheels of feathers": lambda: axles(UNIT7, unsprung_mass=1e-3),
    "ten springs": ten_springs,
    "one spring": lambda: fitted({"m": spring(50e3, 0.45, 0.15)}, turns=2.0),
    "twins": lambda: two(70e3, 70e3),
    "twins without a ring": lambda: two(70e3, 70e3, ring=False),
    "tender the stiffer": lambda: two(280e3, 70e3),
    "five tons": lambda: loaded(5000.0),
    "on its stops": lambda: loaded(900.0),
    "one wheel off": lambda: loaded(400.0, 2.9, left=-1.6),
    "nose off": lambda: loaded(460.0, 5.6),
    "tipped": lambda: loaded(4000.0, left=-1.5),
    "no gas": lambda: shocks(gas=None),
    "no bump stop": lambda: shocks(bump_stop=None),
    "bare shocks": bare_shocks,
    "no bars": lambda: axles(UNIT7, bar=None),
    "tyres of stone": lambda: axles(UNIT7, tyre=lambda t: replace(t, rate=1e7)),
    "tyres of cloth": lambda: axles(UNIT7, tyre=lambda t: replace(t, rate=1000.0)),
    "gap of nothing": lambda: set_up(gap=0.0),
    "ring past the divider": lambda: set_up(ring=-0.05),
    "ring out of reach": lambda: set_up(ring=0.59),
    "no turns": lambda: set_up(turns=0.0),
    "a thousand turns": lambda: set_up(turns=1000.0),
    "a millimetre of stroke": lambda: shocks(stroke=0.001, bump_stop=None, top_out=None),
    "rusted shocks": lambda: shocks(friction=1e5),
    "lip outward": lambda: shocks(divider_lip=-0.01),
    "no room for gas": lambda: axles(UNIT7, shock=lambda s: replace(
        s, gas=replace(s.gas, volume=1.0001 * s.gas.rod_area * s.stroke))),
    "three adjusters": lambda: shocks(
        clickers={**UNIT7.front.shock.clickers, "high": Clicker(count=1, zero="open")}),
}  # fmt: skip
each_vehicle = pytest.mark.parametrize("name", ZOO)


def load_of(vehicle):
    return vehicle.targets.load if vehicle.targets else next(iter(vehicle.loads), None)


NUMBERS = ("height", "travel", "compression", "shock_force", "wheel_force", "tyre_load",
           "wheel_rate", "ride_rate", "frequency", "bump_left", "droop_left", "frame_height",
           "pitch", "roll", "rake", "residual")  # fmt: skip


def is_told(stance):
    """Every number is one, or the stance says that it tipped."""
    assert all(np.isfinite(getattr(stance, n)).all() != bool(stance.tipped) for n in NUMBERS)
    if not stance.tipped:
        reserve = stance.bottoming
        assert np.isfinite(reserve.energy).all()
        stands = ~stance.lifted & (stance.wheel_force > 0)
        for values in (reserve.load_factor, reserve.load_factor_with_stop, reserve.drop_height):
            assert (np.isfinite(values) == stands).all()
    return stance


def stands(vehicle, **how):
    return is_told(sk.settle(vehicle, load=load_of(vehicle), **how))


WAYS = {
    "settle": lambda v, load: is_told(sk.settle(v, load=load)),
    "friction": lambda v, load: sk.height_band(v, load=load),
    "two g": lambda v, load: sk.settle(v, load=load, lateral=[-2 * G, 0.0, 2 * G]).tipped,
    "study": lambda v, load: study.readable(study.sensitivity(v, load=load)),
    "rake": lambda v, load: sk.solve_preload(v, load=load, rake=0.0).message,
    "gap": lambda v, load: sk.solve_stop_gap(v, load=load, axle="front", crossover_at=0.1).message,
    "reserve": lambda v, load: sk.solve_stop_gap(v, load=load, axle="rear", load_factor=2.5).ok,
    "compressor": lambda v, load: sk.compressor_check(v),
    "damping": lambda v, load: sk.damping_ratios(v, load=load),
    "roll": lambda v, load: sk.roll_balance(v, load=load, lateral=[-2 * G, 0.0, 2 * G]).lift,
    "bar": lambda v, load: sk.bar_off_limit(v, load=load).message,
    "spread": lambda v, load: sk.spread(v, load=load, count=2).words(),
    "matters": lambda v, load: sk.which_matters(v, load=load, count=2).table(),
    "sides": lambda v, load: sk.side_check(v, load=load, count=2, miscounts=[1.0]).words(),
    "sweep": lambda v, load: list(
        sk.sweep(v, load=load, vary={"setup.front.turns": [0, 1e3]}).problem),
    "words": lambda v, load: view.readout(view.look(v, load=load)),
    "drop": lambda v, load: sk.drive(v, load=load, model="half", event=events.drop(
        height=0.1, duration=0.1)).notes,
}  # fmt: skip


@each_vehicle
def test_an_answer_or_one_sentence(name):
    vehicle = ZOO[name]()
    for work in WAYS.values():
        answer(lambda work=work: work(vehicle, load_of(vehicle)))


def own_springs(vehicle):
    """Those on the vehicle: few enough to look through at once."""
    names = {n for c in vehicle.setup.corners for n in vehicle.stacks[c.stack].springs}
    return {name: vehicle.springs[name] for name in sorted(names)}


PAGES = {
    "sheet": lambda v, load: sheet.html(v),
    "shock": lambda v, load: charts.shock_curve(view.look(v, load=load)),
    "wheel": lambda v, load: charts.wheel_curve(view.look(v, load=load), axle="rear"),
    "cut-away": lambda v, load: charts.cut_away(view.look(v, load=load)),
    "side": lambda v, load: charts.side_view(view.look(v, load=load)),
    "start": lambda v, load: panels.start(v),
    "clicker": lambda v, load: ride_panels.clicker(v),
    "spread": lambda v, load: study_panels.spread(v, count=2),
    "kits": lambda v, load: study_panels.kits(v, rack=own_springs(v)),
    "turn": lambda v, load: study_panels.roll(v),
    "contact": lambda v, load: exercises.exercise("contact", seed=1, vehicle=v),
    "height": lambda v, load: exercises.exercise("height", seed=1, vehicle=v),
    "adjuster": lambda v, load: exercises.exercise("adjuster", seed=1, vehicle=v),
}


@pytest.mark.parametrize("name", [
    "nothing to carry", "one spring", "ten springs", "tipped",
    "no bump stop", "bare shocks", "three adjusters",
])  # fmt: skip
def test_pages_show_it_or_say_why_not(name):
    vehicle = ZOO[name]()
    for page, work in PAGES.items():
        made = answer(lambda work=work: work(vehicle, load_of(vehicle)))
        if isinstance(made, panels.LivePanel):
            if made.error:
                sentence(made.error)
            words = re.sub("<[^>]*>", " ", made.words.value)
            assert not re.search(r"\b(nan|inf|None)\b", words), page
        if page == "sheet":
            assert not re.search(r"\b(nan|inf|None)\b", re.sub("<style>.*?</style>", "", made))


# ------------------------------------------------------------------------- by hand


def simple(**axle):
    """One linear spring and a straight linkage at each corner: everything has a closed form."""
    options = {"a": 0.5, "b": 0.0, "friction": 0.0} | axle
    front = independent.make_axle(**options)
    rear = independent.make_axle(**options, point_behind=2.6)
    springs = {"m": spring(60e3, 0.5, 0.05)}
    return independent.make_vehicle(
        front=front, rear=rear, springs=springs, scales=(200, 200, 200, 200),
        stacks={"one": StackPlan(springs=("m",))},
        setup=sk.Setup(**dict.fromkeys(CORNERS, CornerSetup(stack="one", turns=2.0))),
    )  # fmt: skip


@pytest.mark.parametrize("tyre_rate", [2e4, 150e3, 1e7, 1e9])
def test_a_corner_by_hand_on_any_tyre(tyre_rate):
    vehicle = simple(tyre_rate=tyre_rate)
    axle, stance = vehicle.front, stands(vehicle)
    held, all_of_it = (200 - axle.unsprung_mass) * G, 200 * G
    # F = k (s + preload), wheel force F a, s = a z; at contact the hanging wheel has drawn the
    # metal limit out by what its stiffness gives.
    preload = 2.0 * axle.shock.thread.collar_pitch
    preload += axle.unsprung_mass * G / 0.5 / STOP_RATE
    z = (held / 0.5 / 60e3 - preload) / 0.5
    assert_allclose(stance.travel, z, atol=1e-6)
    height = axle.tyre.radius - all_of_it / tyre_rate + axle.hub_below_frame - z
    assert_allclose(stance.height - axle.point.above_frame, height, atol=2e-6)
    assert_allclose(stance.tyre_load, all_of_it, rtol=1e-7)
    assert_allclose(stance.wheel_rate, 60e3 * 0.25, rtol=1e-4)
    series = 1 / (1 / 15e3 + 1 / tyre_rate)
    assert_allclose(stance.frequency, np.sqrt(series * G / held) / (2 * np.pi), rtol=1e-4)


@pytest.mark.parametrize("rate", [np.inf, 0.0, -1.0, np.nan])
def test_a_tyre_is_a_spring(rate):
    """Endless stiffness settled to nan without a word."""
    with pytest.raises(ValueError, match="rate is .*; expected a number of N/m above zero"):
        replace(UNIT7.front.tyre, rate=rate)


@pytest.mark.parametrize("stroke", [0.0, -0.1, np.inf, np.nan])
def test_a_shock_has_a_stroke(stroke):
    with pytest.raises(ValueError, match="stroke is .*; expected a number of m above zero"):
        replace(UNIT7.front.shock, stroke=stroke, bump_stop=None)


def test_tyres_too_stiff_for_the_arithmetic_are_said_to_be():
    vehicle = axles(UNIT7, tyre=lambda t: replace(t, rate=1e15))
    with pytest.raises(sk.NotSettledError, match="no balance found for entry 0 of 1"):
        sk.settle(vehicle)


def test_a_wheel_has_a_mass():
    with pytest.raises(ValueError, match="unsprung_mass is 0.0; expected a number of kg above"):
        simple(unsprung=0.0)


@pytest.mark.parametrize("ratio", [0.02, 0.05, 1.0, 3.0])
def test_any_motion_ratio_by_hand(ratio):
    """Down to the least a table of readings may have."""
    stroke = 0.2 * min(1.0, ratio)
    vehicle = simple(a=ratio, stroke=stroke)
    held = (200 - vehicle.front.unsprung_mass) * G
    force = held / ratio
    stance = stands(vehicle)
    assert_allclose(stance.tyre_load, 200 * G, rtol=1e-6)
    full = 60e3 * (stroke + 2.0 * vehicle.front.shock.thread.collar_pitch)
    assert (force > full) == stance.on_stop.all() == stance.on_stop.any()
    assert_allclose(stance.shock_force, force, rtol=1e-5)


def test_a_dead_centre_is_refused():
    """The shock stands square on the arm's own line: it would not shorten at first."""
    arm = {"pivot": (0.0, 0.0), "wheel_center": (-0.8, 0.0), "shock_on_arm": (-0.5, 0.0)}
    with pytest.raises(ValueError) as caught:
        axles(simple(), linkage=None, trailing_arm=TrailingArm(
            **arm, shock_body=(-1.0, 0.0), travel_max=0.4))  # fmt: skip
    assert "the shock must shorten" in sentence(caught.value)
    with pytest.raises(ValueError, match="must shorten|above 0"):
        sk.Linkage.from_function(lambda z: z**3, travel_max=0.3)


# ---------------------------------------------------------------------------- springs


def test_ten_springs_and_five_rings():
    """Force by the recursion of the stack, written out by brentq in `independent`."""
    vehicle = ten_springs()
    corner = sk.assemble(vehicle)["front_left"]
    stack = corner.stack
    caps = {ring.below: ring.cap for ring in stack.rings}
    other = independent.Stack(stack.springs, caps)
    for x in np.linspace(0.001, 0.99 * float(stack.solid_compression), 23):
        assert float(stack.force(x)) == pytest.approx(other.force(x), rel=1e-7, abs=1e-3)
        assert float(np.sum(stack.deflections(x))) == pytest.approx(x, abs=1e-9)
    assert sum(e.kind == "crossover" for e in stack.events) == 5
    mine, theirs = (
        stands(
            vehicle,
        ),
        independent.settle(vehicle, vehicle.setup, load_of(vehicle)),
    )
    assert_allclose(mine.height, theirs.height, atol=1e-6)


@pytest.mark.parametrize(("upper", "lower"), [(70e3, 70e3), (280e3, 70e3), (70.0, 70e3)])
def test_two_springs_whatever_their_order(upper, lower):
    """In series below the ring, the lower one alone past it."""
    corner = sk.assemble(two(upper, lower), refuse_solid=False)["front_left"]
    soft = upper * lower / (upper + lower)
    assert_allclose(corner.stack.rate(1e-4), soft, rtol=1e-12)
    met = corner.stack.rings[0].cap
    bind = corner.stack.springs[0].travel
    past = met * (1 + upper / lower) + 1e-4
    if met < bind and past < corner.stack.solid_compression:
        assert_allclose(corner.stack.rate(past), lower, rtol=1e-12)


def test_a_spring_made_exactly_right_is_the_nominal_one():
    nominal = UNIT7.springs["main-320-16"]
    made = sk.VariedSpring(nominal=nominal, stiffer=1.0, longer=0.0)
    assert_allclose(made.compliance.x, nominal.compliance.x, rtol=0)
    assert_allclose(made.compliance.y, nominal.compliance.y, rtol=0)
    for wrong in ({"stiffer": 0.0}, {"stiffer": np.nan}, {"longer": -1.0}):
        with pytest.raises(ValueError, match="expected") as caught:
            sk.VariedSpring(nominal=nominal, **wrong)
        sentence(caught.value) if "nan" not in str(wrong) else None


def test_a_collar_short_of_contact_leaves_the_spring_loose_by_as_much():
    axle, stack = simple().front, sk.Stack([spring(60e3, 0.5, 0.05)])
    corner = fit_corner(axle, stack, name="x", stack_name="x", preload=-0.012)
    assert float(corner.slack) == pytest.approx(0.012, abs=1e-6)
    assert corner.force(float(corner.hang) + 0.006) == pytest.approx(0.0, abs=1e-9)
    for turns in (-1.0, np.nan):
        with pytest.raises(ValueError, match="turns is .*; expected a number from 0 to 1000"):
            CornerSetup(stack="x", turns=turns)


def test_preload_up_to_bind_and_one_turn_past():
    room = float(sk.assemble(UNIT7)["front_left"].room)
    turns = np.linspace(0, 40, 401)
    rooms = sk.assemble(UNIT7, UNIT7.setup.change("front", turns=turns), refuse_solid=False)
    rooms = rooms["front_left"].room
    assert (np.diff(rooms) < 1e-12).all() and room > 0
    last = float(turns[rooms >= 0][-1])
    is_told(sk.settle(UNIT7, UNIT7.setup.change("front", turns=last), load="patrol"))
    with pytest.raises(BrokenSetupError) as caught:
        sk.settle(UNIT7, UNIT7.setup.change("front", turns=last + 1.0))
    assert "are solid" in sentence(caught.value) and "before full bump" in str(caught.value)


def test_all_coils_closed():
    vehicle = fitted({"m": spring(50e3, 0.45, 0.44)}, turns=0.0)
    with pytest.raises(BrokenSetupError, match="all springs of stack 'x' are solid"):
        sk.settle(vehicle)
    corner = sk.assemble(vehicle, refuse_solid=False)["front_left"]
    assert corner.room < 0 and np.isfinite(corner.force(np.linspace(0, 0.3, 9))).all()


def test_a_gap_of_nothing_is_met_as_it_leaves_droop():
    vehicle = set_up(shocks(divider_lip=0.0), gap=0.0, turns=1.0)
    corner = sk.assemble(vehicle, refuse_solid=False)["rear_left"]
    assert float(corner.crossover) == pytest.approx(float(corner.hang), abs=1e-9)
    main = corner.stack.springs[-1].rate
    spring_rate = corner.stack_curve.slope(float(corner.hang) + 1e-6)
    assert_allclose(spring_rate, main, rtol=1e-9)
    with pytest.raises(ValueError, match="gap is -0.001; expected a number of m from 0 to"):
        set_up(gap=-0.001)


# ------------------------------------------------------------------------ on the ground


@pytest.mark.parametrize("name", ["five tons", "on its stops", "one wheel off", "tyres of stone",
                                  "tyres of cloth", "rusted shocks"])  # fmt: skip
def test_heavy_light_and_hanging_stand_as_force_vectors_say(name):
    vehicle = ZOO[name]()
    load = load_of(vehicle)
    mine = stands(vehicle)
    if name != "tyres of cloth":  # on which the other search sinks into the ground
        other = independent.settle(vehicle, vehicle.setup, load)
        assert_allclose(mine.height, other.height, atol=5e-6)
    weight = (vehicle.masses(load).mass + 2 * (
        vehicle.front.unsprung_mass + vehicle.rear.unsprung_mass)) * G  # fmt: skip
    assert_allclose(mine.tyre_load.sum(), weight, rtol=1e-8)
    wanted = {"five tons": 4, "on its stops": None, "one wheel off": None}.get(name)
    if wanted:
        assert mine.on_stop.sum() == wanted
    if name == "one wheel off":
        assert mine.lifted.sum() == 1 and mine.tyre_load[mine.lifted] == 0.0


def test_two_wheels_off_hang_and_the_others_carry_all():
    """Leaning in a turn, as far as the inner wheels: nothing is on them, all on the outer ones."""
    lift = rolling.roll_balance(UNIT7, load="patrol").lift
    tip = rolling.roll_balance(UNIT7, load="patrol").tip
    assert np.isfinite([*lift.values(), *tip.values()]).all() if isinstance(lift, dict) else True
    at = np.linspace(0.0, 2 * G, 81)
    stance = sk.settle(UNIT7, load="patrol", lateral=at)
    tipped = stance.tipped
    assert not tipped[0] and tipped[-1] and (np.diff(tipped.astype(int)) >= 0).all()
    off = stance.lifted.sum(axis=0)
    assert (np.diff(off[~tipped]) >= 0).all() and off[~tipped].max() >= 1
    total = stance.tyre_load.sum(axis=0)[~tipped]
    assert_allclose(total, total[0], rtol=1e-8)
    assert (stance.tyre_load[:, ~tipped] >= 0).all()
    # Past tipping nothing is a number, before it everything is.
    for name in NUMBERS:
        assert (np.isfinite(getattr(stance, name)) != tipped).all(), name


def test_tipping_at_the_line_of_the_wheels():
    """The whole mass over one side's tyres tips; short of it, it stands until it leans too far."""
    vehicle = simple(unsprung=1e-6)
    left = np.array([0.0, 0.3, 0.5, 0.774, 0.775, 0.776, 2.0])
    masses = Masses(mass=800.0, behind_front_axle=1.45, left_of_centre=left, above_frame=0.0)
    stance = sk.settle(vehicle, masses=masses)
    assert not stance.tipped[0] and stance.tipped[-3:].all()
    assert (np.diff(stance.tipped.astype(int)) >= 0).all()
    upright = ~stance.tipped
    # Moments about the left tyres' line, for a frame that leans little.
    share = stance.tyre_load[1::2].sum(axis=0) / stance.tyre_load.sum(axis=0)
    assert_allclose(share[upright][0], 0.5, atol=1e-9)
    assert (np.diff(share[upright]) < 0).all()


@pytest.mark.parametrize("lateral", [np.inf, np.nan, [0.0, np.nan]])
def test_a_turn_that_is_no_number(lateral):
    with pytest.raises(ValueError, match="lateral is .*; expected a finite|expected"):
        sk.settle(UNIT7, lateral=lateral)


def test_a_mass_that_is_no_number_finds_no_balance():
    """It settled to nan, and nothing said so."""
    masses = replace(UNIT7.masses("patrol"), mass=np.array([500.0, np.nan]))
    with pytest.raises(sk.NotSettledError, match="no balance found for entry 1 of 2"):
        sk.settle(UNIT7, masses=masses)


TIPPED = {
    "preload": lambda v: sk.solve_preload(v, load="x", rake=0.0),
    "height": lambda v: sk.solve_preload(v, load="x", front_height=0.3),
    "gap": lambda v: sk.solve_stop_gap(v, load="x", axle="front", load_factor=2.0),
    "spread": lambda v: sk.spread(v, load="x", count=9),
    "habits": lambda v: sk.compare_habits(v, load="x", count=9),
    "matters": lambda v: sk.which_matters(v, load="x", count=9),
    "sides": lambda v: sk.side_check(v, load="x", count=9),
    "roll": lambda v: sk.roll_balance(v, load="x"),
    "drive": lambda v: sk.drive(v, load="x", event=events.drop(height=0.1)),
    "advise": lambda v: sk.advise(v, load="x", complaints="rolls in turns"),
}


@pytest.mark.parametrize("name", TIPPED)
@pytest.mark.parametrize("how", ["tipped", "nose off"])
def test_who_tips_at_rest_is_told_so(name, how):
    with pytest.raises(REFUSALS) as caught:
        made = TIPPED[name](ZOO[how]())
        # Of many vehicles that each are a little off some stand: how many do not is told.
        made = getattr(made, "counted", made)
        assert how == "nose off" and "there is no upright balance" in made.words()
        raise ValueError("load is 'x'; expected one with which it stands upright")
    said = sentence(caught.value)
    assert "'x'" in said and re.search("tips over at rest|stands upright", said)


def test_a_panel_says_that_it_tips():
    for made in (study_panels.spread(ZOO["tipped"](), count=9), study_panels.roll(ZOO["tipped"]())):
        assert "tips over at rest" in sentence(made.error)
    assert "tips the vehicle over" in panels.start(ZOO["tipped"]()).words.value


# ----------------------------------------------------------------------------- driven


def test_a_drop_of_nothing_is_rest():
    run = sk.drive(UNIT7, load="patrol", event=events.drop(height=0.0, duration=0.5))
    assert run.trusted and np.ptp(run.travel, axis=1).max() < 1e-6
    assert not run.airtime.any()


def test_standing_still_on_rough_ground_is_rest():
    road = sk.Road.whoops(0.3, spacing=4.0, count=3)
    event = events.Event(name="still", duration=0.5, road=road, speed=0.0, approach=3.0)
    run = sk.drive(UNIT7, load="patrol", event=event)
    assert run.trusted and np.ptp(run.travel, axis=1).max() < 1e-6
    for speed in (0.0, -1.0, np.inf, np.nan):
        with pytest.raises(ValueError, match="speed is .*; expected above zero"):
            events.single_bump(height=0.1, length=1.0, speed=speed)


def test_five_metres_of_fall():
    run = sk.drive(UNIT7, load="patrol", event=events.drop(height=5.0))
    assert (run.bottomings >= 1).all() and np.isfinite(run.shaft_force).all()
    # Free fall until the tyres touch: v^2 = 2 g h (the hubs hang, so all falls as one).
    first = int(np.argmax(run.tyre_load.max(axis=0) > 0))
    assert run.time[first] == pytest.approx(np.sqrt(2 * 5.0 / G), abs=5e-3)
    assert (run.airtime > 0.9 * np.sqrt(2 * 5.0 / G)).all()


def test_two_hundred_miles_an_hour():
    fast = 200 * 0.44704
    run = answer(
        lambda: sk.drive(
            UNIT7, load="patrol", event=events.single_bump(height=0.05, length=3.0, speed=fast)
        )
    )
    if not isinstance(run, str):
        assert np.isfinite(run.travel).all() and run.time[-1] == pytest.approx(
            run.event.duration, abs=2e-3)  # fmt: skip


def test_a_wheel_in_the_air_on_the_road():
    run = sk.drive(UNIT7, load="patrol", event=events.single_bump(
        height=0.4, length=2.0, speed=12.0))  # fmt: skip
    assert (run.airtime > 0).any() and (run.tyre_load >= 0).all()
    assert run.audit < 1e-3


def test_two_g_of_cornering_turns_over_and_says_so():
    with pytest.raises(sk.UntrustedRunError, match="turns over after"):
        sk.drive(UNIT7, load="patrol", event=events.cornering(lateral=2 * G))


# --------------------------------------------------------------------------- studies


def test_as_few_vehicles_as_can_be():
    with pytest.raises(ValueError, match="count is 1; expected a whole number, 2 or more"):
        sk.spread(UNIT7, count=1)
    pair = sk.spread(UNIT7, load="patrol", count=2)
    assert pair.count == 2 and np.isfinite(pair.height).all() and "nan" not in pair.words()


def test_a_rack_from_which_nothing_can_be_built():
    """Told limit by limit, and kept when the targets are moved."""
    for rack in ({}, {"m": spring(5e4, 0.4, 0.1)}):
        with pytest.raises(ValueError, match="rack") as caught:
            sk.choose_springs(UNIT7, axle="rear", rack=rack)
        sentence(caught.value)
    short = {"a": spring(5e4, 0.02, 0.01, "a"), "b": spring(9e4, 0.03, 0.02, "b")}
    choice = sk.choose_springs(UNIT7, axle="rear", rack=short, turns=[4.0], gaps=[0.1])
    assert len(choice.kits) == len(choice.front) == 0 and choice.pairs == 1
    tighter = choice.narrowed(replace(choice.targets, room=0.02), objectives=["frequency"])
    assert tighter.reasons == choice.reasons and len(tighter.reasons) == 1
    assert "No kit meets every target" in tighter.words[0]
    assert choosing.readable(choice.front).empty
    panel = study_panels.kits(UNIT7, rack=short)
    assert panel.error == "" and "0 can be built" in panel.words.value
    assert "No kit meets every target" in panel.words.value


def test_a_choice_of_one_kit_has_a_picture():
    """Its axes have no width of their own."""
    rack = {n: UNIT7.springs[n] for n in UNIT7.stacks["kit-rear"].springs}
    targets = choosing.KitTargets(
        load="patrol", ride_height=float(stands(UNIT7).rear_height), room=-1.0, safety_factor=0.0,
        compressor_force=1e9,
    )  # fmt: skip
    choice = sk.choose_springs(
        UNIT7, axle="rear", rack=rack, targets=targets, turns=[5.0],
        gaps=[UNIT7.setup.rear_left.gap],
    )  # fmt: skip
    assert len(choice.kits) == len(choice.front) == 1
    seen = sk.kit_charts.KitView(every=choice.kits, choice=choice)
    sk.kit_charts.KitBoard(seen, [[("kits", "rear")]]).render(seen)


def test_a_log_of_none_one_or_against_itself():
    with pytest.raises(ValueError, match="ride") as caught:
        sk.fit(UNIT7, [])
    sentence(caught.value)
    with pytest.raises(ValueError, match="reading|read") as caught:
        sk.fit(UNIT7, [sk.Ride(setup=UNIT7.setup, load="patrol")])
    sentence(caught.value)
    read, _ = fitting.pretend(UNIT7, fitting.road_test(UNIT7, load="patrol"), seed=1)
    one = next(ride for ride in read if None not in ride.heights)
    other = replace(one, heights=tuple(height + 0.1 for height in one.heights))
    for log in ([one], [one, other]):
        fit = sk.fit(UNIT7, log)
        numbers = [n for e in fit.estimates.values() for n in (e.mean, e.sd, e.low, e.high)]
        assert np.isfinite(numbers).all() and 0 <= fit.chance <= 1
    assert fit.flags  # a hand's width apart with nothing changed: something is wrong, and named


def test_a_sweep_of_nothing():
    with pytest.raises(ValueError) as caught:
        sk.sweep(UNIT7, vary={"setup.front.turns": []})
    assert "setup.front.turns" in sentence(caught.value)
    alone = sk.sweep(UNIT7, load="patrol")
    assert len(alone) == 1 and alone.problem[0] == ""


def test_advice_where_nothing_fits():
    """No bar, no click, no other spring: collars alone, and those at the end of their thread."""
    vehicle = bare_shocks()
    kept = {n: vehicle.springs[n] for c in vehicle.setup.corners
            for n in vehicle.stacks[c.stack].springs}  # fmt: skip
    stacks = {c.stack: vehicle.stacks[c.stack] for c in vehicle.setup.corners}
    tight = replace(vehicle, springs=kept, stacks=stacks)
    told = sk.advise(tight, load="patrol", complaints=["rolls in turns", "nose high loaded"])
    assert told.text and not NO_SENTENCE.search(told.text.replace("\n", " "))
    assert told.suggestions["rolls in turns"] == ()


def test_exercises_on_a_single_spring():
    vehicle = ZOO["one spring"]()
    for kind in exercises.KINDS:
        made = answer(lambda kind=kind: exercises.exercise(kind, seed=3, vehicle=vehicle))
        if not isinstance(made, str):
            assert "nan" not in made.question + made.solution


def test_clicks_at_both_ends_and_one_past():
    for count in (0, 12):
        vehicle = set_up(clicks={"compression": count, "rebound": count})
        assert np.isfinite(sk.damping_ratios(vehicle, load="patrol").ratio).all()
    for count in (13, -1, 0.5, np.nan):
        with pytest.raises(ValueError, match="clicks"):
            set_up(clicks={"compression": count})


def test_an_inch_is_an_inch_at_any_size():
    """Numbers that print at their ends."""
    assert INCH == 0.0254
    for value in (0.0, -0.0, 1e-12, 1e12, np.inf, np.nan):
        for kind in ("length", "tape", "force", "mass", "frequency"):
            assert sk.units.show(value, kind)


def test_ring_places_for_a_stack_of_one():
    with pytest.raises(ValueError, match="expected different ones"):
        sk.Stack([spring(5e4, 0.4, 0.1)], rings=[StopRing(below=0, cap=0.1)])
