"""The command line: what it does, and one sentence with exit code 2 for what it cannot."""

import io
import os
import pickle
import platform
import re
import sqlite3
import subprocess
import sys
import tomllib
from dataclasses import replace
from importlib import metadata
from pathlib import Path

import pytest

import suspkit as sk
from suspkit import cli
from suspkit.vehicle.file import data_folder
from tests.tools.bad_files import DATA, EDITS, RACK_EDITS, WHOLE, write_bad

UNIT7 = DATA / "unit7.toml"
BAD = {f"file: {name}": ("unit7.toml", *edit) for name, edit in EDITS.items()}
BAD |= {f"rack: {name}": ("springs.csv", *edit) for name, edit in RACK_EDITS.items()}


@pytest.fixture
def suspkit(capsys):
    """Run a command; gives its exit code, standard output and standard error."""

    def run(*arguments):
        code = cli.main([str(argument) for argument in arguments])
        out, err = capsys.readouterr()
        return code, out, err

    return run


def refused(result, *words):
    code, out, err = result
    assert code == 2
    assert err.endswith("\n")
    assert err.count("\n") == 1, err
    assert "Traceback" not in err
    assert [word for word in words if word not in err] == [], err
    return out


# --- check ----------------------------------------------------------------------------------------


def test_check_of_a_good_file(suspkit):
    code, out, err = suspkit("check", UNIT7)
    assert (code, err) == (0, "")
    vehicle = sk.load_vehicle(UNIT7)
    assert out.startswith("Unit 7: ")
    assert f"{len(vehicle.springs)} springs" in out
    assert "2 set-ups  stock, kit" in out
    assert "3 loads    bare, patrol, carry-out" in out
    # What the numbers come to, and Unit 7's own thin margins.
    assert re.search("mean motion ratio, shock over wheel +0.53 +0.59 +0.30 to 1.00", out)
    assert re.search(r"ride height less its target +0.00 in +0.0\d in", out)
    assert "caution: Front, both sides: room left before the springs go solid" in out
    assert out.endswith("OK, with 1 caution(s)\n")


def test_check_settles_a_vehicle_without_loads(suspkit, tmp_path):
    text = UNIT7.read_text()
    cut = text.index("[loads.bare]"), text.index("# -- springs and set-ups")
    path = write_bad(tmp_path, "name =", "name =")
    path.write_text((text[: cut[0]] + text[cut[1] :])[: text.index("[targets]") - cut[1] + cut[0]])
    code, out, err = suspkit("check", path)
    assert (code, err) == (0, "")
    assert "settles in 1 load(s)" in out


def test_check_tells_of_a_vehicle_on_its_bump_stops(suspkit, tmp_path):
    path = write_bad(tmp_path, 'litter = { mass = "235 lb"', 'litter = { mass = "4000 lb"')
    code, out, err = suspkit("check", path)
    assert (code, err) == (0, "")
    assert "caution: items.litter.mass is 4000 lb; usual is 1 lb to 450 lb" in out
    assert "Rear, both sides: it stands at full bump" in out and "(load carry-out)" in out
    assert not out.endswith("OK\n")


def test_check_tells_of_a_vehicle_that_tips(suspkit, tmp_path):
    path = write_bad(
        tmp_path, 'spare = { mass = "68 lb", behind_front_axle = "118 in"',
        'spare = { mass = "2000 lb", behind_front_axle = "390 in"',
    )  # fmt: skip
    code, out, err = suspkit("check", path)
    assert (code, err) == (0, "")
    assert "it tips over" in out and "(load patrol, carry-out)" in out


def test_check_of_numbers_that_contradict_each_other_is_an_error(suspkit, tmp_path):
    path = write_bad(tmp_path, 'hub_below_frame = "7 in"', 'hub_below_frame = "-10 in"')
    code, out, err = suspkit("check", path)
    assert code == 2
    assert "error: front.hub_below_frame: frame above ground comes to -" in out
    assert "caution: targets.front.ride_height: ride height less its target comes to -" in out
    assert "contradict the rest; the first: front.hub_below_frame" in err
    assert "OK" not in out


