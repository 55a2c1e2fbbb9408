"""The work sheet: its numbers against independent ones, one page, safe text, whole files."""

import io
import re
import shutil
import subprocess
import sys
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest

import suspkit as sk
from suspkit.dynamics import damping
from suspkit.files import UnwritableError
from suspkit.shop import sheet
from suspkit.shop.paper import book, fitted, slug
from suspkit.units import INCH, show, tape
from suspkit.vehicle import limits
from suspkit.vehicle.setup import CORNERS

MARKUP = "<script>alert(1)</script> & \"Unit\" 'Seven' ½"
UNITS = ("us", "metric")
PAPERS = ("letter", "a4")


@pytest.fixture(scope="module")
def unit7():
    return sk.example("unit7")


@pytest.fixture(scope="module")
def kit(unit7):
    return sheet.work_sheet(unit7, setup="kit", load="patrol")


class _Text(HTMLParser):
    """What a reader sees, by line, and every tag and attribute."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.attributes, self.seen, self.skip = [], [], [], 0
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs
        self.skip += tag == "style"

    def handle_endtag(self, tag):
        self.skip -= tag == "style"

    def handle_data(self, data):
        if not self.skip:
            self.seen.append(data)

    @property
    def words(self):
        return " ".join("".join(self.seen).split())


def _row(page, label):
    """The cells of a table's row that starts with this label."""
    row = re.search(rf"<tr[^>]*><th>{re.escape(label)}</th>(.*?)</tr>", page, re.DOTALL)
    return [_Text(cell).words for cell in re.findall(r"<td[^>]*>(.*?)</td>", row[1], re.DOTALL)]


def _printed(data):
    pypdf = pytest.importorskip("pypdf")
    pages = pypdf.PdfReader(io.BytesIO(data)).pages
    return len(pages), " ".join(" ".join(page.extract_text() for page in pages).split())


# --- numbers -------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["kit", "stock"])
@pytest.mark.parametrize("load", ["bare", "patrol", "carry-out"])
def test_numbers_are_those_of_the_stance(unit7, name, load):
    ours = sheet.work_sheet(unit7, setup=name, load=load)
    stance = sk.settle(unit7, unit7.setups[name], load=load)
    low, high = sk.height_band(unit7, unit7.setups[name], load=load)
    for i, corner in enumerate(CORNERS):
        c = ours.corners[corner]
        assert c.height == stance.height[i]
        assert (c.height_low, c.height_high) == (low[i], high[i])
        assert c.height_low < c.height < c.height_high
        assert (c.bump_left, c.droop_left) == (stance.bump_left[i], stance.droop_left[i])
        assert c.frequency == stance.frequency[i]
        assert c.past_crossover == stance.past_crossover[i]
        assert c.load_factor == stance.bottoming.load_factor[i]
        assert c.energy == stance.bottoming.energy[i]
        assert c.drop_height == stance.bottoming.drop_height[i]
    rake = stance.height[:2].mean() - stance.height[2:].mean()
    assert ours.rake == pytest.approx(rake, abs=1e-12)
    assert ours.aboard == pytest.approx(
        unit7.masses(load).mass - unit7.masses("bare").mass, rel=1e-12
    )


def test_default_is_the_current_setup_in_the_target_load(unit7):
    ours = sheet.work_sheet(unit7)
    assert (ours.setup_name, ours.load) == (unit7.current, unit7.targets.load)
    assert sheet.work_sheet(replace(unit7, targets=None)).load == next(iter(unit7.loads))
    bare = sheet.work_sheet(replace(unit7, targets=None, loads={}))
    assert bare.load is None and bare.aboard == 0
    assert bare.side_to_side == pytest.approx(INCH / 16)


