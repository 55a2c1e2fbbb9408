"""Who was trained in what: rows for the job log, the trainer's tick list, a record to print."""

from __future__ import annotations

import hashlib
import json
import re
import tomllib
from dataclasses import dataclass
from datetime import datetime

import suspkit
from suspkit.files import PACKAGE, write_files
from suspkit.shop import order
from suspkit.shop.paper import environment, fitted, shortened, slug
from suspkit.vehicle.ride import moment
from suspkit.vehicle.vehicle import known_name

TAKEN_BACK = "taken back"
"""Result of a row that takes back what was said before of the same thing."""

RESULTS = {
    "exercise": ("right", "misconception", "wrong", TAKEN_BACK),
    "hands-on": ("ticked", TAKEN_BACK),
    "lesson": ("read", TAKEN_BACK),
}
"""What came of it, by kind of training."""

COLUMNS = ("trainee", "when", "kind", "what", "seed", "units", "result", "by", "note")
"""Columns of a row of training."""

IN_A_ROW = 3
"""An exercise counts as solved with so many right in a row: common practice, no source."""

_PAGE = tuple(1 - 0.03 * i for i in range(10))  # sizes of type, until all is on one page
_LONGEST = {"trainee": 60, "by": 60, "note": 2000, "what": 60}
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]")
_TEMPLATES = PACKAGE / "templates"


@dataclass(frozen=True, kw_only=True)
class Training:
    """One thing a trainee did: an exercise answered, a task shown at the vehicle, a lesson read.

    Parameters
    ----------
    kind : {"exercise", "hands-on", "lesson"}
    what : str
        Of `EXERCISES`, `TASKS` or `LESSONS`.
    result : str
        Of `RESULTS`.
    seed : int, optional
        Of an exercise; a paper's number.
    units : {"us", "metric", ""}
        Of an exercise.
    when : str
        Time, as in ISO 8601 with its zone; now if not given.
    by : str
        The trainer who saw it. A tick needs one; an exercise without one was answered alone.
    note : str
        Free text.
    """

    kind: str
    what: str
    result: str
    seed: int | None = None
    units: str = ""
    when: str = ""
    by: str = ""
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Task:
    """A task of the tick list.

    Parameters
    ----------
    title : str
    see : str
        What the trainer must see, as Markdown.
    lesson : str
        The notebook it belongs to.
    source : str
        Who says so.
    """

    title: str
    see: str
    lesson: str
    source: str = "common practice, no source"


def _load(name):
    return tomllib.loads((_TEMPLATES / name).read_text(encoding="utf-8"))


def _tasks(told):
    for key, texts in told.items():
        yield key, Task(**{name: " ".join(text.split()) for name, text in texts.items()})


LESSONS = _load("hands_on.toml")["lessons"]
"""Lessons in order: what each is about, by notebook."""

TASKS = dict(_tasks(_load("hands_on.toml")["tasks"]))
"""Tasks at the vehicle in the order of the work, by key."""

EXERCISES = {key: part["title"] for key, part in _load("exercises.toml").items() if "title" in part}
"""Titles of the exercises, by kind."""

KNOWN = {"exercise": EXERCISES, "hands-on": TASKS, "lesson": LESSONS}
"""What there is to train, by kind of training."""


# --- rows -----------------------------------------------------------------------------------------


def answered(exercise, marked, *, by="", note=""):
    """A row of training for an answer as marked.

    Parameters
    ----------
    exercise : Exercise
    marked : Marked
        What `suspkit.teaching.exercises.mark` gave.
    by : str
        The trainer, if there was one.
    note : str
        Put behind the name of the misconception, if the answer comes from one.

    Returns
    -------
    Training

    Raises
    ------
    ValueError
        If the answer could not be read: that counts as none.
    """
    if marked.right is None:
        raise ValueError(marked.message)
    idea = marked.misconception
    notes = filter(None, [idea and idea.name, note])
    return Training(
        kind="exercise", what=exercise.kind, seed=exercise.seed, units=exercise.units, by=by,
        result="right" if marked.right else "misconception" if idea else "wrong",
        note="; ".join(notes),
    )  # fmt: skip


def as_row(trainee, training):
    """A row of training, not yet checked; of now, if it has no time of its own.

    Parameters
    ----------
    trainee : str
    training : Training

    Returns
    -------
    dict
        By column, of `COLUMNS`.
    """
    here = datetime.now().astimezone().isoformat(timespec="milliseconds")
    return {"trainee": trainee} | vars(training) | {"when": training.when or here}


