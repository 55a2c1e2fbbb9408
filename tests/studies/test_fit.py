"""Learning from a log: honest intervals, slips named, against an own simulator and scipy."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import least_squares
from scipy.stats import multivariate_normal, norm

import suspkit as sk
from suspkit.parts.spring import VariedSpring
from suspkit.studies import fit as fitting
from suspkit.studies.fit import Doubts
from suspkit.studies.slips import KINDS, Slip, chances, log_odds, looked_for, name_slip
from suspkit.units import GRAVITY, INCH, POUND
from suspkit.vehicle.ride import UNREAD, Ride
from suspkit.vehicle.setup import AXLES, CORNERS
from suspkit.vehicle.vehicle import Masses

TRIALS = 500
STEP = INCH / 16
PITCH = INCH / 16  # of Unit 7's collars
ITEMS = 9  # that may be aboard Unit 7
ONES = (1.0, 1.0, 1.0, 1.0)
FULL = dict.fromkeys(KINDS, ONES)


@pytest.fixture(scope="module")
def unit7():
    return sk.example("unit7")


def at(vehicle, front, rear, **fields):
    setup = vehicle.setup.change("front", turns=front).change("rear", turns=rear)
    return Ride(setup=setup, **fields)


def protocol(vehicle, read=tuple(KINDS), contact=True):
    """What the shop is advised to do, with the readings to be taken marked."""
    first, *rest = fitting.road_test(vehicle, load="patrol")
    taken = dict.fromkeys(read, ONES)
    if contact:
        first = [replace(first, collars=ONES)] if "collars" in read else [first]
    return [*(first if contact else ()), *(replace(ride, **taken) for ride in rest)]


# ------------------------------------------------------------------- a simulator of the test's own


def draw_truth(rng, rides, trials, given=None):
    """True vehicles from the tolerances, each two standard deviations; friction within its band."""
    given = Doubts() if given is None else given

    def normal(width, *shape):
        return rng.normal(0.0, width / 2, (*shape, trials))

    count = len(rides)
    return {
        "mass": normal(given.weight), "along": normal(given.along), "across": normal(given.across),
        "friction": 1 + normal(given.friction), "rate": 1 + normal(given.rate, 2),
        "height": normal(given.height, 4), "contact": normal(given.contact, 4),
        "longer": normal(given.free_length, 4), "held": rng.uniform(-1, 1, (4, count, trials)),
        "gap_off": normal(given.tape, 4, count), "turned": np.zeros((4, count, trials)),
        "aboard": 1 + normal(given.aboard, ITEMS),
    }  # fmt: skip


def true_readings(vehicle, rides, truth):
    """What an exact tape, scale and caliper would say, shape (rides, kinds, corners, trials)."""
    seen = []
    for r, ride in enumerate(rides):
        springs, stacks, setup = dict(vehicle.springs), dict(vehicle.stacks), ride.setup
        for i, corner in enumerate(CORNERS):
            chosen = getattr(setup, corner)
            plan = vehicle.stacks[chosen.stack]
            for name in plan.springs:
                springs[f"{name} {corner}"] = VariedSpring(
                    nominal=vehicle.springs[name], stiffer=truth["rate"][i // 2],
                    longer=truth["longer"][i] if name == plan.springs[-1] else 0.0,
                )  # fmt: skip
            own = [
                tuple(f"{n} {corner}" for n in names) for names in (plan.springs, plan.rings_below)
            ]
            stacks[corner] = replace(plan, springs=own[0], rings_below=own[1])
            turns = chosen.turns + truth["contact"][i] / PITCH + truth["turned"][i, r]
            first = next(k for k in range(len(rides)) if rides[k].setup == ride.setup)
            kept = {"gap": chosen.gap + truth["gap_off"][i, first]} if chosen.ring is None else {}
            setup = setup.change(corner, stack=corner, turns=np.maximum(turns, 0), **kept)
        made = replace(
            vehicle, springs=springs, stacks=stacks, setups={"true": setup}, current="true"
        )
        way = {"lowered": 1.0, "lifted": -1.0}.get(ride.at_rest)
        held = truth["held"][:, r] if way is None else np.full((4, 1), way)
        stance = sk.settle(
            made, setup, masses=true_masses(vehicle, ride.load, truth),
            friction={c: held[i] * truth["friction"] for i, c in enumerate(CORNERS)},
        )  # fmt: skip
        rows = np.full((4, 4, len(truth["mass"])), np.nan)
        rows[0] = stance.height + truth["height"]
        rows[1] = stance.tyre_load / GRAVITY
        for i, corner in enumerate(stance.corners.values()):
            rows[2, i] = corner.gap[0]
            below = np.minimum(ride.setup.corners[i].turns * PITCH + truth["contact"][i], 0.0)
            rows[3, i] = corner.collar_at + below  # at contact the feel may say too early
        taken = np.array([[v is not None for v in getattr(ride, kind)] for kind in KINDS])
        rows[~taken] = np.nan
        seen.append(rows)
    return np.array(seen)


def true_masses(vehicle, load, truth):
    """Dry body, moved, and what is aboard as points."""
    dry = vehicle.masses()
    parts = [
        (
            dry.mass + truth["mass"], dry.behind_front_axle + truth["along"],
            dry.left_of_centre + truth["across"], dry.above_frame,
        )
    ]  # fmt: skip
    for name in vehicle.loads[load].items if load else ():
        it = vehicle.items[name]
        weighs = it.mass * truth["aboard"][list(vehicle.items).index(name)]
        parts.append((weighs, it.behind_front_axle, it.left_of_centre, it.above_frame))
    mass = sum(part[0] for part in parts)
    x, y, z = (sum(part[0] * part[k] for part in parts) / mass for k in (1, 2, 3))
    return Masses(mass=mass, behind_front_axle=x, left_of_centre=y, above_frame=z)


def read_by_shop(rng, exact, given=None):
    """Tape to 1/16 in, scale and caliper, each with its own error."""
    given = Doubts() if given is None else given
    wide = np.array([given.tape, given.scale, given.tape, given.caliper]) / 2
    read = exact + rng.standard_normal(exact.shape) * wide[:, None, None]
    read[:, ::2] = np.round(read[:, ::2] / STEP) * STEP
    return read


def as_estimates(vehicle, truth):
    """The truth by the names of `Fit.estimates`, as differences from the file."""
    flat = {
        "sprung mass": truth["mass"], "centre behind front axle": truth["along"],
        "centre left of middle": truth["across"], "friction": truth["friction"] - 1,
        "rate, kit-front": truth["rate"][0] - 1, "rate, kit-rear": truth["rate"][1] - 1,
    }  # fmt: skip
    for name in vehicle.loads["patrol"].items:
        flat[f"aboard, {name}"] = truth["aboard"][list(vehicle.items).index(name)] - 1
    for i, corner in enumerate(CORNERS):
        stack = getattr(vehicle.setup, corner).stack
        flat[f"height, {corner}"] = truth["height"][i]
        flat[f"contact, {corner}, {stack}"] = truth["contact"][i]
        flat[f"free length, {corner}, {stack}"] = truth["longer"][i]
    return flat


def judge(vehicle, rides, readings):
    """All trials of one design at once: as `fit`, but with one slope for all.

    The vehicle is settled anew with what was learned, so the slope's place hardly matters.
    """
    log = fitting._Log(vehicle, tuple(rides))
    line = fitting._line(log, np.zeros(len(log.unknowns)))
    seen = readings[log.places]
    straight = seen - line.start[:, None]
    for _ in range(2):
        z = line.gain @ straight
        straight = seen - log.read(z)[log.places] + line.slope @ z
    z = line.gain @ straight
    slips = looked_for(log)
    chance, none = chances(log_odds(log, line, straight, seen, slips))
    named = [name_slip(slips, c, n) for c, n in zip(chance.T, none, strict=True)]
    return log, line, z, named


def filled(rides, readings):
    """The rides with one trial's readings in them."""
    fours = [[tuple(float(v) for v in four) for four in ride] for ride in readings]
    return [
        replace(
            ride,
            **{
                k: four if np.isfinite(four[0]) else UNREAD
                for k, four in zip(KINDS, rows, strict=True)
            },
        )
        for ride, rows in zip(rides, fours, strict=True)
    ]


