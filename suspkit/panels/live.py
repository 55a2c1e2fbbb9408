"""Controls that move charts, live. No physics and no drawing here."""

from __future__ import annotations

import base64
import html
import io
import math
from dataclasses import replace
from threading import RLock

import ipywidgets as widgets

from suspkit.charts.board import Board, rows_for, settings
from suspkit.statics.view import cautions, in_words, look, readout
from suspkit.units import INCH, show, tape
from suspkit.vehicle.corner import assemble, hold_rings
from suspkit.vehicle.entrance import USUAL, known_load, with_setup
from suspkit.vehicle.setup import AXLES
from suspkit.vehicle.vehicle import known_name

TURNS = (0.0, 12.0, 0.25)
"""Range and step of the collar slider [turns]."""

GAP_STEPS = {"us": (INCH / 16, 6 * 16), "metric": (0.001, 152)}
"""Step of the gap slider [m], and how many."""

KEPT = 8
"""Boards a panel keeps, the last shown: each is a figure of some megabytes."""

_WIDE = {"description_width": "9.5em"}


def gap_options(units):
    """What the slider of a stop gap can be set to.

    Parameters
    ----------
    units : {"us", "metric"}

    Returns
    -------
    list of (str, float)
        Words and gap [m].
    """
    step, count = GAP_STEPS[units]
    gaps = [i * step for i in range(count + 1)]
    return [(tape(g) if units == "us" else show(g, "length", units, digits=0), g) for g in gaps]


def nearest_gap(gap, units):
    """The slider's step nearest to a gap; of several gaps, the one nearest the collar.

    Parameters
    ----------
    gap : float or tuple of float
        [m]
    units : {"us", "metric"}

    Returns
    -------
    float
        [m]
    """
    step, count = GAP_STEPS[units]
    gap = gap[0] if isinstance(gap, tuple) else gap
    return min(count, max(0, round(gap / step))) * step


def offer(control, options, value):
    """Give a control other options, and set it.

    Parameters
    ----------
    control : widgets.SelectionSlider, widgets.SelectionRangeSlider
    options : list of tuple
        Words and value of each.
    value : object
        One of the values, or of two ends.
    """
    # From an index past the new end the page would send its own end back as if moved; and all in
    # one message, it would send the old one.
    control.index = (0, 0) if isinstance(control, widgets.SelectionRangeSlider) else 0
    control.options = options
    control.value = value


def units_control(units):
    """The choice of units; in a known system, or one sentence says so."""
    known_name(units, GAP_STEPS, "units", "a system")
    return widgets.ToggleButtons(
        options=[("US units", "us"), ("metric", "metric")], value=units,
        style={"button_width": "7em"},
    )  # fmt: skip


def axle_control(axle):
    """The choice of axle; of a known one, or one sentence says so."""
    known_name(axle, AXLES, "axle", "an axle")
    return widgets.ToggleButtons(
        options=[(f"{a} axle", a) for a in AXLES], value=axle, style={"button_width": "7em"}
    )


def load_control(vehicle, load, *, width="15em"):
    """The choice of what is aboard; nothing is one of the choices where that is asked for."""
    load, options = known_load(vehicle, load), [(name, name) for name in vehicle.loads]
    if load is None:
        options = [("as weighed", None), *options]
    return widgets.Dropdown(
        options=options, value=load, description="load",
        layout=widgets.Layout(width=width), style={"description_width": "4em"},
    )  # fmt: skip


