"""Training: rows that stay, a record that tells no more than the log, a page that fits."""

import csv
import io
import os
import re
import sqlite3
import subprocess
import unicodedata
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

import suspkit as sk
from suspkit import cli
from suspkit.panels import exercise as exercise_panels
from suspkit.panels.exercise import ExercisePanel
from suspkit.shop import log as joblog
from suspkit.shop import training
from suspkit.shop.log import JobLogError
from suspkit.shop.training import EXERCISES, LESSONS, TASKS, Training
from suspkit.teaching import exercises

ROOT = Path(__file__).parents[2]
ANA, BY = "Ana Ruiz", "R. Moreno"
NAMES = [
    "<script>alert(1)</script>", "A & B \"C\" 'D'", "مريم الخطيب", "רות לוי", "x\u202egnp.txt",
    "Zoë Ångström", "W" * 60, "{{ 7 * 7 }}",
]  # fmt: skip


def at(minute):
    return (datetime(2026, 5, 1, 9, tzinfo=UTC) + timedelta(minutes=minute)).isoformat()


def tick(what="support", minute=0, **more):
    more = {"kind": "hands-on", "result": "ticked", "by": BY} | more
    return Training(what=what, when=at(minute), **more)


def read(what="02-preload", minute=0, **more):
    return tick(what, minute, **{"kind": "lesson", "result": "read"} | more)


def answer(seed, result="right", minute=0, what="contact", **more):
    more = {"units": "us", "kind": "exercise"} | more
    return tick(what, minute, seed=seed, result=result, **more)


def everything(by=BY):
    rows = [tick(key, by=by) for key in TASKS] + [read(key, by=by) for key in LESSONS]
    return rows + [answer(n, what=key, by=by) for key in EXERCISES for n in range(3)]


@pytest.fixture
def log(tmp_path):
    with sk.JobLog(tmp_path / "shop.suspkit-log") as log:
        yield log


def same_error(call, *words, kind=ValueError):
    with pytest.raises(kind) as caught:
        call()
    sentence = str(caught.value)
    assert [word for word in words if word not in sentence] == [], sentence
    assert "\n" not in sentence and "Traceback" not in sentence


# --- the list -------------------------------------------------------------------------------------


def test_the_list_names_the_lessons_there_are_and_the_exercises_there_are():
    assert list(LESSONS) == [path.stem for path in sorted(ROOT.glob("notebooks/[0-9]*.ipynb"))]
    assert EXERCISES == {key: title for key, (title, _, _) in exercises.KINDS.items()}
    assert {task.lesson for task in TASKS.values()} <= set(LESSONS)


def test_a_task_says_what_is_to_be_seen_and_who_says_so():
    assert len(TASKS) >= 12
    for key, task in TASKS.items():
        assert key.isidentifier() and len(task.see) > 80, key
        assert task.see.count("**") % 2 == 0 and task.see.endswith("."), key
        assert task.source == "common practice, no source" or "from memory" in task.source, key


def test_no_task_is_ticked_without_its_caution():
    """The words without which somebody gets hurt, or the work is worthless."""
    needed = {
        "support": ["frame", "stands rated", "never on a jack"],
        "gas": ["manufacturer's procedure", "Never opens"],
        "compressor": ["rated above", "nobody in line", "glasses"],
        "stack": ["lip up", "ring", "Every seat home"],
        "contact": ["Lower bolt in", "wheel hanging"],
        "turns": ["its own", "contact"],
        "gap": ["after", "droop hang", "bolt in"],
        "ride_height": ["Rolled, not bounced", "all four"],
        "clickers": ["mid range", "never forced"],
        "ground": ["manufacturer's"],
        "test_drive": ["roll over", "brakes"],
    }
    for key, words in needed.items():
        text = TASKS[key].see.replace("**", "")
        assert [word for word in words if word not in text] == [], key


# --- what counts ----------------------------------------------------------------------------------


