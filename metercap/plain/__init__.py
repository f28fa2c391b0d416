"""Plain output: one line for each thing that matters, and the file's own lines as JSON.

Both are observers of records. What came from a meter, a plan or a journal is shown with its control characters escaped.
"""

from metercap.plain.asjson import json_text
from metercap.plain.lines import JsonLines, PlainLines
from metercap.plain.table import verdict_table

__all__ = ["JsonLines", "PlainLines", "json_text", "verdict_table"]
