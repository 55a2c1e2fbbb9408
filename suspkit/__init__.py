"""Tender, main and stop-ring spring kits for side-by-sides: settle, solve, show, print.

Names below load on first use, so that ``import suspkit`` stays quick.
"""

import importlib
import os

# Else numba would take a folder of compiled code, which runs, from settings in the current folder.
os.environ.setdefault("NUMBA_CACHE_DIR", "")

__version__ = "0.1.0"

_HOMES = {
    "Bar": "vehicle.vehicle",
    "BrokenSetupError": "vehicle.corner",
    "BumpStop": "parts.shock",
    "Corner": "vehicle.corner",
    "CornerSetup": "vehicle.setup",
    "Curve": "core.curve",
    "Damper": "parts.damper",
    "Doubts": "studies.fit",
    "Gas": "parts.shock",
    "JobLog": "shop.log",
    "Linkage": "parts.linkage",
    "NotSettledError": "statics.settle",
    "Ride": "shop.log",
    "Road": "dynamics.road",
    "Run": "dynamics.drive",
    "Setup": "vehicle.setup",
    "Shock": "parts.shock",
    "Solution": "statics.solve",
    "Spring": "parts.spring",
    "Stack": "parts.stack",
    "Stance": "statics.settle",
    "StopRing": "parts.stack",
    "Tolerances": "studies.tolerance",
    "TopOut": "parts.shock",
    "Training": "shop.training",
    "UntrustedRunError": "dynamics.drive",
    "VariedSpring": "parts.spring",
    "Vehicle": "vehicle.vehicle",
    "VehicleFileError": "vehicle.file",
    "Wire": "parts.wire",
    "advise": "studies.advise",
    "assemble": "vehicle.corner",
    "bar_off_limit": "statics.roll",
    "choose_springs": "studies.choose",
    "compare_habits": "studies.tolerance",
    "compressor_check": "statics.compressor",
    "damping_ratios": "dynamics.damping",
    "drive": "dynamics.drive",
    "drive_many": "dynamics.drive",
    "error_estimate": "dynamics.drive",
    "exercise": "teaching.exercises",
    "example": "vehicle.file",
    "first_bottoms": "dynamics.bottoming",
    "fit": "studies.fit",
    "height_band": "statics.settle",
    "load_dyno": "vehicle.file",
    "load_rack": "vehicle.file",
    "load_vehicle": "vehicle.file",
    "roll_balance": "statics.roll",
    "sensitivity": "statics.sensitivity",
    "settle": "statics.settle",
    "side_check": "studies.tolerance",
    "solve_clicks": "dynamics.damping",
    "solve_preload": "statics.solve",
    "solve_stop_gap": "statics.solve",
    "spread": "studies.tolerance",
    "sweep": "studies.sweep",
    "which_matters": "studies.tolerance",
    "whoop_speed_map": "dynamics.bottoming",
}

_MODULES = {
    "article": "shop.article",
    "charts": "charts",
    "comfort": "dynamics.comfort",
    "driving": "dynamics.drive",
    "events": "dynamics.events",
    "exercise_panels": "panels.exercise",
    "exercises": "teaching.exercises",
    "kit_charts": "charts.kits",
    "order": "shop.order",
    "panels": "panels",
    "ride_charts": "charts.drive",
    "ride_panels": "panels.drive",
    "ride_view": "dynamics.view",
    "roll_charts": "charts.roll",
    "sheet": "shop.sheet",
    "solve": "statics.solve",
    "study": "statics.sensitivity",
    "study_panels": "panels.studies",
    "sure_charts": "charts.tolerance",
    "tables": "studies.table",
    "training": "shop.training",
    "units": "units",
    "view": "statics.view",
    "whatif_charts": "charts.sweep",
}

__all__ = [*_HOMES, *_MODULES]


def __getattr__(name):
    if name in _HOMES:
        return getattr(importlib.import_module(f"suspkit.{_HOMES[name]}"), name)
    if name in _MODULES:
        return importlib.import_module(f"suspkit.{_MODULES[name]}")
    raise AttributeError(f"module 'suspkit' has no attribute {name!r}")


def __dir__():
    return sorted([*globals(), *__all__])
