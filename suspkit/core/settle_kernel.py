"""The compiled core of settling: one rigid body on four nonlinear corners, many at once.

Compiled with numba on first use and cached on disk; nothing else imports numba. The equations
are written out in `suspkit.statics.settle`.
"""

import numpy as np
from numba import njit

MAX_STEPS = 200
STRIDE, CREEP = 0.1, 0.01  # rad; the most a step may swing the body
ENTRY, LEAST = 1 / 16, 1 / 256  # of a turn: how it is entered bit by bit, and the least bit
LEAP = 0.03  # rad; more than a bit of a turn should lean the body
CLOSE = 1e-5  # out of balance, relative, from where a turn's own slope is taken along
TIP_ANGLE = 0.7  # rad; past this the body is on its way over and the answer is "tipped"


@njit(cache=True, error_model="numpy")
def piecewise(at, x, y, before, after):
    """Value and right-hand slope of a piecewise-linear curve."""
    n = x.size
    if at < x[0]:
        return y[0] + before * (at - x[0]), before
    low, high = 0, n
    while high - low > 1:
        middle = (low + high) // 2
        if x[middle] <= at:
            low = middle
        else:
            high = middle
    if low == n - 1:
        return y[n - 1] + after * (at - x[n - 1]), after
    slope = (y[low + 1] - y[low]) / (x[low + 1] - x[low])
    return y[low] + slope * (at - x[low]), slope


@njit(cache=True, error_model="numpy")
def motion(z, step, cells, coefficients):
    """Shock compression, motion ratio and its slope at a wheel travel."""
    end = cells * step
    if z < 0.0:
        return coefficients[0, 0] + coefficients[0, 1] * z, coefficients[0, 1], 0.0
    inside = min(z, end)
    cell = min(int(inside / step), cells - 1)
    u = inside - cell * step
    c0, c1, c2, c3 = coefficients[cell]
    s = c0 + u * (c1 + u * (c2 + u * c3))
    ratio = c1 + u * (2.0 * c2 + u * 3.0 * c3)
    if z > end:
        return s + ratio * (z - end), ratio, 0.0
    return s, ratio, 2.0 * c2 + 6.0 * c3 * u


@njit(cache=True, error_model="numpy")
def shock_force(s, x, y, before, after, gas):
    """Force and rate of a shock at a compression: piecewise-linear part plus gas."""
    f, k = piecewise(s, x, y, before, after)
    area, pressure, volume, atmosphere = gas
    if area > 0.0:
        # Held off the pole of the gas law while a trial step looks past the metal limits.
        left = max(volume - area * s, 0.02 * volume)
        now = pressure * volume / left
        f += (now - atmosphere) * area
        k += now * area * area / left
    return f, k


@njit(cache=True, error_model="numpy", nogil=True)
def hang_many(x, y, before, after, gas, step, cells, coefficients, weight):
    """Wheel travel (N) at which each shock holds a hanging weight: F(s) ds/dz + weight = 0."""
    count = x.shape[0]
    found = np.empty(count)
    for n in range(count):
        # From just past full extension, wherever on the table that is.
        low = (-0.002 - coefficients[0, 0]) / coefficients[0, 1]
        high, z = cells * step, 0.02
        xn, yn, start, end = x[n], y[n], before[n], after[n]
        for _ in range(200):
            s, ratio, _bend = motion(z, step, cells, coefficients)
            f, k = shock_force(s, xn, yn, start, end, gas)
            pull = f * ratio + weight
            if pull < 0.0:
                low = z
            else:
                high = z
            new = z - pull / (k * ratio * ratio)
            if not low < new < high:
                new = 0.5 * (low + high)
            moved = abs(new - z)
            z = new
            if moved < 1e-14:
                break
        found[n] = z
    return found


@njit(cache=True, error_model="numpy")
def dot(a, b):
    """Scalar product, without the weight of a BLAS call."""
    total = 0.0
    for i in range(a.size):
        total += a[i] * b[i]
    return total


@njit(cache=True, error_model="numpy")
def factorise(a):
    """LDL' of a small symmetric matrix in place; stiffened where it is not convex."""
    n = a.shape[0]
    for j in range(n):
        d = a[j, j]
        for k in range(j):
            d -= a[j, k] ** 2 * a[k, k]
        floor = 1e-12 * abs(a[j, j]) + 1e-300
        if d < floor:
            d = max(abs(d), floor)
        a[j, j] = d
        for i in range(j + 1, n):
            v = a[i, j]
            for k in range(j):
                v -= a[i, k] * a[j, k] * a[k, k]
            a[i, j] = v / d


