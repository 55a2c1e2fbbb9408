"""Files are read within bounds, and written whole or not at all."""

import os
import socket
import stat
import subprocess
import sys
import time

import pytest

from suspkit import files
from suspkit.files import (
    UnreadableError,
    UnwritableError,
    copy_missing,
    parse_toml,
    read_bytes,
    read_rows,
    read_text,
    write_file,
    write_files,
)


def test_writes_text_as_utf8_and_bytes_as_they_are(tmp_path):
    made = write_files(tmp_path / "new" / "folder", {"a.txt": "½ in\n", "b.bin": b"\x00\xff"})
    assert [path.name for path in made] == ["a.txt", "b.bin"]
    assert made[0].read_bytes() == "½ in\n".encode()
    assert made[1].read_bytes() == b"\x00\xff"
    assert write_file(tmp_path / "c.txt", "c").read_text() == "c"
    assert write_file(tmp_path / "d", b"d").read_bytes() == b"d"


def test_others_may_read_what_was_written(tmp_path):
    before = os.umask(0o022)
    try:
        mode = write_file(tmp_path / "a", "").stat().st_mode
    finally:
        os.umask(before)
    assert stat.S_IMODE(mode) == 0o644


def test_replaces_what_was_there(tmp_path):
    (tmp_path / "a").write_text("a longer text than the new one")
    write_file(tmp_path / "a", "new")
    assert (tmp_path / "a").read_text() == "new"
    assert os.listdir(tmp_path) == ["a"]


@pytest.mark.parametrize("name", ["file/in/it", "file"])
def test_a_folder_that_is_a_file_is_one_sentence(tmp_path, name):
    (tmp_path / "file").write_text("mine")
    with pytest.raises(UnwritableError) as caught:
        write_files(tmp_path / name, {"a": "a"})
    assert str(tmp_path / "file") in str(caught.value)
    assert "cannot be written: " in str(caught.value)
    assert "\n" not in str(caught.value)
    assert (tmp_path / "file").read_text() == "mine"


def test_a_file_that_is_a_folder_is_one_sentence_and_the_others_are_not_written(tmp_path):
    (tmp_path / "b").mkdir()
    with pytest.raises(UnwritableError, match="a folder has this name"):
        write_files(tmp_path, {"a": "a", "b": "b"})
    assert os.listdir(tmp_path) == ["b"]


@pytest.mark.parametrize("fails", ["replace", "write"])
def test_a_full_disk_leaves_what_was_there(tmp_path, monkeypatch, fails):
    def full(*_):
        raise OSError(28, "No space left on device")

    (tmp_path / "a").write_text("old")
    if fails == "replace":
        monkeypatch.setattr(files.os, "replace", full)
    else:
        monkeypatch.setattr(files.Path, "write_bytes", full)
    with pytest.raises(UnwritableError, match="No space left on device"):
        write_files(tmp_path, {"a": "new", "b": "new"})
    monkeypatch.undo()
    assert (tmp_path / "a").read_text() == "old"
    assert os.listdir(tmp_path) == ["a"]


KILLED = """
import os, sys
from suspkit import files

def steps(module, name):
    real = getattr(module, name)
    def counted(*arguments, **options):
        global left
        left -= 1
        if left < 0:
            os._exit(9)  # as kill does: nothing is tidied
        return real(*arguments, **options)
    setattr(module, name, counted)

left = int(sys.argv[1])
for module, name in ((os, "replace"), (os, "unlink"), (files.shutil, "copyfile"),
                     (files.Path, "write_bytes"), (files.Path, "unlink")):
    steps(module, name)
files.write_files(sys.argv[2], {"a.html": "new", "a.pdf": "new", "b.pdf": "new"})
"""


def test_a_kill_at_any_step_leaves_nothing_old_beside_something_new(tmp_path):
    """A sheet may be missing then, and its last one lies hidden; but no two differ."""
    seen = set()
    for step in range(100):
        folder = tmp_path / str(step)
        folder.mkdir()
        for name in ("a.html", "a.pdf", "b.pdf"):
            (folder / name).write_text("old")
        run = subprocess.run([sys.executable, "-c", KILLED, str(step), str(folder)], check=False)
        there = {path.read_text() for path in folder.iterdir() if path.name[0] != "."}
        assert there in ({"old"}, {"new"}), step
        assert (folder / "a.html").exists(), step
        seen |= there
        if run.returncode == 0:
            break
        assert run.returncode == 9
        kept = [p for p in folder.iterdir() if p.read_text() == "old"]
        assert len(kept) >= 3 or there == {"new"}, "the last sheet is lost"
    assert step > 8 and seen == {"old", "new"}
    assert sorted(os.listdir(folder)) == ["a.html", "a.pdf", "b.pdf"]


