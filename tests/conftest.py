"""What every test may rely on: no screen, no colours, a repeatable hypothesis, one vehicle."""

import gc
import itertools
import os
import shutil
import sys

import pytest
from hypothesis import HealthCheck, settings

os.environ.setdefault("MPLBACKEND", "Agg")
# The first call of compiled code takes seconds, which says nothing about the example it met; nor
# does it say anything that a busy machine draws slowly.
ANY_SPEED = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow]}
settings.register_profile("suspkit", **ANY_SPEED, derandomize=True, database=None)
# Twenty times as many, from a new seed: pytest tests/laws/test_laws.py --hypothesis-profile=search
settings.register_profile("search", **ANY_SPEED, max_examples=2000, database=None)
settings.load_profile("suspkit")

BROWSERS = ("chromium", "chromium-browser", "google-chrome")


def find_chromium():
    """Path of a Chromium on this machine, or nothing."""
    return next(filter(None, map(shutil.which, BROWSERS)), None)


def pytest_configure(config):
    """Compile once, before there are workers to do it side by side and notebooks to say so."""
    if not hasattr(config, "workerinput"):
        from suspkit import cli

        cli._get_ready()


def pytest_collection_modifyitems(items):
    if find_chromium():
        return
    skip = pytest.mark.skip(reason=f"no browser: none of {', '.join(BROWSERS)} is on the path")
    for item in items:
        if "browser" in item.keywords:
            item.add_marker(skip)


@pytest.fixture(scope="session")
def chromium():
    """Path of a Chromium; use it with the ``browser`` mark."""
    return find_chromium()


@pytest.fixture(scope="session")
def unit7():
    """The example vehicle."""
    import suspkit

    return suspkit.example("unit7")


@pytest.fixture(autouse=True)
def _forget_widgets():
    """Widgets are kept until they are closed, and with a panel the runs that it has driven.

    Those of this test alone: what a module's fixtures have made was there before.
    """
    kept = set(_widgets())
    yield
    made = [widget for name, widget in _widgets().items() if name not in kept]
    for widget in made:
        widget.close()
    if made and next(_closings) % 10 == 0:
        gc.collect()  # figures are in circles, and Python counts objects, not what they weigh


_closings = itertools.count()


def _widgets():
    """All there are, by name."""
    loaded = sys.modules.get("ipywidgets.widgets.widget")
    return dict(loaded._instances) if loaded else {}


@pytest.fixture(scope="module", autouse=True)
def _forget_all_widgets():
    yield
    if "ipywidgets" in sys.modules:
        sys.modules["ipywidgets"].Widget.close_all()
        gc.collect()
