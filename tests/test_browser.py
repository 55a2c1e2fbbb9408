"""The notebooks in a real JupyterLab and a real Chromium: they run, and every control moves them.

The pictures on the page are compared byte by byte with those of a second panel, here in the test,
whose controls are set to what the page shows: a frozen chart and one that is a step behind both
fail. What the pictures show is checked in `test_charts.py` and `test_panels.py`.
"""

import hashlib
import re
import time

import lab
import pytest
from ipywidgets import FloatSlider, SelectionSlider, ToggleButtons

import suspkit as sk

pytestmark = [
    pytest.mark.browser,
    # Playwright's own loop closes a socket late.
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
]

# Notebook to the kind and axle of its first panel.
LESSONS = {
    "00-start-here": ("start", "front"),
    "01-install": ("install", "front"),
    "02-preload": ("preload", "rear"),
    "03-stop-gap": ("gap", "front"),
}

BROKEN = (
    "Traceback", "javascript error", "Error displaying widget", "Error creating widget",
    "Loading widget", "This cannot be shown", "Failed to load model class",
)  # fmt: skip

BYTES = """
async (image) => {
  const data = await (await fetch(image.src)).arrayBuffer();
  const digest = await crypto.subtle.digest('SHA-256', data);
  return [...new Uint8Array(digest)].map(b => b.toString(16).padStart(2, '0')).join('');
}
"""


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    with lab.jupyter_lab(lab.copy_guide(tmp_path_factory.mktemp("lab"))) as opened:
        yield opened


@pytest.fixture(scope="module")
def browser():
    with lab.browser_page() as page:
        page.problems = []
        page.on("pageerror", lambda error: page.problems.append(str(error)))
        page.on(
            "console",
            lambda m: page.problems.append(m.text) if m.type == "error" else None,
        )
        page.set_default_timeout(10_000)
        yield page


class OnPage:
    """A panel on the page, and the one here that should look the same."""

    def __init__(self, page, name):
        kind, axle = LESSONS[name]
        self.page, self.name = page, name
        self.twin = sk.panels.Panel(sk.example("unit7"), kind, axle=axle)
        self.root = page.locator(".jp-OutputArea-output:has(img.widget-image)").first
        self.image = self.root.locator("img.widget-image")
        self.words = self.root.locator(".widget-html-content")
        self.image.scroll_into_view_if_needed()

    def control(self, name):
        shown = self.twin.controls[name]
        if isinstance(shown, ToggleButtons):
            label = re.escape(shown.options[0][0])
            return self.root.locator(".widget-toggle-buttons", has_text=re.compile(label))
        exact = re.compile(f"^{re.escape(shown.description)}$")
        label = self.page.locator(".widget-label", has_text=exact)
        return self.root.locator(".widget-inline-hbox").filter(has=label)

    def press(self, name, key, times=1):
        """Press a key on a slider; the twin follows what its readout says."""
        handle = self.control(name).locator(".noUi-handle")
        handle.focus()
        for _ in range(times):
            self.page.keyboard.press(key)
        self.follow(name)

    def choose(self, name, index):
        shown = self.twin.controls[name]
        if isinstance(shown, ToggleButtons):
            self.control(name).locator("button").nth(index).click()
        else:
            self.control(name).locator("select").select_option(index=index)
        shown.value = (
            shown.options[index][1] if isinstance(shown, ToggleButtons) else (shown.options[index])
        )

    def readout(self, name):
        return self.control(name).locator(".widget-readout").inner_text().strip()

    def follow(self, name):
        shown, text = self.twin.controls[name], self.readout(name)
        if isinstance(shown, SelectionSlider):
            shown.value = dict(shown.options)[text]
        else:
            shown.value = float(text)

    def picture(self):
        return self.image.evaluate(BYTES)

    def table(self):
        return self.words.locator("table").inner_text()

    def settles(self, seconds=8.0):
        """The page comes to show what the twin shows, picture and words."""
        wanted = hashlib.sha256(self.twin.chart.value).hexdigest()
        numbers = [t for pair in sk.view.readout(self.twin.view, self.units()).values()
                   for t in pair]  # fmt: skip
        end = time.monotonic() + seconds
        while True:
            text = self.words.inner_text() if self.words.count() else ""
            if self.picture() == wanted and all(n in text for n in numbers):
                return
            if time.monotonic() > end:
                assert self.picture() == wanted, "the picture is not that of the controls"
                raise AssertionError(f"the readout is not that of the controls: {text}")
            self.page.wait_for_timeout(50)

    def units(self):
        return self.twin.controls["units"].value

    @property
    def unseen(self):
        """The gap of the axle that is not drawn shows in the numbers alone, and without a side view
        so do its turns."""
        other = "rear" if self.twin.controls["axle"].value == "front" else "front"
        side = self.twin.kind in ("start", "preload")
        return (f"{other}_gap",) if side else (f"{other}_gap", f"{other}_turns")


@pytest.fixture(scope="module", params=LESSONS)
def panel(request, server, browser):
    """The first panel of a notebook after Run All; tests leave it to the next as they found it
    or moved it, for the twin keeps step."""
    browser.problems.clear()
    lab.open_notebook(browser, *server, f"notebooks/{request.param}.ipynb")
    # Stored outputs must go first, or they would pass for fresh ones.
    browser.click("text=Edit >> nth=0")
    browser.click("text=Clear Outputs of All Cells >> nth=0")
    browser.wait_for_function("document.querySelectorAll('.jp-OutputArea-output').length === 0")
    lab.run_all(browser)
    browser.wait_for_selector("img.widget-image", timeout=30_000)
    return OnPage(browser, request.param)