@njit(cache=True, error_model="numpy")
def substitute(a, b):
    """Solve for ``b`` in place, with ``a`` from `factorise`."""
    n = b.size
    for i in range(n):
        for k in range(i):
            b[i] -= a[i, k] * b[k]
    for i in range(n):
        b[i] /= a[i, i]
    for i in range(n - 1, -1, -1):
        for k in range(i + 1, n):
            b[i] -= a[k, i] * b[k]


@njit(cache=True, error_model="numpy")
def balance(
    q, body, wheels, gas, steps, cells, coefficients, x, y, before, after, drag, bars, g, h, tilt,
    seen,
):  # fmt: skip
    """Gradient ``g`` and Hessian ``h`` (lower half) of the potential energy at pose ``q``.

    ``q`` is (height of the origin, pitch, roll, four wheel travels); ``body`` is (weight, x, y, z
    of the sprung centre of gravity, lateral acceleration over g); a row of ``wheels`` is (x, y, z
    of the hub at zero travel, unsprung weight, tyre radius, tyre rate); a row of ``gas`` is (rod
    area, absolute pressure, volume, atmosphere). A row of ``seen`` gets (compression, motion
    ratio, its slope, shock force, shock rate, tyre load). The turn's moment on roll has no
    energy: it is taken off ``g``, and its own slope goes to ``tilt``. A wheel is a disc that leans
    with the frame; its tyre is squeezed in that plane, from the hub straight down it to the ground.
    """
    sp, cp = np.sin(q[1]), np.cos(q[1])
    sr, cr = np.sin(q[2]), np.cos(q[2])
    up = cp * cr
    # Way down a wheel's plane over height, (1 - m)^-1/2, and its slopes: pitch alone leaves it 1.
    m, mt, mr = cp * cp * sr * sr, -2.0 * cp * sp * sr * sr, 2.0 * cp * cp * sr * cr
    per_fall = 1.0 / (1.0 - m)
    lean = np.sqrt(per_fall)
    first, second = 0.5 * lean * per_fall, 0.75 * lean * per_fall * per_fall
    lt, lr = first * mt, first * mr
    ltt = second * mt * mt - first * 2.0 * (cp * cp - sp * sp) * sr * sr
    ltr = second * mt * mr - first * 4.0 * cp * sp * sr * cr
    lrr = second * mr * mr + first * 2.0 * cp * cp * (cr * cr - sr * sr)
    g[:] = 0.0
    h[:] = 0.0
    w, bx, by, bz, sideways = body
    arm = w * (q[0] - bx * sp + by * cp * sr + bz * cp * cr)
    g[0] = w
    g[1] = w * (-bx * cp - by * sp * sr - bz * sp * cr)
    g[2] = w * (by * cp * cr - bz * cp * sr)
    tilt[:3] = g[:3]
    h[1, 1] = w * (bx * sp - by * cp * sr - bz * cp * cr)
    h[2, 1] = w * (-by * sp * cr + bz * sp * sr)
    h[2, 2] = w * (-by * cp * sr - bz * cp * cr)
    for i in range(4):
        z = q[3 + i]
        axle = i // 2
        s, ratio, bend = motion(z, steps[axle], cells[axle], coefficients[axle])
        f, k = shock_force(s, x[i], y[i], before[i], after[i], gas[axle])
        f += drag[i]
        wx, wy, wz = wheels[i, 0], wheels[i, 1], wheels[i, 2] + z
        wu, radius, kt = wheels[i, 3], wheels[i, 4], wheels[i, 5]
        rt = -wx * cp - wy * sp * sr - wz * sp * cr
        rr = wy * cp * cr - wz * cp * sr
        hub = q[0] - wx * sp + wy * cp * sr + wz * cp * cr
        # From hub to ground down the wheel's plane, and its slopes.
        stands = hub * lean
        st, sl, sz = rt * lean + hub * lt, rr * lean + hub * lr, up * lean
        grip = kt if radius > stands else 0.0
        push = grip * (radius - stands)
        arm += wu * hub
        tilt[0] += wu
        tilt[1] += wu * rt
        tilt[2] += wu * rr
        tilt[3 + i] = wu * up
        g[0] += wu - push * lean
        g[1] += wu * rt - push * st
        g[2] += wu * rr - push * sl
        other = i + 1 if i % 2 == 0 else i - 1
        bar = bars[axle]
        g[3 + i] = f * ratio + wu * up - push * sz + bar * (z - q[3 + other])
        seen[i, 0], seen[i, 1], seen[i, 2], seen[i, 3], seen[i, 4] = s, ratio, bend, f, k
        seen[i, 5] = push * lean
        zt, zr = -sp * cr, -cp * sr
        htt = wx * sp - wy * cp * sr - wz * up
        htr = -wy * sp * cr + wz * sp * sr
        hrr = -wy * cp * sr - wz * up
        h[0, 0] += grip * lean * lean
        h[1, 0] += grip * st * lean - push * lt
        h[2, 0] += grip * sl * lean - push * lr
        h[1, 1] += grip * st * st - push * (htt * lean + 2.0 * rt * lt + hub * ltt) + wu * htt
        h[2, 1] += grip * st * sl + wu * htr
        h[2, 1] -= push * (htr * lean + rt * lr + rr * lt + hub * ltr)
        h[2, 2] += grip * sl * sl - push * (hrr * lean + 2.0 * rr * lr + hub * lrr) + wu * hrr
        h[3 + i, 0] = grip * sz * lean
        h[3 + i, 1] = grip * st * sz - push * (zt * lean + up * lt) + wu * zt
        h[3 + i, 2] = grip * sl * sz - push * (zr * lean + up * lr) + wu * zr
        h[3 + i, 3 + i] += k * ratio * ratio + f * bend + grip * sz * sz + bar
        if i % 2 == 0:
            h[4 + i, 3 + i] = -bar
    # Inertia at its height against the tyres at the ground.
    g[2] -= sideways * arm
    for i in range(7):
        tilt[i] *= sideways


