"""The cache of compiled functions sees a change in any file that holds one."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
RUN = (
    "from simulate.physics.outages.outages import hours_survived; from simulate.physics.pool import Pool; "
    "print(float(hours_survived([0.5] * 48, Pool(10.0), soc_kwh=10.0)[0]))"
)


def hours_of(checkout: Path, cache: Path) -> float:
    env = os.environ | {"PYTHONPATH": str(checkout), "NUMBA_CACHE_DIR": str(cache), "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run([sys.executable, "-c", RUN], capture_output=True, text=True, env=env, cwd=checkout)
    assert done.returncode == 0, done.stderr
    return float(done.stdout)


def test_changed_physics_are_never_answered_from_the_cache(tmp_path):
    checkout, cache = tmp_path / "copy", tmp_path / "cache"
    for room in ("simulate", "profiles"):
        shutil.copytree(ROOT / room, checkout / room, ignore=shutil.ignore_patterns("__pycache__"))
    assert hours_of(checkout, cache) == 20.0
    assert hours_of(checkout, cache) == 20.0  # from the cache
    step = checkout / "simulate" / "physics" / "step.py"
    text = step.read_text("utf-8")
    changed = text.replace("return ac_kw * dc_per_ac + no_load_kw", "return 2.0 * ac_kw * dc_per_ac + no_load_kw")
    assert changed != text
    step.write_text(changed, "utf-8")
    assert hours_of(checkout, cache) == 10.0


def test_a_folder_that_cannot_be_written_costs_one_line(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    env = os.environ | {"NUMBA_CACHE_DIR": str(blocked)}
    code = "from simulate.physics.compiled import cache_folder; print(cache_folder())"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=env, cwd=ROOT)
    assert done.returncode == 0
    assert len(done.stderr.strip().splitlines()) == 1
    private = Path(done.stdout.strip())
    assert private.name.startswith("keeplit-") and str(private) in done.stderr
    assert not private.exists()  # nothing is left behind
