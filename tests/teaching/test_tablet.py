"""Lessons and a live set-up as pages for a tablet: shut to strangers, no code, a finger's width.

One server serves all of it from a folder that cannot be written to. What a page shows after a
control was moved is compared with a second panel in the test, as in `test_browser.py`.
"""

import contextlib
import json
import os
import re
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import nbformat
import pytest

import suspkit as sk
from suspkit.shop import article
from suspkit.teaching import tablet
from tests.browser.test_browser import (
    BROKEN,
    KIND_OF,
    RANGES,
    OnPage,
    assert_named,
    assert_usable_by_all,
    move_every_control,
)
from tests.tools import lab
from tests.tools.twins import IN_A_BROWSER, LESSONS, panels

pytestmark = [
    # Playwright's own loop closes a socket late.
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
]

FINGER = 44
"""Least width and height of what a finger has to hit [px]; WCAG 2.1, criterion 2.5.5."""

PATIENCE = 300_000
"""For a page to come on a machine that is busy with other tests [ms]."""

FOR_A_FINGER = "a, button, select, summary, input, .noUi-handle, .noUi-base"


# --- without a browser ----------------------------------------------------------------------------


def test_a_token_is_new_each_time_and_can_be_typed():
    made = {tablet.token() for _ in range(50)}
    assert len(made) == 50
    # 31 letters in 16 places: 79 bits.
    assert all(re.fullmatch(r"([a-hjkmnp-z2-9]{4}-){3}[a-hjkmnp-z2-9]{4}", one) for one in made)


def test_settings_are_ones_the_server_knows():
    """A setting that a newer Voilà calls otherwise would be dropped without a word."""
    pytest.importorskip("voila")
    from jupyter_server.services.kernels.kernelmanager import MappingKernelManager
    from voila.app import Voila
    from voila.configuration import VoilaConfiguration
    from voila.execute import VoilaExecutor

    told = tablet.settings(Path("x"), {}, ip="127.0.0.1", port=1, token="t")
    classes = (Voila, VoilaConfiguration, VoilaExecutor, MappingKernelManager)
    for kind in classes:
        assert set(told[kind.__name__]) <= set(kind.class_trait_names(config=True))
    assert set(told) == {kind.__name__ for kind in classes}
    assert told["VoilaConfiguration"]["strip_sources"] is True
    assert told["VoilaConfiguration"]["show_tracebacks"] is False
    # Left alone by all tablets, a kernel is stopped; with one on it, never.
    assert told["MappingKernelManager"]["cull_idle_timeout"] == tablet.IDLE > 0
    assert MappingKernelManager.cull_connected.default_value is False


@pytest.fixture
def would_run(monkeypatch):
    """What would be served, without serving it."""
    told = []
    monkeypatch.setattr(tablet, "_run", told.append)
    return told


def test_this_machine_alone_unless_told_otherwise(would_run, capsys):
    tablet.serve(lab.ROOT)
    at = re.fullmatch(
        r"Lessons: http://127\.0\.0\.1:(\d+)/\?token=(\S+)\nStop with Ctrl-C.\n",
        capsys.readouterr().out,
    )
    told = would_run[0]["Voila"]
    assert (told["ip"], told["port"], told["token"]) == ("127.0.0.1", int(at[1]), at[2])


def test_open_to_the_network_only_with_a_caution(would_run, capsys):
    tablet.serve(lab.ROOT, ip="0.0.0.0")
    caution, address, _ = capsys.readouterr().out.splitlines()
    assert caution.startswith("CAUTION: ") and "network" in caution
    assert f"http://{socket.gethostname()}:" in address and "?token=" in address
    assert would_run[0]["Voila"]["token"] and would_run[0]["Voila"]["ip"] == "0.0.0.0"


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"ip": "shop"}, r"--ip is 'shop'; expected .* in numbers"),
        ({"ip": ""}, r"--ip is ''; expected"),
        ({"ip": "192.0.2.1"}, r"--ip is 192\.0\.2\.1, which is not this machine's"),
        ({"port": 0}, r"--port is 0; expected a number from 1 to 65535"),
        ({"port": 70000}, r"--port is 70000; expected"),
        ({"vehicle": "none.toml"}, r"none\.toml: cannot be read"),
    ],
)
def test_one_sentence_for_what_cannot_be_served(would_run, options, words):
    with pytest.raises((ValueError, OSError), match=words):
        tablet.serve(lab.ROOT, **options)
    assert not would_run