# --- bad input ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("file", "old", "new", "words"), BAD.values(), ids=BAD)
@pytest.mark.parametrize("command", ["check", "sheet"])
def test_a_wrong_file_is_one_sentence(suspkit, tmp_path, command, file, old, new, words):
    path = write_bad(tmp_path / "in", old, new, file=file)
    more = ["--out", tmp_path / "out"] if command == "sheet" else []
    assert refused(suspkit(command, path, *more), str(path.parent), *words) == ""
    assert os.listdir(tmp_path) == ["in"]


@pytest.mark.parametrize(("content", "words"), WHOLE.values(), ids=WHOLE)
@pytest.mark.parametrize("command", ["check", "sheet"])
def test_what_is_no_vehicle_file_at_all(suspkit, tmp_path, command, content, words):
    path = tmp_path / "vehicle.toml"
    path.write_bytes(content)
    assert refused(suspkit(command, path), str(path), *words) == ""


@pytest.mark.parametrize("name", ["nothing.toml", "."])
def test_a_file_that_is_not_there(suspkit, tmp_path, name):
    path = tmp_path / name
    assert refused(suspkit("check", path), str(path), "cannot be read", "expected") == ""


@pytest.mark.parametrize(
    ("option", "name", "words"),
    [
        ("--load", "party", ["'party'", "expected", "bare, patrol, carry-out"]),
        ("--load", "", ["''", "expected", "bare, patrol, carry-out"]),
        ("--setup", "race", ["'race'", "expected", "stock, kit"]),
    ],
)
def test_a_name_that_is_not_in_the_file(suspkit, tmp_path, option, name, words):
    out = tmp_path / "out"
    result = suspkit("sheet", UNIT7, option, name, "--out", out)
    assert refused(result, str(UNIT7), *words) == ""
    assert not out.exists()


def test_a_unit_system_that_is_not_known(capsys):
    with pytest.raises(SystemExit) as caught:
        cli.main(["sheet", str(UNIT7), "--units", "furlongs"])
    assert caught.value.code == 2
    assert "'furlongs'" in capsys.readouterr().err


@pytest.mark.parametrize("arguments", [[], ["chek", "x"], ["check"]])
def test_a_command_that_is_not_known(arguments, capsys):
    with pytest.raises(SystemExit) as caught:
        cli.main(arguments)
    assert caught.value.code == 2
    assert "Traceback" not in capsys.readouterr().err


def test_an_interruption_is_no_error(monkeypatch, suspkit):
    def interrupt(_):
        raise KeyboardInterrupt

    monkeypatch.setattr(cli.suspkit, "load_vehicle", interrupt, raising=False)
    assert suspkit("check", UNIT7) == (130, "", "")


def test_the_program_itself_ends_with_that_code(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "suspkit.cli", "check", str(tmp_path / "nothing.toml")],
        capture_output=True, text=True, timeout=120, cwd=DATA.parent,
    )  # fmt: skip
    refused((done.returncode, done.stdout, done.stderr), "nothing.toml")


# --- sheet ----------------------------------------------------------------------------------------


def test_sheet_writes_both_files_and_says_where(suspkit, tmp_path):
    code, out, err = suspkit("sheet", UNIT7, "--load", "carry-out", "--out", tmp_path / "new")
    assert (code, err) == (0, "")
    written = [Path(line) for line in out.splitlines()]
    assert sorted(path.suffix for path in written) == [".html", ".pdf"]
    assert sorted(os.listdir(tmp_path / "new")) == sorted(path.name for path in written)
    assert "carry-out" in next(p for p in written if p.suffix == ".html").read_text()


