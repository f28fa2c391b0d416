"""A fleet of benches: their jobs as one partitioned Parquet data set, and what that set's history is.

`schema`: what is in it. `save`: jobs into it, each once. `gather`: its history, here or on a Dask cluster (`cluster`).
"""

from __future__ import annotations
