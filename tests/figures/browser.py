"""Real Chromium without a window, for the tests marked `browser`."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--window-size=1100,1250",
)


def found(*names: str) -> str:
    """Return the path of a program, or fail: a browser test never skips."""
    for name in names:
        path = shutil.which(name)
        if path:
            return path
    raise AssertionError(
        f"none of {', '.join(names)} is installed; on Debian: apt-get install chromium "
        "chromium-driver"
    )


@contextmanager
def chromium(profile: Path, *flags: str) -> Iterator[Any]:
    """Start Chromium with a new profile folder, and end it."""
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = found("chromium", "chromium-browser", "google-chrome")
    for flag in (*FLAGS, f"--user-data-dir={profile}", *flags):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(found("chromedriver")))
    try:
        yield driver
    finally:
        driver.quit()


def complaints(driver: Any) -> list[str]:
    """Return what the page wrote to its console as warning or error."""
    return [e["message"] for e in driver.get_log("browser") if e["level"] in ("SEVERE", "WARNING")]