def test_sheet_passes_on_what_was_asked(suspkit, monkeypatch, tmp_path):
    from suspkit.shop import sheet

    asked = {}
    monkeypatch.setattr(sheet, "write", lambda vehicle, **more: asked.update(more) or [])
    code, out, err = suspkit(
        "sheet", UNIT7, "--load", "bare", "--setup", "stock", "--units", "metric", "--no-pdf",
        "--out", tmp_path,
    )  # fmt: skip
    assert (code, out, err) == (0, "", "")
    assert asked == {
        "setup": "stock", "load": "bare", "units": "metric", "folder": tmp_path, "pdf": False,
    }  # fmt: skip


def test_sheet_to_where_nothing_can_be_written(suspkit, tmp_path):
    (tmp_path / "file").write_text("mine")
    result = suspkit("sheet", UNIT7, "--out", tmp_path / "file", "--no-pdf")
    assert refused(result, str(tmp_path / "file"), "cannot be written", "expected") == ""
    assert (tmp_path / "file").read_text() == "mine"
    assert os.listdir(tmp_path) == ["file"]


def test_sheet_that_fails_half_way_leaves_nothing(suspkit, monkeypatch, tmp_path):
    from suspkit import files

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files.Path, "write_bytes", full)
    result = suspkit("sheet", UNIT7, "--out", tmp_path, "--no-pdf")
    assert refused(result, "No space left on device") == ""
    assert os.listdir(tmp_path) == []


# --- article --------------------------------------------------------------------------------------

ARTICLE = DATA.parent / "docs" / "articles" / "what-a-stop-ring-does.md"


def test_article_writes_both_files_and_says_where(suspkit, tmp_path):
    code, out, err = suspkit("article", ARTICLE, "--out", tmp_path / "new")
    assert (code, err) == (0, "")
    assert [Path(line).name for line in out.splitlines()] == [
        "what-a-stop-ring-does.html", "what-a-stop-ring-does.pdf",
    ]  # fmt: skip
    assert sorted(os.listdir(tmp_path / "new")) == sorted(
        Path(line).name for line in out.splitlines()
    )


def test_article_passes_on_what_was_asked(suspkit, monkeypatch, tmp_path):
    from suspkit.shop import article

    asked = {}
    monkeypatch.setattr(article, "write", lambda path, **more: asked.update(more, path=path) or [])
    told = suspkit(
        "article", ARTICLE, "--vehicle", UNIT7, "--units", "metric", "--no-pdf", "--out", tmp_path
    )
    assert told == (0, "", "")
    assert asked.pop("vehicle").name == "Unit 7"
    assert asked == {
        "path": ARTICLE, "units": "metric", "folder": tmp_path, "pdf": False, "run_code": False,
    }  # fmt: skip
    suspkit("article", ARTICLE)
    assert asked == {
        "path": ARTICLE, "vehicle": None, "units": "us", "folder": Path(), "pdf": True,
        "run_code": False,
    }  # fmt: skip
    suspkit("article", "a.ipynb", "--run-code")
    assert asked["run_code"]


@pytest.mark.parametrize(
    ("answer", "terminal", "runs"),
    [("y", True, True), (" YES", True, True), ("n", True, False), ("", True, False),
     ("yess", True, False), ("y", False, False)],
)  # fmt: skip
def test_article_of_a_notebook_asks_before_it_runs(
    suspkit, monkeypatch, tmp_path, answer, terminal, runs
):
    from suspkit.shop import article

    monkeypatch.setattr(article, "_from_notebook", lambda path, text: "<html>made</html>")
    monkeypatch.setattr(cli.sys, "stdin", io.StringIO(f"{answer}\n" * bool(answer)))
    monkeypatch.setattr(cli.sys.stdin, "isatty", lambda: terminal, raising=False)
    (tmp_path / "a.ipynb").write_text("{}")
    told = suspkit("article", tmp_path / "a.ipynb", "--no-pdf", "--out", tmp_path / "out")
    asked = "a.ipynb is a notebook, a program: it can read, change and send whatever" in told[2]
    assert asked == terminal and ("Run it? [y/N] " in told[2]) == terminal
    assert (told[0], (tmp_path / "out").exists()) == ((0, True) if runs else (2, False))
    assert ("--run-code" in told[2]) != runs