@pytest.mark.parametrize("corner", ["front_left", "rear_right"])
def test_two_springs_by_hand(unit7, kit, corner):
    """Tender k_t over main k_m, held apart by a ring: everything follows from Hooke's law."""
    c, shock = kit.corners[corner], unit7.axle_of(corner).shock
    tender, main = (unit7.springs[spring.name] for spring in c.springs)
    k_t, k_m = tender.rate, main.rate
    assert [s.rate for s in c.springs] == pytest.approx([k_t, k_m])

    # Springs alone, from droop hang: in series until the tender has moved the gap and the lip.
    hung = sk.assemble(unit7, unit7.setups["kit"])[corner].hang
    squeeze = c.preload - c.given_back  # of the stack at droop hang
    at_hang = squeeze * k_t * k_m / (k_t + k_m)
    moved = at_hang / k_t + c.gap[0] + shock.divider_lip
    (crossing,) = c.crossings
    assert crossing.force == pytest.approx(k_t * moved, rel=1e-9)
    assert crossing.compression == pytest.approx(
        hung + (k_t * moved - at_hang) * (1 / k_t + 1 / k_m), rel=1e-9
    )
    linkage = unit7.axle_of(corner).motion
    assert linkage.compression(crossing.travel) == pytest.approx(crossing.compression, rel=1e-9)

    # Past it only the main spring moves, so that one binds, and the tender keeps its load.
    full = k_t * moved + k_m * (shock.full_bump - crossing.compression)
    assert [s.force for s in c.springs] == pytest.approx([k_t * moved, full], rel=1e-9)
    assert [s.room for s in c.springs] == pytest.approx(
        [tender.travel - moved, main.travel - full / k_m], rel=1e-9
    )
    assert c.bind.name == main.name
    assert c.bind.margin == pytest.approx(main.travel - full / k_m, rel=1e-9)
    assert c.bind.force == pytest.approx(k_m * main.travel, rel=1e-9)
    # Nothing else can move then, so all is solid; metal to metal is the rest of the stroke on.
    assert c.room == pytest.approx(c.bind.margin, rel=1e-9)
    left = shock.stroke - shock.full_bump
    assert c.metal_room == pytest.approx(c.room - left, abs=1e-12)
    assert c.springs[1].metal_room == pytest.approx(max(0.0, c.springs[1].room - left), abs=1e-9)

    # Shear stress with the direct-shear factor, which the share of strength of springs set solid
    # goes with (Shigley Eq. 10-3, 10-7 and Table 10-6), for each spring under its own load.
    for spring, wire in zip(c.springs, (tender.wire, main.wire), strict=True):
        index = wire.mean_diameter / wire.wire_diameter
        stress = 1 + 0.5 / index
        stress *= 8 * spring.force * wire.mean_diameter / (np.pi * wire.wire_diameter**3)
        assert spring.safety_factor == pytest.approx(wire.shear_yield / stress, rel=1e-12)
    assert c.weakest.safety_factor == min(s.safety_factor for s in c.springs)

    # The ring sits above the divider by the gap; the divider is at the foot of the tender.
    assert c.ring_below_collar[0] == pytest.approx(
        tender.free_length - at_hang / k_t - c.gap[0], rel=1e-9
    )


def test_a_tender_that_binds_is_told_with_its_own_load(unit7):
    for corner, c in sheet.work_sheet(unit7, setup="stock").corners.items():
        tender = unit7.springs[c.springs[0].name]
        assert c.bind.name == tender.name and c.bind.margin < 0, corner
        assert c.bind.force == pytest.approx(tender.rate * tender.travel, rel=1e-12)
        # Coil on coil carries the rest: its wire is stressed no further than at bind.
        assert c.springs[0].force == pytest.approx(c.bind.force, rel=1e-9)
        assert c.springs[0].room == pytest.approx(0, abs=1e-12)
        assert c.crossings == () and np.isnan(c.frequency_past)


@pytest.mark.parametrize("corner", ["front_right", "rear_left"])
def test_frequency_on_both_sides_of_crossover(unit7, kit, corner):
    """Against a difference of wheel force of springs and gas on each side, tyre in series."""
    c, axle = kit.corners[corner], unit7.axle_of(corner)
    made = sk.assemble(unit7, unit7.setups["kit"])[corner]
    standing = sk.settle(unit7, unit7.setups["kit"], load="patrol").at(corner)["wheel_force"]

    def wheel_force(travel):
        at = axle.motion.compression(travel)
        force = made.stack_curve(at) + axle.shock.gas_force(at)
        return force * axle.motion.motion_ratio(travel)

    z, h = c.crossings[0].travel, 1e-6
    rates = ((wheel_force(z) - wheel_force(z - h)) / h, (wheel_force(z + h) - wheel_force(z)) / h)
    for rate, ours in zip(rates, (c.frequency_below, c.frequency_past), strict=True):
        ride = 1 / (1 / rate + 1 / axle.tyre.rate)
        assert ours == pytest.approx(np.sqrt(ride / (standing / 9.80665)) / (2 * np.pi), rel=1e-4)
    assert c.frequency_past > c.frequency_below


