"""The command line: check a vehicle file, print its sheet or an article, open the lessons."""

from __future__ import annotations

import argparse
import importlib.util
import os
import platform
import sys
import textwrap
from pathlib import Path

import suspkit
from suspkit.compiled import is_ready

WRONG_INPUT = 2
"""Exit code when what was given cannot be used; argparse uses the same."""

FIRST_PAGE = Path("notebooks") / "00-start-here.ipynb"


def main(argv=None):
    """Run one command.

    Parameters
    ----------
    argv : list of str, optional
        Arguments; those of the process if not given.

    Returns
    -------
    int
        Exit code: 0 done, 2 wrong input (one sentence on standard error), 130 interrupted.
    """
    arguments = _parser().parse_args(argv)
    try:
        return arguments.run(arguments) or 0
    except (ValueError, OSError, suspkit.NotSettledError) as error:
        sentence = " ".join(str(error).split())
        about = str(getattr(arguments, "vehicle", ""))
        # Only what went wrong before or after reading the file already names a file.
        named = isinstance(error, (OSError, suspkit.VehicleFileError))
        print(f"{about}: {sentence}" if about and not named else sentence, file=sys.stderr)
        return WRONG_INPUT
    except KeyboardInterrupt:
        return 130


def _parser():
    parser = argparse.ArgumentParser(
        prog="suspkit", description="Spring kits for side-by-sides: check, settle, print, learn."
    )
    parser.add_argument("--version", action="version", version=f"suspkit {suspkit.__version__}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")

    def command(run, name, help):
        added = commands.add_parser(name, help=help, description=help)
        added.set_defaults(run=run)
        return added

    check = command(_check, "check", "Check a vehicle file and let every set-up settle.")
    check.add_argument("vehicle", metavar="VEHICLE.toml", type=Path)

    sheet = command(_sheet, "sheet", "Write the work sheet of a vehicle, as HTML and PDF.")
    sheet.add_argument("vehicle", metavar="VEHICLE.toml", type=Path)
    sheet.add_argument(
        "--load", metavar="NAME", help="a load of the file; its target load if not given"
    )
    sheet.add_argument(
        "--setup", metavar="NAME", help="a set-up of the file; the current one if not given"
    )
    sheet.add_argument("--units", choices=("us", "metric"), default="us", help="default: us")
    sheet.add_argument("--out", metavar="FOLDER", type=Path, default=Path(), help="default: here")
    sheet.add_argument("--no-pdf", action="store_true", help="write the HTML alone")

    guide = command(_guide, "guide", "Open the notebooks in JupyterLab.")
    guide.add_argument(
        "--folder", metavar="FOLDER", type=Path,
        help="work on a copy here, where files already there are kept as they are",
    )  # fmt: skip
    guide.add_argument("--no-browser", action="store_true", help="only print the address")
    guide.add_argument("--port", type=int, help="default: the first free one from 8888")

    tablet = command(_tablet, "tablet", "Serve lessons and a live set-up as pages for a tablet.")
    tablet.add_argument(
        "shown", metavar="VEHICLE.toml", type=Path, nargs="?",
        help="whose set-up is shown live; the example vehicle if not given",
    )  # fmt: skip
    tablet.add_argument(
        "--folder", metavar="FOLDER", type=Path,
        help="take the lessons from here, where the guide works on a copy",
    )  # fmt: skip
    tablet.add_argument(
        "--ip", metavar="ADDRESS", default="127.0.0.1",
        help="open the pages to the shop's network at this machine's address there; "
        "this machine alone if not given",
    )  # fmt: skip
    tablet.add_argument("--port", type=int, help="default: the first free one from 8866")

    article = command(_article, "article", "Write an article with its numbers, as HTML and PDF.")
    article.add_argument("article", metavar="FILE", type=Path, help="Markdown, or a notebook")
    article.add_argument(
        "--vehicle", dest="instead", metavar="VEHICLE.toml", type=Path, help="instead of its own"
    )
    article.add_argument("--units", choices=("us", "metric"), default="us", help="default: us")
    article.add_argument("--out", metavar="FOLDER", type=Path, default=Path(), help="default: here")
    article.add_argument("--no-pdf", action="store_true", help="write the HTML alone")

    example = command(_example, "example", "Copy the example vehicle and its spring rack.")
    example.add_argument("folder", metavar="FOLDER", type=Path)

    log = commands.add_parser(
        "log", help="Show a job log, or carry it to and from CSV.",
        description="A job log keeps a shop's vehicles, set-ups and rides in one file.",
    )  # fmt: skip
    log = log.add_subparsers(title="commands", required=True, metavar="COMMAND")

    def log_command(run, name, help):
        added = log.add_parser(name, help=help, description=help)
        added.add_argument("file", metavar="FILE")
        added.set_defaults(run=run)
        return added

    show = log_command(_log_show, "show", "Show the vehicles of a log, or the rides of one.")
    show.add_argument("name", metavar="VEHICLE", nargs="?")
    show.add_argument("--last", metavar="RIDES", type=int, default=10, help="default: 10")
    show.add_argument("--units", choices=("us", "metric"), default="us", help="default: us")

    export = log_command(_log_export, "export", "Write all of a log as CSV.")
    export.add_argument("csv", metavar="CSV", type=Path)

    take = log_command(_log_import, "import", "Add what a CSV has and a log has not.")
    take.add_argument("csv", metavar="CSV", type=Path)

    command(_about, "about", "Print the versions in use, for a report.")
    return parser


