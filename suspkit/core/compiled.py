"""Say when a core has to be compiled, so that nobody thinks it hangs: once on a machine."""

import sys
from functools import cache


def is_ready(function):
    """Whether a compiled function is loaded or on disk; taken as there where that cannot be told.

    What another Python, another numba or an older suspkit left on disk is not taken.

    Parameters
    ----------
    function : numba dispatcher

    Returns
    -------
    bool
    """
    if function.signatures:
        return True
    file = getattr(getattr(function, "_cache", None), "_cache_file", None)
    stored = getattr(file, "_load_index", None)
    return stored is None or bool(stored())


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
