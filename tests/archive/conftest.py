"""Makes the helpers of this room importable."""

from __future__ import annotations
