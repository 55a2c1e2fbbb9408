"""Files from a stranger: none writes, reads elsewhere, runs code or goes on without end.

Each attempt ends with one sentence in a fraction of the bound below, which only stops a hang. What
lay in the folder is unchanged, nothing new lies beside it, and the sentence quotes nothing of a
file that is no business of a shop's.
"""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from suspkit.cli import lab_command
from suspkit.shop import article
from tests.tools import lab
from tests.tools.fuzz import Case, texts, tried

BOUND = 10
"""Seconds of processor after which an attempt counts as one without end (our judgement)."""

LOG = b"a job log, or so it may be"
SECRET = b'name = ["hunter2"]\n'
SAID = "hunter2"
MANY = 100_000

posix = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs pipes with a name")


@pytest.fixture
def shop(tmp_path):
    """A folder with a secret beside it and a pipe nobody writes to."""
    (tmp_path / "secret.toml").write_bytes(SECRET)
    folder = tmp_path / "shop"
    folder.mkdir()
    return folder


def refused(shop, files, run, about, *words):
    """One sentence, soon, and nothing else happened."""
    case = Case(files | {"shop.log": LOG}, run, about, words=words)
    wrong, was_refused, _, said = tried(case, shop, limit=BOUND)
    assert (wrong, was_refused) == ([], True), said
    assert SAID not in said
    assert [path.name for path in sorted(shop.parent.iterdir())] == ["secret.toml", "shop"]
    assert (shop.parent / "secret.toml").read_bytes() == SECRET


# --- articles -------------------------------------------------------------------------------------

TIMES = "{% for i in range(99999) %}"
TEN = "{% for i in [1, 2, 3, 4, 5, 6, 7, 8, 9, 10] %}"

BODIES = {
    # To write.
    "an array writes a file": ('{{ now.stance.height.tofile("shop.log") }}', "'tofile'"),
    "an array writes a pickle": ('{{ now.stance.height.dump("jupyterlab.py") }}', "'dump'"),
    "an array inside a curve": (
        '{{ assemble().front_left.curve.x.tofile("shop.log") }}', "'curve'",
    ),
    "the numbers of a chart": ('{{ now.axles.front.force.tofile("shop.log") }}', "'force'"),
    "a picture saved": ('{{ shock_curve(now).savefig("shop.log") }}', "'savefig'"),
    # To read elsewhere.
    "a template of the machine": ('{% include "/etc/passwd" %}', "{% include %}"),
    "a parent of the machine": ('{% extends "../secret.toml" %}', "{% extends %}"),
    "a picture of the machine": ("![x](/etc/hostname)", "lies outside the page"),
    "a picture from the network": ("![x](http://192.0.2.1/x.png)", "lies outside the page"),
    "where the vehicle lies": ("{{ vehicle.source }}", "'source'"),
    # To run code.
    "up through the classes": ("{{ ().__class__.__mro__[1].__subclasses__() }}", "a comma"),
    "through the globals": ("{{ look.__globals__['__builtins__'] }}", "look is a function"),
    "Jinja's own objects": ("{{ cycler.__init__.__globals__.os.popen('id') }}", "'cycler'"),
    "a method of a text": ("{{ '{0.__class__}'.format(vehicle) }}", "has no 'format'"),
    "a class of the package": ("{{ vehicle.front.__class__(1) }}", "'front'"),
    # To go on without end.
    "a heap of text": ("{{ 'a' * 1000000000 }}", "expected a number"),
    "decimals without end": ("{{ now.axles.front.height | length(1000000000) }}", "1e+09"),
    "a width without end": ("{{ '%2000000000d' % 1 }}", "% is not known"),
    "a format without end": ("{{ '{:2000000000}'.format(1) }}", "has no 'format'"),
    "a filter without end": ("{{ 'x' | center(2000000000) }}", "'center'"),
    "a list without end": ("{{ ([1] * 200000000) | length }}", "a list outside of for"),
    "a power without end": ("{{ 9 ** 9 ** 9 }}", "** is not known"),
    "loops in loops": (f"{TIMES * 3}{{% endfor %}}{{% endfor %}}{{% endfor %}}", "no list"),
    "loops written out": (f"{TEN * 9}x{'{% endfor %}' * 9}", "more than 20000 steps"),
    "a thousand vehicles": (
        f"{TEN * 3}{{{{ settle(setup).front_height | tape }}}}{'{% endfor %}' * 3}",
        "more than 200 computations",
    ),
    "functions by another name": (
        f"{TEN}{{% set f = settle %}}{{{{ f().front_height | tape }}}}{{% endfor %}}",
        "settle is a function",
    ),
    "a thousand pictures": (
        f"{TEN * 3}{{{{ shock_curve(now) }}}}{'{% endfor %}' * 3}", "more than 20 pictures",
    ),
    "a picture of a mile": ("{{ shock_curve(now, size=[90000, 90000]) }}", "a list outside"),
    "pages of one word": (
        f"{TEN * 3}{'x' * 100}{'{% endfor %}' * 3}", "more than 15000 characters",
    ),
    "a macro that calls itself twice": (
        "{% macro f(n) %}{{ f(n) }}{{ f(n) }}{% endmacro %}{{ f(1) }}", "{% macro %}",
    ),
    "brackets in brackets": ("{{ " + "(" * 5000 + "1" + ")" * 5000 + " }}", "nests too deep"),
    "a sum without end": ("{{ 1" + " + 1" * 3000 + " }}", "nests too deep"),
    "a set-up beyond all": ("{{ look(setup.change('all', turns=1e300)) }}", "1e+300"),
    "a table of a thousand columns": (f"|{'a|' * 2000}\n|{'-|' * 2000}\n{'|x' * 2000}", "50 |"),
}  # fmt: skip


