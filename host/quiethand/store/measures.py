"""The measures that the store has columns for: all of them, by the names that exports and notebooks use too."""

from __future__ import annotations

from quiethand.shots.measure_columns import MEASURES, Measure, measures_of

__all__ = ["MEASURES", "Measure", "measures_of"]
