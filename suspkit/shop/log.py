"""What was done to a vehicle, what the tape said and who was trained, kept for good in one file."""

from __future__ import annotations

import json
import os
import sqlite3
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory

from suspkit.files import parse_toml, read_text, write_files
from suspkit.shop.training import COLUMNS as TRAINING
from suspkit.shop.training import Training
from suspkit.shop.training import as_row as training_row
from suspkit.shop.training import checked as checked_training
from suspkit.shop.training import key_of as training_key
from suspkit.vehicle.file import LARGEST, VehicleFileError, load_vehicle
from suspkit.vehicle.ride import (
    CELLS,
    COLUMNS,
    READINGS,
    UNREAD,
    Ride,
    as_row,
    checked,
    from_cells,
    from_row,
    key_of,
    moment,
    read_csv,
    write_csv,
)
from suspkit.vehicle.setup import AXLES, CORNERS
from suspkit.vehicle.vehicle import known_name

__all__ = ["UNREAD", "JobLog", "JobLogError", "Ride"]

APPLICATION = 0x53757370
"""Marks an SQLite file as a job log ("Susp")."""

WAIT = 30.0
"""How long to wait for another program that is writing [s]."""

GOOD_COPY = "a job log, or its last good copy"

MOST_FILES, LONGEST_PATH = 4, 1000
"""Files of a vehicle: its own, a rack and two dyno tables; and letters in the name of one."""

NETWORK = ("nfs", "nfs4", "cifs", "smb3", "smbfs", "afs", "ceph", "glusterfs", "sshfs", "davfs")
"""Kinds of mount whose locks cannot be trusted, so that two writers could lose rows."""

_VEHICLE = ("name", "digest", "files", "logged")
_RIDE = ("key", "corrects", "vehicle", "digest", *COLUMNS, "logged")
_TRAINING = ("key", *TRAINING, "logged")
_LISTED = ", ".join(f'r."{name}"' for name in COLUMNS)
_TOLD = (
    f"SELECT first, id, name, {_LISTED}, key, "
    "(SELECT digest FROM vehicle WHERE id = r.vehicle) AS digest, "
    "(SELECT key FROM ride WHERE id = r.corrects) AS corrected FROM ride r"
)
_CURRENT = "r.id = (SELECT max(id) FROM ride WHERE first = r.first)"


def _kept(table, same):
    """Triggers that refuse to change or drop a row, which REPLACE would do without a word."""
    refuse = "BEGIN SELECT RAISE(ABORT, 'a job log keeps every row; correct with a new one'); END"
    yield f"CREATE TRIGGER {table}_update BEFORE UPDATE ON {table} {refuse}"
    yield f"CREATE TRIGGER {table}_delete BEFORE DELETE ON {table} {refuse}"
    there = f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {same})"
    yield f"CREATE TRIGGER {table}_replace BEFORE INSERT ON {table} {there} {refuse}"