@njit(cache=True, error_model="numpy")
def approach(
    q, mass, wheels, gas, steps, cells, coefficients, x, y, before, after, drag, bars, unit, tol,
    swing, furthest, scratch, seen,
):  # fmt: skip
    """Newton's method from pose ``q``, changed in place, in steps of ``swing`` or less.

    Returns the relative residual and the state: 0 settled, 1 leaning further than
    ``furthest``, 2 not found.
    """
    g, h, step, trial, trial_g, trial_h, tilt, turned = scratch
    balance(q, mass, wheels, gas, steps, cells, coefficients, x, y, before, after, drag, bars,
            g, h, tilt, seen)  # fmt: skip
    for _ in range(MAX_STEPS):
        worst = 0.0
        for i in range(7):
            share = abs(g[i]) / unit[i]
            if share > worst or share != share:  # once nan it stays so
                worst = share
        if worst < tol:
            return worst, 0
        if max(abs(q[1]), abs(q[2])) > furthest:
            return worst, 1
        for i in range(7):
            step[i] = -g[i]
        factorise(h)
        substitute(h, step)
        if mass[4] != 0.0 and worst < CLOSE:
            # The moment's slope is one more row (Sherman and Morrison's formula). Far off, the
            # step without it is the safer one: it stays short of a narrow balance.
            turned[:] = 0.0
            turned[2] = 1.0
            substitute(h, turned)
            left = 1.0 - dot(tilt, turned)
            if left > 0.05:
                more = dot(tilt, step) / left
                for i in range(7):
                    step[i] += more * turned[i]
        # No step may swing the body through more than a few degrees or the wheel through more
        # than a hand: the curves bend too much beyond. Off the ground nothing else ends a step.
        reach = max(abs(step[0]), abs(step[1]) / swing, abs(step[2]) / swing)
        for i in range(4):
            reach = max(reach, abs(step[3 + i]) / 0.15)
        size = 1.0 / max(1.0, reach)
        slope = dot(g, step)
        # Along the step the energy falls until its slope turns; past a kink halve the step.
        for _ in range(40):
            for i in range(7):
                trial[i] = q[i] + size * step[i]
            balance(trial, mass, wheels, gas, steps, cells, coefficients, x, y, before, after,
                    drag, bars, trial_g, trial_h, tilt, seen)  # fmt: skip
            there = dot(trial_g, step)
            if there <= 0.9 * abs(slope):
                break
            # Secant for where the slope turns, kept away from both ends.
            size *= min(0.9, max(0.1, slope / (slope - there)))
        for i in range(7):
            q[i] = trial[i]
        g, trial_g = trial_g, g
        h, trial_h = trial_h, h
    return worst, 2


