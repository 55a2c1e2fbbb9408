"""How the site is built: ``python -m sphinx -W -b html docs OUT``."""

import re
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import make_pages
from docutils.nodes import Text, field_name
from pygments.lexers.special import TextLexer
from sphinx.addnodes import pending_xref

import suspkit

make_pages.make()

project = "suspkit"
version = release = suspkit.__version__
language = "en"
extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.napoleon"]
# Articles are texts with numbers to be computed, for `suspkit article` to print.
exclude_patterns = ["articles/*", "templates/*"]
suppress_warnings = ["config.cache"]

myst_heading_anchors = 4
default_role = "py:obj"
add_module_names = False
autodoc_typehints = "none"  # types stand in the docstrings, with their units
autodoc_member_order = "bysource"
autodoc_class_signature = "mixed"
napoleon_google_docstring = False
napoleon_use_ivar = True
napoleon_use_rtype = False

# A page needs nothing from another host: fonts are the reader's own, scripts lie beside it.
html_theme = "furo"
html_title = f"suspkit {version}"
html_static_path = ["static"]
html_css_files = ["suspkit.css"]
html_js_files = ["scroll.js"]
templates_path = ["templates"]
html_domain_indices = False
html_copy_source = html_show_sourcelink = html_show_sphinx = html_show_copyright = False


def to_the_site(app, docname, text):
    """Links that leave docs, right for a reader of the files, to the same page of the site."""
    up = "../" * docname.count("/")
    text[0] = re.sub(
        r"\]\((?:\.\./)+notebooks/([\w-]+)\.ipynb\)", rf"]({up}lessons/\1.md)", text[0]
    )
    text[0] = re.sub(r"\]\((?:\.\./)+README\.md\)", f"]({up}quick-start.md)", text[0])
    text[0] = re.sub(r"\]\((?:\.\./)+DEVELOPERS\.md\)", f"]({up}developers.md)", text[0])


def as_a_page(app, what, name, obj, options, lines):
    """Docstrings number their sources each from one: on a page with many they cannot be links.

    And names that share a line stay together: a blank would make types of all but the last.
    """
    for i, line in enumerate(lines):
        line = re.sub(r"\[(\d+)\]_", r"[\1]", line)
        line = re.sub(r"^(\s*)\.\. \[(\d+)\] ", r"\1-  [\2] ", line)
        if what == "class" and re.match(r"\w+(, \w+)+ : ", line):
            names, kind = line.split(" : ", 1)
            line = names.replace(", ", ",\N{ZERO WIDTH SPACE}") + f" : {kind}"
        lines[i] = line


def meant(app, doctree):
    """A type named in a docstring is the public name of ours, or one of the same module."""
    for node in doctree.findall(pending_xref):
        if node.get("refdomain") == "py" and node.attributes.pop("refspecific", False):
            home = suspkit._HOMES.get(node["reftarget"])
            if home:
                node["reftarget"] = f"suspkit.{home}.{node['reftarget']}"
    for node in doctree.findall(field_name):
        if node.astext() == "Variables":
            node[:] = [Text("Attributes")]


def captions_with_a_level(app, pagename, templatename, context, doctree):
    """The theme calls captions of the side bar headings without saying of which level."""
    tree = context.get("furo_navigation_tree", "")
    context["furo_navigation_tree"] = tree.replace(
        'role="heading"', 'role="heading" aria-level="2"'
    )


def setup(app):
    app.add_lexer("csv", TextLexer)
    app.connect("source-read", to_the_site)
    # Before the sections are made out.
    app.connect("autodoc-process-docstring", as_a_page, priority=400)
    app.connect("doctree-read", meant)
    # After the theme has made it.
    app.connect("html-page-context", captions_with_a_level, priority=900)
