"""Files are written whole or not at all, and what is there is kept."""

import os
import stat

import pytest

from suspkit import files
from suspkit.files import UnwritableError, copy_missing, write_file, write_files


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
