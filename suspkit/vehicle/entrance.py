"""The one way in for what users call: which vehicle, set-up, load, axle or rides are meant.

A *set-up* is a `Setup`, the name of one of the vehicle's, or None: the vehicle's current one. A
*load* is the name of one of the vehicle's, or None: as weighed, nothing aboard. What a shop sets a
vehicle up with (advice, the work sheet, panels) takes the vehicle's usual load where none is given.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from suspkit.given import number, of_kind, refuse
from suspkit.parts.damper import COLDEST, HOTTEST
from suspkit.vehicle.setup import AXLES, CORNERS, Setup
from suspkit.vehicle.vehicle import Vehicle, known_name


class _Usual:
    def __repr__(self):
        return "USUAL"


USUAL = _Usual()
"""A load not given: the one the vehicle's targets are for, else its first, else none aboard."""


GIVEN = "as given"
"""What a set-up of no name is called."""


def known_vehicle(vehicle):
    """Refuse what is no vehicle.

    Parameters
    ----------
    vehicle : Vehicle

    Returns
    -------
    Vehicle

    Raises
    ------
    ValueError
        If it is none.
    """
    expected = "a Vehicle"
    if isinstance(vehicle, (str, Path)):
        expected += ", as suspkit.load_vehicle reads it from a file"
    elif isinstance(vehicle, Setup):
        expected += ", and the Setup after it"
    return of_kind("vehicle", vehicle, Vehicle, expected)


def known_setup(vehicle, setup=None, *, name="setup"):
    """The set-up that is meant.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup or str, optional
        A set-up, or the name of one of the vehicle's; its current one if not given.
    name : str
        Of the argument, for the sentence.

    Returns
    -------
    Setup

    Raises
    ------
    ValueError
        If there is no such set-up, or a stack or a click of it is not there on this vehicle.
    """
    known_vehicle(vehicle)
    if setup is None:
        return vehicle.setup
    if isinstance(setup, str):
        known_name(setup, vehicle.setups, name, "a set-up of this vehicle")
        return vehicle.setups[setup]
    of_kind(name, setup, Setup, "a Setup, the name of one of the vehicle's, or None")
    for corner in CORNERS:
        chosen = getattr(setup, corner)
        where = f"{name}.{corner}"
        known_name(chosen.stack, vehicle.stacks, f"{where}.stack", "a stack of this vehicle")
        if chosen.clicks:
            try:
                vehicle.axle_of(corner).shock.clicks_out(chosen.clicks)
            except ValueError as error:
                raise ValueError(f"{where}: {error}") from None
    return setup


def with_setup(vehicle, setup=None):
    """A vehicle that has a set-up among its own, and by what name: what lists them needs one.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup or str, optional
        As for `known_setup`.

    Returns
    -------
    Vehicle
        The same one where the set-up is its own.
    str
    """
    if setup is None or isinstance(setup, str):
        known_setup(vehicle, setup)
        return vehicle, vehicle.current if setup is None else setup
    setup = known_setup(vehicle, setup)
    for name, own in vehicle.setups.items():
        if own == setup:
            return vehicle, name
    return replace(vehicle, setups={**vehicle.setups, GIVEN: setup}), GIVEN


def known_load(vehicle, load=None, *, several=False, name="load"):
    """The load that is meant.

    Parameters
    ----------
    vehicle : Vehicle
    load : str, optional
        Named load; nothing aboard if None, the vehicle's usual one if `USUAL`.
    several : bool
        Whether it may be a sequence of names too.
    name : str
        Of the argument, for the sentence.

    Returns
    -------
    str, sequence of str or None

    Raises
    ------
    ValueError
        If the vehicle has no such load.
    """
    known_vehicle(vehicle)
    if load is USUAL:
        return vehicle.usual_load
    if load is None:
        return None
    expected = "the name of one load" + (", names of several" if several else "") + ", or None"
    each = [load]
    if several and not isinstance(load, str):
        try:
            each = list(load)
        except TypeError:
            refuse(name, load, expected)
    for one in each:
        of_kind(name, one, str, expected)
        known_name(one, vehicle.loads, name, "a load of this vehicle")
    if not each:
        refuse(name, load, expected)
    return load if isinstance(load, str) else each


def known_temperature(temperature):
    """A temperature of oil and gas.

    Parameters
    ----------
    temperature : float, str or None
        [K]; or text such as ``"140 degF"``.

    Returns
    -------
    float or None
        [K]

    Raises
    ------
    ValueError
        If it is none that a shock has.
    """
    if temperature is None:
        return None
    return number(
        "temperature", temperature, "temperature", low=COLDEST, high=HOTTEST,
        expected=f"{COLDEST:g} to {HOTTEST:g} K",
    )  # fmt: skip


def known_axle(axle):
    """Refuse what is no axle.

    Parameters
    ----------
    axle : {"front", "rear"}

    Returns
    -------
    str

    Raises
    ------
    ValueError
        If it is neither.
    """
    if not (isinstance(axle, str) and axle in AXLES):
        refuse("axle", axle, "front or rear")
    return axle


def known_corner(corner, *, name="corner"):
    """Refuse what is no corner.

    Parameters
    ----------
    corner : str
        Of `suspkit.vehicle.setup.CORNERS`.
    name : str
        Of the argument, for the sentence.

    Returns
    -------
    str

    Raises
    ------
    ValueError
        If it is none.
    """
    known_name(corner, CORNERS, name, "a corner")
    return corner
