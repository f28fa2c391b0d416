"""The report of a session: one file that a technician hands over.

`findings` reads a journal once and says everything as data; `compose` makes a `document` of it, which `page` writes as
HTML and `text` as plain text. `traces` and `gather` keep what pictures need in bounded memory; `plot`, `strip` and
`spans` draw.
"""

from metercap.report.compose import compose
from metercap.report.findings import Findings, study

__all__ = ["Findings", "compose", "study"]