def _get_ready():
    """Compile the cores now if this machine has not yet, rather than under a first slider."""
    from suspkit import kernel, ride_kernel

    if all(is_ready(function) for function in (kernel.settle_many, ride_kernel.run)):
        return
    unit7, short = suspkit.example(), suspkit.events.drop(height=0.1, duration=0.1)
    for model in ("quarter", "full"):
        suspkit.drive(unit7, event=short, load="patrol", model=model)


def _check(arguments):
    vehicle = suspkit.load_vehicle(arguments.vehicle)
    loads = list(vehicle.loads) or None
    print(f"{vehicle.name}: {vehicle.about}" if vehicle.about else vehicle.name)
    for label in ("springs", "stacks", "setups", "loads"):
        names = getattr(vehicle, label)
        listed = textwrap.shorten(", ".join(names), 70, placeholder=" ...")
        print(f"  {len(names):3} {label.replace('setups', 'set-ups'):8} {listed}")
    for name, setup in vehicle.setups.items():
        stance = suspkit.settle(vehicle, setup, load=loads)
        print(f"  set-up {name!r} settles in {len(loads or ['nothing aboard'])} load(s)")
        for answer in ("tipped", "on_stop", "lifted"):
            seen = getattr(stance, answer)
            seen = seen if answer == "tipped" else seen.any(axis=0)
            _remark(answer, seen, loads)
    print("OK")


_REMARKS = {
    "tipped": "tips over",
    "on_stop": "stands on its bump stops",
    "lifted": "has a wheel off the ground",
}


def _remark(answer, seen, loads):
    names = loads or ["nothing aboard"]
    found = [n for n, yes in zip(names, seen.reshape(-1), strict=True) if yes]
    if found:
        print(f"    note: it {_REMARKS[answer]} in: {', '.join(found)}")


def _sheet(arguments):
    from suspkit import sheet

    vehicle = suspkit.load_vehicle(arguments.vehicle)
    for path in sheet.write(
        vehicle, setup=arguments.setup, load=arguments.load, units=arguments.units,
        folder=arguments.out, pdf=not arguments.no_pdf,
    ):  # fmt: skip
        print(path)


def _article(arguments):
    from suspkit import article

    vehicle = None if arguments.instead is None else suspkit.load_vehicle(arguments.instead)
    for path in article.write(
        arguments.article, folder=arguments.out, vehicle=vehicle, units=arguments.units,
        pdf=not arguments.no_pdf,
    ):  # fmt: skip
        print(path)


def _example(arguments):
    from suspkit.vehicle_file import data_folder

    _copy(data_folder(), arguments.folder)


def _needs(package, name):
    if importlib.util.find_spec(package) is None:
        raise ValueError(f'{name} is not installed; expected it from: pip install "suspkit[guide]"')


def _home():
    """Where the notebooks are that came with the package, and whether it is an installed one."""
    package = Path(suspkit.__file__).resolve().parent
    installed = (package / "notebooks").is_dir()
    return package if installed else package.parent, installed


def _tablet(arguments):
    from suspkit import tablet

    _needs("voila", "Voilà")
    home = _home()[0] if arguments.folder is None else arguments.folder.absolute()
    if not (home / FIRST_PAGE).is_file():
        raise ValueError(f"{home / FIRST_PAGE} is missing; expected the guide's first page there")
    _get_ready()
    tablet.serve(home, vehicle=arguments.shown, ip=arguments.ip, port=arguments.port)


def _guide(arguments):
    _needs("jupyterlab", "JupyterLab")
    home, installed = _home()
    if installed or arguments.folder is not None:
        folder = (arguments.folder or Path.home() / "suspkit-guide").absolute()
        for part in ("notebooks", "data"):
            _copy(home / part, folder / part)
        home = folder
    if not (home / FIRST_PAGE).is_file():
        raise ValueError(f"{home / FIRST_PAGE} is missing; expected the guide's first page there")
    _get_ready()
    command, environment = lab_command(
        home, port=arguments.port, browser=not arguments.no_browser and _has_screen()
    )
    print(f"Opening {home / FIRST_PAGE}. Stop with Ctrl-C.", flush=True)
    if "--allow-root" in command:
        print("Running as root, so JupyterLab is told to allow it (--allow-root).", flush=True)
    # JupyterLab takes this process over, so that signals and its exit code are its own.
    os.execve(command[0], command, environment)