def test_runs_without_a_complaint(panel):
    page = panel.page
    cells = page.locator(".jp-CodeCell .jp-InputPrompt")
    prompts = [t.strip() for t in cells.all_inner_texts()]
    assert prompts == [f"[{i + 1}]:" for i in range(len(prompts))] and prompts
    for mime in ("application/vnd.jupyter.error", "application/vnd.jupyter.stderr"):
        assert page.locator(f'[data-mime-type="{mime}"]').count() == 0
    text = page.locator(".jp-Notebook").inner_text()
    assert not [words for words in BROKEN if words in text]
    assert page.problems == []
    images = page.locator("img.widget-image")
    for i in range(images.count()):
        size = images.nth(i).evaluate(
            "async e => { await e.decode(); return [e.naturalWidth, e.naturalHeight] }"
        )
        assert size[0] >= 900 and size[1] >= 400


def test_first_picture_and_numbers(panel):
    panel.settles()


def move_every_control(panel):
    """Move one control after another; each changes the picture, the numbers or both."""
    panel.settles()
    for control in panel.twin.SHOWN[panel.twin.kind]:
        shown = panel.twin.controls[control]
        before, table = panel.picture(), panel.table()
        if isinstance(shown, FloatSlider | SelectionSlider):
            panel.press(control, "ArrowRight", 4)
        elif control == "ring":
            # The ring stays where it was: only after a turn is there something to see.
            panel.choose(control, 1)
            panel.press("rear_turns", "ArrowLeft", 8)
        else:
            now = [o[1] if isinstance(o, tuple) else o for o in shown.options].index(shown.value)
            panel.choose(control, (now + 1) % len(shown.options))
        panel.settles()
        assert panel.picture() != before or control in panel.unseen, control
        if control != "axle":
            assert panel.table() != table, control


def test_every_control_moves_the_chart(panel):
    move_every_control(panel)
    assert panel.page.problems == []


def test_metric_is_metric_all_through(panel):
    for units, mine, others in ((1, " mm", r"lbf| in\b"), (0, " in", r" mm\b| N\b")):
        panel.choose("units", units)
        panel.settles()
        # All but the words "into the travel".
        assert mine in panel.table() and not re.search(others, panel.table())
        if "front_gap" in panel.twin.SHOWN[panel.twin.kind]:
            assert panel.readout("front_gap").endswith(mine)


def test_state_after_a_fast_drag(panel):
    sliders = [n for n in panel.twin.SHOWN[panel.twin.kind] if n.endswith(("turns", "gap"))]
    if not sliders:
        pytest.skip("no slider in this panel")
    mouse = panel.page.mouse
    for control in sliders[:2]:
        panel.control(control).scroll_into_view_if_needed()
        box = panel.control(control).locator(".noUi-handle").bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        before = panel.readout(control)
        mouse.move(x, y)
        mouse.down()
        for i in range(50):
            mouse.move(x + 60 * (i % 17) / 17, y)
        mouse.move(x + 40, y)
        mouse.up()
        panel.follow(control)
        assert panel.readout(control) != before
        panel.settles(3.0)
    assert panel.page.problems == []


def test_a_setup_that_cannot_be_built_is_said_on_the_page(panel):
    if "rear_gap" not in panel.twin.SHOWN[panel.twin.kind]:
        pytest.skip("no gap slider in this panel")
    panel.press("rear_gap", "Home")
    panel.page.wait_for_selector("[role=alert]")
    assert panel.twin.error and panel.twin.error in panel.words.inner_text()
    assert not panel.image.is_visible()
    panel.press("rear_gap", "PageUp", 20)
    panel.settles()
    assert panel.image.is_visible() and panel.page.locator("[role=alert]").count() == 0


def test_a_moved_panel_feeds_the_next_cell(panel):
    """Run the cell after the panel again: it prints what the page shows, not what was stored."""
    if panel.name not in ("00-start-here", "03-stop-gap"):
        pytest.skip("the cell after this panel prints something else")
    page = panel.page
    panel.choose("units", 0)
    panel.settles()
    cell = page.locator(".jp-CodeCell", has_text="sk.panels.numbers(panel)").first
    cell.locator(".cm-content").click()
    page.keyboard.press("Control+Enter")
    height = sk.view.readout(panel.twin.view)["ride height, left and right"][0]
    cell.locator(".jp-OutputArea-output", has_text=height).wait_for()


@pytest.mark.parametrize("name", ["04-clickers", "05-on-the-road"])
def test_driving_lessons_run_and_their_controls_move_them(server, browser, name):
    browser.problems.clear()
    lab.open_notebook(browser, *server, f"notebooks/{name}.ipynb")
    lab.run_all(browser)
    assert browser.locator("[data-mime-type='application/vnd.jupyter.error']").count() == 0
    root = browser.locator(".jp-OutputArea-output:has(img.widget-image)").first
    image = root.locator("img.widget-image")
    seen = {image.evaluate(BYTES)}
    handles = root.locator(".noUi-handle")
    assert handles.count() >= 2
    for i in range(handles.count()):
        shown = image.get_attribute("src")
        handles.nth(i).focus()
        browser.keyboard.press("ArrowLeft" if i == 0 else "ArrowRight")
        browser.wait_for_function(
            "([image, before]) => image.src !== before", arg=[image.element_handle(), shown]
        )
        browser.wait_for_timeout(300)
        seen.add(image.evaluate(BYTES))
    assert len(seen) == handles.count() + 1, "every slider gives another picture"
    text = root.inner_text()
    assert not [word for word in BROKEN if word in text]
    assert not browser.problems