def test_three_right_in_a_row_solve_an_exercise():
    run = [answer(n, minute=n) for n in range(3)]
    assert training.solved(run, "contact") == run
    assert training.solved(run[:2], "contact") == []
    broken = [*run[:2], answer(7, "wrong", 2), answer(8, minute=3), answer(9, minute=4)]
    assert training.solved(broken, "contact") == []
    assert training.solved([*broken, answer(10, minute=5)], "contact")[-1].seed == 10
    # What comes later takes nothing away, and another exercise counts for itself.
    assert training.solved([*run, answer(11, "wrong", 9)], "contact") == run
    assert training.solved(run, "drift") == []
    mixed = [run[0], answer(1, "wrong", what="drift"), *run[1:]]
    assert training.solved(mixed, "contact") == run


def test_the_first_answer_counts_since_the_solution_stands_below():
    rows = [answer(1, "misconception", 0), answer(1, "right", 1)]
    assert [row.result for row in training.standing(rows)] == ["misconception"]
    # The same seed in metric is another exercise.
    assert len(training.standing([*rows, answer(1, units="metric")])) == 2
    same = [answer(1, minute=n) for n in range(3)]
    assert training.solved(training.standing(same), "contact") == []


def test_what_is_taken_back_does_not_count_until_it_is_done_again():
    back = tick(minute=1, result=training.TAKEN_BACK)
    assert training.standing([tick()]) == [tick()]
    assert training.standing([tick(), back]) == []
    again = tick(minute=2)
    assert training.standing([tick(), back, again]) == [again]
    other = tick("gas", 3)
    assert training.standing([tick(), other, back]) == [other]
    slip = [answer(1, "wrong"), answer(1, training.TAKEN_BACK, 1), answer(1, "right", 2)]
    assert [row.result for row in training.standing(slip)] == ["right"]


def test_open_is_what_is_not_done():
    assert training.still_open([]) == {k: list(v) for k, v in training.KNOWN.items()}
    assert training.still_open(everything()) == {k: [] for k in training.KNOWN}
    rows = [row for row in everything() if row.what not in ("gap", "04-clickers")]
    rows.remove(answer(1, what="drift"))
    left = {"exercise": ["drift"], "hands-on": ["gap"], "lesson": ["04-clickers"]}
    assert training.still_open(rows) == left


def test_an_answer_is_kept_as_it_was_marked():
    one = sk.exercise("drift", seed=3)
    idea = one.misconceptions[0]
    cases = {one.answer: ("right", ""), idea.answer: ("misconception", idea.name), "30 in": None}
    for text, expected in cases.items():
        row = training.answered(one, exercises.mark(one, text), by=BY)
        assert (row.result, row.note) == (expected or ("wrong", ""))
        assert (row.kind, row.what, row.seed, row.units) == ("exercise", "drift", 3, "us")
    unread = exercises.mark(one, "2 lb")
    same_error(lambda: training.answered(one, unread), "is a mass")


# --- in the log -----------------------------------------------------------------------------------


def test_rows_come_back_as_they_were_in_the_order_of_their_times(log):
    rows = [tick(minute=3), answer(7, "misconception", 2, note="=1+1\r\n“Ünï”"), read(minute=1)]
    assert [log.add_training(ANA, row) for row in rows] == [1, 2, 3]
    log.add_training("Bo", replace(rows[0], when="2026-05-01T10:00+02:00"))
    assert log.training(ANA) == tuple(rows[::-1])
    assert log.trainees() == (ANA, "Bo")
    with sk.JobLog(log.path, new=False) as again:
        assert again.training(ANA) == tuple(rows[::-1])


def test_a_row_written_twice_is_one_and_one_without_a_time_is_of_now(log):
    assert log.add_training(ANA, tick()) == log.add_training(" Ana\n Ruiz ", tick()) == 1
    assert log.add_training(ANA, replace(tick(), when="")) == 2
    when = datetime.fromisoformat(log.training(ANA)[-1].when)
    assert abs(datetime.now(UTC) - when) < timedelta(seconds=20)


def test_names_are_kept_as_they_are(log):
    for name in NAMES:
        log.add_training(name, tick(by=f"{name[:50]} too"))
    assert log.trainees() == tuple(NAMES)
    for name in NAMES:
        assert log.training(name)[0].by == f"{name[:50]} too"


