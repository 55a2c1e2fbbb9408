"""Text to SI and back: against NIST factors, against pint, and against every bad text we know."""

import math
import subprocess
import sys
from dataclasses import dataclass, field
from typing import Annotated

import numpy as np
import pint
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from pydantic import ConfigDict, TypeAdapter, ValidationError

from suspkit import units
from suspkit.units import (
    SYSTEMS,
    Angle,
    Count,
    Force,
    Fraction,
    Length,
    Mass,
    Number,
    Pitch,
    PositiveLength,
    Pressure,
    Rate,
    Temperature,
    Turns,
    Unit,
    from_unit,
    parse,
    show,
    tape,
    to_unit,
    unit_label,
)

KINDS = tuple(units._KINDS)
EVERY_VIEW = [(kind, system) for kind in KINDS for system in SYSTEMS]

# NIST SP 811 (2008), Appendix B.8 and the exact definitions in its footnotes
INCH = 0.0254
POUND = 0.45359237
POUND_FORCE = 4.4482216152605
PSI = 6894.757  # rounded to seven figures in the source

PINT = pint.UnitRegistry()  # pint's own full list: the outside reference


# --- reading -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "unit", "si"),
    [
        ("1 in", Length, INCH),
        ("1 lb", Mass, POUND),
        ("1 lbf", Force, POUND_FORCE),
        ("1 lb", Force, POUND_FORCE),
        ("1 lb/in", Rate, POUND_FORCE / INCH),
        ("200 lbs/in", Rate, 200 * POUND_FORCE / INCH),
        ("200 lbf/in", Rate, 200 * POUND_FORCE / INCH),
        ("200 LB/IN", Rate, 200 * POUND_FORCE / INCH),
        ("200 lb./in.", Rate, 200 * POUND_FORCE / INCH),
        ("200 pounds per inch", Rate, 200 * POUND_FORCE / INCH),
        ("200lb/in", Rate, 200 * POUND_FORCE / INCH),
        ("35 N/Mm", Rate, 35e3),
        ("35 MN/m", Rate, 35e6),
        ("35 mN/m", Rate, 35e-3),
        ("35 N/mm", Rate, 35e3),
        ("3.6 kgf/mm", Rate, 3.6 * 9.80665 / 1e-3),
        ("1,234,567 N", Force, 1234567.0),
        ("1,250.5 lb", Mass, 1250.5 * POUND),
        ("1.25e3 kg", Mass, 1250.0),
        ("15 bar", Pressure, 15e5),
        ("1500 kPa", Pressure, 15e5),
        ("30 lb/in²", Pressure, 30 * POUND_FORCE / INCH**2),
        ("12 deg", Angle, math.radians(12)),
        ("12°", Angle, math.radians(12)),
        ("-0.2 rad", Angle, -0.2),
        ("38 ft-lb", "energy", 38 * 12 * INCH * POUND_FORCE),
        ("38 ft·lbf", "energy", 38 * 12 * INCH * POUND_FORCE),
        ("80 N·m/deg", "torsion", 80 * 180 / math.pi),
        ("80 Nm/deg", "torsion", 80 * 180 / math.pi),
        ("12 lb*s/in", "damping", 12 * POUND_FORCE / INCH),
        ("2.1 Ns/mm", "damping", 2100.0),
        ("0.284 lb/in^3", "density", 0.284 * POUND / INCH**3),
        ("0.284 lb/in**3", "density", 0.284 * POUND / INCH**3),
        ("7.85 g/cm³", "density", 7850.0),
        ("200 cc", "volume", 2e-4),
        ("30 mph", "speed", 30 * 5280 * 12 * INCH / 3600),
        ("1.5 g", "acceleration", 1.5 * 9.80665),
        ("1.4 Hz", "frequency", 1.4),
    ],
)
def test_reads_shop_text_with_nist_factors(text, unit, si):
    assert parse(text, unit) == pytest.approx(si, rel=1e-12)


