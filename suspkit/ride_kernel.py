"""The compiled core of driving: a rigid body on one, two or four corners, step by step.

Fixed-step Runge-Kutta of fourth order, with the energy book kept in the same steps. Compiled with
numba on first use and cached on disk. The equations are written out in `suspkit.drive`.
"""

import numpy as np
from numba import njit

from suspkit.kernel import motion

BODY = 6
"""Columns of a record before the wheels: height, pitch, roll and their accelerations."""

OVER = 1.2
"""Pitch and roll together at which the body is on its way over [rad]."""

WHEEL = 6
"""Columns a wheel: hub height, wheel travel, compression, shaft speed, shaft force, tyre load."""


@njit(cache=True, error_model="numpy")
def hinted(at, x, y, slopes, count, hint):
    """A piecewise-linear curve near where it was last read; returns value and new hint.

    ``slopes[0]`` is the slope before the first knot, ``slopes[i]`` after knot i - 1. The hint is
    the number of knots at or below ``at``.
    """
    while hint < count and x[hint] <= at:
        hint += 1
    while hint > 0 and x[hint - 1] > at:
        hint -= 1
    knot = max(hint - 1, 0)
    return y[knot] + slopes[hint] * (at - x[knot]), hint


@njit(cache=True, error_model="numpy")
def rates(
    state, rate, power, seen, hints, wheels, body, modes, links, steps, cells, springs, dampers,
    gas, friction, bars, road, lateral, forward,
):  # fmt: skip
    """Time derivative of the state, and the powers of the energy book.

    ``state`` is (height, pitch, roll, hub heights) and then their speeds; ``power`` gets (put in
    by road and manoeuvre, lost in dampers, in friction, in tyres).
    """
    n = wheels.shape[0]
    half = 3 + n
    weight, mass, pitch_inertia, roll_inertia, g = body
    sp = cp = 1.0
    sr = cr = 1.0
    if modes > 1:
        sp, cp = np.sin(state[1]), np.cos(state[1])
    else:
        sp = 0.0
    if modes > 2:
        sr, cr = np.sin(state[2]), np.cos(state[2])
    else:
        sr = 0.0
    up = cp * cr
    lift = -weight
    pitch_moment = roll_moment = 0.0
    given = lost_damper = lost_friction = lost_tyre = 0.0
    arm = mass * state[0]
    for i in range(n):
        ax, ay, az, unsprung, radius, kt, ct, link, other = wheels[i]
        axle = int(link)
        across = state[3 + i] - state[0] + ax * sp - ay * cp * sr
        along = across / up
        z = along - az
        z_pitch = (ax * cp + ay * sp * sr + along * sp * cr) / up
        z_roll = (-ay * cp * cr + along * cp * sr) / up
        z_speed = (state[half + 3 + i] - state[half]) / up
        z_speed += z_pitch * state[half + 1] + z_roll * state[half + 2]
        s, ratio, _bend = motion(z, steps[axle], cells[axle], links[axle])
        speed = ratio * z_speed
        x, y, slopes, count = springs
        f, hints[i, 0] = hinted(s, x[i], y[i], slopes[i], count[i], hints[i, 0])
        area, pressure, volume, atmosphere, exponent = gas[i]
        if area > 0.0:
            left = max(volume - area * s, 0.02 * volume)
            f += (pressure * (volume / left) ** exponent - atmosphere) * area
        x, y, slopes, count = dampers
        damp, hints[i, 1] = hinted(speed, x[i], y[i], slopes[i], count[i], hints[i, 1])
        rub = friction[i, 0] * speed / np.sqrt(speed * speed + friction[i, 1] * friction[i, 1])
        total = f + damp + rub
        held = total * ratio
        if other >= 0.0:
            j = int(other)
            jx, jy, jz = wheels[j, 0], wheels[j, 1], wheels[j, 2]
            z_other = (state[3 + j] - state[0] + jx * sp - jy * cp * sr) / up - jz
            held += bars[axle] * (z - z_other)
        squeeze = radius + road[0, i] - state[3 + i]
        closing = road[1, i] - state[half + 3 + i]
        grip = tyre = 0.0
        if squeeze > 0.0:
            grip = kt * squeeze
            tyre = max(0.0, grip + ct * closing)
        lift += held / up
        pitch_moment -= held * z_pitch
        roll_moment -= held * z_roll
        rate[half + 3 + i] = (tyre - held / up) / unsprung - g
        rate[3 + i] = state[half + 3 + i]
        arm += unsprung * state[3 + i]
        given += tyre * road[1, i]
        lost_damper += damp * speed
        lost_friction += rub * speed
        lost_tyre += (tyre - grip) * closing
        seen[i, 0], seen[i, 1], seen[i, 2] = state[3 + i], z, s
        seen[i, 3], seen[i, 4], seen[i, 5] = speed, total, tyre
    rate[0] = state[half]
    rate[1] = rate[2] = rate[half + 1] = rate[half + 2] = 0.0
    rate[half] = lift / mass
    if modes > 1:
        # Slowing tips the nose down: inertia at its height, tyre forces at the ground.
        push = -forward * arm
        rate[1] = state[half + 1]
        rate[half + 1] = (pitch_moment + push) / pitch_inertia
        given += push * state[half + 1]
    if modes > 2:
        push = lateral * arm
        rate[2] = state[half + 2]
        rate[half + 2] = (roll_moment + push) / roll_inertia
        given += push * state[half + 2]
    power[0], power[1], power[2], power[3] = given, lost_damper, lost_friction, lost_tyre