def lab_command(folder, *, port=None, browser=True):
    """The command that opens the guide, and its environment.

    Parameters
    ----------
    folder : Path
        What JupyterLab shows; ``notebooks`` and ``data`` are in it.
    port : int, optional
    browser : bool
        Whether to open one; the address is printed either way.

    Returns
    -------
    command : list of str
    environment : dict of str to str
    """
    command = [
        sys.executable, "-m", "jupyterlab", f"--ServerApp.root_dir={folder}",
        f"--LabApp.default_url=/lab/tree/{FIRST_PAGE.as_posix()}",
    ]  # fmt: skip
    if port is not None:
        command.append(f"--ServerApp.port={port}")
    if not browser:
        command.append("--no-browser")
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        command.append("--allow-root")
    # Our settings: this machine only, and no look-ups of news, updates or extensions.
    path = [str(Path(__file__).resolve().parent / "jupyter")]
    if os.environ.get("JUPYTER_CONFIG_PATH"):
        path.append(os.environ["JUPYTER_CONFIG_PATH"])
    return command, os.environ | {"JUPYTER_CONFIG_PATH": os.pathsep.join(path)}


def _has_screen():
    """Without one, a text browser would take the terminal over."""
    return sys.platform != "linux" or bool({"DISPLAY", "WAYLAND_DISPLAY"} & set(os.environ))


def _log_show(arguments):
    with suspkit.JobLog(arguments.file, new=False) as log:
        if arguments.name is None:
            for name in log.vehicles():
                last = [ride.when for ride in log.rides(name, last=1)]
                told = f"last ride {last[0]}" if last else "no rides yet"
                print(_printable(f"{name}: {told}"))
            return
        for ride in log.rides(arguments.name, last=max(arguments.last, 0)):
            print("\n".join(map(_printable, _ride_lines(ride, arguments.units))))


def _ride_lines(ride, units):
    """A ride for the terminal: what was set and read, corner by corner."""
    from suspkit.setup import CORNERS

    show, corners = suspkit.units.show, ride.setup.corners
    by = f", by {ride.by}" if ride.by else ""
    yield f"ride {ride.id}, {ride.when}: {ride.load or 'nothing aboard'}, {ride.at_rest}{by}"

    def line(label, cells):
        cells = ["–" if cell is None else cell for cell in cells]
        if any(cell != "–" for cell in cells):
            yield f"  {label:12}" + "".join(f" {cell:>13}" for cell in cells)

    def tape(place):
        each = place if isinstance(place, tuple) else (place,)
        return None if place is None else ", ".join(show(one, "tape", units) for one in each)

    yield from line("", [name.replace("_", " ") for name in CORNERS])
    yield from line("stack", [own.stack for own in corners])
    yield from line("turns", [f"{own.turns:g}" for own in corners])
    yield from line("gap set", [tape(own.gap) for own in corners])
    yield from line("ring set", [tape(own.ring) for own in corners])
    for name in dict.fromkeys(name for own in corners for name in own.clicks):
        counts = [own.clicks.get(name) for own in corners]
        yield from line(name, [None if count is None else f"{count:g}" for count in counts])
    yield from line("height", map(tape, ride.heights))
    yield from line("gap", map(tape, ride.gaps))
    yield from line("collar", map(tape, ride.collars))
    scales = [None if kg is None else show(kg, "mass", units) for kg in ride.scales]
    yield from line("scale", scales)
    if ride.bottomed is not None:
        yield f"  bottomed: {', '.join(ride.bottomed).replace('_', ' ') or 'none'}"
    off = [f"{end} bar off" for end in ("front", "rear") if not getattr(ride.setup, f"{end}_bar")]
    for text in (*off, ride.setup.note, ride.note):
        if text:
            yield f"  {' '.join(text.split())}"


def _printable(line):
    """Without what would steer the terminal."""
    return "".join(letter if letter.isprintable() else "?" for letter in line)


def _log_export(arguments):
    with suspkit.JobLog(arguments.file, new=False) as log:
        for path in log.export_csv(arguments.csv):
            print(path)


def _log_import(arguments):
    with suspkit.JobLog(arguments.file) as log:
        print(f"{log.import_csv(arguments.csv)} new rows in {arguments.file}")


def _copy(source, folder):
    from suspkit.files import copy_missing

    copied, kept = copy_missing(source, folder)
    for path in copied:
        print(f"copied {path}")
    for path in kept:
        print(f"kept {path} as it is")


def _about(arguments):
    from importlib import metadata

    names = ("numpy", "scipy", "numba", "pandas", "matplotlib", "ipywidgets", "pint", "pydantic")
    parts = [f"suspkit {suspkit.__version__}", f"Python {platform.python_version()}"]
    for name in (*names, "plutoprint", "jupyterlab"):
        try:
            parts.append(f"{name} {metadata.version(name)}")
        except metadata.PackageNotFoundError:
            parts.append(f"no {name}")
    print(", ".join([*parts, platform.platform()]))


if __name__ == "__main__":
    sys.exit(main())
