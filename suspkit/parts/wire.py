"""Round wire wound into a helical compression spring: rate, stress, mass, surge and buckling.

Everything here follows from a tape, a caliper and the name of the steel. How the spring behaves in
a stack (its force law, where it binds) is another room's business; this one says what the metal is
and how hard it may be worked.

References
----------
- Budynas and Nisbett, *Shigley's Mechanical Engineering Design*, 10th ed., chapter 10.
- *Machinery's Handbook*, 31st ed., Spring Design Table 3, "Formulas for Compression Springs".
"""

from dataclasses import dataclass, fields, replace
from typing import Any, Literal

import numpy as np

from suspkit.units import INCH, Density, Modulus, PositiveLength, PositiveNumber

__all__ = [
    "MATERIALS",
    "Ends",
    "Factor",
    "Material",
    "Wire",
    "buckles",
    "buckling_deflection",
    "critical_slenderness",
    "stress_factor",
]

Ends = Literal["plain", "plain-ground", "squared", "squared-ground"]
Factor = Literal["bergstrasser", "wahl", "direct-shear", "none"]

MM = 1e-3
GPA = 1e9
MPA = 1e6


def _checked(name: str, value: Any, expected: str, accepts=lambda x: x > 0) -> Any:
    """Return `value` as a float or a float array, or say what was expected instead."""
    array = np.asarray(value)
    # Strings, booleans and None would otherwise slip through as numbers.
    if array.dtype.kind not in "iuf" or not np.all(np.isfinite(array) & accepts(array)):
        raise ValueError(f"{name} is {value!r}; expected {expected}.")
    return float(array) if array.ndim == 0 else array.astype(float)


@dataclass(frozen=True, kw_only=True)
class Material:
    """A spring steel as drawn into wire.

    Parameters
    ----------
    name : str
        The name a vehicle file uses.
    shear_modulus, youngs_modulus : float
        Elastic moduli [Pa]; ``youngs_modulus`` is the larger.
    density : float
        Mass per volume [kg/m**3].
    tensile_a : float
        Tensile strength of 1 mm wire [MPa*mm**m]. The odd unit is kept because it is the printed
        one, so the number can be compared with the table it came from.
    tensile_m : float
        Exponent of the fall of strength with wire diameter [-].
    shear_yield_fraction : float
        Shear stress at which the spring takes a set, over the tensile strength [-].
    diameter_range_mm : tuple of float
        Smallest and largest wire diameter the tensile constants were fitted to [mm].

    Raises
    ------
    ValueError
        If a number is not positive, or the moduli or the diameters are in the wrong order.
    """

    name: str
    shear_modulus: Modulus
    youngs_modulus: Modulus
    density: Density
    tensile_a: PositiveNumber
    tensile_m: PositiveNumber
    shear_yield_fraction: PositiveNumber
    diameter_range_mm: tuple[PositiveNumber, PositiveNumber]

    def __post_init__(self):
        for field in fields(self)[1:-1]:
            _checked(field.name, getattr(self, field.name), "a positive number")
        if not np.all(np.asarray(self.youngs_modulus) > self.shear_modulus):
            raise ValueError(
                f"youngs_modulus is {self.youngs_modulus!r}; "
                f"expected more than the shear modulus {self.shear_modulus!r} Pa."
            )
        thinnest, thickest = self.diameter_range_mm
        if not 0 < thinnest < thickest:
            raise ValueError(
                f"diameter_range_mm is {self.diameter_range_mm!r}; "
                "expected two positive diameters, the smaller first."
            )

    def tensile_strength(self, wire_diameter):
        """Least tensile strength of wire of this diameter.

        Parameters
        ----------
        wire_diameter : float or array
            Wire diameter [m].

        Returns
        -------
        float or array
            Tensile strength [Pa]; an extrapolation outside ``diameter_range_mm``.

        Notes
        -----
        ``Sut = A / d**m``, Shigley Eq. 10-14.
        """
        wire_diameter = _checked("wire_diameter", wire_diameter, "a positive length in metres")
        return self.tensile_a * MPA / (wire_diameter / MM) ** self.tensile_m


