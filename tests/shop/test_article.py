"""Articles: every number computed, nothing from outside, one sentence for what cannot be made."""

import io
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import nbformat
import pytest

import suspkit as sk
from suspkit.shop import article
from suspkit.statics.view import look
from suspkit.units import show, tape

ARTICLES = sorted((Path(__file__).parents[2] / "docs" / "articles").glob("*.md"))
HEAD = '+++\ntitle = "A test"\nload = "patrol"\n+++\n'


class Page(HTMLParser):
    """Elements, words and computed values of a page."""

    def __init__(self, text):
        super().__init__()
        self.elements, self.words, self.values, self._deep = [], [], [], 0
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        self.elements.append((tag, attrs))
        if attrs.get("class") == "value":
            self.values.append("")
            self._deep = 1

    def handle_endtag(self, tag):
        if tag == "span":
            self._deep = 0

    def handle_data(self, data):
        self.words.append(data)
        if self._deep:
            self.values[-1] += data


def made(tmp_path, text, **options):
    path = tmp_path / "test.md"
    path.write_text(text, encoding="utf-8")
    return article.read(path, **options)


def changed(vehicle):
    """The vehicle with nearly every number of its file another."""
    springs = {
        name: replace(spring, rate=1.13 * spring.rate, free_length=spring.free_length + 0.011)
        if spring.rate is not None
        else spring
        for name, spring in vehicle.springs.items()
    }
    scales = replace(
        vehicle.scales,
        **{c: 1.06 * getattr(vehicle.scales, c) for c in ("front_left", "front_right")},
    )

    def axle(old, bolt):
        thread = replace(old.shock.thread, collar_pitch=0.0254 / 12, ring_pitch=0.0254 / 12)
        gas = replace(old.shock.gas, pressure=bolt * old.shock.gas.pressure)
        return replace(old, shock=replace(old.shock, thread=thread, gas=gas))

    setup = vehicle.setup.change("front", turns=5.0, gap=0.03).change("rear", turns=7.0, gap=0.09)
    return replace(
        vehicle, name="Unit 8", springs=springs, scales=scales, front=axle(vehicle.front, 1.3),
        rear=axle(vehicle.rear, 1.2), setups=vehicle.setups | {"kit": setup},
    )  # fmt: skip


@pytest.fixture(scope="module", params=ARTICLES, ids=lambda path: path.stem)
def each(request):
    return request.param


@pytest.fixture(scope="module")
def pages(each, unit7):
    """An article of the example vehicle, and of one whose file was changed."""
    return [Page(article.read(each, vehicle=v)) for v in (unit7, changed(unit7))]


def test_there_are_articles():
    assert [path.stem for path in ARTICLES] == ["what-a-stop-ring-does", "why-we-count-turns"]


def test_all_numbers_follow_the_vehicle_file(pages):
    before, after = (page.values for page in pages)
    assert len(before) == len(after) > 15
    same = [a for a, b in zip(before, after, strict=True) if a == b]
    # A sixteenth and an eighth of an inch and the rows' own turns are no numbers of the vehicle.
    fixed = {"1/8 in (3 mm)", "1/16 in (2 mm)", *(f"{n} turns" for n in range(0, 10, 2))}
    assert set(same) <= fixed


def test_no_number_is_typed(each):
    _, body, _ = article._parts(each.read_text(encoding="utf-8"), each.name)
    typed = re.sub(r"\{\{.*?\}\}|\{%.*?%\}", "", body, flags=re.DOTALL)
    assert not re.search(r"\d", typed)


def test_numbers_are_those_of_the_package(unit7):
    words = " ".join(Page(article.read(ARTICLES[0], vehicle=unit7)).values)
    corners, stance = sk.assemble(unit7), sk.settle(unit7, load="patrol")
    assert tape(float(stance.rear_height)) in words
    main = corners["rear_left"].stack.springs[-1]
    assert show(main.rate, "rate", "us") in words and show(main.rate, "rate", "metric") in words
    crossed = corners["rear_left"].linkage.travel(corners["rear_left"].crossover)
    assert tape(float(crossed)) in words
    assert f"{stance.bottoming.load_factor[2]:.2f}" in words