def test_thread_and_contact(unit7, kit):
    for corner, c in kit.corners.items():
        made = sk.assemble(unit7, unit7.setups["kit"])[corner]
        thread = made.shock.thread
        # All turns left down, and the collar is at the end of its thread.
        end = made.collar_at + c.turns_down * thread.collar_pitch
        assert end == pytest.approx(thread.collar_travel)
        assert c.turns_up == c.turns - made.turn_limits[0] >= 0
        # Counted from a contact found with the bolt out, the preload is short by the difference.
        touches = thread.seat_span - made.unbolted_hang - made.stack_length
        preload = touches + c.turns * thread.collar_pitch - made.contact_at
        assert c.turns - preload / thread.collar_pitch == pytest.approx(c.bolt_out_error)
        assert c.bolt_out_error > 0
        assert c.gap_limits[0][0] <= c.gap[0] <= c.gap_limits[0][1]


def test_compressor_has_what_goes_on_and_what_comes_off(unit7, kit):
    assert list(kit.compressor) == ["kit", "stock"]
    for name, checks in kit.compressor.items():
        assert checks == sk.compressor_check(unit7, unit7.setups[name])
    assert list(sheet.work_sheet(unit7, setup="stock").compressor) == ["stock", "kit"]


# --- the page ------------------------------------------------------------------------------------


@pytest.mark.parametrize("units", UNITS)
def test_page_shows_the_numbers(unit7, units):
    page = sheet.html(unit7, setup="kit", load="patrol", units=units)
    stance = sk.settle(unit7, unit7.setups["kit"], load="patrol")
    low, high = sk.height_band(unit7, unit7.setups["kit"], load="patrol")
    assert _row(page, "Expected") == [show(h, "tape", units) for h in stance.height]
    assert _row(page, "Friction band") == [
        f"{show(a, 'tape', units)} to {show(b, 'tape', units)}"
        for a, b in zip(low, high, strict=True)
    ]
    factor = stance.bottoming.load_factor
    assert _row(page, "Full bump / standing load") == [
        f"{factor[:2].min():.2f} ×", f"{factor[2:].min():.2f} ×",
    ]  # fmt: skip
    for told, i in zip(_row(page, "Frequency; below / past ring"), (0, 2), strict=True):
        standing = show(stance.frequency[i : i + 2].mean(), "frequency").removesuffix(" Hz")
        assert re.fullmatch(rf"{standing}; \d\.\d\d / \d\.\d\d Hz", told)
    # Unit 7's front clears metal by a hair: 0.504 in at full bump, 0.004 in at metal.
    assert _row(page, "All solid, full bump / metal")[0] == (
        "0.50 / 0.00 in past" if units == "us" else "12.8 / 0.1 mm past"
    )
    check = sk.compressor_check(unit7, unit7.setups["kit"])["rear"]
    assert _row(page, "Fit kit-rear") == [
        show(check.squeeze, "tape", units), show(check.force, "force", units),
        show(check.energy, "energy", units, 1), show(check.main_force, "force", units),
    ]  # fmt: skip
    words = _Text(page).words
    for name in ("Unit 7", "patrol", "navigator", unit7.digest[:12], "unit7.toml", sk.__version__):
        assert name in words
    assert "nvented" in words
    assert ("in" if units == "us" else "mm") in words


def test_the_six_numbers_are_the_biggest(unit7):
    page = sheet.html(unit7)
    big = [_Text(b).words for b in re.findall(r'<div class="big[^"]*">(.*?)</div>', page)]
    expected = []
    for chosen in (unit7.setup.front_left, unit7.setup.rear_left):
        clicks = [f"{count:g}" for count in chosen.clicks.values()]
        expected += [f"{chosen.turns:g}", tape(chosen.gap), *clicks]
    assert big == expected
    sizes = [float(size) for size in re.findall(r"font-size: ([0-9.]+)rem", page)]
    assert f".big {{ font-size: {max(sizes)}rem" in page


def test_left_and_right_that_differ_are_both_told(unit7):
    setup = unit7.setup.change("front_left", turns=4.25).change("rear_right", gap=4.5 * INCH)
    page = sheet.html(unit7, setup=setup)
    words = _Text(page).words
    assert "front L 4.25, R 4, rear 5" in words
    assert f"rear L {tape(unit7.setup.rear_left.gap)}, R 4-1/2 in" in words
    assert sheet.work_sheet(unit7, setup=setup).setup_name == "new"
    # The chart draws the left side, and says so.
    assert "Set-up new" in words


