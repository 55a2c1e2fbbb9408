"""Write the pages of the site that come from elsewhere: the lessons as stored, the API by module.

``python -m sphinx -W -b html docs OUT`` does it by itself, see ``conf.py``. The pages land in
``docs/lessons`` and ``docs/api``, which are not kept.
"""

import base64
import importlib
import json
import re
from pathlib import Path

import suspkit

DOCS = Path(__file__).parent
NOTEBOOKS = DOCS.parent / "notebooks"


def source(cell):
    """Text of a cell."""
    return "".join(cell["source"])


def title(notebook):
    """Heading of a lesson."""
    return re.match(r"# (.*)", source(notebook["cells"][0]))[1]


def minutes(notebook):
    """How long a lesson takes, as it says: its sittings, in minutes."""
    text = "\n".join(map(source, notebook["cells"]))
    sittings = re.findall(r"\*\*Sitting \d of \d, (\d+) minutes", text)
    return " + ".join(sittings) or re.search(r"\*\*Time:\*\* \D*(.*?)\.", text)[1]


def course(notebooks):
    """The lessons in order, a row each: what for and how long, as they say."""
    rows = ["| lesson | you will be able to | minutes |", "| --- | --- | --- |"]
    for name, notebook in notebooks.items():
        first = source(notebook["cells"][0])
        aim = re.search(r"\*\*You will be able to\*\* (.*?)(?= \*\*Time|\n|$)", first)[1]
        rows.append(f"| [{title(notebook)}]({name}.md) | {aim} | {minutes(notebook)} |")
    return "\n".join(rows)


def fenced(text, language, *options):
    """A block of text as it is, whatever it holds."""
    return "\n".join([f"````{{code-block}} {language}", *options, "", text.rstrip("\n"), "````"])


def output(data, stem, files):
    """What a cell gave, as Markdown. A picture goes to ``files`` and has its words as alternative.

    A question is shown in words too: they are what is asked, not only what is seen.
    """
    text = "".join(data.get("text/plain", "")).strip()
    blocks = []
    if "text/html" in data:
        # Tables bring a style of their own, which would not follow the page's.
        table = re.sub(r"<style.*?</style>\s*", "", "".join(data["text/html"]), flags=re.DOTALL)
        return f'````{{raw}} html\n<div class="wide">{table}</div>\n````'
    if "image/png" in data:
        picture = f"{stem}-{len(files)}.png"
        files[picture] = base64.b64decode("".join(data["image/png"]))
        words = re.sub(r"\s+", " ", text.split("\nPicture: ")[-1])
        blocks.append(f"```{{image}} {picture}\n:alt: {words}\n```")
    if "image/png" not in data or text.startswith("Exercise."):
        blocks.append(fenced(text, "text", ":class: output"))
    return "\n\n".join(blocks)


def lesson(notebook, stem):
    """A notebook as a page, with the outputs it was stored with.

    Returns
    -------
    dict of str to bytes
        By file name: the page and its pictures.
    """
    files, blocks = {}, []
    for cell in notebook["cells"]:
        if cell["cell_type"] == "markdown":
            blocks.append(source(cell))
            continue
        blocks.append(fenced(source(cell), "python"))
        for given in cell["outputs"]:
            if given["output_type"] == "stream":
                blocks.append(fenced("".join(given["text"]), "text", ":class: output"))
            else:
                blocks.append(output(given["data"], stem, files))
    return {f"{stem}.md": "\n\n".join(blocks).encode()} | files


def lessons():
    """All lessons and the table of the course."""
    notebooks = {
        path.stem: json.loads(path.read_text(encoding="utf-8"))
        for path in sorted(NOTEBOOKS.glob("[0-9]*.ipynb"))
    }
    files = {}
    for stem, notebook in notebooks.items():
        files |= lesson(notebook, stem)
    toctree = "\n".join(["```{toctree}", ":hidden:", "", *notebooks, "```"])
    intro = (
        "The lessons are notebooks: `suspkit guide` opens them, and there the charts move. Here"
        " they stand as stored, with the numbers and pictures of Unit 7. Take them in order."
    )
    index = f"# Lessons\n\n{intro}\n\n{course(notebooks)}\n\n{toctree}\n"
    return files | {"index.md": index.encode()}


def api():
    """A page a module with the public names that live there; whole modules with all they hold."""
    names = dict.fromkeys(suspkit._MODULES.values())
    for name, module in suspkit._HOMES.items():
        if names.setdefault(module, []) is not None:
            names[module].append(name)
    files, rows = {}, ["| module | what for | names |", "| --- | --- | --- |"]
    for module, public in sorted(names.items()):
        found = importlib.import_module(f"suspkit.{module}")
        members = f" {', '.join(public)}" if public else ""
        page = (
            f"# suspkit.{module}\n\n```{{eval-rst}}\n.. automodule:: suspkit.{module}\n"
            f"   :members:{members}\n```\n"
        )
        files[f"{module}.md"] = page.encode()
        shown = [name for name, home in suspkit._HOMES.items() if home == module]
        links = ", ".join(f"`{name}`" for name in shown) or "the module"
        what = found.__doc__.split("\n")[0].rstrip(".")
        rows.append(f"| [{module}]({module}.md) | {what} | {links} |")
    toctree = "\n".join(["```{toctree}", ":hidden:", "", *sorted(names), "```"])
    intro = (
        "Public names, by module; `import suspkit as sk` and use them as `sk.settle`, a module as"
        " `sk.charts`. Everything is SI inside: m, N, N/m, kg, s, Pa, K, rad; each number's unit"
        " stands in brackets. Everything that takes a number takes an array where it says so."
    )
    rows = "\n".join(rows)
    index = f"# API\n\n{intro}\n\n{rows}\n\n{toctree}\n"
    return files | {"index.md": index.encode()}


def make():
    """Write both folders. A file that is as it was is left alone, one of no use is removed."""
    for folder, files in (("lessons", lessons()), ("api", api())):
        place = DOCS / folder
        place.mkdir(exist_ok=True)
        for path in place.iterdir():
            if path.name not in files:
                path.unlink()
        for name, content in files.items():
            path = place / name
            if not path.exists() or path.read_bytes() != content:
                path.write_bytes(content)
