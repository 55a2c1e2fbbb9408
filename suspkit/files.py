"""Reading files within bounds, and writing files whole or not at all."""

from __future__ import annotations

import codecs
import csv
import errno
import io
import os
import shutil
import stat
import tomllib
from contextlib import suppress
from pathlib import Path

PACKAGE = Path(__file__).parent
"""Where the package lies, with its templates and pages."""

MOST = 2**24
"""What is read of one file [bytes]; what is longer is another file, picked by mistake."""

LONGEST_LINE = 10_000
"""Letters in a line of TOML; a page of text has 3000."""

MOST_COLUMNS = 100
"""Of a CSV."""

_DOTS = 10**7  # squares of the dots in a line: what a TOML reader's time goes with


class UnwritableError(OSError):
    """A file or folder that cannot be written: one sentence says which and why."""


class UnreadableError(ValueError):
    """A file that cannot be read: one sentence says which and why."""


def read_bytes(path, *, expected="a file", most=MOST):
    """Read a file of the disk, and no more of it than it may have.

    Parameters
    ----------
    path : str or path
    expected : str
        What it should have been, for the sentence.
    most : int
        Bytes it may have.

    Returns
    -------
    bytes

    Raises
    ------
    UnreadableError
        Also for a folder, pipe, socket or device, which are not waited for.
    """
    try:
        fault = _kind(os.stat(path))  # before it is opened, which alone makes some devices act
        if not fault:
            # Another may stand there by now; and some files of the system wait for news.
            flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
            with open(os.open(path, flags), "rb") as file:
                fault = _kind(os.fstat(file.fileno()))
                # Bounded whatever size the system tells: some files have none, or no end.
                data = b"" if fault else file.read(most + 1)
            if data is None:
                raise BlockingIOError(errno.EAGAIN, os.strerror(errno.EAGAIN))
            fault = fault or (f"it is longer than {_size(most)}" if len(data) > most else "")
            if not fault:
                return data
    except OSError as error:
        fault = error.strerror or str(error)
    except ValueError:  # of the name
        fault = "no file has such a name"
    raise UnreadableError(f"{str(path)[:300]}: cannot be read: {fault}; expected {expected}")


