"""The exercise panel: what is asked, typed, answered and shown, and that text stays text."""

import io
from dataclasses import replace

import ipywidgets as widgets
import pytest
from PIL import Image

import suspkit as sk
from suspkit.panels import exercise as exercise_panels
from suspkit.panels.exercise import ExercisePanel
from suspkit.teaching import exercises


def plain(widget):
    """What a box says, its fractions as typed."""
    return widget.value.replace("\N{NON-BREAKING HYPHEN}", "-")


@pytest.fixture
def panel():
    return ExercisePanel("drift", seed=3)


def test_asks_what_the_exercise_asks(panel):
    one = sk.exercise("drift", seed=3)
    assert panel.view == one and panel.error == ""
    assert one.question in plain(panel.words) and one.how in plain(panel.words)
    assert panel.summary() == f"Exercise.\n{one.question}\n{one.how}"
    assert panel.chart.layout.display == "none", "no picture, no empty frame"


def test_enter_marks_the_answer(panel):
    assert panel.answer.continuous_update is False, "each key would be an answer"
    panel.answer.value = panel.view.answer
    assert panel.marked.right is True and "Right" in plain(panel.message)
    idea = panel.view.misconceptions[0]
    panel.answer.value = idea.answer
    assert panel.marked.misconception is idea
    panel.answer.value = "2 lb"
    assert panel.marked.right is None and "is a mass" in plain(panel.message)
    assert 'role="status"' in plain(panel.message).replace("'", '"')


def test_check_button_marks_too(panel):
    panel.check_button.click()
    assert panel.marked is None and panel.message.value == "", "nothing typed, nothing wrong"
    panel.answer.value = "30 in"
    panel.message.value = ""
    panel.check_button.click()
    assert panel.view.hints[0] in plain(panel.message)


def test_hints_come_one_by_one(panel):
    hints = panel.view.hints
    for told in range(1, len(hints) + 1):
        panel.hint_button.click()
        shown = [text in plain(panel.message) for text in hints]
        assert shown == [i < told for i in range(len(hints))]
    assert panel.hint_button.disabled
    panel.fresh.click()
    assert not panel.hint_button.disabled
    assert panel.hint_button.description == f"hint ({len(panel.view.hints)} left)"


def test_solution_is_folded_away(panel):
    assert panel.solution.value.startswith("<details><summary>")
    assert "<details open" not in plain(panel.solution)
    assert panel.view.solution in plain(panel.solution)
    assert panel.view.solution not in plain(panel.words) + plain(panel.message)


def test_new_numbers_are_the_next_seed_and_start_afresh(panel):
    panel.answer.value = "30 in"
    panel.hint_button.click()
    panel.fresh.click()
    assert panel.controls["seed"].value == 4
    assert panel.view == sk.exercise("drift", seed=4)
    assert panel.answer.value == panel.message.value == "" and panel.marked is None


@pytest.mark.parametrize("kind", exercises.KINDS)
def test_every_kind_and_both_units(panel, kind):
    for units in ("us", "metric"):
        panel.set(kind=kind, seed=8, units=units)
        assert panel.error == "" and panel.view == sk.exercise(kind, seed=8, units=units)
        has = panel.view.alt != ""
        assert (panel.chart.layout.display != "none") == has
        if has:
            assert Image.open(io.BytesIO(panel.chart.value)).width >= 800
            assert panel.view.alt in plain(panel.words) and panel.view.alt in panel.summary()
        for words in panel.view.choices.values():
            assert words in plain(panel.words)


def test_text_is_text_never_markup(unit7):
    odd = replace(unit7, name="<script>7</script>")
    panel = exercise_panels.panel("height", seed=2, vehicle=odd)
    panel.answer.value = "<b>3</b>"
    panel.hint()
    page = plain(panel.words) + plain(panel.solution) + plain(panel.message)
    assert "&lt;script&gt;7" in page and "<script" not in page
    panel.answer.value = "<i>"
    assert "&lt;i&gt;" in plain(panel.message)


def test_what_goes_wrong_is_said_in_the_panel(panel, unit7, monkeypatch):
    stock = ExercisePanel("drift", vehicle=replace(unit7, current="stock"))
    stock.set(kind="build")
    assert "stop ring between them" in stock.error and "cannot be shown" in stock.words.value
    assert stock.solution.value == stock.message.value == "", "nothing of the last one stays"
    stock.answer.value = "A"
    stock.hint_button.click()
    assert stock.marked is None and stock.message.value == ""
    stock.set(kind="drift")
    assert stock.error == ""

    def broken(*_):
        raise RuntimeError("no marks <today>")

    monkeypatch.setattr(exercise_panels, "mark", broken)
    panel.answer.value = "1 in"
    assert panel.error == "no marks <today>" and "&lt;today&gt;" in plain(panel.words)


def test_all_can_be_reached_by_keyboard(panel):
    """Native controls in the order they are read: tab goes through all of them."""
    top, words, chart, bottom, message, solution = panel.children
    assert [words, chart, message, solution] == [
        panel.words, panel.chart, panel.message, panel.solution,
    ]  # fmt: skip
    reached = [*top.children, *bottom.children]
    kinds = (widgets.Dropdown, widgets.IntText, widgets.Button, widgets.ToggleButtons, widgets.Text)
    assert len(reached) == 7 and all(isinstance(control, kinds) for control in reached)
    assert all(control.description for control in reached if control is not top.children[-1])


def test_bad_start_is_one_sentence():
    with pytest.raises(ValueError, match="kind is 'gap'; expected an exercise"):
        ExercisePanel("gap")
    with pytest.raises(ValueError, match="units is 'uk'; expected a system"):
        ExercisePanel("drift", units="uk")


def test_stands_in_for_itself_without_a_kernel(panel):
    data = panel._repr_mimebundle_()
    data = data[0] if isinstance(data, tuple) else data
    assert data["text/plain"] == panel.summary() and "image/png" not in data
    panel.set(kind="curve")
    data = panel._repr_mimebundle_()
    data = data[0] if isinstance(data, tuple) else data
    assert "Picture: Force over shock travel" in data["text/plain"] and data["image/png"]
