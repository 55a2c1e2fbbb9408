"""Exercises: every seed gives one that can be solved, and each wrong idea is told apart.

Answers are compared with hand formulas worked on the numbers in the question's own text: springs
in series (Shigley's Mechanical Engineering Design, section 4-1), turns as thread travel over
pitch, and two points on a straight line.
"""

import io
import re
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from PIL import Image
from scipy.optimize import brentq

import suspkit as sk
from suspkit.charts import board as charts
from suspkit.teaching import exercises
from suspkit.teaching.exercises import KINDS, exercise, mark, paper
from suspkit.teaching.questions import BUILDS, SLEEVE, shop_of
from suspkit.units import GRAVITY, INCH, SYSTEMS, parse, show

SEEDS = [range(100), pytest.param(range(1000), marks=pytest.mark.slow)]
each = pytest.mark.parametrize("units", SYSTEMS)
kinds = pytest.mark.parametrize("kind", KINDS)


def lengths(text):
    """Every tape length in a text, in order [m]."""
    found = re.findall(r"(-?[0-9]+(?:-[0-9]+/[0-9]+|/[0-9]+|\.[0-9]+)?) (in|mm)\b", text)
    return [parse(f"{number} {unit}", "tape") for number, unit in found]


def pitch(text):
    if found := re.search(r"([0-9.]+) threads per in", text):
        return INCH / float(found[1])
    return float(re.search(r"([0-9.]+) mm pitch", text)[1]) * 1e-3


def rates(text):
    return [parse(f"{a} {b}", "rate") for a, b in re.findall(r"([0-9.]+) (lbf/in|N/mm)", text)]


def fault(each):
    return next(name for name, words in BUILDS.items() if words == each.choices[each.right])


# --- every seed -----------------------------------------------------------------------------------


def typed(each, value):
    """An answer as different techs would write it."""
    if each.unit == "choice":
        return [value, f" {value.lower()}) "]
    if each.unit == "turns":
        return [f"{round(4 * value) / 4:g}", f"{value:.2f} turns"]
    words = [show(value, each.unit, system) for system in SYSTEMS]
    return words if each.unit == "tape" else [*words, words[0].replace("lbf", "lb")]


@pytest.mark.parametrize("seeds", SEEDS, ids=len)
@each
@kinds
def test_all_seeds_are_solvable_and_every_wrong_idea_is_told_apart(kind, units, seeds):
    questions = set()
    for seed in seeds:
        one = exercise(kind, seed=seed, units=units)
        questions.add((one.question, one.answer, one.alt))
        assert one.misconceptions and one.hints and one.how and one.objective
        answers = [one.right, *(idea.value for idea in one.misconceptions)]
        if one.unit == "choice":
            assert sorted(answers) == list(one.choices), "each letter is right or explained"
        else:
            # What a tape or chart can read is inside the tolerance, and no two windows meet.
            assert np.diff(sorted(answers)).min() > 2 * one.tolerance
        assert mark(one, one.answer.split(",")[0]).right is True
        for text in typed(one, one.right)[seed % 2 :: 2]:
            marked = mark(one, text)
            assert marked.right is True and marked.misconception is None, (one, text)
        for idea in one.misconceptions:
            for text in (idea.answer, *(typed(one, idea.value) if seed % 4 == 0 else ())):
                marked = mark(one, text)
                assert marked.right is False and marked.misconception is idea, (one, text)
                assert idea.why in marked.message
    assert len(questions) > 0.4 * len(seeds), "fresh numbers"


# --- by hand --------------------------------------------------------------------------------------


@each
def test_contact_by_hand(units):
    for seed in range(200):
        one = exercise("contact", seed=seed, units=units)
        out, bolted, now = lengths(one.question)[-3:]
        assert 0 < out < bolted < now
        assert one.right == pytest.approx((now - bolted) / pitch(one.question), rel=1e-6)
        assert one.misconceptions[0].value == pytest.approx(
            (now - out) / pitch(one.question), rel=1e-6
        )


def test_contact_hang_is_a_balance(unit7):
    """Bolt in and out against a balance at the wheel solved with scipy."""
    shop = shop_of(unit7)
    for axle, mass in (("front", 30.0), ("rear", 45.0)):
        own = getattr(unit7, axle)

        def out_of_balance(z, own=own, weight=0.0):
            s = own.motion.compression(z)
            push = own.shock.gas_force(s) + own.shock.limits(s)
            return push * own.motion.motion_ratio(z) + weight

        for found, weight in zip(shop.hung(axle, mass), (mass * GRAVITY, 0.0), strict=True):
            z = brentq(out_of_balance, -0.02, 0.2, args=(own, weight), xtol=1e-14)
            assert found == pytest.approx(float(own.motion.compression(z)), abs=1e-7)


