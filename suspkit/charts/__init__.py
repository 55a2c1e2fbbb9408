"""What there is to see, drawn: ``sk.charts.shock_curve(view)`` gives a figure."""

from importlib import import_module

__all__ = ["CHARTS", "Board", "cut_away", "shock_curve", "side_view", "wheel_curve"]


def __getattr__(name):
    if name in __all__:
        return getattr(import_module("suspkit.charts.board"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
