"""Panels of studies: what if, how sure, a road test, springs to choose from, a turn."""

from suspkit.panels.kits import KitPanel, kit_numbers, kits
from suspkit.panels.roll import RollPanel, roll, roll_numbers
from suspkit.panels.sweep import WhatIfPanel, what_if, what_if_notes, what_if_numbers
from suspkit.panels.tolerance import (
    RoadTestPanel,
    SpreadPanel,
    road_test,
    road_test_numbers,
    spread,
    spread_numbers,
)

__all__ = [
    "KitPanel", "RoadTestPanel", "RollPanel", "SpreadPanel", "WhatIfPanel", "kit_numbers", "kits",
    "road_test", "road_test_numbers", "roll", "roll_numbers", "spread", "spread_numbers",
    "what_if", "what_if_notes", "what_if_numbers",
]  # fmt: skip
