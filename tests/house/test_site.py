"""The site as built: whole, true to notebooks and docstrings, for everyone, without a network."""

import doctest
import importlib
import json
import pkgutil
import re
import subprocess
import sys
from pathlib import Path

import pytest
from bs4 import BeautifulSoup

import suspkit

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
NOTEBOOKS = sorted((ROOT / "notebooks").glob("[0-9]*.ipynb"))
THEORY = sorted(path for path in (DOCS / "theory").glob("*.md") if path.stem != "index")
MODULES = [found.name for found in pkgutil.walk_packages(suspkit.__path__, "suspkit.")]

pytestmark = pytest.mark.slow

each_chapter = pytest.mark.parametrize("chapter", THEORY, ids=lambda path: path.stem)
each_lesson = pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """Folder of the site, and what building it said."""
    out = tmp_path_factory.mktemp("site") / "html"
    command = [sys.executable, "-m", "sphinx", "-W", "--keep-going", "-q", "-b", "html"]
    done = subprocess.run([*command, DOCS, out], capture_output=True, text=True, timeout=300)
    return out, done


@pytest.fixture(scope="module")
def pages(built):
    """Every page of the site, by its path."""
    out, _ = built
    return {
        path.relative_to(out).as_posix(): BeautifulSoup(path.read_text("utf-8"), "html.parser")
        for path in sorted(out.rglob("*.html"))
    }


def test_it_is_built_without_a_warning(built):
    _, done = built
    assert (done.returncode, done.stdout + done.stderr) == (0, "")


# ---------------------------------------------------------------- lessons


@each_lesson
def test_a_lesson_is_a_page_with_all_it_printed(pages, path):
    page = pages[f"lessons/{path.stem}.html"]
    text = page.find("article").get_text()
    pictures = 0
    for cell in json.loads(path.read_text("utf-8"))["cells"]:
        for output in cell.get("outputs", []):
            for line in "".join(output.get("text", "")).splitlines():
                assert line in text
            pictures += "image/png" in output.get("data", {})
    assert len(page.find("article").find_all("img")) == pictures


def test_the_course_lists_the_lessons_in_order(pages):
    rows = pages["lessons/index.html"].find("table").find("tbody").find_all("tr")
    cells = [[cell.get_text() for cell in row.find_all("td")] for row in rows]
    assert [row.find("a")["href"] for row in rows] == [f"{p.stem}.html" for p in NOTEBOOKS]
    for _, aim, minutes in cells:
        assert len(aim) > 30 and re.match(r"\d+", minutes), (aim, minutes)


# ---------------------------------------------------------------- links


def test_local_links_lead_to_a_place_on_a_page(built, pages):
    out, _ = built
    ids = {name: {tag["id"] for tag in page.find_all(id=True)} for name, page in pages.items()}
    lost = []
    for name, page in pages.items():
        for tag in page.find_all(["a", "link"], href=True) + page.find_all(src=True):
            target = tag.get("href") or tag.get("src")
            if re.match(r"[a-z]+:", target) or target == "#":
                continue
            place, _, anchor = target.partition("#")
            there = (out / name).parent / place.partition("?")[0] if place else out / name
            found = there.resolve().relative_to(out.resolve()).as_posix() if there.exists() else ""
            if not found or (anchor and anchor not in ids.get(found, {anchor})):
                lost.append((name, target))
    assert lost == []


def test_nothing_is_loaded_from_another_host(built, pages):
    """A page may point elsewhere, but shows itself where the network is closed."""
    out, _ = built
    elsewhere = re.compile(r"^\s*(https?:)?//")
    asked = []
    for name, page in pages.items():
        for tag in page.find_all(["script", "img", "iframe", "source", "link", "object", "video"]):
            for key in ("src", "href", "srcset", "data", "poster"):
                if elsewhere.match(tag.get(key, "")):
                    asked.append((name, str(tag)[:80]))
        styles = " ".join(str(tag) for tag in page.find_all("style"))
        asked += [(name, url) for url in re.findall(r"url\(['\"]?(https?:|//)[^)]*", styles)]
    for path in out.rglob("*.css"):
        text = path.read_text("utf-8")
        asked += [(path.name, url) for url in re.findall(r"url\(['\"]?(?:https?:)?//[^)]*", text)]
        asked += [(path.name, rule) for rule in re.findall(r"@import[^;]*", text) if "//" in rule]
    assert asked == []
    assert len(pages) > 50


# ---------------------------------------------------------------- API


@pytest.mark.parametrize("name", suspkit.__all__)
def test_a_public_name_has_its_place_in_the_api(pages, name):
    home = suspkit._HOMES.get(name) or suspkit._MODULES[name]
    page = pages[f"api/{home}.html"]
    here = f"suspkit.{home}.{name}" if name in suspkit._HOMES else f"module-suspkit.{home}"
    assert page.find(id=here)


def test_units_reach_the_page(pages):
    text = pages["api/statics.settle.html"].find("article").get_text()
    assert "Steady acceleration to the left, as in a left-hand turn [m/s^2]" in text
    assert re.search(r"shock_force,\W?wheel_force,\W?tyre_load \(array, shape \(4, ...\)\)", text)