@pytest.fixture(scope="module")
def clean(unit7):
    """500 vehicles, each logged by the advised protocol."""
    rng = np.random.default_rng(11)
    rides = protocol(unit7)
    truth = draw_truth(rng, rides, TRIALS)
    return rides, truth, read_by_shop(rng, true_readings(unit7, rides, truth))


# ------------------------------------------------------------------------------ honest intervals


def test_ninety_per_cent_intervals_cover_the_truth(unit7, clean):
    rides, truth, readings = clean
    log, line, z, _ = judge(unit7, rides, readings)
    sd = np.sqrt(np.diag(line.covariance))
    true = as_estimates(unit7, truth)
    assert set(true) == {name for name, *_ in log.unknowns}
    inside = []
    for (name, _, _, before), got, after in zip(log.unknowns, z, sd, strict=True):
        covered = np.abs(got * before - true[name]) < 1.6448536 * after * before
        assert 0.85 <= covered.mean() <= 0.95, name
        inside.append(covered.mean())
    assert 0.88 <= np.mean(inside) <= 0.93
    # The vehicle is really learned: weight and free lengths sharply, contact by feel hardly.
    learned = dict(zip((name for name, *_ in log.unknowns), 1 - sd, strict=True))
    assert learned["sprung mass"] > 0.9 and learned["free length, rear_left, kit-rear"] > 0.8
    assert learned["contact, front_left, kit-front"] < 0.1


