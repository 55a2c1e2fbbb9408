"""Text of a vehicle file stays text on every page, and nothing reaches for another machine.

Two vehicle files are alike but for their texts: in one every name and note is plain, in the other
it is markup, mathematics and script. A page of one must have the same elements with the same
attributes, in the same order, as that of the other.
"""

import contextlib
import csv
import http.client
import http.server
import io
import json
import os
import re
import shutil
import socket
import subprocess
import sys
import threading
import time
from dataclasses import replace
from xml.etree import ElementTree

import ipywidgets as widgets
import nbformat
import pytest
from bs4 import BeautifulSoup
from matplotlib.text import Text

import suspkit as sk
from suspkit.shop import article, paper, sheet
from suspkit.studies import sweep as whatif
from suspkit.teaching import exercises
from tests.tools import lab

pytestmark = [
    # Playwright's own loop closes a socket late.
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
]

EVIL = "<img src=x onerror=alert(1)>&\"'$\\frac{$_"
"""A name: markup, an end of any quotation, and mathematics that is none."""
LONG = (
    f"{EVIL} </script><script>alert(2)</script> ${{alert(3)}} [y](javascript:alert(4)) _z_ "
    "{{ 7 * 7 }} {vehicle} %s --> `"
)
START = EVIL[:20]
"""As much of it as the narrowest place on a page has room for."""

TABLES = {
    "stacks": ("stock-front", "stock-rear", "kit-front", "kit-rear"),
    "setups": ("stock", "kit"),
    "loads": ("bare", "patrol", "carry-out"),
}
ITEMS = (
    "driver", "navigator", "medic", "helper", "litter", "light-kit", "winch", "roof", "spare",
)  # fmt: skip


def write_file(folder, say, note, *, name="vehicle.toml"):
    """The example vehicle's file with every name and note another text."""
    folder.mkdir(parents=True, exist_ok=True)

    def quoted(text, say=say):
        return json.dumps(say(text))  # TOML reads what JSON quotes

    text = (lab.ROOT / "data" / "unit7.toml").read_text(encoding="utf-8")
    lines = (lab.ROOT / "data" / "springs.csv").read_text(encoding="utf-8").splitlines()
    rows = list(csv.reader(line for line in lines if not line.startswith("#")))
    named = [row[0] for row in rows[1:]] + [*ITEMS, *sum(TABLES.values(), ())]
    for table, names in TABLES.items():
        for one in names:
            text = text.replace(f"[{table}.{one}]", f"[{table}.{quoted(one)}]")
    for item in ITEMS:
        text = text.replace(f"\n{item} = {{", f"\n{quoted(item)} = {{")
    text = re.sub(r'(?<=[\[ ])"([\w.-]+)"', lambda m: quoted(m[1]) if m[1] in named else m[0], text)
    text = text.replace('name = "Unit 7"', f"name = {quoted('Unit 7')}")
    text = re.sub(r'\b(about|note) = "([^"]*)"', lambda m: f"{m[1]} = {quoted(m[2], note)}", text)
    third = f'{quoted("high")} = {{ count = 3, zero = "open" }}\n'
    text = re.sub(r"(?<=\.shock\.clickers\]\n)", lambda _: third, text)
    (folder / name).write_text(text, encoding="utf-8")
    with (folder / "springs.csv").open("w", encoding="utf-8", newline="") as out:
        csv.writer(out).writerows(
            [rows[0], *([say(r[0]), *r[1:-1], note(r[-1])] for r in rows[1:])]
        )
    return folder / name


def plain(text):
    return f"plain {text}"


def evil(text):
    return f"{EVIL} {text}"


def longer(text):
    return f"{LONG} {text}"


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    folder = tmp_path_factory.mktemp("files")
    odd = folder / f"{EVIL[:28]}&'$"
    own = write_file(odd, evil, longer, name=f"{odd.name}.toml")
    return write_file(folder, plain, plain), own


@pytest.fixture(scope="module")
def pair(files):
    """The plain vehicle and the evil one."""
    return [sk.load_vehicle(path) for path in files]


