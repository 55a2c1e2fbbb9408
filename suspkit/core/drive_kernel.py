"""The compiled core of driving: a rigid body on one, two or four corners, step by step.

Fixed-step Runge-Kutta of fourth order, with the energy book kept in the same steps; a step that
meets a kink is made again in `PIECES`. Compiled with numba on first use and cached on disk. The
equations are written out in `suspkit.dynamics.drive`.
"""

import numpy as np
from numba import njit

BODY = 6
"""Columns of a record before the wheels: height, pitch, roll and their accelerations."""

OVER = 1.2
"""Pitch and roll together at which the body is on its way over [rad]."""

WHEEL = 6
"""Columns a wheel: hub height, wheel travel, compression, shaft speed, shaft force, tyre load."""

PIECES = 8
"""Parts of a step that meets a stop, a ring, the ground or a turn of the shaft: Runge and Kutta's
method is of second order there, so eight parts cost no more than they bring."""

GUIDE = 4096
GUIDE_SPEED = 0.1
"""Buckets of a damper's speeds, even in v / (v + 0.1 m/s): fine where its knots are dense."""


METAL = 1e6
"""Rate from which a wheel counts as on metal [N/m], where it moves too fast for a whole step."""


def guide(x):
    """Where to start looking in a damper's knots, bucket by bucket: knots below its left edge."""
    even = np.arange(GUIDE) * (2.0 / GUIDE) - 1.0
    with np.errstate(divide="ignore"):
        edges = GUIDE_SPEED * even / (1.0 - np.abs(even))
    return np.searchsorted(x, edges, side="right")