THIN_SAFETY = 1.2
"""Less safety against set than this is a thin margin [-]: the least that Shigley recommends of a
spring pressed solid (Eq. 10-21, read in a public transcription)."""

SCRAGGED_MORE = 0.15
"""What Ssy/Sut gains where the maker set the spring solid: from 0.45 to 0.60 for cold-drawn wire,
from 0.50 to 0.65 for hardened and tempered wire, the low ends of Shigley Table 10-6 after set
removal (0.65 read in a public transcription, 0.60 from memory) [-]. That table's shares after set
removal go with the stress by the direct-shear factor Ks, those before with KB or KW (read so)."""

# Where the numbers come from.
#   tensile_a, tensile_m: Shigley Table 10-4. music-wire and oil-tempered were read in the 10th ed.
#     problem solutions; the other three are from memory and agree with a public transcription of
#     the table. Another set circulates (2060/0.163, 1610/0.193, ...) and must never be mixed in:
#     each pair is one fit, and an A from one set with an m from the other is nobody's steel.
#   diameter_range_mm: Shigley Table 10-4, from memory, agreeing with that transcription.
#   shear_modulus, youngs_modulus: Shigley Table 10-5 (9th ed., read; the chrome-silicon row from
#     memory and the transcription). Music and hard-drawn wire are tabled by diameter; these are
#     the rows for wire over 1/8 in, the only size a suspension spring comes in. Thinner wire is
#     up to 3.5 % stiffer: give the Wire its own shear_modulus.
#   shear_yield_fraction: Shigley Table 10-6, most allowable fraction of Sut before set is removed:
#     0.45 for music wire (read, Prob. 10-3), 0.50 for oil-tempered (read, Prob. 10-5); the others
#     from memory: 0.45 for cold-drawn carbon wire, 0.50 for hardened and tempered carbon and
#     low-alloy wire. A scragged spring stands more; see SCRAGGED_MORE.
#   density: 7850 kg/m3, the common round figure for carbon and low-alloy steel.
MATERIALS: dict[str, Material] = {
    name: Material(
        name=name, shear_modulus=g * GPA, youngs_modulus=e * GPA, density=7850.0, tensile_a=a,
        tensile_m=m, shear_yield_fraction=share, diameter_range_mm=(thin, thick),
    )
    for name, g, e, a, m, share, thin, thick in (
        ("music-wire", 80.0, 193.0, 2211.0, 0.145, 0.45, 0.10, 6.5),  # ASTM A228
        ("hard-drawn", 78.6, 196.5, 1783.0, 0.190, 0.45, 0.7, 12.7),  # ASTM A227
        ("oil-tempered", 77.2, 196.5, 1855.0, 0.187, 0.50, 0.5, 12.7),  # ASTM A229
        ("chrome-vanadium", 77.2, 203.4, 2005.0, 0.168, 0.50, 0.8, 11.1),  # ASTM A232
        # What suspension springs are mostly wound from (common practice, no source). Their wire
        # is often thicker than the table goes, so the strength is then an extrapolation and
        # Wire.cautions() says so.
        ("chrome-silicon", 77.2, 203.4, 1974.0, 0.108, 0.50, 1.6, 9.5),  # ASTM A401
    )
}  # fmt: skip
"""Spring steels by the name a vehicle file uses."""


def _material(material: str | Material) -> Material:
    if isinstance(material, Material):
        return material
    if material not in MATERIALS:
        shown, known = repr(material)[:80], ", ".join(MATERIALS)
        raise ValueError(f"material is {shown}; expected one of {known}.")
    return MATERIALS[material]


_STRESS_FACTORS = {
    "bergstrasser": lambda c: (4 * c + 2) / (4 * c - 3),
    "wahl": lambda c: (4 * c - 1) / (4 * c - 4) + 0.615 / c,
    "direct-shear": lambda c: 1.0 + 0.5 / c,
    "none": lambda c: 1.0 + 0.0 * c,  # keeps the shape of an array
}