def checked(row, *, known=True):
    """A row whose values can be.

    Parameters
    ----------
    row : mapping
        By column, of `COLUMNS`.
    known : bool
        False to take a task, lesson or exercise that this suspkit has not, as in an older log.

    Returns
    -------
    dict
        In the order of `COLUMNS`.

    Raises
    ------
    ValueError
        One sentence that starts with the column.
    """
    row = {name: row[name] for name in COLUMNS}
    for name in ("trainee", "what", "by", "note"):
        text, most = row[name], _LONGEST[name]
        if isinstance(text, str) and name != "note":
            text = row[name] = " ".join(text.split())
        wrong = not isinstance(text, str) or len(text) > most
        if wrong or _CONTROL.search(re.sub(r"[\t\n\r]", "", text) if name == "note" else text):
            shown = repr(text)[:60]
            raise ValueError(f"{name} is {shown}; expected text, at most {most} letters long")
    moment("when", row["when"])
    kind, what = row["kind"], row["what"]
    known_name(kind, KNOWN, "kind", "a kind of training")
    if known:
        expected = {"exercise": "an exercise", "hands-on": "a task", "lesson": "a lesson"}[kind]
        known_name(what, KNOWN[kind], "what", expected)
    known_name(row["result"], RESULTS[kind], "result", f"what comes of kind {kind!r}")
    seed = row["seed"]
    if kind != "exercise":
        if seed is not None or row["units"]:
            raise ValueError(
                f"seed is {seed!r:.60} and units is {row['units']!r:.60}; expected neither with "
                f"{kind!r}"
            )
    elif isinstance(seed, bool) or not isinstance(seed, int) or not abs(seed) < 2**63:
        raise ValueError(
            f"seed is {seed!r:.60}; expected the whole number the exercise was drawn with"
        )
    else:
        known_name(row["units"], ("us", "metric"), "units", "a system")
    trainee, by = row["trainee"], row["by"]
    if not trainee:
        raise ValueError("trainee is ''; expected a name")
    if not by and (kind == "hands-on" or row["result"] == TAKEN_BACK):
        raise ValueError(f"by is ''; expected the trainer, without whom nothing is {row['result']}")
    if by.casefold() == trainee.casefold():
        raise ValueError(f"by is {by!r:.60}; expected a trainer other than the trainee")
    return row


def key_of(row):
    """What a row says, as a digest: the same row has the same one in every copy of a log.

    Parameters
    ----------
    row : mapping
        As `checked` gives it.

    Returns
    -------
    str
    """
    said = json.dumps([row[name] for name in COLUMNS])
    return hashlib.sha256(said.encode()).hexdigest()[:32]


def standing(rows):
    """What counts, after all that was taken back.

    Of an exercise the first answer counts, since the solution stands below it; of a task and a
    lesson the last row.

    Parameters
    ----------
    rows : sequence of Training
        Of one trainee, in the order of their times.

    Returns
    -------
    list of Training
        In the order of their times.
    """
    counts = {}
    for row in rows:
        thing = row.kind, row.what, row.seed, row.units
        if row.result == TAKEN_BACK or row.kind != "exercise":
            counts.pop(thing, None)
        if row.result != TAKEN_BACK:
            counts.setdefault(thing, row)
    return list(counts.values())


def solved(rows, what):
    """The answers with which an exercise was first solved: `IN_A_ROW` right ones in a row.

    Parameters
    ----------
    rows : sequence of Training
        As `standing` gives them.
    what : str
        Of `EXERCISES`.

    Returns
    -------
    list of Training
        Empty if it is still open.
    """
    run = []
    for row in rows:
        if row.kind == "exercise" and row.what == what:
            run = [*run, row] if row.result == "right" else []
            if len(run) == IN_A_ROW:
                return run
    return []


def still_open(rows):
    """What a trainee has not done yet.

    Parameters
    ----------
    rows : sequence of Training
        As `standing` gives them.

    Returns
    -------
    dict of str to list of str
        Of `KNOWN`, by kind of training.
    """
    done = {(row.kind, row.what) for row in rows if row.kind != "exercise"}
    done |= {("exercise", what) for what in EXERCISES if solved(rows, what)}
    return {kind: [key for key in keys if (kind, key) not in done] for kind, keys in KNOWN.items()}


