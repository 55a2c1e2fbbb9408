"""Vehicle files that are wrong in one way each, and what their one sentence must say."""

from pathlib import Path

DATA = Path(__file__).parents[2] / "data"

# name: (text in the file, what replaces it, words that must all be in the sentence)
EDITS = {
    "missing field": ('wheelbase = "117 in"\n', "", ["wheelbase is missing", "expected"]),
    "missing field of a table": ('radius = "16 in"\n', "", ["front.tyre.radius is missing"]),
    "missing table": (
        '[rear.point]\nbehind_front_axle = "105 in"\nleft_of_centre = "9 in"\n', "",
        ["rear.point is missing", "expected"],
    ),
    "misspelt table": (
        "[front.tyre]", "[front.tire]",
        ["front.tire is not a known field", "did you mean tyre?"],
    ),
    "unknown field": (
        "wheelbase =", "wheel_base =",
        ["wheel_base is not a known field", "did you mean wheelbase?"],
    ),
    "unknown field of a table": (
        'hub_below_frame = "7 in" ', 'hub_bellow_frame = "7 in" ',
        ["front.hub_bellow_frame is not a known field", "hub_below_frame"],
    ),
    "unknown field of a set-up": (
        "turns = 4", "truns = 4", ["setups.kit.front.truns", "expected one of", "turns"],
    ),
    "a mass for a rate": (
        'rate = "850 lb/in"', 'rate = "200 lb"',
        ["front.tyre.rate is '200 lb'", "a mass", "expected a rate", "200 lb/in"],
    ),
    "a rate for a length": (
        'track = "64 in"', 'track = "64 lb/in"', ["front.track is '64 lb/in'", "expected a length"],
    ),
    "a length for turns": (
        "turns = 4", 'turns = "4 in"', ["setups.kit.front.turns is '4 in'", "number of turns"],
    ),
    "no unit": (
        'wheelbase = "117 in"', "wheelbase = 117",
        ["wheelbase is 117", "no unit", "117 in"],
    ),
    "text for a number": (
        'wheelbase = "117 in"', 'wheelbase = "long"', ["wheelbase is 'long'", "expected a length"],
    ),
    "a list for a table": ("[front.tyre]", "[[front.tyre]]", ["front.tyre is", "expected a table"]),
    "negative length": (
        'wheelbase = "117 in"', 'wheelbase = "-117 in"',
        ["wheelbase is '-117 in'", "negative", "expected a length above zero"],
    ),
    "negative mass": (
        'mass = "190 lb"', 'mass = "-190 lb"',
        ["items.driver.mass is '-190 lb'", "expected a mass of zero or more"],
    ),
    "negative turns": ("turns = 4", "turns = -4", ["setups.kit.front.turns is -4", "zero or more"]),
    "negative gap": (
        'gap = "1 in"', 'gap = "-1 in"', ["setups.kit.front.gap is '-1 in'", "zero or more"],
    ),
    "zero rate": ('rate = "850 lb/in"', 'rate = "0 lb/in"', ["front.tyre.rate", "above zero"]),
    "absurd length": (
        'track = "64 in"', 'track = "3 mi"',
        ["front.track is '3 mi'", "too large", "expected a length of at most"],
    ),
    "absurd mass": (
        'front_left = "447 lb"', 'front_left = "447 t"',
        ["scales.front_left is '447 t'", "expected a mass of at most"],
    ),
    "absurd pressure": (
        'pressure = "175 psi"', 'pressure = "175 ksi"',
        ["front.shock.gas.pressure is '175 ksi'", "expected a pressure of at most"],
    ),
    "unsprung heavier than the scales": (
        'unsprung_mass = "72 lb"', 'unsprung_mass = "720 lb"',
        ["front.unsprung_mass is", "expected less than", "scale reading"],
    ),
    "travel that does not rise": (
        '"10 in", "12 in", "14 in"', '"10 in", "9 in", "14 in"',
        ["front.linkage", "travel must rise", "9.00 in", "row 8"],
    ),
    "length that does not fall": (
        '"26-3/8 in", "25-5/16 in"', '"26-3/8 in", "26-1/2 in"',
        ["front.linkage", "eye_to_eye must shorten", "26.50 in", "row 8"],
    ),
    "columns of two lengths": (
        '"10 in", "12 in", "14 in"', '"10 in", "14 in"', ["front.linkage", "same length"],
    ),
    "springs solid before full bump": (
        "turns = 4", "turns = 68",
        ["setups.kit.front", "solid", "before full bump", "expected longer springs"],
    ),
    "springs that do not reach": (
        'seat_span = "23-1/2 in"', 'seat_span = "29 in"',
        ["setups.stock.front.stack is", "long; expected at least", "collar"],
    ),
    "collar beyond its thread": (
        'collar_travel = "5 in"', 'collar_travel = "2-1/2 in"',
        ["setups.stock.front.turns is 8; expected 0.0 to", "collar's thread"],
    ),
    "ring beyond its thread": (
        'gap = "1 in"', 'gap = "6 in"',
        ["setups.kit.front.gap is 6 in; expected 0 in to", "ring's thread"],
    ),
    "divider past the thread": (
        'ring_lowest = "9-1/2 in"', 'ring_lowest = "2 in"',
        ["setups.kit.front.gap is 1 in; expected a shorter stack or fewer turns"],
    ),
    "gap and ring": (
        'gap = "1 in"', 'gap = "1 in", ring = "1 in"',
        ["setups.kit.front.gap", "ring", "both given; expected one"],
    ),
    "gaps for more rings than there are": (
        'gap = "1 in"', 'gap = ["1 in", "2 in"]',
        ["setups.kit.front.gap has 2 value(s); expected 1"],
    ),
    "clicks past the last": (
        'gap = "1 in", clicks = { compression = 6', 'gap = "1 in", clicks = { compression = 60',
        ["setups.kit.front.clicks.compression is 60; expected a whole number from 0 to 12"],
    ),
    "unknown adjuster": (
        'gap = "1 in", clicks = { compression', 'gap = "1 in", clicks = { compresion',
        ["setups.kit.front.clicks is 'compresion'", "did you mean 'compression'?"],
    ),
    "unknown set-up": ('current = "kit"', 'current = "kti"', ["current is 'kti'", "stock, kit"]),
    "unknown spring": (
        '["tender-250-5.5", "main-320-16"]', '["tender-250-55", "main-320-16"]',
        ["stacks.kit-front.springs[0] is 'tender-250-55'", "did you mean 'tender-250-5.5'?"],
    ),
    "unknown item": (
        '["driver", "navigator", "light-kit", "winch"', '["driver", "dog", "light-kit", "winch"',
        ["loads.patrol.items[1] is 'dog'", "expected an item"],
    ),
    "unknown load": (
        'load = "patrol"', 'load = "party"', ["targets.load is 'party'", "bare, patrol, carry-out"],
    ),
    "not a number": ('wheelbase = "117 in"', "wheelbase = nan", ["wheelbase is nan", "finite"]),
    "not a number, in text": (
        '"117 in"', '"nan in"',
        ["wheelbase is 'nan in'", "expected a length"],
    ),
    "infinite": ("motion_ratio = 0.45", "motion_ratio = inf", ["front.bar.motion_ratio is inf"]),
    "a field it works out": (
        "name =", 'digest = "0"\nname =',
        ["digest is '0'", "expected no such"],
    ),
    "not TOML": ("[front]", "[front", ["not a TOML file", "line "]),
    "missing rack": ('"springs.csv"', '"rack.csv"', ["rack.csv", "cannot be read", "expected"]),
    "rack that is no name": ('rack = "springs.csv"', "rack = 3", ["rack is 3", "CSV"]),
    "spring longer solid than free": (
        "[stacks.stock-front]",
        '[springs.odd]\nrate = "200 lb/in"\nfree_length = "4 in"\nsolid_length = "5 in"\n'
        "[stacks.stock-front]",
        ["springs.odd", "solid_length", "not shorter than its free_length"],
    ),
    "spring without a law": (
        "[stacks.stock-front]",
        '[springs.odd]\nfree_length = "4 in"\nsolid_length = "3 in"\n[stacks.stock-front]',
        ["springs.odd", "no law; expected exactly one of rate, table, coils"],
    ),
    "spring table that falls": (
        "[stacks.stock-front]",
        '[springs.odd]\nfree_length = "4 in"\nsolid_length = "3 in"\n'
        'table = [["1/2 in", "200 lbf"], ["3/4 in", "150 lbf"]]\n[stacks.stock-front]',
        ["springs.odd", "row 2", "expected both columns to rise"],
    ),
}  # fmt: skip

