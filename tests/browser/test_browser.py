"""The notebooks in a real JupyterLab and a real Chromium: they run, and every control moves them.

What the page shows is compared with a second panel, here in the test, made by the same cells and
moved alike, the pictures byte by byte: a frozen chart and one that is a step behind both fail. What
the pictures show is checked in `test_charts.py` and the tests of the panels.
"""

import hashlib
import html
import re
import time

import ipywidgets as widgets
import pytest

import suspkit as sk
from suspkit.panels.kits import KitPanel
from tests.tools import lab
from tests.tools.twins import IN_A_BROWSER, LESSONS, panels

pytestmark = [
    pytest.mark.browser,
    # Playwright's own loop closes a socket late.
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
]

BROKEN = (
    "Traceback", "javascript error", "Error displaying widget", "Error creating widget",
    "Loading widget", "This cannot be shown", "Failed to load model class",
)  # fmt: skip

KINDS = {
    "hslider": (widgets.FloatSlider, widgets.IntSlider, widgets.SelectionSlider,
                widgets.FloatRangeSlider, widgets.SelectionRangeSlider),
    "dropdown": widgets.Dropdown,
    "toggle-buttons": widgets.ToggleButtons,
    "text": (widgets.Text, widgets.IntText),
    "play": widgets.Play,
    "button": widgets.Button,
}  # fmt: skip
"""What a hand can move, by what its element on the page is called."""

RANGES = (widgets.FloatRangeSlider, widgets.SelectionRangeSlider)

SHOWN = """
async (panel) => {
  const image = panel.querySelector('img.widget-image'), drawn = getComputedStyle(image);
  const seen = drawn.display !== 'none' && drawn.visibility !== 'hidden';
  const words = [...panel.querySelectorAll('.widget-html-content')].map(e => e.textContent);
  if (!seen) return [null, words, null];
  const data = await (await fetch(image.src)).arrayBuffer();
  const digest = [...new Uint8Array(await crypto.subtle.digest('SHA-256', data))];
  return [digest.map(b => b.toString(16).padStart(2, '0')).join(''), words, image.alt];
}
"""
"""The picture's digest if there is one to see, all words, and what the picture is called."""

