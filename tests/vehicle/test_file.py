"""Reading vehicle files: what is right comes in whole, what is wrong is one sentence."""

import copy
import hashlib
import time
import tomllib
import warnings

import numpy as np
import pytest

import suspkit as sk
from suspkit.units import INCH, POUND, POUND_FORCE
from suspkit.vehicle import file as vehicle_file
from suspkit.vehicle.corner import THREAD_SLACK, thread_problems
from tests.tools.bad_files import DATA, EDITS, RACK_EDITS, WHOLE, write_bad

UNIT7 = DATA / "unit7.toml"


def refusal(path):
    with pytest.raises(sk.VehicleFileError) as caught:
        sk.load_vehicle(path)
    sentence = str(caught.value)
    assert sentence.startswith(str(path.parent))
    assert "\n" not in sentence
    assert len(sentence) < 500
    # Nothing of the libraries underneath shows through.
    assert "pydantic" not in sentence
    assert "Input should" not in sentence
    return sentence


@pytest.mark.parametrize(("old", "new", "words"), EDITS.values(), ids=EDITS)
def test_a_wrong_file_is_one_sentence(tmp_path, old, new, words):
    sentence = refusal(write_bad(tmp_path, old, new))
    assert [word for word in words if word not in sentence] == [], sentence


@pytest.mark.parametrize(("content", "words"), WHOLE.values(), ids=WHOLE)
def test_what_is_no_vehicle_file_at_all(tmp_path, content, words):
    path = tmp_path / "vehicle.toml"
    path.write_bytes(content)
    sentence = refusal(path)
    assert [word for word in words if word not in sentence] == [], sentence


@pytest.mark.parametrize(("old", "new", "words"), RACK_EDITS.values(), ids=RACK_EDITS)
def test_a_wrong_rack_names_its_line(tmp_path, old, new, words):
    sentence = refusal(write_bad(tmp_path, old, new, file="springs.csv"))
    assert [word for word in words if word not in sentence] == [], sentence


@pytest.mark.parametrize("name", ["nothing.toml", ".", "no/such/folder.toml"])
def test_a_file_that_is_not_there(tmp_path, name):
    assert "cannot be read" in refusal(tmp_path / name)


def test_what_is_right_comes_in_as_written(tmp_path):
    vehicle = sk.load_vehicle(UNIT7)
    raw = tomllib.loads(UNIT7.read_text())
    assert vehicle.name == raw["name"] == "Unit 7"
    # The file says 117 in, 850 lb/in and 447 lb; the factors are those of NIST SP 811.
    assert vehicle.wheelbase == pytest.approx(117 * 0.0254, rel=1e-12)
    assert vehicle.front.tyre.rate == pytest.approx(850 * 0.45359237 * 9.80665 / 0.0254, rel=1e-12)
    assert vehicle.scales.front_left == pytest.approx(447 * POUND, rel=1e-12)
    assert vehicle.front.shock.friction == pytest.approx(18 * POUND_FORCE, rel=1e-12)
    assert vehicle.front.shock.thread.collar_pitch == pytest.approx(INCH / 16, rel=1e-12)
    kit = vehicle.setups["kit"]
    assert kit.front_left == kit.front_right
    assert kit.front_left.gap == pytest.approx(INCH)
    assert vehicle.source == str(UNIT7)
    both = UNIT7.read_bytes() + (DATA / "springs.csv").read_bytes()
    assert vehicle.digest == hashlib.sha256(both).hexdigest()


def test_a_byte_order_mark_and_windows_line_ends_are_read(tmp_path):
    path = write_bad(tmp_path, "name =", "name =")
    for file in tmp_path.iterdir():
        file.write_bytes(b"\xef\xbb\xbf" + file.read_bytes().replace(b"\n", b"\r\n"))
    assert sk.load_vehicle(path).wheelbase == sk.example().wheelbase


def test_names_with_capitals_and_dots_stay_in_the_sentence(tmp_path):
    path = write_bad(tmp_path, "[items]\n", '[items]\n"Dog.2 [big]" = { mass = "-5 lb" }\n')
    assert "items.Dog.2 [big].mass is '-5 lb'" in refusal(path)