def test_pictures_have_words_and_nothing_comes_from_outside(each, unit7):
    text = article.read(each, vehicle=unit7)
    page = Page(text)
    images = [a for tag, a in page.elements if tag == "img"]
    assert images and all(len(a["alt"]) > 30 and a["src"].startswith("data:") for a in images)
    assert not any(a.get("src", "data:")[:5] != "data:" for _, a in page.elements)
    assert not any("href" in a and a["href"].startswith(("http", "//")) for _, a in page.elements)
    assert "default-src 'none'" in text and "Before you start." in text
    assert text.count("<h1>") == 1 and '<html lang="en">' in text


def test_text_of_the_vehicle_file_stays_text(unit7, tmp_path):
    rude = replace(unit7, name="<script>alert(1)</script> *x* [y](javascript:1) {{ 7 * 7 }}")
    text = made(tmp_path, HEAD + "About {{ vehicle.name }}.\n\n<b>raw</b>\n", vehicle=rude)
    assert "<script>alert(1)" not in text and "<em>" not in text and "javascript:1" in text
    assert "{{ 7 * 7 }}" in text and "<b>raw" not in text
    assert 'href="javascript' not in text


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("no head", r"test\.md: expected a head between two lines of \+\+\+"),
        ("+++\ntitle =\n+++\n", r"test\.md: the head is not TOML"),
        ('+++\ntitel = "x"\n+++\n', r"'titel'.*did you mean 'title'"),
        ("+++\ntitle = 3\n+++\n", r"title is 3; expected text in quotes"),
        ('+++\nload = "patrol"\n+++\n', r"title is missing"),
        (HEAD + "{{ nothing }}", r"test\.md line 5: name is 'nothing'; expected one of: vehicle, "),
        (HEAD + "\n{{ now.axles.front.height | furlongs }}", r"line 6: filter is 'furlongs'"),
        (HEAD + "{% if %}", r"test\.md line 5: "),
        (HEAD + "{{ setup.change('front', gap=-1) }}", r"line 5: gap is -1"),
        (HEAD + "\n\n{{ ().__class__.__mro__ }}", r"line 7: a comma is not known here"),
        (HEAD + "{{ 1 / 0 }}", r"line 5: this value is 0; expected another number to divide by"),
        (HEAD + "{{ now.stance.height[7] | tape }}", r"line 5: 7 picks none of 4 values"),
        (HEAD + "{{ now.stance.rake | number }}", r"name in a stance is 'rake'; expected one of"),
        (HEAD + "{{ look(now) }}", r"line 5: this is not a set-up; expected one"),
        (HEAD + "{{ look(1, 2) }}", r"look is called with what it does not take; .*\(setup, load"),
        (HEAD + "{{ 1 | number(7) }}", r"line 5: decimals are 7\.0; expected 0 to 6"),
        (HEAD + "{{ 1 + load }}", r"line 5: load is 'patrol'; expected a number"),
        (HEAD + "{% if 1 < load %}{% endif %}", r"1 is compared with 'patrol'; expected two "),
        (HEAD + "{% if load %}{% endif %}", r"line 5: load is 'patrol'; expected a comparison"),
        (HEAD + "{{ setup.rear_left.ring | tape }}", r"setup\.rear_left\.ring is not there"),
        (HEAD.replace("patrol", "picnic"), r"'picnic'.*patrol"),
        ('+++\ntitle = "A"\nsetup = "kid"\n+++\n', r"'kid'.*did you mean 'kit'"),
        ('+++\ntitle = "A"\nvehicle = "none.toml"\n+++\n', r"none\.toml"),
    ],
)
def test_one_sentence_for_what_cannot_be_made(tmp_path, text, words):
    with pytest.raises((article.ArticleError, sk.VehicleFileError), match=words) as caught:
        made(tmp_path, text)
    assert "\n" not in str(caught.value).strip()


