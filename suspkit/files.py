"""Reading text files, and writing files whole or not at all."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

MOST = 2**27
"""What is read of one text file [bytes]; what is longer is another file, picked by mistake."""


class UnwritableError(OSError):
    """A file or folder that cannot be written: one sentence says which and why."""


class UnreadableError(ValueError):
    """A text file that cannot be read: one sentence says which and why."""


def read_text(path, *, expected="a text file"):
    """Read a text file in UTF-8, with or without a byte order mark.

    Parameters
    ----------
    path : str or path
    expected : str
        What it should have been, for the sentence.

    Returns
    -------
    str

    Raises
    ------
    UnreadableError
    """
    try:
        with open(path, "rb") as file:
            data = file.read(MOST + 1)
        if len(data) <= MOST:
            return data.decode("utf-8-sig")
        fault = f"it is longer than {MOST >> 20} MB"
    except UnicodeDecodeError as error:
        fault, expected = f"byte {error.start} is {error.object[error.start]:#04x}", "UTF-8 text"
    except OSError as error:
        fault = error.strerror or str(error)
    except ValueError:  # of the name
        fault = "no file has such a name"
    raise UnreadableError(f"{str(path)[:300]}: cannot be read: {fault}; expected {expected}")


def write_files(folder, contents):
    """Write several files into a folder: all of them, or none.

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
    at = folder
    try:
        folder.mkdir(parents=True, exist_ok=True)
        # Everything that can fail for want of space or rights happens on the temporary files.
        for (at, part), content in zip(parts.items(), contents.values(), strict=True):
            if at.is_dir():
                raise IsADirectoryError(0, "a folder has this name")
            part.write_bytes(content.encode() if isinstance(content, str) else content)
        for at, part in parts.items():
            os.replace(part, at)
    except OSError as error:
        raise _unwritable(at, error) from None
    finally:
        for part in parts.values():
            try:
                part.unlink(missing_ok=True)
            except OSError:
                pass  # where nothing could be written there is nothing to tidy
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