def test_psi_agrees_with_the_rounded_factor_in_sp_811():
    assert parse("1 psi", Pressure) == pytest.approx(PSI, rel=1e-7)


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("4-1/2 in", 4.5),
        ("4 1/2 in", 4.5),
        ('4-1/2"', 4.5),
        ("4 - 1/2 in", 4.5),
        ("4½ in", 4.5),
        ("4-½″", 4.5),
        ("4½''", 4.5),
        ("4.5in", 4.5),
        (".5 in", 0.5),
        ("1/16 in", 0.0625),
        ("1⁄16 in", 0.0625),
        ("⅛ in", 0.125),
        ("-3/8 in", -0.375),
        ("–3/8 in", -0.375),
        ("−4-1/2 in", -4.5),
        ("+4 in", 4.0),
        ("  4 in  ", 4.0),
        ("17-9/16 inches", 17.5625),
        ("2' 3-1/2\"", 27.5),
        ("2′ 3½″", 27.5),
        ("2'-3\"", 27.0),
        ("-2' 3-1/2\"", -27.5),
        ("2 ft 3.25 in", 27.25),
        ("2 ft", 24.0),
    ],
)
def test_reads_a_tape(text, inches):
    assert parse(text, Length) == pytest.approx(inches * INCH, rel=1e-12)


@pytest.mark.parametrize(
    "text",
    ["16 per in", "16/in", '16/"', "16 tpi", "16 TPI", "16 threads per inch", "1.5875 mm"]
    + ["1.5875 mm per turn", "1.5875mm/rev", "1/16 in", "1/16 in per turn", "0.0625 in/turn"],
)
def test_pitch_is_read_as_threads_per_inch_or_as_a_length(text):
    # 16-UN has a pitch of 1.5875 mm: ASME B1.1, from memory
    assert parse(text, Pitch) == pytest.approx(1.5875e-3, rel=1e-12)


def test_pitch_of_12_un():
    # 12-UN has a pitch of 2.116667 mm: ASME B1.1, from memory
    assert parse("12 per in", Pitch) == pytest.approx(2.116667e-3, abs=5e-10)


@pytest.mark.parametrize("text", ["70 degF", "70 °F", "70°F", "70 deg F", "70 F", "70 fahrenheit"])
def test_thermometers_have_an_offset(text):
    # NIST SP 811 B.8: T/K = (t/°F + 459.67)/1.8
    assert parse(text, Temperature) == pytest.approx((70 + 459.67) / 1.8, rel=1e-12)


@pytest.mark.parametrize("text", ["20 degC", "20 °C", "20 deg C", "20 C", "20 celsius", "293.15 K"])
def test_celsius(text):
    assert parse(text, Temperature) == pytest.approx(293.15, rel=1e-12)


def test_pure_numbers():
    assert parse("0.7", Number) == 0.7
    assert parse("70 %", Number) == pytest.approx(0.7)
    assert parse("33%", "percent") == pytest.approx(0.33)
    assert parse("5-1/2 turns", Turns) == 5.5
    assert parse("-1 turn", Turns) == -1
    assert parse("8 clicks", "clicks") == 8
    assert parse("3", Count) == 3


def test_unit_may_be_given_as_marker_alias_kind_or_si_unit():
    for unit in (Unit("N/m"), Rate, "rate", "N/m"):
        assert parse("35 N/mm", unit) == pytest.approx(35e3)
    for unit in ("furlong", 3, float, Annotated[float, "N/m"]):
        with pytest.raises(ValueError, match="is not known"):
            parse("35 N/mm", unit)


@pytest.mark.parametrize(
    ("words", "kind"),
    [(w, "length") for w in "m mm cm um km in inch ft yd mi".split()]
    + [(w, "area") for w in "m^2 cm^2 in^2".split()]
    + [(w, "volume") for w in "m^3 cm^3 cc L mL in^3 ft^3".split()]
    + [(w, "mass") for w in "kg g mg lb oz t ton tonne".split()]
    + [(w, "force") for w in "N kN lbf kip kgf".split()]
    + [(w, "rate") for w in "N/m N/mm kN/m lbf/in lbf/ft kgf/mm".split()]
    + [(w, "pressure") for w in "Pa kPa MPa bar mbar psi ksi atm kgf/cm^2".split()]
    + [(w, "energy") for w in "J kJ N*m ft*lbf in*lbf".split()]
    + [(w, "velocity") for w in "m/s mm/s in/s ft/s mph kph km/h knot".split()]
    + [(w, "acceleration") for w in "m/s^2 ft/s^2 standard_gravity".split()]
    + [(w, "time") for w in "s ms min h".split()]
    + [(w, "angle") for w in "deg rad mrad turn".split()]
    + [(w, "frequency") for w in "Hz kHz".split()]
    + [(w, "inertia") for w in "kg*m^2 lb*ft^2".split()]
    + [(w, "density") for w in "kg/m^3 g/cc lb/in^3".split()],
)
def test_units_agree_with_pint(words, kind):
    reference = PINT.Quantity(7.5, words).to(units._KINDS[kind].si).magnitude
    text = "7.5 " + words.replace("standard_gravity", "g")
    assert parse(text, kind) == pytest.approx(reference, rel=1e-12)