class LivePanel(widgets.VBox):
    """Controls over a picture and its words, and a sentence instead where there is none.

    ``view`` is what is shown now, ``controls`` are the widgets by name, and ``error`` is the
    sentence shown in place of a chart that cannot be made, empty if all is well.

    A subclass makes ``controls`` and calls ``_lay_out``; it says what a control changes besides
    the picture in ``_react`` (nothing if not needed), and makes picture and words in ``_show``.
    """

    controls = view = None
    error = ""

    for_print = False
    """Whether the picture that stands in for the panel is drawn for paper."""

    def _lay_out(self, controls, rows):
        """Show ``rows`` of controls above the chart, and answer whenever one is moved."""
        self.controls, self.error, self.view, self._boards = controls, "", None, {}
        self._turn = RLock()
        self.chart = widgets.Image(format="png", layout=widgets.Layout(max_width="100%"))
        self.words = widgets.HTML()
        layout = widgets.Layout(
            flex_flow="row wrap", width="100%", align_items="center", grid_gap="0 16px"
        )
        super().__init__([*(widgets.HBox(r, layout=layout) for r in rows), self.chart, self.words])
        self.add_class("suspkit-panel")  # by which the page knows what to name
        for control in controls.values():
            control.observe(self._changed, names="value")
        self._quiet = False
        self.refresh()

    def set(self, **values):
        """Move controls as a hand would; see `controls` for their names."""
        for name, value in values.items():
            self.controls[name].value = value

    def _changed(self, change):
        # JupyterLab has a kernel answer its controls in two threads, the first message of each in
        # one and the rest in the other. What is shown last must be what is set last.
        with self._turn:
            self._answer(change)

    def _answer(self, change):
        if self._quiet:
            return
        self._quiet = True
        try:
            self._react(change)
        except Exception as error:
            self._fail(error)
            return
        finally:
            self._quiet = False
        self.refresh()

    def _react(self, change):
        """What a moved control changes in other controls."""

    def _show(self, units):
        """The view, its picture and its words as HTML."""
        raise NotImplementedError

    def _describe(self, units):
        """The view in words."""
        raise NotImplementedError

    def refresh(self):
        """Show what the controls say. Never raises: what cannot be shown is said in words."""
        try:
            view, picture, words = self._show(self.controls["units"].value)
            self.view, self.error = view, ""
            self.chart.value, self.words.value = picture, words
            self.chart.layout.visibility = "visible"
        except Exception as error:  # a callback's exception would vanish: the page must say it
            self._fail(error)

    def _fail(self, error):
        """Say in the panel why there is no picture."""
        self.error = str(error) or type(error).__name__
        self.chart.layout.visibility = "hidden"  # a stale chart would be a wrong one
        self.words.value = (
            '<div role="alert" style="border:2px solid #1b1f24;padding:.5em;max-width:60em">'
            f"<b>This cannot be shown.</b> {html.escape(self.error)}</div>"
        )

    def _board(self, key, make):
        """The board kept under ``key``, made if there is none yet, at its own size on screen."""
        board = self._shown = self._boards.pop(key, None) or make()
        self._boards[key] = board  # the newest last
        if len(self._boards) > KEPT:
            del self._boards[next(iter(self._boards))]
        # Its own size on screen, so that ink stays sharp; narrower where the page is.
        self.chart.layout.width = f"{board.figure.bbox.width:.0f}px"
        return board

    def summary(self):
        """What is shown, in words.

        Returns
        -------
        str
        """
        if self.error:
            return f"This cannot be shown. {self.error}"
        return self._describe(self.controls["units"].value)

    def _repr_mimebundle_(self, **kwargs):
        # Without a kernel the widget is dead: the picture and its words stand in for it.
        bundle = super()._repr_mimebundle_(**kwargs)
        data, *rest = bundle if isinstance(bundle, tuple) else (bundle,)
        data = dict(data or {}, **{"text/plain": self.summary()})
        if self.chart.value and not self.error:
            data["image/png"] = base64.b64encode(self.chart.value).decode()
            if self.for_print and self._boards:  # else the picture is not of a board
                drawn = io.StringIO()
                with settings({}):
                    self._shown.still(self.view).savefig(drawn, format="svg")
                data["image/svg+xml"] = drawn.getvalue()
        return (data, *rest) if rest else data