READ = """
(all) => all.map(innerHTML => Object.assign(document.createElement('p'), {innerHTML}).textContent)
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
        page.set_default_timeout(30_000)
        yield page


KIND_OF = {
    kind: name
    for name, kinds in KINDS.items()
    for kind in (kinds if isinstance(kinds, tuple) else [kinds])
}


def walk(box):
    """All that is in a box, in the order of the page."""
    for child in getattr(box, "children", ()):
        yield child
        yield from walk(child)


class OnPage:
    """A panel on the page, and the one here that should look the same."""

    def __init__(self, page, twin, index=0):
        self.page, self.twin = page, twin
        self.root = page.locator(".suspkit-panel").nth(index)
        self.image = self.root.locator("img.widget-image")
        self.words = self.root.locator(".widget-html-content")
        self.moved = [one for one in walk(twin) if type(one) in KIND_OF]
        self.root.scroll_into_view_if_needed()
        for name in KINDS:
            wanted = sum(KIND_OF[type(control)] == name for control in self.moved)
            assert self.root.locator(f".widget-{name}").count() == wanted, name

    def named(self, name):
        return self.twin.controls[name] if isinstance(name, str) else name

    def control(self, name):
        """Where on the page a control is: as many of its kind come before it there as here."""
        control = self.named(name)
        kind = KIND_OF[type(control)]
        alike = [one for one in self.moved if KIND_OF[type(one)] == kind]
        return self.root.locator(f".widget-{kind}").nth(alike.index(control))

    def press(self, name, key, times=1, handle=0):
        """Press a key on a slider; the twin follows what its readout says."""
        self.control(name).locator(".noUi-handle").nth(handle).focus()
        for _ in range(times):
            self.page.keyboard.press(key)
        self.follow(name)

    def choose(self, name, index):
        control = self.named(name)
        if isinstance(control, widgets.ToggleButtons):
            self.control(name).locator("button").nth(index).click()
        else:
            self.control(name).locator("select").select_option(index=index)
        control.index = index

    def readout(self, name):
        """As shown, or where there is none to see as a screen reader is told."""
        if getattr(self.named(name), "readout", True):
            return self.control(name).locator(".widget-readout").inner_text().strip()
        handle = self.control(name).locator(".noUi-handle")
        return str(round(float(handle.get_attribute("aria-valuenow"))))

    def follow(self, name):
        control, text = self.named(name), self.readout(name)
        parts = re.split(" – |-", text) if isinstance(control, RANGES) else [text]
        if hasattr(control, "options"):
            labels = dict(zip(control._options_labels, control._options_values, strict=True))
            values = [labels[part] for part in parts]
        else:
            values = [float(part.replace("−", "-")) for part in parts]
        if isinstance(control, widgets.FloatRangeSlider):  # sends more digits than it shows
            handle = self.control(name).locator(".noUi-handle").first
            values = handle.evaluate("e => e.closest('.noUi-target').noUiSlider.get(true)")
        control.value = tuple(values) if isinstance(control, RANGES) else values[0]

    def write(self, control, text):
        box = self.control(control).locator("input")
        box.fill(text)
        box.press("Enter")
        control.value = type(control.value)(text)

    def push(self, button):
        self.control(button).click()
        button.click()

    def shown(self):
        return self.root.evaluate(SHOWN)

    def picture(self):
        return self.shown()[0]

    def table(self):
        return self.words.locator("table").inner_text()

    def wanted(self):
        """What the twin shows, as the page is to show it."""
        if hasattr(self.twin, "wait"):
            self.twin.wait()
        boxes = [one for one in walk(self.twin) if isinstance(one, widgets.HTML)]
        words = self.page.evaluate(READ, [one.value for one in boxes])
        seen = not self.twin.error and self.twin.chart.layout.display != "none"
        if not seen:
            return [None, words, None]
        spoken = re.search(r"suspkit-spoken[^>]*>([^<]*)<", self.twin.words.value)[1]
        digest = hashlib.sha256(self.twin.chart.value).hexdigest()
        return [digest, words, html.unescape(spoken)]

    def settles(self, seconds=120.0):
        """The page comes to show what the twin shows: picture, words, and the picture's name."""
        wanted, began = self.wanted(), time.monotonic()
        while self.shown() != wanted:
            waited = time.monotonic() - began
            if waited > seconds:
                now = self.shown()
                assert now[1:] == wanted[1:], "the words are not those of the controls"
                assert now == wanted, "the picture is not that of the controls"
            # To look takes processor time too, of which the kernel is in want.
            self.page.wait_for_timeout(1000 * min(0.3, max(0.03, waited / 4)))
        return wanted


class Lesson:
    """A notebook after Run All, its panels on the page and here."""

    def __init__(self, page, name, twins, kind=OnPage):
        self.page, self.name = page, name
        assert page.locator(".suspkit-panel").count() == len(twins) > 0
        self.panels = [kind(page, twin, i) for i, twin in enumerate(twins)]


@pytest.fixture(scope="module", params=IN_A_BROWSER)
def lesson(request, server, browser, tmp_path_factory):
    """A notebook after Run All; each test leaves it to the next as it moved it, for the twins keep
    step."""
    twins = panels(request.param, tmp_path_factory.mktemp("twin"))
    browser.problems.clear()
    lab.open_notebook(browser, *server, f"notebooks/{request.param}.ipynb")
    lab.run_all(browser)
    yield Lesson(browser, request.param, twins)
    lab.stop_kernels(*server)


@pytest.fixture
def panel(lesson):
    """The first panel of the lesson."""
    return lesson.panels[0]


def test_runs_without_a_complaint(lesson):
    page = lesson.page
    cells = page.locator(".jp-CodeCell .jp-InputPrompt")
    prompts = [t.strip() for t in cells.all_inner_texts()]
    assert prompts == [f"[{i + 1}]:" for i in range(len(prompts))] and prompts
    for mime in ("application/vnd.jupyter.error", "application/vnd.jupyter.stderr"):
        assert page.locator(f'[data-mime-type="{mime}"]').count() == 0
    text = page.locator(".jp-Notebook").inner_text()
    assert not [words for words in BROKEN if words in text]
    assert page.problems == []
    for panel in lesson.panels:
        panel.settles()
        if panel.image.is_visible():
            size = panel.image.evaluate(
                "async e => { await e.decode(); return [e.naturalWidth, e.naturalHeight] }"
            )
            assert size[0] >= 700 and size[1] >= 350


