"""The report of a session, or of a job: one file that a technician hands over.

`findings` reads a journal once and says everything as data; `compose` makes a `document` of it, which `page` writes as
HTML and `text` as plain text. `job` and `jobpage` do so for several units and all their sittings. `traces` and `gather`
keep what pictures need in bounded memory; `plot`, `strip` and `spans` draw.
"""

from metercap.report.compose import compose
from metercap.report.findings import Findings, study
from metercap.report.job import JobFindings, study_job
from metercap.report.jobpage import compose_job
from metercap.report.story import About

__all__ = ["About", "Findings", "JobFindings", "compose", "compose_job", "study", "study_job"]