def test_what_an_article_cannot_be_made_of_is_one_sentence(suspkit, tmp_path):
    wrong, out = tmp_path / "wrong.md", tmp_path / "out"
    wrong.write_text('+++\ntitle = "A"\n+++\n{{ nothing }}')
    told = suspkit("article", wrong, "--vehicle", UNIT7, "--out", out)
    refused(told, "wrong.md line 4", "name is 'nothing'")
    assert not told[2].startswith(str(UNIT7)), "the vehicle file is not at fault"
    refused(suspkit("article", tmp_path / "no.md", "--out", out), "no.md", "cannot be read")
    refused(suspkit("article", ARTICLE, "--vehicle", tmp_path / "no.toml", "--out", out), "no.toml")
    assert not out.exists()


# --- log ------------------------------------------------------------------------------------------


@pytest.fixture
def shop(tmp_path, unit7):
    """A job log with two rides."""
    path = tmp_path / "shop.suspkit-log"
    setup = replace(unit7.setup.change("front", turns=4.5), front_bar=False, note="softer")
    with sk.JobLog(path) as log:
        log.add_vehicle(unit7)
        ride = sk.Ride(
            setup=unit7.setup, load="patrol", heights=(0.3429, 0.3429, None, 0.35),
            scales=(None, None, 250.0, None), bottomed=("rear_left",), by="AB",
            when="2026-05-01T14:30-06:00", note="clunk\x1b[2J at\nthe rear",
        )  # fmt: skip
        log.add_ride("Unit 7", ride)
        log.add_ride("Unit 7", replace(ride, setup=setup, load=None, when="2026-05-02T09:00Z"))
    return path


def test_log_show_lists_vehicles(suspkit, shop, tmp_path):
    assert suspkit("log", "show", shop) == (0, "Unit 7: last ride 2026-05-02T09:00Z\n", "")
    with sk.JobLog(tmp_path / "new") as log:
        log.add_vehicle(sk.example())
    assert suspkit("log", "show", tmp_path / "new") == (0, "Unit 7: no rides yet\n", "")


def test_log_show_tells_a_vehicles_rides_as_a_tape_reads(suspkit, shop):
    code, out, err = suspkit("log", "show", shop, "Unit 7")
    assert (code, err) == (0, "")
    first, second = out.split("ride 2, ")
    assert first.startswith("ride 1, 2026-05-01T14:30-06:00: patrol, rolled, by AB\n")
    lines = {line[:14].strip(): line[14:].split("  ") for line in first.splitlines()}
    cells = {label: [cell.strip() for cell in row if cell.strip()] for label, row in lines.items()}
    assert cells["turns"] == ["4", "4", "5", "5"]
    assert cells["gap set"] == ["1 in", "1 in", "4-1/4 in", "4-1/4 in"]
    assert cells["height"] == ["13-1/2 in", "13-1/2 in", "–", "13-3/4 in"]
    assert cells["scale"] == ["–", "–", "551 lb", "–"]
    assert "collar" not in cells
    assert "  bottomed: rear left\n" in first
    assert "  clunk?[2J at the rear\n" in first  # and does not clear the screen
    assert second.startswith("2026-05-02T09:00Z: nothing aboard, rolled, by AB\n")
    assert "front bar off" in second and "softer" in second and "4.5" in second


def test_log_show_of_the_last_rides_in_metric(suspkit, shop):
    code, out, _ = suspkit("log", "show", shop, "Unit 7", "--last", "1", "--units", "metric")
    assert code == 0
    assert "ride 1" not in out
    assert "343 mm" in out and "250 kg" in out and " in" not in out.split("stack")[1]