def stress_factor(spring_index, *, factor: Factor = "bergstrasser"):
    """How much the curve of the coil raises the shear stress above that of a straight bar.

    Parameters
    ----------
    spring_index : float or array
        Mean coil diameter over wire diameter, C, above 1 [-].
    factor : {"bergstrasser", "wahl", "direct-shear", "none"}
        Which correction; "direct-shear" leaves the curve out, and "none" is the straight bar in
        torsion alone.

    Returns
    -------
    float or array
        Multiplier of ``8 F D / (pi d**3)`` [-].

    Raises
    ------
    ValueError
        If `factor` is none of these, or the index is not above 1.

    Notes
    -----
    Bergsträsser ``(4C + 2)/(4C - 3)``, Shigley Eq. 10-5, is the default as it is there; Wahl
    ``(4C - 1)/(4C - 4) + 0.615/C``, Eq. 10-4, reads up to 1.4 % higher for C of 4 or more. Direct
    shear ``Ks = (2C + 1)/(2C)``, Eq. 10-3, is 8 to 15 % lower for C of 10 down to 5.
    """
    if factor not in _STRESS_FACTORS:
        raise ValueError(f"factor is {factor!r}; expected one of {', '.join(_STRESS_FACTORS)}.")
    index = _checked("spring_index", spring_index, "a number above 1", lambda c: c > 1)
    return _STRESS_FACTORS[factor](index)


@dataclass(frozen=True)
class _End:
    """What an end type does to the coil count, all in coils (so lengths are multiples of d)."""

    inactive: int  # Na = Nt - inactive
    solid: int  # Ls = (Nt + solid) d
    flat: int  # L0 = pitch * pitches + flat * d
    partial: int  # pitches = Na + partial


# Machinery's Handbook 31, Spring Design Table 3 (read); the same as Shigley Table 10-1.
_ENDS = {
    "plain": _End(inactive=0, solid=1, flat=1, partial=0),
    "plain-ground": _End(inactive=1, solid=0, flat=0, partial=1),
    "squared": _End(inactive=2, solid=1, flat=3, partial=0),
    "squared-ground": _End(inactive=2, solid=0, flat=2, partial=0),
}

# Outside these the formulas are no longer those of a wound coil (our own bounds); inside the
# narrower ones a spring is readily made (Shigley Eq. 10-18, from memory).
_INDEX_LIMITS = (3.0, 25.0)
_INDEX_PREFERRED = (4.0, 12.0)