WRONG = {
    "kind": ({"kind": "hands on"}, ["kind is 'hands on'", "exercise, hands-on, lesson", "mean"]),
    "task": ({"what": "suport"}, ["what is 'suport'", "expected a task", "did you mean 'support'"]),
    "a lesson as a task": ({"what": "02-preload"}, ["what is '02-preload'", "expected a task"]),
    "result": ({"result": "done"}, ["result is 'done'", "ticked, taken back"]),
    "read and not ticked": ({"result": "right"}, ["result is 'right'", "ticked"]),
    "no trainer": ({"by": " "}, ["by is ''; expected the trainer", "ticked"]),
    "signed by oneself": ({"by": "ANA  ruiz"}, ["by is 'ANA ruiz'", "other than the trainee"]),
    "a seed": ({"seed": 7}, ["seed is 7", "neither with 'hands-on'"]),
    "units": ({"units": "us"}, ["units is 'us'", "neither"]),
    "time": ({"when": "2026-05-01"}, ["when is '2026-05-01'", "zone"]),
    "a number": ({"note": 3}, ["note is 3", "expected text"]),
    "endless": ({"by": "x" * 61}, ["by is 'xxx", "at most 60"]),
    "half a letter": ({"note": "\ud83d"}, ["note is '\\ud83d'"]),
    "steers a terminal": ({"by": "a\x1b[2J"}, ["by is 'a\\x1b[2J'", "expected text"]),
}  # fmt: skip

WRONG_ANSWER = {
    "no seed": ({"seed": None}, ["seed is None", "whole number"]),
    "half a seed": ({"seed": 1.5}, ["seed is 1.5", "whole number"]),
    "true": ({"seed": True}, ["seed is True"]),
    "too far": ({"seed": 2**63}, ["seed is 9223372036854775808"]),
    "no units": ({"units": ""}, ["units is ''", "us, metric"]),
    "kind": ({"what": "contct"}, ["what is 'contct'", "did you mean 'contact'"]),
    "taken back alone": ({"result": "taken back", "by": ""}, ["by is ''", "taken back"]),
}


@pytest.mark.parametrize(
    ("row", "wrong", "words"),
    [(tick(), *case) for case in WRONG.values()]
    + [(answer(7), *case) for case in WRONG_ANSWER.values()],
    ids=[*WRONG, *WRONG_ANSWER],
)
def test_a_value_that_cannot_be_is_one_sentence_and_nothing_is_written(log, row, wrong, words):
    before = log.path.read_bytes()
    same_error(lambda: log.add_training(ANA, replace(row, **wrong)), *words)
    assert log.path.read_bytes() == before
    log.add_training(ANA, row)


def test_a_trainee_has_a_name_and_one_who_is_not_there_is_told(log):
    for name in ("", " \n", None, "x" * 61, "a\0b"):
        same_error(lambda name=name: log.add_training(name, tick()), "trainee is", "expected")
    same_error(lambda: log.training(ANA), "trainee is 'Ana Ruiz'", "none given")
    log.add_training(ANA, tick())
    same_error(lambda: log.training("Ana Ruis"), "a trainee of this log: Ana Ruiz", "did you mean")


def test_an_exercise_may_be_answered_alone(log):
    log.add_training(ANA, answer(7, by=""))
    assert log.training(ANA)[0].by == ""


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE training SET result = 'ticked'",
        "DELETE FROM training",
        "DELETE FROM training WHERE id = 1",
        "INSERT OR REPLACE INTO training SELECT * FROM training",
        "REPLACE INTO training (id, key, trainee, at, \"when\", kind, what, seed, units, result,"
        " by, note, logged) SELECT 77, key, 'Bo', at, \"when\", kind, what, seed, units, result,"
        " by, note, logged FROM training",
    ],
)  # fmt: skip
def test_even_other_programs_cannot_change_or_drop_a_row(log, statement):
    log.add_training(ANA, answer(7, "wrong"))
    other = sqlite3.connect(log.path)
    before = "\n".join(other.iterdump())
    with pytest.raises(sqlite3.IntegrityError, match="keeps every row"):
        other.execute(statement)
    other.rollback()
    assert "\n".join(other.iterdump()) == before
    other.close()


# --- logs of before -------------------------------------------------------------------------------


