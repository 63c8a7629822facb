"""How functions are compiled: numba with a cache that sees a change in any file that holds a jitted function."""

from __future__ import annotations

import atexit
import contextlib
import functools
import hashlib
import os
import pickle
import platform
import shutil
import sys
import tempfile
from pathlib import Path

import numba

FOLDER = Path(__file__).parents[1]
PRIVATE = "KEEPLIT_PRIVATE_CACHE"
"""Where the workers of this process find its temporary folder of compiled functions."""


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
        return _private_folder(base)
    if is_new:
        _tell("compiling the physics once for this machine (some seconds)")
    return str(folder)


def _private_folder(base: str) -> str:
    """A temporary folder of this process and its workers, removed at the end; what a killed run left goes first."""
    given = os.environ.get(PRIVATE)
    if given and Path(given).is_dir():
        return given
    for left in Path(tempfile.gettempdir()).glob("keeplit-*-*"):
        number = left.name.split("-")[1]
        if number.isdigit() and not _is_running(int(number)):
            shutil.rmtree(left, ignore_errors=True)
    private = tempfile.mkdtemp(prefix=f"keeplit-{os.getpid()}-")
    os.environ[PRIVATE] = private
    atexit.register(_remove, private, os.getpid())
    _tell(f"{base} cannot be written; compiled functions go to {private}")
    return private


def _is_running(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:  # somebody else's
        return True
    return True


def _remove(folder: str, process: int) -> None:
    if os.getpid() == process:  # not in a worker that was forked
        shutil.rmtree(folder, ignore_errors=True)


def _tell(text: str) -> None:
    if sys.stderr is not None:
        print(f"keeplit: {text}", file=sys.stderr)


DAMAGE = (EOFError, pickle.PickleError, ValueError, AttributeError, ImportError, IndexError, TypeError)
"""What unpickling raises where a file was cut off or overwritten."""


def jit(function, **options):
    """Compile to machine code without the interpreter's lock; cached on disk between runs."""
    kept = numba.config.CACHE_DIR
    numba.config.CACHE_DIR = cache_folder()
    try:
        compiled = numba.njit(cache=True, nogil=True, error_model="numpy", **options)(function)
    finally:
        numba.config.CACHE_DIR = kept
    _forgive(compiled)
    return compiled


def _forgive(compiled) -> None:
    """A cache that is full, gone or damaged costs time, never a result: what it cannot keep is compiled again."""
    cache = compiled._cache
    save, load = cache.save_overload, cache.load_overload

    def save_or_leave(*args):
        try:
            save(*args)
        except OSError as error:
            _tell_once(f"compiled functions cannot be kept ({error.strerror})")
        except DAMAGE:
            _begin_anew(cache)

    def load_or_compile(*args):
        try:
            return load(*args)
        except (OSError, *DAMAGE):
            _begin_anew(cache)
            return None

    cache.save_overload, cache.load_overload = save_or_leave, load_or_compile


def _begin_anew(cache) -> None:
    """Forget what a damaged index says; the next run fills it again."""
    with contextlib.suppress(OSError, *DAMAGE):
        cache.flush()


@functools.cache
def _tell_once(text: str) -> None:
    _tell(text)


def jit_inside(function):
    """As `jit`, its code laid into each caller: for a step with many arrays, whose call costs as much as itself."""
    return jit(function, forceinline=True)
