"""Vehicle files drawn at random that hang together: weights, rates, linkages, springs, set-up.

Every draw is our judgement of the class. A vehicle is designed as a shop would: the springs are
wound for the weight and the travel they have, the thread for the springs, and the targets are
where it stands, read to an eighth of an inch.
"""

import copy
import tomllib
from pathlib import Path

import numpy as np

from suspkit.parts.wire import Wire
from suspkit.units import INCH, POUND_FORCE
from suspkit.vehicle.setup import AXLES

EXAMPLE = tomllib.loads((Path(__file__).parents[2] / "data" / "unit7.toml").read_text())
SIXTEENTH = 1 / 16


def inches(value):
    """As a tape reads it."""
    return f"{round(value / SIXTEENTH) * SIXTEENTH:.10g} in"


def drawn(rng):
    """One vehicle file as a parsed tree; its springs are in it.

    Parameters
    ----------
    rng : numpy.random.Generator

    Returns
    -------
    dict
    """
    while True:
        tree = _tree(rng)
        if all(float(tree[axle]["shock"]["extended_length"][:-3]) < LONGEST for axle in AXLES):
            return tree


LONGEST = 46
"""A longer shock finds no room in such a vehicle [in]."""


def _tree(rng):
    u = rng.uniform
    tree = copy.deepcopy(EXAMPLE)
    del tree["rack"]
    wheelbase, total, share = u(78, 130), u(1150, 2600), u(0.38, 0.48)
    tree |= {"name": "Drawn", "about": "INVENTED", "wheelbase": inches(wheelbase), "springs": {}}
    track, radius = u(52, 72), u(13, 17.5)
    squeeze, height, position = u(0.026, 0.045), u(10.5, 15), u(0.38, 0.5)
    travel, ratio, own = u(12.5, 18.5), u(0.5, 0.64), u(0.12, 0.18)
    people = round(u(130, 230)), round(u(120, 220))
    aboard = sum(people) + 60
    inside = u(2.4, 3.2)
    pitch = int(rng.choice([12, 16, 20]))
    axles = {}
    for axle in ("front", "rear"):
        part = share if axle == "front" else 1 - share
        weight = part * total / 2
        for side in ("left", "right"):
            off = u(-0.025, 0.025)
            tree["scales"][f"{axle}_{side}"] = f"{weight * (1 + off):.0f} lb"
        laden = weight + aboard / 4
        axles[axle] = _axle(
            rng, tree, axle, weight, laden, track=track + u(-1, 1), radius=radius,
            squeeze=squeeze * u(0.95, 1.05), height=height + u(-0.5, 0.5),
            position=position + u(-0.04, 0.04), travel=travel * u(0.94, 1.08),
            ratio=ratio * u(0.93, 1.08), own_share=own * u(0.9, 1.1),
            wheelbase=wheelbase, inside=inside, pitch=pitch,
        )  # fmt: skip
    tree["scales"]["sprung_cg_above_frame"] = inches(u(9, 17))
    seat, row = 0.43 * wheelbase, u(11, 15)
    left = 1 if rng.random() < 0.7 else -1

    def place(mass, behind, side, above):
        return {
            "mass": f"{mass:.0f} lb", "behind_front_axle": inches(behind),
            "left_of_centre": inches(side), "above_frame": inches(above),
        }  # fmt: skip

    tree["items"] = {
        "driver": place(people[0], seat, left * row, u(13, 19)),
        "mate": place(people[1], seat, -left * row, u(13, 19)),
        "box": place(u(30, 90), wheelbase * u(0.85, 1.05), 0, u(15, 28)),
    }
    tree["loads"] = {
        "bare": {"items": []}, "crew": {"items": ["driver", "mate", "box"]},
    }  # fmt: skip
    tree["stacks"] = {axle: axles[axle][0] for axle in axles}
    tree["setups"] = {"kit": {axle: axles[axle][1] for axle in axles}}
    tree["targets"] = {"load": "crew"} | {
        axle: {"ride_height": inches(height)} for axle in ("front", "rear")
    }
    return tree


