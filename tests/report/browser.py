"""A real browser without a window, for tests and the benchmark of the report."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

BROWSERS, DRIVERS = ("chromium", "chromium-browser", "google-chrome"), ("chromedriver",)
SWITCHES = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
DESK, PHONE = (1280, 900), (390, 844)


def found(names: tuple[str, ...]) -> str | None:
    return next((path for name in names if (path := shutil.which(name))), None)


def why_not() -> str:
    """Why there is no browser to test in; empty where there is one."""
    missing = [names[0] for names in (BROWSERS, DRIVERS) if found(names) is None]
    return f"{' and '.join(missing)} not installed" if missing else ""


@contextmanager
def browser(profile: Path) -> Iterator[Any]:
    """A browser with a profile of its own, at desk size."""
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    options.binary_location = found(BROWSERS) or ""
    for switch in (*SWITCHES, f"--user-data-dir={profile}", f"--window-size={DESK[0]},{DESK[1]}"):
        options.add_argument(switch)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options, webdriver.ChromeService(found(DRIVERS)))
    try:
        yield driver
    finally:
        driver.quit()


def open_page(driver: Any, page: Path, size: tuple[int, int] = DESK, still: bool = False) -> None:
    """Show a page at a size, with or without the wish for less motion."""
    width, height = size
    metrics = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 500}
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    motion = {"name": "prefers-reduced-motion", "value": "reduce" if still else "no-preference"}
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [motion]})
    driver.get(page.as_uri())
    frames(driver)


def frames(driver: Any, count: int = 3) -> None:
    """Wait until so many pictures were drawn."""
    driver.execute_async_script(
        "let left = arguments[0]; const done = arguments[1];"
        "const next = () => (left-- > 0 ? requestAnimationFrame(next) : done()); next();",
        count,
    )


def worked(driver: Any) -> float:
    """Time the page's main thread has worked since the measure began, s."""
    driver.execute_cdp_cmd("Performance.enable", {})
    metrics = driver.execute_cdp_cmd("Performance.getMetrics", {})["metrics"]
    return next(item["value"] for item in metrics if item["name"] == "TaskDuration")


# How long it takes from picture to picture while the slider moves at every one of them; ms.
RATE = """
const [count, done] = arguments, slider = document.getElementById("slider"), times = [];
const last = Number(slider.max);
let n = 0;
function next(now) {
  times.push(now);
  if (times.length > count) { done(times.slice(1).map((t, k) => t - times[k])); return; }
  n += 1;
  const at = n % (2 * last);
  slider.value = at > last ? 2 * last - at : at;
  slider.dispatchEvent(new Event("input"));
  requestAnimationFrame(next);
}
requestAnimationFrame(next);
"""