@dataclass(frozen=True, kw_only=True)
class Wire:
    """A cylindrical helical compression spring of round wire.

    Any of the numbers may be an array (a spread of wire diameters, say); they broadcast together.

    Parameters
    ----------
    wire_diameter : float or array
        Diameter of the wire, d [m].
    mean_diameter : float or array
        Coil diameter to the middle of the wire, D [m]. A caliper over the outside reads D + d.
    total_coils : float or array
        All coils, counting the dead ones at the ends, Nt [-].
    ends : {"squared-ground", "squared", "plain-ground", "plain"}
        How the ends are finished. Squared and ground, the default, is what a suspension spring
        that sits on a flat seat has.
    material : str or Material
        One of the known steels; in Python also a `Material` of your own.
    shear_modulus : float or array, optional
        Measured or catalogue shear modulus, G [Pa], in place of the material's.
    scragged : bool, optional
        Whether the maker pressed the spring solid to set it ("set removed"), as is usual for
        suspension springs (common practice, no source). It then stands 0.15 of its tensile
        strength more than its steel does, and the peak of stress at the inside of the coil has
        been yielded away.

    Raises
    ------
    ValueError
        If a number is not positive, no coil is left active, the spring index is outside 3 to 25,
        or the ends or material are unknown.

    Notes
    -----
    The formulas are for small helix angles and uniform pitch. Values that are usable but outside
    what their sources recommend are not errors: ask ``cautions()``.

    Examples
    --------
    A suspension spring by tape and caliper:

    >>> wire = Wire(wire_diameter=12e-3, mean_diameter=100e-3, total_coils=10)
    >>> round(wire.rate), round(wire.solid_length, 3), round(float(wire.surge_frequency), 1)
    (25013, 0.12, 52.9)
    """

    wire_diameter: PositiveLength
    mean_diameter: PositiveLength
    total_coils: PositiveNumber
    ends: Ends = "squared-ground"
    material: str | Material = "chrome-silicon"
    shear_modulus: Modulus | None = None
    scragged: bool = False

    def __post_init__(self):
        expected = {
            "wire_diameter": "a positive length in metres",
            "mean_diameter": "a positive length in metres",
            "total_coils": "a positive number of coils",
            "shear_modulus": "a positive modulus in pascals",
        }
        for name, wanted in expected.items():
            if name == "shear_modulus" and self.shear_modulus is None:
                continue
            # Frozen to others; this only turns lists and integers into floats, once.
            object.__setattr__(self, name, _checked(name, getattr(self, name), wanted))
        if self.ends not in _ENDS:
            raise ValueError(f"ends is {self.ends!r}; expected one of {', '.join(_ENDS)}.")
        inactive = _ENDS[self.ends].inactive
        _checked(
            "total_coils",
            self.total_coils,
            f"more than the {inactive} inactive coils of {self.ends} ends",
            lambda coils: coils > inactive,
        )
        low, high = _INDEX_LIMITS
        _checked(
            "spring index mean_diameter/wire_diameter",
            self.spring_index,
            f"{low:g} to {high:g}",
            lambda index: (index >= low) & (index <= high),
        )
        _ = self.steel  # an unknown material or an override above E must fail here, not later

    @property
    def steel(self) -> Material:
        """The material, with this spring's own shear modulus if it was given one."""
        steel = _material(self.material)
        if self.shear_modulus is None:
            return steel
        return replace(steel, shear_modulus=self.shear_modulus)

    @property
    def spring_index(self):
        """Mean diameter over wire diameter, C [-]."""
        return self.mean_diameter / self.wire_diameter

    @property
    def outer_diameter(self):
        """Over the outside of the unloaded coils [m]; it grows a little as the spring is loaded."""
        return self.mean_diameter + self.wire_diameter

    @property
    def inner_diameter(self):
        """Inside the coils [m]: what must clear the shock body."""
        return self.mean_diameter - self.wire_diameter

    @property
    def active_coils(self):
        """Coils free to twist, Na [-]."""
        return self.total_coils - _ENDS[self.ends].inactive

    @property
    def rate(self):
        """Force per deflection, ``d**4 G / (8 D**3 Na)`` [N/m] (Shigley Eq. 10-9)."""
        twist = self.wire_diameter**4 * self.steel.shear_modulus
        return twist / (8 * self.mean_diameter**3 * self.active_coils)

    @property
    def solid_length(self):
        """Length with every coil touching, Ls [m] (Machinery's Handbook 31, Table 3)."""
        return (self.total_coils + _ENDS[self.ends].solid) * self.wire_diameter

    @property
    def mass(self):
        """Mass of the whole spring, dead coils included [kg].

        Wire length is taken as ``pi D Nt``: the rise of the helix (under 1 % longer for a
        pitch up to 0.44 D) and the steel ground off the ends are left out.
        """
        return self._mass_of(self.total_coils)

    @property
    def active_mass(self):
        """Mass of the active coils alone, ``pi**2 d**2 D Na rho / 4`` [kg]: what surges."""
        return self._mass_of(self.active_coils)

    def _mass_of(self, coils):
        section = np.pi * self.wire_diameter**2 / 4
        return self.steel.density * section * np.pi * self.mean_diameter * coils

    @property
    def surge_frequency(self):
        """Lowest frequency of the coils themselves between two flat seats [Hz].

        ``sqrt(k/m)/2`` with the mass of the active coils (Rao, *Mechanical Vibrations*; Shigley
        Eq. 10-25).
        """
        return np.sqrt(self.rate / self.active_mass) / 2

    @property
    def tensile_strength(self):
        """Least tensile strength of this wire, ``A / d**m`` [Pa] (Shigley Eq. 10-14)."""
        return self.steel.tensile_strength(self.wire_diameter)

    @property
    def shear_yield(self):
        """Shear stress at which the spring takes a set, Ssy [Pa]."""
        fraction = self.steel.shear_yield_fraction + SCRAGGED_MORE * self.scragged
        return fraction * self.tensile_strength

    def shear_stress(self, force, *, factor: Factor | None = None):
        """Largest shear stress in the wire, the one that `shear_yield` is a limit of.

        Parameters
        ----------
        force : float or array
            Load along the spring, positive in compression [N].
        factor : {"bergstrasser", "wahl", "direct-shear", "none"}, optional
            See `stress_factor`. If not given, the one that belongs to the strength: direct shear
            for a spring set solid, Bergsträsser at the inside of the coil for any other.

        Returns
        -------
        float or array
            Shear stress, with the sign of the force [Pa].

        Notes
        -----
        ``K 8 F D / (pi d**3)``, Shigley Eq. 10-7.
        """
        factor = factor or ("direct-shear" if self.scragged else "bergstrasser")
        force = np.asarray(force, dtype=float)[()]
        straight_bar = 8 * force * self.mean_diameter / (np.pi * self.wire_diameter**3)
        return stress_factor(self.spring_index, factor=factor) * straight_bar

    def safety_factor(self, force, *, factor: Factor | None = None):
        """How many times the stress could grow before the spring takes a set.

        Parameters
        ----------
        force : float or array
            Load along the spring [N]; its sign does not matter.
        factor : {"bergstrasser", "wahl", "direct-shear", "none"}, optional
            As for `shear_stress`.

        Returns
        -------
        float or array
            Shear yield over shear stress [-]; infinite at zero force.
        """
        stress = np.abs(self.shear_stress(force, factor=factor))
        with np.errstate(divide="ignore"):
            return np.divide(self.shear_yield, stress)

    def pitch(self, free_length):
        """Distance from coil to coil of the unloaded spring.

        Parameters
        ----------
        free_length : float or array
            Unloaded length, L0 [m].

        Returns
        -------
        float or array
            Pitch between active coils [m]; one wire diameter when the spring is solid.

        Raises
        ------
        ValueError
            If the spring would be shorter than solid.

        Notes
        -----
        Machinery's Handbook, 31st ed., Spring Design Table 3 (as Shigley Table 10-1).
        """
        free_length = _checked(
            "free_length",
            free_length,
            f"at least the solid length {self.solid_length} m",
            lambda length: length >= self.solid_length,
        )
        end = _ENDS[self.ends]
        return (free_length - end.flat * self.wire_diameter) / (self.active_coils + end.partial)

    def cautions(self, free_length=None) -> tuple[str, ...]:
        """What a careful reader should be told about this spring.

        Parameters
        ----------
        free_length : float or array, optional
            Unloaded length [m]; with it, buckling on flat seats is looked at too.

        Returns
        -------
        tuple of str
            Plain sentences; empty when there is nothing to say.
        """
        found = []
        low, high = _INDEX_PREFERRED
        if np.any(self.spring_index < low):
            found.append(
                f"Spring index {_span(self.spring_index)} is below {low:g}: coils this tight are "
                "hard to wind and may crack on the inside."
            )
        if np.any(self.spring_index > high):
            found.append(
                f"Spring index {_span(self.spring_index)} is above {high:g}: coils this open "
                "tangle, and the diameter is hard to hold."
            )
        steel = self.steel
        thinnest, thickest = steel.diameter_range_mm
        diameter = np.asarray(self.wire_diameter)
        # Compared in metres, so that 9.5 * MM is inside: dividing could round it out.
        if np.any((diameter < thinnest * MM) | (diameter > thickest * MM)):
            found.append(
                f"Wire diameter {_span(diameter / MM)} mm ({_span(diameter / INCH)} in) is outside "
                f"the {thinnest:g} to {thickest:g} mm tabulated for {steel.name}: its strength is "
                "an extrapolation."
            )
        if free_length is not None:
            self.pitch(free_length)  # refuses a length below solid
            free_length = np.asarray(free_length, dtype=float)
            if np.any(
                buckles(
                    free_length - self.solid_length,
                    free_length=free_length,
                    mean_diameter=self.mean_diameter,
                    material=steel,
                )
            ):
                found.append(
                    "Standing free on flat seats this spring would buckle before it went solid; "
                    "on a shock the body guides it, so expect rubbing rather than collapse."
                )
        return tuple(found)