@njit(cache=True, error_model="numpy")
def begin(q, weight, wheels, steps, cells):
    """Put pose ``q`` level, its wheels where they may come to be."""
    q[:] = 0.0
    for i in range(4):
        axle = i // 2
        q[3 + i] = 0.4 * steps[axle] * cells[axle]
        sunk = 0.25 * weight / wheels[i, 5]
        q[0] += 0.25 * (wheels[i, 4] - wheels[i, 2] - q[3 + i] - sunk)


@njit(cache=True, error_model="numpy")
def enter(
    q, was, mass, wheels, gas, steps, cells, coefficients, x, y, before, after, drag, bars, unit,
    tol, scratch, seen,
):  # fmt: skip
    """Enter a turn from the straight bit by bit, and in smaller bits where it would leap.

    Arguments and answer as of `approach`; ``was`` is room for a pose.
    """
    turn, reached, part = mass[4], 0.0, ENTRY
    mass[4] = 0.0
    worst, state = approach(
        q, mass, wheels, gas, steps, cells, coefficients, x, y, before, after, drag, bars, unit,
        tol, CREEP, TIP_ANGLE, scratch, seen,
    )  # fmt: skip
    while state != 1 and reached < 1.0:
        was[:] = q
        ahead = min(1.0, reached + part)
        mass[4] = ahead * turn
        furthest = max(abs(q[1]), abs(q[2])) + LEAP if part > LEAST else TIP_ANGLE
        worst, state = approach(
            q, mass, wheels, gas, steps, cells, coefficients, x, y, before, after, drag, bars,
            unit, tol, CREEP, furthest, scratch, seen,
        )  # fmt: skip
        if part > LEAST and state != 0:
            q[:] = was
            state, part = 0, 0.5 * part
        else:
            reached, part = ahead, min(ENTRY, 2.0 * part)
    return worst, state


@njit(cache=True, error_model="numpy", nogil=True)
def settle_many(
    body, wheels, gas, steps, cells, coefficients, x, y, before, after, drag, bars, scale, tol
):
    """Settle each row of a batch; the knots ``x`` and ``y`` are (N, 4, K).

    Returns pose (N, 7), what each corner saw (N, 4, 6), relative residual (N), and state (N):
    0 settled, 1 tipped, 2 not found.
    """
    count = body.shape[0]
    pose = np.empty((count, 7))
    seen = np.empty((count, 4, 6))
    worst = np.empty(count)
    state = np.zeros(count, dtype=np.int64)
    scratch = (
        np.empty(7), np.empty((7, 7)), np.empty(7), np.empty(7), np.empty(7), np.empty((7, 7)),
        np.empty(7), np.empty(7),
    )  # fmt: skip
    unit, was, mass = np.empty(7), np.empty(7), np.empty(5)
    for n in range(count):
        unit[:] = body[n, 0]
        unit[1:3] *= scale
        # Views made once: each costs about as much as a curve's look-up.
        q, held, bar, sight = pose[n], drag[n], bars[n], seen[n]
        xn, yn, low, high = x[n], y[n], before[n], after[n]
        mass[:] = body[n]
        begin(q, body[n, 0], wheels, steps, cells)
        worst[n], state[n] = approach(
            q, mass, wheels, gas, steps, cells, coefficients, xn, yn, low, high, held, bar, unit,
            tol, STRIDE, TIP_ANGLE, scratch, sight,
        )  # fmt: skip
        # A turn may carry it past a narrow balance, or, a wheel in the air, to a second one that
        # leans further.
        if body[n, 4] != 0.0 and (state[n] != 0 or sight[:, 5].min() <= 0.0):
            begin(q, body[n, 0], wheels, steps, cells)
            worst[n], state[n] = enter(
                q, was, mass, wheels, gas, steps, cells, coefficients, xn, yn, low, high, held,
                bar, unit, tol, scratch, sight,
            )  # fmt: skip
    return pose, seen, worst, state
