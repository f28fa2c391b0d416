"""Makes the meters that nobody makes importable."""

from __future__ import annotations
