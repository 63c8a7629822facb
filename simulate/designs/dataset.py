"""A sweep on disk: a folder of Parquet parts that is finished part by part and taken up where it was left."""

from __future__ import annotations

import json
import os
from pathlib import Path

from profiles.files import TOML_MB, folder_for, plain_file
from profiles.noun import BadInput

RECORD = "_sweep.json"
DONE = "_done.json"


class Dataset:
    """A folder that holds the parts of one sweep.

    Only finished parts have names that a reader of the folder sees; the record of what is swept and anything
    unfinished begin with "_" or ".". A part is written beside its place, flushed to disk and renamed.

    Parameters
    ----------
    folder : str or Path
    told : dict
        Plain data that says what is swept.

    Raises
    ------
    BadInput
        The folder holds another sweep (the difference is named), or files that are not ours.
    """

    def __init__(self, folder: str | Path, told: dict):
        self.folder = folder_for(folder)
        told = json.loads(json.dumps(told, sort_keys=True, default=str))
        record = self.folder / RECORD
        if record.exists():
            _refuse_other(_read(record), told, self.folder)
        elif any(not name.name.startswith((".", "_")) for name in self.folder.iterdir()):
            raise BadInput(
                "holds files that are no sweep",
                key="--out",
                value=str(self.folder),
                way_out="name a new or empty folder",
            )
        else:
            self._write(record, lambda path: path.write_text(json.dumps(told, indent=1)))
        for left in self.folder.glob("_part-*"):
            left.unlink(missing_ok=True)

    def part(self, index: int) -> Path:
        """Where a part stands once it is finished."""
        return self.folder / f"part-{index:06d}.parquet"

    def has(self, index: int) -> bool:
        return self.part(index).exists()

    def write(self, index: int, frame) -> None:
        """Write one part; a full disk leaves the finished parts as they are."""
        import pyarrow as pa
        import pyarrow.parquet as pq

        own = pa.Schema.from_pandas(frame.head(0), preserve_index=False)
        kinds = [pa.string() if dtype.kind == "O" else own.field(name).type for name, dtype in frame.dtypes.items()]
        schema = pa.schema(list(zip(frame.columns, kinds, strict=True)))
        table = pa.Table.from_pandas(frame, schema=schema, preserve_index=False)
        self._write(self.part(index), lambda path: pq.write_table(table, path))

    def close(self, n_designs: int) -> None:
        """Note that every part is there."""
        self._write(self.folder / DONE, lambda path: path.write_text(json.dumps({"designs": n_designs})))

    def _write(self, path: Path, write) -> None:
        beside = path.with_name("_" + path.name.lstrip("_") + f".{os.getpid()}")
        try:
            write(beside)
            with open(beside, "rb+") as file:
                os.fsync(file.fileno())
            os.replace(beside, path)
        except OSError as error:
            beside.unlink(missing_ok=True)
            raise BadInput(
                f"cannot be written: {error.strerror or error}",
                key="--out",
                value=str(self.folder),
                way_out="make room and run the same sweep again: what is finished is kept",
            ) from None
        except BaseException:
            beside.unlink(missing_ok=True)
            raise


def _read(record: Path) -> dict:
    try:
        return json.loads(plain_file(record, TOML_MB).read_text())
    except (OSError, ValueError) as error:
        raise BadInput(f"cannot be read: {error}", file=record, way_out="name a new folder") from None


def _refuse_other(old: dict, new: dict, folder: Path) -> None:
    if old == new:
        return
    where, before, now = _difference(old, new)
    table, _, name = where.partition(".")
    what = (
        f"what is in {name} has changed"
        if table == "files" and before and now
        else (f"{where} was {_short(before)} and is now {_short(now)}")
    )
    raise BadInput(
        f"holds another sweep: {what}",
        key="--out",
        way_out=f"name another folder than {folder}, or sweep what was swept there",
    )


def _difference(old, new, path: str = "") -> tuple[str, object, object]:
    """The first place in which two records differ."""
    if isinstance(old, dict) and isinstance(new, dict):
        for key in [*old, *(key for key in new if key not in old)]:
            if old.get(key) != new.get(key) or (key in old) != (key in new):
                return _difference(old.get(key), new.get(key), f"{path}.{key}" if path else str(key))
    if isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        for k, (a, b) in enumerate(zip(old, new, strict=True)):
            if a != b:
                return _difference(a, b, f"{path}[{k + 1}]")
    return path, old, new


def _short(value) -> str:
    text = "nothing" if value is None else json.dumps(value)
    return text if len(text) <= 60 else text[:57] + "..."