def test_a_port_that_is_taken(would_run):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(ValueError, match=rf"--port is {port}: .*; expected one that is free"):
            tablet.serve(lab.ROOT, port=port)


def test_pages_are_a_copy_with_titles_and_a_set_up_of_ones_own(tmp_path):
    titles = tablet.pages(lab.ROOT, tmp_path, vehicle=lab.ROOT / "data" / "unit7.toml")
    assert next(iter(titles)) == "set-up.ipynb"
    assert titles["02-preload.ipynb"] == "Preload: collar turns and ride height"
    stored = json.loads((tmp_path / "notebooks" / "02-preload.ipynb").read_text(encoding="utf-8"))
    assert stored["metadata"]["title"] == titles["02-preload.ipynb"]
    own = nbformat.read(tmp_path / "notebooks" / "set-up.ipynb", as_version=4)
    assert f"load_vehicle({str(lab.ROOT / 'data' / 'unit7.toml')!r})" in own.cells[1].source
    assert set(titles) == {path.name for path in (tmp_path / "notebooks").glob("*.ipynb")}


@pytest.mark.parametrize("text", ["", "[]", '{"cells": [], "worksheets": []}'])
def test_a_file_that_is_no_notebook_is_named(tmp_path, text):
    (tmp_path / "notebooks").mkdir()
    (tmp_path / "notebooks" / "mine.ipynb").write_text(text)
    with pytest.raises(ValueError, match="^mine.ipynb is not a notebook; expected one"):
        tablet.pages(lab.ROOT, tmp_path)


# --- served ---------------------------------------------------------------------------------------


class Served:
    """The address of running pages, and what a stranger or a friend gets from it."""

    def __init__(self, address, process):
        self.base, self.token = address.split("/?token=")
        self.process = process

    def get(self, path, *, token=None, method=None):
        """Status, address at the end and text of an answer."""
        headers = {"Authorization": f"token {token}"} if token else {}
        asked = urllib.request.Request(self.base + path, headers=headers, method=method)
        try:
            with urllib.request.urlopen(asked, timeout=60) as answer:
                return answer.status, answer.url, answer.read().decode()
        except urllib.error.HTTPError as error:
            with error:
                return error.code, error.url, error.read().decode()

    def kernel(self, page):
        """Which kernel a page has."""
        return json.loads(page.locator("#jupyter-config-data").text_content())["kernelId"]

    def gone(self, kernel, seconds=30):
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if self.get(f"/api/kernels/{kernel}", token=self.token)[0] == 404:
                return True
            time.sleep(0.2)
        return False


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    pytest.importorskip("voila")
    place = tmp_path_factory.mktemp("tablet")
    home = place / "read-only"
    (home / "notebooks").mkdir(parents=True)
    for name in LESSONS:
        shutil.copy(lab.ROOT / "notebooks" / f"{name}.ipynb", home / "notebooks")
    cells = [
        nbformat.v4.new_markdown_cell("# A page that fails"),
        nbformat.v4.new_code_cell("secret = 'not for strangers'\n1 / 0"),
    ]
    broken = nbformat.v4.new_notebook(cells=cells)
    nbformat.write(broken, home / "notebooks" / "broken.ipynb")
    folders = [home, home / "notebooks"]
    for path in folders:
        path.chmod(0o555)
    environment = os.environ | {"IPYTHONDIR": str(place / "ipython"), "HOME": str(place)}
    environment["PYTHONPATH"] = os.pathsep.join(
        filter(None, [str(lab.ROOT), os.getenv("PYTHONPATH")])
    )
    with socket.socket() as free:  # of its own: other tests look for the first free one
        free.bind(("127.0.0.1", 0))
        port = str(free.getsockname()[1])
    with (place / "log").open("w") as out:
        process = subprocess.Popen(
            [sys.executable, "-m", "suspkit.cli", "tablet", "--folder", home, "--port", port],
            cwd=place, env=environment, stdin=subprocess.DEVNULL, stdout=out, stderr=out,
        )  # fmt: skip
    try:
        yield Served(_address(place / "log", process), process)
    finally:
        process.terminate()
        process.wait(timeout=60)
        for path in folders:
            path.chmod(0o755)
    # Nothing was written beside the lessons, and the copy is gone with the server.
    assert sorted(os.listdir(home)) == ["notebooks"]
    assert len(os.listdir(home / "notebooks")) == len(LESSONS) + 1
    assert process.returncode == 0