class Panel(LivePanel):
    """Controls bound to one board of charts.

    Parameters
    ----------
    vehicle : Vehicle
    kind : {"start", "install", "preload", "gap"}
        Which charts, and which controls.
    setup : Setup or str, optional
        To start from; the current one if not given.
    load : str, optional
        The vehicle's usual load if not given, nothing aboard if None.
    axle : {"front", "rear"}
        The axle drawn in detail.
    units : {"us", "metric"}

    Attributes
    ----------
    view : View
        What is shown now.
    """

    SHOWN = {
        "start": ("front_turns", "front_gap", "rear_turns", "rear_gap", "load", "axle", "units"),
        "install": ("setup", "axle", "load", "units"),
        "preload": ("front_turns", "rear_turns", "ring", "load", "axle", "units"),
        "gap": ("front_turns", "front_gap", "rear_turns", "rear_gap", "axle", "load", "units"),
    }

    def __init__(self, vehicle, kind, setup=None, *, load=USUAL, axle="front", units="us"):
        known_name(kind, self.SHOWN, "kind", "a panel")
        vehicle, name = with_setup(vehicle, setup)
        self.vehicle, self.kind = vehicle, kind
        self._held, self._quiet = None, True
        self._setup = vehicle.setups[name]
        controls = self._make_controls(name, load, axle, units)
        shown = self.SHOWN[kind]
        sliders = [controls[n] for n in shown if n.endswith(("turns", "gap"))]
        choices = [controls[n] for n in shown if not n.endswith(("turns", "gap"))]
        self._lay_out(controls, [choices, sliders])

    def _make_controls(self, setup, load, axle, units):
        made = {
            "setup": widgets.Dropdown(
                options=list(self.vehicle.setups), value=setup, description="set-up",
                layout=widgets.Layout(width="16em"), style={"description_width": "4em"},
            ),
            "load": load_control(self.vehicle, load, width="16em"),
            "axle": axle_control(axle),
            "units": units_control(units),
            "ring": widgets.ToggleButtons(
                options=[("gap re-set by tape", "reset"), ("ring left alone", "left")],
                style={"button_width": "11em"},
            ),
        }  # fmt: skip
        low, high, step = TURNS
        # A vehicle may start beyond the usual range; a slider would quietly pull it back.
        most = max(float(c.turns) for s in self.vehicle.setups.values() for c in s.corners)
        high = max(high, step * math.ceil(most / step))
        for name, (left, _right) in AXLES.items():
            corner = getattr(self._setup, left)
            made[f"{name}_turns"] = widgets.FloatSlider(
                min=low, max=high, step=step, value=float(corner.turns), readout_format=".2f",
                description=f"{name} turns", tooltip="collar turns from contact", style=_WIDE,
                layout=widgets.Layout(width="27em"),
            )  # fmt: skip
            made[f"{name}_gap"] = widgets.SelectionSlider(
                options=gap_options(units), value=nearest_gap(corner.gap or 0.0, units),
                description=f"{name} stop gap", tooltip="by tape at droop hang", style=_WIDE,
                layout=widgets.Layout(width="27em"), disabled=corner.gap is None,
            )  # fmt: skip
        return made

    def set(self, **values):
        """Move controls as a hand would; see `controls` for their names."""
        for name, value in values.items():
            if name.endswith("_gap"):
                value = nearest_gap(value, self.controls["units"].value)
            super().set(**{name: value})

    def _react(self, change):
        if change["owner"] is self.controls["units"]:
            self._change_units(change["old"], change["new"])
        elif change["owner"] is self.controls["setup"]:
            self._change_setup(change["new"])
        elif change["owner"] is self.controls["ring"]:
            self._held = None

    def _gap(self, axle, units):
        """The gap a slider stands for [m]: the set-up's own, unrounded, until it is moved."""
        own, value = getattr(self._setup, AXLES[axle][0]).gap, self.controls[f"{axle}_gap"].value
        if own is None or value == nearest_gap(own, units):
            return own
        return (value, *own[1:]) if isinstance(own, tuple) else value

    def _change_units(self, old, new):
        for name in AXLES:
            slider, gap = self.controls[f"{name}_gap"], self._gap(name, old)
            offer(slider, gap_options(new), nearest_gap(gap or 0.0, new))

    def _change_setup(self, name):
        self._setup, self._held = self.vehicle.setups[name], None
        units = self.controls["units"].value
        for axle, (left, _right) in AXLES.items():
            corner = getattr(self._setup, left)
            self.controls[f"{axle}_turns"].value = float(corner.turns)
            self.controls[f"{axle}_gap"].disabled = corner.gap is None
            if corner.gap is not None:
                self.controls[f"{axle}_gap"].value = nearest_gap(corner.gap, units)

    @property
    def setup(self):
        """The set-up the controls stand for."""
        setup = self._setup
        for axle, (left, _right) in AXLES.items():
            own, changes = getattr(setup, left), {}
            turns = self.controls[f"{axle}_turns"].value
            gap = self._gap(axle, self.controls["units"].value)
            # What was not moved stays as the file has it, left and right apart if they are.
            if turns != float(own.turns):
                changes["turns"] = turns
            if gap != own.gap:
                changes["gap"] = gap
            if changes:
                setup = setup.change(axle, **changes)
        if self.controls["ring"].value == "left":
            if self._held is None:
                # The rings stay where the set-up's own numbers put them.
                self._held = hold_rings(self._setup, assemble(self.vehicle, self._setup))
            rings = {n: getattr(self._held, n).ring for pair in AXLES.values() for n in pair}
            setup = replace(
                setup,
                **{
                    n: replace(getattr(setup, n), gap=None, ring=ring)
                    for n, ring in rings.items()
                    if ring is not None
                },
            )
        return setup

    def _show(self, units):
        axle = self.controls["axle"].value
        view = look(self.vehicle, self.setup, load=self.controls["load"].value)
        rows, size = rows_for(self.kind, axle)
        board = self._board(
            (axle, units, self.controls["setup"].value),
            lambda: Board(view, rows, units=units, size=size),
        )
        return view, board.render(view), _table(view, units)

    def _describe(self, units):
        return in_words(self.view, units)