# --- on paper -------------------------------------------------------------------------------------


def sheet_html():
    """The tick list to sign at the vehicle, empty, as HTML that needs nothing beside it.

    Returns
    -------
    str
    """
    return _sheet(1.0)


def record_html(trainee, rows):
    """What a trainee has done and what is open, as HTML that needs nothing beside it.

    Parameters
    ----------
    trainee : str
    rows : sequence of Training
        All of the trainee's, in the order of their times, as `JobLog.training` gives them.

    Returns
    -------
    str
    """
    return _record(trainee, rows)(1.0)


def write_sheet(folder, *, paper="letter", pdf=True):
    """Write the empty tick list as HTML and PDF, both or neither.

    Parameters
    ----------
    folder : str or path
        Made if it is not there.
    paper : {"letter", "a4"}
    pdf : bool
        False for the HTML alone.

    Returns
    -------
    list of Path
        ``hands-on.html`` and ``.pdf``.

    Raises
    ------
    PrintError
        If no PDF can be made on this machine.
    UnwritableError
        If the folder cannot be written to.
    """
    return _write(folder, "hands-on", _sheet, paper, pdf)


def write_record(trainee, rows, folder, *, paper="letter", pdf=True):
    """Write a trainee's record as HTML and PDF, both or neither.

    Parameters
    ----------
    trainee : str
    rows : sequence of Training
        As for `record_html`.
    folder : str or path
        Made if it is not there.
    paper : {"letter", "a4"}
    pdf : bool
        False for the HTML alone.

    Returns
    -------
    list of Path
        ``training-<trainee>.html`` and ``.pdf``; with more letters after the name where it has
        others than a file name may have.

    Raises
    ------
    PrintError
        If no PDF can be made on this machine.
    UnwritableError
        If the folder cannot be written to.
    """
    stem = f"training-{slug(trainee)}"
    return _write(folder, stem, _record(trainee, rows), paper, pdf)


def _sheet(scale):
    from markupsafe import Markup

    tasks = [vars(task) | {"key": key} for key, task in TASKS.items()]
    pictures = [Markup(ring["picture"]) for ring in order.RINGS.values()]
    sources = [f"{t.title}: {t.source}" for t in TASKS.values() if t.source != Task.source]
    return environment().get_template("hands_on.html").render(
        tasks=tasks, sources=sources, line=order.line(), why=order.WHY, rings=pictures, scale=scale,
        version=suspkit.__version__,
    )  # fmt: skip


def _record(trainee, rows):
    counts = standing(rows)
    left = still_open(counts)
    exercises = []
    for key, title in EXERCISES.items():
        answers = [row for row in counts if row.kind == "exercise" and row.what == key]
        run = solved(counts, key)
        right = [row for row in answers if row.result == "right"]
        papers = ", ".join(f"{row.seed} {row.units}" for row in (run or right[-IN_A_ROW:]))
        exercises.append(
            {"title": title, "right": len(right), "answers": len(answers), "papers": papers,
             "alone": sum(not row.by for row in run), "last": run[-1] if run else None}
        )  # fmt: skip
    done = {(row.kind, row.what): row for row in counts if row.kind != "exercise"}
    texts = {
        "trainee": shortened(trainee, 60), "exercises": exercises, "in_a_row": IN_A_ROW,
        "lessons": [(key, about, done.get(("lesson", key))) for key, about in LESSONS.items()],
        "tasks": [(task, done.get(("hands-on", key))) for key, task in TASKS.items()],
        "other": sorted({row.what for row in counts if row.what not in KNOWN.get(row.kind, ())}),
        "counts": {kind: (len(keys) - len(left[kind]), len(keys)) for kind, keys in KNOWN.items()},
        "rows": len(rows), "last": rows[-1].when[:10] if rows else "", "short": shortened,
        "version": suspkit.__version__,
    }  # fmt: skip
    return lambda scale: (
        environment().get_template("training_record.html").render(texts, scale=scale)
    )


def _write(folder, stem, page, paper, pdf):
    if not pdf:
        return write_files(folder, {f"{stem}.html": page(1.0)})
    text, pdf = fitted(page, paper, _PAGE)
    return write_files(folder, {f"{stem}.html": text, f"{stem}.pdf": pdf})