# --- refusing ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "unit", "sentence"),
    [
        (
            "200 lb",
            Rate,
            "'200 lb' is a mass; expected a rate such as '200 lb/in' or '35 N/mm'",
        ),
        (
            "-200 lb/in",
            Rate,
            "'-200 lb/in' is negative; expected a rate above zero, such as '200 lb/in'",
        ),
        ("0 lb/in", Rate, "'0 lb/in' is zero; expected a rate above zero, such as '200 lb/in'"),
        ("200", Rate, "'200' has no unit; write it like '200 lb/in' or '200 N/mm'"),
        (
            "3.6 kg/mm",
            Rate,
            "'3.6 kg/mm' has kg, a mass, where a force belongs, so write kgf; "
            "expected a rate such as '200 lb/in' or '35 N/mm'",
        ),
        (
            "200 foo/in",
            Rate,
            "'200 foo/in' has a unit that is not known (foo/in); "
            "expected a rate such as '200 lb/in' or '35 N/mm'",
        ),
        ("200 lb/in", Mass, "'200 lb/in' is a rate; expected a mass such as '650 lb' or '295 kg'"),
        ("5 in", Number, "'5 in' is a length; expected a number such as '0.7'"),
        ("2.5", Count, "'2.5' is not whole; expected a whole number such as '3'"),
        (
            "-500 degF",
            Temperature,
            "'-500 degF' is too small; expected a temperature above -459.67 °F (-273.15 °C), "
            "such as '70 degF'",
        ),
        ("1.2", Fraction, "'1.2' is too large; expected a ratio of at most 1, such as '0.7'"),
        (
            "0 per in",
            Pitch,
            "'0 per in' is zero; expected a thread pitch such as '16 per in' or '1.5 mm'",
        ),
        (
            "4-9/8 in",
            Length,
            "'4-9/8 in' is not a quantity; expected a length such as '4-1/2 in' or '114 mm'",
        ),
        (
            "7,125 N/mm",
            Rate,
            "'7,125 N/mm' has a comma, which could be a decimal point or mark thousands; "
            "expected a rate, '7.125 N/mm' or '7125 N/mm'",
        ),
        (
            "-0,875 in",
            Length,
            "'-0,875 in' has a comma, which is no decimal point; expected a length, '-0.875 in'",
        ),
        (
            "9,5 in",
            Length,
            "'9,5 in' has a comma, which is no decimal point; expected a length, '9.5 in'",
        ),
    ],
)
def test_one_sentence_says_what_is_wrong_and_what_was_expected(text, unit, sentence):
    with pytest.raises(ValueError) as caught:
        parse(text, unit)
    assert str(caught.value) == sentence