def test_one_side_without_a_ring(unit7):
    stock = unit7.setups["stock"].front_left
    setup = replace(unit7.setup, front_right=stock)
    page = sheet.html(unit7, setup=setup)
    made = sheet.work_sheet(unit7, setup=setup)
    left, right = (made.corners[f"front_{side}"].damping[0] for side in ("left", "right"))
    (bump,), (below, past) = right["compression"], left["compression"]
    front = _row(page, "Damping ±1 in, bump; reb.")[0]
    assert front.startswith(f"L {below:.2f} / {past:.2f}, R {bump:.2f}; L ")
    # The kit is on one side only, and its tender and main are what the compressor has to hold.
    check = sk.compressor_check(unit7)["front"]
    assert check.force > 0
    assert _row(page, "Fit kit-front or stock-front")[1] == show(check.force, "force")
    assert "Take off stock-front" in page


def test_cautions_come_before_the_work(unit7):
    words = _Text(sheet.html(unit7)).words
    assert words.index("can kill") < words.index("rated stands")
    for owed in ("local codes", "licensed", "manufacturer's procedures"):
        assert owed in words


def test_chart_is_the_force_of_springs_and_gas(unit7, kit):
    for axle in ("front", "rear"):
        curve = kit.curves[axle]
        corner = sk.assemble(unit7, unit7.setups["kit"])[f"{axle}_left"]
        x = curve["compression"]
        springs = corner.stack.force(x + corner.seat)
        assert curve["force"] == pytest.approx(springs + corner.shock.gas_force(x), rel=1e-12)
        assert np.isin(kit.corners[f"{axle}_left"].crossings[0].compression, x)
        touched = x > corner.shock.bump_touch
        assert (curve["with_stop"][touched] > curve["force"][touched]).all()
        past_top_out = (x >= corner.shock.top_out.length) & ~touched
        assert curve["with_stop"][past_top_out] == pytest.approx(curve["force"][past_top_out])
    page = sheet.html(unit7)
    chart = page[page.index("<svg") : page.index("</svg>")]
    alt = re.search(r'role="img" aria-label="([^"]*)"', chart)[1]
    assert show(kit.corners["rear_left"].crossings[0].compression, "length") in alt


def test_page_needs_nothing_beside_it(unit7):
    page = sheet.html(unit7)
    parsed = _Text(page)
    assert not {"script", "link", "img", "iframe", "object"} & set(parsed.tags)
    for name, value in parsed.attributes:
        assert not name.startswith("on")
        assert name not in ("src", "srcset")
        assert "href" not in name or value.startswith("#")
    assert not re.search(r"url\((?!#)", page) and "@import" not in page


def _rude(unit7):
    """Every text of a user's that gets onto the page, with markup in it and far too long."""
    items = {
        f"<b>thing {i}</b>" + "w" * 60: replace(unit7.items["spare"], note=MARKUP)
        for i in range(30)
    }
    load = replace(unit7.loads["patrol"], items=tuple(items), note=MARKUP * 9)
    name = "<i>kit</i>" + "W" * 90
    setups = {name: replace(unit7.setup, note=MARKUP * 9)}
    return replace(
        unit7, name=MARKUP + "W" * 300, about=MARKUP * 20, items=items, loads={MARKUP: load},
        setups=setups | unit7.setups, current=name, targets=None,
        source=f"/somewhere/{MARKUP.replace('/', '')}.toml", digest="<" * 64,
    )  # fmt: skip


def test_names_that_differ_do_not_share_a_file():
    names = ["kit A", "kit/A", "kit: A", "救助", "山岳", "!", "?", "k" * 41, "k" * 42]
    assert len({slug(name) for name in names}) == len(names)
    assert slug("kit A") == "kit-a" and max(len(slug(name)) for name in names) <= 40


@pytest.mark.parametrize("units", UNITS)
def test_text_of_the_users_is_text(unit7, units, tmp_path):
    rude = _rude(unit7)
    page = sheet.html(rude, units=units)
    plain = sheet.html(unit7, units=units)
    assert sorted(set(_Text(page).tags)) == sorted(set(_Text(plain).tags))
    assert "<script>alert(1)</script> & \"Unit\" 'Seven'"[:39] in _Text(page).words
    html, pdf = sheet.write(rude, units=units, folder=tmp_path)
    assert re.fullmatch(r"[a-z0-9-]+\.html", html.name) and len(html.name) < 140
    count, words = _printed(pdf.read_bytes())
    assert count == 1
    assert "<script>alert(1)</script>" in words