@pytest.mark.parametrize(
    ("printed", "words"),
    [
        # A number without its unit, and what is no text at all.
        ("settle().bottoming.load_factor[0] - 2", r"this value is the bare number [\d.-]+;"),
        (
            "setup.rear_left.turns",
            r"setup\.rear_left\.turns is the bare number 5; expected a filter",
        ),
        ("0.2825574193228071", r"this value is the bare number 0\.282557; expected a filter"),
        ("look", r"look is a function; expected it to be called"),
        ("setup.change", r"setup\.change is a function; expected it to be called"),
        ("now", r"now is a look; expected a name inside it"),
        ("assemble().front_left.shock", r"this value is a shock; expected a name"),
        ("vehicle", r"vehicle is a vehicle; expected a name inside it"),
        ("study()['front']['ring']", r"this value is a table; expected a name inside it"),
        ("now.stance.height", r"now\.stance\.height is a row of 4; expected one of them, as \[0\]"),
        ("setup.rear_left.ring", r"setup\.rear_left\.ring is not there; expected a text"),
        ("now.stance.tipped", r"now\.stance\.tipped is false; expected a text"),
        ("now.stance.height[0] < 1", r"this value is true; expected a text"),
        ("none", r"this value is not there; expected a text"),
        ("1e400", r"this value is not there; expected a filter"),
        ("1e400 | number", r"this value is not there; expected a number for number"),
    ],
)
def test_only_texts_and_pictures_are_printed(tmp_path, unit7, printed, words):
    text = f"{HEAD}One.\n\n{{{{ {printed} }}}}\n"
    with pytest.raises(article.ArticleError, match=f"test.md line 7: {words}"):
        made(tmp_path, text, vehicle=unit7)


def test_all_that_an_article_may_name_is_there(unit7, tmp_path):
    """And the page on articles lists it."""
    page = (ARTICLES[0].parents[1] / "articles.md").read_text(encoding="utf-8")
    page = re.sub(r"```.*?```", "", page, flags=re.DOTALL)
    listed = set(re.findall(r"\w+", " ".join(re.findall(r"`([^`]+)`", page))))
    stance, corner = sk.settle(unit7, load="patrol"), sk.assemble(unit7)["rear_left"]
    view = look(unit7, load="patrol")
    things = [unit7, unit7.setup, unit7.setup.rear_left, view, view.axles["rear"], stance,
              stance.bottoming, corner, corner.stack, corner.stack.springs[0], corner.shock,
              corner.shock.thread]  # fmt: skip
    assert {type(thing) for thing in things} == set(article.TOLD)
    names = {name for thing in things for name in article._plain(thing).names}
    for thing in things:
        for name in article._plain(thing).names:
            article._plain(thing).read(name)
    names |= {*article._names(unit7, {}, "a.md"), *article._FILTERS}
    assert names - listed == set()


def test_sums_choices_and_loops(tmp_path, unit7):
    text = (
        "{% set a = (1 + 2) * 3 - -4 / 8 %}{{ a | number }} "
        "{% if a > 9 and not a < 3 and load == 'patrol' %}yes{% elif a == 1 %}no{% endif %} "
        "{% if a < 3 or a != a %}no{% else %}else{% endif %} "
        "{% for n in [0.5, 2] %}{{ n | turns }};{% endfor %} {{ 1 - 3 | abs | number(0) }}"
    )
    with pytest.raises(article.ArticleError, match="expected a number"):  # a filter gives a text
        made(tmp_path, HEAD + text, vehicle=unit7)
    text = text.replace("1 - 3 | abs", "(1 - 3) | abs")
    words = "".join(Page(made(tmp_path, HEAD + text, vehicle=unit7)).words)
    assert "9.50 yes else 0.5 turns;2 turns; 2" in words


def test_a_file_that_cannot_be_read(tmp_path):
    with pytest.raises(article.ArticleError, match="cannot be read"):
        article.read(tmp_path / "none.md")
    (tmp_path / "latin.md").write_bytes(b"+++\ntitle = \xff\n+++\n")
    with pytest.raises(article.ArticleError, match="expected UTF-8"):
        article.read(tmp_path / "latin.md")
    (tmp_path / "broken.ipynb").write_text("{")
    with pytest.raises(article.ArticleError, match="not a notebook"):
        article.read(tmp_path / "broken.ipynb", run_code=True)


def test_pdf_and_html_say_the_same(each, unit7, tmp_path):
    pypdf = pytest.importorskip("pypdf")
    pytest.importorskip("plutoprint")
    html, pdf = article.write(each, folder=tmp_path, vehicle=unit7)
    words = " ".join(p.extract_text() for p in pypdf.PdfReader(io.BytesIO(pdf.read_bytes())).pages)
    words = re.sub(r"\s+", " ", words)
    for value in Page(html.read_text(encoding="utf-8")).values:
        assert value in words
    assert "Before you start." in words and "{{" not in words