LAYOUTS = (
    (
        # A vehicle file as it was at some time: `files` is JSON, its own text first, then those
        # of the rack and dyno tables it names. The newest of a name is the one in use.
        """CREATE TABLE vehicle (
            id INTEGER PRIMARY KEY, name TEXT NOT NULL, digest TEXT NOT NULL, files TEXT NOT NULL,
            logged TEXT NOT NULL) STRICT""",
        "CREATE INDEX vehicle_newest ON vehicle (name, logged, id)",
        # A row is a ride as told at one time. `first` is the ride's number: the row it was first
        # written in; `corrects` is the row this one takes the place of. `key` is a digest of what
        # the row says, so a ride is the same in every copy of the log. The vehicle's name stands
        # here again, and `when` in seconds as `at`, for the index: the last rides of a vehicle
        # are then one end of it, however many others there are.
        f"""CREATE TABLE ride (
            id INTEGER PRIMARY KEY, first INTEGER NOT NULL REFERENCES ride,
            corrects INTEGER REFERENCES ride, key TEXT NOT NULL UNIQUE,
            vehicle INTEGER NOT NULL REFERENCES vehicle, name TEXT NOT NULL, at REAL NOT NULL,
            "when" TEXT NOT NULL, by TEXT NOT NULL, load TEXT, at_rest TEXT NOT NULL,
            bottomed TEXT, {", ".join(f"{name} REAL" for name in CELLS)},
            note TEXT NOT NULL, setup TEXT NOT NULL, logged TEXT NOT NULL) STRICT""",
        "CREATE INDEX ride_order ON ride (name, at, first)",
        "CREATE INDEX ride_rows ON ride (first, id)",
        *_kept("vehicle", "id = NEW.id"),
        *_kept("ride", "id = NEW.id OR key = NEW.key"),
    ),
    (
        # A row is one thing a trainee did; `at` is `when` in seconds, for the index. What takes an
        # older row back is a row too.
        """CREATE TABLE training (
            id INTEGER PRIMARY KEY, key TEXT NOT NULL UNIQUE, trainee TEXT NOT NULL,
            at REAL NOT NULL, "when" TEXT NOT NULL, kind TEXT NOT NULL, what TEXT NOT NULL,
            seed INTEGER, units TEXT NOT NULL, result TEXT NOT NULL, by TEXT NOT NULL,
            note TEXT NOT NULL, logged TEXT NOT NULL) STRICT""",
        "CREATE INDEX training_order ON training (trainee, at, id)",
        *_kept("training", "id = NEW.id OR key = NEW.key"),
    ),
)
"""Statements that lead from each layout to the next; a new layout is one more entry."""

_TABLES = ("vehicle", "ride", "training")
_TRAINED = 2  # the layout from which on there is a table of training


class JobLogError(ValueError):
    """A job log that cannot be opened, read or written: one sentence says why."""