def _table(view, units):
    """The readout as a small table, any caution above it, and the words for a screen reader."""
    return as_table(
        view.axles, readout(view, units), notes=cautions(view, units), spoken=in_words(view, units)
    )


def as_table(heads, rows, *, notes, spoken):
    """Numbers side by side as HTML; whatever is in them is text, never markup.

    Parameters
    ----------
    heads : iterable of str
        Of the columns.
    rows : dict of str to sequence of str
        Label to one text a column.
    notes : iterable of str
        Cautions, put above.
    spoken : str
        The words for a screen reader.

    Returns
    -------
    str
    """
    above = "".join(
        f'<div role="status" style="font-weight:bold">{html.escape(note)}</div>' for note in notes
    )
    body = "".join(
        f'<tr><th style="text-align:left;font-weight:normal;padding-right:1.5em">'
        f"{html.escape(label)}</th>"
        + "".join(f'<td style="padding-right:1.5em"><b>{html.escape(t)}</b></td>' for t in texts)
        + "</tr>"
        for label, texts in rows.items()
    )
    head = "".join(f'<th style="text-align:left">{html.escape(name)}</th>' for name in heads)
    table = f'<table style="line-height:1.35"><tr><td></td>{head}</tr>{body}</table>'
    return above + table + unseen(spoken)


def unseen(spoken):
    """What the picture shows, for a screen reader alone; the picture is called by it.

    Parameters
    ----------
    spoken : str

    Returns
    -------
    str
        HTML.
    """
    hidden = "position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%)"
    words = html.escape(spoken)
    return f'<p class="suspkit-spoken" aria-live="polite" style="{hidden}">{words}</p>'


def start(vehicle, setup=None, **options):
    """The whole vehicle: turns and gaps at both ends, all four charts. Options as for `Panel`."""
    return Panel(vehicle, "start", setup, **options)


def install(vehicle, setup=None, **options):
    """What is in the stack and where it moves. Options as for `Panel`."""
    return Panel(vehicle, "install", setup, **options)


def preload(vehicle, setup=None, **options):
    """Collar turns against ride height. Options as for `Panel`."""
    return Panel(vehicle, "preload", setup, **options)


def stop_gap(vehicle, setup=None, **options):
    """Stop gap against crossover and bottoming. Options as for `Panel`."""
    return Panel(vehicle, "gap", setup, **options)


def numbers(panel_or_view, *, units="us"):
    """The readout as lines of text, for a notebook cell that is checked.

    Parameters
    ----------
    panel_or_view : Panel or View
    units : {"us", "metric"}

    Returns
    -------
    str
    """
    return lines_of(panel_or_view, readout, units=units)


def lines_of(panel_or_view, read, *, units):
    """The numbers of a panel, or of a view, as lines of text; or why there are none.

    Parameters
    ----------
    panel_or_view : LivePanel or object
        A panel, or a view that ``read`` takes.
    read : callable
        Takes view and units and gives labels to texts [each with its unit].
    units : {"us", "metric"}

    Returns
    -------
    str
    """
    if getattr(panel_or_view, "error", ""):
        return panel_or_view.summary()
    return as_lines(read(getattr(panel_or_view, "view", panel_or_view), units))


def as_lines(rows):
    """Numbers side by side as lines of text.

    Parameters
    ----------
    rows : dict of str to sequence of str
        Label to one text a column.

    Returns
    -------
    str
    """
    width = max(map(len, rows))
    return "\n".join(f"{label:<{width}}  {'  |  '.join(t)}" for label, t in rows.items())


__all__ = [
    "LivePanel", "Panel", "as_lines", "as_table", "axle_control", "gap_options", "install",
    "load_control", "nearest_gap", "numbers", "preload", "start", "stop_gap", "units_control",
    "unseen",
]  # fmt: skip
