"""Uncertainty, decisions, comparisons and proportions: numbers in, numbers out.

`budget`: what a reading is worth (JCGM 100). `decide`: what it says of limits, and `conformity`: at what risk (JCGM
106). `compare`: a unit against a reference (ISO 13528), and `pair`: what their difference is worth. `proportion`: k of
n, and when passes are proof. `series`: repeated readings, and `trend`: whether they drift. Below them `components`,
`student`, `beta`, `normal` and `domain`.

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
from metercap.metrology.conformity import conformance_probability, consumer_risk, producer_risk, risk_at_guard
from metercap.metrology.decide import (
    Band,
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
    lower_bound,
    passes_to_show_change,
    rule_of_three,
    success_run,
    upper_bound,
    wilson,
)
from metercap.metrology.series import Scatter, mean, median, minus, repeatability, sd
from metercap.metrology.trend import Trend, trend

__all__ = [
    "FULL",
    "Band",
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
    "conformance_probability",
    "consumer_risk",
    "decide",
    "difference_budget",
    "expected_value",
    "fisher_exact",
    "guard_width",
    "guarded_band",
    "lead_null",
    "lower_bound",
    "mean",
    "measured",
    "median",
    "minus",
    "own_scatter",
    "pair_budget",
    "passes_to_show_change",
    "producer_risk",
    "provable",
    "quadrature",
    "reading_budget",
    "repeatability",
    "risk_at_guard",
    "round6",
    "rule_of_three",
    "sd",
    "success_run",
    "tightest_half_width",
    "trend",
    "unlike",
    "upper_bound",
    "wilson",
]