def skeleton(page):
    """Every element with the names of its attributes, in order."""
    return [(tag.name, sorted(tag.attrs)) for tag in BeautifulSoup(page, "html.parser").find_all()]


def assert_text_alone(pages, *, says=START):
    """The second page is the first with other words, and loads nothing."""
    dull, bright = map(skeleton, pages)
    assert bright == dull and dull
    soup = BeautifulSoup(pages[1], "html.parser")
    words = soup.get_text() + "".join(str(tag.get("alt", "")) for tag in soup.find_all())
    assert says in re.sub(r"\s+", " ", words)
    assert_loads_nothing(pages[1])


def assert_loads_nothing(page):
    soup = BeautifulSoup(page, "html.parser")
    for tag in soup.find_all():
        for name, value in tag.attrs.items():
            assert not name.startswith("on"), (tag.name, name)
            if name in ("src", "srcset", "data", "poster", "action", "formaction"):
                assert value.startswith("data:"), (tag.name, value)
            if name.endswith("href"):
                assert value.startswith("#"), (tag.name, value)
    styles = "".join(map(str, soup.find_all("style"))) + " ".join(
        str(tag.get("style", "")) for tag in soup.find_all()
    )
    assert not re.search(r"url\(\s*['\"]?(?!#|data:)", styles) and "@import" not in styles
    assert not soup.find(["link", "iframe", "object", "embed", "base", "form"])


def test_the_evil_file_has_evil_names_everywhere(pair):
    vehicle = pair[1]
    held = (vehicle.stacks, vehicle.setups, vehicle.loads, vehicle.items, vehicle.springs)
    assert all(name.startswith(EVIL) for names in held for name in names)
    assert vehicle.name.startswith(EVIL) and vehicle.about.startswith(LONG)
    assert EVIL in " ".join(vehicle.front.shock.clickers)
    # Otherwise they are the same vehicle.
    mine, other = (sk.settle(v, load=v.targets.load) for v in pair)
    assert (mine.height == other.height).all()


# ------------------------------------------------------------------------------------ on paper


@pytest.mark.parametrize("units", ["us", "metric"])
def test_work_sheet(pair, units, tmp_path):
    pypdf = pytest.importorskip("pypdf")
    pages = [sheet.html(vehicle, units=units) for vehicle in pair]
    assert_text_alone(pages)
    assert "default-src 'none'" in pages[1] and "script" not in {t for t, _ in skeleton(pages[1])}
    _, pdf = sheet.write(pair[1], units=units, folder=tmp_path)
    read = pypdf.PdfReader(io.BytesIO(pdf.read_bytes()))
    words = re.sub(r"\s+", "", "".join(page.extract_text() for page in read.pages))
    assert words.count("<imgsrc=xonerror=") > 8
    root = read.trailer["/Root"]
    assert not {"/OpenAction", "/AA", "/JavaScript"} & set(root)
    assert not any("/Annots" in page for page in read.pages)


def test_work_sheet_of_a_broken_set_up(pair):
    """What is wrong is told with the names in it."""
    bound = [replace(v, setups={v.current: v.setup.change("all", turns=40.0)}) for v in pair]
    both = []
    for vehicle in bound:
        try:
            both.append(sheet.html(vehicle))
        except ValueError as error:
            both.append(str(error))
    assert START in both[1] or "&lt;img" in both[1]
    assert ("<html" in both[0]) == ("<html" in both[1])
    if "<html" in both[1]:
        assert_text_alone(both)


def test_exercises_on_paper(pair):
    pages = [exercises.key(exercises.paper(5, vehicle=vehicle)) for vehicle in pair]
    assert_text_alone(pages)
    assert "default-src 'none'" in pages[1]


def test_training_record():
    rows = [
        sk.training.Training(kind="lesson", what="01-install", result="read", by=by, note=by,
                             when="2026-01-02T03:04:05Z")
        for by in (plain("Jo"), longer("Jo"))
    ]  # fmt: skip
    whose = [plain("Al"), longer("Al")]
    assert_text_alone([sk.training.record_html(w, [r]) for w, r in zip(whose, rows, strict=True)])
    assert_loads_nothing(sk.training.sheet_html())


