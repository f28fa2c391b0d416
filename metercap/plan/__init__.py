"""Plans: ordered steps for one model.

`model` is what a plan is; `load` reads it from TOML text and names every mistake; `rules` checks what spans steps and
what a meter can decide. Pure: `metercap.planfile` reads the file. Those who only run a plan need no more than `model`,
so nothing else is imported here.
"""

from metercap.plan.model import Plan, Step, from_builtins, to_builtins

__all__ = ["Plan", "Step", "from_builtins", "to_builtins"]