@njit(cache=True, error_model="numpy", nogil=True)
def run(
    start, dt, stride, road, manoeuvre, wheels, body, modes, links, steps, cells, springs, dampers,
    gas, friction, bars, record, energy,
):  # fmt: skip
    """Run from ``start`` (changed in place to the end state); fill ``record`` and ``energy``.

    ``road`` is (2 * steps + 1, 2, wheels): height and its speed under each tyre at every half
    step; ``manoeuvre`` is (2 * steps + 1, 2): lateral and forward acceleration. A row of
    ``record`` is kept every ``stride`` steps. Returns how many steps were made: all of them, or
    fewer if a number ran away or the body turned past ``OVER``.
    """
    n = wheels.shape[0]
    size = start.size
    total = (road.shape[0] - 1) // 2
    k1, k2, k3, k4 = np.empty(size), np.empty(size), np.empty(size), np.empty(size)
    p1, p2, p3, p4 = np.empty(4), np.empty(4), np.empty(4), np.empty(4)
    trial = np.empty(size)
    seen, spare = np.empty((n, WHEEL)), np.empty((n, WHEEL))
    hints = np.zeros((n, 2), dtype=np.int64)
    energy[:] = 0.0
    half = 3 + n
    for step in range(total + 1):
        rates(start, k1, p1, seen, hints, wheels, body, modes, links, steps, cells, springs,
              dampers, gas, friction, bars, road[2 * step], manoeuvre[2 * step, 0],
              manoeuvre[2 * step, 1])
        if step % stride == 0:
            row = record[step // stride]
            for j in range(3):
                row[j] = start[j]
                row[3 + j] = k1[half + j]
            for i in range(n):
                for j in range(WHEEL):
                    row[BODY + WHEEL * i + j] = seen[i, j]
            if not abs(start[1]) + abs(start[2]) < OVER:  # nan is not below either
                return step
        if step == total:
            break
        for j in range(size):
            trial[j] = start[j] + 0.5 * dt * k1[j]
        rates(trial, k2, p2, spare, hints, wheels, body, modes, links, steps, cells, springs,
              dampers, gas, friction, bars, road[2 * step + 1], manoeuvre[2 * step + 1, 0],
              manoeuvre[2 * step + 1, 1])
        for j in range(size):
            trial[j] = start[j] + 0.5 * dt * k2[j]
        rates(trial, k3, p3, spare, hints, wheels, body, modes, links, steps, cells, springs,
              dampers, gas, friction, bars, road[2 * step + 1], manoeuvre[2 * step + 1, 0],
              manoeuvre[2 * step + 1, 1])
        for j in range(size):
            trial[j] = start[j] + dt * k3[j]
        rates(trial, k4, p4, spare, hints, wheels, body, modes, links, steps, cells, springs,
              dampers, gas, friction, bars, road[2 * step + 2], manoeuvre[2 * step + 2, 0],
              manoeuvre[2 * step + 2, 1])
        for j in range(size):
            start[j] += dt / 6.0 * (k1[j] + 2.0 * (k2[j] + k3[j]) + k4[j])
        for j in range(4):
            energy[j] += dt / 6.0 * (p1[j] + 2.0 * (p2[j] + p3[j]) + p4[j])
    return total
