"""Journals as tables: pandas DataFrames, CSV and Parquet files, all with the columns of `schema`."""

from __future__ import annotations

from metercap.export.film import save_subtitles
from metercap.export.parquet import save_parquet
from metercap.export.recording import Recording, load
from metercap.export.schema import TABLES, Column, TableName
from metercap.export.several import save_csv_of, save_parquet_of, write_csv_of
from metercap.export.sheet import Exported, save_csv, write_csv

__all__ = [
    "TABLES",
    "Column",
    "Exported",
    "Recording",
    "TableName",
    "load",
    "save_csv",
    "save_csv_of",
    "save_parquet",
    "save_parquet_of",
    "save_subtitles",
    "write_csv",
    "write_csv_of",
]