def test_the_advised_road_test(unit7):
    rides = fitting.road_test(unit7, load="patrol")
    assert [r.setup.front_left.turns for r in rides] == [0, 4, 4, 5, 6]
    assert [r.setup.rear_right.turns for r in rides] == [0, 5, 5, 6, 7]
    assert [r.at_rest for r in rides][1:] == ["lowered", "lifted", "rolled", "rolled"]
    assert rides[1].setup == unit7.setup
    assert [r.load for r in rides] == [None, None, None, "patrol", "patrol"]


@pytest.mark.parametrize("rides", [1, 2])
def test_intervals_are_honest_with_few_readings_too(unit7, rides):
    rng = np.random.default_rng(rides)
    log = [at(unit7, 4 + i, 5 + i, heights=ONES, load="patrol") for i in range(rides)]
    truth = draw_truth(rng, log, TRIALS)
    made, line, z, _ = judge(unit7, log, read_by_shop(rng, true_readings(unit7, log, truth)))
    sd, true = np.sqrt(np.diag(line.covariance)), as_estimates(unit7, truth)
    for (name, _, _, before), got, after in zip(made.unknowns, z, sd, strict=True):
        covered = np.abs(got * before - true[name]) < 1.6448536 * after * before
        assert 0.85 <= covered.mean() <= 0.95, name


def test_what_is_not_seen_stays_as_it_was(unit7):
    (ride,) = filled([at(unit7, 4, 5, heights=ONES)], [[(0.36,) * 4, *[(np.nan,) * 4] * 3]])
    one = sk.fit(unit7, [ride])
    for name, each in one.estimates.items():
        assert each.sd <= each.sd_before * (1 + 1e-12)
        if name.startswith("free length"):
            assert each.learned == pytest.approx(0.0, abs=1e-9)
            assert each.mean == pytest.approx(0.0, abs=1e-9)
        # One tape round with friction in it tells hardly anything for certain.
        assert each.learned < 0.35, name


def test_fit_agrees_with_the_batch(unit7, clean):
    rides, truth, readings = clean
    _, line, z, _ = judge(unit7, rides, readings)
    sd = np.sqrt(np.diag(line.covariance))
    for t in range(6):
        fit = sk.fit(unit7, filled(rides, readings[..., t]))
        got = np.array([(e.mean - e.file) / e.sd_before for e in fit.estimates.values()])
        assert np.abs((got - z[:, t]) / sd).max() < 0.35
        assert_allclose([e.sd / e.sd_before for e in fit.estimates.values()], sd, rtol=0.15)
        assert fit.flags == () and fit.chance > 1e-4


def test_most_probable_vehicle_and_covariance_against_scipy(unit7, clean):
    """scipy's least squares over everything unknown, friction and gaps of each ride included."""
    rides, _, readings = clean
    log = filled(rides, readings[..., 3])
    fit = sk.fit(unit7, log)
    settings = [0, 1, 1, 2, 3]
    given, scale = Doubts(), np.array([e.sd_before for e in fit.estimates.values()])
    names, order = list(fit.estimates), np.isfinite(readings[..., 3])
    many, aboard = len(names), np.ones((len(unit7.items), 1))
    noise = np.array([np.hypot(STEP / 2, STEP / np.sqrt(12)), POUND / 2, 0, 0.005 * INCH])
    noise[2] = noise[0]
    noise = np.broadcast_to(noise[:, None], (5, 4, 4))[order]

    def model(x):
        p = dict(zip(names, x[:many] * scale[:, None], strict=True))
        by = lambda what: np.array([p[n] for n in names if n.startswith(what)])  # noqa: E731
        held, off = np.zeros((4, 5, x.shape[1])), np.zeros((4, 5, x.shape[1]))
        # In a rolled ride the band is as wide as fitted: how wide shows in the two ends alone.
        band = fit.estimates["friction"].mean / (1 + p["friction"])
        held[:, 3:] = x[many : many + 8].reshape(4, 2, -1) / np.sqrt(3) * band
        off[:] = (x[many + 8 :].reshape(4, 4, -1) * given.tape / 2)[:, settings]
        truth = {
            "mass": p["sprung mass"], "along": p["centre behind front axle"],
            "across": p["centre left of middle"], "friction": 1 + p["friction"],
            "rate": 1 + by("rate"), "height": by("height"), "contact": by("contact"),
            "longer": by("free length"), "held": held, "gap_off": off,
            "turned": np.zeros(held.shape), "aboard": aboard * np.ones(x.shape[1]),
        }  # fmt: skip
        for i, item in enumerate(unit7.items):
            truth["aboard"][i] += p.get(f"aboard, {item}", 0.0)
        return true_readings(unit7, rides, truth)[order]

    def residual(x):
        return np.append((model(x[:, None])[:, 0] - readings[..., 3][order]) / noise, x)

    def slopes(x):
        ends = x[:, None] + 0.05 * np.hstack([np.eye(len(x)), -np.eye(len(x))])
        up, down = np.split(model(ends), 2, axis=1)
        return np.vstack([(up - down) / 0.1 / noise[:, None], np.eye(len(x))])

    found = least_squares(residual, np.zeros(many + 24), jac=slopes, xtol=1e-6, ftol=1e-8)
    sd = np.sqrt(np.diag(np.linalg.inv(found.jac.T @ found.jac))[:many])
    got = np.array([(e.mean - e.file) / e.sd_before for e in fit.estimates.values()])
    assert np.abs((got - found.x[:many]) / sd).max() < 0.03
    assert_allclose([e.sd / e.sd_before for e in fit.estimates.values()], sd, rtol=0.05)


