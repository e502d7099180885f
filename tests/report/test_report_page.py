"""The page in a real browser and before an HTML validator, where these are installed.

Needs Debian's chromium, and axe-core and html-validate from npm in a folder node_modules named
by PETITPIED_NODE_MODULES; `.ci/run` installs them. Skipped by name elsewhere.
"""

import json
import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from petitpied.report.html import report_html
from tests.report.reports import a_report, a_tray

NODE_MODULES = Path(os.environ.get("PETITPIED_NODE_MODULES", "/nonexistent"))
AXE = NODE_MODULES / "axe-core" / "axe.min.js"
VALIDATOR = NODE_MODULES / ".bin" / "html-validate"
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    path = tmp_path_factory.mktemp("page") / "report.html"
    trays = [a_tray(name="one"), a_tray(name="two", with_photo=False)]
    path.write_bytes(report_html(a_report(trays)))
    return path


def run_in_browser(path, width_px):
    """The DOM of a page after its scripts have run."""
    done = subprocess.run(
        [
            CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu",
            f"--window-size={width_px},900", f"--user-data-dir={path.parent}/profile",
            "--virtual-time-budget=20000", "--dump-dom", path.as_uri(),
        ],
        capture_output=True, text=True, timeout=100, check=True,
    )  # fmt: skip
    return done.stdout


@pytest.mark.skipif(not (CHROMIUM and AXE.exists()), reason="chromium or axe-core not installed")
@pytest.mark.parametrize("width_px", [500, 1200])
def test_no_accessibility_violation(page, width_px):
    """axe-core's rules, all of them; the page's own policy would forbid the checker's script."""
    text = page.read_text("utf-8")
    text = re.sub(r"<meta http-equiv[^>]*>", "", text)
    check = "axe.run().then(r => { document.body.textContent = 'AXE' + JSON.stringify("
    check += "r.violations.map(v => [v.id, v.nodes.map(n => n.html)])) + 'EXA'; });"
    script = f"<script>{AXE.read_text('utf-8')}</script><script>{check}</script>"
    checked = page.with_name(f"checked{width_px}.html")
    checked.write_text(text.replace("</body>", script + "</body>"), encoding="utf-8")
    found = re.search("AXE(.*)EXA", run_in_browser(checked, width_px), re.DOTALL)
    assert found is not None
    assert json.loads(found.group(1)) == []


@pytest.mark.skipif(not VALIDATOR.exists(), reason="html-validate not installed")
def test_the_page_is_valid_html(page):
    done = subprocess.run(
        [VALIDATOR, "--preset", "recommended", page],
        capture_output=True, text=True, timeout=100, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout
