"""The panel of how sure numbers are: every slider is moved, picture and words must follow."""

import base64
import html
import io

import numpy as np
import pytest
from numpy.testing import assert_allclose
from PIL import Image

import suspkit as sk
from suspkit.charts import tolerance as sure_charts
from suspkit.panels import tolerance as sure_panels
from suspkit.studies.tolerance import Tolerances, compare_habits
from suspkit.units import INCH

UNIT7 = sk.example("unit7")
COUNT = 300


def small(**options):
    return sure_panels.spread(UNIT7, count=COUNT, **options)


def board(panel):
    return panel._boards[panel.controls["units"].value, panel.controls["load"].value]


def expect(panel, load="patrol", setup=None, **off):
    """Picture, words and numbers are those of ``compare_habits`` with these tolerances."""
    assert panel.error == ""
    assert panel.tolerances == Tolerances(**off)
    want = compare_habits(UNIT7, setup, load=load, count=COUNT, tolerances=Tolerances(**off))
    units = panel.controls["units"].value
    for chart in board(panel).charts:
        for row, one in enumerate((want.counted, want.copied)):
            kind, key = "length", (chart.quantity, chart.where)
            ends = one.numbers.loc[key, ["low", "high"]].to_numpy(dtype=float)
            shown = chart.bars[row].get_xdata()
            assert_allclose(shown, sk.units.to_unit(ends, kind, units), atol=1e-12)
            assert one.between(*key, units) in chart.texts[row].get_text()
    for lines in want.table(units).to_numpy():
        for words in lines:
            assert html.escape(words) in panel.words.value
    assert html.escape(want.words(units)) in panel.words.value
    assert panel.chart.layout.visibility == "visible"
    assert Image.open(io.BytesIO(panel.chart.value)).size == (960, 560)
    return want


def test_starts_with_the_usual_tolerances():
    panel = small()
    expect(panel)
    assert set(panel.controls) == {"load", "units", *vars(Tolerances())}


@pytest.mark.parametrize("name", list(vars(Tolerances())))
def test_every_slider_moves_the_picture(name):
    panel = small()
    most = panel.controls[name].options[-1][1]
    panel.set(**{name: most})
    expect(panel, **{name: most})
    at_most = panel.chart.value
    least = panel.controls[name].options[0][1]
    assert least == 0.0
    panel.set(**{name: least})
    expect(panel, **{name: 0.0})
    assert panel.chart.value != at_most


def test_all_exact_and_all_at_most_can_be_shown():
    panel = small()
    sliders = list(vars(Tolerances()))
    for end in (0, -1):
        off = {name: panel.controls[name].options[end][1] for name in sliders}
        panel.set(**off)
        expect(panel, **off)


def test_load_and_setup():
    panel = small(load="bare", setup=UNIT7.setups["stock"])
    expect(panel, load="bare", setup=UNIT7.setups["stock"])
    panel.set(load="carry-out")
    expect(panel, load="carry-out", setup=UNIT7.setups["stock"])


def test_units_change_nothing_but_the_reader():
    panel = small()
    panel.set(rate=0.06, across=INCH / 2)
    panel.set(units="metric")
    expect(panel, rate=0.06, across=INCH / 2)
    assert "6.3 mm" in [label for label, _ in panel.controls["free_length"].options]
    assert " in" not in "".join(sure_panels.spread_numbers(panel, units="metric"))
    panel.set(units="us")
    expect(panel, rate=0.06, across=INCH / 2)
    assert len(panel._boards) == 2


def test_numbers_and_summary():
    panel = small()
    lines = sure_panels.spread_numbers(panel).splitlines()
    assert len(lines) == len(panel.view.table()) and lines[0].startswith("front ride height")
    assert sure_panels.spread_numbers(panel.view) == "\n".join(lines)
    assert panel.view.words() in panel.summary() and "Assumed:" in panel.summary()


def test_what_cannot_be_shown_is_said_and_comes_back(monkeypatch):
    panel = small()
    monkeypatch.setattr(sure_panels, "compare_habits", lambda *a, **k: 1 / 0)
    panel.set(rate=0.1)
    assert panel.error == "division by zero" and panel.chart.layout.visibility == "hidden"
    assert "This cannot be shown." in panel.words.value
    assert sure_panels.spread_numbers(panel).startswith("This cannot be shown.")
    monkeypatch.undo()
    panel.set(rate=0.02)
    expect(panel, rate=0.02)


