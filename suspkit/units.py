"""Text with a unit at the edges, SI floats inside.

A file says ``"200 lb/in"``, a tape says ``4-1/2 in``; everything in between is a plain float in
m, kg, s, N, Pa, K or rad. This module is the only place where the two meet:

* :func:`parse` reads text, :class:`Unit` does the same for a field of a validated dataclass;
* :func:`show` and :func:`tape` write text for a reader who picks ``"us"`` or ``"metric"``;
* :func:`to_unit` and :func:`from_unit` rescale numbers and arrays for charts and controls.

Reading needs pint, which is loaded on the first text read. Writing needs only the table below.

In this trade a spring rate is written ``lb/in`` and means a force per length. So ``lb`` is read as
pound-force wherever a force belongs (rate, force, pressure, energy ...) and as a mass wherever a
mass belongs; what is written back is always the unmistakable ``lbf/in``.

References
----------
.. [1] NIST Special Publication 811 (2008), Appendix B: 1 in = 0.0254 m and
   1 lb = 0.453 592 37 kg exactly; 1 lbf is 1 lb under the standard gravity of 9.806 65 m/s².
"""

import math
import re
from dataclasses import KW_ONLY, dataclass
from functools import lru_cache
from numbers import Real
from typing import Annotated, Any, get_args

import numpy as np

SYSTEMS = ("us", "metric")

INCH = 0.0254
FOOT = 12 * INCH
POUND = 0.45359237
GRAVITY = 9.80665
POUND_FORCE = POUND * GRAVITY
PSI = POUND_FORCE / INCH**2
MILE_PER_HOUR = 5280 * FOOT / 3600
DEGREE = math.pi / 180


# --- what is measured, and how each reader writes it ---------------------------------------------


@dataclass(frozen=True)
class _Scale:
    """One way to write a number: SI value = ``shown * factor + offset``."""

    label: str
    factor: float
    digits: int
    offset: float = 0.0
    reciprocal: bool = False  # SI value = factor / shown, as in threads per inch


@dataclass(frozen=True)
class _Kind:
    noun: str
    si: str
    us: _Scale
    metric: _Scale
    examples: tuple[str, ...]
    words: tuple[str, ...] = ()  # a pure number: what may follow it; "" means it may stand bare


def _both(label, factor, digits):
    scale = _Scale(label, factor, digits)
    return {"us": scale, "metric": scale}