TEXT = """+++
title = {title}
by = {by}
+++

About {{{{ vehicle.name }}}} with {{{{ load }}}}, **{{{{ vehicle.about }}}}**.

| {{{{ vehicle.current }}}} | b |
| --- | --- |
| `{{{{ vehicle.current }}}}` | {{{{ setup.rear_left.stack }}}} |

- [a link]({link}) and <b onclick="alert(5)">raw</b> <script>alert(6)</script> $\\frac{{1}}$
- [a title](#here "{{{{ vehicle.name }}}}")

<div style="background: url(http://192.0.2.1/x.png)">raw</div>

{{{{ shock_curve(now, axle="rear", caption=vehicle.name) }}}}

{{{{ cut_away(now) }}}}

{{{{ move_the_ring("front") }}}}
"""


def write_article(path, say, *, link="javascript:alert(7)"):
    path.write_text(
        TEXT.format(title=json.dumps(say("title")), by=json.dumps(say("me")), link=link), "utf-8"
    )
    return path


def test_articles(pair, tmp_path):
    path = tmp_path / "article.md"
    pages = [
        article.read(write_article(path, say), vehicle=v)
        for say, v in zip((plain, longer), pair, strict=True)
    ]
    dull, bright = map(skeleton, pages)
    assert bright == dull
    soup = BeautifulSoup(pages[1], "html.parser")
    assert LONG in soup.title.text and LONG in soup.h1.text and LONG in soup.find(class_="by").text
    assert EVIL in soup.find("code").text and EVIL in soup.figcaption.text
    assert len(soup.find_all("script")) == 2  # the figure's numbers, and what moves it
    assert not soup.find("b", onclick=True) and not soup.find("div", style=True)
    assert not [a for a in soup.find_all("a") if "javascript" in a.get("href", "")]
    assert soup.find("a", href="#here")["title"] == pair[1].name
    assert_loads_nothing(pages[1])


def test_numbers_of_a_figure_that_moves_cannot_end_their_script(pair, monkeypatch):
    """No text of the user's is in them today; one that came would do no harm."""
    monkeypatch.setattr(article, "_ring_words", lambda *_: LONG)
    figure = article._ring_figure(pair[1], pair[1].setup, pair[1].targets.load, "front")
    soup = BeautifulSoup(figure.html, "html.parser")
    (data,) = soup.find_all("script")
    assert "<" not in data.string
    assert set(json.loads(data.string)["words"]) == {LONG}
    assert soup.find("output").text == LONG and not soup.find("img")


@pytest.mark.parametrize("picture", ["http://192.0.2.1/x.png", "x.png"])
def test_a_picture_from_outside_is_refused(tmp_path, unit7, picture):
    """The page's own rules would leave a hole where it should be."""
    path = tmp_path / "a.md"
    path.write_text(f'+++\ntitle = "A"\n+++\n\n![photo]({picture})\n', "utf-8")
    with pytest.raises(article.ArticleError, match="lies outside the page; expected one that is"):
        article.read(path, vehicle=unit7)


def test_printing_fetches_nothing(tmp_path, unit7):
    """Not from a network, nor from a file."""
    pytest.importorskip("plutoprint")
    asked = []

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            asked.append(self.path)
            self.send_error(404)

        def log_message(self, *_):
            pass

    (tmp_path / "style.css").write_text("p { display: none }")
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        there = f"http://127.0.0.1:{server.server_port}"
        page = (
            f'<link rel="stylesheet" href="{there}/a.css"><style>@import "{there}/b.css"; '
            f"body {{ background: url({there}/c.png) }} "
            f"@font-face {{ font-family: x; src: url({there}/d.ttf) }} p {{ font-family: x }}"
            f'</style><link rel="stylesheet" href="{(tmp_path / "style.css").as_uri()}">'
            f'<p>Still here</p><img src="{there}/e.png"><svg><image href="{there}/f.png"/></svg>'
        )
        made = paper.printed(paper.book(page, "a4"))
        server.shutdown()
    assert asked == []
    read = pytest.importorskip("pypdf").PdfReader(io.BytesIO(made))
    assert "Still here" in read.pages[0].extract_text()