class JobLog:
    """A shop's vehicles, rides and training in one file that only grows.

    Nothing in it is ever changed or dropped: a correction is a new row that takes the place of
    an older one, which stays. A write is whole or not at all, whatever happens to the program or
    the machine. Several programs of one machine may have the file open at once.

    Parameters
    ----------
    path : str or path
        Of the file, on a disk of this machine. Close the log, or use it in ``with``.
    new : bool
        Whether to make the file if it is not there.

    Attributes
    ----------
    path : Path
        Of the file.

    Raises
    ------
    JobLogError
        If the file is not a job log, is of a newer suspkit, cannot be read or is on a network.
    """

    def __init__(self, path, *, new=True):
        self.path = Path(path).absolute()
        network = _network_of(self.path)
        if network:
            raise self._error(f"is on a network disk ({network})", "a disk of this machine")
        if not self.path.parent.is_dir():
            raise self._error("has no folder", f"{self.path.parent} to be a folder")
        if self.path.exists() and not self.path.is_file():
            raise self._error("is no file", "a job log or a new name")
        if not new and not self.path.exists():
            raise self._error("is not there", "a job log")
        for beside in (Path(f"{self.path}-journal"), Path(f"{self.path}-wal")):
            if beside.exists() and not beside.is_file():  # a pipe, say, which SQLite would wait for
                raise self._error(f"has {beside.name} beside it, which is no file", "a job log")
        with self._plainly():
            # Autocommit, so that transactions begin and end where they are written here.
            self._db = sqlite3.connect(self.path, timeout=WAIT, isolation_level=None)
        try:
            with self._plainly():
                self._open(new)
        except BaseException:
            self.close()
            raise

    def _open(self, new):
        self._db.row_factory = sqlite3.Row
        # SQLite's own rollback journal, not a write-ahead log: between writes all there is is
        # this one file, which a shop copies to a stick even while it is open. EXTRA is FULL, and
        # makes the journal's removal, which is the commit, last through a power cut as well.
        self._db.execute("PRAGMA synchronous = EXTRA")
        self._db.execute("PRAGMA foreign_keys = ON")
        self._db.execute("PRAGMA trusted_schema = OFF")  # a log may come from a stranger
        (application,) = self._one("PRAGMA application_id")
        (layout,) = self._one("PRAGMA user_version")
        if application != APPLICATION:
            (tables,) = self._one("SELECT count(*) FROM sqlite_master")
            if application or layout or tables:
                raise self._error("is a database of another program", "a job log")
            if not new:
                raise self._error("is empty", "a job log")
        if layout > len(LAYOUTS):
            wanted = f"at most {len(LAYOUTS)}: bring suspkit up to date"
            raise self._error(f"has layout {layout}, of a newer suspkit", wanted)
        if not layout:
            with self._writing():
                pass
        self._check()

    def _check(self):
        """Refuse a log with a page gone bad or astray, which may look like less of a log."""
        wanted = set(_TABLES[: 2 if self._layout < _TRAINED else None])
        tables = {n for (n,) in self._all("SELECT name FROM sqlite_master WHERE type = 'table'")}
        if not wanted <= tables:
            raise self._error(f"has no table {min(wanted - tables)}", GOOD_COPY)
        # To the last page: what is quicker misses some. A tenth of a second at 25 000 rides.
        (found,) = self._one("PRAGMA integrity_check(1)")
        if found != "ok":
            reason = " ".join(found.replace("*** in database main ***", "").split())
            raise self._error(f"cannot be read: {reason:.100}", GOOD_COPY)

    @property
    def _layout(self):
        return self._one("PRAGMA user_version")[0]

    def _bring_up_to_date(self):
        """By the first write: a log that is only read stays as it is."""
        layout = self._layout
        if layout < len(LAYOUTS):
            for statement in (s for step in LAYOUTS[layout:] for s in step):
                self._db.execute(statement)
            self._db.execute(f"PRAGMA application_id = {APPLICATION}")
            self._db.execute(f"PRAGMA user_version = {len(LAYOUTS)}")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def close(self):
        """Let the file go. What was written is already safe."""
        self._db.close()

    # --- vehicles ---------------------------------------------------------------------------------

    def add_vehicle(self, vehicle):
        """Keep a vehicle file as it is now, with the rack and dyno tables it names.

        Rides written from now on are of this one. Adding it again changes nothing.

        Parameters
        ----------
        vehicle : Vehicle
            As read with `load_vehicle`.

        Raises
        ------
        JobLogError
            If the vehicle is not as its file has it, or the log cannot be written.
        """
        files = _files_of(vehicle)
        with self._writing():
            newest = self._version("name = ?", vehicle.name)
            if newest is None or newest["digest"] != vehicle.digest:
                # Never older than the last one, were the clock set back.
                logged = max(_now(), newest["logged"] if newest else "")
                values = (vehicle.name, vehicle.digest, files, logged)
                self._insert("vehicle", dict(zip(_VEHICLE, values, strict=True)))

    def vehicles(self):
        """Names of the vehicles.

        Returns
        -------
        tuple of str
            In the order in which they first came.
        """
        named = self._all("SELECT name FROM vehicle GROUP BY name ORDER BY min(id)")
        return tuple(name for (name,) in named)

    def vehicle(self, vehicle_name=None, *, ride_id=None):
        """A vehicle as its file was last added, or as it was on a ride.

        Parameters
        ----------
        vehicle_name : str, optional
            Of a vehicle in the log.
        ride_id : int, optional
            Or the number of a ride.

        Returns
        -------
        Vehicle

        Raises
        ------
        ValueError
            If there is no such vehicle or ride.
        """
        if ride_id is None:
            version = self._newest(vehicle_name)
        else:
            version = self._version("id = ?", self._last(ride_id)["vehicle"])
        found = _vehicle_from(version["files"])
        if (found.name, found.digest) != (version["name"], version["digest"]):
            raise self._changed(f"the file of vehicle {version['name']!r:.70}")
        return replace(found, source=f"{self.path}: {version['name']}")

    def _version(self, which, *values):
        newest_first = "ORDER BY logged DESC, id DESC LIMIT 1"
        listed = ", ".join(("id", *_VEHICLE))
        return self._one(f"SELECT {listed} FROM vehicle WHERE {which} {newest_first}", *values)

    def _newest(self, name, column="vehicle_name"):
        known_name(name, dict.fromkeys(self.vehicles()), column, "a vehicle of this log")
        return self._version("name = ?", name)

    # --- rides ------------------------------------------------------------------------------------

    def add_ride(self, vehicle_name, ride):
        """Write a ride down.

        Parameters
        ----------
        vehicle_name : str
            Of a vehicle in the log; the ride is of the file added last.
        ride : Ride
            Its time is now if it has none. A load need not be one of the vehicle's.

        Returns
        -------
        int
            The ride's number. The very same ride written twice is one ride.

        Raises
        ------
        ValueError
            If a value cannot be; nothing is written then. The set-up's names, counts and clicks
            must fit the vehicle. Whether its springs bind is not asked: it was driven like that.
        """
        version = self._newest(vehicle_name)
        here = datetime.now().astimezone().isoformat(timespec="milliseconds")
        row = checked(as_row(ride, when=here), _vehicle_from(version["files"]))
        with self._writing():
            return self._keep(row, version)[0]

    def correct(self, ride_id, ride):
        """Write down what a ride should have said. The old row stays in the history.

        Parameters
        ----------
        ride_id : int
            Number of the ride, as `add_ride` or `Ride.id` gave it.
        ride : Ride
            All of it, also what was right. Its time stays if none is given.

        Returns
        -------
        int
            The ride's number, the same.

        Raises
        ------
        ValueError
            If there is no such ride or a value cannot be; nothing is written then.
        """
        last = self._last(ride_id)
        version = self._version("id = ?", last["vehicle"])
        row = checked(as_row(ride, when=last["when"]), _vehicle_from(version["files"]))
        with self._writing():
            # Read again: another program may have corrected it in between.
            return self._keep(row, version, corrects=self._last(ride_id))[0]

    def rides(self, vehicle_name, *, last=None):
        """The rides of a vehicle as they stand, corrections made.

        Parameters
        ----------
        vehicle_name : str
            Of a vehicle in the log.
        last : int, optional
            Only so many, the latest; all if not given.

        Returns
        -------
        tuple of Ride
            In the order of their times.

        Raises
        ------
        ValueError
            If there is no such vehicle.
        """
        self._newest(vehicle_name)
        rows = self._all(
            f"{_TOLD} WHERE name = ? AND {_CURRENT} ORDER BY at DESC, first DESC LIMIT ?",
            vehicle_name,
            -1 if last is None else last,
        )
        return tuple(self._ride(row) for row in reversed(rows))

    def history(self, vehicle_name=None, *, superseded=False):
        """Everything that was read, as a table to reckon with.

        Parameters
        ----------
        vehicle_name : str, optional
            Of a vehicle in the log; all if not given.
        superseded : bool
            Whether to give rows that have been corrected since, too.

        Returns
        -------
        pandas.DataFrame
            One row a corner of a ride, in the order of ``when`` (UTC): ``ride`` (its number),
            ``row``, ``vehicle``, ``when``, ``by``, ``load``, ``at_rest``, ``bottomed``, ``note``,
            ``corner``, ``stack``; of the set-up ``turns``, ``gap_set``, ``ring_set`` (of several
            the upper) and ``clicks_...`` for each adjuster; of the readings ``height``,
            ``scale``, ``gap``, ``collar``. All SI, nan where there is none; ``attrs["units"]``
            names the units.

        Raises
        ------
        ValueError
            If there is no such vehicle.
        """
        import pandas as pd

        if vehicle_name is not None:
            self._newest(vehicle_name)
        found = self._all(
            f"{_TOLD} WHERE (?1 IS NULL OR name = ?1) AND (?2 OR {_CURRENT}) "
            "ORDER BY at, first, id",
            vehicle_name,
            superseded,
        )
        about = ("by", "load", "at_rest", "note")
        units = {"turns": "turns", "gap_set": "m", "ring_set": "m"}
        units |= {one: unit for one, unit, _ in READINGS.values()}
        rows = []
        for row in found:
            ride = self._ride(row)
            told = {"ride": ride.id, "row": row["id"], "vehicle": row["name"]}
            told |= {"when": moment("when", ride.when)} | {name: row[name] for name in about}
            for corner, own in zip(CORNERS, ride.setup.corners, strict=True):
                clicks = {f"clicks_{name}": count for name, count in own.clicks.items()}
                units |= dict.fromkeys(clicks, "clicks")
                told["bottomed"] = None if ride.bottomed is None else corner in ride.bottomed
                told |= {"corner": corner, "stack": own.stack, "turns": own.turns}
                told |= {"gap_set": _upper(own.gap), "ring_set": _upper(own.ring)}
                told |= {one: row[f"{one}_{corner}"] for one, *_ in READINGS.values()}
                rows.append(told | clicks)
        names = ("ride", "row", "vehicle", "when", *about, "bottomed", "corner", "stack")
        table = pd.DataFrame(rows, columns=[*names, *units]).astype(dict.fromkeys(units, float))
        table.attrs["units"] = units
        return table

    def _ride(self, row):
        """The ride of a row, if it still is what its key was made of."""
        ride = from_row(row, row["first"])
        if row["key"] != key_of(row, row["digest"], row["corrected"]):
            raise self._changed(f"ride {ride.id}")
        return ride

    def _changed(self, what):
        return self._error(f"holds {what} otherwise than it was written", GOOD_COPY)

    def _last(self, ride_id):
        """The row that tells a ride as it stands."""
        last = self._one(
            'SELECT id, first, key, vehicle, r."when" FROM ride r WHERE first = ? '
            "ORDER BY id DESC LIMIT 1",
            ride_id,
        )
        if last is None:
            raise ValueError(
                f"ride_id is {ride_id!r:.60}; expected the number of a ride of this log"
            )
        return last

    def _keep(self, row, version, *, corrects=None, logged=None):
        """Write a row, unless it is there: gives the ride's number, and whether it was new."""
        key = key_of(row, version["digest"], corrects and corrects["key"])
        there = self._one("SELECT first FROM ride WHERE key = ?", key)
        if there:
            return there["first"], False
        (number,) = self._one("SELECT coalesce(max(id), 0) + 1 FROM ride")
        first = corrects["first"] if corrects else number
        about = {"id": number, "first": first, "corrects": corrects and corrects["id"], "key": key}
        about |= {"vehicle": version["id"], "name": version["name"], "logged": logged or _now()}
        self._insert("ride", about | row | {"at": moment("when", row["when"]).timestamp()})
        return first, True

    # --- training ---------------------------------------------------------------------------------

    def add_training(self, trainee, training):
        """Write down one thing a trainee did.

        What was written by mistake stays; a row with the result ``"taken back"`` says that it no
        longer counts.

        Parameters
        ----------
        trainee : str
            Name. There is no list of trainees but the names in the log.
        training : Training
            Its time is now if it has none.

        Returns
        -------
        int
            Number of the row. The very same row written twice is one.

        Raises
        ------
        ValueError
            If a value cannot be; nothing is written then.
        """
        row = checked_training(training_row(trainee, training))
        with self._writing():
            return self._keep_training(row)[0]

    def training(self, trainee):
        """All that is written of a trainee, also what was taken back since.

        Parameters
        ----------
        trainee : str

        Returns
        -------
        tuple of Training
            In the order of their times.

        Raises
        ------
        ValueError
            If the log has no such trainee.
        """
        trainee = " ".join(str(trainee).split())  # as it was kept
        known_name(trainee, dict.fromkeys(self.trainees()), "trainee", "a trainee of this log")
        listed = ", ".join(f't."{name}"' for name in TRAINING if name != "trainee")
        rows = self._all(
            f"SELECT {listed}, key FROM training t WHERE trainee = ? ORDER BY at, id", trainee
        )
        for row in rows:
            if row["key"] != training_key({**dict(row), "trainee": trainee}):
                raise self._changed(f"a row of training of {trainee!r:.70}")
        return tuple(Training(**{name: row[name] for name in TRAINING[1:]}) for row in rows)

    def trainees(self):
        """Names of the trainees.

        Returns
        -------
        tuple of str
            In the order in which they first came.
        """
        if self._layout < _TRAINED:
            return ()
        named = self._all("SELECT trainee FROM training GROUP BY trainee ORDER BY min(id)")
        return tuple(name for (name,) in named)

    def _keep_training(self, row, *, logged=None):
        """Write a row, unless it is there: gives its number, and whether it was new."""
        key = training_key(row)
        there = self._one("SELECT id FROM training WHERE key = ?", key)
        if there:
            return there["id"], False
        (number,) = self._one("SELECT coalesce(max(id), 0) + 1 FROM training")
        about = {"id": number, "key": key, "at": moment("when", row["when"]).timestamp()}
        self._insert("training", about | row | {"logged": logged or _now()})
        return number, True

    # --- as text ----------------------------------------------------------------------------------

    def export_csv(self, path):
        """Write everything as CSV: rides, corrected ones too; vehicle files and training beside.

        Parameters
        ----------
        path : str or path
            A file, or a folder that is there, for ``rides.csv`` in it. The vehicles go into
            ``...-vehicles.csv`` beside it, the training into ``...-training.csv``.

        Returns
        -------
        list of Path
            All three files.

        Raises
        ------
        UnwritableError
            If they cannot be written; what stood there is then still there.
        """
        path = Path(path)
        path = path / "rides.csv" if path.is_dir() else path
        # Rides first: the vehicle of each is then sure to be among those read after.
        rides = self._all(
            f"SELECT r.key, c.key, r.name, v.digest, {_LISTED}, r.logged FROM ride r "
            "JOIN vehicle v ON v.id = r.vehicle LEFT JOIN ride c ON c.id = r.corrects ORDER BY r.id"
        )
        vehicles = self._all(f"SELECT {', '.join(_VEHICLE)} FROM vehicle ORDER BY id")
        listed = ", ".join(f'"{name}"' for name in _TRAINING)
        training = []
        if self._layout >= _TRAINED:
            training = self._all(f"SELECT {listed} FROM training ORDER BY id")
        texts = {path.name: write_csv(_RIDE, rides)}
        texts[_beside(path, "vehicles")] = write_csv(_VEHICLE, vehicles)
        # Also when there is none: one of another log would else stand beside these rides.
        texts[_beside(path, "training")] = write_csv(_TRAINING, training)
        return write_files(path.parent, texts)

    def import_csv(self, path):
        """Add what a CSV has and the log has not: all of it, or nothing.

        Parameters
        ----------
        path : str or path
            Rides as `export_csv` writes them; the vehicles beside it are added first and the
            training last, if they are there. In a row written by hand ``key``, ``digest`` (the
            file added last) and ``logged`` may be empty; to correct a ride, its key stands under
            ``corrects``.

        Returns
        -------
        int
            How many rides, corrections and rows of training were new.

        Raises
        ------
        JobLogError
            One sentence naming file, line, column, value and what was expected.
        """
        path = Path(path)
        vehicles, training = (path.with_name(_beside(path, n)) for n in ("vehicles", "training"))
        tables = [(path, _RIDE, self._import_ride)]
        if vehicles.is_file():
            tables.insert(0, (vehicles, _VEHICLE, self._import_vehicle))
        if training.is_file():
            tables.append((training, _TRAINING, self._import_training))
        try:
            # Before the log is locked: another program may be waiting for it.
            tables = [(list(read_csv(table, names)), add) for table, names, add in tables]
        except ValueError as error:
            raise JobLogError(str(error)) from None
        new = 0
        with self._writing():
            where = ""
            try:
                for rows, add in tables:
                    for place, cells in rows:
                        where = f"{place}, column "
                        new += add(cells)
            except JobLogError:
                raise  # of the log itself
            except ValueError as error:
                raise JobLogError(f"{where}{error}") from None
        return new

    def _import_vehicle(self, cells):
        cells["logged"] = _in_utc(moment("logged", cells["logged"]))
        if not self._version("digest = ? AND logged = ?", cells["digest"], cells["logged"]):
            vehicle = _vehicle_from(cells["files"])
            for name in ("name", "digest"):
                if cells[name] != getattr(vehicle, name):
                    raise ValueError(
                        f"{name} is {cells[name]!r:.70}; expected {getattr(vehicle, name)!r}, as "
                        "in the files"
                    )
            self._insert("vehicle", cells)
        return 0

    def _import_ride(self, cells):
        name, digest, corrects = cells["vehicle"], cells["digest"], None
        version = self._newest(name, "vehicle")
        if digest:
            version = self._version("digest = ? AND name = ?", digest, name)
            if not version:
                raise ValueError(
                    f"digest is {digest!r:.70}; expected that of a file of {name!r:.60}"
                )
        if cells["corrects"]:
            corrects = self._one("SELECT * FROM ride WHERE key = ?", cells["corrects"])
            if not corrects:
                wanted = "the key of a ride above or in the log"
                raise ValueError(f"corrects is {cells['corrects']!r:.60}; expected {wanted}")
        row = checked(from_cells(cells), _vehicle_from(version["files"]))
        key = key_of(row, version["digest"], corrects and corrects["key"])
        if cells["key"] not in ("", key):
            raise ValueError(
                f"key is {cells['key']!r:.60}; expected {key!r} by what the row says: to correct a "
                "ride add a row with its key under corrects and none under key"
            )
        logged = cells["logged"] and _in_utc(moment("logged", cells["logged"]))
        return self._keep(row, version, corrects=corrects, logged=logged)[1]

    def _import_training(self, cells):
        seed = cells["seed"]
        try:
            seed = int(seed) if seed else None
        except ValueError:
            pass  # which the check then names
        # What an older suspkit had in its list stays true; what is written by hand must be known.
        row = checked_training(cells | {"seed": seed}, known=not cells["key"])
        key = training_key(row)
        if cells["key"] not in ("", key):
            raise ValueError(
                f"key is {cells['key']!r:.60}; expected {key!r} by what the row says: for one that "
                "no longer counts add a row with the result 'taken back' and none under key"
            )
        logged = cells["logged"] and _in_utc(moment("logged", cells["logged"]))
        return self._keep_training(row, logged=logged)[1]

    # --- SQLite -----------------------------------------------------------------------------------

    def _error(self, fault, expected):
        return JobLogError(f"{self.path} {fault}; expected {expected}")

    @contextmanager
    def _plainly(self):
        """Say in one sentence what SQLite finds wrong."""
        try:
            yield
        except UnicodeDecodeError:
            fault, expected = "holds text that cannot be read", GOOD_COPY
            raise self._error(fault, expected) from None
        except sqlite3.Error as error:
            code = getattr(error, "sqlite_errorcode", 0) & 0xFF
            reason = str(error).rstrip(".")
            if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
                fault, expected = f"was held by another program for {WAIT:g} s", "it to finish"
            elif code in (sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT):
                fault, expected = f"cannot be read: {reason}", GOOD_COPY
            else:
                fault, expected = f"cannot be used: {reason}", "a file and a disk to write to"
            raise self._error(fault, expected) from None

    @contextmanager
    def _writing(self):
        """One transaction: all of it or nothing, one program at a time."""
        with self._plainly():
            try:
                # Locked from the start, it waits its turn; a lock taken later could only fail.
                self._db.execute("BEGIN IMMEDIATE")
                self._bring_up_to_date()
                yield
                self._db.execute("COMMIT")
            except BaseException:
                if self._db.in_transaction:  # a full disk may have ended it
                    self._db.execute("ROLLBACK")
                raise

    def _all(self, sql, *values):
        with self._plainly():
            return self._db.execute(sql, values).fetchall()

    def _one(self, sql, *values):
        return next(iter(self._all(sql, *values)), None)

    def _insert(self, table, row):
        names = ", ".join(f'"{name}"' for name in row)
        places = ", ".join("?" * len(row))
        self._all(f"INSERT INTO {table} ({names}) VALUES ({places})", *row.values())