# --- one page ------------------------------------------------------------------------------------


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("units", UNITS)
def test_one_page_in_full_size_type(unit7, units, paper):
    pytest.importorskip("plutoprint")
    for setup in unit7.setups:
        for load in unit7.loads:
            page = sheet.html(unit7, setup=setup, load=load, units=units)
            assert book(page, paper).get_page_count() == 1, (setup, load)


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("units", UNITS)
def test_one_page_whatever_the_text(unit7, units, paper):
    pytest.importorskip("plutoprint")
    setup = unit7.setup.change("front_left", turns=4.37).change("rear_right", gap=3.9 * INCH)
    for vehicle, chosen in ((_rude(unit7), None), (unit7, setup), (_rude(unit7), setup)):
        ours = sheet.work_sheet(vehicle, setup=chosen, units=units)
        _, data = fitted(sheet._page(ours, units), paper, sheet.SCALES)
        assert _printed(data)[0] == 1


@pytest.mark.browser
@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("units", UNITS)
def test_one_page_from_a_browser(unit7, units, paper, tmp_path):
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        pytest.skip("no Chromium here")
    page = sheet.html(unit7, units=units)
    assert page.count("@page { margin") == 1
    (tmp_path / "sheet.html").write_text(
        page.replace("@page { margin", f"@page {{ size: {paper}; margin"), encoding="utf-8"
    )
    subprocess.run(
        [
            chromium, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
            f"--user-data-dir={tmp_path / 'profile'}", f"--print-to-pdf={tmp_path / 'sheet.pdf'}",
            (tmp_path / "sheet.html").as_uri(),
        ],
        check=True, capture_output=True, timeout=60,
    )  # fmt: skip
    count, words = _printed((tmp_path / "sheet.pdf").read_bytes())
    assert count == 1 and "Turns from contact" in words


# --- files ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("units", UNITS)
def test_pdf_has_the_numbers_as_text(unit7, units, tmp_path):
    html, pdf = sheet.write(unit7, units=units, folder=tmp_path / "new" / "folder")
    assert [html.name, pdf.name] == [f"unit-7-kit-patrol.{kind}" for kind in ("html", "pdf")]
    count, words = _printed(pdf.read_bytes())
    assert count == 1
    front, rear = unit7.setup.front_left, unit7.setup.rear_left
    gaps = [show(chosen.gap, "tape", units) for chosen in (front, rear)]
    assert f"Turns from contact: front {front.turns:g}, rear {rear.turns:g}." in words
    assert f"front {gaps[0]}, rear {gaps[1]}." in words
    assert unit7.digest[:12] in words
    assert html.read_text(encoding="utf-8").startswith("<!doctype html>")
    assert sorted(path.name for path in html.parent.iterdir()) == [html.name, pdf.name]


def test_the_same_numbers_give_the_same_bytes(unit7, tmp_path):
    first = [path.read_bytes() for path in sheet.write(unit7, folder=tmp_path / "a")]
    again = [path.read_bytes() for path in sheet.write(sk.example("unit7"), folder=tmp_path / "b")]
    assert first == again


def test_pdf_brings_its_own_type(unit7, tmp_path):
    """The same page, letter for letter, on a machine with no fonts at all."""
    here = sheet.write(unit7, folder=tmp_path / "here")[1]
    (tmp_path / "empty.conf").write_text("<fontconfig></fontconfig>")
    program = (
        "import suspkit, sys; from suspkit import sheet; "
        "sheet.write(suspkit.example('unit7'), folder=sys.argv[1])"
    )
    subprocess.run(
        [sys.executable, "-c", program, str(tmp_path / "there")],
        check=True, timeout=120, env=_environment(FONTCONFIG_FILE=str(tmp_path / "empty.conf")),
    )  # fmt: skip
    assert (tmp_path / "there" / here.name).read_bytes() == here.read_bytes()

    pypdf = pytest.importorskip("pypdf")
    fonts = pypdf.PdfReader(here).pages[0]["/Resources"]["/Font"].values()
    assert len(fonts) > 0
    assert all("DejaVu" in font.get_object()["/BaseFont"] for font in fonts)


