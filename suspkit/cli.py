"""The command line: check a vehicle file, print its sheet or an article, open the lessons."""

from __future__ import annotations

import argparse
import importlib.util
import os
import platform
import sys
import textwrap
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import suspkit
from suspkit.core.compiled import is_ready
from suspkit.vehicle.entrance import USUAL
from suspkit.vehicle.vehicle import FRICTION_ASSUMED

_FILES = ("vehicle", "file", "log")
"""Arguments that are the file a command is about."""

_NAMING = ("suspkit.vehicle.file", "suspkit.shop.log", "suspkit.shop.article")
"""Where errors come from that name their file themselves."""

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
    if not _has_output():
        return WRONG_INPUT
    about = ""
    try:
        try:
            arguments = _parser().parse_args(argv)
            about = next((str(v) for n, v in vars(arguments).items() if n in _FILES), "")
            code = arguments.run(arguments) or 0
        finally:
            sys.stdout.flush()  # so that a full disk is told here
        return code
    except BrokenPipeError:  # who reads it, as head does, has seen enough
        _let_go()
        return WRONG_INPUT
    except (ValueError, OSError, suspkit.NotSettledError) as error:
        sentence = " ".join(str(error).split())
        if isinstance(error, OSError) and error.strerror:  # not one of our own sentences
            sentence = f"{error.filename or 'the output'} cannot be used: {error.strerror}"
            if not error.filename:
                _let_go()
        # Only what went wrong before or after reading the file already names a file.
        named = isinstance(error, OSError) or type(error).__module__ in _NAMING
        sentence = f"{about}: {sentence}" if about and not named else sentence
        _complain(sentence)
        return WRONG_INPUT
    except KeyboardInterrupt:
        return 130


def _has_output():
    """Make sure that there is something to print to, and that it takes every letter."""
    closed = sys.stdout is None
    for name in ("stdin", "stdout", "stderr"):
        if getattr(sys, name) is None:  # or the next file that is opened takes its place
            setattr(sys, name, open(os.devnull, "r+", encoding="utf-8"))  # noqa: SIM115
    if closed:
        _complain("the output is closed; expected a place to print to, such as /dev/null")
    elif hasattr(sys.stdout, "reconfigure"):
        sys.stdout.reconfigure(errors="replace")
    return not closed


def _complain(sentence):
    with suppress(OSError):  # there is nobody left to tell
        print(_printable(sentence), file=sys.stderr, flush=True)