BAD_TEXTS = [
    *("", " ", "in", "lb/in", "abc", "four in", "nan in", "inf in", "-inf in", "NaN", "None"),
    *(
        "4-1 in",
        "4 1 in",
        "1/0 in",
        "0/0 in",
        "4-1/2.5 in",
        "1/2/3 in",
        "4-9/8 in",
        "4-2/2 in",
        "--4 in",
    ),
    *("1,25 mm", "1,2,3 in", "1.2.3 in", "4..5 in", "1_000 in", "0x10 in", "１２ in", "٣ in"),
    *("1e999 in", "1e9999 in", "9**9**9 in", "9**9**9**9 m", "2*3 in", "4 in + 3 in", "4 in 3 in"),
    *("4 in**99", "4 in**9**9**9", "4 in^-1", "4 (in", "4 in)", "4 in;", "4 'in", "4 #", "4 in #"),
    *(
        "4 in\n5 in",
        "4 in\x00",
        "4 __import__",
        "4 lambda",
        "4 m.n",
        "4 m/",
        "4 /m",
        "4 ///",
        "4 %",
    ),
    *("4 ft 3 lb", "2' 3'", "2' 3/0\"", "4 m m m m m", "4 delta_degC", "4 degC*m", "4 degF/m"),
    *("(" * 10_000, "9" * 10_000 + " in", "4 " + "m*" * 10_000 + "m", "4" + " " * 10_000 + "lb"),
    *("1/" * 30, "4 " + "in " * 20, "𝟒 in", "4 ｉｎ", "∞ in", "– in", "–", "4 e", "4 j", "4 lb"),
]


@pytest.mark.parametrize("text", BAD_TEXTS, ids=lambda text: ascii(text[:20]))
def test_bad_text_is_a_short_value_error(text):
    with pytest.raises(ValueError, match="expected a length|write it like") as caught:
        parse(text, Length)
    assert len(str(caught.value)) < 250


# An angle is not a bare number, and a rate of turning is not a frequency: off by 2 pi, silently.
@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("5 %", Angle),
        ("6 rad/s", "Hz"),
        ("60 rpm", "Hz"),
        ("0.2 rad", Number),
        ("80 N*m", "torsion"),
    ]
    + [("80 N*m/deg", "energy"), ("1 Hz", "rate"), ("33", "percent"), ("3 deg", Turns)]
    + [("35 Ns/mm", Rate), ("70 degF", Angle), ("16 per lb", Pitch), ("16 per", Pitch)],
)
def test_no_unit_passes_for_another(text, unit):
    with pytest.raises(ValueError):
        parse(text, unit)


PIECES = st.sampled_from(
    ["4", "1/2", "-", " ", ".", ",", "e", "E9", "/", "*", "**", "^", "2", "(", ")", "%", "'", '"']
    + ["in", "lb", "N", "mm", "deg", "F", "degF", "per", "ft", "½", "°", "·", "–", "_", "kg", "\n"]
)


@settings(deadline=None)  # the first example loads pint
@given(
    text=st.one_of(st.text(max_size=80), st.lists(PIECES, max_size=10).map("".join)),
    kind=st.sampled_from(KINDS),
)
@example(text="4 degF2", kind="temperature")
@example(text="1e300 m4", kind="length")
@example(text="1e308 kip", kind="force")
def test_any_text_gives_a_finite_float_or_a_value_error(text, kind):
    try:
        value = parse(text, kind)
    except ValueError as error:
        assert "expected" in str(error) or "write it like" in str(error)
    else:
        assert math.isfinite(value)


@pytest.mark.parametrize("value", [200, 2.5, None, True, b"4 in", ["4 in"]])
def test_parse_takes_text_only(value):
    with pytest.raises(ValueError, match="is not text; expected a length"):
        parse(value, Length)


# --- bounds --------------------------------------------------------------------------------------

EDGE = 0.127  # 5 in


@pytest.mark.parametrize(
    ("bound", "on_edge", "inside", "words"),
    [
        ("gt", False, +1, "is too small; expected a number above 0.127,"),
        ("ge", True, +1, "is too small; expected a number of at least 0.127,"),
        ("lt", False, -1, "is too large; expected a number below 0.127,"),
        ("le", True, -1, "is too large; expected a number of at most 0.127,"),
    ],
)
def test_bounds_on_the_edge_and_one_float_either_side(bound, on_edge, inside, words):
    unit = Unit("", **{bound: EDGE})
    good = [np.nextafter(EDGE, EDGE + inside)] + [EDGE] * on_edge
    bad = [np.nextafter(EDGE, EDGE - inside)] + [EDGE] * (not on_edge)
    for value in good:
        assert unit.read(float(value)) == value
    for value in bad:
        with pytest.raises(ValueError, match=words):
            unit.read(float(value))