# The first kind listed for an SI unit is the one that `Unit(si)` means.
_KINDS = {
    "length": _Kind(
        "a length", "m", _Scale("in", INCH, 2), _Scale("mm", 1e-3, 1), ("4-1/2 in", "114 mm")
    ),
    "tape": _Kind(
        "a length", "m", _Scale("in", INCH, 4), _Scale("mm", 1e-3, 0), ("4-1/2 in", "114 mm")
    ),
    "pitch": _Kind(
        "a thread pitch",
        "m",
        _Scale("per in", INCH, 1, reciprocal=True),
        _Scale("mm", 1e-3, 4),
        ("16 per in", "1.5 mm"),
    ),
    "area": _Kind(
        "an area", "m**2", _Scale("in²", INCH**2, 3), _Scale("cm²", 1e-4, 2), ("0.6 in^2", "4 cm^2")
    ),
    "volume": _Kind(
        "a volume", "m**3", _Scale("in³", INCH**3, 1), _Scale("cm³", 1e-6, 0), ("12 in^3", "200 cc")
    ),
    "mass": _Kind("a mass", "kg", _Scale("lb", POUND, 0), _Scale("kg", 1, 0), ("650 lb", "295 kg")),
    "force": _Kind(
        "a force", "N", _Scale("lbf", POUND_FORCE, 0), _Scale("N", 1, 0), ("650 lbf", "2900 N")
    ),
    "rate": _Kind(
        "a rate",
        "N/m",
        _Scale("lbf/in", POUND_FORCE / INCH, 0),
        _Scale("N/mm", 1e3, 1),
        ("200 lb/in", "35 N/mm"),
    ),
    "torsion": _Kind(
        "a torsion rate",
        "N*m/rad",
        _Scale("ft·lbf/deg", FOOT * POUND_FORCE / DEGREE, 1),
        _Scale("N·m/deg", 1 / DEGREE, 1),
        ("60 ft-lb/deg", "80 N*m/deg"),
    ),
    "damping": _Kind(
        "a damping coefficient",
        "N*s/m",
        _Scale("lbf·s/in", POUND_FORCE / INCH, 1),
        _Scale("N·s/mm", 1e3, 2),
        ("12 lb*s/in", "2.1 N*s/mm"),
    ),
    "pressure": _Kind(
        "a pressure", "Pa", _Scale("psi", PSI, 0), _Scale("bar", 1e5, 1), ("220 psi", "15 bar")
    ),
    "stress": _Kind(
        "a stress", "Pa", _Scale("ksi", 1e3 * PSI, 1), _Scale("MPa", 1e6, 0), ("120 ksi", "830 MPa")
    ),
    "modulus": _Kind(
        "a modulus",
        "Pa",
        _Scale("Mpsi", 1e6 * PSI, 1),
        _Scale("GPa", 1e9, 1),
        ("11.5 Mpsi", "79 GPa"),
    ),
    "density": _Kind(
        "a density",
        "kg/m**3",
        _Scale("lb/in³", POUND / INCH**3, 3),
        _Scale("g/cm³", 1e3, 2),
        ("0.284 lb/in^3", "7.85 g/cm^3"),
    ),
    "inertia": _Kind(
        "a moment of inertia",
        "kg*m**2",
        _Scale("lb·ft²", POUND * FOOT**2, 0),
        _Scale("kg·m²", 1, 0),
        ("9000 lb*ft^2", "380 kg*m^2"),
    ),
    "viscosity": _Kind(
        "a kinematic viscosity",
        "m**2/s",
        **_both("cSt", 1e-6, 1),
        examples=("16 cSt", "16 mm^2/s"),
    ),
    "energy": _Kind(
        "an energy",
        "J",
        _Scale("ft·lbf", FOOT * POUND_FORCE, 0),
        _Scale("J", 1, 0),
        ("38 ft-lbf", "52 J"),
    ),
    "temperature": _Kind(
        "a temperature",
        "K",
        _Scale("°F", 5 / 9, 0, offset=459.67 * 5 / 9),
        _Scale("°C", 1, 0, offset=273.15),
        ("70 degF", "20 degC"),
    ),
    "angle": _Kind("an angle", "rad", **_both("deg", DEGREE, 1), examples=("12 deg",)),
    "velocity": _Kind(
        "a speed", "m/s", _Scale("in/s", INCH, 1), _Scale("m/s", 1, 2), ("10 in/s", "0.25 m/s")
    ),
    "speed": _Kind(
        "a speed",
        "m/s",
        _Scale("mph", MILE_PER_HOUR, 0),
        _Scale("km/h", 1 / 3.6, 0),
        ("30 mph", "50 km/h"),
    ),
    "acceleration": _Kind(
        "an acceleration", "m/s**2", **_both("g", GRAVITY, 2), examples=("1.5 g", "15 m/s^2")
    ),
    "time": _Kind("a time", "s", **_both("s", 1, 2), examples=("0.5 s",)),
    "frequency": _Kind("a frequency", "Hz", **_both("Hz", 1, 2), examples=("1.4 Hz",)),
    "number": _Kind("a number", "", **_both("", 1, 2), examples=("0.7",), words=("", "%")),
    "ratio": _Kind("a ratio", "", **_both("", 1, 2), examples=("0.7",), words=("", "%")),
    "percent": _Kind("a percentage", "", **_both("%", 0.01, 0), examples=("33 %",), words=("%",)),
    "count": _Kind("a whole number", "", **_both("", 1, 0), examples=("3",), words=("",)),
    "turns": _Kind(
        "a number of turns",
        "",
        **_both("turns", 1, 1),
        examples=("5 turns",),
        words=("", "turn", "turns"),
    ),
    "clicks": _Kind(
        "a number of clicks",
        "",
        **_both("clicks", 1, 0),
        examples=("8 clicks",),
        words=("", "click", "clicks"),
    ),
}
_KIND_OF_SI = {kind.si: name for name, kind in reversed(_KINDS.items())}


def _kind(name):
    try:
        return _KINDS[name]
    except (KeyError, TypeError):
        raise ValueError(
            f"kind {name!r} is not known; expected one of {', '.join(_KINDS)}"
        ) from None