def test_log_goes_out_and_in_again(suspkit, shop, tmp_path):
    code, out, err = suspkit("log", "export", shop, tmp_path / "rides.csv")
    assert (code, err) == (0, "")
    names = ["rides.csv", "rides-vehicles.csv", "rides-training.csv"]
    assert [Path(line).name for line in out.splitlines()] == names
    new = tmp_path / "new.suspkit-log"
    for rows in (2, 0):
        told = suspkit("log", "import", new, tmp_path / "rides.csv")
        assert told == (0, f"{rows} new rows in {new}\n", "")
    shown = [suspkit("log", "show", path, "Unit 7") for path in (shop, new)]
    assert shown[0] == shown[1]


def test_what_a_log_command_cannot_do_is_one_sentence(suspkit, shop, tmp_path):
    missing, words = tmp_path / "no.suspkit-log", ("is not there", "expected a job log")
    for command in (("show", missing), ("export", missing, tmp_path / "x.csv")):
        refused(suspkit("log", *command), str(missing), *words)
    refused(suspkit("log", "show", UNIT7), str(UNIT7), "cannot be read", "expected a job log")
    refused(suspkit("log", "show", shop, "Unit 9"), "'Unit 9'", "expected", "Unit 7")
    refused(suspkit("log", "import", shop, DATA / "springs.csv"), "springs.csv: is not a CSV of a")
    refused(suspkit("log", "import", shop, tmp_path / "no.csv"), "no.csv", "cannot be read")
    refused(suspkit("log", "export", shop, shop / "x.csv"), "cannot be written", "expected")
    assert not missing.exists()


# --- output ---------------------------------------------------------------------------------------


def in_a_shell(command, *, folder, **environment):
    """A command with its streams redirected: exit code, standard output and standard error."""
    run = subprocess.run(
        ["sh", "-c", command.replace("suspkit", f"'{sys.executable}' -m suspkit.cli", 1)],
        cwd=folder, env=os.environ | environment, capture_output=True, timeout=60,
    )  # fmt: skip
    return run.returncode, run.stdout, run.stderr.decode()


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp437"])
def test_output_that_is_not_utf8_is_printed_with_what_letters_it_has(shop, encoding):
    told = in_a_shell(
        "suspkit log show shop.suspkit-log 'Unit 7'", folder=shop.parent, PYTHONIOENCODING=encoding
    )
    assert (told[0], told[2]) == (0, "")
    assert "13-1/2 in" in told[1].decode(encoding) and "?" in told[1].decode(encoding)


@pytest.mark.parametrize("command", ["suspkit log show {} >&-", "suspkit about >&-"])
def test_an_output_that_is_closed_is_one_sentence_and_nothing_is_done(shop, command):
    before = shop.read_bytes()
    code, _, err = in_a_shell(command.format(shop.name), folder=shop.parent)
    assert (code, err.count("\n")) == (2, 1), err
    assert err == "the output is closed; expected a place to print to, such as /dev/null\n"
    assert shop.read_bytes() == before


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs /dev/full")
@pytest.mark.parametrize("to", ["2>&-", "2>/dev/full"])
def test_a_complaint_that_nobody_takes_keeps_its_exit_code(tmp_path, to):
    assert in_a_shell(f"suspkit check none.toml {to}", folder=tmp_path) == (2, b"", "")


# --- example and guide ----------------------------------------------------------------------------


def test_example_copies_once_and_never_over(suspkit, tmp_path):
    code, out, _ = suspkit("example", tmp_path)
    shipped = len(list(data_folder().iterdir()))
    assert (code, out.count("copied")) == (0, shipped)
    assert sk.load_vehicle(tmp_path / "unit7.toml").name == "Unit 7"
    (tmp_path / "unit7.toml").write_text("mine")
    code, out, _ = suspkit("example", tmp_path)
    assert (code, out.count("copied"), out.count("kept")) == (0, 0, shipped)
    assert (tmp_path / "unit7.toml").read_text() == "mine"


