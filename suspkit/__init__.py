"""Tender, main and stop-ring spring kits for side-by-sides: settle, solve, show, print.

Names below load on first use, so that ``import suspkit`` stays quick.
"""

import importlib
import os

# Else numba would take a folder of compiled code, which runs, from settings in the current folder.
os.environ.setdefault("NUMBA_CACHE_DIR", "")

__version__ = "0.1.0"

_HOMES = {
    "Bar": "vehicle",
    "BrokenSetupError": "corner",
    "BumpStop": "shock",
    "Corner": "corner",
    "CornerSetup": "setup",
    "Curve": "curves",
    "Damper": "damper",
    "Doubts": "fitting",
    "Gas": "shock",
    "JobLog": "joblog",
    "Linkage": "linkage",
    "NotSettledError": "stance",
    "Ride": "joblog",
    "Road": "road",
    "Run": "driving",
    "Setup": "setup",
    "Shock": "shock",
    "Solution": "solve",
    "Spring": "springs",
    "Stack": "stack",
    "Stance": "stance",
    "StopRing": "stack",
    "Tolerances": "tolerance",
    "TopOut": "shock",
    "Training": "training",
    "UntrustedRunError": "driving",
    "VariedSpring": "springs",
    "Vehicle": "vehicle",
    "VehicleFileError": "vehicle_file",
    "Wire": "wire",
    "advise": "advice",
    "assemble": "corner",
    "bar_off_limit": "rolling",
    "choose_springs": "choosing",
    "compare_habits": "tolerance",
    "compressor_check": "compressor",
    "damping_ratios": "damping",
    "drive": "driving",
    "drive_many": "driving",
    "error_estimate": "driving",
    "exercise": "exercises",
    "example": "vehicle_file",
    "first_bottoms": "bottoms",
    "fit": "fitting",
    "height_band": "stance",
    "load_dyno": "vehicle_file",
    "load_rack": "vehicle_file",
    "load_vehicle": "vehicle_file",
    "roll_balance": "rolling",
    "sensitivity": "study",
    "settle": "stance",
    "side_check": "tolerance",
    "solve_clicks": "damping",
    "solve_preload": "solve",
    "solve_stop_gap": "solve",
    "spread": "tolerance",
    "sweep": "whatif",
    "which_matters": "tolerance",
    "whoop_speed_map": "bottoms",
}

_MODULES = (
    "article", "charts", "comfort", "driving", "events", "exercise_panels", "exercises",
    "kit_charts", "order", "panels", "ride_charts", "ride_panels", "ride_view", "roll_charts",
    "sheet", "solve", "study", "study_panels", "sure_charts", "tables", "training", "units", "view",
    "whatif_charts",
)  # fmt: skip

__all__ = [*_HOMES, *_MODULES]


def __getattr__(name):
    if name in _HOMES:
        return getattr(importlib.import_module(f"suspkit.{_HOMES[name]}"), name)
    if name in _MODULES:
        return importlib.import_module(f"suspkit.{name}")
    raise AttributeError(f"module 'suspkit' has no attribute {name!r}")


def __dir__():
    return sorted([*globals(), *__all__])
