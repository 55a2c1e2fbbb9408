"""The pages say what is so: reference as made, examples that load, snippets that run, links."""

import doctest
import re
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest

import suspkit as sk
from suspkit.vehicle.file import SCHEMA

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
PAGES = [*sorted(DOCS.glob("*.md")), ROOT / "README.md", ROOT / "DEVELOPERS.md"]
WRITTEN = ["vehicle-file", "how-it-works", "safety", "how-it-is-tested", "glossary"]
VEHICLE_FILE = (DOCS / "vehicle-file.md").read_text(encoding="utf-8")

sys.path.insert(0, str(DOCS))
import make_reference  # noqa: E402

each_page = pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)


def blocks(text, language):
    return re.findall(rf"^```{language}\n(.*?)^```", text, re.MULTILINE | re.DOTALL)


TOML = blocks(VEHICLE_FILE, "toml")
(COMPLETE,) = [block for block in TOML if re.search(r"^wheelbase\b", block, re.MULTILINE)]
PARTS = [block for block in TOML if block != COMPLETE]


def test_the_pages_are_there():
    assert {page.stem for page in DOCS.glob("*.md")} >= set(WRITTEN)


# ---------------------------------------------------------------- the reference


def test_the_reference_is_as_made_now():
    assert make_reference.renew(VEHICLE_FILE) == VEHICLE_FILE, "run python docs/make_reference.py"


def test_the_reference_names_every_table_of_the_schema_and_every_field_is_described():
    kinds = {kind for _, kind in make_reference.tables()}
    assert kinds == set(SCHEMA)
    rows = re.findall(r"^\| `(\w+)` \| (.*?) ?\|", make_reference.make(), re.MULTILINE)
    assert len(rows) > 100
    assert [name for name, what in rows if not what] == []


def test_the_reference_tells_limits_and_defaults_as_the_loader_has_them():
    made = make_reference.make()
    row = next(line for line in made.splitlines() if line.startswith("| `fill_temperature`"))
    # 200 K, 450 K and 293.15 K in the other two scales.
    for words in ("-99.7 °F (-73.1", "350 °F (177 °C)", "68 °F (20 °C)"):
        assert words in row
    row = next(line for line in made.splitlines() if line.startswith("| `wheelbase`"))
    assert "11.8 in (300 mm)" in row and "**required**" in row
    assert "| `noise` | What the tape can resolve | a length | 0.0625 in (1.5875 mm) |" in made


# ---------------------------------------------------------------- examples


def merged(one, other):
    if isinstance(one, dict) and isinstance(other, dict):
        return one | {k: merged(one[k], v) if k in one else v for k, v in other.items()}
    return other


def as_toml(value):
    """Enough TOML to write a vehicle file again."""
    if isinstance(value, dict):
        return "{" + ", ".join(f'"{k}" = {as_toml(v)}' for k, v in value.items()) + "}"
    if isinstance(value, list):
        return f"[{', '.join(map(as_toml, value))}]"
    return {True: "true", False: "false"}.get(value) if isinstance(value, bool) else (
        f'"{value}"' if isinstance(value, str) else repr(value)
    )  # fmt: skip


def load(tmp_path, raw, rack=None):
    path = tmp_path / "vehicle.toml"
    path.write_text("\n".join(f"{k} = {as_toml(v)}" for k, v in raw.items()), encoding="utf-8")
    if rack:
        (tmp_path / raw["rack"]).write_text(rack, encoding="utf-8")
    return sk.load_vehicle(path)


def test_the_complete_example_loads_as_printed_and_settles(tmp_path):
    path = tmp_path / "small.toml"
    path.write_text(COMPLETE, encoding="utf-8")
    stance = sk.settle(sk.load_vehicle(path))
    assert not stance.on_stop.any() and not stance.lifted.any() and not stance.tipped
    assert np.ptp(stance.height) < 0.05  # stands nearly level


def test_the_complete_example_needs_all_it_has(tmp_path):
    raw = tomllib.loads(COMPLETE)
    for name in raw:
        with pytest.raises(sk.VehicleFileError):
            load(tmp_path, {k: v for k, v in raw.items() if k != name})


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.split("\n")[0])
def test_every_other_example_may_be_added_to_it(tmp_path, part):
    part = tomllib.loads(part)
    vehicle = load(tmp_path, merged(tomllib.loads(COMPLETE), part))
    for name in part.get("setups", {}):
        assert sk.settle(vehicle, vehicle.setups[name]).residual < 1e-9


def test_the_rack_example_is_a_rack(tmp_path):
    (rack,) = blocks(VEHICLE_FILE, "csv")
    raw = tomllib.loads(COMPLETE) | {"rack": "springs.csv"}
    vehicle = load(tmp_path, raw, rack)
    # Both the rack's springs and the file's own.
    assert {"tender-250", "main-320", "short-200"} <= set(vehicle.springs)
    assert vehicle.springs["main-320"].wire is None


# ---------------------------------------------------------------- links and snippets


def anchors(page):
    headings = re.findall(r"^#+ (.*)$", page.read_text(encoding="utf-8"), re.MULTILINE)
    return {re.sub(r"[^\w -]", "", h.lower()).replace(" ", "-") for h in headings}


@each_page
def test_links_lead_somewhere(page):
    text = re.sub(r"^```.*?^```", "", page.read_text(encoding="utf-8"), flags=re.M | re.S)
    lost = []
    for target in re.findall(r"\]\(([^)\s]+)\)", text):
        if re.match(r"[a-z]+:", target):
            continue
        place, _, anchor = target.partition("#")
        there = (page.parent / place).resolve() if place else page
        if not there.exists() or (anchor and anchor not in anchors(there)):
            lost.append(target)
    assert lost == []


@each_page
def test_snippets_give_what_they_say(page):
    text = page.read_text(encoding="utf-8")
    # A closing fence would be read as expected output.
    text = re.sub(r"^```.*$", "", text, flags=re.MULTILINE)
    test = doctest.DocTestParser().get_doctest(text, {}, page.name, str(page), 0)
    said = []
    doctest.DocTestRunner(verbose=False).run(test, out=said.append)
    assert "".join(said) == ""


@pytest.mark.parametrize(
    ("page", "block"),
    [(p.name, b) for p in PAGES for b in blocks(p.read_text(encoding="utf-8"), "python")],
    ids=lambda value: value if value.endswith(".md") else value.split("\n")[0],
)
def test_python_without_prompts_runs(page, block, capsys):
    if ">>>" not in block:
        exec(compile(block, page, "exec"), {})


@each_page
def test_vehicle_names_of_the_tests_named_exist(page):
    """A page that names a test or a file of ours names one that is there."""
    text = page.read_text(encoding="utf-8")
    tests = "\n".join(p.read_text(encoding="utf-8") for p in (ROOT / "tests").glob("**/*.py"))
    missing = [
        name
        for name in re.findall(r"`(test_\w+)`", text)
        if f"def {name}(" not in tests and not list((ROOT / "tests").rglob(f"{name}.py"))
    ]
    assert missing == []
