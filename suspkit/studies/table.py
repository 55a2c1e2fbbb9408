"""Tables of numbers with their units: kept in a file to the last bit, and put in words."""

from __future__ import annotations

import io
import json
from functools import partial
from pathlib import Path

from suspkit.files import read_bytes, read_text, write_file
from suspkit.units import show, unit_label

MOST = 2**27
"""What is read of a table [bytes]: a sweep of millions of rows."""


def in_words(values, *, words, kind, units="us", digits=None):
    """A column for a reader: the unit in its heading, and each number without.

    Parameters
    ----------
    values : sequence of float
        [SI unit of the kind]
    words : str
        What they are.
    kind : str
        Of quantity, as in `suspkit.units.show`.
    units : {"us", "metric"}
    digits : int, optional
        Decimals; those usual for the kind if not given.

    Returns
    -------
    (str, list of str)
        Heading, and ``–`` where a number is not there.
    """
    label = unit_label(kind, units)
    texts = [show(value, kind, units, digits).removesuffix(label).rstrip() for value in values]
    return f"{words}, {label}" if label else words, texts


def write_table(table, path):
    """Write a table with its units to a file, whole or not at all.

    Parameters
    ----------
    table : pandas.DataFrame
        With ``attrs["units"]``, as `suspkit.sweep` and `suspkit.sensitivity` give it; or all
        text, as for a reader.
    path : str or path
        ``.csv``, where each number's heading ends in its unit (``rake [m]``) and remarks before
        the heading keep the other ``attrs``; or ``.parquet``, where the schema keeps them all.

    Returns
    -------
    Path

    Raises
    ------
    ValueError
        If the file would be of another kind, or pyarrow is missing.
    UnwritableError
        If it cannot be written; what stood there is then still there.
    """
    units = table.attrs.get("units", {})
    if suffix(path) == ".csv":
        remarks = (f"# {k}: {json.dumps(v)}\n" for k, v in table.attrs.items() if k != "units")
        units = {n: units.get(n, "") for n in table.select_dtypes("number")}
        headed = table.rename(columns={n: f"{n} [{u or '-'}]" for n, u in units.items()})
        text = headed.to_csv(index=False, lineterminator="\n")
        return write_file(path, "".join(remarks) + text)
    arrow, parquet = _arrow(path)
    made = arrow.Table.from_pandas(table, preserve_index=False)
    schema = [made.field(n).with_metadata({"unit": units.get(n, "")}) for n in made.column_names]
    kept = {"suspkit": json.dumps(table.attrs)} | (made.schema.metadata or {})
    data = io.BytesIO()
    parquet.write_table(made.cast(arrow.schema(schema, metadata=kept)), data)
    return write_file(path, data.getvalue())


def read_table(path):
    """Read what `write_table` wrote.

    Parameters
    ----------
    path : str or path

    Returns
    -------
    pandas.DataFrame
        The same to the last bit, with its ``attrs``.

    Raises
    ------
    ValueError
        If the file is not there or is no such table.
    """
    if suffix(path) == ".csv":
        data, read = read_text(path, expected="a table", most=MOST), _read_csv
    else:
        _, parquet = _arrow(path)
        data = read_bytes(path, expected="a table", most=MOST)
        read = partial(_read_parquet, parquet)
    try:
        return read(data)
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        why = " ".join(str(error).partition("\n")[0].split())[:200]
        raise ValueError(f"{path} is not a table of suspkit ({why}); expected one") from None


def _read_parquet(parquet, data):
    read = parquet.read_table(io.BytesIO(data))
    table = read.to_pandas()
    table.attrs = json.loads(read.schema.metadata[b"suspkit"])
    return table


def _read_csv(text):
    import pandas as pd

    attrs = {"units": {}}
    while text.startswith("# "):
        remark, _, text = text.partition("\n")
        key, _, value = remark[2:].partition(": ")
        attrs[key] = json.loads(value)
    table = pd.read_csv(io.StringIO(text), dtype=str, keep_default_na=False)
    for heading in table.columns:
        name, bracket, unit = heading.rpartition(" [")
        if bracket:
            unit = unit.removesuffix("]")
            attrs["units"][name] = "" if unit == "-" else unit
            table[heading] = [_number_of(cell, name) for cell in table[heading]]
            table = table.rename(columns={heading: name})
    table.attrs = attrs
    return table


def _number_of(cell, name):
    try:
        return float(cell or "nan")
    except ValueError:
        raise ValueError(f"{name} is {cell[:60]!r} somewhere, not a number") from None


def _arrow(path):
    try:
        import pyarrow
        from pyarrow import parquet
    except ImportError:
        raise ValueError(
            f"{path} needs the package pyarrow, which is not installed; expected it (pip install "
            "pyarrow), or a name that ends in .csv"
        ) from None
    return pyarrow, parquet


def suffix(path):
    """How a table's file ends, if it can be one.

    Parameters
    ----------
    path : str or path

    Returns
    -------
    {".csv", ".parquet"}

    Raises
    ------
    ValueError
        If it ends otherwise.
    """
    kind = Path(path).suffix.lower()
    if kind not in (".csv", ".parquet"):
        raise ValueError(f"path is {str(path)!r}; expected a name that ends in .csv or .parquet")
    return kind
