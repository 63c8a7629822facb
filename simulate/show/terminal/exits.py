"""How the command ends: one line on stderr and a code, whatever went wrong, and nothing half-said on stdout."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import traceback
from collections.abc import Callable
from pathlib import Path

from profiles.lines import with_line
from profiles.noun import BadInput

DONE, FAULT, BAD_INPUT, INTERRUPTED = 0, 1, 2, 130
TELL_ALL = "KEEPLIT_TRACEBACK"
"""With this variable set a fault of ours prints all that Python knows about it."""


class Terminated(BaseException):
    """The system asked the command to end (SIGTERM)."""


def run_to_an_end(command: Callable[[], None]) -> int:
    """Run a command and return the code that it ends with.

    0: done. 2: bad input, one line. 1: a fault of ours, a full disk, an output that is gone, or SIGTERM; one line.
    130: Ctrl-C. What was being written is removed on the way out, for every file is written beside its place.
    """
    with _sigterm_heard():
        return _ended(command)


@contextlib.contextmanager
def _sigterm_heard():
    """SIGTERM raises `Terminated` meanwhile; in another thread than the first nothing is changed."""
    try:
        before = signal.signal(signal.SIGTERM, _terminate)
    except ValueError:
        yield
        return
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _ended(command: Callable[[], None]) -> int:
    try:
        if sys.stdout is None:
            raise OSError(0, "is closed", "stdout")
        with contextlib.suppress(AttributeError):  # a terminal that knows fewer signs shows ? in their place
            sys.stdout.reconfigure(errors="replace")
        code = _code_of(command)
        sys.stdout.flush()
        return code
    except BadInput as error:
        return _told(with_line(error), BAD_INPUT)
    except KeyboardInterrupt:
        return _told("stopped", INTERRUPTED)
    except Terminated:
        return _told("stopped by SIGTERM; what was finished is kept, nothing is half-written", FAULT)
    except BrokenPipeError:
        _mute()
        return FAULT
    except OSError as error:
        _mute()
        return _told(_os_text(error), FAULT)
    except Exception as error:
        return _told(_fault_text(error), FAULT)


def _code_of(command: Callable[[], None]) -> int:
    try:
        command()
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else DONE if end.code is None else FAULT
    return DONE


def _terminate(number, frame):
    signal.signal(signal.SIGTERM, signal.SIG_DFL)  # a second one ends it at once
    raise Terminated


def _told(text: str, code: int) -> int:
    if sys.stderr is not None:  # print would turn to stdout
        with contextlib.suppress(OSError):
            print(f"keeplit: {text}", file=sys.stderr)
    return code


def _mute() -> None:
    """Nothing more goes to an output that is full or gone; else Python tries once more on its way out."""
    if sys.stdout is not None:
        with contextlib.suppress(OSError, ValueError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _os_text(error: OSError) -> str:
    """What the system refused, and to which file."""
    name = error.filename2 or error.filename
    where = f"{name}: " if name is not None else ""
    return f"{where}{error.strerror or error}; what was finished is kept, nothing is half-written"


def _fault_text(error: Exception) -> str:
    """A fault of ours in one line: what, and where in our sources."""
    if os.environ.get(TELL_ALL):
        traceback.print_exception(error)
    ours = [step for step in traceback.extract_tb(error.__traceback__) if "keeplit" in step.filename or _is_ours(step)]
    at = f" ({Path(ours[-1].filename).name}, line {ours[-1].lineno})" if ours else ""
    told = " ".join(str(error).split())[:300]
    return f"a fault of ours: {type(error).__name__}: {told}{at}; set {TELL_ALL}=1 to see all of it"


def _is_ours(step) -> bool:
    root = Path(__file__).parents[3]
    return any(part in Path(step.filename).parents for part in (root / "simulate", root / "profiles"))