def _scale(kind, system):
    if system not in SYSTEMS:
        raise ValueError(f"system {system!r} is not known; expected 'us' or 'metric'")
    return getattr(_kind(kind), system)


# --- the marker that makes a dataclass field readable from text ----------------------------------


@dataclass(frozen=True)
class Unit:
    """Mark a field as a quantity that a file writes as text with a unit.

    ``Annotated[float, Unit("N/m", gt=0)]`` is a plain float in N/m to Python; validated by
    ``pydantic.TypeAdapter`` it takes ``"200 lb/in"`` and gives the float. A dataclass built
    directly in Python is not validated and takes SI floats.

    Parameters
    ----------
    si : str
        SI unit of the stored float, such as ``"N/m"``; ``""`` for a pure number.
    kind : str, optional
        What is measured, such as ``"rate"`` or ``"pitch"``. By default the first kind that has
        this SI unit.
    gt, ge, lt, le : float, optional
        Bounds: above, at least, below, at most [SI unit of the kind].

    Raises
    ------
    ValueError
        If the SI unit or the kind is not known, or they do not belong together.
    """

    si: str
    _: KW_ONLY
    kind: str = ""
    gt: float | None = None
    ge: float | None = None
    lt: float | None = None
    le: float | None = None

    def __post_init__(self):
        if not self.kind:
            if self.si not in _KIND_OF_SI:
                known = ", ".join(repr(si) for si in _KIND_OF_SI)
                raise ValueError(f"si unit {self.si!r} is not known; expected one of {known}")
            object.__setattr__(self, "kind", _KIND_OF_SI[self.si])
        if _kind(self.kind).si != self.si:
            raise ValueError(
                f"si unit {self.si!r} does not belong to kind {self.kind!r}; "
                f"expected {_kind(self.kind).si!r}"
            )

    def read(self, value: Any) -> float:
        """Read one value from a file.

        Parameters
        ----------
        value : str, int or float
            Text with a unit. A bare number is taken only where no unit is due.

        Returns
        -------
        float
            The quantity [SI unit of the kind]; an int for a count.

        Raises
        ------
        ValueError
            If the value cannot be read, has the wrong dimension or is out of bounds.
        """
        kind = _kind(self.kind)
        echo = _echo(value)
        if isinstance(value, str):
            number = _read_text(value, self.kind)
        elif isinstance(value, bool) or not isinstance(value, Real):
            raise ValueError(f"{echo} is not a quantity; {_expected(kind)}")
        else:
            number = _finite(value)
            if "" not in kind.words and math.isfinite(number):
                raise ValueError(_no_unit(echo, echo, kind))
        if not math.isfinite(number):
            raise ValueError(f"{echo} is not a finite quantity; {_expected(kind)}")
        self._check_bounds(number, echo)
        if self.kind != "count":
            return number
        if not number.is_integer():
            raise ValueError(f"{echo} is not whole; {_expected(kind)}")
        return int(number)

    def _check_bounds(self, number, echo):
        kind = _kind(self.kind)
        # A thermometer does not start at absolute zero, so "negative" would mislead there.
        plain_zero = kind.metric.offset == 0
        for edge, broken, low, wanted, wanted_zero in (
            (self.gt, lambda e: number <= e, True, "above {}", "above zero"),
            (self.ge, lambda e: number < e, True, "of at least {}", "of zero or more"),
            (self.lt, lambda e: number >= e, False, "below {}", "below zero"),
            (self.le, lambda e: number > e, False, "of at most {}", "of zero or less"),
        ):
            if edge is None or not broken(edge):
                continue
            if edge == 0 and plain_zero:
                fault = "zero" if number == 0 else "negative" if low else "positive"
                wanted = wanted_zero
            else:
                fault = "too small" if low else "too large"
                wanted = wanted.format(_edge(edge, self.kind))
            raise ValueError(
                f"{echo} is {fault}; expected {kind.noun} {wanted}, such as {kind.examples[0]!r}"
            )

    def __get_pydantic_core_schema__(self, source, handler):
        from pydantic_core import core_schema

        text = core_schema.str_schema()
        if "" in _kind(self.kind).words:
            text = core_schema.union_schema([core_schema.float_schema(), text])
        return core_schema.no_info_plain_validator_function(
            self.read, json_schema_input_schema=text
        )