def test_nothing_is_written_if_the_pdf_fails(tmp_path, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "plutoprint", None)
    with pytest.raises(sk.sheet.PrintError):
        article.write(ARTICLES[0], folder=tmp_path / "out")
    assert not (tmp_path / "out").exists()
    assert len(article.write(ARTICLES[0], folder=tmp_path / "out", pdf=False)) == 1


def test_a_notebook_without_its_code(tmp_path):
    v4 = nbformat.v4
    cells = [
        v4.new_markdown_cell("# Turns & gaps\n\nSome **words**."),
        v4.new_code_cell("import suspkit as sk\nunit7 = sk.example()\nsk.panels.preload(unit7)"),
        v4.new_code_cell("print(f'{2 + 2} turns')"),
    ]
    path = tmp_path / "turns.ipynb"
    nbformat.write(v4.new_notebook(cells=cells), path)
    text = article.read(path, run_code=True)
    page = Page(text)
    assert "import suspkit" not in text and "<strong>words</strong>" in text
    assert "<title>Turns &amp; gaps</title>" in text
    (image,) = (a for tag, a in page.elements if tag == "img")
    assert image["src"].startswith("data:image/svg+xml") and "Front" in image["alt"]
    assert "4 turns" in page.words[page.words.index("4 turns\n")]


def test_a_notebook_that_fails_says_so(tmp_path):
    path = tmp_path / "fails.ipynb"
    cell = nbformat.v4.new_code_cell("raise ValueError('no such spring')")
    nbformat.write(nbformat.v4.new_notebook(cells=[cell]), path)
    with pytest.raises(article.ArticleError, match="a cell fails: no such spring"):
        article.read(path, run_code=True)


def test_a_notebook_takes_no_other_vehicle(tmp_path, unit7):
    path = tmp_path / "turns.ipynb"
    nbformat.write(nbformat.v4.new_notebook(), path)
    with pytest.raises(article.ArticleError, match="turns.ipynb: a notebook names its own vehicle"):
        article.read(path, vehicle=unit7)


def test_a_notebook_whose_kernel_dies_says_so(tmp_path):
    path = tmp_path / "dies.ipynb"
    cell = nbformat.v4.new_code_cell("import os; os._exit(1)")
    nbformat.write(nbformat.v4.new_notebook(cells=[cell]), path)
    with pytest.raises(article.ArticleError, match="dies.ipynb: its kernel stopped: ") as caught:
        article.read(path, run_code=True)
    assert "\n" not in str(caught.value)


def test_a_notebook_is_not_run_unasked(tmp_path):
    path, mark = tmp_path / "turns.ipynb", tmp_path / "mark"
    cell = nbformat.v4.new_code_cell(f"open({str(mark)!r}, 'w')")
    nbformat.write(nbformat.v4.new_notebook(cells=[cell]), path)
    with pytest.raises(article.ArticleError, match="turns.ipynb: a notebook is a program, which"):
        article.read(path)
    assert not mark.exists()


@pytest.mark.browser
def test_the_reader_can_move_the_ring(chromium, unit7, tmp_path):
    from playwright.sync_api import sync_playwright

    (page_file,) = article.write(ARTICLES[0], folder=tmp_path, vehicle=unit7, pdf=False)
    flags = [
        "--no-sandbox",
        "--disable-gpu",
        "--disable-quic",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
    ]
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=flags)
        page = browser.new_page(viewport={"width": 768, "height": 900})
        said = []
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.goto(page_file.as_uri())
        slider, words = page.locator(".ring-figure input"), page.locator(".ring-figure output")
        before, shown = words.inner_text(), page.locator("[id^=ring-rear-][visibility=visible]")
        slider.focus()
        for _ in range(4):
            page.keyboard.press("ArrowLeft")
        after = words.inner_text()
        gap = unit7.setup.rear_left.gap - 0.5 * 0.0254
        assert tape(gap) in after and tape(gap) not in before
        stance = sk.settle(unit7, unit7.setup.change("rear", gap=gap), load="patrol")
        assert f"{stance.bottoming.load_factor[2]:.2f} times" in after
        assert shown.count() == 1 and said == []
        assert page.evaluate("document.documentElement.scrollWidth") <= 768
        browser.close()