# ---------------------------------------------------------------------------- in a notebook


def moved(panel, **values):
    panel.set(**values)
    return panel


def few_springs(vehicle):
    """Those of the kit: enough to choose from."""
    stacks = {corner.stack for corner in vehicle.setup.corners}
    return {n: vehicle.springs[n] for stack in stacks for n in vehicle.stacks[stack].springs}


PANELS = {
    "start": lambda v: sk.panels.start(v),
    "install": lambda v: sk.panels.install(v),
    "preload": lambda v: moved(sk.panels.preload(v), ring="left"),
    "gap": lambda v: sk.panels.stop_gap(v),
    "clicker": lambda v: sk.ride_panels.clicker(v),
    "road": lambda v: sk.ride_panels.road(v),
    "what-if": lambda v: sk.study_panels.what_if(v, also="each set-up"),
    "what-if, loads": lambda v: sk.study_panels.what_if(v, also="each load"),
    "spread": lambda v: sk.study_panels.spread(v, count=64),
    "road test": lambda v: sk.study_panels.road_test(v),
    "kits": lambda v: sk.study_panels.kits(v, rack=few_springs(v)),
    "roll": lambda v: sk.study_panels.roll(v),
    "exercise": lambda v: sk.exercise_panels.panel("height", vehicle=v),
    "exercise, picture": lambda v: sk.exercise_panels.panel("curve", vehicle=v),
    "exercise, wrong": lambda v: moved(sk.exercise_panels.panel("build", vehicle=v), kind="drift"),
}


def every_widget(widget):
    yield widget
    for child in getattr(widget, "children", ()):
        yield from every_widget(child)


def board_of(panel):
    return getattr(getattr(panel, "_shown", None), "figure", None)


@pytest.mark.parametrize("name", PANELS)
def test_panels(pair, name):
    dull, bright = (PANELS[name](vehicle) for vehicle in pair)
    assert dull.error == bright.error == ""
    for one, other in zip(every_widget(dull), every_widget(bright), strict=True):
        assert type(one) is type(other)
        # Nothing but HTML boxes takes markup, and their words are held against the plain ones.
        assert not getattr(other, "description_allow_html", False)
        if isinstance(other, widgets.HTML):
            assert type(other) is widgets.HTML
            assert skeleton(other.value) == skeleton(one.value)
            assert_loads_nothing(other.value)
    # A dollar sign is no mathematics, on any text of the picture.
    figure = board_of(bright)
    drawn = figure.findobj(Text) if figure is not None else []
    assert figure is None or bytes(bright.chart.value[:4]) == b"\x89PNG"
    assert [t.get_text() for t in drawn if "$" in t.get_text() and t.get_parse_math()] == []
    bright.for_print = True
    data = bright._repr_mimebundle_()
    data = data[0] if isinstance(data, tuple) else data
    if figure is not None:
        for one in ElementTree.fromstring(data["image/svg+xml"]).iter():
            assert one.tag.rpartition("}")[2] not in ("script", "a", "foreignObject")
            for key, value in one.attrib.items():
                name = key.rpartition("}")[2]
                assert not name.startswith("on")
                assert name != "href" or value.startswith(("#", "data:"))


def test_names_are_drawn_where_they_are_told(pair):
    """Set-ups and loads, as they are written: a broken formula must not break the picture."""
    vehicle = pair[1]
    for name, says in (("road", EVIL), ("what-if", EVIL), ("install", START)):
        panel = PANELS[name](vehicle)
        texts = [t.get_text() for t in board_of(panel).findobj(Text)]
        assert panel.error == ""
        assert any(says in text for text in texts), name


