"""Plans: ordered steps for one model.

`model` is what a plan is; `load` reads it from TOML and names every mistake; `rules` checks what spans steps. Pure but
for `load_plan`'s one file read, which its caller in `profiles` does.
"""

from metercap.plan.model import Plan, Step, from_builtins, to_builtins

__all__ = ["Plan", "Step", "from_builtins", "to_builtins"]
