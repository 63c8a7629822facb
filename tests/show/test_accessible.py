"""axe-core (Deque Systems, MPL-2.0; the version that npm gives) finds nothing wrong with the pages, wide and narrow."""

import html
import json
import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from simulate.document.study import study
from simulate.show.report.outputs import write_study
from simulate.show.report.page import CHROMIUM
from tests.site.small_site import farmhouse

CHROME = next(filter(None, map(shutil.which, CHROMIUM)), None)
AXE = Path(os.environ.get("AXE_CORE", Path(__file__).parents[2] / ".ci/npm/node_modules/axe-core/axe.min.js"))
WIDTHS = (1280, 390)
PAGES = ("proposal.html", "report.html", "sheets/sheets.html")
RUN = """
<script>
addEventListener("load", () => axe.run(document, {resultTypes: ["violations"]}).then(found => {
  const out = found.violations.map(one => [one.id, one.nodes.slice(0, 3).map(node => node.html.slice(0, 120))]);
  parent.document.getElementById("out-" + innerWidth).textContent = JSON.stringify([found.passes.length, out]);
}));
</script>
"""
pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(CHROME is None, reason="chromium is not on this machine"),
    pytest.mark.skipif(not AXE.is_file(), reason="axe-core is not here (npm install --prefix .ci/npm axe-core)"),
]


@pytest.fixture(scope="module")
def out(tmp_path_factory):
    folder = tmp_path_factory.mktemp("out")
    write_study(study(farmhouse()), folder)
    return folder


def found_in(text: str, folder: Path) -> dict[int, tuple[int, list]]:
    """Checks passed and violations by width, of a page in a frame of each width."""
    text = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", text)
    text = text.replace("</body>", f"<script>{AXE.read_text('utf-8')}</script>{RUN}</body>")
    inside = html.escape(text, quote=True)
    frames = "".join(f'<iframe width="{width}" height="900" srcdoc="{inside}"></iframe>' for width in WIDTHS)
    outs = "".join(f'<pre id="out-{width}"></pre>' for width in WIDTHS)
    page = folder / "frames.html"
    style = "<style>iframe { border: 0 }</style>"
    page.write_text(f'<!DOCTYPE html><meta charset="utf-8">{style}{outs}{frames}', encoding="utf-8")
    flags = ["--headless", "--disable-gpu", "--no-first-run", "--virtual-time-budget=60000", "--dump-dom"]
    flags += ["--no-sandbox"] if os.geteuid() == 0 else []
    command = [CHROME, *flags, f"--user-data-dir={folder / 'profile'}", page.as_uri()]
    dumped = subprocess.run(command, capture_output=True, timeout=240, check=True).stdout.decode()
    read = {width: re.search(rf'<pre id="out-{width}">(.*?)</pre>', dumped, re.S)[1] for width in WIDTHS}
    return {width: json.loads(html.unescape(one)) for width, one in read.items()}


@pytest.mark.parametrize("name", PAGES)
def test_axe_finds_nothing(out, name, tmp_path):
    for width, (passed, violations) in found_in((out / name).read_text("utf-8"), tmp_path).items():
        assert passed > 10, width
        assert violations == [], (name, width)


def test_axe_sees_what_is_wrong(tmp_path):
    found = found_in("<html><body><p style='color: #ccc'>pale</p><img src='x.png'></body></html>", tmp_path)
    for _, violations in found.values():
        assert {"image-alt", "html-has-lang", "document-title"} <= {name for name, _ in violations}
