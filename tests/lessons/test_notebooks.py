"""The notebooks as stored: what comparing their outputs with a new run cannot see.

Their printed numbers are checked by running each of them, which pytest does with the notebooks
themselves. But a cell stored without count and outputs would pass that unchecked, and pictures are
never compared: hence these guards.
"""

import base64
import io
import json
import re
import tomllib

import numpy as np
import pytest
from PIL import Image

import suspkit as sk
from tests.tools.notebook_tools import NOTEBOOKS

PATHS = sorted(NOTEBOOKS.glob("*.ipynb"))
each = pytest.mark.parametrize("path", PATHS, ids=lambda path: path.stem)
LESSONS = [
    "00-start-here", "01-install", "02-preload", "03-stop-gap", "04-clickers", "05-on-the-road",
    "06-road-test", "07-roll-and-bar", "08-choose-springs", "09-what-if",
]  # fmt: skip
PANEL = "application/vnd.jupyter.widget-view+json"


def load(path):
    return json.loads(path.read_text(encoding="utf-8"))


def source(cell):
    return "".join(cell["source"])


def code(path):
    return [cell for cell in load(path)["cells"] if cell["cell_type"] == "code"]


def panels(path):
    """The outputs that are live panels."""
    return [o for c in code(path) for o in c["outputs"] if PANEL in o.get("data", {})]


def words(path):
    return "\n".join(source(c) for c in load(path)["cells"] if c["cell_type"] == "markdown")


def test_all_lessons_are_there():
    assert set(LESSONS) <= {path.stem for path in PATHS}


@each
def test_every_code_cell_was_run_in_order(path):
    counts = [cell["execution_count"] for cell in code(path)]
    assert counts == list(range(1, len(counts) + 1))
    assert not [source(c) for c in code(path) if not source(c).strip()], "an empty cell"


@each
def test_some_numbers_are_printed_and_checked(path):
    streams = [o for c in code(path) for o in c["outputs"] if o["output_type"] == "stream"]
    assert any(o["name"] == "stdout" and re.search(r"\d", "".join(o["text"])) for o in streams)
    assert all(o["name"] == "stdout" for o in streams), "a warning was stored"


@each
def test_no_error_is_stored(path):
    for cell in code(path):
        assert not [o for o in cell["outputs"] if o["output_type"] == "error"]
        stored = json.dumps(cell["outputs"])
        assert "Traceback" not in stored and "This cannot be shown" not in stored


@each
def test_no_cell_is_left_unchecked(path):
    """A tag would tell the runner to look away; nothing here needs one."""
    for cell in code(path):
        tags = cell["metadata"].get("tags", [])
        assert not [t for t in tags if t.startswith(("nbval", "skip", "raises"))], source(cell)
        assert not re.search(r"#\s*(NBVAL|PYTEST)", source(cell))


@each
def test_each_panel_is_stored_as_a_picture_with_its_words(path):
    found = panels(path)
    assert found or path.stem not in LESSONS
    for output in found:
        if "".join(output["data"]["text/plain"]).startswith("Exercise.\n"):
            assert_a_whole_question(output["data"])
            continue
        picture = "".join(output["data"]["image/png"])
        image = Image.open(io.BytesIO(base64.b64decode(picture)))
        assert image.format == "PNG" and image.width >= 700
        ink = np.asarray(image.convert("L"))
        assert 0.01 < (ink < 200).mean() < 0.5, "neither blank nor full"
        text = "".join(output["data"]["text/plain"])
        assert "0x" not in text
        assert re.search(r"\d.*\b(turns|travel|lbf|in)\b", text) and len(text) > 80, text


def assert_a_whole_question(data):
    """An exercise stands in for itself in words; only some kinds have a picture."""
    text = "".join(data["text/plain"])
    assert "?" in text and "\nWrite " in text and "0x" not in text
    assert ("image/png" in data) == ("\nPicture: " in text)
    if "image/png" in data:
        picture = base64.b64decode("".join(data["image/png"]))
        assert Image.open(io.BytesIO(picture)).width >= 700


