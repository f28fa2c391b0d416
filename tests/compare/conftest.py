"""Makes `bench_play` and `two_units` importable for the tests of this room."""

from __future__ import annotations