@njit(cache=True, error_model="numpy", inline="always")
def rates(
    state, rate, power, seen, hints, t, wheels, body, links, steps, cells, spring_x,
    spring_y, spring_slopes, spring_count, damper_x, damper_y, damper_slopes, damper_count,
    guides, gas, friction, bars, cubics, track, places, sides,
):  # fmt: skip
    """Time derivative of the state, the powers of the energy book, and on which side of each kink.

    ``state`` is (height, pitch, roll, hub heights) and then their speeds; ``power`` gets (put in
    by road and manoeuvre, lost in dampers, in friction, in tyres). ``track`` is (speed, knot
    distance, lateral and forward acceleration, time they build up in). One wheel has heave alone,
    two have pitch with it, four roll too. Comes back: a number that changes when a wheel passes a
    knot of its springs, touches down, lifts off or turns round; and whether one is on metal.
    """
    n = len(sides)
    half = 3 + n
    weight, mass, pitch_inertia, roll_inertia, g = body[0], body[1], body[2], body[3], body[4]
    sp = sr = 0.0
    cp = cr = 1.0
    if n > 1:
        sp, cp = np.sin(state[1]), np.cos(state[1])
    if n > 2:
        sr, cr = np.sin(state[2]), np.cos(state[2])
    per_up = 1.0 / (cp * cr)
    # Way down a wheel's plane over height, and its slopes: pitch alone leaves it 1.
    lean, lean_pitch, lean_roll = 1.0, 0.0, 0.0
    if n > 2:
        lean = 1.0 / np.sqrt(1.0 - cp * cp * sr * sr)
        lean_roll = lean * lean * lean * cp * sr
        lean_pitch = -lean_roll * sp * sr
        lean_roll *= cp * cr
    spread = lean_pitch * state[half + 1] + lean_roll * state[half + 2]
    lift = -weight
    pitch_moment = roll_moment = 0.0
    given = lost_damper = lost_friction = lost_tyre = 0.0
    arm = mass * state[0]
    mark = 0
    metal = False
    last = cubics.shape[1] - 1
    for i in range(n):
        ax, ay, unsprung = wheels[i, 0], wheels[i, 1], wheels[i, 3]
        # The ground.
        along = track[0] * t - places[i]
        ground = rise = 0.0
        side = sides[i]
        if along <= 0.0:
            ground = cubics[side, 0, 0]
        else:
            cell = min(int(along / track[1]), last)
            u = min(along - cell * track[1], track[1])
            c1, c2, c3 = cubics[side, cell, 1], cubics[side, cell, 2], cubics[side, cell, 3]
            ground = cubics[side, cell, 0] + u * (c1 + u * (c2 + u * c3))
            if along < (last + 1) * track[1]:
                rise = track[0] * (c1 + u * (2.0 * c2 + u * 3.0 * c3))
        # The wheel in the body.
        hub, hub_speed = state[3 + i], state[half + 3 + i]
        along = (hub - state[0] + ax * sp - ay * cp * sr) * per_up
        z = along - wheels[i, 2]
        z_pitch = (ax * cp + ay * sp * sr + along * sp * cr) * per_up
        z_roll = (-ay * cp * cr + along * cp * sr) * per_up
        z_speed = (hub_speed - state[half]) * per_up
        z_speed += z_pitch * state[half + 1] + z_roll * state[half + 2]
        # The linkage.
        axle = int(wheels[i, 7])
        width = steps[axle]
        inside = min(max(z, 0.0), cells[axle] * width)
        cell = min(int(inside / width), cells[axle] - 1)
        u = inside - cell * width
        c1, c2, c3 = links[axle, cell, 1], links[axle, cell, 2], links[axle, cell, 3]
        ratio = c1 + u * (2.0 * c2 + u * 3.0 * c3)
        s = links[axle, cell, 0] + u * (c1 + u * (c2 + u * c3)) + ratio * (z - inside)
        speed = ratio * z_speed
        # Springs and limits: the piece is near where it was.
        piece = hints[i]
        while piece < spring_count[i] and spring_x[i, piece] <= s:
            piece += 1
        while piece > 0 and spring_x[i, piece - 1] > s:
            piece -= 1
        hints[i] = piece
        knot = max(piece - 1, 0)
        slope = spring_slopes[i, piece]
        f = spring_y[i, knot] + slope * (s - spring_x[i, knot])
        metal = metal or slope > METAL
        area, volume = gas[i, 0], gas[i, 2]
        if area > 0.0:
            left = max(volume - area * s, 0.02 * volume)
            f += (gas[i, 1] * (volume / left) ** gas[i, 4] - gas[i, 3]) * area
        # The damper.
        bucket = int((speed / (abs(speed) + GUIDE_SPEED) + 1.0) * (0.5 * GUIDE))
        piece = guides[i, min(max(bucket, 0), GUIDE - 1)]
        while piece < damper_count[i] and damper_x[i, piece] <= speed:
            piece += 1
        while piece > 0 and damper_x[i, piece - 1] > speed:
            piece -= 1
        knot = max(piece - 1, 0)
        damp = damper_y[i, knot] + damper_slopes[i, piece] * (speed - damper_x[i, knot])
        soft = friction[i, 1]
        rub = friction[i, 0] * speed / np.sqrt(speed * speed + soft * soft)
        total = f + damp + rub
        held = total * ratio
        other = int(wheels[i, 8])
        if other >= 0:
            z_other = state[3 + other] - state[0]
            z_other += wheels[other, 0] * sp - wheels[other, 1] * cp * sr
            held += bars[axle] * (z - (z_other * per_up - wheels[other, 2]))
        held_up = held * per_up
        # The tyre: a disc that leans with the body, squeezed from the hub straight down its plane.
        above = hub - ground
        squeeze = wheels[i, 4] - above * lean
        closing = (rise - hub_speed) * lean - above * spread
        grip = tyre = 0.0
        if squeeze > 0.0:
            grip = wheels[i, 5] * squeeze
            tyre = max(0.0, grip + wheels[i, 6] * closing)
        lift += held_up
        pitch_moment += tyre * above * lean_pitch - held * z_pitch
        roll_moment += tyre * above * lean_roll - held * z_roll
        load = tyre * lean
        rate[half + 3 + i] = (load - held_up) / unsprung - g
        rate[3 + i] = hub_speed
        arm += unsprung * hub
        given += load * rise
        lost_damper += damp * speed
        lost_friction += rub * speed
        lost_tyre += (tyre - grip) * closing
        mark = 4096 * mark + 8 * hints[i] + 4 * int(tyre > 0.0)
        mark += int(speed > -0.5 * soft) + int(speed > 0.5 * soft)
        seen[i, 0], seen[i, 1], seen[i, 2] = hub, z, s
        seen[i, 3], seen[i, 4], seen[i, 5] = speed, total, load
    rate[0] = state[half]
    rate[1] = rate[2] = rate[half + 1] = rate[half + 2] = 0.0
    rate[half] = lift / mass
    if n > 1:
        built = 1.0
        if t < track[4]:
            built = t / track[4]
        # Slowing tips the nose down: inertia at its height, tyre forces at the ground.
        push = -track[3] * built * arm
        rate[1] = state[half + 1]
        rate[half + 1] = (pitch_moment + push) / pitch_inertia
        given += push * state[half + 1]
        if n > 2:
            push = track[2] * built * arm
            rate[2] = state[half + 2]
            rate[half + 2] = (roll_moment + push) / roll_inertia
            given += push * state[half + 2]
    power[0], power[1], power[2], power[3] = given, lost_damper, lost_friction, lost_tyre
    return mark, metal


