"""The panel of kits: every control is moved as a hand would, and picture and words must follow."""

import html

import numpy as np
import pytest
from numpy.testing import assert_allclose

import suspkit as sk
from suspkit.charts.kits import KitBoard, KitCurve, KitScatter
from suspkit.panels.kits import KIT_TURNS, ON_THE_LINE, KitPanel, kit_numbers, kits
from suspkit.studies.choose import KitTargets, choose_springs
from suspkit.units import INCH, POUND_FORCE

UNIT7 = sk.example("unit7")
RACK = {
    name: UNIT7.springs[name]
    for name in (
        "tender-250-5.5", "tender-300-11.5", "tender-350-12", "tender-450-11.5", "main-320-16",
        "main-380-16", "main-480-16.5", "main-520-15.5",
    )
}  # fmt: skip


@pytest.fixture
def panel():
    return KitPanel(UNIT7, rack=RACK)


def board(panel):
    return next(reversed(panel._boards.values()))


def chart(panel, kind):
    return next(c for c in board(panel).charts if type(c) is kind)


def expect(panel, axle, targets, objectives, factors):
    """The panel shows what a search with these targets finds, and the kit on its line."""
    assert panel.error == ""
    found = choose_springs(
        UNIT7, axle=axle, rack=RACK, targets=targets, turns=KIT_TURNS, objectives=objectives
    )
    front, kit = panel.view.choice.front, panel.view.kit
    columns = ["tender", "main", "turns", "gap"]
    assert front[columns].values.tolist() == found.front[columns].values.tolist()
    scatter = chart(panel, KitScatter)
    line = np.array(scatter.front.get_data())
    assert_allclose(line, [front[n] / f for n, f in zip(objectives, factors, strict=True)])
    place = round(panel.controls["along"].value / ON_THE_LINE * (len(front) - 1))
    assert_allclose(np.ravel(scatter.ring.get_data()), line[:, place])
    assert kit.name == front.index[place]
    vehicle, setup = panel.view.choice.fit(kit)
    stance = sk.settle(vehicle, setup, load=targets.load)
    rest = float(stance.compression[0 if axle == "front" else 2])
    assert chart(panel, KitCurve).ride.get_xdata()[0] == pytest.approx(rest / INCH, rel=1e-9)
    assert f"{kit['tender']} over {kit['main']}" in html.unescape(panel.words.value)


def test_starts_with_the_targets_of_the_file(panel):
    targets = KitTargets.of(UNIT7, axle="rear", turns=(0, 24))
    assert panel.controls["height"].value == pytest.approx(targets.ride_height)
    assert panel.controls["load_factor"].value == pytest.approx(2.6)
    expect(panel, "rear", targets, ("frequency", "energy"), (1.0, 12 * INCH * POUND_FORCE))
    assert panel.chart.value[:4] == b"\x89PNG" and panel.chart.layout.visibility == "visible"


def test_each_slider_narrows_what_its_name_says(panel):
    before = len(panel.view.choice.kits)
    panel.set(turns=6)
    assert panel.view.choice.kits["turns"].max() <= 6 and len(panel.view.choice.kits) < before
    panel.set(turns=24, load_factor=2.9)
    assert panel.view.choice.kits["load_factor"].min() >= 2.9
    panel.set(load_factor=1.5, ring=(11 * INCH, 14 * INCH))
    met = panel.view.choice.kits["crossover"] / INCH
    assert len(met) and met.between(11, 14).all()
    height = panel.controls["height"].options[40][1]
    panel.set(height=height)
    assert (panel.view.choice.kits["height"] - height).abs().max() <= INCH / 4
    assert panel.error == ""