def test_what_a_panel_cannot_show_is_text(pair):
    panel = sk.panels.start(pair[1])
    panel.set(front_turns=11.0, rear_turns=12.0)
    panel._fail(ValueError(LONG))
    assert LONG in BeautifulSoup(panel.words.value, "html.parser").text
    assert not BeautifulSoup(panel.words.value, "html.parser").find("img")


def test_tables(pair):
    """As a notebook shows them."""
    both = []
    for v in pair:
        load = v.targets.load
        table = sk.sweep(v, v.setups, load=list(v.loads), vary={"setup.front.turns": [3, 4]})
        rated = f"vehicle.springs.{next(iter(v.springs))}.rate"
        both.append([
            sk.study.readable(sk.study.sensitivity(v, load=load)), table,
            whatif.readable(table),
            sk.damping_ratios(v, load=load),
            sk.sweep(v, vary={rated: [5e4, 6e4]}, measure=["front_height"]),
        ])  # fmt: skip
    for dull, bright in zip(*both, strict=True):
        assert skeleton(bright._repr_html_()) == skeleton(dull._repr_html_())
    figure = sk.whatif_charts.what_if(both[1][1], across="setup.front.turns", shows="front_height",
                                     by="setup")  # fmt: skip
    drawn = io.BytesIO()
    figure.savefig(drawn, format="svg")
    ElementTree.fromstring(drawn.getvalue())
    assert any(EVIL in text.get_text() for text in figure.findobj(Text))


# ------------------------------------------------------------------------ nothing leaves


WATCH = r'''
"""Loaded by every Python started with this folder on its path: refuses what would leave."""
import ipaddress, os, sys

def _own(host):
    host = host.decode() if isinstance(host, bytes) else host
    if host in (None, "", "localhost", "0.0.0.0", "::"):
        return True
    try:
        return ipaddress.ip_address(host.split("%")[0]).is_loopback
    except ValueError:
        return False

def _watch(event, args):
    if event in ("socket.connect", "socket.sendto", "socket.sendmsg"):
        at = args[1]
        if not isinstance(at, tuple) or _own(at[0]):
            return
    elif event in ("socket.getaddrinfo", "socket.gethostbyname"):
        at = args[0]
        if _own(at) or at == os.uname().nodename:
            return
    else:
        return
    with open(os.environ["LEFT"], "a") as out:
        out.write(f"{event} {at} {sys.argv[:2]}\n")
    raise PermissionError(f"{event} {at}")

sys.addaudithook(_watch)
'''


@pytest.fixture(scope="module")
def watched(tmp_path_factory):
    """Environment of a process that may speak to this machine alone, and what it tried else."""
    folder = tmp_path_factory.mktemp("watch")
    (folder / "sitecustomize.py").write_text(WATCH)
    left = folder / "left"
    left.touch()
    path = os.pathsep.join(filter(None, [str(folder), str(lab.ROOT), os.getenv("PYTHONPATH")]))
    home = {"HOME": str(folder), "IPYTHONDIR": str(folder / "ipython"), "LEFT": str(left)}
    for name in ("CONFIG_DIR", "DATA_DIR", "RUNTIME_DIR"):
        home[f"JUPYTER_{name}"] = str(folder / name.lower())
    return {**os.environ, **home, "PYTHONPATH": path}


def left(watched):
    with open(watched["LEFT"]) as out:
        return out.read()


def test_the_watch_sees_what_would_leave(watched, tmp_path):
    """Or the tests below would pass whatever happened."""
    tried = {**watched, "LEFT": str(tmp_path / "left")}
    code = (
        "import socket, urllib.request\n"
        "for go in (lambda: socket.create_connection(('192.0.2.1', 9), timeout=1),\n"
        "           lambda: urllib.request.urlopen('http://example.invalid/', timeout=1)):\n"
        "    try: go()\n"
        "    except OSError: pass\n"
        "socket.create_server(('127.0.0.1', 0)).close()\n"
    )
    subprocess.run([sys.executable, "-c", code], env=tried, check=True, timeout=60)
    seen = (tmp_path / "left").read_text().splitlines()
    assert [line.split(" [")[0] for line in seen] == [
        "socket.getaddrinfo 192.0.2.1", "socket.getaddrinfo example.invalid",
    ]  # fmt: skip


