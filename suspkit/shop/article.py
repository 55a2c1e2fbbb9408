"""Articles for customers: a short text whose numbers and charts are computed when it is printed.

An article is Markdown with a head of TOML between two lines of ``+++``::

    +++
    title = "What a stop ring does"
    vehicle = "unit7.toml"        # beside the article; the example vehicle if left out
    setup = "kit"                 # the vehicle's current one if left out
    load = "patrol"               # the target load if left out
    +++

    The front stands at {{ now.axles.front.height | tape }}.

    {{ shock_curve(now, axle="front") }}

Between double braces stands what is computed, in the small language of `suspkit.shop.formula`;
``docs/articles.md`` lists all there is. Numbers come out in shop units with metric ones in
brackets. A number typed as text cannot follow the vehicle, so there should be none that depends on
it.

An article may come from a stranger: it can read the vehicle file beside it and nothing else, write
nothing, and ends. A notebook is a program, so it is not run unless the caller says so.
"""

from __future__ import annotations

import base64
import hashlib
import html as escaping
import io
import json
import re
import tomllib
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

import suspkit
from suspkit.charts import board
from suspkit.files import PACKAGE, UnreadableError, read_text, write_files
from suspkit.parts.shock import Shock, Thread
from suspkit.parts.spring import Spring
from suspkit.parts.stack import Stack
from suspkit.shop.formula import LONGEST, FormulaError, Function, Language, Row, Table, filled
from suspkit.shop.paper import PAPER, book, environment, printed, slug
from suspkit.statics.sensitivity import sensitivity
from suspkit.statics.settle import Bottoming, Stance, settle
from suspkit.statics.view import AxleView, View, look
from suspkit.units import INCH, show, to_unit
from suspkit.vehicle.corner import Corner, assemble
from suspkit.vehicle.file import example, load_vehicle
from suspkit.vehicle.setup import AXLES, ROWS, CornerSetup, Setup
from suspkit.vehicle.vehicle import Vehicle, known_name

HEAD = ("title", "vehicle", "setup", "load", "by")
"""What the head of an article may say."""

LONGEST_HEAD, LONGEST_CAPTION = 2000, 300
"""Characters of an article's head, and of a text that is handed to a function."""

MOST_DECIMALS, MOST_BARS = 6, 50
"""Of a number; and ``|`` in a line, which make the columns of a table."""

GAP_STEP, GAP_REACH = INCH / 8, 1.5 * INCH
"""Stop gaps of the figure that can be moved: how far apart, and how far either way [m]."""


class ArticleError(ValueError):
    """An article that cannot be made: one sentence says where and why."""


@dataclass(frozen=True, kw_only=True)
class Figure:
    """A picture in an article, ready for the page.

    Attributes
    ----------
    html : str
        Of the whole figure.
    alt : str
        What it shows, in words.
    """

    html: str
    alt: str


# --- reading ----------------------------------------------------------------------------------


def _parts(text, name):
    """Head and body of an article, and the lines above the body."""
    if len(text) > LONGEST:
        raise ArticleError(f"{name}: is longer than {LONGEST} characters; expected a short text")
    text = re.sub(r"\r\n?", "\n", text)
    found = re.match(r"\A\+\+\+\n(.*?)\n\+\+\+\n(.*)\Z", text, re.DOTALL)
    if not found:
        raise ArticleError(f"{name}: expected a head between two lines of +++ at the very top")
    if len(found[1]) > LONGEST_HEAD:
        raise ArticleError(
            f"{name}: the head is longer than {LONGEST_HEAD} characters; expected "
            f"{', '.join(HEAD)} alone"
        )
    try:
        head = tomllib.loads(found[1])
    except (ValueError, RecursionError) as error:
        raise ArticleError(f"{name}: the head is not TOML: {error!s:.300}") from None
    for key, value in head.items():
        try:
            known_name(key, HEAD, f"{name}: head", "one of these")
        except ValueError as error:
            raise ArticleError(str(error)) from None
        if not isinstance(value, str):
            raise ArticleError(f"{name}: {key} is {value!r:.60}; expected text in quotes")
    if not head.get("title"):
        raise ArticleError(f"{name}: title is missing; expected one in the head")
    return head, found[2], text.count("\n", 0, found.start(2))