def test_friction_may_differ_by_corner(unit7):
    """What a rolled vehicle is settled with: each shock held by its own share."""
    each = {
        "front_left": 1.0,
        "front_right": -0.5,
        "rear_left": 0.0,
        "rear_right": np.array([0, 1]),
    }
    stance = sk.settle(unit7, load="patrol", friction=each)
    weight = unit7.masses("patrol").mass + 2 * sum(
        axle.unsprung_mass for axle in (unit7.front, unit7.rear)
    )
    assert_allclose(stance.tyre_load.sum(axis=0), weight * GRAVITY, rtol=1e-9)
    for i, (name, corner) in enumerate(stance.corners.items()):
        held = stance.shock_force[i] - corner.force(stance.compression[i])
        assert_allclose(held, each[name] * corner.shock.friction * np.ones(2), atol=1e-8)
    alike = sk.settle(unit7, load="patrol", friction=dict.fromkeys(CORNERS, 0.3))
    assert_allclose(alike.height, sk.settle(unit7, load="patrol", friction=0.3).height, rtol=1e-12)


def test_friction_is_learned_from_its_two_ends_only(unit7, clean):
    rides, _, readings = clean
    both = sk.fit(unit7, filled(rides[1:3], readings[1:3, ..., 0]))
    rolled = sk.fit(unit7, filled(rides[3:], readings[3:, ..., 0]))
    assert both.estimates["friction"].learned > 0.5
    assert rolled.estimates["friction"].learned < 0.02


# ------------------------------------------------------------------------------------------ slips


def planted(unit7, kind, rides, trials, seed, turns=(1, 2)):
    """Trials with one slip each, drawn at random from those of a kind, and the slips."""
    rng = np.random.default_rng(seed)
    truth = draw_truth(rng, rides, trials)
    whole = [s for s, _ in looked_for(fitting._Log(unit7, tuple(rides))) if s.kind == kind]
    whole = [s for s in whole if kind != "miscount" or abs(s.size) in turns]
    chosen = [whole[i] for i in rng.integers(len(whole), size=trials)]
    for t, slip in enumerate(chosen):
        if kind == "miscount":
            truth["turned"][CORNERS.index(slip.corner), list(slip.rides), t] = slip.size
    read = read_by_shop(rng, true_readings(unit7, rides, truth))
    for t, slip in enumerate(chosen):
        if kind == "misread":
            where = slip.rides[0], list(KINDS).index(slip.reading), CORNERS.index(slip.corner), t
            read[where] += slip.size
        elif kind == "swapped":
            read[slip.rides[0], :, :, t] = read[slip.rides[0]][:, [1, 0, 3, 2], t]
    return chosen, read


@pytest.mark.parametrize("kind", ["misread", "miscount", "swapped"])
def test_planted_slips_are_named(unit7, kind):
    rides = protocol(unit7)
    chosen, readings = planted(unit7, kind, rides, TRIALS, seed=5)
    named = judge(unit7, rides, readings)[-1]
    right = [n is not None and n[0] == slip for n, slip in zip(named, chosen, strict=True)]
    assert np.mean(right) >= 0.95


def test_clean_logs_raise_no_alarm(unit7, clean):
    rides, _, readings = clean
    named = judge(unit7, rides, readings)[-1]
    assert np.mean([n is not None for n in named]) <= 0.05


BLIND = {
    "tape": ("heights",), "tape and gap": ("heights", "gaps"),
    "tape and scales": ("heights", "gaps", "scales"),
}  # fmt: skip