def _span(values) -> str:
    """A number, or the range of an array of them, for a sentence."""
    low, high = np.min(values), np.max(values)
    return f"{low:.3g}" if low == high else f"{low:.3g} to {high:.3g}"


def critical_slenderness(material: str | Material = "chrome-silicon"):
    """Slenderness ``alpha L0 / D`` at which a spring first can buckle.

    Parameters
    ----------
    material : str or Material
        The steel; only its two moduli matter.

    Returns
    -------
    float
        Effective slenderness [-]; below it the spring is stable at any deflection.

    Notes
    -----
    ``pi sqrt(2 (E - G) / (2 G + E))``, the square root of C2' in Shigley Eq. 10-12.
    """
    steel = _material(material)
    young, shear = steel.youngs_modulus, steel.shear_modulus
    return np.pi * np.sqrt(2 * (young - shear) / (2 * shear + young))


def buckling_deflection(
    free_length, *, mean_diameter, alpha=0.5, material: str | Material = "chrome-silicon"
):
    """Deflection at which a spring standing free between its seats bows out.

    A spring on a shock is guided by the body, so there this is a caution and not a limit.

    Parameters
    ----------
    free_length : float or array
        Unloaded length, L0 [m].
    mean_diameter : float or array
        Mean coil diameter, D [m].
    alpha : float or array
        End condition, 0.5 to 2 [-]: 0.5 between flat parallel seats, 0.707 one seat flat and one
        hinged, 1 both hinged, 2 one flat and the other free to wander (Table 10-2, from memory).
    material : str or Material
        The steel; only its two moduli matter.

    Returns
    -------
    float or array
        Critical deflection [m]; infinite where the spring is stable at any deflection. It may lie
        beyond solid: compare it with the travel to bind.

    Raises
    ------
    ValueError
        If a length is not positive or `alpha` is outside 0.5 to 2.

    Notes
    -----
    ``y = L0 C1' (1 - sqrt(1 - C2'/lambda**2))`` with ``lambda = alpha L0/D``,
    ``C1' = E/(2 (E - G))`` and ``C2' = 2 pi**2 (E - G)/(2 G + E)``, Shigley Eq. 10-10. Exactly at
    ``lambda**2 = C2'`` the root is real, so the spring counts as able to buckle.
    """
    free_length = _checked("free_length", free_length, "a positive length in metres")
    mean_diameter = _checked("mean_diameter", mean_diameter, "a positive length in metres")
    alpha = _checked("alpha", alpha, "0.5 to 2", lambda a: (a >= 0.5) & (a <= 2))
    steel = _material(material)
    c1 = steel.youngs_modulus / (2 * (steel.youngs_modulus - steel.shear_modulus))
    limit = critical_slenderness(steel)

    slenderness = alpha * free_length / mean_diameter
    stable = slenderness < limit
    ratio = (limit / slenderness) ** 2
    # 1 - sqrt(1 - x) written as x/(1 + sqrt(1 - x)): a very slender spring loses no digits.
    root = np.sqrt(np.where(stable, 0.0, 1 - ratio))
    return np.where(stable, np.inf, free_length * c1 * ratio / (1 + root))[()]


def buckles(
    deflection,
    *,
    free_length,
    mean_diameter,
    alpha=0.5,
    material: str | Material = "chrome-silicon",
):
    """Whether a spring standing free between its seats has bowed out at this deflection.

    Parameters
    ----------
    deflection : float or array
        Shortening from the free length [m].
    free_length, mean_diameter, alpha, material
        As for `buckling_deflection` [m, m, -, -].

    Returns
    -------
    bool or array of bool
        True from the critical deflection on, the critical deflection itself included.
    """
    critical = buckling_deflection(
        free_length, mean_diameter=mean_diameter, alpha=alpha, material=material
    )
    return np.asarray(deflection, dtype=float)[()] >= critical