def _address(log, process, seconds=90):
    end = time.monotonic() + seconds
    while time.monotonic() < end and process.poll() is None:
        found = re.search(r"http://\S+\?token=\S+", log.read_text())
        if found:
            with contextlib.suppress(OSError):
                urllib.request.urlopen(found[0], timeout=5).close()
                return found[0]
        time.sleep(0.2)
    raise RuntimeError(f"no pages: {log.read_text()[-2000:]}")


@pytest.fixture(scope="module")
def browser():
    """A tablet held upright; notes every request and every complaint."""
    with lab.browser_page(width=768, height=1024, has_touch=True) as page:
        page.asked, page.problems = [], []
        page.on("request", lambda request: page.asked.append(request.url))
        page.on("pageerror", lambda error: page.problems.append(str(error)))
        page.on("console", lambda m: page.problems.append(m.text) if m.type == "error" else None)
        page.set_default_timeout(60_000)
        yield page


def open_page(browser, served, name, shows="img.widget-image"):
    browser.goto(f"{served.base}/voila/render/{name}.ipynb?token={served.token}", timeout=PATIENCE)
    browser.wait_for_selector(shows, timeout=PATIENCE)


def test_a_stranger_gets_nothing(served):
    for path in ("/", "/voila/render/02-preload.ipynb", "/voila/tree", "/?token=wrong"):
        status, url, text = served.get(path)
        assert "/login?next=" in url and status == 200, path
        assert "Preload" not in text
    for path in ("/voila/api/contents", "/api/kernels/00000000-0000-0000-0000-000000000000"):
        assert served.get(path)[0] in (401, 403)
        assert served.get(path, token="wrong")[0] in (401, 403)
    assert "Preload: collar turns" in served.get("/", token=served.token)[2]


def test_it_listens_to_this_machine_alone(served):
    assert lab.listens_at(served.process) == {"127.0.0.1"}


def test_a_page_that_fails_says_so_without_code_or_traceback(served):
    # Asking for another look must not bring one that fetches things from elsewhere.
    _, _, text = served.get("/voila/render/broken.ipynb?template=lab", token=served.token)
    assert "A page that fails" in text
    assert "There was an error" in text and "says what went wrong" in text
    for told in ("secret", "strangers", "ZeroDivisionError", "Traceback", "1 / 0", 'src="http'):
        assert told not in text
    assert not re.search(r"""(href|src)=["'](https?:)?//""", text)


def test_a_page_that_is_not_there(served):
    status, _, text = served.get("/voila/render/nothing.ipynb", token=served.token)
    assert status == 404 and "All lessons" in text and "Traceback" not in text
    assert not re.search(r"""(href|src)=["'](https?:)?//""", text)


@pytest.mark.browser
def test_the_list_leads_to_the_lessons(served, browser):
    browser.goto(f"{served.base}/?token={served.token}")
    assert browser.locator("h1").inner_text() == "Set-up and lessons"
    links = browser.locator(".contents a").all_inner_texts()
    assert links[0].startswith("The set-up, live") and len(links) == len(LESSONS) + 2
    assert any("Preload: collar turns and ride height" in link for link in links)
    assert_fits_a_finger(browser)
    assert_usable_by_all(browser)


@pytest.fixture(scope="module", params=IN_A_BROWSER)
def panel(request, served, browser, tmp_path_factory):
    """The first panel of a lesson, opened once; its twin here keeps step."""
    twin = panels(request.param, tmp_path_factory.mktemp("twin"))[0]
    browser.problems.clear()
    browser.set_viewport_size({"width": 768, "height": 1024})
    open_page(browser, served, request.param)
    return OnPage(browser, twin)


@pytest.mark.browser
@pytest.mark.parametrize("width", [768, 1280])
def test_every_control_moves_the_page(panel, width):
    page = panel.page
    page.set_viewport_size({"width": width, "height": 1024})
    move_every_control(panel)
    text = page.locator("body").inner_text()
    assert not [words for words in BROKEN if words in text]
    assert page.problems == []
    assert "import suspkit" not in text and "In [" not in text
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert_fits_a_finger(page)