def move_every_control(panel):
    """Move one control after another; each changes the picture, the words or both."""
    panel.settles()
    for kind in ("hslider", "dropdown", "toggle-buttons", "text", "play"):
        if kind == "toggle-buttons" and "moment" in panel.twin.controls:
            # At first, and in the air, two vehicles may be in the same place.
            panel.press("moment", "PageUp", 6)
        for control in panel.moved:
            if (
                isinstance(panel.twin, KitPanel)
                and control is panel.twin.controls["along"]
                and len(panel.twin.view.choice.front) < 2
            ):
                continue  # one kit is no line
            if KIND_OF[type(control)] == kind and not getattr(control, "disabled", False):
                MOVES[kind](panel, control)
    # A hint first: an answer that is marked once more says the same.
    for button in reversed([one for one in panel.moved if isinstance(one, widgets.Button)]):
        if button.layout.display != "none":
            changes(panel, button.description, [lambda button=button: panel.push(button)])


def changes(panel, name, moves):
    """Make one move after another until something else is shown, and no error."""
    before = panel.wanted()
    for move in moves:
        move()
        if panel.settles() != before and not panel.twin.error:
            return
    raise AssertionError(f"{name} moves nothing")


def move_slider(panel, slider):
    for handle in range(1 + isinstance(slider, RANGES)):
        keys = ("PageUp", "PageDown", "PageDown", "End", "Home")
        moves = [lambda key=key, h=handle: panel.press(slider, key, handle=h) for key in keys]
        was = slider.value
        changes(panel, slider.description, moves)
        # Back where it was, of targets: all of them raised, there is nothing left to move.
        if hasattr(panel.twin, "targets") and slider.value != was:
            key = "ArrowLeft" if slider.value > was else "ArrowRight"
            panel.press(slider, key, times_apart(slider, was), handle=handle)
            assert slider.value == was
            panel.settles()


def times_apart(slider, value):
    """How many steps a slider is from a value; of one with two handles, one of them."""
    if hasattr(slider, "options"):
        steps = list(slider._options_values)
        ends = (value, slider.value) if isinstance(slider, RANGES) else ((value,), (slider.value,))
        return sum(abs(steps.index(a) - steps.index(b)) for a, b in zip(*ends, strict=True))
    return round(abs(slider.value - value) / slider.step)


def move_choice(panel, choice):
    count, was = len(choice.options), choice.index
    if count > 1:
        others = [(choice.index + i) % count for i in range(1, count)]
        moves = [lambda index=index: panel.choose(choice, index) for index in others]
        changes(panel, choice.description or choice.options[0][0], moves)
    if isinstance(choice, widgets.Dropdown):
        # Back, but for a map: to drive all of it would take minutes.
        panel.choose(choice, 0 if choice.description == "and" else was)
        panel.settles()


def move_text(panel, box):
    changes(panel, box.description, [lambda: panel.write(box, "7")])


def move_play(panel, play):
    """Play a little, stop, go back to the start; the twin follows the slider."""
    buttons = panel.control(play).locator("button")
    start, now = panel.wanted(), panel.readout("moment")
    buttons.locator("xpath=self::*[i[contains(@class, 'fa-play')]]").click()
    panel.page.wait_for_function(
        "([handle, now]) => Math.round(handle.getAttribute('aria-valuenow')) > +now + 2",
        arg=[panel.control("moment").locator(".noUi-handle").element_handle(), now],
    )
    buttons.locator("xpath=self::*[i[contains(@class, 'fa-pause')]]").click()
    panel.follow("moment")
    assert panel.settles() != start
    buttons.locator("xpath=self::*[i[contains(@class, 'fa-stop')]]").click()
    panel.follow("moment")
    assert panel.readout("moment") == "0"
    panel.settles()


MOVES = {
    "hslider": move_slider, "dropdown": move_choice, "toggle-buttons": move_choice,
    "text": move_text, "play": move_play,
}  # fmt: skip


def test_every_control_moves_its_chart(lesson):
    for panel in lesson.panels:
        move_every_control(panel)
    text = lesson.page.locator(".jp-Notebook").inner_text()
    assert not [words for words in BROKEN if words in text]
    assert lesson.page.problems == []


