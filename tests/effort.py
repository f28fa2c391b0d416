"""How many examples a property is tried with: a third in a quick run, all with --hypothesis-profile=whole."""

from __future__ import annotations

from hypothesis import settings


def examples(whole: int) -> int:
    """Return how many of `whole` examples this run tries."""
    return max(10, whole * settings.get_profile(settings.get_current_profile_name()).max_examples // 100)