Length = Annotated[float, Unit("m")]
PositiveLength = Annotated[float, Unit("m", gt=0)]
Pitch = Annotated[float, Unit("m", kind="pitch", gt=0)]
Mass = Annotated[float, Unit("kg", ge=0)]
Force = Annotated[float, Unit("N")]
Rate = Annotated[float, Unit("N/m", gt=0)]
Pressure = Annotated[float, Unit("Pa", ge=0)]
Modulus = Annotated[float, Unit("Pa", kind="modulus", gt=0)]
Density = Annotated[float, Unit("kg/m**3", gt=0)]
Temperature = Annotated[float, Unit("K", gt=0)]
Angle = Annotated[float, Unit("rad")]
Number = Annotated[float, Unit("")]
PositiveNumber = Annotated[float, Unit("", gt=0)]
Fraction = Annotated[float, Unit("", kind="ratio", ge=0, le=1)]
Count = Annotated[int, Unit("", kind="count", ge=0)]
Turns = Annotated[float, Unit("", kind="turns")]


# --- text to SI ----------------------------------------------------------------------------------

_LONGEST = 64  # characters; no honest quantity is longer, and it bounds the work on a bad one

_PLAIN = str.maketrans(
    {
        **dict.fromkeys("‐‑‒–—−", "-"),
        **dict.fromkeys("·⋅∙•×", "*"),
        **dict.fromkeys("″“”", '"'),
        **dict.fromkeys("′‘’", "'"),
        **dict.fromkeys("°º", "deg"),
        **dict.fromkeys("µμ", "u"),
        **dict.fromkeys("\u00a0\u2009\u202f", " "),  # spaces that do not break a line
        "⁄": "/",
        "²": "2",
        "³": "3",
        "½": " 1/2",
        "⅓": " 1/3",
        "⅔": " 2/3",
        "¼": " 1/4",
        "¾": " 3/4",
        "⅛": " 1/8",
        "⅜": " 3/8",
        "⅝": " 5/8",
        "⅞": " 7/8",
    }
)

# Digits and fractions are read here and only the unit words go to pint, which would otherwise
# evaluate arithmetic found in the text.
_NUMBER = re.compile(
    r"""(?P<sign>[+-]?)\s*
    (?: (?:(?P<whole>[0-9]+)(?:\s*-\s*|\s+))?(?P<top>[0-9]+)/(?P<bottom>[0-9]+)
      | (?P<decimal>
          (?:(?:[0-9]{1,3}(?:,[0-9]{3})+|[0-9]+)(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?)
    )(?![0-9.,])\s*""",
    re.VERBOSE,
)
# Half the world's decimal point is the other half's thousands mark. Only groups of three that
# cannot be a decimal stand: two of them, or one before a point.
_COMMA = re.compile(
    r"[+-]?\s*(?![1-9][0-9]{0,2}(?:,[0-9]{3}){2,}|[1-9][0-9]{0,2},[0-9]{3}\.[0-9])"
    r"(?P<before>[0-9]*),(?P<after>[0-9]+)(?![0-9.,])"
)
_FEET_AND_INCHES = re.compile(
    r"([+-]?)\s*([0-9]+)\s*(?:ft|feet|foot)\b[\s-]*([0-9].*?)\s*(?:inches|inch|in)?"
)
_FACTOR = r"[A-Za-z]+(?:(?:\^|\*\*)?[1-4])?"
_UNIT_TEXT = re.compile(rf"{_FACTOR}(?:(?:\s*[*/-]\s*|\s+){_FACTOR}){{0,3}}")
_WORD = re.compile(r"([A-Za-z]+)(?:(?:\^|\*\*)?([1-4]))?")
_PER_TURN = re.compile(r"\s*(?:/|\bper\b)\s*(?:turn|rev)$")
_PER = re.compile(r"(?:threads?\s*)?(?:/|per\b)\s*")