def _vehicle_beside(path, given):
    """The vehicle file an article names: of its own folder, whoever wrote it."""
    named = path.parent / given
    try:
        beside = named.resolve().parent == path.parent.resolve()
    except (OSError, ValueError, RuntimeError):  # no file can have such a name
        beside = False
    if not beside:
        raise ArticleError(
            f"{path.name}: vehicle is {given!r:.60}, which lies elsewhere; expected a file beside "
            "the article (or another one with --vehicle)"
        )
    return load_vehicle(named)


def read(path, *, vehicle=None, run_code=False):
    """Compute an article.

    Parameters
    ----------
    path : str or path
        A Markdown file as told above, or a notebook.
    vehicle : Vehicle, optional
        Instead of the one its head names; not for a notebook.
    run_code : bool
        Whether a notebook may run; what it does then is not held back by anything.

    Returns
    -------
    str
        HTML in one file that needs nothing beside it, nor a network.

    Raises
    ------
    ArticleError
        If the file cannot be read, its head is wrong, something in it cannot be computed, a vehicle
        is given for a notebook, or a notebook may not run.
    """
    path = Path(path)
    try:
        text = read_text(path, expected="a Markdown file")
    except UnreadableError as error:
        raise ArticleError(str(error)) from None
    if path.suffix == ".ipynb":
        if vehicle is not None:
            raise ArticleError(f"{path.name}: a notebook names its own vehicle; expected no other")
        if not run_code:
            raise ArticleError(
                f"{path.name}: a notebook is a program, which would be run; expected a yes to that "
                "from who trusts it (run_code=True, or --run-code)"
            )
        return _from_notebook(path, text)
    head, body, above = _parts(text, path.name)
    if vehicle is None:
        vehicle = _vehicle_beside(path, head["vehicle"]) if "vehicle" in head else example()
    body = _filled(body, path.name, vehicle, head, above=above)
    return _page(head["title"], body, name=path.name, by=head.get("by", ""))


def write(path, *, folder, vehicle=None, units="us", pdf=True, run_code=False):
    """Write an article as HTML and PDF, both or neither.

    Parameters
    ----------
    path : str or path
        Of the Markdown file or notebook.
    folder : str or path
        Made if it is not there.
    vehicle : Vehicle, optional
        Instead of the one the article names.
    units : {"us", "metric"}
        Decides the paper, Letter or A4; the numbers are in both anyway.
    pdf : bool
        False for the HTML alone.
    run_code : bool
        As for `read`.

    Returns
    -------
    list of Path
        ``<name of the file>.html`` and ``.pdf``.

    Raises
    ------
    ArticleError
        As for `read`.
    PrintError
        If no PDF can be made on this machine.
    UnwritableError
        If the folder cannot be written to.
    """
    page, stem = read(path, vehicle=vehicle, run_code=run_code), slug(Path(path).stem)
    files = {f"{stem}.html": page}
    if pdf:
        files[f"{stem}.pdf"] = printed(book(page, PAPER[units]))
    return write_files(folder, files)


# --- the text ----------------------------------------------------------------------------------


def _both(kind, digits=None):
    """A filter that says a number in shop units, metric in brackets."""

    def say(value, digits=digits):
        digits = _decimals(digits)
        return f"{show(value, kind, 'us', digits)} ({show(value, kind, 'metric', digits)})"

    return say


def _decimals(digits):
    if digits is None:
        return None
    if not (isinstance(digits, float) and digits in range(MOST_DECIMALS + 1)):
        raise ValueError(f"decimals are {digits!r:.60}; expected 0 to {MOST_DECIMALS}")
    return int(digits)


_FILTERS = {
    **{kind: _both(kind) for kind in ("tape", "length", "force", "rate", "mass", "energy")},
    "number": lambda value, digits=2.0: f"{value:z.{_decimals(digits)}f}",
    "percent": lambda value, digits=0.0: f"{100 * value:z.{_decimals(digits)}f} %",
    "turns": lambda value: f"{value:z.1f}".removesuffix(".0") + " turns",
    "hertz": lambda value: show(value, "frequency"),
    "abs": abs,
}

