"""What is practised: a scene as chosen on the command line, with its plan and the values of a good unit."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

import msgspec

from metercap.commands._bench import play_scene, profile_of
from metercap.commands._opening import check_step_ids
from metercap.commands._plans import checked_plan
from metercap.commands._reference import Rows, read_reference, require_references
from metercap.errors import SceneError, UsageError
from metercap.meter import MeterProfile
from metercap.plan import Plan
from metercap.practice.scene import Scene, find_scene, load_scene, scene_names

COUNTS = {"digits14": 22_000}
"""What a practice meter of a family shows at most, where it is not 4 000."""
QUICK = 1000.0
"""The speed at which the known-good unit is measured when nobody watches."""


class Setting(NamedTuple):
    """`against` is the journal that `reference` was taken from; `steps` are the ids of the steps to do."""

    name: str
    scene: Scene
    profile: MeterProfile
    plan_name: str
    plan: Plan
    steps: list[str]
    reference: Rows
    against: Path | None
    seed: int | None
    no_safe: bool


def setting(
    name: str,
    *,
    folder: Callable[[], Path],
    family: str | None = None,
    rate: float | None = None,
    plan: str | None = None,
    steps: Sequence[str] = (),
    against: Path | None = None,
    seed: int | None = None,
    no_safe: bool = False,
) -> Setting:
    """Load and check all of it. Values of a good unit that are wanted and not given are measured first, into `folder`.

    `plan` takes the place of the scene's own, with all its steps; `family` and `rate` that of the meter's.
    """
    scene = _with_meter(load_scene(name), family, rate)
    plan_name = plan or scene.plan
    if not plan_name:
        raise UsageError(
            f"the scene {name} names no plan", where="--plan", hint=f"metercap practice {name} --plan PLAN"
        )
    profile = profile_of(scene)
    loaded = checked_plan(plan_name, profile, only=list(steps), no_safe=no_safe, warn=False)
    check_step_ids(steps, loaded)
    wanted = steps or [step.id for step in loaded.steps if plan or step.id in scene.truth]
    chosen = [step.id for step in loaded.steps if step.id in wanted]
    if against is None and not scene.known_good:
        try:
            require_references(loaded, {}, chosen, known_good=False)
        except UsageError:
            good = _good_scene(name, scene)
            if good is None:
                raise
            against = play_scene(good, folder(), speed=QUICK, seed=seed, quiet=True).journal
    reference = read_reference(against, scene.unit, loaded) if against is not None else {}
    require_references(loaded, reference, chosen, known_good=scene.known_good)
    return Setting(name, scene, profile, plan_name, loaded, chosen, reference, against, seed, no_safe)


def _with_meter(scene: Scene, family: str | None, rate: float | None) -> Scene:
    """Return the scene with another wire format or another rate of its meter."""
    meter = scene.meter
    if family is not None:
        meter = msgspec.structs.replace(meter, family=family, profile=family, counts=COUNTS.get(family, 4000))
    if rate is not None:
        meter = msgspec.structs.replace(meter, per_s=rate, per_s_by={})
    return msgspec.structs.replace(scene, meter=meter)


def _good_scene(name: str, scene: Scene) -> str | None:
    """Return the scene of a known-good unit of the same model and plan, the one that measures most; None without any.

    Those beside the scene's own file come first, then those that come with the program.
    """
    found: dict[str, int] = {}
    for other in [*(str(path) for path in sorted(find_scene(name).parent.glob("*.toml"))), *scene_names()]:
        try:
            good = load_scene(other)
        except SceneError:
            continue  # another TOML file that lies there
        if good.known_good and (good.model, good.plan) == (scene.model, scene.plan) and good.unit != scene.unit:
            found[other] = len(good.truth.keys() & scene.truth.keys())
    return max(found, key=lambda other: found[other], default=None)