EVERYTHING = """
import sys, warnings
from pathlib import Path
import suspkit as sk
from suspkit.shop import article
from suspkit.teaching import exercises
from suspkit.studies import fit as fitting
from suspkit.shop import sheet
from suspkit.teaching import tablet
from suspkit.studies.choose import KitTargets
vehicle, folder, home = sk.load_vehicle(sys.argv[1]), Path(sys.argv[2]), Path(sys.argv[3])
load = vehicle.targets.load
sk.settle(vehicle, load=load)
sk.solve_preload(vehicle, load=load, rake=0.0)
sheet.write(vehicle, folder=folder)
article.write(home / "docs" / "articles" / "what-a-stop-ring-does.md", folder=folder)
(folder / "key.html").write_text(exercises.key(exercises.paper(1, vehicle=vehicle)), "utf-8")
sk.choose_springs(vehicle, axle="rear", turns=[4, 6], gaps=[0.1])
rides = fitting.pretend(vehicle, fitting.road_test(vehicle, load=load), seed=1)[0]
sk.fit(vehicle, rides)
sk.spread(vehicle, load=load, count=64)
sk.sweep(vehicle, load=load, vary={"setup.front.turns": [3, 4]}, resume=folder / "table.csv")
sk.advise(vehicle, complaints="rolls in turns", load=load)
sk.first_bottoms(vehicle, event=lambda h: sk.events.drop(height=h), low=0, high=1, load=load,
                 model="half", looks=2, tolerance=0.3)
with sk.JobLog(folder / "jobs.db") as log:
    log.add_vehicle(vehicle)
    log.add_ride(vehicle.name, rides[0])
    log.export_csv(folder / "log.csv")
sk.drive(vehicle, event=sk.events.drop(height=0.3), load=load)
sk.panels.start(vehicle), sk.ride_panels.road(vehicle), sk.study_panels.roll(vehicle)
tablet.pages(home, folder / "tablet", vehicle=sys.argv[1])
print("all done")
"""


@pytest.mark.slow
def test_nothing_in_the_package_reaches_for_another_machine(watched, files, tmp_path):
    done = subprocess.run(
        [sys.executable, "-c", EVERYTHING, files[1], tmp_path, lab.ROOT], env=watched,
        capture_output=True, text=True, timeout=300,
    )  # fmt: skip
    assert done.stdout.strip().endswith("all done"), done.stderr[-2000:]
    assert left(watched) == ""
    for page in tmp_path.glob("*.html"):
        assert_loads_nothing(page.read_text("utf-8"))


# ---------------------------------------------------------------------------------- served


class Served:
    """A server started as a shop would, by its own command."""

    def __init__(self, command, address, *, log, environment):
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.log = log
        with log.open("w") as out:
            self.process = subprocess.Popen(
                # -P: as its own command, which has not the current folder on its path.
                [sys.executable, "-P", "-m", "suspkit.cli", *command, "--port", str(self.port)],
                cwd=log.parent, env=environment, stdin=subprocess.DEVNULL, stdout=out, stderr=out,
            )  # fmt: skip
        end = time.monotonic() + 120
        while not (found := re.search(address, log.read_text())):
            if time.monotonic() > end or self.process.poll() is not None:
                raise RuntimeError(f"no server: {log.read_text()[-2000:]}")
            time.sleep(0.1)
        self.token = found[1]
        while time.monotonic() < end:
            with contextlib.suppress(OSError):
                self.get("/")
                return
            time.sleep(0.1)

    def get(self, path, *, token=None, host="127.0.0.1", said=None, method="GET"):
        """Status, headers and text of an answer, no redirection followed."""
        asked = http.client.HTTPConnection(host, self.port, timeout=60)
        headers = {"Authorization": f"token {token}"} if token else {}
        if said is not None:
            headers["Host"] = said
        with contextlib.closing(asked):
            asked.request(method, path, headers=headers)
            answer = asked.getresponse()
            return answer.status, answer.headers, answer.read().decode(errors="replace")

    def stop(self):
        self.process.terminate()
        self.process.wait(timeout=60)