def test_an_unknown_load_or_set_up_in_python(unit7):
    with pytest.raises(ValueError, match="load is 'party'; expected a load .* patrol"):
        sk.settle(unit7, load="party")
    with pytest.raises(ValueError, match="name is 'unit8'.*did you mean 'unit7'"):
        sk.example("unit8")


# --- bounds, and what is no file of ours ----------------------------------------------------------

PRIVATE = b"root:hunter2,0:0\n[hunter2]\nhunter2 = 1\n"


@pytest.mark.parametrize("text", [PRIVATE, PRIVATE[17:], b"name,hunter2\n1,2\n", b"hunter2;x\n"])
def test_nothing_of_another_file_of_the_machine_is_quoted(tmp_path, text):
    """A file that names another as its rack or dyno table may come from a stranger."""
    private = tmp_path / "private"
    private.write_bytes(text)
    rack = write_bad(tmp_path / "rack", '"springs.csv"', f'"{private}"')
    table = f'[front.shock.damper]\ntable = "{private}"'
    dyno = write_bad(tmp_path / "dyno", "[front.shock.damper]", table)
    for call, path in (
        *((call, private) for call in (sk.load_vehicle, vehicle_file.load_rack)),
        *((call, private) for call in (vehicle_file.load_dyno, sk.Road.from_csv)),
        *((sk.load_vehicle, path) for path in (rack, dyno)),
    ):
        with pytest.raises(ValueError) as caught:
            call(path)
        said = str(caught.value)
        assert said.startswith(str(private)) and "expected" in said and "hunter2" not in said


def many(line, count):
    return "".join(line.format(i) for i in range(count))


LONG = {
    "names": (many("k{} = 1\n", 90_000) + UNIT7.read_text(), "expected at most 500"),
    "set-ups": (UNIT7.read_text() + many("[setups.s{}]\n", 5000), "setups has 5002 entries"),
    "items": (UNIT7.read_text() + many('[items.i{}]\nmass = "x"\nzz = 1\n', 9000), "items has"),
    "list": (UNIT7.read_text() + "[loads.x]\nitems = [\n" + '"a",\n' * 90_000 + "]\n",
             "loads.x.items has 90000 entries; expected at most 500"),
    "dots": (UNIT7.read_text() + "a." * 50_000 + "b = 1\n", "longer than 10000 letters"),
    "bytes": (UNIT7.read_text() + "# remark\n" * 200_000, "longer than 1 MB"),
}  # fmt: skip


@pytest.mark.parametrize(("text", "words"), LONG.values(), ids=LONG)
def test_a_vehicle_file_without_end_is_refused_at_once(tmp_path, text, words):
    path = write_bad(tmp_path, "name =", "name =")
    path.write_text(text)
    began = time.process_time()
    assert words in refusal(path)
    assert time.process_time() - began < 2


SPRING = "s{},100 lb/in,10 in,4 in\n"


@pytest.mark.parametrize(
    ("row", "count", "words"),
    [(SPRING, 100_000, "longer than 1 MB"), (SPRING, 2001, "more than 2000 rows")],
)
def test_a_rack_without_end_is_refused_at_once(tmp_path, row, count, words):
    path = write_bad(tmp_path, "name =", "name =")
    (tmp_path / "springs.csv").write_text("name,rate,free_length,solid_length\n" + many(row, count))
    began = time.process_time()
    assert words in refusal(path)
    assert time.process_time() - began < 2


# --- threads --------------------------------------------------------------------------------------


def problems(vehicle, axle, **changes):
    setup = vehicle.setup.change(axle, **changes)
    return thread_problems(sk.assemble(vehicle, setup, refuse_solid=False))


@pytest.mark.parametrize("axle", ["front", "rear"])
def test_the_collar_may_go_to_the_end_of_its_thread_and_no_further(unit7, axle):
    shock = unit7.axle_of(f"{axle}_left").shock
    corner = sk.assemble(unit7)[f"{axle}_left"]
    _, most = corner.turn_limits
    # Laid out again from the drawing: springs and divider fill what the collar leaves.
    room = shock.thread.seat_span - corner.contact_hang - shock.thread.collar_travel
    squeeze = sum(s.free_length for s in corner.stack.springs) + shock.divider_height - room
    assert most == pytest.approx(squeeze / shock.thread.collar_pitch, rel=1e-12)
    # With the ring left where it is, only the collar can be in the way.
    ring = corner.ring[0]
    slack = THREAD_SLACK / shock.thread.collar_pitch
    assert not [p for p in problems(unit7, axle, turns=most, ring=ring) if "turns" in p]
    beyond = problems(unit7, axle, turns=most + 2 * slack, ring=ring)
    assert len([p for p in beyond if f"{axle}_left.turns is" in p]) == 1