def _beside(path, what):
    return f"{path.stem}-{what}.csv"


def _upper(place):
    return place[0] if isinstance(place, tuple) else place


def _in_utc(moment):
    return moment.astimezone(UTC).isoformat(timespec="microseconds")


def _now():
    return _in_utc(datetime.now(UTC))


def _files_of(vehicle):
    """The text of a vehicle's file and of those it names, as JSON."""
    source = Path(vehicle.source)
    if not source.is_file():
        raise JobLogError(
            f"vehicle {vehicle.name!r} has its file at {vehicle.source!r}; expected the file it "
            "was read from, of which to keep a copy"
        )
    same = repr(load_vehicle(source)) == repr(vehicle)
    texts = {source.name: _text_of(source)}
    for name in _named_in(texts[source.name]):
        texts[name] = _text_of(source.parent / name)
    files = json.dumps(texts, ensure_ascii=False)
    if not same or _vehicle_from(files).digest != vehicle.digest:
        raise JobLogError(
            f"vehicle {vehicle.name!r} is not what {source} says; expected it as load_vehicle "
            "reads it now"
        )
    return files


def _text_of(path):
    return read_text(path, expected="a file of the vehicle", most=LARGEST)


def _named_in(text):
    """The files that a vehicle file names: its rack and its dyno tables."""
    raw = parse_toml(text, "the vehicle file")
    named = [raw.get("rack")]
    for axle in AXLES:
        branch = raw
        for name in (axle, "shock", "damper", "table"):
            branch = branch.get(name) if isinstance(branch, dict) else None
        named.append(branch)
    return [name for name in named if isinstance(name, str)]