_WORK = {"computations": 200, "studies": 20, "pictures": 20}
"""How many calls of each kind one article may make."""


def _filled(body, name, vehicle, head, *, above):
    """The body with everything computed, as HTML; ``above`` lines stand over it."""
    from markdown_it import MarkdownIt

    kept, bare = [], []

    def keep(value):
        """A mark that Markdown leaves alone, for what must reach the page as it is."""
        if isinstance(value, Figure):
            kept.append(value.html)
            bare.append(escaping.escape(value.alt))
            return f"\n\n\ue000{len(kept) - 1}\ue001\n\n"
        bare.append(escaping.escape(_unmarked(value)))
        kept.append(f'<span class="value">{bare[-1]}</span>')
        return f"\ue000{len(kept) - 1}\ue001"

    names = _names(vehicle, head, name)
    language = Language(names=names, filters=_FILTERS, pictures=Figure, work=_WORK)
    try:
        text = filled(_unmarked(body), language, keep=keep)
    except FormulaError as error:
        said = str(error)
        said = said if len(said) <= 300 else f"{said[:297]}..."
        said += "" if "expected" in said else "; expected something that can be computed"
        raise ArticleError(f"{name} line {error.line + above}: {said}") from None
    if any(line.count("|") > MOST_BARS for line in text.split("\n")):  # each row would be as long
        raise ArticleError(f"{name}: a line has more than {MOST_BARS} |; expected a narrower table")
    page = MarkdownIt("commonmark", {"html": False}).enable("table").render(text)
    page = re.sub(r"<p>(\ue000\d+\ue001)</p>(?=\s)", lambda m: _block(m, kept), page)

    def put(page, texts):
        return re.sub(r"\ue000(\d+)\ue001", lambda m: texts[int(m[1])], page)

    # In a tag, as the title of a link, there is room for words alone.
    return put(re.sub(r"<[^>]*>", lambda tag: put(tag[0], bare), page), kept)


def _unmarked(text):
    return text.replace("\ue000", "").replace("\ue001", "")


def _block(match, kept):
    """A figure stands by itself, not inside a paragraph."""
    figure = kept[int(match[1][1:-1])].startswith("<figure")
    return match[1] if figure else match[0]


# --- what an article may speak of -----------------------------------------------------------------

TOLD = {
    Vehicle: ("a vehicle", "name about current"),
    Setup: ("a set-up", "front_left front_right rear_left rear_right front_bar rear_bar change"),
    CornerSetup: ("a corner as adjusted", "stack turns gap ring"),
    View: ("a look", "stance axles"),
    AxleView: ("an axle", "height ride ride_travel crossover crossover_travel"),
    Stance: (
        "a stance",
        "height travel compression shock_force wheel_force tyre_load wheel_rate ride_rate "
        "frequency past_crossover bump_left droop_left front_height rear_height on_stop lifted "
        "tipped bottoming",
    ),
    Bottoming: ("a bottoming reserve", "load_factor load_factor_with_stop energy drop_height"),
    Corner: (
        "a corner",
        "turns least_turns preload contact_hang unbolted_hang hang hang_travel gap ring slack "
        "crossover crossover_travel full_bump_travel given_back stack shock",
    ),
    Stack: ("a stack", "springs free_length solid_compression rate"),
    Spring: ("a spring", "name rate free_length solid_length"),
    Shock: ("a shock", "stroke full_bump thread"),
    Thread: ("a thread", "collar_pitch ring_pitch collar_travel"),
}
"""What of each thing an article may name; ``docs/articles.md`` lists the same."""

_CALLED = {
    (Setup, "change"): lambda setup: partial(_changed, setup),
    (Stack, "rate"): lambda stack: lambda compression: float(stack.rate(_number(compression))),
}
"""Which of those are functions, made from what they belong to."""


def _plain(value):
    """A value as an article may see it: a number, a text, a row or a table of such."""
    if isinstance(value, np.ndarray) and value.ndim == 0:
        value = value[()]
    if value is None or isinstance(value, str):
        return value
    if isinstance(value, (bool, np.bool_)):
        return bool(value)
    if isinstance(value, (int, float, np.number)):
        return float(value)
    if isinstance(value, (tuple, np.ndarray)):
        return Row(tuple(map(_plain, value)))
    if isinstance(value, dict):
        return Table("a table", tuple(value), lambda name: _plain(value[name]))
    what, names = TOLD[type(value)]

    def read(name):
        made = _CALLED.get((type(value), name))
        return Function(made(value)) if made else _plain(getattr(value, name))

    return Table(what, tuple(names.split()), read, of=value)