def read_text(path, *, expected="a text file", most=MOST):
    """Read a text file in UTF-8, with or without a byte order mark; see `read_bytes`.

    Parameters
    ----------
    path : str or path
    expected : str
        What it should have been, for the sentence.
    most : int
        Bytes it may have.

    Returns
    -------
    str

    Raises
    ------
    UnreadableError
    """
    data = read_bytes(path, expected=expected, most=most)
    try:
        # Some programs put a mark before the mark that was there.
        return data.decode("utf-8").lstrip("\ufeff")
    except UnicodeDecodeError as error:
        fault = f"byte {error.start} is {error.object[error.start]:#04x}"
    utf16 = data[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
    expected = "UTF-8 text, not UTF-16" if utf16 else "UTF-8 text"
    raise UnreadableError(f"{str(path)[:300]}: cannot be read: {fault}; expected {expected}")


def _kind(found):
    """What else than a file of the disk it is."""
    for is_one, what in (
        (stat.S_ISDIR, "a folder"), (stat.S_ISFIFO, "a pipe"), (stat.S_ISSOCK, "a socket"),
    ):  # fmt: skip
        if is_one(found.st_mode):
            return f"it is {what}"
    return "" if stat.S_ISREG(found.st_mode) else "it is a device"


def _size(most):
    return f"{most >> 20} MB" if most >= 2**20 else f"{most >> 10} kB"


def parse_toml(text, name):
    """The tables of a TOML text, within bounds that keep its reading short.

    Parameters
    ----------
    text : str
    name : str or path
        Of the file, for the sentence.

    Returns
    -------
    dict

    Raises
    ------
    UnreadableError
        One sentence that names file and place and quotes nothing of the text.
    """
    lines = text.split("\n")
    dots = [line.count(".") for line in lines]
    fault = ""
    if max(map(len, lines)) > LONGEST_LINE:
        at = next(i for i, line in enumerate(lines, 1) if len(line) > LONGEST_LINE)
        fault = f"line {at} is longer than {LONGEST_LINE} letters"
    elif sum(count**2 for count in dots) > _DOTS:
        at = max(range(len(dots)), key=dots.__getitem__)
        fault = f"line {at + 1} has {dots[at]} dots, as of tables within tables without end"
    else:
        try:
            return tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            said, at, place = str(error).rpartition(" (at ")
            if said.startswith(("Cannot", "Duplicate")):  # which go on to quote a name
                said = "a name is there twice, or as two things"
            fault = said + at + place
        except RecursionError:
            fault = "it has lists or tables within each other without end"
        except ValueError:  # the only other one TOML's reader raises
            fault = "it holds a whole number of thousands of digits"
    raise UnreadableError(f"{name}: not a TOML file: {fault}; expected lines such as 'turns = 4'")


def read_rows(text, *, name, what, heading, ours, most, remarks=True):
    """Rows of a CSV text.

    Nothing of a text without the right heading is quoted: it may be any file of the machine.

    Parameters
    ----------
    text : str
    name : str or path
        Of the file, for the sentence.
    what : str
        It should be, such as ``"a rack of springs"``.
    heading : str
        Example of its heading row.
    ours : callable
        Takes the cells of a heading row and tells whether it is of such a file.
    most : int
        Rows it may have.
    remarks : bool
        Whether lines that start with ``#`` are left out. A row is then one line.

    Yields
    ------
    int
        Line: of the heading, then of each row.
    list of str
        Its cells, of a row as many as of the heading.

    Raises
    ------
    UnreadableError
        One sentence naming file and line.
    """
    said = f"a heading row such as {heading!r}"
    if remarks and max(map(len, text.split("\n"))) > LONGEST_LINE:
        raise UnreadableError(
            f"{name}: has a line longer than {LONGEST_LINE} letters; expected {what}"
        )
    lines = io.StringIO(text, newline="")
    if remarks:
        lines = ("\n" if line.lstrip().startswith("#") else line for line in lines)
    # A cell may be all the files of a vehicle; how long it can be is bounded by the text.
    csv.field_size_limit(max(csv.field_size_limit(), MOST))
    reader = csv.reader(lines, strict=True)
    rows, line = [], 0
    try:
        for cells in reader:
            begun, line = line + 1, reader.line_num
            if not cells or (len(cells) == 1 and not cells[0].strip()):
                continue
            if not rows and not _is_heading(cells, ours):
                fault, expected = f"is not {what}", said
                parted = next((s for s in ";\t" if _is_heading(",".join(cells).split(s), ours)), "")
                if parted:
                    fault = f"has {'semicolons' if parted == ';' else 'tabs'} between its cells"
                    expected = "commas there, and points in numbers"
                raise UnreadableError(f"{name}: {fault}; expected {expected}")
            if remarks and begun != line:
                raise UnreadableError(
                    f"{name} line {begun}: a quoted cell runs over a line; expected one row a line"
                )
            if len(rows) > most:
                raise UnreadableError(f"{name}: has more than {most} rows; expected no more")
            rows.append((begun, cells))
    except csv.Error as error:
        fault = f"not a CSV file: {error}"
        raise UnreadableError(f"{name} line {line + 1}: {fault}; expected {what}") from None
    if not rows:
        raise UnreadableError(f"{name}: the file is empty; expected {said}")
    heading = rows[0][1]
    for line, cells in rows:
        if len(cells) != len(heading):
            raise UnreadableError(
                f"{name} line {line}: has {len(cells)} cells; expected {len(heading)}, as in the "
                "heading"
            )
        yield line, cells


def _is_heading(cells, ours):
    return len(cells) <= MOST_COLUMNS and ours([cell.strip() for cell in cells])


def write_files(folder, contents):
    """Write several files that belong together into a folder: all of them, or none.

    A program killed in between leaves none of a file from before beside one that is new: all but
    the first are out of the way while the first is replaced. What is then missing lies there under
    its name with a dot before it.

    Parameters
    ----------
    folder : str or path
        Made if it is not there.
    contents : dict of str to str or bytes
        By file name; text is written as UTF-8.

    Returns
    -------
    list of Path

    Raises
    ------
    UnwritableError
        If any cannot be written; whatever stood there before is then still there.
    """
    folder = Path(folder)
    parts = {folder / name: folder / f".{name}.{os.getpid()}.part" for name in contents}
    kept = {at: at.with_name(f".{at.name}.{os.getpid()}.old") for at in parts}
    first, *others = parts
    at, placed = folder, []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        # Everything that can fail for want of space or rights happens on the temporary files.
        for (at, part), content in zip(parts.items(), contents.values(), strict=True):
            if at.is_dir():
                raise IsADirectoryError(0, "a folder has this name")
            part.write_bytes(content.encode() if isinstance(content, str) else content)
        if others and first.exists():
            shutil.copyfile(first, kept[first])
        for at in others:
            if os.path.lexists(at):
                os.replace(at, kept[at])
        for at, part in parts.items():
            os.replace(part, at)
            placed.append(at)
    except OSError as error:
        raise _unwritable(at, error) from None
    finally:
        as_it_was = len(placed) < len(parts)
        for at, part in parts.items():
            with suppress(OSError):  # where nothing could be written there is nothing to tidy
                part.unlink(missing_ok=True)
            with suppress(OSError):
                if as_it_was and at in placed:
                    at.unlink()
                if as_it_was and (at != first or at in placed):
                    os.replace(kept[at], at)
                kept[at].unlink()
    return list(parts)


def write_file(path, content):
    """Write one file, whole or not at all; see `write_files`.

    Parameters
    ----------
    path : str or path
    content : str or bytes

    Returns
    -------
    Path
    """
    return write_files(Path(path).parent, {Path(path).name: content})[0]


def copy_missing(source, folder, *, pattern="**/*"):
    """Copy files that are not there yet; never overwrite one that is.

    Parameters
    ----------
    source, folder : str or path
    pattern : str
        Which files below ``source``. Names that start with a dot are left out.

    Returns
    -------
    copied, kept : tuple of list of Path
        Files in ``folder``, now copied and already there.

    Raises
    ------
    UnwritableError
    """
    source, folder = Path(source), Path(folder)
    copied, kept = [], []
    for path in sorted(source.glob(pattern)):
        below = path.relative_to(source)
        if path.is_dir() or any(part.startswith((".", "__")) for part in below.parts):
            continue
        target = folder / below
        try:
            if os.path.lexists(target):
                kept.append(target)
                continue
            target.parent.mkdir(parents=True, exist_ok=True)
            part = target.with_name(f".{target.name}.{os.getpid()}.part")
            try:
                shutil.copyfile(path, part)
                os.replace(part, target)
            finally:
                part.unlink(missing_ok=True)
        except OSError as error:
            raise _unwritable(target, error) from None
        copied.append(target)
    return copied, kept


def _unwritable(path, error):
    reason = error.strerror or str(error)
    return UnwritableError(f"{path} cannot be written: {reason}; expected a place to write to")
