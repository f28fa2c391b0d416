"""A browser for the tests of pages: this machine's own Chromium, without a screen; tests skip where there is none."""

from __future__ import annotations

import contextlib
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


@contextlib.contextmanager
def chromium(profile: Path, width: int = 1280, height: int = 800, *, dark: bool = False) -> Iterator[Any]:
    """Yield a driver with a window whose page has this size."""
    webdriver = pytest.importorskip("selenium.webdriver", reason="no selenium here")
    browser, driver = shutil.which("chromium"), shutil.which("chromedriver")
    if not browser or not driver:
        pytest.skip("no chromium here")
    options = webdriver.ChromeOptions()
    options.binary_location = browser
    for flag in (*FLAGS, f"--user-data-dir={profile}"):
        options.add_argument(flag)
    service = webdriver.ChromeService(driver)
    page = webdriver.Chrome(options=options, service=service)
    try:
        page.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride",
            {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 500},
        )
        scheme = [{"name": "prefers-color-scheme", "value": "dark" if dark else "light"}]
        page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": scheme})
        yield page
    finally:
        page.quit()