# name: (bytes of the whole file, words)
WHOLE = {
    "empty": (b"", ["empty", "expected a vehicle"]),
    "only remarks": (b"# nothing\n\n", ["empty", "expected a vehicle"]),
    "not UTF-8": (b'name = "Unit 7"\n# caf\xe9\n', ["byte 21 is 0xe9; expected UTF-8"]),
    "a picture": (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", ["byte 0 is 0x89; expected UTF-8"]),
    "a zero byte": (b'name = "Unit\0 7"', ["not a TOML file"]),
    "deeply nested": (b"a = " + b"[" * 20000, ["not a TOML file"]),
}

# name: (text in the rack, what replaces it, words)
RACK_EDITS = {
    "a mass for a rate": (
        "stock-tender-front,70 lb/in", "stock-tender-front,70 lb",
        ["springs.csv line 5", "rate is '70 lb'", "expected a rate"],
    ),
    "not a number": ("70 lb/in,4 in", "70 lb/in,nan", ["line 5", "free_length is 'nan'"]),
    "unknown column": (
        "name,rate", "name,rat",
        ["line 4", "column is 'rat'", "did you mean 'rate'?"],
    ),
    "column twice": (
        "name,rate", "name,rate,rate", ["line 4", "column rate is there twice; expected each once"],
    ),
    "a spring twice": (
        "stock-main-front,", "stock-tender-front,",
        ["line 6", "name is 'stock-tender-front' again"],
    ),
    "a cell too few": ("70 lb/in,4 in,", "70 lb/in,", ["line 5", "has 10 cells; expected 11"]),
    "longer solid than free": (
        "70 lb/in,4 in,2-5/16 in", "70 lb/in,4 in,5 in", ["line 5", "not shorter than"],
    ),
}  # fmt: skip


def write_bad(folder, old, new, *, file="unit7.toml"):
    """Write the example into a folder with one thing changed.

    Returns
    -------
    Path
        Of the vehicle file.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for path in DATA.iterdir():
        text = path.read_text()
        if path.name == file:
            assert old in text, f"{old!r} is not in {file}"
            text = text.replace(old, new, 1)
        (folder / path.name).write_text(text)
    return folder / "unit7.toml"