def _environment(**changes):
    import os
    from pathlib import Path

    paths = [str(Path(sk.__file__).parents[1]), os.environ.get("PYTHONPATH", "")]
    return os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, paths))} | changes


def test_nothing_is_half_written(unit7, tmp_path):
    (tmp_path / "file").write_text("here already")
    with pytest.raises(UnwritableError, match="file.* cannot be written"):
        sheet.write(unit7, folder=tmp_path / "file")
    # The page could be written, the PDF cannot: then neither is.
    (tmp_path / "out" / "unit-7-kit-patrol.pdf").mkdir(parents=True)
    with pytest.raises(UnwritableError, match=r"unit-7-kit-patrol\.pdf cannot be written"):
        sheet.write(unit7, folder=tmp_path / "out")
    assert [p.name for p in (tmp_path / "out").iterdir()] == ["unit-7-kit-patrol.pdf"]


def test_without_a_printer_there_is_a_way_out(unit7, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "plutoprint", None)
    with pytest.raises(sheet.PrintError, match=r"pip install plutoprint.*pdf=False"):
        sheet.write(unit7, folder=tmp_path / "out")
    assert not (tmp_path / "out").exists()
    (html,) = sheet.write(unit7, folder=tmp_path / "out", pdf=False)
    assert html.read_text(encoding="utf-8") == sheet.html(unit7)
    assert list((tmp_path / "out").iterdir()) == [html]


def test_a_printer_that_fails_leaves_nothing(unit7, tmp_path, monkeypatch):
    plutoprint = pytest.importorskip("plutoprint")

    def fails(*_, **__):
        raise plutoprint.Error("out of ink")

    monkeypatch.setattr(plutoprint, "Book", fails)
    with pytest.raises(sheet.PrintError, match="out of ink.*pdf=False"):
        sheet.write(unit7, folder=tmp_path / "out")
    assert not (tmp_path / "out").exists()


# --- what must not be overlooked -----------------------------------------------------------------


def _laden(unit7, **places):
    item = replace(unit7.items["litter"], **places)
    loads = unit7.loads | {"big": replace(unit7.loads["patrol"], items=("rock",))}
    return replace(unit7, items=unit7.items | {"rock": item}, loads=loads)


@pytest.mark.parametrize(
    ("places", "sentence"),
    [
        ({"mass": 3000.0, "left_of_centre": 4.0}, "it tips over"),
        ({"mass": 4000.0, "behind_front_axle": 1.5}, "Front, both sides: it stands at full bump"),
        ({"mass": 700.0, "behind_front_axle": 3.0}, "Rear, both sides: it stands on its bump stop"),
        ({"mass": 700.0, "left_of_centre": 1.2},
         "Front right: the tire is off the ground"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("units", UNITS)
def test_a_bad_stance_is_told_first(unit7, places, sentence, units):
    page = sheet.html(_laden(unit7, **places), load="big", units=units)
    words = _Text(page).words
    assert sentence in words
    assert words.index(sentence) < words.index("Collar turns")
    assert "nan" not in _Text(page).seen and " nan" not in words
    assert book(page, "letter").get_page_count() == 1


def test_a_good_stance_has_no_box(unit7):
    assert sheet.work_sheet(unit7).problems == ()
    assert 'class="problems"' not in sheet.html(unit7)


def test_thread_is_told_once_an_axle(unit7):
    made = sk.assemble(unit7)["front_left"]
    most = made.gap_limits()[1]
    setup = unit7.setup.change("front", gap=most + INCH / 4)
    (problem,) = sheet.work_sheet(unit7, setup=setup).problems
    assert problem.startswith(f"Front, both sides: gap is {tape(most + INCH / 4)}; expected ")
    setup = unit7.setup.change("front_right", gap=most * 1.1)
    (problem,) = sheet.work_sheet(unit7, setup=setup).problems
    assert problem.startswith("Front right: gap is ")


def test_loose_and_overstressed_springs_are_told(unit7):
    main = unit7.springs["main-320-16"]
    weak = replace(main, wire=replace(main.wire, scragged=False, material="hard-drawn"))
    weak = replace(unit7, springs=unit7.springs | {main.name: weak})
    (problem,) = sheet.work_sheet(weak).problems
    assert problem.startswith("Front, both sides: main-320-16 is stressed past yield")
    slack = [limits.Reading("loose springs", "setups.kit.rear_left", x) for x in (1e-9, INCH / 4)]
    (verdict,) = limits.judge(slack)
    assert verdict.is_loud
    assert limits.words(verdict).startswith("Rear left: the springs hang loose by 0.25 in at droop")


# --- bad input -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"load": "patrl"}, r"load is 'patrl'; expected a load of this vehicle: .*'patrol'"),
        ({"load": ["patrol", "bare"]}, r"load is \['patrol', 'bare'\]; expected the name of one"),
        ({"setup": "kitt"}, r"setup is 'kitt'; expected a set-up of this vehicle: .*'kit'"),
        ({"setup": 7}, r"setup is 7; expected a Setup, the name of one"),
        ({"units": "imperial"}, r"units is 'imperial'; expected a system: us, metric"),
    ],
)
def test_wrong_names(unit7, wrong, sentence, tmp_path):
    with pytest.raises(ValueError, match=sentence):
        sheet.write(unit7, folder=tmp_path / "out", **wrong)
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("where", "changes", "field"),
    [
        ("front_left", {"turns": np.array([3.0, 4.0])}, "front_left.turns"),
        ("rear_right", {"gap": np.array([0.1])}, "rear_right.gap"),
        ("rear_right", {"gap": (np.array([0.1, 0.11]),)}, "rear_right.gap"),
        ("front_right", {"ring": np.array([0.02, 0.03])}, "front_right.ring"),
        ("rear_left", {"clicks": {"rebound": np.array([5, 6])}}, "rear_left.clicks.rebound"),
    ],
)
def test_a_batch_is_refused(unit7, where, changes, field):
    setup = unit7.setup.change(where, **changes)
    with pytest.raises(ValueError, match=rf"{field} is an array of shape \(\d,\); expected one"):
        sheet.work_sheet(unit7, setup=setup)