def _let_go():
    """Leave the output alone, which Python would try once more on its way out."""
    with suppress(OSError, ValueError):  # it is no file of the system's
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


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
    check.add_argument("--units", choices=("us", "metric"), default="us", help="default: us")

    sheet = command(_sheet, "sheet", "Write the work sheet of a vehicle, as HTML and PDF.")
    sheet.add_argument("vehicle", metavar="VEHICLE.toml", type=Path)
    sheet.add_argument(
        "--load",
        metavar="NAME",
        default=USUAL,
        help="a load of the file; its target load if not given",
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
    article.add_argument(
        "--run-code", action="store_true", help="run a notebook without asking whether to trust it"
    )

    example = command(_example, "example", "Copy the example vehicle and its spring rack.")
    example.add_argument("folder", metavar="FOLDER", type=Path)

    log = commands.add_parser(
        "log", help="Show a job log, or carry it to and from CSV.",
        description="A job log keeps a shop's vehicles, set-ups, rides and training in one file.",
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

    train = commands.add_parser(
        "train", help="Tick list, record of training, answers to exercises.",
        description="What a trainee has done stands in the job log, row by row.",
    )  # fmt: skip
    train = train.add_subparsers(title="commands", required=True, metavar="COMMAND")

    def train_command(run, name, help, *names):
        added = train.add_parser(name, help=help, description=help)
        for metavar in names:
            added.add_argument(metavar.lower(), metavar=metavar)
        added.set_defaults(run=run)
        return added

    blank = train_command(_train_sheet, "sheet", "Write the tick list to sign at the vehicle.")
    record = train_command(
        _train_record, "record", "Write what a trainee has done and what is open, on one page.",
        "LOG", "TRAINEE",
    )  # fmt: skip
    for printed in (blank, record):
        printed.add_argument("--paper", choices=("letter", "a4"), default="letter", help="of PDF")
        printed.add_argument(
            "--out", metavar="FOLDER", type=Path, default=Path(), help="default: here"
        )
        printed.add_argument("--no-pdf", action="store_true", help="write the HTML alone")

    tick = train_command(
        _train_tick, "tick", "Tick a task shown at the vehicle, or a lesson read.",
        "LOG", "TRAINEE", "TASK",
    )  # fmt: skip
    tick.add_argument("--back", action="store_true", help="take back what was ticked by mistake")
    mark = train_command(
        _train_mark, "mark", "Mark an answer on a paper of exercises and keep it.",
        "LOG", "TRAINEE", "EXERCISE", "PAPER", "ANSWER",
    )  # fmt: skip
    mark.add_argument("--units", choices=("us", "metric"), default="us", help="default: us")
    for kept in (tick, mark):
        kept.add_argument("--by", metavar="TRAINER", required=True, help="who saw it")
        kept.add_argument("--note", metavar="TEXT", default="")
        kept.add_argument("--when", metavar="TIME", default="", help="default: now")
    shown = train_command(_train_show, "show", "Show the trainees of a log, or one's rows.", "LOG")
    shown.add_argument("trainee", metavar="TRAINEE", nargs="?")

    command(_about, "about", "Print the versions in use, for a report.")
    return parser


def _is_compiled():
    from suspkit.core import drive_kernel, settle_kernel

    return all(is_ready(function) for function in (settle_kernel.settle_many, drive_kernel.run))


def _get_ready():
    """Compile the cores now if this machine has not yet, rather than under a first slider."""
    if _is_compiled():
        return
    unit7, short = suspkit.example(), suspkit.events.drop(height=0.1, duration=0.1)
    for model in ("quarter", "full"):
        suspkit.drive(unit7, event=short, load="patrol", model=model)


def _check(arguments):
    vehicle = suspkit.load_vehicle(arguments.vehicle)
    about = f"{vehicle.name}: {vehicle.about}" if vehicle.about else vehicle.name
    _print(" ".join(about.split()))
    for label in ("springs", "stacks", "setups", "loads"):
        names = getattr(vehicle, label)
        listed = textwrap.shorten(", ".join(names), 70, placeholder=" ...")
        print(f"  {len(names):3} {label.replace('setups', 'set-ups'):8} {listed}")
    for axle in vehicle.friction_assumed:
        print(
            f"    note: {axle}.shock.friction is not stated; friction assumed, "
            f"{FRICTION_ASSUMED:.1%} of the spring force at ride (2 to 5 %, our judgement)"
        )
    from suspkit.vehicle import limits

    verdicts = list(limits.judge_file(vehicle))
    for name, setup in vehicle.setups.items():
        corners = suspkit.assemble(vehicle, setup)
        for load in vehicle.loads or [None]:
            usual = name == vehicle.current and load == vehicle.usual_load
            stance = suspkit.settle(vehicle, setup, load=load, corners=corners)
            readings = limits.readings_of_stance(
                vehicle, setup, stance, load=load, name=name, usual=usual
            )
            verdicts += limits.judge(readings)
            if usual:
                shown = *limits.readings_of_file(vehicle), *readings
        print(f"  set-up {name!r} settles in {len(vehicle.loads) or 1} load(s)")
    load = "nothing aboard" if vehicle.usual_load is None else f"load {vehicle.usual_load!r}"
    _print(f"  set-up {vehicle.current!r} in {load} comes to")
    for row in limits.table(shown, name=vehicle.current, units=arguments.units):
        _print(
            "  "
            + "".join(
                (f"  {row[0]:52}", *(f"{cell:>12}" for cell in row[1:3]), f"   {row[3]}")
            ).rstrip()
        )
    errors = [v for v in verdicts if v.severity == "error"]
    cautions = [v for v in verdicts if v.severity != "error"]
    cautions = limits.told(cautions, arguments.units)
    for label, found in (("error", limits.told(errors, arguments.units)), ("caution", cautions)):
        for sentence in found:
            _print(f"{label}: {sentence}")
    if errors:
        raise ValueError(
            f"{len(errors)} number(s) contradict the rest; the first: {limits.words(errors[0])}"
        )
    print(f"OK, with {len(cautions)} caution(s)" if cautions else "OK")


def _sheet(arguments):
    from suspkit.shop import sheet

    vehicle = suspkit.load_vehicle(arguments.vehicle)
    for path in sheet.write(
        vehicle, setup=arguments.setup, load=arguments.load, units=arguments.units,
        folder=arguments.out, pdf=not arguments.no_pdf,
    ):  # fmt: skip
        _print(path)


def _article(arguments):
    from suspkit.shop import article

    vehicle = None if arguments.instead is None else suspkit.load_vehicle(arguments.instead)
    for path in article.write(
        arguments.article, folder=arguments.out, vehicle=vehicle, units=arguments.units,
        pdf=not arguments.no_pdf, run_code=arguments.run_code or _is_trusted(arguments.article),
    ):  # fmt: skip
        _print(path)


def _is_trusted(path):
    """Ask whether a notebook may run; without somebody at a terminal it may not."""
    if path.suffix != ".ipynb" or not path.is_file() or not sys.stdin.isatty():
        return False
    print(
        f"{_printable(path.name)} is a notebook, a program: it can read, change and send whatever "
        "you can on this computer.",
        file=sys.stderr,
    )
    print("Run it? [y/N] ", end="", file=sys.stderr, flush=True)
    return sys.stdin.readline().strip().lower() in ("y", "yes")


def _example(arguments):
    from suspkit.vehicle.file import data_folder

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
    from suspkit.teaching import tablet

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
    # JupyterLab takes this process over, so that signals and its exit code are its own. It would
    # run settings it finds in the current folder, which may hold anything.
    os.chdir(Path(__file__).resolve().parent / "jupyter")
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
        sys.executable, "-P", "-m", "jupyterlab",  # -P: not a jupyterlab.py of the current folder
        f"--ServerApp.root_dir={folder}",
        f"--LabApp.default_url=/lab/tree/{FIRST_PAGE.as_posix()}",
    ]  # fmt: skip
    if port is not None:
        command.append(f"--ServerApp.port={port}")
    if not browser:
        command.append("--no-browser")
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        command.append("--allow-root")
    # Our settings: this machine only, and no look-ups of news, updates or extensions. And the
    # names of controls for a screen reader.
    own = str(Path(__file__).resolve().parent / "jupyter")
    paths = {
        name: os.pathsep.join(filter(None, [own, os.environ.get(name)]))
        for name in ("JUPYTER_CONFIG_PATH", "JUPYTER_PATH")
    }
    return command, os.environ | paths


def _has_screen():
    """Without one, a text browser would take the terminal over."""
    return sys.platform != "linux" or bool({"DISPLAY", "WAYLAND_DISPLAY"} & set(os.environ))


def _log_show(arguments):
    with suspkit.JobLog(arguments.file, new=False) as log:
        if arguments.name is None:
            for name in log.vehicles():
                last = [ride.when for ride in log.rides(name, last=1)]
                told = f"last ride {last[0]}" if last else "no rides yet"
                _print(f"{name}: {told}")
            return
        for ride in log.rides(arguments.name, last=max(arguments.last, 0)):
            print("\n".join(map(_printable, _ride_lines(ride, arguments.units))))


def _ride_lines(ride, units):
    """A ride for the terminal: what was set and read, corner by corner."""
    from suspkit.vehicle.setup import CORNERS

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


def _print(line):
    print(_printable(str(line)))


def _printable(line):
    """Without what would steer the terminal."""
    return "".join(letter if letter.isprintable() else "?" for letter in line)


def _log_export(arguments):
    with suspkit.JobLog(arguments.file, new=False) as log:
        for path in log.export_csv(arguments.csv):
            _print(path)


def _log_import(arguments):
    from suspkit.shop.log import JobLogError

    there = os.path.lexists(arguments.file)
    # SQLite takes a file of no byte, or of one, for a database with nothing in it.
    small = os.path.isfile(arguments.file) and os.path.getsize(arguments.file) < 2
    try:
        before = Path(arguments.file).read_bytes() if small else None
    except OSError as error:  # a device, say
        raise JobLogError(
            f"{arguments.file} cannot be read: {error.strerror}; expected a job log"
        ) from None
    with suspkit.JobLog(arguments.file) as log:
        try:
            count = log.import_csv(arguments.csv)
        except BaseException:
            # A log made for rows that could not be taken is one that nobody asked for.
            if (small or not there) and not (log.vehicles() or log.trainees()):
                log.close()
                log.path.write_bytes(before) if small else log.path.unlink()
            raise
    _print(f"{count} new rows in {arguments.file}")


def _train_sheet(arguments):
    from suspkit.shop import training

    pdf, paper = not arguments.no_pdf, arguments.paper
    for path in training.write_sheet(arguments.out, paper=paper, pdf=pdf):
        _print(path)


def _train_record(arguments):
    from suspkit.shop import training

    with suspkit.JobLog(arguments.log, new=False) as log:
        rows = log.training(arguments.trainee)
    for path in training.write_record(
        arguments.trainee, rows, arguments.out, paper=arguments.paper, pdf=not arguments.no_pdf
    ):
        _print(path)


def _train_tick(arguments):
    from suspkit.shop import training

    if arguments.task not in {**training.TASKS, **training.LESSONS}:
        raise ValueError(
            f"task is {arguments.task!r}; expected one of {', '.join(training.TASKS)}; or a lesson "
            f"read: {', '.join(training.LESSONS)}"
        )
    kind = "lesson" if arguments.task in training.LESSONS else "hands-on"
    result = {"lesson": "read", "hands-on": "ticked"}[kind]
    result = training.TAKEN_BACK if arguments.back else result
    _train(arguments, suspkit.Training(kind=kind, what=arguments.task, result=result))


def _train_mark(arguments):
    from suspkit.shop import training
    from suspkit.teaching import exercises

    try:
        seed = int(arguments.paper)
    except ValueError:
        raise ValueError(f"paper is {arguments.paper!r}; expected its number, such as 7") from None
    one = exercises.exercise(arguments.exercise, seed=seed, units=arguments.units)
    marked = exercises.mark(one, arguments.answer)
    row = training.answered(one, marked)
    print(marked.message)
    _train(arguments, row)


def _train(arguments, row):
    """Keep a row and say so: a mistyped name is a new trainee, a mistyped file a new log."""
    from suspkit.shop import training

    note = "; ".join(filter(None, [row.note, arguments.note]))
    row = replace(row, by=arguments.by, when=arguments.when, note=note)
    # Before there is a new file; and the name as the log has it.
    name = training.checked(training.as_row(arguments.trainee, row))["trainee"]
    told = "" if os.path.exists(arguments.log) else f", new log {arguments.log}"
    with suspkit.JobLog(arguments.log) as log:
        told += ", new trainee" * (name not in log.trainees())
        log.add_training(name, row)
    _print(f"{name}: {row.what}, {row.result}{told}")


def _train_show(arguments):
    from suspkit.shop import training

    with suspkit.JobLog(arguments.log, new=False) as log:
        if arguments.trainee is not None:
            rows = log.training(arguments.trainee)
            for row in rows:
                _print("  ".join(map(str, _training_cells(row))))
            for kind, keys in training.still_open(training.standing(rows)).items():
                print(f"open {_MANY[kind]}: {', '.join(keys) or 'none'}")
            return
        for name in log.trainees():
            left = training.still_open(training.standing(log.training(name)))
            told = ", ".join(f"{len(keys)} {_MANY[kind]}" for kind, keys in left.items())
            _print(f"{name}: open {told}")


_MANY = {"exercise": "exercises", "hands-on": "tasks", "lesson": "lessons"}


def _training_cells(row):
    yield from (row.when, row.kind, row.what)
    yield from () if row.seed is None else (f"paper {row.seed} {row.units}",)
    yield row.result
    yield from filter(None, [row.by and f"by {row.by}", row.note])


def _copy(source, folder):
    from suspkit.files import copy_missing

    copied, kept = copy_missing(source, folder)
    for path in copied:
        _print(f"copied {path}")
    for path in kept:
        _print(f"kept {path} as it is")


def _about(arguments):
    import sqlite3
    from importlib import metadata

    names = ("numpy", "scipy", "numba", "pandas", "matplotlib", "ipywidgets", "pint", "pydantic")
    names += ("jinja2", "markupsafe", "markdown-it-py", "plutoprint", "jupyterlab", "voila")
    parts = [f"suspkit {suspkit.__version__}", f"Python {platform.python_version()}"]
    for name in names:
        try:
            parts.append(f"{name} {metadata.version(name)}")
        except metadata.PackageNotFoundError:
            parts.append(f"no {name}")
    try:
        core = "compiled" if _is_compiled() else "not compiled yet"
    except ImportError as error:  # what is broken is what the report is about
        core = f"cannot be loaded ({' '.join(str(error).split())})"
    parts += [f"SQLite {sqlite3.sqlite_version}", platform.platform(), f"core {core}"]
    print(", ".join(parts))


if __name__ == "__main__":
    sys.exit(main())
