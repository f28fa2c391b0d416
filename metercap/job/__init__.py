"""The job: a folder with `job.toml` and the numbered journals of its units. All that is known of it is in them."""

from metercap.job.folder import JOB_FILE, Folder, Sitting, is_job, make, open_job
from metercap.job.held import held
from metercap.job.model import JobFile, JobUnit

__all__ = ["JOB_FILE", "Folder", "JobFile", "JobUnit", "Sitting", "held", "is_job", "make", "open_job"]