@pytest.mark.parametrize("name", BODIES)
def test_article(shop, name):
    body, word = BODIES[name]
    files = texts()[0] | {"a.md": f'+++\ntitle = "T"\nvehicle = "v.toml"\n+++\n{body}\n'.encode()}
    run = ["article", "a.md", "--no-pdf", "--out", "out"]
    line = "a.md" if word in ("lies outside the page", "50 |") else "a.md line 5: "
    refused(shop, files, run, line, word)


HEADS = {
    "a vehicle elsewhere": ('vehicle = "../secret.toml"', "which lies elsewhere"),
    "a vehicle by its whole name": ("vehicle = {secret}", "which lies elsewhere"),
    "a vehicle through a link": ('vehicle = "link.toml"', "which lies elsewhere"),
    "names within names": (f"a{'.a' * 50_000} = 1", "the head is longer than"),
    "lists within lists": (f"title = {'[' * MANY}", "the head is longer than"),
}


@pytest.mark.parametrize("name", HEADS)
def test_head_of_an_article(shop, name):
    line, word = HEADS[name]
    files = {}
    if "link" in name:
        (shop / "link.toml").symlink_to(shop.parent / "secret.toml")
        files["link.toml"] = SECRET
    line = line.format(secret=json.dumps(str(shop.parent / "secret.toml")))
    files["a.md"] = f'+++\ntitle = "T"\n{line}\n+++\n'.encode()
    word = word if len(files["a.md"]) < 15_000 else "is longer than 15000 characters"
    refused(shop, files, ["article", "a.md", "--no-pdf", "--out", "out"], "a.md", word)


def test_an_article_without_end(shop):
    text = b'+++\ntitle = "T"\n+++\n' + b"![[](" * MANY
    run = ["article", "a.md", "--no-pdf", "--out", "out"]
    refused(shop, {"a.md": text}, run, "a.md", "longer than 15000 characters")


@posix
def test_an_article_that_is_a_pipe(shop):
    os.mkfifo(shop / "a.md")
    refused(shop, {}, ["article", "a.md", "--no-pdf", "--out", "out"], "a.md", "cannot be read")


def test_a_notebook_does_not_run_by_itself(shop):
    source = "open('ran', 'w')"
    cell = {"cell_type": "code", "source": source, "metadata": {}, "outputs": [], "id": "a"}
    book = {"cells": [cell | {"execution_count": None}], "metadata": {}, "nbformat": 4}
    text = json.dumps(book | {"nbformat_minor": 5}).encode()
    refused(shop, {"a.ipynb": text}, ["article", "a.ipynb"], "a.ipynb", "--run-code")


def test_marks_of_our_own_in_a_name(unit7, tmp_path):
    """They stand for what is put on the page later, by its number."""
    from dataclasses import replace

    path = tmp_path / "a.md"
    path.write_text(
        '+++\ntitle = "T"\n+++\n\n[x](#y "{{ vehicle.name }}") {{ load }} \ue0007\ue001'
    )
    page = article.read(path, vehicle=replace(unit7, name="N\ue0001\ue001\ue00099\ue001"))
    assert 'title="N199"' in page and "\ue000" not in page


# --- vehicle files --------------------------------------------------------------------------------


RACK = 'rack = "springs.csv"'


def edited(name, old, new, *, base=0):
    files = dict(texts()[base])
    text = files[name].decode()
    assert old in text
    return files | {name: text.replace(old, new, 1).encode()}


def added(line):
    """The vehicle file with another line at its top."""
    return edited("v.toml", RACK, f"{RACK}\n{line}")


def dyno_of(new):
    return edited("v.toml", '"dyno.csv"', new, base=1)