def seen(unit7, read, turns):
    """Share of trials with one miscount in which anything is named."""
    rides = protocol(unit7, read, contact=False)
    _, readings = planted(unit7, "miscount", rides, 200, seed=6, turns=turns)
    return np.mean([n is not None for n in judge(unit7, rides, readings)[-1]])


@pytest.mark.parametrize("read", BLIND.values(), ids=BLIND)
def test_tape_and_scales_cannot_see_a_miscounted_turn(unit7, read):
    assert seen(unit7, read, (1,)) <= 0.05


def test_of_two_turns_scales_see_some_and_tape_still_none(unit7):
    assert seen(unit7, BLIND["tape and gap"], (2,)) <= 0.05
    assert 0.05 < seen(unit7, BLIND["tape and scales"], (2,)) < 0.6


def test_the_caliper_needs_its_reading_at_contact(unit7):
    for contact, least, most in ((True, 0.95, 1.0), (False, 0.0, 0.05)):
        rides = protocol(unit7, contact=contact)
        slip = Slip(kind="miscount", rides=tuple(range(contact, len(rides))),
                    corner="rear_left", size=-1.0)  # fmt: skip
        rng = np.random.default_rng(8)
        truth = draw_truth(rng, rides, 200)
        truth["turned"][2, list(slip.rides)] = -1.0
        named = judge(unit7, rides, read_by_shop(rng, true_readings(unit7, rides, truth)))[-1]
        assert least <= np.mean([n is not None and n[0] == slip for n in named]) <= most


def test_what_one_turn_moves_and_what_hides_it(unit7):
    """The reason for all this: heights and pads move less than friction lets them wander."""
    log = fitting._Log(unit7, tuple(protocol(unit7)))
    line = fitting._line(log, np.zeros(len(log.unknowns)))
    ride, kind, _ = log.places
    low, high = sk.height_band(unit7, unit7.setup, load="patrol")
    moved = np.abs(line.turned[(ride == 3) & (kind == 0)])
    assert moved.max() < 0.06 * INCH < (high - low).min() / 2
    assert np.abs(line.turned[(ride == 3) & (kind == 1)]).max() < 2.5 * POUND
    collars = line.turned[(ride == 3) & (kind == 3)]
    assert_allclose(collars, np.hstack([-PITCH * np.eye(4), PITCH * np.eye(4)]), atol=1e-12)


def test_with_the_ring_left_the_gap_tells_two_thirds_of_a_pitch(unit7):
    setup = sk.solve.ring_left(unit7)
    log = fitting._Log(unit7, (Ride(setup=setup, gaps=ONES, collars=ONES),))
    line = fitting._line(log, np.zeros(len(log.unknowns)))
    gaps = (log.places[1] == 2).nonzero()[0]
    # From contact on all is linear: of a pitch the top-out spring gives back what makes its force
    # the stack's, the rest squeezes tender and main in series (computed with numpy).
    for rows, tender, main in ((slice(0, 2), 250, 320), (slice(2, 4), 350, 480)):  # lbf/in
        series, top_out = tender * main / (tender + main), 200
        share = 1 - top_out / (series + top_out) * series / tender
        moved = np.diag(line.turned[gaps, 4:])[rows]
        assert_allclose(moved, share * PITCH, rtol=2e-3)
        assert_allclose(np.diag(line.turned[gaps, :4])[rows], -share * PITCH, rtol=2e-3)
        assert (moved < STEP).all()  # less than the tape is read to


def test_evidence_against_scipy(unit7, clean):
    rides, _, readings = clean
    log = fitting._Log(unit7, tuple(filled(rides, readings[..., 0])))
    line = fitting._line(log, np.zeros(len(log.unknowns)))
    seen = readings[..., 0][log.places]
    straight = (seen - line.start)[:, None]
    slips = looked_for(log)
    odds = log_odds(log, line, straight, seen[:, None], slips)[:, 0]
    normal = multivariate_normal(np.zeros(len(seen)), line.whole)
    before = np.log([chance for _, chance in slips])
    none = np.log1p(-np.exp(before).sum()) + normal.logpdf(straight[:, 0])
    ride, kind, corner = log.places
    for j, (slip, _) in enumerate(slips):
        here = np.isin(ride, slip.rides)
        if slip.kind == "misread":
            here &= (kind == list(KINDS).index(slip.reading)) & (
                corner == CORNERS.index(slip.corner)
            )
            without = straight[:, 0] - slip.size * here
        elif slip.kind == "miscount":
            column = CORNERS.index(slip.corner) + 4 * (slip.size > 0)
            without = straight[:, 0] - abs(slip.size) * line.turned[:, column] * here
        else:
            swapped = readings[..., 0].copy()
            swapped[slip.rides[0]] = swapped[slip.rides[0]][:, [1, 0, 3, 2]]
            without = swapped[log.places] - line.start
        assert_allclose(odds[j], before[j] + normal.logpdf(without) - none, rtol=1e-5)