def test_panels_are_usable_by_all(lesson):
    assert_usable_by_all(lesson.page, ".suspkit-panel")
    for panel in lesson.panels:
        assert_named(panel)


def assert_named(panel):
    """A screen reader is told what a slider is called and reads, and which button is pressed."""
    for slider in [one for one in panel.moved if KIND_OF[type(one)] == "hslider"]:
        for handle in panel.control(slider).locator(".noUi-handle").all():
            assert handle.get_attribute("aria-label").startswith(slider.description)
            assert handle.get_attribute("aria-valuetext") in panel.readout(slider)
    pressed = panel.root.locator("button[aria-pressed=true]").count()
    assert pressed == panel.root.locator(".widget-toggle-buttons").count() > 0


def assert_usable_by_all(page, part=None):
    """No serious or critical finding of axe-core, on the page or a part of it."""
    checker = pytest.importorskip("axe_playwright_python.sync_playwright")
    found = checker.Axe().run(page, part).response
    assert found["testEngine"]["name"] == "axe-core" and found["passes"]
    assert [
        (finding["id"], finding["nodes"][0]["html"][:200])
        for finding in found["violations"]
        if finding["impact"] in ("serious", "critical")
    ] == []


def test_state_after_a_fast_drag(lesson):
    panel = lesson.panels[0]
    sliders = [one for one in panel.moved if KIND_OF[type(one)] == "hslider" and not one.disabled]
    mouse = lesson.page.mouse
    for slider in [one for one in sliders if not isinstance(one, RANGES)][:2]:
        panel.control(slider).scroll_into_view_if_needed()
        box = panel.control(slider).locator(".noUi-handle").bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        before = panel.readout(slider)
        # Towards the middle, that there is room.
        span = panel.control(slider).locator(".noUi-base").bounding_box()
        way = 1 if x < span["x"] + span["width"] / 2 else -1
        mouse.move(x, y)
        mouse.down()
        for i in range(50):
            mouse.move(x + way * 60 * (i % 17) / 17, y)
        mouse.move(x + way * 40, y)
        mouse.up()
        panel.follow(slider)
        assert panel.readout(slider) != before
        panel.settles()
    assert lesson.page.problems == []


with_a_set_up = pytest.mark.parametrize("lesson", LESSONS[:4], indirect=True)
"""For the lessons whose first panel shows a set-up."""


@with_a_set_up
def test_metric_is_metric_all_through(panel):
    for units, mine, others in ((1, " mm", r"lbf| in\b"), (0, " in", r" mm\b| N\b")):
        panel.choose("units", units)
        panel.settles()
        # All but the words "into the travel".
        assert mine in panel.table() and not re.search(others, panel.table())
        if "front_gap" in panel.twin.SHOWN[panel.twin.kind]:
            assert panel.readout("front_gap").endswith(mine)


@with_a_set_up
def test_a_setup_that_cannot_be_built_is_said_on_the_page(panel):
    if "rear_gap" not in panel.twin.SHOWN[panel.twin.kind]:
        pytest.skip("no gap slider in this panel")
    panel.press("rear_gap", "Home")
    panel.page.wait_for_selector("[role=alert]")
    panel.settles()
    assert panel.twin.error and panel.twin.error in panel.words.inner_text()
    assert not panel.image.is_visible()
    panel.press("rear_gap", "PageUp", 20)
    panel.settles()
    assert panel.image.is_visible() and panel.root.locator("[role=alert]").count() == 0


@with_a_set_up
def test_a_moved_panel_feeds_the_next_cell(lesson):
    """Run the cell after the panel again: it prints what the page shows, not what was stored."""
    if lesson.name not in ("00-start-here", "03-stop-gap"):
        pytest.skip("the cell after this panel prints something else")
    page, panel = lesson.page, lesson.panels[0]
    panel.choose("units", 0)
    panel.settles()
    cell = page.locator(".jp-CodeCell", has_text="sk.panels.numbers(panel)").first
    cell.locator(".cm-content").click()
    page.keyboard.press("Control+Enter")
    height = sk.view.readout(panel.twin.view)["ride height, left and right"][0]
    cell.locator(".jp-OutputArea-output", has_text=height).wait_for()