def test_a_batch_by_name_is_refused(unit7):
    setup = unit7.setup.change("front", turns=np.array([3.0, 4.0]))
    vehicle = replace(unit7, setups=unit7.setups | {"kit": setup})
    with pytest.raises(ValueError, match="front_left.turns is an array"):
        sheet.work_sheet(vehicle)


def test_a_bar_of_a_batch_is_refused(unit7):
    setup = replace(unit7.setup, front_bar=np.array([True, False]))
    with pytest.raises(ValueError, match=r"front_bar is an array of shape \(2,\)"):
        sheet.work_sheet(unit7, setup=setup)


def test_a_setup_that_cannot_be_built_is_one_sentence(unit7):
    setup = unit7.setup.change("rear", turns=90.0)
    with pytest.raises(sk.BrokenSetupError, match="solid .* before full bump"):
        sheet.html(unit7, setup=setup)


def test_damping_and_first_bottoms(unit7):
    numbers = sheet.work_sheet(unit7)
    swings = damping.STATED
    table = sk.damping_ratios(unit7, load=numbers.load, amplitude=swings)
    for name, corner in numbers.corners.items():
        for direction in ("compression", "rebound"):
            rows = table[
                (table["corner"] == name) & table["set"] & (table["direction"] == direction)
            ].set_index(["amplitude", "where"])["ratio"]
            for swing, told in zip(swings, corner.damping, strict=True):
                assert told[direction] == (rows[swing, "below"], rows[swing, "past"])
        # Driven again from just under and just over that height, it clears and touches.
        for factor, bottoms in ((0.98, False), (1.02, True)):
            event = sk.events.drop(height=factor * corner.first_bottoms, duration=1.0)
            run = sk.drive(
                unit7, event=event, load=numbers.load, model="quarter", corner=name
            )  # fmt: skip
            assert (run.bottomings[0] > 0) == bottoms
        assert corner.first_bottoms > corner.drop_height  # dampers only add to it
    words = sheet.html(unit7)
    assert "Damping ±1 in, bump; reb." in words and "Damping ±4 in, bump; reb." in words
    for i in range(2):
        left, right = (
            numbers.corners[f"front_{s}"].damping[i]["rebound"] for s in ("left", "right")
        )
        assert f"{(left[0] + right[0]) / 2:.2f} / {(left[1] + right[1]) / 2:.2f}" in words
    late = sheet.html(unit7, setup=unit7.setup.change("rear", gap=0.128))
    assert "stop left out" in late and "stop left out" not in words
    assert "First bottoms" in words