@lru_cache(maxsize=256)
def _vehicle_from(files):
    """Read a vehicle again from the texts that were kept."""
    wanted = "texts in JSON: of a vehicle file, its rack and dyno tables"
    try:
        texts = {Path(name): text.encode() for name, text in json.loads(files).items()}
        # A rack may be named "../springs.csv": start so far down that it still is in the folder.
        down = ["below"] * max(name.parts.count("..") for name in texts)
        first = next(iter(texts))
        if len(texts) > MOST_FILES or any(
            len(n) > LONGEST_PATH or "\0" in n for n in map(str, texts)
        ):
            raise ValueError
    except (ValueError, AttributeError, RecursionError):
        raise ValueError(f"files cannot be read: {files[:40]!r} ...; expected {wanted}") from None
    for name in map(Path, _named_in(texts[first].decode())):
        if name not in texts:  # or one of this machine would be read
            raise ValueError(
                f"the log's copy of {name} cannot be read: it is not there; expected {wanted}"
            )
    with TemporaryDirectory() as folder:
        home = Path(folder).resolve().joinpath(*down)
        for name, text in texts.items():
            try:
                place = (home / name).resolve()
                if not place.is_relative_to(Path(folder).resolve()):
                    raise ValueError(
                        f"{str(name)!r} is a fixed place; expected one seen from the vehicle file"
                    )
                place.parent.mkdir(parents=True, exist_ok=True)
                place.write_bytes(text)
            except OSError as error:
                raise ValueError(
                    f"files has the name {str(name)!r:.70}, which cannot be a file's "
                    f"({error.strerror}); expected {wanted}"
                ) from None
        try:
            return load_vehicle(home / first)
        except VehicleFileError as error:
            raise ValueError(str(error).replace(f"{home}{os.sep}", "the log's copy of ")) from None


def _network_of(path, mounts=Path("/proc/self/mounts")):
    """Kind of network disk a file is on; None if on none, or where that is not known."""
    if str(path).startswith(("\\\\", "//")):
        return "a share"
    kinds = {}
    if mounts.is_file():
        for line in mounts.read_text(errors="replace").splitlines():
            _, point, kind, *_ = line.split(" ")
            kinds[Path(point.replace("\\040", " "))] = kind.removeprefix("fuse.")
    real = path.resolve()
    kind = next((kinds[place] for place in (real, *real.parents) if place in kinds), None)
    return kind if kind in NETWORK else None
