"""Makes the sessions of `two_units` importable for the tests of this room."""

from __future__ import annotations