def own_addresses():
    """This machine's addresses that others can reach."""
    import psutil

    return [
        at.address
        for each in psutil.net_if_addrs().values()
        for at in each
        if at.family == socket.AF_INET and not at.address.startswith("127.")
    ]


def assert_shut(served, pages):
    """Neither another machine nor a stranger on this one gets in."""
    assert lab.listens_at(served.process) == {"127.0.0.1"}
    for address in own_addresses():
        with pytest.raises(OSError, match="refused|timed out"):
            served.get("/", host=address)
    for path in pages:
        for token in (None, "wrong", served.token[:-1]):
            status, headers, text = served.get(path, token=token)
            # Sent to the door, or away.
            assert status in (302, 401, 403), (path, status)
            assert status != 302 or "/login?next=" in headers["Location"]
            assert served.token not in text + str(headers)
    # A page elsewhere whose name was made to point here is a stranger too.
    assert served.get(pages[0], said=f"elsewhere.example:{served.port}")[0] in (302, 403)


@pytest.fixture(scope="module")
def tablet(watched, files, tmp_path_factory):
    pytest.importorskip("voila")
    place = tmp_path_factory.mktemp("pages")
    home = place / "home"
    (home / "notebooks").mkdir(parents=True)
    shutil.copy(lab.ROOT / "notebooks" / "00-start-here.ipynb", home / "notebooks")
    code = (
        f"import suspkit as sk\nevil = sk.load_vehicle({str(files[1])!r})\nprint(evil.name)\n{{}}"
    )
    cells = [nbformat.v4.new_markdown_cell("# Evil & <i>more</i> `x`")]
    cells += [
        nbformat.v4.new_code_cell(code.format(line))
        for line in (
            "sk.ride_panels.road(evil)",
            "sk.study_panels.what_if(evil, also='each set-up')",
            "sk.exercise_panels.panel('height', vehicle=evil)",
            "sk.study.readable(sk.study.sensitivity(evil, load=evil.targets.load))",
            "sk.sweep(evil, evil.setups, vary={'setup.front.turns': [3]}).iloc[:, :3]",
        )
    ]
    nbformat.write(nbformat.v4.new_notebook(cells=cells), home / "notebooks" / "evil.ipynb")
    mark = lab.plant(place)
    served = Served(
        ["tablet", files[1], "--folder", home], r"/\?token=(\S+)", log=place / "log",
        environment=watched,
    )  # fmt: skip
    yield served
    served.stop()
    # Nothing of the folder it was started in was run.
    assert not mark.exists() and not (place / "cache").exists()


def test_tablet_is_shut(tablet):
    pages = ["/", "/voila/render/set-up.ipynb", "/voila/api/contents", "/api/kernels",
             "/api/contents", "/files/evil.ipynb"]  # fmt: skip
    assert_shut(tablet, [page for page in pages if tablet.get(page)[0] != 404])
    status, headers, text = tablet.get("/", token=tablet.token)
    assert status == 200 and "set-up" in text
    assert tablet.token not in text + str(headers)
    _, headers, _ = tablet.get(f"/?token={tablet.token}")
    cookies = headers.get_all("Set-Cookie")
    login = [cookie for cookie in cookies if cookie.startswith("username-")]
    assert login and all("HttpOnly" in one and tablet.token not in one for one in login)
    soup = BeautifulSoup(text, "html.parser")
    assert "Evil & <i>more</i> `x`" in soup.text and not soup.find("i")


