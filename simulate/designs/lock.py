"""One run at a time in a folder: a file that names the host and the process that is at work there."""

from __future__ import annotations

import json
import os
import socket
from pathlib import Path

from profiles.noun import BadInput

NAME = "_lock.json"


class Lock:
    """Taken when made, given back by `release`; that of a process that has died is taken over.

    Raises
    ------
    BadInput
        Another run is at work in the folder, or may be, on another host.
    """

    def __init__(self, folder: Path):
        self.path = folder / NAME
        own = {"host": socket.gethostname(), "process": os.getpid(), "begun": _begun(os.getpid())}
        while True:
            try:
                with open(self.path, "x", encoding="utf-8") as file:
                    json.dump(own, file)
                return
            except FileExistsError:
                self._refuse_living(own["host"])
                self.path.unlink(missing_ok=True)

    def release(self) -> None:
        """Let others in."""
        self.path.unlink(missing_ok=True)

    def _refuse_living(self, host: str) -> None:
        try:
            held = json.loads(self.path.read_text("utf-8"))
            at, process, begun = held["host"], int(held["process"]), held["begun"]
        except (OSError, ValueError, KeyError, TypeError):
            return  # cut off while it was written: whoever wrote it has died
        if at == host and _begun(process) != begun:
            return
        raise BadInput(
            f"another run is at work there (process {process} on {at})",
            key="--out",
            value=str(self.path.parent),
            way_out="wait for it, name another folder"
            + ("" if at == host else f", or remove {self.path.name} if that run has ended"),
        )


def _begun(process: int) -> str | None:
    """When a process of this host began, in the kernel's own count; None where there is none, "?" where none tells."""
    stat = Path(f"/proc/{process}/stat")
    try:
        return stat.read_text().rpartition(")")[2].split()[19]
    except OSError:
        pass
    if Path("/proc/self/stat").exists():
        return None
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return None
    except OSError:
        return "?"
    return "?"