@pytest.mark.parametrize("axle", ["front", "rear"])
@pytest.mark.parametrize("end", [0, 1])
def test_the_ring_may_go_to_the_ends_of_its_thread_and_no_further(unit7, axle, end):
    corner = sk.assemble(unit7)[f"{axle}_left"]
    thread = corner.shock.thread
    limit = corner.gap_limits()[end]
    outward = 2 * THREAD_SLACK * (1 if end else -1)
    assert problems(unit7, axle, gap=limit) == ()
    if limit + outward < 0:
        return  # a gap of nothing is the end before the thread's
    beyond = problems(unit7, axle, gap=limit + outward)
    assert len([p for p in beyond if f"{axle}_left.gap is" in p]) == 1
    # The catching face is then at the lowest place, or right under the collar.
    setup = unit7.setup.change(axle, gap=limit)
    at_end = sk.assemble(unit7, setup, refuse_solid=False)[f"{axle}_left"]
    face = at_end.collar_at + thread.ring_height if end else thread.ring_lowest
    assert at_end.ring_at() == pytest.approx(face, abs=1e-9)


def test_of_a_batch_the_first_that_does_not_fit_is_told(unit7):
    found = problems(unit7, "front", turns=np.array([3.0, 90.0, 95.0]))
    assert "front_left.turns is 90;" in found[0]
    assert problems(unit7, "front", turns=np.array([3.0, 4.0])) == ()


def test_what_cannot_be_put_together_can_still_be_assembled(unit7):
    # A search looks past the ends of the thread; only files and sheets refuse.
    corners = sk.assemble(unit7, unit7.setup.change("front", gap=12 * INCH))
    assert thread_problems(corners)


# --- every field, every slip ----------------------------------------------------------------------

SLIPS = [
    "-3 in", "200 lb", "3 mi", "1e9 in", "nan in", "", float("nan"), float("inf"), -1, 0, 5, True,
    [], {}, "0 in", "1e-9 in", "200 lb/in", "x", ["a", "b"], {"a": 1}, "1e12 N", 1e300, None,
]  # fmt: skip


def places(tree, at=()):
    """Every place in a nested file, branches too."""
    pairs = tree.items() if isinstance(tree, dict) else enumerate(tree)
    for key, value in pairs:
        yield (*at, key)
        if isinstance(value, dict | list):
            yield from places(value, (*at, key))


def slipped(raw, at, slip):
    raw = copy.deepcopy(raw)
    branch = raw
    for key in at[:-1]:
        branch = branch[key]
    if slip is None:
        del branch[at[-1]]
    else:
        branch[at[-1]] = slip
    return raw


@pytest.mark.slow
def test_any_slip_in_any_field_is_refused_or_settles(monkeypatch):
    """Each field of the example takes its turn with a few slips; over all, every slip is tried."""
    raw = tomllib.loads(UNIT7.read_text())
    every = list(places(raw))
    assert len(every) > 250
    refused = 0
    for i, at in enumerate(every):
        for slip in (SLIPS[(i + step) % len(SLIPS)] for step in (0, 7, 14)):
            wrong = slipped(raw, at, slip)
            monkeypatch.setattr(vehicle_file, "parse_toml", lambda *_, w=wrong: copy.deepcopy(w))
            told = f"{at} = {slip!r}"
            try:
                vehicle = sk.load_vehicle(UNIT7)
            except sk.VehicleFileError as error:
                refused += 1
                assert "\n" not in str(error), told
                assert len(str(error)) < 500, told
            else:
                with warnings.catch_warnings():
                    warnings.simplefilter("error")
                    stance = sk.settle(vehicle, load=list(vehicle.loads) or None)
                assert np.all(stance.tipped | np.isfinite(stance.height).all(axis=0)), told
    assert refused > 500