@njit(cache=True, error_model="numpy", nogil=True)
def run(
    state, dt, stride, count, wheels, body, links, steps, cells, spring_x, spring_y,
    spring_slopes, spring_count, damper_x, damper_y, damper_slopes, damper_count, guides, gas,
    friction, bars, cubics, track, places, sides, record, energy,
):  # fmt: skip
    """Run ``count`` steps from ``state``, changed in place; fill ``record`` and ``energy``.

    ``cubics``, ``track``, ``places`` and ``sides`` are the ground, how it is driven, and where on
    it each wheel is at time 0. A row of ``record`` is kept every ``stride`` steps. Returns how
    many steps were made: all of them, or fewer if a number ran away or the body turned past
    ``OVER``.
    """
    n = len(sides)
    size = 6 + 2 * n
    half = 3 + n
    trial, rate, gathered = np.empty(size), np.empty(size), np.empty(size)
    power, work = np.empty(4), np.empty(4)
    seen = np.empty((n, WHEEL))
    hints = np.zeros(n, dtype=np.int64)
    energy[:] = 0.0
    mark = 0
    for step in range(count + 1):
        pieces, made, h = 1, 0, dt
        while made < pieces:
            kink = False
            t = step * dt + made * h
            for stage in range(4):
                ahead = 0.0 if stage == 0 else h if stage == 3 else 0.5 * h
                for j in range(size):
                    trial[j] = state[j] + ahead * rate[j] if stage > 0 else state[j]
                side, metal = rates(
                    trial, rate, power, seen, hints, t + ahead, wheels, body, links, steps,
                    cells, spring_x, spring_y, spring_slopes, spring_count, damper_x, damper_y,
                    damper_slopes, damper_count, guides, gas, friction, bars, cubics, track,
                    places, sides,
                )  # fmt: skip
                if stage == 0:
                    mark, kink = side, metal
                    if pieces == 1:
                        if step % stride == 0:
                            row = step // stride
                            for j in range(3):
                                record[row, j] = state[j]
                                record[row, 3 + j] = rate[half + j]
                            for i in range(n):
                                for j in range(WHEEL):
                                    record[row, BODY + WHEEL * i + j] = seen[i, j]
                            # nan is not below either
                            if not abs(state[1]) + abs(state[2]) < OVER or state[0] != state[0]:
                                return step
                        if step == count:
                            return count
                    for j in range(size):
                        gathered[j] = rate[j]
                    for j in range(4):
                        work[j] = power[j]
                else:
                    kink = kink or side != mark
                    share = 1.0 if stage == 3 else 2.0
                    for j in range(size):
                        gathered[j] += share * rate[j]
                    for j in range(4):
                        work[j] += share * power[j]
            if kink and pieces == 1:
                pieces, h = PIECES, dt / PIECES
                continue
            for j in range(size):
                state[j] += h / 6.0 * gathered[j]
            for j in range(4):
                energy[j] += h / 6.0 * work[j]
            made += 1
    return count