@pytest.mark.parametrize(
    ("bound", "text", "words"),
    [
        ("gt", "0 in", "is zero; expected a length above zero,"),
        ("gt", "-1 in", "is negative; expected a length above zero,"),
        ("ge", "-1 in", "is negative; expected a length of zero or more,"),
        ("lt", "0 in", "is zero; expected a length below zero,"),
        ("lt", "1 in", "is positive; expected a length below zero,"),
        ("le", "1 in", "is positive; expected a length of zero or less,"),
    ],
)
def test_bounds_at_zero_are_told_in_words(bound, text, words):
    with pytest.raises(ValueError, match=words):
        parse(text, Unit("m", **{bound: 0}))


def test_other_bounds_are_told_in_both_systems():
    with pytest.raises(ValueError, match=r"'6 in' is too large; .* at most 5 in \(127 mm\)"):
        parse("6 in", Unit("m", le=EDGE))


def test_unit_is_a_hashable_marker_that_knows_its_kind():
    assert Unit("N/m").kind == "rate"
    assert Unit("m", kind="pitch").kind == "pitch"
    assert Unit("N/m", gt=0) == Unit("N/m", gt=0)
    assert len({Unit("N/m"), Unit("N/m"), Unit("N/m", gt=0)}) == 2
    with pytest.raises(ValueError, match="'furlong' is not known"):
        Unit("furlong")
    with pytest.raises(ValueError, match="kind 'speeed' is not known"):
        Unit("m/s", kind="speeed")
    with pytest.raises(ValueError, match="'m' does not belong to kind 'rate'; expected 'N/m'"):
        Unit("m", kind="rate")


# --- a validated dataclass -----------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Part:
    __pydantic_config__ = ConfigDict(extra="forbid")

    name: str
    rate: Rate
    free_length: PositiveLength
    offset: Length | None = None
    marks: tuple[Length, ...] = ()
    ratio: Number = 1.0
    coils: Count = 0
    extra: dict[str, Mass] = field(default_factory=dict)


PART = TypeAdapter(Part)
GOOD = {"name": "tender", "rate": "200 lb/in", "free_length": "4-1/2 in"}


def test_dataclass_from_text():
    part = PART.validate_python(
        GOOD
        | {"offset": "-3/8 in", "marks": ["1 in", "25.4 mm"], "ratio": 2, "coils": 7}
        | {"extra": {"crew": "100 kg"}}
    )
    assert part == Part(
        name="tender",
        rate=pytest.approx(200 * POUND_FORCE / INCH),
        free_length=pytest.approx(0.1143),
        offset=pytest.approx(-0.009525),
        marks=pytest.approx((INCH, INCH)),
        ratio=2.0,
        coils=7,
        extra={"crew": 100.0},
    )
    assert type(part.ratio) is float and type(part.coils) is int


def test_dataclass_from_python_takes_si_floats():
    assert Part(name="a", rate=35e3, free_length=0.1).rate == 35e3


def test_dataclass_has_a_json_schema():
    schema = PART.json_schema()["properties"]
    assert schema["rate"]["type"] == "string"
    assert {"type": "number"} in schema["ratio"]["anyOf"]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"rate": 200}, "200 has no unit; write it like '200 lb/in'"),
        ({"rate": 35025.4}, "35025.4 has no unit"),
        ({"rate": "200 lb"}, "'200 lb' is a mass; expected a rate"),
        ({"rate": "-200 lb/in"}, "'-200 lb/in' is negative; expected a rate above zero"),
        ({"rate": True}, "True is not a quantity; expected a rate"),
        ({"rate": None}, "None is not a quantity; expected a rate"),
        ({"rate": float("nan")}, "nan is not a finite quantity"),
        ({"free_length": "0 in"}, "'0 in' is zero; expected a length above zero"),
        ({"marks": ["1 in", "1 lb"]}, "'1 lb' is a mass; expected a length"),
        ({"ratio": float("nan")}, "nan is not a finite quantity; expected a number"),
        ({"ratio": float("inf")}, "inf is not a finite quantity"),
        ({"ratio": 10**400}, "is not a finite quantity"),
        ({"ratio": False}, "False is not a quantity; expected a number"),
        ({"coils": 2.5}, "2.5 is not whole"),
        ({"coils": -1}, "-1 is negative; expected a whole number of zero or more"),
        ({"extra": {"crew": "-1 lb"}}, "'-1 lb' is negative; expected a mass of zero or more"),
        ({"colour": "red"}, "colour"),
    ],
)
def test_dataclass_refuses(change, words):
    with pytest.raises(ValidationError) as caught:
        PART.validate_python(GOOD | change)
    assert words in str(caught.value)
    assert next(iter(change)) in str(caught.value)  # and says which field