def _axle(rng, tree, axle, weight, laden, *, track, radius, squeeze, height, position, travel,
          ratio, own_share, wheelbase, inside, pitch):  # fmt: skip
    u, own = rng.uniform, tree[axle]
    unsprung = weight * own_share
    sprung = laden - unsprung
    rise = u(-0.05, 0.15)  # of the motion ratio over the travel
    at = np.linspace(0, 1, 11)
    squeezed = travel * ratio * ((1 - rise / 2) * at + rise / 2 * at**2)
    stroke = round(squeezed[-1] / u(1.0, 1.025) * 8) / 8
    if stroke > squeezed[-1]:
        stroke -= 0.125
    standing = position * stroke
    hub_travel = float(np.interp(standing, squeezed, at * travel))
    here = ratio * (1 - rise / 2 + rise * hub_travel / travel)
    rod, pressure = 0.875 if weight > 350 else 0.75, u(110, 210)
    gas = pressure * np.pi / 4 * rod**2 * 1.15
    turns = round(u(2, 6) * 2) / 2
    preload = turns / pitch
    force = sprung / here - gas
    series = force / (standing + preload)
    more = u(1.7, 2.6)  # main over both in series
    main, tender = series * more, series * more / (more - 1)
    crossing = standing + u(0.06, 0.2) * stroke
    springs = {}
    need = {
        "main": series * (crossing + preload) / main + stroke - crossing,
        "tender": series * (crossing + preload) / tender,
    }
    length = 0.375
    for name, rate in (("tender", tender), ("main", main)):
        spring = _wound(rng, rate, need[name] + u(0.35, 0.9), inside)
        springs[f"{axle}-{name}"] = spring
        length += float(spring["free_length"].split()[0])
    tree["springs"] |= springs
    first, last = springs.values()
    gap = need["tender"] - preload * main / (main + tender) - 0.125
    # The collar meets the loose stack an inch or two down its thread.
    contact, hang = u(0.8, 2), 0.5
    span = length + hang + contact
    ring = contact + float(first["free_length"].split()[0]) - gap
    own |= {
        "track": inches(track), "unsprung_mass": f"{unsprung:.0f} lb",
        "hub_below_frame": inches(height - radius * (1 - squeeze) + hub_travel),
        "tyre": {"radius": inches(radius), "rate": f"{laden / (squeeze * radius):.0f} lb/in"},
        "point": {
            "behind_front_axle": inches((0 if axle == "front" else wheelbase) + u(-12, 12)),
            "left_of_centre": inches(u(8, 14)),
        },
        "linkage": {
            "travel": [inches(x) for x in at * travel],
            "eye_to_eye": [],
        },
    }  # fmt: skip
    extended = round(max(span / u(0.78, 0.88), 2.5 * stroke) * 8) / 8
    own["linkage"]["eye_to_eye"] = [
        inches(extended - x + (u(-0.03, 0.03) if 0 < i < 10 else 0)) for i, x in enumerate(squeezed)
    ]
    shock = own["shock"]
    stop = u(1.4, 2.4)
    shock |= {"extended_length": inches(extended), "stroke": inches(stroke),
              "friction": f"{u(10, 30):.0f} lbf"}  # fmt: skip
    volume = stroke * np.pi / 4 * rod**2 / u(0.2, 0.32)
    shock["gas"] |= {"rod_diameter": f"{rod} in", "pressure": f"{pressure:.0f} psi",
                     "volume": f"{volume:.1f} in**3"}  # fmt: skip
    # The turns take up what the top-out spring holds the shaft in.
    top, held = u(1.2, 2), preload * u(0.3, 0.8)
    pull = pressure * np.pi / 4 * rod**2 + unsprung / (ratio * (1 - rise / 2))
    shock["top_out"] = {"rate": f"{pull / (top - held):.0f} lb/in", "length": f"{top:.3g} in"}
    shock["bump_stop"] = {
        "free_length": inches(stop),
        "table": [[inches(part * stop), f"{f:.0f} lbf"] for part, f in
                  zip((0.2, 0.4, 0.6, 0.75), (60, 180, 480, u(1000, 1800)), strict=True)],
    }  # fmt: skip
    shock["thread"] |= {
        "seat_span": inches(span), "collar_travel": inches(contact + preload + u(2, 4)),
        "collar_pitch": f"{pitch} per in", "ring_pitch": f"{pitch} per in",
        "ring_lowest": inches(max(ring, contact + 2) + u(1.5, 3)), "ring_height": "1-1/4 in",
    }  # fmt: skip
    clicks = int(rng.choice([12, 16, 20]))
    for way in ("compression", "rebound"):
        shock["clickers"][way]["count"] = clicks
    shock["damper"]["rod_diameter"] = f"{rod} in"
    set_up = {"stack": axle, "turns": turns, "gap": inches(gap),
              "clicks": dict.fromkeys(("compression", "rebound"), clicks // 2)}  # fmt: skip
    return {"springs": list(springs), "rings_below": [f"{axle}-tender"]}, set_up


def _wound(rng, rate, travel, inside):
    """A spring of that rate [lb/in] with that much travel [in], its wire thick enough."""
    bind = rate * travel * POUND_FORCE
    for wire in np.arange(0.25, 0.95, 1 / 64):
        coil = {"wire_diameter": wire * INCH, "mean_diameter": (inside + wire) * INCH}
        one = Wire(**coil, total_coils=10.0, scragged=True)
        coils = 2 + 8 * one.rate / (rate * POUND_FORCE / INCH)
        one = Wire(**coil, total_coils=coils, scragged=True)
        if one.safety_factor(bind) > 1.22 and coils > 4:
            break
    solid = float(one.solid_length) / INCH
    rated = rate * rng.uniform(0.97, 1.03)
    return {
        "rate": f"{rated:.0f} lb/in", "free_length": inches(solid + travel),
        "solid_length": inches(solid * rng.uniform(0.98, 1.02)),
        "wire": {"wire_diameter": f"{wire:.10g} in", "mean_diameter": f"{inside + wire:.4g} in",
                 "total_coils": round(coils, 2), "scragged": True},
    }  # fmt: skip