@pytest.fixture
def launched(monkeypatch):
    """What would have taken this process over, and where."""
    seen = {}
    monkeypatch.chdir(Path.cwd())  # so that it comes back here
    monkeypatch.setattr(
        cli.os,
        "execve",
        lambda path, command, env: seen.update(command=command, env=env, cwd=Path.cwd()),
    )
    return seen


def test_guide_of_a_checkout_opens_its_own_notebooks(suspkit, launched):
    code, out, err = suspkit("guide", "--no-browser", "--port", 8899)
    assert (code, err) == (0, "")
    assert str(DATA.parent / "notebooks" / "00-start-here.ipynb") in out
    assert "copied" not in out
    command = launched["command"]
    # Neither a jupyterlab.py nor Jupyter's settings of the folder it happens to be started in.
    assert command[:4] == [sys.executable, "-P", "-m", "jupyterlab"]
    assert launched["cwd"] == Path(cli.__file__).parent / "jupyter"
    assert f"--ServerApp.root_dir={DATA.parent}" in command
    assert "--ServerApp.port=8899" in command
    assert "--no-browser" in command
    assert "token" not in " ".join(command)
    first = Path(launched["env"]["JUPYTER_CONFIG_PATH"].split(os.pathsep)[0])
    assert (first / "jupyter_lab_config.json").is_file()


def test_guide_in_a_folder_works_on_a_copy(suspkit, launched, tmp_path):
    _, out, _ = suspkit("guide", "--folder", tmp_path)
    assert f"copied {tmp_path / 'data' / 'unit7.toml'}" in out
    assert f"--ServerApp.root_dir={tmp_path}" in launched["command"]
    assert (tmp_path / "notebooks" / "00-start-here.ipynb").is_file()


@pytest.mark.parametrize(("user", "expected"), [(0, True), (1000, False)])
def test_guide_allows_root_only_as_root_and_says_so(suspkit, launched, monkeypatch, user, expected):
    monkeypatch.setattr(cli.os, "geteuid", lambda: user, raising=False)
    _, out, _ = suspkit("guide")
    assert ("--allow-root" in launched["command"]) is expected
    assert ("root" in out.replace(str(DATA.parent), "")) is expected


@pytest.mark.parametrize(("screen", "expected"), [(None, True), (":0", False)])
def test_guide_without_a_screen_only_prints_its_address(
    suspkit, launched, monkeypatch, screen, expected
):
    monkeypatch.setattr(cli.sys, "platform", "linux")
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    monkeypatch.delenv("DISPLAY", raising=False)
    if screen:
        monkeypatch.setenv("DISPLAY", screen)
    suspkit("guide")
    assert ("--no-browser" in launched["command"]) is expected


def test_guide_keeps_the_users_own_jupyter_settings_in_reach(launched, monkeypatch, suspkit):
    monkeypatch.setenv("JUPYTER_CONFIG_PATH", "/etc/mine")
    suspkit("guide")
    assert launched["env"]["JUPYTER_CONFIG_PATH"].split(os.pathsep)[1] == "/etc/mine"
    names = Path(launched["env"]["JUPYTER_PATH"].split(os.pathsep)[0], "labextensions", "suspkit")
    assert (names / "static" / "names.js").is_file()


def test_guide_without_jupyterlab_says_how_to_get_it(suspkit, launched, monkeypatch):
    monkeypatch.setattr(cli.importlib.util, "find_spec", lambda name: None)
    refused(suspkit("guide"), 'pip install "suspkit[guide]"')
    assert not launched


# --- tablet ---------------------------------------------------------------------------------------


@pytest.fixture
def served(monkeypatch):
    """What would have been served."""
    from suspkit.teaching import tablet

    asked = {}
    monkeypatch.setattr(tablet, "serve", lambda home, **more: asked.update(more, home=home))
    return asked