def _number(value):
    if not isinstance(value, float):
        raise ValueError("this is no number; expected one")
    return value


def _text(value):
    if not (isinstance(value, str) and len(value) <= LONGEST_CAPTION):
        raise ValueError(f"this is no text of up to {LONGEST_CAPTION} characters; expected one")
    return value


def _changed(setup, where, *, turns=None, gap=None, ring=None, stack=None):
    numbers = {"turns": turns, "gap": gap, "ring": ring}
    changes = {name: _number(value) for name, value in numbers.items() if value is not None}
    changes |= {} if stack is None else {"stack": _text(stack)}
    return _plain(setup.change(_text(where), **changes))


def _names(vehicle, head, name):
    """What an article may speak of."""
    load = head.get("load", vehicle.usual_load)
    setup = vehicle.setup
    try:
        if "load" in head:
            known_name(load, vehicle.loads, "load", "a load of this vehicle")
        if "setup" in head:
            known_name(head["setup"], vehicle.setups, "setup", "a set-up of this vehicle")
            setup = vehicle.setups[head["setup"]]
    except ValueError as error:
        raise ArticleError(f"{name}: {error}") from None

    def meant(value, kind, otherwise):
        if value is None:
            return otherwise()
        if not (isinstance(value, Table) and isinstance(value.of, kind)):
            raise ValueError(f"this is not {TOLD[kind][0]}; expected one")
        return value.of

    def asked(compute):
        """A function of a set-up and a load, those of the head if not given."""

        def made(setup=None, *, load=None):
            return _plain(compute(given(setup), meant_load(load)))

        return Function(made)

    own = setup

    def given(value):
        return meant(value, Setup, lambda: own)

    def meant_load(value):
        return load if value is None else _text(value)

    def seen():
        return look(vehicle, own, load=load)

    def picture(draw):
        def made(view=None, *, axle="front", caption=None):
            view = meant(view, View, seen)
            known_name(axle, AXLES, "axle", "one of")
            return _figure(draw, view, axle=axle, caption=caption and _text(caption))

        return Function(made, "pictures")

    def study(setup=None, *, load=None, turns=1.0):
        """The table of `sensitivity` by axle and change, for ``study()["front"]["ring"]``."""
        table = sensitivity(vehicle, given(setup), load=meant_load(load), turns=_number(turns))
        rows = {axle: {} for axle in AXLES}
        for row in table.to_dict("records"):
            rows[row.pop("axle")][row.pop("change")] = row
        return _plain(rows)

    def move_the_ring(axle="front"):
        known_name(axle, AXLES, "axle", "one of")
        return _ring_figure(vehicle, own, load, axle)

    return {
        "vehicle": _plain(vehicle),
        "load": load,
        "setup": _plain(own),
        "now": _plain(seen()),
        "look": asked(lambda setup, load: look(vehicle, setup, load=load)),
        "settle": asked(lambda setup, load: settle(vehicle, setup, load=load)),
        "assemble": Function(lambda setup=None: _plain(assemble(vehicle, given(setup)))),
        "study": Function(study, "studies"),
        "shock_curve": picture(board.shock_curve),
        "wheel_curve": picture(board.wheel_curve),
        "cut_away": picture(board.cut_away),
        "side_view": picture(board.side_view),
        "move_the_ring": Function(move_the_ring, "pictures"),
    }


# --- pictures ----------------------------------------------------------------------------------


def _svg(figure, salt="suspkit"):
    """A figure as SVG text."""
    drawn = io.StringIO()
    with board.settings({"svg.hashsalt": salt, "svg.fonttype": "path"}):
        figure.savefig(
            drawn, format="svg", bbox_inches="tight", pad_inches=0.04,
            metadata={"Date": None, "Creator": None},
        )  # fmt: skip
    return drawn.getvalue()[drawn.getvalue().index("<svg") :]


