"""Say when a core has to be compiled, so that nobody thinks it hangs: once on a machine."""

import sys
from functools import cache
from pathlib import Path


def is_ready(function):
    """Whether a compiled function is loaded or on disk; taken as there where that cannot be told.

    Parameters
    ----------
    function : numba dispatcher

    Returns
    -------
    bool
    """
    if function.signatures:
        return True
    place = getattr(getattr(function, "_cache", None), "cache_path", None)
    return place is None or any(Path(place).glob(f"*{function.__name__}-*.nbi"))


def announce(function):
    """Say so on standard error, once, if calling a function will compile it first.

    Parameters
    ----------
    function : numba dispatcher
    """
    if not is_ready(function):
        _say()


@cache
def _say():
    print(
        "Compiling the core for this machine, once; some seconds ...", file=sys.stderr, flush=True
    )