def test_tablet_is_for_this_machine_alone_unless_asked(suspkit, served):
    assert suspkit("tablet") == (0, "", "")
    assert served == {"home": DATA.parent, "vehicle": None, "ip": "127.0.0.1", "port": None}
    suspkit("tablet", UNIT7, "--ip", "192.168.1.20", "--port", 9000)
    assert served == {
        "home": DATA.parent, "vehicle": UNIT7, "ip": "192.168.1.20", "port": 9000,
    }  # fmt: skip


def test_tablet_takes_lessons_from_a_folder(suspkit, served, tmp_path):
    refused(suspkit("tablet", "--folder", tmp_path), str(tmp_path), "is missing; expected")
    assert not served
    (tmp_path / "notebooks").mkdir()
    (tmp_path / "notebooks" / "00-start-here.ipynb").write_text("{}")
    assert suspkit("tablet", "--folder", tmp_path) == (0, "", "")
    assert served["home"] == tmp_path


def test_what_tablet_cannot_serve_is_one_sentence(suspkit, monkeypatch):
    refused(suspkit("tablet", "--ip", "shop"), "--ip is 'shop'; expected")
    told = suspkit("tablet", UNIT7, "--port", "0")
    refused(told, "--port is 0; expected")
    assert not told[2].startswith(str(UNIT7)), "the vehicle file is not at fault"
    monkeypatch.setattr(cli.importlib.util, "find_spec", lambda name: None)
    refused(suspkit("tablet"), "Voilà is not installed", 'pip install "suspkit[guide]"')


def test_about_is_one_line_of_versions(suspkit):
    """All that a report of a fault needs: every package it may come from, and the machine."""
    code, out, err = suspkit("about")
    assert (code, err, out.count("\n")) == (0, "", 1)
    parts = out.rstrip("\n").split(", ")
    assert parts[:2] == [f"suspkit {sk.__version__}", f"Python {platform.python_version()}"]
    project = tomllib.loads((DATA.parent / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    needed = project["dependencies"] + project["optional-dependencies"]["guide"]
    for name in (re.match(r"[\w.-]+", line)[0] for line in needed):
        assert f"{name} {metadata.version(name)}" in parts
    assert parts[-3:-1] == [f"SQLite {sqlite3.sqlite_version}", platform.platform()]
    assert parts[-1] == "core compiled"


def test_about_says_what_is_not_there(suspkit, monkeypatch):
    """A broken installation is what the line is for."""

    def version(name):
        raise metadata.PackageNotFoundError(name)

    monkeypatch.setattr(metadata, "version", version)
    monkeypatch.setitem(sys.modules, "suspkit.core.settle_kernel", None)
    monkeypatch.delattr(sk.core, "settle_kernel")
    code, out, err = suspkit("about")
    assert (code, err, out.count("\n")) == (0, "", 1)
    assert "no numba" in out and "no voila" in out
    assert re.search(r"core cannot be loaded \(.*suspkit.core.settle_kernel.*\)\n$", out)


@pytest.mark.slow
def test_compiling_is_told_once(tmp_path):
    environment = os.environ | {"NUMBA_CACHE_DIR": str(tmp_path)}
    ask = "from suspkit.core import compiled, settle_kernel as kernel; "
    ask += "print(compiled.is_ready(kernel.settle_many))"

    def run(*command):
        return subprocess.run(
            [sys.executable, *map(str, command)],
            env=environment, capture_output=True, text=True, check=True,
        )  # fmt: skip

    about = run("-m", "suspkit.cli", "about").stdout
    assert about.endswith(", core not compiled yet\n")
    notes = [run("-m", "suspkit.cli", "check", UNIT7).stderr for _ in range(2)]
    assert notes == ["Compiling the core for this machine, once; some seconds ...\n", ""]
    assert run("-c", ask).stdout == "True\n"
    # What another numba left is not loaded: the wait is as long again, and told again.
    (index,) = tmp_path.rglob("*settle_many*.nbi")
    index.write_bytes(pickle.dumps("0.0.0") + index.read_bytes())
    assert run("-c", ask).stdout == "False\n"
