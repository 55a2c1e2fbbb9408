"""The lessons and a live set-up as plain pages, for a tablet on the shop floor."""

from __future__ import annotations

import errno
import ipaddress
import json
import os
import re
import secrets
import socket
import tempfile
from pathlib import Path

from suspkit.files import PACKAGE, copy_missing, read_text
from suspkit.vehicle.file import load_vehicle

FIRST_PORT = 8866
"""Where to look for a free port if none is given."""

IDLE = 15 * 60
"""How long what was computed for a page is kept after its tablet fell silent [s]."""

TEMPLATES = PACKAGE.resolve() / "jupyter"

_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"  # none that looks like another

_CAUTION = (
    "CAUTION: whoever is on this network and learns the address can open these pages, and the "
    "address is not encrypted on its way. Only on a network of your own; stop it when done."
)


def token():
    """A secret of 79 bits that can be typed on a tablet.

    Returns
    -------
    str
    """
    groups = ("".join(secrets.choice(_LETTERS) for _ in range(4)) for _ in range(4))
    return "-".join(groups)


def pages(home, folder, *, vehicle=None):
    """Copy the lessons, so that none can be changed, and add a set-up page.

    Parameters
    ----------
    home : Path
        Where ``notebooks`` and ``data`` are.
    folder : Path
        Where to copy them.
    vehicle : path, optional
        Of the vehicle file whose set-up is shown; the example vehicle if not given.

    Returns
    -------
    dict of str to str
        File name of each page to its title.

    Raises
    ------
    ValueError
        If a file there is not a notebook.
    """
    for part in ("notebooks", "data"):
        copy_missing(home / part, folder / part)
    lessons, titles = folder / "notebooks", {}
    _set_up_page(lessons / "set-up.ipynb", vehicle)
    for path in sorted(lessons.glob("*.ipynb"), key=lambda path: (path.stem != "set-up", path)):
        try:
            notebook = json.loads(read_text(path, expected="a notebook"))
            text = "\n".join("".join(cell["source"]) for cell in notebook["cells"])
            heading = re.search(r"^# (.+)$", text, re.MULTILINE)
            titles[path.name] = notebook["metadata"]["title"] = heading[1] if heading else path.stem
        except (ValueError, KeyError, TypeError):
            raise ValueError(
                f"{path.name} is not a notebook; expected one of format 4, or another file name"
            ) from None
        path.write_text(json.dumps(notebook), encoding="utf-8")
    return titles


def _set_up_page(path, vehicle):
    import nbformat

    read = "sk.example()" if vehicle is None else f"sk.load_vehicle({str(vehicle)!r})"
    code = f"import suspkit as sk\n\nvehicle = {read}\n"
    cells = [
        nbformat.v4.new_markdown_cell("# The set-up, live"),
        nbformat.v4.new_code_cell(f"{code}print(vehicle.name)\nprint(vehicle.about)"),
        nbformat.v4.new_code_cell("sk.panels.start(vehicle)"),
        nbformat.v4.new_markdown_cell(
            "What is moved here is not kept. Before you turn a collar: frame on stands, wheels "
            "hanging, out of line with the springs, eyes protected."
        ),
    ]
    nbformat.write(nbformat.v4.new_notebook(cells=cells), path)


def settings(folder, titles, *, ip, port, token):
    """What Voilà is told.

    Parameters
    ----------
    folder : Path
        Of the pages.
    titles : dict of str to str
        As `pages` gives them.
    ip : str
    port : int
    token : str

    Returns
    -------
    dict
        Class to setting to value.
    """
    return {
        "Voila": {
            "root_dir": str(folder), "ip": ip, "port": port, "port_retries": 0, "token": token,
            "open_browser": False, "log_level": "ERROR",
        },
        "VoilaConfiguration": {
            "template": "suspkit", "theme": "light", "allow_template_override": "NO",
            "allow_theme_override": "NO", "strip_sources": True, "show_tracebacks": False,
            # The only way of its own by which a word reaches the list of lessons.
            "extension_config": {"suspkit": titles},
        },
        "VoilaExecutor": {
            "cell_error_instruction": "The computer these pages come from says what went wrong."
        },
        # A page that is closed stops its kernel; one that is lost has its own stopped.
        "MappingKernelManager": {"cull_idle_timeout": IDLE, "cull_interval": 60},
    }  # fmt: skip


def free_port(ip, port=None):
    """A port that can be opened at an address.

    Parameters
    ----------
    ip : str
    port : int, optional
        The first free one from `FIRST_PORT` if not given.

    Returns
    -------
    int

    Raises
    ------
    ValueError
        If the address is not one of this machine's, or the port is taken.
    """
    if port is not None and not 0 < port < 65536:
        raise ValueError(f"--port is {port}; expected a number from 1 to 65535")
    family = socket.AF_INET6 if ":" in ip else socket.AF_INET
    for each in range(FIRST_PORT, FIRST_PORT + 100) if port is None else [port]:
        with socket.socket(family) as tried:
            if os.name == "posix":
                tried.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                tried.bind((ip, each))
                return each
            except OSError as error:
                if error.errno == errno.EADDRNOTAVAIL:
                    raise ValueError(
                        f"--ip is {ip}, which is not this machine's; expected one of its own"
                    ) from None
                why = error.strerror
    raise ValueError(f"--port is {port or FIRST_PORT}: {why}; expected one that is free")


def serve(home, *, vehicle=None, ip="127.0.0.1", port=None):
    """Serve the pages until interrupted.

    Parameters
    ----------
    home : Path
        Where ``notebooks`` and ``data`` are.
    vehicle : path, optional
        Of the vehicle file whose set-up is shown.
    ip : str
        To listen at; this machine alone if not given.
    port : int, optional

    Raises
    ------
    ValueError
        If the address or the port cannot be used, or the vehicle file is wrong.
    """
    try:
        address = ipaddress.ip_address(ip)
    except ValueError:
        raise ValueError(
            f"--ip is {ip!r}; expected this machine's address on the shop's network, in numbers"
        ) from None
    port, secret = free_port(ip, port), token()
    if vehicle is not None:
        load_vehicle(vehicle)
        vehicle = Path(vehicle).absolute()
    with tempfile.TemporaryDirectory(prefix="suspkit-tablet-") as folder:
        titles = pages(home, Path(folder), vehicle=vehicle)
        if not address.is_loopback:
            print(_CAUTION)
        shown = socket.gethostname() if address.is_unspecified else ip
        shown = f"[{shown}]" if ":" in shown else shown
        print(f"Lessons: http://{shown}:{port}/?token={secret}\nStop with Ctrl-C.", flush=True)
        told = settings(Path(folder) / "notebooks", titles, ip=ip, port=port, token=secret)
        _run(told)


def _run(told):
    from traitlets.config import Config
    from voila.app import Voila

    os.environ["JUPYTER_PATH"] = os.pathsep.join(
        filter(None, [str(TEMPLATES), os.environ.get("JUPYTER_PATH")])
    )
    # Nobody else's settings, least of all those of a folder it happens to be started in.
    Voila.launch_instance([], config=Config(told), config_file_paths=[])