@pytest.mark.parametrize("fails", range(9))
@pytest.mark.parametrize("error", [OSError(5, "Input/output error"), KeyboardInterrupt()])
def test_an_error_at_any_step_leaves_what_was_there(tmp_path, monkeypatch, fails, error):
    left = fails

    def failing(real):
        def step(*arguments):
            nonlocal left
            left -= 1
            if left == -1:  # the disk works again afterwards
                raise error
            return real(*arguments)

        return step

    (tmp_path / "a").write_text("old")
    (tmp_path / "b").write_text("old")
    monkeypatch.setattr(files.os, "replace", failing(os.replace))
    monkeypatch.setattr(files.shutil, "copyfile", failing(files.shutil.copyfile))
    monkeypatch.setattr(files.Path, "write_bytes", failing(files.Path.write_bytes))
    try:
        write_files(tmp_path, dict.fromkeys("acb", "new"))
        expected = dict.fromkeys("acb", "new")
    except (OSError, KeyboardInterrupt):
        expected = {"a": "old", "b": "old"}
    monkeypatch.undo()
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == expected
    assert (fails < 8) == (len(expected) == 2)


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write to any folder"
)
def test_a_folder_without_rights_is_one_sentence(tmp_path):
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(UnwritableError, match="Permission denied"):
            write_file(tmp_path / "a", "a")
    finally:
        tmp_path.chmod(0o700)


def test_copies_what_is_missing_and_keeps_the_rest(tmp_path):
    source, folder = tmp_path / "source", tmp_path / "mine"
    for name in ("a", "below/b", ".hidden", ".ipynb_checkpoints/a", "__pycache__/c"):
        (source / name).parent.mkdir(parents=True, exist_ok=True)
        (source / name).write_text("theirs")
    folder.mkdir()
    (folder / "a").write_text("mine")
    copied, kept = copy_missing(source, folder)
    assert copied == [folder / "below" / "b"]
    assert kept == [folder / "a"]
    assert (folder / "a").read_text() == "mine"
    assert sorted(os.listdir(folder)) == ["a", "below"]
    assert copy_missing(source, folder) == ([], [folder / "a", folder / "below" / "b"])


def test_a_link_that_leads_nowhere_is_kept_too(tmp_path):
    (tmp_path / "source").mkdir()
    (tmp_path / "source" / "a").write_text("theirs")
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "a").symlink_to(tmp_path / "nowhere")
    assert copy_missing(tmp_path / "source", tmp_path / "mine")[1] == [tmp_path / "mine" / "a"]
    assert not (tmp_path / "nowhere").exists()


def test_copying_to_where_nothing_can_be_is_one_sentence(tmp_path):
    (tmp_path / "source").mkdir()
    (tmp_path / "source" / "a").write_text("theirs")
    (tmp_path / "file").write_text("mine")
    with pytest.raises(UnwritableError, match="cannot be written"):
        copy_missing(tmp_path / "source", tmp_path / "file")


# --- reading --------------------------------------------------------------------------------------


def unreadable(call, *words):
    with pytest.raises(UnreadableError) as caught:
        call()
    said = str(caught.value)
    assert [word for word in (*words, "expected") if word not in said] == [], said
    assert "\n" not in said and len(said) < 500
    return said


@pytest.fixture
def odd(tmp_path):
    """What is no file of the disk, or has no end, by name."""
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "folder").mkdir()
    (tmp_path / "round").symlink_to("round")
    (tmp_path / "through").symlink_to("pipe")
    with socket.socket(socket.AF_UNIX) as listening:
        home = os.getcwd()
        os.chdir(tmp_path)  # a socket's name is short
        listening.bind("socket")
        os.chdir(home)
        yield {
            tmp_path / "pipe": "it is a pipe",
            tmp_path / "folder": "it is a folder",
            tmp_path / "socket": "it is a socket",
            tmp_path / "round": "symbolic links",
            tmp_path / "through": "it is a pipe",
            tmp_path / "none": "No such file",
            tmp_path / ("x" * 300): "name too long",
            "a\0b": "no file has such a name",
            "/dev/zero": "it is a device",
        }


def test_what_is_no_file_is_refused_at_once(odd):
    """A pipe that nobody writes to is not waited for."""
    for path, fault in odd.items():
        unreadable(lambda p=path: read_text(p, expected="a rack"), str(path)[:300], fault, "a rack")