@each
def test_gap_drift_by_hand(units):
    """Springs in series: the divider moves by p k_t / (k_t + k_m)."""
    for seed in range(200):
        one = exercise("drift", seed=seed, units=units)
        k_t, k_m = rates(one.question)
        (gap,) = [x for x in lengths(one.question.split("(")[0]) if x > 0]
        moved = int(re.search(r"(\d+) more turns", one.question)[1]) * pitch(one.question)
        share = moved * k_t / (k_t + k_m)
        assert one.right == pytest.approx(gap + share, abs=1e-9)
        stays, whole, other, shrinks = (idea.value for idea in one.misconceptions)
        assert (stays, whole) == pytest.approx((gap, gap + moved))
        assert (other, shrinks) == pytest.approx((gap + moved - share, gap - share))


@each
def test_more_turns_for_a_height_by_hand(units):
    """Two readings make a line; the answer lies on it within its tolerance."""
    for seed in range(200):
        one = exercise("height", seed=seed, units=units)
        start, after, target = [x for x in lengths(one.question) if x > 0.1]
        more = int(re.search(r"(\d+) more turns", one.question)[1])
        line = (target - after) / (after - start) * more
        assert line == pytest.approx(one.right, abs=0.45)
        assert mark(one, f"{line:.1f} turns").right is True


@pytest.mark.parametrize(("seed", "units"), [(0, "us"), (1, "us"), (2, "metric"), (5, "metric")])
def test_more_turns_for_a_height_as_solve_preload_has_it(unit7, seed, units):
    """The table the exercise reads against the search for turns on the same vehicle."""
    one = exercise("height", seed=seed, units=units)
    axle = re.search(r"The (front|rear) collars", one.question)[1]
    load = re.search(r"load ([a-z-]+)", one.question)[1]
    own = getattr(unit7, axle)
    thread = replace(own.shock.thread, collar_pitch=pitch(one.question))
    own = replace(own, shock=replace(own.shock, thread=thread))
    turned = sum(
        int(n) for n in re.findall(r"(\d+) (?:turns from contact the|more turns)", one.question)
    )
    target = lengths(one.question)[-1]
    found = sk.solve_preload(replace(unit7, **{axle: own}), load=load, **{f"{axle}_height": target})
    assert found.ok
    assert one.right + turned == pytest.approx(found.turns[axle], abs=0.02)


@each
def test_the_adjuster_that_is_right_is_so_on_the_settled_vehicle(unit7, units):
    """Each choice of some papers is carried out on its own, and the complaint judged afresh."""
    seen = set()
    for seed in range(14):
        one = exercise("adjuster", seed=seed, units=units)
        axle = re.search(r"(front|rear) collars", one.question)[1]
        load = re.search(r"load ([a-z-]+)", one.question)[1]
        turns = float(re.search(r"collars ([0-9.]+) turns", one.question)[1])
        gap = re.search(r"stop gap ([0-9/ -]+(?:in|mm))", one.question)[1]
        # Millimetres on the paper are rounded; the exercise itself has eighths of an inch.
        gap = round(parse(gap, "tape") / (INCH / 8)) * INCH / 8
        setup = unit7.setup.change(axle, turns=turns, gap=gap)
        before = look(unit7, setup, axle, load)
        good = []
        for letter, words in list(one.choices.items())[:-1]:
            change = look(unit7, carry_out(unit7, setup, axle, words), axle, load) - before
            if mends(one.question, change):
                good.append(letter)
        last = list(one.choices)[-1]
        assert good == ([] if one.right == last else [one.right]), one
        seen.add(one.right == last)
    assert seen == {True, False}


def look(vehicle, setup, axle, load):
    """Ride height [m], crossover in wheel travel [m], load factor, gap [m]."""
    stance = sk.settle(vehicle, setup, load=load)
    corner, row = stance.corners[f"{axle}_left"], 0 if axle == "front" else 2
    met = min(float(corner.crossover), corner.shock.full_bump)
    height = stance.front_height if axle == "front" else stance.rear_height
    reserve = stance.bottoming.load_factor[row]
    return np.array([height, corner.linkage.travel(met), reserve, corner.gap[0]], dtype=float)