@pytest.mark.browser
def test_a_finger_on_the_track_moves_the_slider(panel):
    """Well beside the drawn line, but within the row."""
    sliders = [one for one in panel.moved if KIND_OF[type(one)] == "hslider" and not one.disabled]
    for slider in [one for one in sliders if not isinstance(one, RANGES)][:1]:
        panel.control(slider).scroll_into_view_if_needed()
        box = panel.control(slider).locator(".noUi-base").bounding_box()
        panel.page.touchscreen.tap(box["x"] + 0.9 * box["width"], box["y"] + 4)
        handle = panel.control(slider).locator(".noUi-handle")
        least, most, now = (
            float(handle.get_attribute(f"aria-value{end}")) for end in ("min", "max", "now")
        )
        step = getattr(slider, "step", 1)
        assert now == pytest.approx(least + 0.9 * (most - least), abs=max(step, 0.05 * most))
        panel.follow(slider)
        panel.settles()


@pytest.mark.browser
def test_the_keyboard_reaches_every_control_and_shows_where_it_is(panel):
    page = panel.page
    page.evaluate("document.activeElement.blur(); window.scrollTo(0, 0)")
    reach = """(root) => [...root.querySelectorAll('.noUi-handle, select, button, input')].filter(
      (e) => !e.disabled && e.checkVisibility({ visibilityProperty: true }))"""
    wanted = panel.root.evaluate(f"(root) => ({reach})(root).length")
    page.locator("h1").click()
    reached = {}
    for _ in range(200):
        page.keyboard.press("Tab")
        name, outline = panel.root.evaluate(
            f"""(root) => {{
              const at = document.activeElement, all = ({reach})(root);
              const drawn = getComputedStyle(at);
              return [all.indexOf(at), drawn.outlineStyle + ' ' + drawn.outlineWidth];
            }}"""
        )
        if name >= 0:
            reached[name] = outline
        if len(reached) == wanted:
            break
    assert sorted(reached) == list(range(wanted)) and wanted >= 5
    assert {i: drawn for i, drawn in reached.items() if drawn != "solid 3px"} == {}


@pytest.mark.browser
def test_a_screen_reader_is_told_what_moves(panel):
    panel.settles()  # and with it what the picture is called
    assert_named(panel)
    assert_usable_by_all(panel.page)


@pytest.mark.browser
def test_the_set_up_page_stops_its_kernel_when_it_is_left(served, browser):
    open_page(browser, served, "set-up")
    assert sk.example().name in browser.locator("main").inner_text()
    kernel = served.kernel(browser)
    browser.goto(f"{served.base}/")
    assert served.gone(kernel)


@pytest.mark.browser
def test_a_page_that_has_lost_its_kernel_says_so(served, browser):
    open_page(browser, served, "broken", shows="h1")
    lost, look = browser.locator("#asleep"), "document.dispatchEvent(new Event('visibilitychange'))"
    browser.evaluate(look)
    browser.wait_for_timeout(1_000)
    assert not lost.is_visible()
    kernel = served.kernel(browser)
    served.get(f"/voila/api/shutdown/{kernel}", token=served.token, method="POST")
    browser.evaluate(look)
    lost.wait_for(state="visible")
    assert "no longer follows the controls" in lost.inner_text()
    lost.locator("a").click(timeout=PATIENCE)
    browser.wait_for_selector("h1", timeout=PATIENCE)
    assert served.kernel(browser) != kernel and not lost.is_visible()


@pytest.mark.browser
def test_nothing_was_asked_of_any_other_machine(served, browser):
    """The last to open pages: all that the others asked for is in the list."""
    if not any("/render/" in url for url in browser.asked):
        open_page(browser, served, "set-up")
    own = (served.base, served.base.replace("http", "ws", 1), "data:", "blob:")
    assert [url for url in browser.asked if not url.startswith(own)] == []
    assert len(browser.asked) > 10


@pytest.mark.browser
@pytest.mark.parametrize("name", ["what-a-stop-ring-does", "why-we-count-turns"])
def test_articles_are_usable_by_all(browser, tmp_path, name):
    page = tmp_path / "article.html"
    page.write_text(article.read(lab.ROOT / "docs" / "articles" / f"{name}.md"), encoding="utf-8")
    # The page's own rules let no script in but its own, so the checker comes from outside them.
    other = browser.context.browser.new_page(bypass_csp=True)
    other.goto(page.as_uri())
    assert_usable_by_all(other)
    other.close()


def assert_fits_a_finger(page):
    small = page.evaluate(
        """([selector, least]) => [...document.querySelectorAll(selector)]
          .filter((e) => e.checkVisibility({ visibilityProperty: true }))
          .map((e) => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
          .filter(([, box]) => box.height < least - 0.1 || box.width < least - 0.1)
          .map(([html, box]) => `${html} ${box.width} x ${box.height}`)""",
        [FOR_A_FINGER, FINGER],
    )
    assert not small
