"""Controls bound to charts: ``sk.panels.preload(vehicle)`` opens the one for preload."""

from importlib import import_module

__all__ = ["install", "numbers", "preload", "start", "stop_gap"]


def __getattr__(name):
    if name in __all__:
        return getattr(import_module("suspkit.panels.live"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