@pytest.mark.slow
@pytest.mark.browser
def test_tablet_shows_evil_names_as_they_are(tablet, watched):
    with lab.browser_page(width=1000, height=1000) as page:
        asked, alarms = note(page)
        for name, boxes in (("set-up", 1), ("evil", 2)):
            address = f"http://127.0.0.1:{tablet.port}/voila/render/{name}.ipynb"
            page.goto(f"{address}?token={tablet.token}", timeout=120_000)
            page.wait_for_function(
                f"document.querySelectorAll('img.widget-image').length >= {boxes}", timeout=120_000
            )
            page.wait_for_timeout(500)
            assert EVIL in page.locator("main").inner_text()
            assert page.locator("img[src=x]").count() == 0
            assert "$\\frac{" in page.locator("main").inner_text()
            assert page.locator("select option", has_text=START).count() > 0
            assert tablet.token not in page.content()
        own = (f"http://127.0.0.1:{tablet.port}", f"ws://127.0.0.1:{tablet.port}", "data:", "blob:")
        assert [url for url in asked if not url.startswith(own)] == []
        assert alarms == []
    assert left(watched) == ""


@pytest.mark.slow
def test_guide_is_shut(watched, tmp_path):
    pytest.importorskip("jupyterlab")
    mark = lab.plant(tmp_path)
    served = Served(
        ["guide", "--no-browser", "--folder", tmp_path / "guide"], r"[?&]token=(\w+)",
        log=tmp_path / "log", environment=watched,
    )  # fmt: skip
    try:
        assert_shut(served, ["/lab", "/api/kernels", "/api/contents/notebooks", "/api/terminals",
                             "/files/notebooks/00-start-here.ipynb"])  # fmt: skip
        assert served.get("/api/contents/notebooks", token=served.token)[0] == 200
    finally:
        served.stop()
    assert not mark.exists() and not (tmp_path / "cache").exists()
    assert left(watched) == ""
    for path in (tmp_path / "guide").rglob("*"):
        if path.is_file():
            assert served.token.encode() not in path.read_bytes()


# --------------------------------------------------------------------------- in a browser


def note(page):
    """Requests and alarms of a page, as they come."""
    asked, alarms = [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("pageerror", lambda error: alarms.append(str(error)))
    # What the page's own rules hold back never leaves.
    page.on("requestfailed", lambda r: asked.remove(r.url) if r.failure == "csp" else None)

    def rings(dialog):
        alarms.append(dialog.message)
        dialog.dismiss()

    page.on("dialog", rings)
    return asked, alarms


RAW = (
    "# Title\n\nAnd <img src=x onerror=alert(1)> <script>alert(2)</script> "
    '<a href="javascript:alert(3)">press</a> <b onmouseover="alert(4)">over</b>\n'
)


@pytest.mark.browser
def test_pages_on_paper_do_nothing_in_a_browser(pair, tmp_path):
    vehicle = pair[1]
    (tmp_path / "sheet.html").write_text(sheet.html(vehicle), "utf-8")
    made = article.read(write_article(tmp_path / "a.md", longer), vehicle=vehicle)
    (tmp_path / "article.html").write_text(made, "utf-8")
    key = exercises.key(exercises.paper(5, vehicle=vehicle))
    (tmp_path / "key.html").write_text(key, "utf-8")
    # What the writer of a notebook puts into its words does not run on the page either.
    cell = nbformat.v4.new_code_cell(f"print({LONG!r})")
    cells = [nbformat.v4.new_markdown_cell(RAW), cell]
    nbformat.write(nbformat.v4.new_notebook(cells=cells), tmp_path / "n.ipynb")
    (tmp_path / "notebook.html").write_text(
        article.read(tmp_path / "n.ipynb", run_code=True), "utf-8"
    )
    with lab.browser_page() as page:
        asked, alarms = note(page)
        for name in ("sheet", "article", "key", "notebook"):
            at = (tmp_path / f"{name}.html").as_uri()
            asked.clear()
            page.goto(at)
            assert START in page.locator("body").inner_text()
            for link in page.locator("a").all():
                link.click()
            for bold in page.locator("b[onmouseover]").all():
                bold.hover()
            page.wait_for_timeout(200)
            elsewhere = [url for url in asked if not url.startswith(("data:", at))]
            assert elsewhere == [] and alarms == [], name
        assert page.locator("img[src=x]").count() == 1  # of the notebook: there, but not let in