VEHICLES = {
    "names within names": (lambda: added(f"a{'.a' * 50_000} = 1"), ("v.toml",)),
    "lists within lists": (lambda: added("a = " + "[" * MANY), ("v.toml",)),
    "tables within tables": (lambda: added("a = " + "{a = " * MANY), ("v.toml",)),
    "a number without end": (lambda: added("a = " + "9" * MANY), ("v.toml",)),
    "a power for a length": (
        lambda: edited("v.toml", 'wheelbase = "117 in"', 'wheelbase = "9**9**9**9 in"'),
        ("wheelbase",),
    ),
    "digits for a length": (
        lambda: edited("v.toml", 'wheelbase = "117 in"', f'wheelbase = "{"1" * 9000}x in"'),
        ("wheelbase",),
    ),
    "a rack elsewhere": (
        lambda: edited("v.toml", RACK, 'rack = "../secret.toml"'), ("secret.toml",),
    ),
    "a dyno table elsewhere": (lambda: dyno_of('"../secret.toml"'), ("secret.toml",)),
    "a rack without end": (lambda: edited("v.toml", RACK, 'rack = "/dev/zero"'), ("/dev/zero",)),
    "clicks without end": (
        lambda: edited("v.toml", "count = ", "count = 100000000000000"), ("clicker",),
    ),
    "items without end": (
        lambda: edited(
            "v.toml", RACK,
            RACK + "\n[loads.x]\nitems = [" + '"driver", ' * 200_000 + "]\n",
        ),
        ("v.toml",),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", VEHICLES)
def test_vehicle_file(shop, name):
    make, words = VEHICLES[name]
    refused(shop, make(), ["check", "v.toml"], "v.toml" if "elsewhere" not in name else "", *words)


@posix
@pytest.mark.parametrize("which", ["v.toml", "springs.csv", "dyno.csv"])
def test_a_pipe_for_a_file(shop, which):
    files = next(files for files in texts() if which in files)
    files = {name: data for name, data in files.items() if name != which}
    os.mkfifo(shop / which)
    refused(shop, files, ["check", "v.toml"], which, "cannot be read")


# --- racks and dyno tables ------------------------------------------------------------------------


def rack(text):
    return lambda: texts()[0] | {"springs.csv": text}


def dyno(text):
    return lambda: texts()[1] | {"dyno.csv": text}


HEADING = b"name,rate,free_length,solid_length\n"

TABLES = {
    "rows without end": rack(
        HEADING + b"".join(b"s%d,100 lb/in,10 in,5 in\n" % i for i in range(MANY))
    ),
    "columns without end": rack(b"name," * MANY + b"\n" + b"1," * MANY),
    "unknown columns": rack(b",".join(b"c%d" % i for i in range(MANY)) + b"\n"),
    "a cell without end": rack(HEADING + b's,"100 lb/in' + b",\n" * 2_000_000),
    "a line without end": rack(HEADING + b"s," + b"1" * 10_000_000 + b",10 in,5 in\n"),
    "a power for a rate": rack(HEADING + b"s,9**9**9**9 lb/in,10 in,5 in\n"),
    "digits for a rate": rack(HEADING + b"s," + b"1" * 9000 + b"x lb/in,10 in,5 in\n"),
    "coils without end": rack(
        b"name,free_length,wire_diameter,mean_diameter,total_coils,ends\n"
        b"s,10 in,0.4 in,3 in,1e12,squared and ground\n"
    ),
    "measurements without end": dyno(
        b"velocity (in/s),force (lbf)\n" + b"".join(b"%d,%d\n" % (i, i) for i in range(2 * MANY))
    ),
    "a unit without end": dyno(b"velocity (in/s),force (" + b"lbf*" * MANY + b"lbf)\n1,1\n"),
    "a unit that is a power": dyno(b"velocity (in/s),force (9**9**9**9)\n1,1\n"),
    "bytes for a table": dyno(bytes(range(256)) * 1000),
}


@pytest.mark.parametrize("name", TABLES)
def test_table(shop, name):
    files = TABLES[name]()
    about = "dyno.csv" if name in list(TABLES)[-4:] else "springs.csv"
    refused(shop, files, ["check", "v.toml"], about)


# --- what lies in the current folder --------------------------------------------------------------


def home():
    """Environment in which the package is found, as it is where it is installed."""
    return {**os.environ, "PYTHONPATH": str(lab.ROOT)}


@pytest.mark.parametrize("command", ["check v.toml", "sheet v.toml --no-pdf", "about"])
def test_modules_and_settings_of_the_current_folder_are_not_run(tmp_path, command):
    script, mark = Path(sys.executable).with_name("suspkit"), lab.plant(tmp_path)
    if not script.is_file():
        pytest.skip("needs the command where Python is")
    for name, data in texts()[0].items():
        (tmp_path / name).write_bytes(data)
    done = subprocess.run(
        [script, *command.split()], cwd=tmp_path, env=home(), capture_output=True, text=True,
        timeout=300,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert not mark.exists() and not (tmp_path / "cache").exists()


def test_the_guide_is_started_past_what_lies_in_the_current_folder(tmp_path):
    """Here it only tells its version; `test_guide_is_shut` starts it whole."""
    pytest.importorskip("jupyterlab")
    mark = lab.plant(tmp_path)
    command, environment = lab_command(tmp_path, browser=False)
    subprocess.run([*command, "--version"], cwd=tmp_path, env=environment, check=True, timeout=300)
    assert not mark.exists()
