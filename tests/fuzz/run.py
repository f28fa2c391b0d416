"""Runs one target under the coverage-guided fuzzer: python -m tests.fuzz.run TARGET SECONDS CORPUS [SEEDS].

Prints libFuzzer's own lines; the exit status is 0 when the time passed without a find.
"""

from __future__ import annotations

import sys

import atheris

with atheris.instrument_imports(include=["metercap", "tomllib"]):
    from tests.fuzz.targets import TARGETS


def main(target: str, seconds: str, *folders: str) -> None:
    """Fuzz for `seconds`; finds are written beside the corpus."""
    options = [f"-max_total_time={seconds}", "-max_len=6000", "-timeout=10", "-rss_limit_mb=600"]
    options.append("-print_final_stats=1")
    atheris.Setup([sys.argv[0], *options, f"-artifact_prefix={folders[0]}/find-", *folders], TARGETS[target])
    atheris.Fuzz()


if __name__ == "__main__":
    main(*sys.argv[1:])
