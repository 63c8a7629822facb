"""How functions are compiled: numba with a cache that sees a change in any file that holds a jitted function."""

from __future__ import annotations

import functools
import hashlib
import os
import platform
import sys
import tempfile
from pathlib import Path

import numba

FOLDER = Path(__file__).parents[1]


def sources_hash(folder: Path = FOLDER) -> str:
    """Hash of every source under `folder` that holds a jitted function, of numba's version and of the CPU.

    numba's own file cache looks only at the file that it caches, so a kernel would keep the old physics of a
    function it imports from another file. The folder of the cache is therefore named by this hash.
    """
    digest = hashlib.sha256(f"{numba.__version__} {platform.machine()} {_cpu()}".encode())
    for path in sorted(folder.rglob("*.py")):
        text = path.read_bytes()
        if b"@jit" in text:
            digest.update(path.relative_to(folder).as_posix().encode() + b"\0" + text)
    return digest.hexdigest()[:16]


def _cpu() -> str:
    from llvmlite import binding

    return binding.get_host_cpu_name()


@functools.cache
def cache_folder() -> str:
    """Folder of the compiled functions: beside the user's caches, else a private temporary one."""
    base = os.environ.get("NUMBA_CACHE_DIR") or os.environ.get("XDG_CACHE_HOME") or str(Path.home() / ".cache")
    folder = Path(base) / "keeplit" / sources_hash()
    try:
        is_new = not folder.is_dir()
        folder.mkdir(parents=True, exist_ok=True)
        if not os.access(folder, os.W_OK):
            raise PermissionError(folder)
    except OSError:
        private = tempfile.mkdtemp(prefix="keeplit-")
        print(f"keeplit: {base} cannot be written; compiled functions go to {private}", file=sys.stderr)
        return private
    if is_new:
        print("keeplit: compiling the physics once for this machine (some seconds)", file=sys.stderr)
    return str(folder)


def jit(function, **options):
    """Compile to machine code without the interpreter's lock; cached on disk between runs."""
    kept = numba.config.CACHE_DIR
    numba.config.CACHE_DIR = cache_folder()
    try:
        return numba.njit(cache=True, nogil=True, error_model="numpy", **options)(function)
    finally:
        numba.config.CACHE_DIR = kept


def jit_inside(function):
    """As `jit`, its code laid into each caller: for a step with many arrays, whose call costs as much as itself."""
    return jit(function, forceinline=True)
