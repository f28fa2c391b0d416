"""Makes `hands_model` and the steps' `bench_play` importable for the tests of this room."""

from __future__ import annotations