# --- writing -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "kind", "us", "metric"),
    [
        (200 * POUND_FORCE / INCH, "rate", "200 lbf/in", "35.0 N/mm"),
        (0.1143, "length", "4.50 in", "114.3 mm"),
        (0.1143, "tape", "4-1/2 in", "114 mm"),
        (1.5875e-3, "pitch", "16.0 per in", "1.5875 mm"),
        (650 * POUND, "mass", "650 lb", "295 kg"),
        (650 * POUND_FORCE, "force", "650 lbf", "2891 N"),
        (220 * 6894.757293168, "pressure", "220 psi", "15.2 bar"),
        (38 * 12 * INCH * POUND_FORCE, "energy", "38 ft·lbf", "52 J"),
        (293.15, "temperature", "68 °F", "20 °C"),
        (math.radians(12), "angle", "12.0 deg", "12.0 deg"),
        (1.4, "frequency", "1.40 Hz", "1.40 Hz"),
        (5, "turns", "5.0 turns", "5.0 turns"),
        (8, "clicks", "8 clicks", "8 clicks"),
        (0.7, "ratio", "0.70", "0.70"),
        (0.33, "percent", "33%", "33%"),
        (0.254, "velocity", "10.0 in/s", "0.25 m/s"),
        (0.44704 * 30, "speed", "30 mph", "48 km/h"),
    ],
)
def test_show(value, kind, us, metric):
    assert show(value, kind, "us") == us
    assert show(value, kind, "metric") == metric


def test_show_digits():
    assert show(0.1143, "length", digits=3) == "4.500 in"
    assert show(0.1143, "length", "metric", digits=0) == "114 mm"


@pytest.mark.parametrize(("kind", "system"), EVERY_VIEW)
def test_nothing_shows_as_minus_zero_or_as_nan(kind, system):
    assert show(math.nan, kind, system) == "–"
    if unit_label(kind, system) != "per in":
        for shown in (-0.0, -1e-9):
            assert show(from_unit(shown, kind, system), kind, system).startswith("0")
        assert show(math.inf, kind, system).startswith("∞")
        assert show(-math.inf, kind, system).startswith("-∞")


def test_unit_label():
    assert unit_label("rate") == "lbf/in"
    assert unit_label("rate", "metric") == "N/mm"
    assert unit_label("ratio") == ""


@pytest.mark.parametrize("function", [show, to_unit, from_unit])
def test_unknown_kind_or_system_is_named(function):
    with pytest.raises(ValueError, match="kind 'colour' is not known; expected one of length,"):
        function(1.0, "colour")
    with pytest.raises(ValueError, match="system 'si' is not known; expected 'us' or 'metric'"):
        function(1.0, "rate", "si")


@pytest.mark.parametrize(
    ("kind", "system"), [view for view in EVERY_VIEW if units._KINDS[view[0]].si]
)
def test_display_table_agrees_with_pint(kind, system):
    label, si = unit_label(kind, system), units._KINDS[kind].si
    if label == "per in":
        assert from_unit(16.0, kind, system) == pytest.approx(1 / (16 / INCH), rel=1e-15)
        return
    label = label.replace("°", "deg").replace("·", "*").replace("²", "**2").replace("³", "**3")
    label = "standard_gravity" if label == "g" else label
    # a mass's lb is the pound, a rate's lbf the pound-force: the label alone must say which
    reference = PINT.Quantity(7.5, label).to(si).magnitude
    assert from_unit(7.5, kind, system) == pytest.approx(reference, rel=1e-12)
    assert to_unit(reference, kind, system) == pytest.approx(7.5, rel=1e-12)


