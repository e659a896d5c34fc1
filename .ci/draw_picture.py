"""Draw the README's picture: the demo's map as Chromium shows it, with no network."""

from __future__ import annotations

import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from routeplan.cli import app

TARGET = Path(__file__).resolve().parents[1] / "demo_region" / "pictures" / "passage.png"
CHROMIUM = "/usr/bin/chromium"
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run"]


def main() -> None:
    """Run the demo and take the picture."""
    TARGET.parent.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        app(["demo", "--out", folder], standalone_mode=False)
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_page(viewport={"width": 1200, "height": 760})
        page.goto((Path(folder) / "passage.html").as_uri())
        page.wait_for_timeout(1000)
        page.screenshot(path=TARGET)
        browser.close()


if __name__ == "__main__":
    main()
