"""HTML onto paper: templates, PDF and file names, for whatever is printed."""

from __future__ import annotations

import hashlib
import io
import re
import unicodedata
from functools import cache
from pathlib import Path

from suspkit.files import PACKAGE

PAPER = {"us": "letter", "metric": "a4"}
"""The paper a PDF is made for, by system of units."""


class PrintError(OSError):
    """No PDF can be made on this machine: one sentence says why and what would mend it."""


@cache
def environment():
    """The templates, which escape all that is put into them.

    Returns
    -------
    jinja2.Environment
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    return Environment(
        loader=FileSystemLoader(PACKAGE / "templates"),
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip


def book(text, paper):
    """Lay an HTML page out on paper.

    Parameters
    ----------
    text : str
        HTML that needs nothing beside it.
    paper : {"letter", "a4"}

    Returns
    -------
    plutoprint.Book

    Raises
    ------
    PrintError
        If no PDF can be made on this machine.
    """
    try:
        import plutoprint
    except (ImportError, OSError) as error:
        raise PrintError(
            f"the PDF needs plutoprint, which cannot be loaded ({error}); expected it from: pip "
            "install plutoprint; or write the HTML alone (pdf=False, or --no-pdf) and print that "
            "from a browser"
        ) from None
    size = {"letter": plutoprint.PAGE_SIZE_LETTER, "a4": plutoprint.PAGE_SIZE_A4}[paper]
    try:
        pages = plutoprint.Book(size, plutoprint.PAGE_MARGINS_NONE)
        pages.custom_resource_fetcher = _type_alone(plutoprint)
        pages.load_html(text, user_style=_font_style())
        # The same numbers give the same bytes; the date that counts is the one filled in by hand.
        pages.set_metadata(plutoprint.PDF_METADATA_CREATION_DATE, "2000-01-01T00:00:00Z")
    except plutoprint.Error as error:
        raise PrintError(
            f"the PDF cannot be made ({error}); write the HTML alone (pdf=False, or --no-pdf) and "
            "print that from a browser"
        ) from None
    return pages


def printed(pages):
    """The PDF of laid-out pages.

    Parameters
    ----------
    pages : plutoprint.Book

    Returns
    -------
    bytes
    """
    stream = io.BytesIO()
    pages.write_to_pdf_stream(stream)
    return stream.getvalue()


def fitted(page, paper, scales):
    """A page with the largest type that keeps all of it on one sheet, else the smallest.

    Parameters
    ----------
    page : callable
        Takes the size of its type, over full size [-], and gives HTML.
    paper : {"letter", "a4"}
    scales : sequence of float
        Sizes to try, the largest first [-].

    Returns
    -------
    text : str
        The HTML.
    pdf : bytes

    Raises
    ------
    PrintError
        If no PDF can be made on this machine.
    """
    for scale in scales:
        text = page(scale)
        pages = book(text, paper)
        if pages.get_page_count() == 1:
            break
    return text, printed(pages)


def shortened(text, length):
    """User text that cannot push a page onto a second one.

    Parameters
    ----------
    text : str
    length : int
        Letters it may have.

    Returns
    -------
    str
    """
    text = " ".join(text.split())
    return text if len(text) <= length else f"{text[: length - 1].rstrip()}…"


def _type_alone(plutoprint):
    """Fetches the type for paper and nothing else: no page reaches for a network or a file."""

    class TypeAlone(plutoprint.ResourceFetcher):
        def fetch_url(self, url):
            if url.startswith(_fonts().as_uri()):
                return plutoprint.default_resource_fetcher.fetch_url(url)
            return plutoprint.ResourceData(b"", "text/plain")  # as a browser, told by the page

    return TypeAlone()


def _fonts():
    import matplotlib

    return Path(matplotlib.get_data_path()) / "fonts" / "ttf"


def _font_style():
    """The type for paper comes with matplotlib, so a machine without fonts prints the same page."""
    return "".join(
        f"@font-face {{ font-family: 'suspkit sheet'; font-weight: {weight}; "
        f"src: url('{(_fonts() / name).as_uri()}'); }}\n"
        for weight, name in (("normal", "DejaVuSans.ttf"), ("bold", "DejaVuSans-Bold.ttf"))
    )


def slug(text):
    """Letters and digits that every file system takes.

    A name that loses more than its separators gets a digest too, or many would share a file.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
    """
    text = str(text)
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    short = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:40].strip("-") or "x"
    if short == re.sub(r"[ ._-]", "-", text.lower()):
        return short
    return f"{short[:33]}-{hashlib.sha256(text.encode('utf-8', 'surrogatepass')).hexdigest()[:6]}"