@pytest.mark.parametrize(("kind", "system"), EVERY_VIEW)
def test_rescaling_takes_scalars_and_arrays(kind, system):
    shown = np.array([[1.0, 2.0, 3.0], [40.0, 50.0, 60.0]])
    si = from_unit(shown, kind, system)
    assert si.shape == shown.shape
    np.testing.assert_allclose(to_unit(si, kind, system), shown, rtol=1e-12)
    assert type(from_unit(2, kind, system)) is type(to_unit(2, kind, system)) is float
    assert from_unit(2, kind, system) == si[0, 1]
    np.testing.assert_array_equal(from_unit([1, 2, 3], kind, system), si[0])


def test_a_pitch_of_nothing_has_endless_threads():
    assert to_unit(0.0, "pitch") == math.inf
    assert show(0.0, "pitch") == "∞ per in"
    assert from_unit(0.0, "pitch") == math.inf


@pytest.mark.parametrize(("kind", "system"), EVERY_VIEW)
@settings(deadline=None, max_examples=40)
@given(
    shown=st.floats(-1e5, 1e5, allow_subnormal=False),
    digits=st.sampled_from([None, 0, 1, 4]),
)
def test_what_is_shown_can_be_read_back(kind, system, shown, digits):
    if units._KINDS[kind].us.reciprocal:
        shown = 1 + abs(shown)  # no thread has less than one turn per inch
    if kind == "count":
        shown = round(shown)
    text = show(from_unit(shown, kind, system), kind, system, digits)
    if (kind, system) == ("tape", "us"):
        step = 1 / 16
    else:
        step = 10.0 ** -(getattr(units._KINDS[kind], system).digits if digits is None else digits)
    back = to_unit(parse(text, kind), kind, system)
    assert back == pytest.approx(shown, abs=step / 2 * (1 + 1e-6) + 1e-9)


# --- tape ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("inches", "text"),
    [
        (0, "0 in"),
        (-0.0, "0 in"),
        (4.5, "4-1/2 in"),
        (-0.375, "-3/8 in"),
        (-4.5, "-4-1/2 in"),
        (1 / 16, "1/16 in"),
        (3, "3 in"),
        (2.9999, "3 in"),
        (17 + 9 / 16, "17-9/16 in"),
        (-0.01, "0 in"),
        (math.nan, "–"),
        (math.inf, "∞ in"),
        (-math.inf, "-∞ in"),
    ],
)
def test_tape(inches, text):
    assert tape(inches * INCH) == text


def test_tape_denominator():
    assert tape(4.53 * INCH, denominator=64) == "4-17/32 in"
    assert tape(4.53 * INCH, denominator=2) == "4-1/2 in"
    assert tape(4.53 * INCH, denominator=1) == "5 in"
    for bad in (0, -16, 3, 10, 128, 16.5):
        with pytest.raises(ValueError, match=f"denominator {bad} is not on a tape"):
            tape(0.1, denominator=bad)


@pytest.mark.parametrize("k", range(0, 400, 7))
def test_tape_halves_go_away_from_zero(k):
    half, upper = (k + 0.5) / 16, (k + 1) / 16
    assert tape(half * INCH) == tape(upper * INCH)
    assert tape(-half * INCH) == tape(-upper * INCH)
    assert tape((half - 1e-6) * INCH) == tape(k / 16 * INCH)


@settings(deadline=None)
@given(sixty_fourths=st.integers(-20_000, 20_000), power=st.integers(0, 6))
def test_tape_is_the_nearest_reduced_division(sixty_fourths, power):
    metres, denominator = sixty_fourths / 64 * INCH, 2**power
    text = tape(metres, denominator=denominator)
    error = parse(text, Length) - metres
    assert abs(error) <= INCH / denominator / 2 + 1e-12
    if "/" in text:
        top, bottom = map(int, text.removesuffix(" in").split("-")[-1].split("/"))
        assert top % 2 == 1 and top < bottom <= denominator


# --- light to import -----------------------------------------------------------------------------


def test_writing_loads_no_heavy_library():
    code = (
        "import sys, suspkit.units as u;"
        "u.show(1.0, 'rate'); u.tape(0.1); u.from_unit([1, 2], 'pitch');"
        "heavy = {'pint', 'pydantic', 'pydantic_core', 'scipy', 'pandas', 'matplotlib'};"
        "sys.exit(', '.join(heavy & set(sys.modules)) or 0)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