def test_a_slip_named_is_removed_and_the_rest_fitted_again(unit7, clean):
    rides, _, readings = clean
    plain = sk.fit(unit7, filled(rides, readings[..., 1]))
    wrong = readings[..., 1].copy()
    wrong[3, 0, 0] += INCH
    wrong[4] = wrong[4][:, [1, 0, 3, 2]]
    fit = sk.fit(unit7, filled(rides, wrong))
    assert {flag.slip.kind for flag in fit.flags} == {"misread", "swapped"}
    assert all(flag.removed and flag.probability > 0.95 for flag in fit.flags)
    assert fit.rides[3].heights[0] is None and fit.rides[4] == filled(rides, readings[..., 1])[4]
    for name, each in fit.estimates.items():
        assert abs(each.mean - plain.estimates[name].mean) < each.sd
    sentences = " ".join(flag.sentence for flag in fit.flags)
    assert "front left ride height misread by 1 in in ride 4" in sentences.replace("Front", "front")
    assert "eft and right swapped in ride 5" in sentences


def test_a_miscount_is_undone_in_the_rides(unit7):
    slip = Slip(kind="miscount", rides=(1, 2, 3, 4), corner="rear_left", size=-1.0)
    rides, truth = fitting.pretend(unit7, protocol(unit7), seed=3, slips=(slip,))
    (flag,) = sk.fit(unit7, rides).flags
    assert flag.slip == slip and flag.removed and flag.rivals == ()
    assert flag.sentence.startswith("Rear left collar 1 turn short in rides 2 to 5: ")
    fit = sk.fit(unit7, rides)
    assert [r.setup.rear_left.turns for r in fit.rides] == [0, 4, 4, 5, 6]
    inside = [e.low < truth[n] < e.high for n, e in fit.estimates.items()]
    assert np.mean(inside) > 0.7


def test_explanations_that_cannot_be_told_apart_are_both_told(unit7):
    # No reading at contact: the first setting short, or all later ones too far, look the same.
    rides = protocol(unit7, ("collars",), contact=False)
    slip = Slip(kind="miscount", rides=(2, 3), corner="rear_left", size=1.0)
    unsure = 0
    for seed in range(8):
        done, _ = fitting.pretend(unit7, rides, seed=seed, slips=(slip,), read=("collars",))
        fit = sk.fit(unit7, done)
        for flag in fit.flags:
            if flag.rivals:
                unsure += 1
                assert not flag.removed and "cannot be told apart" in flag.sentence
                assert fit.rides == done
                assert {s.corner for s in (flag.slip, *flag.rivals)} == {"rear_left"}
    assert unsure >= 3


def test_readings_that_fit_no_slip_are_said_not_to_fit(unit7, clean):
    rides, _, readings = clean
    read = readings[..., 2].copy()
    read[1:, 1, 2:] += 60 * POUND  # a load that is not the one named
    (*_, flag) = sk.fit(unit7, filled(rides, read)).flags
    assert flag.slip is None and flag.probability > 0.99
    assert "do not fit this vehicle" in flag.sentence and not flag.removed


# ------------------------------------------------------------------------- what is done with it


def test_the_next_prediction_is_better(unit7, clean):
    rides, truth, readings = clean
    there = at(unit7, 7, 4, load="patrol", heights=ONES)
    for part in ("held", "gap_off", "turned"):
        assert truth[part].shape[1] == len(rides)
    still = truth | {part: 0 * truth[part][:, :1] for part in ("held", "gap_off", "turned")}
    exact = true_readings(unit7, [there], still)[0, 0]
    before = sk.settle(unit7, there.setup, load="patrol").height[:, None] - exact[:, :12]
    after = []
    for t in range(12):
        fit = sk.fit(unit7, filled(rides, readings[..., t]))
        stance = sk.settle(fit.vehicle, fit.as_turned(there.setup), load="patrol")
        after.append(stance.height - exact[:, t])
    rms = [np.sqrt(np.mean(np.square(miss))) for miss in (before, after)]
    assert rms[1] < 0.5 * rms[0]


