"""Makes the picture of the README: the demo farm's report, drawn by headless Chromium. `make picture` runs it."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from conftest import gillbook

ROOT = Path(__file__).resolve().parents[1]
PICTURE = ROOT / "reports" / "picture.png"
WIDTH, HEIGHT = 960, 1500


def main() -> int:
    """Writes reports/picture.png; 1 when there is no Chromium."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if chromium is None:
        print("There is no Chromium here to draw the page with.", file=sys.stderr)
        return 1
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made) / "demo"
        page = Path(gillbook("demo", folder).out.split(".html")[0].splitlines()[-1] + ".html")
        words = [chromium, "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--hide-scrollbars"]
        words += ["--disable-background-networking", "--disable-component-update", "--disable-sync"]
        words += [f"--user-data-dir={made}/profile", f"--window-size={WIDTH},{HEIGHT}", "--virtual-time-budget=8000"]
        subprocess.run([*words, f"--screenshot={PICTURE}", page.as_uri()], check=True, capture_output=True)
    print(PICTURE.relative_to(ROOT))
    return 0


if __name__ == "__main__":
    sys.exit(main())