def carry_out(vehicle, setup, axle, words):
    turns = float(re.search(r"([0-9.]+) turns", words)[1])
    own, corner = getattr(setup, f"{axle}_left"), sk.assemble(vehicle, setup)[f"{axle}_left"]
    if words.startswith("stop ring"):
        sign = 1 if "away" in words else -1
        return setup.change(
            axle, ring=float(corner.ring[0]) + sign * turns * corner.shock.thread.ring_pitch
        )
    turns = own.turns + (turns if " down" in words else -turns)
    if "left alone" in words:
        return setup.change(axle, turns=turns, ring=float(corner.ring[0]))
    return setup.change(axle, turns=turns)


def mends(question, change):
    height, crossover, reserve, gap = change
    if "bottoms" in question:
        return reserve >= 0.03 and abs(height) < INCH / 32
    if "firms up" in question:
        return crossover >= INCH / 4 and abs(height) < INCH / 32
    amount = lengths(re.search(r"stands (.*?) too", question)[1])[0]
    wanted = amount if "too low" in question else -amount
    return abs(height - wanted) <= 0.8e-3 and abs(gap) < INCH / 32


def test_builds_by_hand(unit7):
    """Crossover after (gap + lip) (k_t + k_m) / k_m of travel from where the shock hangs."""
    found = {}
    for seed in range(60):
        one = exercise("build", seed=seed)
        axle = re.search(r"says, (front|rear)", one.question)[1]
        k_t, k_m = rates(one.question)
        gap, turns = lengths(one.question)[-1], int(re.search(r"(\d+) turns", one.question)[1])
        corner = sk.assemble(unit7, unit7.setup.change(axle, turns=turns, gap=gap))[f"{axle}_left"]
        lip, name = corner.shock.divider_lip, fault(one)
        found.setdefault(name, set()).add(axle)
        drawn = lengths(one.alt)[-1]
        met = lengths(one.solution)
        hand = corner.preload * k_t / (k_t + k_m) + corner.given_back * k_m / (k_t + k_m)
        for idea in one.misconceptions:
            if idea.name == BUILDS["drift"]:
                assert lengths(idea.why)[0] == pytest.approx(gap + hand, abs=INCH / 32 + 1e-6)
        if name == "drift":
            assert drawn == pytest.approx(gap + hand, abs=INCH / 32 + 1e-6)
            assert drawn - gap > INCH / 8, "to be seen on a tape"
        elif name == "right":
            assert drawn == pytest.approx(gap)
            hand = corner.hang + (gap + lip) * (k_t + k_m) / k_m
            assert met[-1] == pytest.approx(hand, abs=INCH / 32 + 1e-6)
        elif name == "upside_down":
            assert drawn == pytest.approx(gap), "the tape reads to the same edge"
            hand = corner.hang + (gap - SLEEVE) * (k_t + k_m) / k_m
            assert met[0] == pytest.approx(hand, abs=INCH / 32 + 1e-6)
        elif name == "loose":
            away = lengths(one.alt)[0]
            assert away >= 0.7 * INCH
            assert abs(drawn - gap) == pytest.approx(away, abs=1e-6)
        else:
            assert drawn > 1.5 * gap, "the long spring stands above the divider"
    assert {name: len(axles) for name, axles in found.items()} == dict.fromkeys(BUILDS, 2)


@each
def test_curves_by_hand(units):
    """Straight lines between the knees that the words of the picture name."""
    asked = set()
    for seed in range(150):
        one = exercise("curve", seed=seed, units=units)
        meet, touch = lengths(one.alt)
        low, first, second = (
            parse(f"{a} {b}", "force") for a, b in re.findall(r"(\d+) (lbf|N)\b", one.alt)
        )
        # Lengths are read to 1/16 in or 1 mm and forces to 5 lbf or 20 N.
        rate = (second - first) / (touch - meet)
        ratio = float(re.search(r"motion ratio is ([0-9.]+[0-9])", one.question)[1])
        at_wheel = {"tape": 1 / ratio, "rate": ratio**2, "force": ratio}[one.unit]
        (wheel,) = (idea.value for idea in one.misconceptions if "wheel" in idea.name)
        assert wheel == pytest.approx(one.right * at_wheel)
        asked.add(one.unit)
        if one.unit == "tape":
            assert one.right == pytest.approx(meet, abs=INCH / 32 + 1e-6)
        elif one.unit == "rate":
            assert one.right == pytest.approx(rate, rel=0.05)
            before = one.misconceptions[0].value
            assert before == pytest.approx((first - low) / meet, rel=0.06)
            k_t = one.misconceptions[2].value - one.right
            assert 1 / before == pytest.approx(1 / k_t + 1 / one.right, rel=1e-9)
        else:
            at = lengths(one.question)[0]
            assert one.right == pytest.approx(first + rate * (at - meet), rel=0.03)
    assert asked == {"tape", "rate", "force"}