@each
def test_a_panel_is_followed_by_numbers(path):
    """A picture is never compared; what the same code prints is."""
    cells = code(path)
    for i, cell in enumerate(cells):
        if any(PANEL in o.get("data", {}) for o in cell["outputs"]):
            after = [o for later in cells[i + 1 : i + 4] for o in later["outputs"]]
            assert any(o["output_type"] == "stream" for o in after), source(cell)


@each
def test_no_widget_state_is_stored(path):
    notebook = load(path)
    assert "widgets" not in notebook["metadata"]
    for cell in code(path):
        for output in cell["outputs"]:
            assert "application/vnd.jupyter.widget-state+json" not in output.get("data", {})
        assert "execution" not in cell["metadata"], "when it ran changes with every run"


@each
def test_kernel_is_any_python(path):
    notebook = load(path)
    assert (notebook["nbformat"], notebook["nbformat_minor"] >= 5) == (4, True)
    assert notebook["metadata"]["kernelspec"] == {
        "display_name": notebook["metadata"]["kernelspec"]["display_name"],
        "language": "python",
        "name": "python3",
    }
    assert notebook["metadata"]["kernelspec"]["display_name"].startswith("Python 3")
    assert notebook["metadata"].get("language_info", {"name": "python"}) == {"name": "python"}


@each
def test_cell_ids_are_there_once(path):
    ids = [cell["id"] for cell in load(path)["cells"]]
    assert len(set(ids)) == len(ids)


@each
def test_no_path_of_a_machine(path):
    text = path.read_text(encoding="utf-8")
    pictures = re.sub(r'"image/png": "[^"]*"', "", text)
    for pattern in (r"/(home|root|tmp|work|Users|usr|opt|var)/", r"[A-Z]:\\\\", r"file://",
                    r"localhost|127\.0\.0\.1", r"ipykernel_\d+", r"site-packages"):  # fmt: skip
        assert not re.search(pattern, pictures), re.search(pattern, pictures)


@each
def test_works_where_the_network_is_closed(path):
    """Nothing is fetched to show or run a page: no picture, script or package from elsewhere."""
    for cell in load(path)["cells"]:
        text = source(cell)
        assert not re.search(r"(!\[[^\]]*\]\(|src=[\"']?)https?:", text), text
        if cell["cell_type"] == "code":
            assert not re.search(r"https?://|^\s*[%!]", text, flags=re.MULTILINE), text


@each
def test_cells_are_short(path):
    for cell in code(path):
        assert source(cell).count("\n") < 15, source(cell)
        assert all(len(line) <= 100 for line in source(cell).splitlines()), source(cell)


@each
def test_no_program_in_a_notebook(path):
    for cell in code(path):
        assert not re.search(r"^\s*(class |except\s*:|global )", source(cell), flags=re.MULTILINE)


@each
def test_begins_with_an_objective(path):
    first = load(path)["cells"][0]
    assert first["cell_type"] == "markdown" and source(first).startswith("# ")
    assert "**You will be able to**" in source(first)


@pytest.mark.parametrize("name", LESSONS)
def test_a_lesson_is_whole(name):
    """Predict, move one control, say why, check yourself; and cautions before any wrench."""
    text = words(NOTEBOOKS / f"{name}.ipynb")
    assert re.search(r"\*\*Predict[:.]?\*\*", text)
    assert re.search(r"\*\*(Move|Press) ", text), "one named control to move"
    assert "## Check yourself" in text and "<details><summary>Answers</summary>" in text
    assert text.count("<details>") == text.count("</details>") >= 2
    first = source(load(NOTEBOOKS / f"{name}.ipynb")["cells"][0])
    assert re.search(r"\*\*(Before any wrench|Cautions)", first)


@each
def test_named_controls_exist(path):
    """A lesson that says "move `front turns`" means a control of that name."""
    from suspkit.panels.live import Panel

    known = {name.replace("_", " ").replace("gap", "stop gap") for name in Panel.SHOWN["start"]}
    known |= {"set-up", "gap re-set by tape", "ring left alone", "US units", "metric"}
    known |= {"front axle", "rear axle"}
    from suspkit.panels.drive import ClickerPanel, RoadPanel

    unit7 = sk.example("unit7")
    for panel in (ClickerPanel(unit7), RoadPanel(unit7)):
        known |= {name.replace("_", " ") for name in panel.controls}
        known |= {control.description for control in panel.controls.values()}
    known |= {label for label, _ in panel.controls["moving"].options}
    known |= {c.description for c in sk.study_panels.road_test(unit7).controls.values()}
    known |= set(sk.study_panels.KitPanel.WORDS.values())
    for study in (sk.study_panels.what_if(unit7), sk.study_panels.spread(unit7, count=50)):
        known |= {c.description for c in study.controls.values()}
    roll = sk.study_panels.roll(unit7).controls
    known |= {control.description for control in roll.values()}
    known |= {label for label, _ in roll["front_bar"].options}
    for name in re.findall(r"\*\*(?:Move|Press) `([^`]+)`", words(path)):
        assert name in known, name