@pytest.fixture
def old(tmp_path, monkeypatch, unit7):
    """A log of the first layout, with a vehicle and a ride."""
    path = tmp_path / "old.suspkit-log"
    with monkeypatch.context() as then:
        then.setattr(joblog, "LAYOUTS", joblog.LAYOUTS[:1])
        with sk.JobLog(path) as log:
            log.add_vehicle(unit7)
            log.add_ride("Unit 7", sk.Ride(setup=unit7.setup, when=at(0)))
    db = sqlite3.connect(path)
    assert db.execute("PRAGMA user_version").fetchone() == (1,)
    tables = {name for (name,) in db.execute("SELECT name FROM sqlite_master")}
    assert "ride" in tables and "training" not in tables
    db.close()
    return path


def test_a_log_of_before_is_brought_up_to_date_with_its_rides(old, unit7):
    with sk.JobLog(old) as log:
        assert log.trainees() == ()
        assert log.rides("Unit 7") == (sk.Ride(setup=unit7.setup, when=at(0)),)
        log.add_training(ANA, tick())
    with sk.JobLog(old) as log:
        assert log.training(ANA) == (tick(),)
        assert tuple(log._one("PRAGMA user_version")) == (len(joblog.LAYOUTS),)
        (sound,) = log._one("PRAGMA integrity_check")
    assert sound == "ok"


def test_a_log_made_by_the_statements_of_the_first_layout_alone_opens(tmp_path):
    path = tmp_path / "log"
    db = sqlite3.connect(path)
    for statement in joblog.LAYOUTS[0]:
        db.execute(statement)
    db.execute(f"PRAGMA application_id = {joblog.APPLICATION}")
    db.execute("PRAGMA user_version = 1")
    db.commit()
    db.close()
    with sk.JobLog(path, new=False) as log:
        assert log.add_training(ANA, tick()) == 1


def test_a_step_that_fails_leaves_the_log_of_before_as_it_was(old, monkeypatch):
    before = old.read_bytes()
    bad = (joblog.LAYOUTS[0], (*joblog.LAYOUTS[1], "no such statement"))
    with monkeypatch.context() as then:
        then.setattr(joblog, "LAYOUTS", bad)
        with sk.JobLog(old) as log:
            same_error(lambda: log.add_training(ANA, tick()), "cannot be used", kind=JobLogError)
    assert old.read_bytes() == before


def test_a_log_of_before_that_is_only_read_stays_as_it_is(old, tmp_path):
    before = old.read_bytes()
    with sk.JobLog(old) as log:
        assert len(log.rides("Unit 7")) == 1 and log.trainees() == ()
        same_error(lambda: log.training(ANA), "none given")
        log.export_csv(tmp_path / "x.csv")
    assert old.read_bytes() == before
    with pytest.raises(JobLogError):
        open(tmp_path / "empty", "w").close()
        sk.JobLog(tmp_path / "empty", new=False)


# --- as CSV ---------------------------------------------------------------------------------------


def rows_of(path):
    with open(path, newline="", encoding="utf-8-sig") as file:
        return list(csv.DictReader(file))