def _image(data, kind, alt):
    coded = base64.b64encode(data).decode()
    return f'<img src="data:image/{kind};base64,{coded}" alt="{escaping.escape(alt)}">'


def _captioned(inside, alt):
    return Figure(
        html=f"<figure>{inside}<figcaption>{escaping.escape(alt)}</figcaption></figure>", alt=alt
    )


def _figure(draw, view, *, axle="front", caption=None):
    """One of the charts, drawn for print."""
    kind = {"shock_curve": "shock", "wheel_curve": "wheel", "cut_away": "cutaway"}.get(
        draw.__name__, "side"
    )
    alt = board.Board(view, [[(kind, axle)]]).describe(view)
    options = {} if kind == "side" else {"axle": axle}
    image = _image(_svg(draw(view, **options)).encode(), "svg+xml", alt)
    text = escaping.escape(caption or alt)
    return Figure(html=f"<figure>{image}<figcaption>{text}</figcaption></figure>", alt=alt)


def _ring_figure(vehicle, setup, load, axle):
    """A figure the reader can move without a kernel: every stop gap worked out beforehand."""
    corner = assemble(vehicle, setup)[AXLES[axle][0]]
    if len(corner.ring) != 1:
        raise ArticleError(
            f"move_the_ring: the {axle} stack has {len(corner.ring) or 'no'} stop ring"
            f"{'s' * (len(corner.ring) > 1)}; expected one"
        )
    present = float(corner.gap[0])
    steps = np.arange(-round(GAP_REACH / GAP_STEP), round(GAP_REACH / GAP_STEP) + 1)
    tried = present + GAP_STEP * steps
    low, high = corner.gap_limits()
    views, words, gaps = [], [], []
    for gap in tried[(tried >= max(low, 0.0)) & (tried <= high)].tolist():
        try:
            views.append(look(vehicle, setup.change(axle, gap=gap), load=load))
        except ValueError:
            continue  # all springs solid before full bump: not a gap anyone may set
        gaps.append(gap)
        words.append(_ring_words(views[-1], axle, gap))
    now = int(np.argmin(np.abs(np.array(gaps) - present)))
    svg = _ring_svg(views, axle, now)
    labels = json.dumps({"gaps": [_both("tape")(g) for g in gaps], "words": words})
    return Figure(
        html=environment().get_template("ring.html").render(
            svg=_safe(svg), labels=_safe(labels.replace("<", "\\u003c")), last=len(gaps) - 1,
            now=now, gap=_both("tape")(gaps[now]), words=words[now], axle=axle,
        ),
        alt=words[now],
    )  # fmt: skip


def _safe(text):
    from markupsafe import Markup

    return Markup(text)


def _ring_words(view, axle, gap):
    seen = view.axles[axle]
    factor = show(view.stance.bottoming.load_factor[ROWS[axle].start], "ratio")
    met = (
        f"the divider meets the ring at {_both('length')(seen.crossover_travel)} of wheel travel"
        if np.isfinite(seen.crossover_travel)
        else "the ring is not met before full bump"
    )
    return (
        f"Stop gap {_both('tape')(gap)}: {met}; ride height {_both('tape')(seen.height)}; at full "
        f"bump the springs carry {factor} times the standing load."
    )


def _ring_svg(views, axle, now):
    from matplotlib.figure import Figure as Drawing

    with board.settings({"font.family": "DejaVu Sans", "font.size": 10}):
        figure = Drawing(figsize=(7.0, 3.9), layout="constrained")
        axes = figure.add_subplot()
        top = 0.0
        for i, view in enumerate(views):
            seen = view.axles[axle]
            x, y = to_unit(seen.travel, "length"), to_unit(seen.wheel_force, "force")
            (line,) = axes.plot(x, y, color="0.82", lw=0.8)
            (shown,) = axes.plot(x, y, color="black", lw=2.2, zorder=3)
            shown.set_gid(f"ring-{axle}-{i}")
            if np.isfinite(seen.crossover_travel):
                at = to_unit(seen.crossover_travel, "length")
                force = np.interp(at, x, y)
                (mark,) = axes.plot(at, force, "D", ms=8, mfc="white", mec="black", zorder=4)
                mark.set_gid(f"met-{axle}-{i}")
            top = max(top, float(y.max()))
        board.style(axes, x="wheel travel from droop, in", y="wheel force, lbf")
        axes.set(xlim=(0, None), ylim=(0, 1.04 * top))
        svg = _svg(figure, salt=f"ring-{axle}")
    # Without a script the present gap shows and the others stay pale.
    for i in range(len(views)):
        if i != now:
            for name in ("ring", "met"):
                svg = svg.replace(
                    f'<g id="{name}-{axle}-{i}"', f'<g visibility="hidden" id="{name}-{axle}-{i}"'
                )
    return re.sub(r'(<svg[^>]*?) width="[^"]*"', r"\1", svg, count=1)