@each
def test_names_another_lesson_only_if_it_is_there(path):
    for name in re.findall(r"`(\d\d-[a-z-]+)`", words(path)):
        assert (NOTEBOOKS / f"{name}.ipynb").is_file(), name


@each
def test_pictures_are_light_enough_to_keep(path):
    assert path.stat().st_size < 600_000


def test_the_test_command_runs_them_strictly():
    """Every printed number is compared; the lax way passes a wrong one."""
    project = tomllib.loads((NOTEBOOKS.parent / "pyproject.toml").read_text(encoding="utf-8"))
    options = project["tool"]["pytest"]["ini_options"]
    assert "notebooks" in options["testpaths"]
    assert "--nbval" in options["addopts"] and "--nbval-lax" not in options["addopts"]


SITTING = re.compile(r"\*\*Sitting (\d) of (\d), (\d+) minutes.* You can then (.*)")
READS, MOVES, CHECKS, PREDICTS = 150.0, 2.0, 0.5, 1.0
"""Words a minute, and minutes for a panel, a cell's numbers, a prediction: common practice, no
source, and not timed on trainees."""


def sections(path):
    """Each heading's text with the minutes it takes at that pace."""
    found = []
    for cell in load(path)["cells"]:
        if cell["cell_type"] == "code":
            live = any(PANEL in output.get("data", {}) for output in cell["outputs"])
            found[-1][1] += MOVES if live else CHECKS
            continue
        for text in filter(None, re.split(r"(?m)^(?=##? )", source(cell))):
            if re.match("##? ", text):
                found.append([text, 0.0])
            found[-1][1] += len(text.split()) / READS + PREDICTS * text.count("**Predict")
    return found


def sittings(path):
    """What is said of each sitting, with the minutes it takes: the first has the opening too."""
    said, taken = [], [0.0]
    for text, minutes in sections(path):
        if told := SITTING.search(text):
            said.append(told.groups())
            if len(said) > 1:
                taken.append(0.0)
        taken[-1] += minutes
    return list(zip(said, taken, strict=True))


@pytest.mark.parametrize("path", [p for p in PATHS if p.stem in LESSONS[1:]], ids=lambda p: p.stem)
def test_a_sitting_takes_the_minutes_it_says(path):
    found = sittings(path)
    words_for = {2: "two", 3: "three", 4: "four"}[len(found)]
    assert f"**Time:** {words_for} sittings of 10 to 15 minutes" in words(path)
    for number, ((told, total, minutes, _), taken) in enumerate(found, start=1):
        assert (int(told), int(total)) == (number, len(found))
        assert abs(taken - int(minutes)) < 1 and 7.5 < taken < 15, (number, taken)


def test_the_course_lists_every_sitting_as_the_lessons_tell_it():
    course = words(NOTEBOOKS / "10-exercises.ipynb")
    rows = re.findall(r"\| `([\w-]+)`(?:, (\d) of (\d))? \| (\d+) \| (.*?) \|", course)
    told = [
        (path.stem, *numbers)
        for path in PATHS
        if path.stem in LESSONS[1:]
        for numbers, _ in sittings(path)
    ]
    assert rows[1:] == told and rows[0][0] == LESSONS[0]


def test_every_kind_of_exercise_has_its_place_in_the_course():
    course = words(NOTEBOOKS / "10-exercises.ipynb")
    steps = re.findall(r"(?m)^## Step (\d): (.*)$", course)
    assert len(steps) == len(sk.exercises.KINDS)
    for number, name in steps:
        assert f"| {number}: {name} |" in course