def test_bad_choices_are_refused():
    with pytest.raises(ValueError, match="load is 'nope'; expected a load of this vehicle"):
        small(load="nope")
    with pytest.raises(ValueError, match="units is 'imperial'; expected a system: us, metric"):
        small(units="imperial")
    panel = sure_panels.spread(UNIT7, count=1)
    assert panel.error.startswith("count is 1; expected a whole number, 2 or more")


# ------------------------------------------------------------------------------- the picture


@pytest.fixture(scope="module")
def habits():
    return compare_habits(UNIT7, load="patrol", count=3000)


def test_shapes_are_the_samples_counted(habits):
    figure_board = sure_charts.SpreadBoard(habits)
    figure_board.update(habits)
    for chart in figure_board.charts:
        for row, one in enumerate((habits.counted, habits.copied)):
            shape = chart.fills[row].get_paths()[0].vertices
            base = chart._base(row)
            assert_allclose(shape[:, 1].max(), base + 0.5)
            # Its centre of mass is the mean of those drawn.
            x, y = shape[1:-2].T
            middle = (x * (y - base)).sum() / (y - base).sum()
            key = (chart.quantity, chart.where)
            mean = sk.units.to_unit(one.numbers.loc[key, "mean"], "length")
            assert_allclose(middle, mean, atol=0.02)
            # And its width is their scatter, the bins' and the smoothing's apart.
            wide = np.sqrt((((x - middle) ** 2) * (y - base)).sum() / (y - base).sum())
            sd = sk.units.to_unit(one.numbers.loc[key, "sd"], "length")
            assert_allclose(wide, sd, rtol=0.05)


def test_the_check_is_shaded(habits):
    figure_board = sure_charts.SpreadBoard(habits)
    figure_board.update(habits)
    (sides,) = (c for c in figure_board.charts if c.quantity == "left less right")
    (shade,) = sides.axes.patches
    x = shade.get_xy()[0], shade.get_xy()[0] + shade.get_width()
    assert_allclose(x, (-1 / 16, 1 / 16))
    for row, one in enumerate((habits.counted, habits.copied)):
        assert f"{one.fails['front']:.0%} fail" in sides.texts[row].get_text()
        assert len(sides.outlines[row].get_xdata()) == 96
    for chart in figure_board.charts:
        if chart is not sides:
            assert all(len(line.get_xdata()) == 0 for line in chart.outlines)


def test_words_fit_and_do_not_overlap(habits):
    for units in ("us", "metric"):
        wide = compare_habits(
            UNIT7, load="carry-out", count=500,
            tolerances=Tolerances(free_length=INCH / 4, rate=0.1, tape=INCH / 8, collar=1.0),
        )  # fmt: skip
        for view in (habits, wide):
            figure = sure_charts.SpreadBoard(view, units=units).still(view)
            figure.canvas.draw()
            paper = figure.bbox
            for axes in figure.axes:
                boxes = [t.get_window_extent() for t in axes.texts if t.get_text()]
                boxes.append(axes.xaxis.label.get_window_extent())
                for i, box in enumerate(boxes):
                    assert box.x0 >= 0 and box.x1 <= paper.x1 and box.y0 >= 0 and box.y1 <= paper.y1
                    assert not any(box.overlaps(other) for other in boxes[i + 1 :])
                for text in axes.texts:
                    assert text.get_window_extent().x1 <= axes.bbox.x1 + 12


def test_told_in_words_and_by_style(habits):
    figure_board = sure_charts.SpreadBoard(habits)
    told = figure_board.describe(habits)
    for quantity in ("front ride height", "rear ride height", "rake", "front left less right"):
        assert f"Nine of ten vehicles, {quantity}: turns counted" in told
    assert "fail the check" in told
    png = figure_board.render(habits)
    assert png == figure_board.render(habits) and png.startswith(b"\x89PNG")
    panel = small()
    bundle = panel._repr_mimebundle_()
    data = bundle[0] if isinstance(bundle, tuple) else bundle
    assert base64.b64decode(data["image/png"]) == panel.chart.value