# --- the page ----------------------------------------------------------------------------------


def _page(title, body, *, name, by=""):
    outside = re.search(r'<img src="(?!data:)([^"]*)"', body)
    if outside:
        raise ArticleError(
            f"{name}: picture {escaping.unescape(outside[1])!r} lies outside the page; expected "
            "one that is computed, as shock_curve(now)"
        )
    template = environment().get_template("article.html")
    script = (PACKAGE / "templates" / "ring.js").read_text(encoding="utf-8")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    return template.render(
        title=title, by=by, body=_safe(body), script=_safe(script), digest=digest,
        interactive='class="ring-figure"' in body, version=suspkit.__version__,
    )  # fmt: skip


# --- from a notebook ---------------------------------------------------------------------------

_PRINT = "from suspkit.panels.live import LivePanel\nLivePanel.for_print = True"


def _from_notebook(path, text):
    """Run a notebook and keep its words, its printed numbers and its pictures; hide its code."""
    try:
        import nbformat
        from nbclient import NotebookClient
        from nbclient.exceptions import CellExecutionError
    except ImportError:
        raise ArticleError(
            f'{path.name}: notebooks need: pip install "suspkit[guide]"; expected a Markdown file '
            "otherwise"
        ) from None
    from markdown_it import MarkdownIt

    try:
        notebook = nbformat.reads(text, as_version=4)
    except (ValueError, nbformat.ValidationError, KeyError) as error:
        raise ArticleError(f"{path.name} is not a notebook: {error!s:.300}") from None
    notebook.cells.insert(0, nbformat.v4.new_code_cell(_PRINT))
    client = NotebookClient(
        notebook, timeout=300, store_widget_state=False, kernel_name="python3",
        resources={"metadata": {"path": str(path.parent)}},
    )  # fmt: skip
    try:
        client.execute()
    except CellExecutionError as error:
        said = str(error.evalue).strip()[:300] or error.ename
        raise ArticleError(f"{path.name}: a cell fails: {said}; expected it to run") from None
    except (RuntimeError, TimeoutError, KeyError) as error:  # the kernel died, hung, is not there
        said = " ".join(str(error).split())[:200]
        raise ArticleError(f"{path.name}: its kernel stopped: {said}; expected it to run") from None
    words = MarkdownIt("commonmark", {"html": True}).enable("table")
    parts = []
    for cell in notebook.cells[1:]:
        if cell.cell_type == "markdown":
            parts.append(words.render(cell.source))
        elif cell.cell_type == "code":
            parts.extend(filter(None, map(_output, cell.outputs)))
    heading = re.search(r"<h1>(.*?)</h1>\s*", "".join(parts), re.DOTALL)
    title = re.sub(r"<[^>]+>", "", heading[1]) if heading else path.stem
    body = "".join(parts)
    if heading:
        body = body.replace(heading[0], "", 1)
    return _page(escaping.unescape(title), body, name=path.name)


def _output(output):
    """What a cell shows, for the page."""
    if output.output_type == "stream" and output.name == "stdout":
        return f"<pre>{escaping.escape(output.text)}</pre>"
    data = output.get("data", {})
    alt = data.get("text/plain", "")
    if "image/svg+xml" in data:
        return _captioned(_image(data["image/svg+xml"].encode(), "svg+xml", alt), alt).html
    if "image/png" in data:
        return _captioned(_image(base64.b64decode(data["image/png"]), "png", alt), alt).html
    return f"<pre>{escaping.escape(alt)}</pre>" if alt else ""
