"""What it takes to get a retainer out: how far to squeeze, how hard, how much energy that holds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from suspkit.units import GRAVITY
from suspkit.vehicle.corner import assemble
from suspkit.vehicle.entrance import known_setup
from suspkit.vehicle.setup import AXLES


@dataclass(frozen=True, kw_only=True)
class CompressorCheck:
    """Squeezing one stack with the shock on the bench and the stop ring backed away.

    Attributes
    ----------
    stack_length : float
        Free length of springs and dividers [m].
    space : float
        Between the collar and the retainer's seat with the shock hanging free [m].
    squeeze : float
        How far the stack must be shortened to slip the retainer out [m]; zero if it is loose.
    squeezed_length : float
        Length of the stack then [m].
    force : float
        Of the springs then [N]: what the compressor holds.
    energy : float
        Stored in the springs then [J]: what comes out if the compressor slips.
    main_force, main_energy : float
        The same where the compressor grips only the coils of the spring next to the retainer, so
        that one has to give the whole squeeze [N], [J]; infinite if it is solid first.
    binds : bool
        The springs would be solid first: it cannot be done this way.
    """

    stack_length: float
    space: float
    squeeze: float
    squeezed_length: float
    force: float
    energy: float
    main_force: float
    main_energy: float
    binds: bool


def compressor_check(vehicle, setup=None, *, collar_up=True):
    """Check the spring compressor's job on each axle before starting it.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
    collar_up : bool
        Collar run fully up first, as it should be; otherwise left where the set-up has it.

    Returns
    -------
    dict of str to CompressorCheck
        "front" and "rear": the harder of the two sides, where they differ.

    Notes
    -----
    The springs are squeezed together, in series and without the ring; or the main alone, by the
    whole amount, which takes a larger force. The maker's instructions for the compressor come
    first.
    """
    setup = known_setup(vehicle, setup)
    corners = assemble(vehicle, setup)
    found = {}
    for axle, pair in AXLES.items():
        jobs = [squeeze_check(corners[name], collar_up=collar_up) for name in pair]
        found[axle] = max(jobs, key=lambda job: (job.binds, job.force))
    return found


def squeeze_check(corner, *, collar_up=True):
    """Check the spring compressor's job on one corner, as `compressor_check` does.

    Parameters
    ----------
    corner : Corner
        With the collar run fully up its turns and gaps do not matter.
    collar_up : bool
        Collar run fully up first, or left where the set-up has it.

    Returns
    -------
    CompressorCheck
    """
    shock = corner.shock
    stack = corner.stack.with_caps([np.inf] * len(corner.stack.rings))
    collar = 0.0 if collar_up else float(np.max(corner.collar_at))
    space = float(shock.thread.seat_span - collar - corner.unbolted_hang)
    squeeze = max(0.0, corner.stack_length - (space - shock.retainer_clearance))
    binds = squeeze >= stack.solid_compression
    at = min(squeeze, float(stack.solid_compression))
    main = stack.springs[-1]
    alone = squeeze <= main.travel
    return CompressorCheck(
        stack_length=corner.stack_length,
        space=space,
        squeeze=squeeze,
        squeezed_length=corner.stack_length - squeeze,
        force=float(stack.force(at)),
        energy=float(stack.energy(at)),
        main_force=float(main.law(squeeze)) if alone else np.inf,
        main_energy=float(main.energy(squeeze)) if alone else np.inf,
        binds=bool(binds),
    )


def drop_height(energy, *, mass):
    """Height from which a mass must fall to bring the same energy: a spring in plain terms.

    Parameters
    ----------
    energy : float or array
        [J]
    mass : float or array
        Of what falls [kg].

    Returns
    -------
    float or array
        [m]

    Notes
    -----
    E = m g h.
    """
    return energy / (mass * GRAVITY)
