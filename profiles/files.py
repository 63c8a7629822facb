"""Files are written beside their place and renamed, so that nothing half-written is ever left."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path

from profiles.noun import BadInput


@contextlib.contextmanager
def written(path: str | Path) -> Iterator[Path]:
    """A path beside `path` to write to; it is renamed to `path` at the end and removed on any error.

    Examples
    --------
    >>> import tempfile
    >>> folder = Path(tempfile.mkdtemp())
    >>> with written(folder / "a.txt") as beside:
    ...     _ = beside.write_text("whole")
    >>> [one.name for one in folder.iterdir()]
    ['a.txt']
    """
    path = Path(path)
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        yield beside
        os.replace(beside, path)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise


def folder_for(path: str | Path) -> Path:
    """A folder to write to, made where it is not there yet."""
    folder = Path(path)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput(
            f"cannot be made: {error.strerror}", key="--out", value=str(path), way_out="name another folder"
        ) from None
    return folder