@pytest.mark.parametrize("module", MODULES)
def test_examples_in_docstrings_give_what_they_say(module):
    said = []
    runner = doctest.DocTestRunner(verbose=False)
    for test in doctest.DocTestFinder(exclude_empty=True).find(importlib.import_module(module)):
        runner.run(test, out=said.append)
    assert "".join(said) == ""


# ---------------------------------------------------------------- theory


@each_chapter
def test_a_chapter_says_how_far_it_holds_who_says_so_and_where_we_differ(chapter):
    parts = re.split(r"^## (.*)$", chapter.read_text("utf-8"), flags=re.MULTILINE)
    named = dict(zip(parts[1::2], parts[2::2], strict=True))
    assert {"How far it holds", "Sources", "Where we differ"} <= set(named)
    assert "```" in "".join(parts)  # a formula, or the list that stands for it
    # A title, or a standard by its number.
    assert re.search(r"\*[A-Z][^*]{8,}\*|\b(ISO|SAE|JCGM) [J\d]+", named["Sources"])


@each_chapter
def test_examples_of_a_chapter_give_what_they_say(chapter):
    text = re.sub(r"^```.*$", "", chapter.read_text("utf-8"), flags=re.MULTILINE)
    test = doctest.DocTestParser().get_doctest(text, {}, chapter.name, str(chapter), 0)
    said = []
    doctest.DocTestRunner(verbose=False).run(test, out=said.append)
    assert "".join(said) == ""


def test_every_chapter_is_in_the_table_and_names_modules_and_lessons_that_are_there():
    table = (DOCS / "theory" / "index.md").read_text("utf-8")
    for path in THEORY:
        assert f"({path.name})" in table
        text = path.read_text("utf-8")
        named = set(re.findall(r"`(suspkit\.[\w.]+)`", text))
        named -= {name for name in named if name.rpartition(".")[0] in MODULES}
        assert named <= {*MODULES, "suspkit.settle"}
        assert set(re.findall(r"`(\d\d-[\w-]+)`", text)) <= {p.stem for p in NOTEBOOKS}


# ---------------------------------------------------------------- measuring


def test_measuring_names_fields_of_the_file_and_all_that_must_be_there():
    reference = (DOCS / "vehicle-file.md").read_text("utf-8").partition("## Reference")[2]
    known, required = set(), set()
    for heading, rows in re.findall(r"^### (.*)\n((?:.*\n)*?)(?=### |<!--)", reference, re.M):
        tables = re.findall(r"`\[([\w.]+)\]`", heading)
        for field, kind, need in re.findall(r"^\| `(\w+)` \|.*\| (.*) \| (.*) \|.*\|$", rows, re.M):
            names = {f"{table}.{field}" for table in tables} or {field}
            known |= names
            if need == "**required**" and "table" not in kind:
                required |= names
    page = (DOCS / "measure-a-vehicle.md").read_text("utf-8")
    named = set(re.findall(r"`((?:\w+\.)+\w+)`", page))
    assert named - known == set()
    # What a vehicle has but for its dampers, and not by points instead of a table.
    wanted = ("front.point", "front.tyre", "front.shock.thread", "front.linkage", "scales")
    wanted += ("front.shock.gas", "front.shock.top_out", "front.shock.bump_stop", "front.bar")
    wanted += ("front.shock", "front", "springs.NAME", "items.NAME")
    must = {name for name in required if name.rpartition(".")[0] in wanted}
    assert len(must) > 30
    assert must - named == set()


# ---------------------------------------------------------------- for everyone


def test_pages_say_their_language_and_pictures_what_they_show(pages):
    for name, page in pages.items():
        assert page.html["lang"] == "en", name
        for picture in page.find("article").find_all("img"):
            assert len(picture.get("alt", "")) > 40, (name, picture["src"])


def test_headings_are_in_order(pages):
    for name, page in pages.items():
        if name == "search.html":  # a script writes it
            continue
        levels = [int(tag.name[1]) for tag in page.find("article").find_all(re.compile("h[1-6]"))]
        assert levels[:1] == [1] and levels.count(1) == 1, (name, levels)
        steps = zip(levels, levels[1:], strict=False)
        assert all(after <= before + 1 for before, after in steps), (name, levels)


@pytest.mark.browser
def test_no_serious_barrier_and_no_call_to_another_host(built, chromium):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    from playwright.sync_api import sync_playwright

    out, _ = built
    asked, serious = [], []
    with sync_playwright() as playwright:
        options = ["--no-sandbox", "--disable-gpu"]
        browser = playwright.chromium.launch(executable_path=chromium, args=options)
        page = browser.new_page(viewport={"width": 1366, "height": 768})
        page.on("request", lambda request: asked.append(request.url))
        for name in ("index", "lessons/02-preload", "api/statics.settle", "theory/stack"):
            page.goto((out / f"{name}.html").as_uri(), wait_until="load")
            for found in axe.Axe().run(page).response["violations"]:
                if found["impact"] in ("serious", "critical"):
                    places = [node["html"] for node in found["nodes"]]
                    serious.append((name, found["id"], places[:3]))
        browser.close()
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    assert serious == []