# --- marking --------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["", "  ", "abc", "1-1/4", "12 lb", None, 5, "1/0 in", "in 3"])
def test_what_is_no_length_is_not_counted_wrong(text):
    marked = mark(exercise("drift", seed=1), text)
    assert marked.right is None and marked.misconception is None
    assert marked.message.endswith(".") and "\n" not in marked.message
    assert "expected" in marked.message or "write it like" in marked.message


@pytest.mark.parametrize("text", ["", "f", "ab", "7", None, "collar"])
def test_what_is_no_choice_is_not_counted_wrong(text):
    marked = mark(exercise("adjuster", seed=1), text)
    assert marked.right is None and "one letter from A to E" in marked.message


@pytest.mark.parametrize("text", ["b", "B", "(b)", " B. ", "b) the ring"])
def test_a_choice_is_read_as_it_is_written(text):
    one = exercise("adjuster", seed=1)
    assert mark(one, text) == mark(one, "B")


def test_other_wrong_answers_get_the_first_hint():
    one = exercise("drift", seed=1)
    marked = mark(one, "30 in")
    assert marked.right is False and marked.misconception is None
    assert one.hints[0] in marked.message and one.answer not in marked.message


@each
def test_tolerance_ends_where_it_says(units):
    one = exercise("drift", seed=3, units=units)
    edge = INCH / 16 if units == "us" else 1.5e-3
    for sign in (1, -1):
        inside, past = (one.right + sign * edge * x for x in (1, 1.001))
        assert mark(one, f"{inside * 1e3:.9f} mm").right is True
        assert mark(one, f"{past * 1e3:.9f} mm").right is False


def test_no_message_gives_the_answer_away():
    for kind in KINDS:
        one = exercise(kind, seed=4)
        if one.unit != "choice":
            assert one.answer not in " ".join((one.question, one.how, one.hints[0]))


# --- the same for all -----------------------------------------------------------------------------


@kinds
def test_the_same_seed_gives_the_same_exercise(kind):
    first = exercise(kind, seed=11, units="metric")
    assert exercise(kind, seed=11, units="metric") == first
    assert exercise(kind, seed=12, units="metric") != first
    assert exercise(kind, seed=np.int64(11), units="metric") == first


FROZEN = {
    "us": {
        "contact": "7.5 turns",
        "drift": "3-9/16 in",
        "height": "9.25 turns",
        "adjuster": "A, stop ring 4 turns away from the divider",
        "build": "D, the gap was set before the preload",
        "curve": "2-11/16 in",
    },
    "metric": {
        "contact": "4.5 turns",
        "drift": "69 mm",
        "height": "4.5 turns",
        "adjuster": "B, collar 3 turns up, then the gap re-set by tape",
        "build": "C, the divider is upside down",
        "curve": "60 mm",
    },
}


@each
def test_papers_handed_out_keep_their_answers(units):
    """Frozen: a paper printed last year is still marked by its key."""
    assert {one.kind: one.answer for one in paper(7, units=units)} == FROZEN[units]


def test_numbers_do_not_hang_on_what_was_drawn_before():
    direct = exercise("build", seed=21)
    for seed in range(5):
        exercise("build", seed=seed)
    assert exercise("build", seed=21) == direct


def test_another_vehicle(unit7):
    wider = replace(unit7, name="Unit <9>", loads={}, targets=None)
    for one in paper(3, vehicle=wider):
        assert mark(one, one.answer.split(",")[0]).right is True
    assert "load as weighed" in exercise("height", seed=3, vehicle=wider).question
    stock = replace(unit7, current="stock")
    assert "gap" not in exercise("height", seed=3, vehicle=stock).question
    with pytest.raises(ValueError, match="a stop ring between them"):
        exercise("build", seed=1, vehicle=stock)


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"kind": "gap", "seed": 1}, "kind is 'gap'; expected an exercise"),
        ({"kind": "drift", "seed": "x"}, "seed is 'x'; expected a whole number"),
        ({"kind": "drift", "seed": True}, "seed is True; expected a whole number"),
        ({"kind": "drift", "seed": 1.5}, "seed is 1.5; expected a whole number"),
        ({"kind": "drift", "seed": 1, "units": "uk"}, "units is 'uk'; expected a system"),
    ],
)
def test_bad_input_is_one_sentence(options, says):
    with pytest.raises(ValueError, match=re.escape(says)) as error:
        exercise(**options)
    assert "\n" not in str(error.value)