def written(path, rows):
    with open(path, "w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


@pytest.fixture
def exported(log, tmp_path):
    for name in NAMES:
        log.add_training(name, tick(by="=cmd", note="second\nline"))
    log.add_training(ANA, answer(-7, "wrong", 5, by=""))
    (tmp_path / "out").mkdir()
    rides, _, path = log.export_csv(tmp_path / "out")
    assert path.name == "rides-training.csv"
    return rides, path


def test_training_goes_out_and_in_again(log, exported, tmp_path):
    rides, path = exported
    assert rows_of(path)[0]["by"] == "'=cmd"  # no spreadsheet runs it
    with sk.JobLog(tmp_path / "copy") as copy:
        assert [copy.import_csv(rides) for _ in range(2)] == [len(NAMES) + 1, 0]
        assert copy.trainees() == log.trainees()
        for name in log.trainees():
            assert copy.training(name) == log.training(name)
        copy.export_csv(tmp_path / "out" / "again.csv")
        assert path.read_bytes() == (tmp_path / "out" / "again-training.csv").read_bytes()
        before = copy.path.read_bytes()
        path.unlink()  # a CSV of before there was training
        assert copy.import_csv(rides) == 0
        assert copy.path.read_bytes() == before


def test_an_export_leaves_no_training_of_another_log_beside_its_rides(exported, tmp_path):
    rides, path = exported
    with sk.JobLog(tmp_path / "empty") as other:
        other.export_csv(rides)
    assert rows_of(path) == []


def test_rows_written_by_hand_are_checked_and_those_of_an_older_list_are_taken(
    log, exported, tmp_path
):
    rides, path = exported
    good = rows_of(path)[-1]
    blank = {"key": "", "logged": ""}
    for wrong, *words in (
        (blank | {"what": "contct"}, "what is 'contct'", "did you mean 'contact'"),
        (blank | {"seed": "7.5"}, "seed is '7.5'", "whole number"),
        (blank | {"seed": ""}, "seed is None"),
        (blank | {"when": ""}, "when is ''", "zone"),
        ({"note": "edited"}, "key is", "taken back"),
        ({"logged": "today"}, "logged is 'today'"),
    ):
        written(path, [good, good | wrong])
        before = log.path.read_bytes()
        same_error(lambda: log.import_csv(rides), f"{path} line 3, column ", *words)
        assert log.path.read_bytes() == before
    written(path, [good | blank | {"seed": "8", "note": "from paper"}])
    assert [log.import_csv(rides) for _ in range(2)] == [1, 0]
    assert log.training(ANA)[-1] == answer(8, "wrong", 5, by="", note="from paper")
    row = training.as_row(ANA, tick("whittle", 9))
    old = good | {k: v if v is not None else "" for k, v in row.items()}
    written(path, [old | {"key": training.key_of(row)}])
    assert log.import_csv(rides) == 1
    assert "whittle" in text_of(training.record_html(ANA, log.training(ANA)))


# --- on paper -------------------------------------------------------------------------------------


class Page(HTMLParser):
    """What a reader sees, and every tag."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.seen, self.skip = [], [], 0
        self.feed(text)
        self.words = " ".join(" ".join(self.seen).split())

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.skip += tag in ("style", "title")
        if tag == "span" and dict(attrs).get("class") == "box":
            self.seen.append("[]")

    def handle_endtag(self, tag):
        self.skip -= tag in ("style", "title")

    def handle_data(self, data):
        if not self.skip:
            self.seen.append(data)


def text_of(page):
    return Page(page).words


def pages_of(path):
    from pypdf import PdfReader

    reader = PdfReader(path)
    # The type joins f and i in one letter.
    texts = [unicodedata.normalize("NFKC", page.extract_text()) for page in reader.pages]
    return [" ".join(text.split()) for text in texts], reader.pages[0].mediabox


@pytest.mark.parametrize("paper", ["letter", "a4"])
@pytest.mark.parametrize("by", [BY, "W" * 60], ids=["usual", "long"])
def test_a_full_record_is_one_page(tmp_path, paper, by):
    rows = [*everything(by), *(tick("other" * 9 + str(n)) for n in range(40))]
    name = ANA if by == BY else "W" * 59
    html, pdf = training.write_record(name, rows, tmp_path, paper=paper)
    (text,), box = pages_of(pdf)
    assert (float(box.width) > 600) == (paper == "letter")
    assert "It certifies nothing." in text and "17 of 17" in text
    assert "Trainer" in text.split("paper 0 us")[-1]


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_the_empty_tick_list_is_one_page_with_every_task(tmp_path, paper):
    html, pdf = training.write_sheet(tmp_path / "new", paper=paper)
    assert [path.name for path in (html, pdf)] == ["hands-on.html", "hands-on.pdf"]
    (text,), _ = pages_of(pdf)
    page = Page(html.read_text("utf-8"))
    for i, task in enumerate(TASKS.values(), start=1):
        assert f"{i}. {task.title}." in text
        assert page.words.replace(" ", "").count(task.see.replace("**", "").replace(" ", "")) == 1
    assert page.words.count("[]") == len(TASKS)
    for words in (
        "certifies nothing",
        "Before you start",
        "never work under a vehicle",
        "no source",
    ):
        assert words in text
    size = html.read_text("utf-8").split("html { font-size: ")[1].split("pt")[0]
    assert float(size) > 7.4, "as large as the work sheet, to be read at arm's length"


def test_the_record_tells_what_the_log_has_and_what_is_open(log):
    run = [answer(n, minute=n, units="metric") for n in (1, 2, 3)]
    run[1] = replace(run[1], by="")
    mistaken = [answer(9, "misconception", 9, "drift"), answer(9, "right", 10, "drift")]
    for row in (
        *run,
        *mistaken,
        tick("gas"),
        read(),
        tick("gap"),
        tick("gap", 5, result="taken back"),
    ):
        log.add_training(ANA, row)
    text = text_of(training.record_html(ANA, log.training(ANA)))
    assert f"Training record: {ANA}" in text
    assert "A record of training done in this shop. It certifies nothing." in text
    assert "9 rows of this name, the last of 2026-05-01" in text
    assert "1 of 11 lessons read, 1 of 6 exercises solved, 1 of 17 tasks ticked" in text
    assert f"[] × {TASKS['gas'].title} 01-install 2026-05-01, {BY}" in text
    assert f"[] {TASKS['gap'].title} 03-stop-gap open" in text
    assert f"[] × 02 Preload and ride height 2026-05-01, {BY}" in text
    contact = text.split(EXERCISES["contact"])[1].split("[]")[0]
    assert "paper 1 metric, 2 metric, 3 metric 3 of 3 2026-05-01" in contact
    assert "1 alone" in contact
    assert f"[] {EXERCISES['drift']} 0 of 1 open" in text
    assert text.count("open") == 1 + 10 + 5 + 16


def test_a_record_of_nothing_is_all_open():
    text = text_of(training.record_html(ANA, []))
    assert "no row of this name" in text and "0 of 17" in text and "×" not in text


@pytest.mark.parametrize("name", NAMES)
def test_text_of_the_users_is_text(tmp_path, name):
    rows = [*everything(by=f"{name[:20]}!"), tick("<b>old</b>", 9, by=name)]
    html, pdf = training.write_record(name, rows, tmp_path)
    page = Page(html.read_text("utf-8"))
    plain = Page(training.record_html("A", everything()))
    assert set(page.tags) == set(plain.tags) and "script" not in page.tags and "b" in page.tags
    assert page.words.startswith(" ".join(f"Training record: {name}".split()))
    assert "<b>old</b>" in page.words and "49" not in page.words.replace("1749", "")
    assert len(pages_of(pdf)[0]) == 1
    # Isolated, so that a name from right to left does not turn round the words beside it.
    assert html.read_text("utf-8").count("<bdi>") == 1 + len(TASKS) + len(LESSONS) + len(EXERCISES)


def test_every_name_has_a_file_of_its_own(tmp_path):
    names = [*NAMES, "مريم", "רות", "Ana/Ruiz", "Ana Ruiz", "../../Ana", "Zoe Angstrom", ""]
    paths = [training.write_record(name, [], tmp_path, pdf=False)[0] for name in names]
    assert len(set(paths)) == len(names)
    assert {path.parent for path in paths} == {tmp_path}
    assert all(path.name.isascii() and path.stem == path.stem.lower() for path in paths)
    assert training.write_record("Ana Ruiz", [], tmp_path, pdf=False)[0].stem == "training-ana-ruiz"


def test_nothing_is_told_by_colour(tmp_path):
    """What is done carries a cross and a date, and every ink is a grey."""
    for page in (training.record_html(ANA, everything()), training.sheet_html()):
        colours = re.findall(r"#([0-9a-fA-F]{3,6})\b", page.split("</style>")[0])
        for colour in colours:
            assert len(set(colour.lower() if len(colour) == 3 else re.findall("..", colour))) == 1
        assert not re.search(
            r"(?<![\w-])(rgb|hsl|red|green|blue|orange)\b", page.split("</style>")[0]
        )


def test_the_record_printed_has_grey_alone(tmp_path):
    pdf = training.write_record(ANA, everything()[5:], tmp_path)[1]
    try:
        subprocess.run(["pdftoppm", "-r", "50", "-png", pdf, tmp_path / "page"], check=True)
    except FileNotFoundError:
        pytest.skip("no pdftoppm on this machine")
    from PIL import Image

    (png,) = tmp_path.glob("page*.png")
    ink = np.asarray(Image.open(png).convert("RGB")).astype(int)
    assert np.ptp(ink, axis=2).max() == 0 and ink.min() < 60


def test_a_browser_needs_nothing_beside_it(tmp_path):
    for page in (training.record_html(ANA, everything()), training.sheet_html()):
        assert not re.search(r"https?:|\bsrc=|url\(", page)
        assert page.count("<!doctype html>") == 1 and page.lstrip().startswith("<!doctype html>")


def test_without_a_printer_there_is_the_html(tmp_path, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "plutoprint", None)
    for call in (training.write_sheet, lambda *a, **k: training.write_record(ANA, [], *a, **k)):
        same_error(lambda call=call: call(tmp_path / "out"), "plutoprint", "--no-pdf", kind=OSError)
        assert not (tmp_path / "out").exists()
        (path,) = call(tmp_path / "html", pdf=False)
        assert path.suffix == ".html" and path.is_file()


# --- command line ---------------------------------------------------------------------------------


@pytest.fixture
def suspkit(capsys):
    def run(*arguments):
        code = cli.main(["train", *map(str, arguments)])
        out, err = capsys.readouterr()
        return code, out, err

    return run


def test_train_from_the_empty_sheet_to_the_record(suspkit, tmp_path):
    path, out = tmp_path / "shop.suspkit-log", tmp_path / "out"
    assert suspkit("sheet", "--out", out)[:2] == (0, f"{out}/hands-on.html\n{out}/hands-on.pdf\n")
    told = suspkit("tick", path, ANA, "support", "--by", BY, "--when", at(0), "--note", "at last")
    assert told == (0, f"{ANA}: support, ticked, new log {path}, new trainee\n", "")
    # Another blank between the names is no other person.
    wide = ANA.replace(" ", "  ")
    assert wide != ANA
    assert suspkit("tick", path, wide, "02-preload", "--by", BY)[1] == f"{ANA}: 02-preload, read\n"
    one = sk.exercise("contact", seed=7, units="metric")
    code, said, _ = suspkit(
        "mark", path, ANA, "contact", 7, one.misconceptions[0].answer, "--units", "metric",
        "--by", BY, "--note", "on paper",
    )  # fmt: skip
    assert code == 0 and said.endswith(f"{ANA}: contact, misconception\n") and "Not right" in said
    with sk.JobLog(path) as log:
        first, lesson, marked = log.training(ANA)
    assert first == tick(note="at last") and (lesson.kind, lesson.result) == ("lesson", "read")
    assert (marked.seed, marked.units, marked.by) == (7, "metric", BY)
    assert marked.note == f"{one.misconceptions[0].name}; on paper"
    assert suspkit("show", path)[1] == f"{ANA}: open 6 exercises, 16 tasks, 10 lessons\n"
    shown = suspkit("show", path, ANA)[1]
    assert f"{at(0)}  hands-on  support  ticked  by {BY}  at last\n" in shown
    assert "contact  paper 7 metric  misconception" in shown
    assert "open tasks: work_sheet, as_found" in shown and "support" not in shown.split("open ")[2]
    assert suspkit("tick", path, ANA, "support", "--back", "--by", BY)[1].endswith("taken back\n")
    code, said, _ = suspkit("record", path, ANA, "--out", out, "--paper", "a4")
    assert said == f"{out}/training-ana-ruiz.html\n{out}/training-ana-ruiz.pdf\n"
    assert "0 of 17" in pages_of(out / "training-ana-ruiz.pdf")[0][0]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["tick", "LOG", ANA, "suport", "--by", BY], ["task is 'suport'", *TASKS, "02-preload"]),
        (["tick", "LOG", ANA, "gas", "--by", ""], ["by is ''", "expected the trainer"]),
        (["tick", "LOG", ANA, "gas", "--by", ANA], ["other than the trainee"]),
        (["tick", "LOG", "", "gas", "--by", BY], ["trainee is ''", "expected a name"]),
        (["tick", "LOG", ANA, "gas", "--by", BY, "--when", "now"], ["when is 'now'", "zone"]),
        (["mark", "LOG", ANA, "contct", "7", "4", "--by", BY], ["kind is 'contct'", "contact"]),
        (["mark", "LOG", ANA, "contact", "x", "4", "--by", BY], ["paper is 'x'", "such as 7"]),
        (["mark", "LOG", ANA, "contact", "7", "4 lb", "--by", BY], ["4 lb", "turns"]),
        (["show", "LOG"], ["is not there", "expected a job log"]),
        (["record", "LOG", ANA], ["is not there", "expected a job log"]),
    ],
)
def test_what_cannot_be_done_is_one_sentence_and_makes_no_file(suspkit, tmp_path, arguments, words):
    path = tmp_path / "log"
    code, out, err = suspkit(*(path if word == "LOG" else word for word in arguments))
    assert code == 2 and err.count("\n") == 1 and "Traceback" not in err
    assert [word for word in words if word not in err] == [], err
    assert os.listdir(tmp_path) == []


def test_a_name_that_would_steer_the_terminal_does_not(suspkit, tmp_path):
    path = tmp_path / "log"
    with sk.JobLog(path) as log:
        log.add_training("x\u202egnp", tick(note="clunk\rat"))
    assert suspkit("show", path)[1].startswith("x?gnp: open")
    assert "clunk?at" in suspkit("show", path, "x\u202egnp")[1]


# --- in the notebook ------------------------------------------------------------------------------


def test_a_panel_keeps_nothing_unless_told(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    panel = ExercisePanel("drift", seed=3)
    panel.answer.value = panel.view.answer
    assert os.listdir(tmp_path) == [] and "Kept" not in panel.message.value


def test_a_panel_keeps_each_marked_answer_once(tmp_path):
    path = tmp_path / "log"
    panel = ExercisePanel("drift", seed=3, log=path, trainee=ANA)
    assert not path.exists()
    panel.answer.value = "2 lb"  # cannot be read: counts as none
    assert not path.exists()
    panel.hint()
    panel.answer.value = panel.view.misconceptions[0].answer
    assert f"Kept for {ANA}." in panel.message.value
    panel.check_button.click()  # as one who types and then clicks
    panel.answer.value = panel.view.answer
    panel.new_numbers()
    panel.answer.value = panel.view.answer
    with sk.JobLog(path) as log:
        rows = log.training(ANA)
    name = sk.exercise("drift", seed=3).misconceptions[0].name
    assert [(row.seed, row.result, row.note) for row in rows] == [
        (3, "misconception", f"{name}; 1 hint"), (3, "right", "1 hint"), (4, "right", ""),
    ]  # fmt: skip
    assert {row.by for row in rows} == {""}
    assert [row.seed for row in training.standing(rows) if row.result == "right"] == [4]


def test_a_log_that_may_not_be_written_is_said_and_the_answer_still_marked(tmp_path, monkeypatch):
    def shut(path):
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(exercise_panels, "JobLog", shut)
    panel = ExercisePanel("drift", seed=3, log=tmp_path / "log", trainee=ANA)
    panel.answer.value = panel.view.answer
    assert panel.marked.right and not panel.error
    assert "Not kept" in panel.message.value and "Permission denied" in panel.message.value


def test_a_panel_that_cannot_keep_says_so_and_still_marks(tmp_path):
    panel = ExercisePanel("drift", seed=3, log=tmp_path / "no" / "log", trainee="<b>")
    panel.answer.value = panel.view.answer
    assert panel.marked.right and panel.error == ""
    message = panel.message.value
    assert "Right" in message and "Not kept: " in message and "has no folder" in message
    (tmp_path / "no").mkdir()
    panel.check_button.click()
    assert "Kept for &lt;b&gt;." in panel.message.value


def test_a_panel_needs_log_and_trainee_both(tmp_path):
    same_error(lambda: ExercisePanel(log=tmp_path / "log"), "trainee is ''", "both or neither")
    same_error(lambda: ExercisePanel(trainee=ANA), "log is None", "both or neither")


def test_a_panel_says_which_vehicle_it_was_drawn_on(tmp_path, unit7):
    path = tmp_path / "log"
    panel = ExercisePanel("drift", seed=3, log=path, trainee=ANA, vehicle=unit7)
    panel.answer.value = panel.view.answer
    with sk.JobLog(path) as log:
        assert log.training(ANA)[0].note == "drawn on Unit 7"


def test_the_page_is_read_in_full(tmp_path):
    """Every row of the list survives a trip through the printer's text."""
    (text,), _ = pages_of(io.BytesIO(training.write_sheet(tmp_path)[1].read_bytes()))
    assert text.count("01-install") == sum(task.lesson == "01-install" for task in TASKS.values())