def test_the_corrected_vehicle_is_the_estimates(unit7, clean):
    rides, _, readings = clean
    fit = sk.fit(unit7, filled(rides, readings[..., 4]))
    masses, value = fit.vehicle.masses(), {n: e.mean for n, e in fit.estimates.items()}
    assert_allclose(
        fit.vehicle.items["driver"].mass, unit7.items["driver"].mass * value["aboard, driver"]
    )
    assert fit.vehicle.items["medic"] == unit7.items["medic"]  # was not aboard
    for one in fit.estimates.values():  # the ends of a normal distribution's middle 90 %
        assert_allclose(norm(one.mean, one.sd).cdf([one.low, one.high]), [0.05, 0.95], rtol=1e-9)
    assert_allclose(masses.mass, value["sprung mass"], rtol=1e-12)
    assert_allclose(masses.behind_front_axle, value["centre behind front axle"], rtol=1e-12)
    assert_allclose(masses.left_of_centre, value["centre left of middle"], atol=1e-12)
    for axle, (left, right) in AXLES.items():
        stack, was = (v.stack(getattr(v.setup, left).stack) for v in (fit.vehicle, unit7))
        assert_allclose(stack.rate(0.01), was.rate(0.01) * value[f"rate, kit-{axle}"], rtol=1e-12)
        mean = np.mean([value[f"free length, {c}, kit-{axle}"] for c in (left, right)])
        assert_allclose(stack.free_length, was.free_length + mean, rtol=1e-12)
        point, old = getattr(fit.vehicle, axle).point, getattr(unit7, axle).point
        up = np.mean([value[f"height, {c}"] for c in (left, right)])
        assert_allclose(point.above_frame, old.above_frame + up, atol=1e-12)
        friction = getattr(fit.vehicle, axle).shock.friction / getattr(unit7, axle).shock.friction
        assert_allclose(friction, value["friction"], rtol=1e-12)
    turned = fit.as_turned(unit7.setup).rear_left.turns
    assert_allclose(turned, 5 + value["contact, rear_left, kit-rear"] / PITCH)
    stock = unit7.setups["stock"]
    assert fit.as_turned(stock) == stock  # nothing was learned of those springs


@pytest.mark.parametrize(
    "law",
    [
        {"rate": 40e3},
        {"table": ((0.05, 2e3), (0.1, 5e3))},
        {"coils": ((80e3, 0.05), (60e3, 0.1))},
    ],
    ids=lambda law: next(iter(law)),
)
def test_a_spring_of_any_law_is_made_stiffer(law):
    plain = sk.Spring(free_length=0.3, solid_length=0.15, **law)
    stiff = fitting._respring(plain, 1.03, 0.001)
    x = np.linspace(0, 0.14, 20)
    assert_allclose(stiff.law(x), 1.03 * plain.law(x), rtol=1e-12)
    longer = 0.0 if "coils" in law else 0.001
    assert_allclose(stiff.free_length, plain.free_length + longer)


def test_readings_stand_beside_what_is_predicted(unit7, clean):
    rides, _, readings = clean
    residuals = []
    for t in range(8):
        fit = sk.fit(unit7, filled(rides, readings[..., t]))
        assert len(fit.readings) == np.isfinite(readings[..., t]).sum()
        for each in fit.readings:
            ride, kind, corner = each.ride, list(KINDS).index(each.kind), CORNERS.index(each.corner)
            assert each.read == readings[ride, kind, corner, t]
            if abs(each.residual) > 0.01:
                assert np.sign(each.residual) == np.sign(each.read - each.predicted)
        residuals += [each.residual for each in fit.readings]
    assert 0.85 < np.std(residuals) < 1.1


def test_bottoming_is_left_aside_and_said_so(unit7, clean):
    rides, _, readings = clean
    log = filled(rides, readings[..., 0])
    told = [replace(ride, bottomed=("rear_left",)) for ride in log]
    assert sk.fit(unit7, log).not_used == ()
    one, other = sk.fit(unit7, log), sk.fit(unit7, told)
    assert "bottomed is not used" in other.not_used[0]
    assert one.estimates == other.estimates


def test_rides_of_different_springs_are_one_log(unit7):
    stock = replace(at(unit7, 8, 8, heights=ONES, collars=ONES), setup=unit7.setups["stock"])
    rides, truth = fitting.pretend(unit7, [stock, *protocol(unit7)], seed=2)
    fit = sk.fit(unit7, rides)
    assert {"rate, stock-front", "rate, kit-front"} <= set(fit.estimates)
    assert rides[0].gaps == UNREAD  # no stop ring, no gap
    inside = [e.low < truth[n] < e.high for n, e in fit.estimates.items()]
    assert np.mean(inside) > 0.7


def test_pretend_reads_as_a_shop_would(unit7):
    rides, truth = fitting.pretend(unit7, protocol(unit7), seed=1)
    again, _ = fitting.pretend(unit7, protocol(unit7), seed=1)
    assert rides == again
    assert rides[0].heights == UNREAD and None not in rides[0].collars
    sixteenths = np.array([r.heights for r in rides[1:]]) / STEP
    assert_allclose(sixteenths, np.round(sixteenths), atol=1e-9)
    assert set(truth) == set(sk.fit(unit7, rides).estimates)


