"""Uncertainty, decisions, comparisons and proportions: numbers in, numbers out.

`budget`: what a reading is worth (JCGM 100). `decide`: what it says of limits (JCGM 106).
`compare`: a unit against a reference (ISO 13528), and `pair`: what their difference is worth. `proportion`: k of
n, and when passes are proof. `series`: repeated readings, `tally`: any number of them, counted, and `trend`: whether
they drift. Below them `components`, `student`, `beta`, `normal` and `domain`.

Clauses, pages and tables are cited from memory; the published numbers that each formula was held against stand, with
their source, beside the tests.
"""

from metercap.metrology.budget import (
    Budget,
    LeadNull,
    Row,
    accuracy_row,
    difference_budget,
    lead_null,
    own_scatter,
    reading_budget,
)
from metercap.metrology.compare import Comparison, Expected, chance_flags, compare, expected_value, quadrature
from metercap.metrology.components import Component
from metercap.metrology.decide import (
    AcceptanceInterval,
    Decision,
    Rule,
    decide,
    guard_width,
    guarded_band,
    provable,
    tightest_half_width,
)
from metercap.metrology.domain import round6
from metercap.metrology.pair import FULL, Measured, measured, pair_budget, unlike
from metercap.metrology.proportion import (
    Interval,
    clopper_pearson,
    fisher_exact,
    passes_to_show_change,
    success_run,
    wilson,
)
from metercap.metrology.series import Scatter, mean, median, minus, repeatability, sd
from metercap.metrology.trend import Trend, trend

__all__ = [
    "FULL",
    "AcceptanceInterval",
    "Budget",
    "Comparison",
    "Component",
    "Decision",
    "Expected",
    "Interval",
    "LeadNull",
    "Measured",
    "Row",
    "Rule",
    "Scatter",
    "Trend",
    "accuracy_row",
    "chance_flags",
    "clopper_pearson",
    "compare",
    "decide",
    "difference_budget",
    "expected_value",
    "fisher_exact",
    "guard_width",
    "guarded_band",
    "lead_null",
    "mean",
    "measured",
    "median",
    "minus",
    "own_scatter",
    "pair_budget",
    "passes_to_show_change",
    "provable",
    "quadrature",
    "reading_budget",
    "repeatability",
    "round6",
    "sd",
    "success_run",
    "tightest_half_width",
    "trend",
    "unlike",
    "wilson",
]