# Shop words are read in any case ("LB/IN", and nobody means a megametre by "Mm"). Elsewhere case
# matters: mN is not MN.
_SHOP = {
    word.lower(): word
    for word in (
        *("in", "inch", "inches", "ft", "feet", "mm", "cm", "lb", "lbf", "kg", "kgf"),
        *("psi", "ksi", "bar", "kPa", "deg", "degF", "degC", "Hz", "mph"),
    )
} | dict.fromkeys(("lbs", "lbm", "pound", "pounds"), "lb")
_RUN_TOGETHER = {"Nm": "(N*m)", "Ns": "(N*s)"}  # else the second is a plural of N
_FORCEFUL = ("N", "Pa", "J")
_KIND_WORDS = {
    "temperature": {"F": "degF", "C": "degC", "K": "kelvin"},
    "acceleration": {"g": "standard_gravity"},
}


def parse(text: str, unit: Any) -> float:
    """Read a quantity as a technician or a file writes it.

    Parameters
    ----------
    text : str
        Such as ``"200 lb/in"``, ``"4-1/2 in"``, ``'2\\' 3-1/2"'``, ``"16 per in"`` or
        ``"70 degF"``.
    unit : Unit, str or annotated type
        What is expected: a :class:`Unit`, an alias such as ``Rate``, a kind such as ``"rate"`` or
        an SI unit such as ``"N/m"``. Bounds are checked where the unit has them.

    Returns
    -------
    float
        The quantity [SI unit of the kind].

    Raises
    ------
    ValueError
        If the text is not a quantity of that kind within its bounds.

    Examples
    --------
    >>> round(parse("4-1/2 in", Length), 6)
    0.1143
    >>> parse("200 lb", Rate)
    Traceback (most recent call last):
        ...
    ValueError: '200 lb' is a mass; expected a rate such as '200 lb/in' or '35 N/mm'
    """
    unit = as_unit(unit)
    if not isinstance(text, str):
        raise ValueError(f"{_echo(text)} is not text; {_expected(_kind(unit.kind))}")
    return unit.read(text)


def as_unit(unit):
    """The :class:`Unit` that an alias, a kind or an SI unit stands for.

    Parameters
    ----------
    unit : Unit, str or annotated type

    Returns
    -------
    Unit

    Raises
    ------
    ValueError
        If it is none of them.
    """
    if isinstance(unit, Unit):
        return unit
    if isinstance(unit, str):
        return Unit(_KINDS[unit].si, kind=unit) if unit in _KINDS else Unit(unit)
    for mark in get_args(unit)[1:]:
        if isinstance(mark, Unit):
            return mark
    raise ValueError(f"unit {unit!r} is not known; expected a Unit, a kind or an SI unit")


def _read_text(text, kind_name):
    kind = _kind(kind_name)
    echo = _echo(text)
    nonsense = ValueError(f"{echo} is not a quantity; {_expected(kind)}")
    if len(text) > _LONGEST:
        raise nonsense
    plain = text.translate(_PLAIN).replace("''", '"').replace('"', " in ").replace("'", " ft ")
    plain = plain.strip()

    if kind_name in ("length", "tape") and (parts := _FEET_AND_INCHES.fullmatch(plain)):
        sign, feet, inches = parts.groups()
        inches = _NUMBER.fullmatch(inches)
        if inches is None or (length := _number(inches)) is None:
            raise nonsense
        return (-1 if sign == "-" else 1) * (int(feet) * FOOT + length * INCH)

    if comma := _COMMA.match(plain):
        raise ValueError(_two_readings(echo, plain, comma, kind))
    found = _NUMBER.match(plain)
    if found is None or (number := _number(found)) is None:
        raise nonsense
    if math.isinf(number):
        raise ValueError(f"{echo} is too large; {_expected(kind)}")
    # "lb./in." is fine; a dot between letters is not.
    unit_text = re.sub(r"(?<=[A-Za-z])\.(?![A-Za-z])", "", plain[found.end() :]).strip()

    if unit_text in kind.words:
        return number / 100 if unit_text == "%" else number
    if not unit_text:
        raise ValueError(_no_unit(echo, plain, kind))
    if kind_name == "pitch":
        unit_text = _PER_TURN.sub("", unit_text)
        unit_text = "per in" if unit_text.lower() == "tpi" else unit_text
        if per := _PER.match(unit_text):
            if number == 0:
                raise ValueError(f"{echo} is zero; {_expected(kind)}")
            return _convert(1.0, unit_text[per.end() :], kind_name, echo) / number
    return _convert(number, unit_text, kind_name, echo)