# --- pictures and paper ---------------------------------------------------------------------------


def first_with(name):
    return next(one for one in (exercise("build", seed=n) for n in range(99)) if fault(one) == name)


@pytest.mark.parametrize("name", BUILDS)
def test_a_fault_can_be_seen(name):
    one = first_with(name)
    image = Image.open(io.BytesIO(one.picture()))
    assert image.format == "PNG" and image.width >= 800
    ink = np.asarray(image.convert("L"))
    assert 0.02 < (ink < 200).mean() < 0.4
    cut, scene = one._draw.args[3], one._draw.keywords
    figure = one._draw()
    whole, detail = figure.axes
    words = [text.get_text() for text in whole.texts]
    assert f"gap {show(cut.gaps[0], 'tape')}" in words
    places = {t.get_text(): t.get_position()[1] for t in whole.texts}
    soft, firm = sorted(scene["rates"], key=lambda rate: float(rate.split()[0]))
    assert (places[soft] > places[firm]) == (name == "swapped"), "down the shock is more"
    apart = abs(cut.rings[0][1] - scene["mark"])
    assert (apart > 0.7 * INCH) == (name == "loose") and (name == "loose" or apart < 1e-9)
    labels = {t.get_text(): t.get_position()[1] for t in detail.texts}
    assert (labels["sleeve"] < labels["divider"]) == (name == "upside_down")
    corners = [np.asarray(p.vertices) for c in detail.collections for p in c.get_paths()]
    inks = {t.get_text(): t.get_color() for t in whole.texts}
    assert (inks[soft], inks[firm]) == (charts.TENDER, charts.MAIN), "a spring keeps its ink"
    ring = [v for v in corners if np.isclose(v[:, 1].max(), cut.rings[0][1])]
    assert any(np.ptp(v[:, 1]) > 0.5 * INCH for v in ring), "its face is its lower edge"
    above = any(np.isclose(v[:, 1].min(), cut.dividers[0] - SLEEVE) for v in corners)
    assert above == (name == "upside_down"), "the sleeve itself, not only its label"


def test_a_curve_is_drawn_in_both_systems():
    for units in SYSTEMS:
        one = exercise("curve", seed=2, units=units)
        assert Image.open(io.BytesIO(one.picture())).width >= 800
        axes = one._draw().axes[0]
        meet, touch = lengths(one.alt)
        scale = INCH if units == "us" else 1e-3
        x = axes.lines[0].get_xdata() * scale
        assert x[1:3] == pytest.approx([meet, touch], abs=INCH / 32)
        assert len(axes.child_axes) == 2
        inches = axes.child_axes[0].get_xlabel()
        assert {inches, axes.get_xlabel()[-2:]} == {"in", "mm"}


def test_exercises_without_a_picture_have_none():
    for kind in KINDS:
        one = exercise(kind, seed=5)
        assert (one.picture() is None) == (one.alt == "") == (kind not in ("build", "curve"))


def test_a_paper_has_one_of_each_and_a_key_on_its_own_page(unit7):
    odd = replace(unit7, name="<b>Unit & 7</b>")
    made = paper(7, kinds=("contact", "build"), vehicle=odd)
    assert [one.kind for one in made] == ["contact", "build"]
    assert [one.kind for one in paper(7)] == list(KINDS)
    page = exercises.key(made)
    assert not re.search("[0-9]-[0-9]+/[0-9]+ in", page), "a line may break at a hyphen"
    page = page.replace("\N{NON-BREAKING HYPHEN}", "-")
    questions, answers = page.split('<div class="key">')
    assert "break-before: page" in questions and "&lt;b&gt;Unit &amp; 7" in questions
    assert "<b>Unit" not in page and 'src="data:image/png;base64,' in questions
    assert "http:" not in page and "https:" not in page
    for one in made:
        assert one.answer in answers and one.answer not in questions
        for idea in one.misconceptions:
            assert idea.name in answers
    with pytest.raises(ValueError, match="paper is empty"):
        exercises.key([])


def test_fractions_are_reduced():
    for seed in range(50):
        for text in re.findall(r"(\d+)/(\d+) in", exercise("contact", seed=seed).question):
            top, bottom = map(int, text)
            assert Fraction(top, bottom).denominator == bottom