def test_along_the_line_goes_from_end_to_end(panel):
    panel.set(across="soft_travel", load_factor=2.0)
    front = panel.view.choice.front
    assert len(front) >= 3 and front["soft_travel"].is_monotonic_increasing
    seen = []
    for along in (0, ON_THE_LINE // 2, ON_THE_LINE):
        panel.set(along=along)
        targets = KitTargets.of(UNIT7, axle="rear", turns=(0, 24), load_factor=2.0)
        factors = (INCH, 12 * INCH * POUND_FORCE)
        expect(panel, "rear", targets, ("soft_travel", "energy"), factors)
        seen.append(panel.view.kit.name)
    assert seen[0] == front.index[0] and seen[-1] == front.index[-1] and len(set(seen)) == 3


def test_axle_load_and_choice_of_axes(panel):
    panel.set(axle="front", up="height_change")
    targets = KitTargets.of(UNIT7, axle="front", turns=(0, 24), load_factor=1.5)
    # The slider's window is by the half inch.
    low, high = panel.controls["ring"].value
    assert abs(low - targets.crossover[0]) <= INCH / 4 >= abs(high - targets.crossover[1])
    aimed = {"crossover": (low, high), "load_factor": 1.5, "turns": (0, 24)}
    targets = KitTargets.of(UNIT7, axle="front", **aimed)
    expect(panel, "front", targets, ("frequency", "height_change"), (1.0, INCH))
    panel.set(load="carry-out", height=panel.controls["height"].options[28][1])
    height = panel.controls["height"].value
    targets = KitTargets.of(UNIT7, axle="front", load="carry-out", ride_height=height, **aimed)
    expect(panel, "front", targets, ("frequency", "height_change"), (1.0, INCH))


def test_searching_is_done_once_for_an_axle_and_a_load(panel, monkeypatch):
    def never(*args, **options):
        raise AssertionError("searched again")

    monkeypatch.setattr("suspkit.panels.kits.choose_springs", never)
    moves = [{"up": "soft_travel"}, {"load_factor": 2.0}, {"along": 20}, {"turns": 12}]
    for move in moves:
        before = panel.words.value
        panel.set(**move)
        assert panel.error == "" and panel.words.value != before, move
    panel.set(load="bare")
    assert panel.error == "searched again" and "cannot be shown" in panel.words.value


def test_no_kit_is_said_in_words(panel):
    panel.set(load_factor=4.0)
    assert panel.error == "" and panel.view.kit is None
    assert "No kit meets every target" in panel.words.value
    assert [type(c) for c in board(panel).charts] == [KitScatter]
    assert "0 meet the targets" in kit_numbers(panel)
    assert "load factor" in kit_numbers(panel)
    panel.set(load_factor=2.0)
    assert panel.view.kit is not None and "No kit" not in panel.words.value


def test_units_change_nothing_but_the_reader(panel):
    panel.set(along=5)
    kit, targets = panel.view.kit.name, panel.targets
    panel.set(units="metric")
    assert panel.error == "" and panel.view.kit.name == kit and panel.targets == targets
    told = kit_numbers(panel, units="metric")
    assert " mm" in told and " N" in told and " in," not in told and "lbf" not in told
    assert "N/mm" in chart(panel, KitCurve).axes.texts[-1].get_text() or any(
        "N/mm" in text.get_text() for text in chart(panel, KitCurve).axes.texts
    )
    x = chart(panel, KitScatter).front.get_xdata()
    assert_allclose(x, panel.view.choice.front["frequency"])
    y = chart(panel, KitScatter).front.get_ydata()
    assert_allclose(y, panel.view.choice.front["energy"])


def test_named_by_their_springs_and_apart(panel):
    panel.set(across="soft_travel", along=ON_THE_LINE // 2)
    scatter, front = chart(panel, KitScatter), panel.view.choice.front
    texts = [text.get_text().strip() for text in scatter.texts]
    rates = {name: f"{s.rate / (POUND_FORCE / INCH):.0f}" for name, s in RACK.items()}
    named = [f"{rates[kit.tender]} over {rates[kit.main]}" for kit in front.itertuples()]
    assert texts[2] == named[round(0.5 * (len(front) - 1))]
    assert texts[0] in ("", named[0]) and texts[1] in ("", named[-1])
    figure = KitBoard(panel.view).still(panel.view)
    figure.canvas.draw()
    boxes = [t.get_window_extent() for t in scatter.texts if t.get_text()]
    assert all(box.x0 >= 0 and box.x1 <= figure.bbox.width for box in boxes)


def test_pictures_and_words_without_a_kernel(panel):
    bundle = panel._repr_mimebundle_()
    data = bundle[0] if isinstance(bundle, tuple) else bundle
    assert "turns" in data["text/plain"] and "ride height" in data["text/plain"]
    assert data["image/png"]
    assert kit_numbers(panel.view) == kit_numbers(panel)
    assert "can be built" in board(panel).describe(panel.view)


def test_bad_questions():
    with pytest.raises(ValueError, match="axle is 'middle'"):
        kits(UNIT7, axle="middle")
    with pytest.raises(ValueError, match="load is 'patroll'"):
        kits(UNIT7, load="patroll")