# -------------------------------------------------------------------------------------- bad input


def bad_rides(unit7):
    good = at(unit7, 4, 5, heights=(0.34,) * 4)
    other = unit7.setup.change("rear", stack="kit-raer")
    return {
        "none": ([], "rides is (); expected at least one"),
        "no readings": ([at(unit7, 4, 5)], "no ride has a reading"),
        "inches": ([replace(good, heights=(13.6,) * 4)], "heights front_left is 13.6"),
        "pounds": ([good, replace(good, scales=(447, 441, 571, 563))], "ride 2: scales"),
        "three": ([replace(good, heights=(0.34,) * 3)], "has 3 entries"),
        "load": ([replace(good, load="patrool")], "load is 'patrool'"),
        "rest": ([replace(good, at_rest="dropped")], "at_rest is 'dropped'"),
        "corner": ([replace(good, bottomed=("left_rear",))], "bottomed has 'left_rear'"),
        "setup": ([good, replace(good, setup=other)], "ride 2.rear_left.stack is 'kit-raer'"),
        "not a number": ([replace(good, heights=(np.nan,) * 4)], "is nan"),
        "no ring": (
            [replace(good, setup=unit7.setups["stock"], gaps=(0.02,) * 4)],
            "it has no stop ring",
        ),
        "not a ride": ([{"heights": 1}], "expected a Ride"),
    }


@pytest.mark.parametrize("case", list(bad_rides(sk.example("unit7"))))
def test_bad_rides_are_refused_in_one_sentence(unit7, case):
    rides, words = bad_rides(unit7)[case]
    with pytest.raises(ValueError) as caught:
        sk.fit(unit7, rides)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value) and "expected" in str(caught.value)


def test_a_load_that_tips_the_vehicle_is_refused(unit7):
    heavy = replace(unit7.items["litter"], mass=2000.0, left_of_centre=3.0)
    tipping = replace(unit7, items=unit7.items | {"litter": heavy})
    with pytest.raises(ValueError, match="ride 1: the vehicle does not stand upright"):
        sk.fit(tipping, [at(tipping, 4, 5, load="carry-out", heights=(0.34,) * 4)])


@pytest.mark.parametrize("value", [0.0, -1.0, np.nan])
def test_tolerances_are_above_zero(value):
    with pytest.raises(ValueError, match="tape is .*; expected a number of m above zero"):
        Doubts(tape=value)


# ------------------------------------------------------------------------------ one name, one class


def test_fit_takes_what_spread_draws_from(unit7):
    """Even within a is a / sqrt(3) of standard deviation, by the integral of x^2."""
    given = sk.Tolerances()
    taken = Doubts.of(given)
    assert_allclose(taken.tape / 2, given.tape / np.sqrt(3), rtol=1e-12)
    assert taken.along / 2 == given.along and taken.weight / 2 == given.mass
    assert taken.scale == Doubts().scale and Doubts.of(None) == Doubts()
    rides, _ = fitting.pretend(unit7, fitting.road_test(unit7), seed=3)
    found = sk.fit(unit7, rides, tolerances=given)
    assert found.estimates["sprung mass"].sd_before == pytest.approx(given.mass)
    assert sk.Tolerances is not sk.Doubts and sk.Doubts.__name__ == "Doubts"


def test_a_comma_in_the_name_of_a_stack(unit7):
    """`advise` itself makes such names; the numbers are those of a plain name."""
    plain, odd = "kit-front", "kit-front, tender-200-5 for tender-250-5.5"
    stacks = {odd if name == plain else name: plan for name, plan in unit7.stacks.items()}
    setups = {
        name: one.change("front", stack=odd) if one.front_left.stack == plain else one
        for name, one in unit7.setups.items()
    }
    renamed = replace(unit7, stacks=stacks, setups=setups)
    one, other = (
        sk.fit(vehicle, fitting.pretend(vehicle, fitting.road_test(vehicle), seed=3)[0])
        for vehicle in (unit7, renamed)
    )
    rates = [found.estimates[f"rate, {name}"] for found, name in ((one, plain), (other, odd))]
    assert_allclose(rates[0].mean, rates[1].mean, rtol=1e-12)
    assert rates[1].about == ("rate", odd)
    assert sk.settle(other.vehicle).height.tolist() == sk.settle(one.vehicle).height.tolist()


def test_one_ride_is_a_log_of_one(unit7):
    rides, _ = fitting.pretend(unit7, fitting.road_test(unit7)[3:4], seed=1)
    (one,) = rides
    assert sk.fit(unit7, one).estimates == sk.fit(unit7, [one]).estimates