def _two_readings(echo, plain, comma, kind):
    """What to say of a comma that could be a decimal point."""
    before, after = comma["before"], comma["after"]
    ways = [f"{before or 0}.{after}"]
    if re.fullmatch("[1-9][0-9]{0,2}", before) and len(after) == 3:
        ways.append(before + after)
    written = " or ".join(
        repr(plain[: comma.start("before")] + way + plain[comma.end() :]) for way in ways
    )
    fault = "could be a decimal point or mark thousands" if ways[1:] else "is no decimal point"
    return f"{echo} has a comma, which {fault}; expected {kind.noun}, {written}"


def _number(match):
    """Value of a `_NUMBER` match, or None if its fraction makes no sense."""
    if match["decimal"]:
        value = float(match["decimal"].replace(",", ""))
    else:
        whole, top, bottom = int(match["whole"] or 0), int(match["top"]), int(match["bottom"])
        if bottom == 0 or (match["whole"] and top >= bottom):
            return None
        value = whole + top / bottom
    return -value if match["sign"] == "-" else value


def _convert(number, unit_text, kind_name, echo):
    kind = _kind(kind_name)
    unit_text = re.sub(r"\bdeg(?:rees?)?\s*([FCfc])\b", r"deg\1", unit_text)
    unit_text = re.sub(r"\s+per\s+", "/", unit_text)
    if not _UNIT_TEXT.fullmatch(unit_text):
        raise ValueError(f"{echo} is not a quantity; {_expected(kind)}")
    own_words = _KIND_WORDS.get(kind_name, {})
    pound_force = {"lb": "lbf"}
    if kind.si and any(symbol in re.findall("[A-Za-z]+", kind.si) for symbol in _FORCEFUL):
        own_words = own_words | pound_force

    if not kind.words:
        value = _in_si(number, _spell(unit_text, own_words), kind.si)
        if value is not None:
            return value
        if _in_si(number, _spell(unit_text, {"kg": "kgf"}), kind.si) is not None:
            raise ValueError(
                f"{echo} has kg, a mass, where a force belongs, so write kgf; {_expected(kind)}"
            )
    for words in ({}, pound_force):
        if noun := _noun_of(_spell(unit_text, words)):
            raise ValueError(f"{echo} is {noun}; {_expected(kind)}")
    known = all(_dimension(_spell(word, {})) is not None for word, _ in _WORD.findall(unit_text))
    fault = f"is not {kind.noun}" if known else f"has a unit that is not known ({unit_text})"
    raise ValueError(f"{echo} {fault}; {_expected(kind)}")


def _spell(unit_text, own_words):
    """Unit text in pint's spelling."""

    def word(match):
        name, power = match.groups()
        name = _SHOP.get(name.lower(), name)
        name = own_words.get(name, name)
        name = _RUN_TOGETHER.get(name, name)
        return f"{name}**{power}" if power else name

    spelled = re.sub(
        r"\s*([*/-])\s*|\s+", lambda m: m[1] or "*", _WORD.sub(word, unit_text.strip())
    )
    return spelled.replace("-", "*")


# The shop's own short list. pint's full one takes an angle for a bare number, so that 5 % is an
# angle and 6 rad/s a frequency of 6 Hz, and it knows a meaning for almost any slip of the pen.
_DEFINITIONS = f"""
micro- = 1e-6 = u-
milli- = 1e-3 = m-
centi- = 1e-2 = c-
kilo- = 1e3 = k-
mega- = 1e6 = M-
giga- = 1e9 = G-
meter = [length] = m = metre
gram = [mass] = g
second = [time] = s = sec
kelvin = [temperature]; offset: 0 = K
radian = [angle] = rad
minute = 60 * second = min
hour = 60 * minute = h = hr
degree = {DEGREE!r} * radian = deg
turn = 360 * degree = _ = rev = revolution
inch = {INCH} * meter = in = inches
foot = 12 * inch = ft = feet
yard = 3 * foot = yd
mile = 5280 * foot = mi
liter = 1e-3 * meter ** 3 = L = l = litre
cubic_centimeter = 1e-6 * meter ** 3 = cc
pound = {POUND} * kilogram = lb
ounce = pound / 16 = oz
ton = 2000 * pound
tonne = 1000 * kilogram = t
stokes = 1e-4 * meter ** 2 / second = St
standard_gravity = {GRAVITY} * meter / second ** 2
newton = kilogram * meter / second ** 2 = N
pound_force = pound * standard_gravity = lbf
kip = 1000 * pound_force
kilogram_force = kilogram * standard_gravity = kgf = kilopond = kp
pascal = newton / meter ** 2 = Pa
bar = 1e5 * pascal
atmosphere = 101325 * pascal = atm
psi = pound_force / inch ** 2
ksi = 1000 * psi
joule = newton * meter = J
hertz = 1 / second = Hz
mph = mile / hour
kph = kilometer / hour = kmh
knot = 1852 * meter / hour = kn = kt
degC = kelvin; offset: 273.15 = _ = celsius
degF = 5 / 9 * kelvin; offset: {459.67 * 5 / 9!r} = _ = fahrenheit
"""


