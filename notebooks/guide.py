"""GUIDE.md with what the commands print: `python -m notebooks.guide` writes it, a test of .ci/run compares.

The text stands in `guide_text.md`; a line `$ keeplit ...` in it is run in an empty folder that holds the files of the
blocks marked `toml NAME`, and the lines that it prints follow, as many as `| head N` behind the command asks for.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).parent
TEXT, PAGE = HERE / "guide_text.md", HERE / "GUIDE.md"
FILE = re.compile(r"```toml (\S+)\n(.*?)```", re.S)
COMMAND = re.compile(r"^\$ keeplit (.*?)(?: \| head (\d+))?$", re.M)
WIDE = 88


def page() -> str:
    """The whole page, its commands run."""
    text = TEXT.read_text("utf-8")
    with tempfile.TemporaryDirectory() as folder:
        done = []
        at = 0
        for found in re.finditer(rf"{FILE.pattern}|{COMMAND.pattern}", text, re.S | re.M):
            done.append(text[at : found.start()])
            if found[1]:
                Path(folder, found[1]).write_text(found[2], "utf-8")
                done.append(f"`{found[1]}`:\n\n```toml\n{found[2]}```")
            else:
                done.append(_told(found[3], found[4], folder))
            at = found.end()
        done.append(text[at:])
    return "".join(done)


def _told(words: str, most: str | None, folder: str) -> str:
    """A command and what it prints."""
    environment = os.environ | {"PYTHONPATH": str(HERE.parent), "COLUMNS": str(WIDE), "NO_COLOR": "1"}
    run = [sys.executable, "-c", "from simulate.cli import main; main()", *words.split()]
    got = subprocess.run(run, cwd=folder, env=environment, capture_output=True, text=True, check=True).stdout
    lines = [line.rstrip() for line in got.strip().splitlines()]
    cut = lines[: int(most)] if most else lines
    rest = ["..."] if len(cut) < len(lines) else []
    return "\n".join([f"$ keeplit {words}", *cut, *rest])


if __name__ == "__main__":
    PAGE.write_text(page(), "utf-8")