@pytest.mark.parametrize(
    "command", [("check", "{}"), ("log", "import", "log", "{}"), ("log", "show", "{}"), 
                ("article", "{}", "--no-pdf")]
)  # fmt: skip
def test_a_command_waits_for_no_pipe(tmp_path, command):
    os.mkfifo(tmp_path / "pipe")
    done = subprocess.run(
        [sys.executable, "-m", "suspkit.cli", *(word.format("pipe") for word in command)],
        cwd=tmp_path, capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    assert (done.returncode, done.stderr.count("\n")) == (2, 1), done.stderr
    assert "pipe" in done.stderr and "expected" in done.stderr
    assert os.listdir(tmp_path) == ["pipe"]


@pytest.mark.skipif(not os.path.exists("/proc/self/maps"), reason="needs /proc")
def test_a_file_that_lies_about_its_size_is_read_to_the_bound():
    assert os.stat("/proc/self/maps").st_size == 0
    unreadable(lambda: read_bytes("/proc/self/maps", most=2**10), "longer than 1 kB")
    assert b"stack" in read_bytes("/proc/self/maps")


def test_a_file_has_a_bound(tmp_path):
    (tmp_path / "a").write_bytes(b"x" * 100)
    assert read_bytes(tmp_path / "a", most=100) == b"x" * 100
    unreadable(lambda: read_bytes(tmp_path / "a", most=99), "longer than")


def test_text_is_utf8_with_or_without_marks(tmp_path):
    path = tmp_path / "a"
    for mark in (b"", b"\xef\xbb\xbf", 2 * b"\xef\xbb\xbf"):
        path.write_bytes(mark + "½ in".encode())
        assert read_text(path) == "½ in"
    path.write_bytes(b"abc\xff")
    unreadable(lambda: read_text(path), str(path), "byte 3 is 0xff", "UTF-8")
    path.write_bytes("name".encode("utf-16"))
    unreadable(lambda: read_text(path), "expected UTF-8 text, not UTF-16")


SECRET = "hunter2"
TOMLS = {
    "dots": ("a." * 50_000 + "b = 1", "line 1 is longer than"),
    "lines of dots": (2 * ("a." * 4900 + "b = 1\n"), "line 1 has 4900 dots"),
    "lists in lists": ("a = " + "[\n" * 100_000, "within each other"),
    "tables in tables": ("a = " + "{a = " * 1500, "within each other"),
    "digits": ("a = 1" + "0" * 5000, "digits"),
    "twice": (f"[{SECRET}]\n[{SECRET}]", "line 2, column"),
    "twice in one": (f"a = {{ {SECRET} = 1, {SECRET} = 2 }}", "line 1, column"),
    "no TOML": (f"root:{SECRET}", "line 1, column"),
}


@pytest.mark.parametrize(("text", "words"), TOMLS.values(), ids=TOMLS)
def test_toml_without_end_or_sense_is_refused_at_once_and_not_quoted(text, words):
    began = time.process_time()
    said = unreadable(lambda: parse_toml(text, "v.toml"), "v.toml: not a TOML file: ", words)
    assert time.process_time() - began < 1.5  # 16 s for the dots, once
    assert SECRET not in said


def rows(text, **more):
    more = {"what": "a rack", "heading": "name,rate", "ours": lambda cells: "name" in cells} | more
    return list(read_rows(text, name="r.csv", **{"most": 3} | more))


def test_rows_come_with_their_lines():
    text = "# remark\n\nname,rate\r\n'a',1\n  \n# b,2\n\"c,d\",3\n"
    assert rows(text) == [(3, ["name", "rate"]), (4, ["'a'", "1"]), (7, ["c,d", "3"])]
    kept = rows('name,note\na,"b\n#c"\n#d,e\n', remarks=False)
    assert kept == [(1, ["name", "note"]), (2, ["a", "b\n#c"]), (4, ["#d", "e"])]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", ["is empty", "name,rate"]),
        ("# a\n\n", ["is empty", "name,rate"]),
        (f"root:x:0:{SECRET}\n", ["is not a rack; expected a heading row such as 'name,rate'"]),
        (f'"{SECRET}', ["line 1", "not a CSV file"]),
        (f'"{SECRET}\n{SECRET}",name\n', ["line 1", "over a line"]),
        (SECRET * 2000, ["line longer than 10000 letters"]),
        ("name" + f",{SECRET}" * 100 + "\n", ["is not a rack"]),
        ("name;rate\na;1,5\n", ["semicolons between its cells; expected commas", "points"]),
        ("name\trate\na\t1\n", ["tabs between its cells; expected commas"]),
        ("name,rate\n" + "a,1\n" * 4, ["more than 3 rows"]),
        ("name,rate\na\n", ["line 2: has 1 cells; expected 2"]),
        ('name,rate\n"a\n",1\n', ["line 2", "over a line"]),
    ],
)
def test_rows_that_cannot_be_are_one_sentence(text, words):
    assert SECRET not in unreadable(lambda: rows(text), "r.csv", *words)