@lru_cache(maxsize=1)
def _registry():
    import pint

    registry = pint.UnitRegistry(None)
    registry.load_definitions(_DEFINITIONS.strip().splitlines())
    return registry


@lru_cache(maxsize=4096)  # a file read again holds the same ones
def _in_si(number, unit, si):
    """Number of that unit in SI, or None if pint cannot do it."""
    try:
        return float(_registry().Quantity(number, unit).to(si).magnitude)
    except Exception:  # the text is a reader's: whatever pint trips over, it is not this quantity
        return None


def _dimension(unit):
    try:
        return _registry().Unit(unit).dimensionality
    except Exception:  # as above
        return None


def _noun_of(unit):
    dimension = _dimension(unit)
    if not dimension:  # unknown, or a pure number by another name
        return None
    return next((k.noun for k in _KINDS.values() if k.si and _dimension(k.si) == dimension), None)


def _finite(value):
    try:
        return float(value)
    except OverflowError:  # an int of hundreds of digits
        return math.inf


def _echo(value):
    text = repr(value.strip() if isinstance(value, str) else value)
    return text if len(text) <= _LONGEST else f"{text[:_LONGEST]}…"


def _expected(kind):
    return f"expected {kind.noun} such as {' or '.join(map(repr, kind.examples))}"


def _no_unit(echo, number, kind):
    likes = (f"{number} {example.partition(' ')[2]}" for example in kind.examples)
    return f"{echo} has no unit; write it like {' or '.join(map(repr, likes))}"


def _edge(value, kind):
    us, metric = (
        f"{to_unit(value, kind, system):.6g} {unit_label(kind, system)}".strip()
        for system in SYSTEMS
    )
    return us if us == metric else f"{us} ({metric})"


# --- SI to text ----------------------------------------------------------------------------------


def to_unit(value, kind: str, system: str = "us"):
    """Rescale an SI number for a reader.

    Parameters
    ----------
    value : float or array_like
        Quantity [SI unit of the kind].
    kind : str
        What is measured, such as ``"rate"``, ``"length"`` or ``"pitch"``.
    system : {"us", "metric"}
        Reader's units.

    Returns
    -------
    float or ndarray
        Number in the unit that :func:`unit_label` names, same shape as `value`.

    Raises
    ------
    ValueError
        If the kind or the system is not known.
    """
    scale = _scale(kind, system)
    value = np.asarray(value, dtype=float)
    if scale.reciprocal:
        with np.errstate(divide="ignore"):
            return _scalar(scale.factor / value)
    with np.errstate(over="ignore"):
        return _scalar((value - scale.offset) / scale.factor)


def from_unit(value, kind: str, system: str = "us"):
    """Bring a reader's number back to SI: the inverse of :func:`to_unit`.

    Parameters
    ----------
    value : float or array_like
        Number in the unit that :func:`unit_label` names.
    kind : str
        What is measured, such as ``"rate"``, ``"length"`` or ``"pitch"``.
    system : {"us", "metric"}
        Reader's units.

    Returns
    -------
    float or ndarray
        Quantity [SI unit of the kind], same shape as `value`.

    Raises
    ------
    ValueError
        If the kind or the system is not known.
    """
    scale = _scale(kind, system)
    value = np.asarray(value, dtype=float)
    if scale.reciprocal:
        with np.errstate(divide="ignore"):
            return _scalar(scale.factor / value)
    return _scalar(value * scale.factor + scale.offset)


