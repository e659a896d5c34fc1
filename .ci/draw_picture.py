"""Draw the README's pictures, as Chromium shows them with no network: the demo's map, sheet, log, a reach, a cruise."""

from __future__ import annotations

import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

import demo_region
from routeplan.cli import app

TARGET = Path(__file__).resolve().parents[1] / "demo_region" / "pictures"
PICTURES = (  # name, width and height in pixels
    ("passage", 1200, 760),
    ("learn", 1000, 700),
    ("reach", 1200, 760),
    ("sheet", 800, 633),
    ("cruise", 860, 700),
)
CHROMIUM = "/usr/bin/chromium"
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run"]


def main() -> None:
    """Run the demo and take the pictures."""
    TARGET.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        app(["demo", "--out", folder], standalone_mode=False)
        data = demo_region.data_folder()
        files = ["--region", str(data), "--boat", str(data / "boats" / "quick_errand.toml"), "--no-log"]
        asked = ["--aboard", "71gal", "--depart", "2026-07-01T08:00", "--map", str(Path(folder) / "reach.html")]
        app(["reach", "Tolvarrow", *files, *asked], standalone_mode=False)
        sheet = ["--sheet", str(Path(folder) / "cruise.html")]
        app(["cruise", str(data / "cruise.toml"), "--region", str(data), *sheet], standalone_mode=False)
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        for name, width, height in PICTURES:
            page = browser.new_page(viewport={"width": width, "height": height})
            page.goto((Path(folder) / f"{name}.html").as_uri())
            page.wait_for_timeout(1000)
            page.screenshot(path=TARGET / f"{name}.png")
        browser.close()


if __name__ == "__main__":
    main()