def _scalar(value):
    return value if np.ndim(value) else float(value)


def si_unit(kind: str) -> str:
    """Name the SI unit of a kind of quantity, such as ``"N/m"``; empty for a pure number.

    Parameters
    ----------
    kind : str
        What is measured, such as ``"rate"``.

    Returns
    -------
    str

    Raises
    ------
    ValueError
        If the kind is not known.
    """
    return _kind(kind).si


def unit_label(kind: str, system: str = "us") -> str:
    """Name the unit a reader sees, such as ``"lbf/in"``; empty for a pure number.

    Parameters
    ----------
    kind : str
        What is measured, such as ``"rate"``.
    system : {"us", "metric"}
        Reader's units.

    Returns
    -------
    str
        Label for an axis, a control or a table head.

    Raises
    ------
    ValueError
        If the kind or the system is not known.

    Notes
    -----
    A rate is labelled lbf/in, which the trade writes lb/in: the same thing.
    """
    return _scale(kind, system).label


def show(value: float, kind: str, system: str = "us", digits: int | None = None) -> str:
    """Write a quantity for a reader.

    Parameters
    ----------
    value : float
        Quantity [SI unit of the kind].
    kind : str
        What is measured, such as ``"rate"``. ``"tape"`` is a length in sixteenths of an inch, or
        in whole millimetres.
    system : {"us", "metric"}
        Reader's units.
    digits : int, optional
        Decimals; by default those that suit the kind. A tape fraction has none.

    Returns
    -------
    str
        Such as ``"200 lbf/in"`` (the trade's lb/in) or ``"35.0 N/mm"``; a number that is missing
        (nan) is ``"–"``. :func:`parse` reads it back.

    Raises
    ------
    ValueError
        If the kind or the system is not known.

    Examples
    --------
    >>> show(35025.4, "rate"), show(35025.4, "rate", "metric")
    ('200 lbf/in', '35.0 N/mm')
    >>> show(0.1143, "tape"), show(0.1143, "length"), show(0.1143, "tape", "metric")
    ('4-1/2 in', '4.50 in', '114 mm')
    """
    scale = _scale(kind, system)
    if kind == "tape" and system == "us":
        return tape(value)
    number = to_unit(value, kind, system)
    if math.isnan(number):
        return "–"
    if math.isinf(number):
        text = "∞" if number > 0 else "-∞"
    else:
        # z: what rounds to zero has no sign
        text = f"{number:z.{scale.digits if digits is None else digits}f}"
    gap = "" if scale.label in ("", "%") else " "
    return f"{text}{gap}{scale.label}"


def tape(metres: float, denominator: int = 16) -> str:
    """Write a length as read off a tape in inches and fractions.

    Parameters
    ----------
    metres : float
        Length [m].
    denominator : int
        Finest division of the tape, per inch: a power of two up to 64.

    Returns
    -------
    str
        Nearest division, fraction reduced: ``"4-1/2 in"``, ``"-3/8 in"``, ``"0 in"``. Halfway
        between two divisions it is the one further from zero.

    Raises
    ------
    ValueError
        If the denominator is not a division found on a tape.

    Examples
    --------
    >>> tape(0.1143), tape(-0.009525), tape(0.1143, denominator=1)
    ('4-1/2 in', '-3/8 in', '5 in')
    """
    if denominator not in (1, 2, 4, 8, 16, 32, 64):
        raise ValueError(f"denominator {denominator!r} is not on a tape; expected 1, 2, 4 ... 64")
    metres = float(metres)
    if math.isnan(metres):
        return "–"
    if math.isinf(metres / INCH * denominator):
        return "∞ in" if metres > 0 else "-∞ in"
    # The hair decides a half that float arithmetic has left a hair below, so 1/32 in is always up.
    divisions = math.floor(abs(metres) / INCH * denominator + 0.5 + 1e-9)
    whole, top = divmod(divisions, int(denominator))
    sign = "-" if metres < 0 and divisions else ""
    if not top:
        return f"{sign}{whole} in"
    shared = math.gcd(top, int(denominator))
    fraction = f"{top // shared}/{int(denominator) // shared}"
    return f"{sign}{whole}-{fraction} in" if whole else f"{sign}{fraction} in"
