"""A sweep on disk: a folder of Parquet parts that is finished part by part and taken up where it was left."""

from __future__ import annotations

import hashlib
import json
import os
from pathlib import Path

from profiles.files import TOML_MB, folder_for, plain_file
from profiles.noun import BadInput
from simulate.designs.columns import meaning_of
from simulate.designs.lock import Lock

RECORD = "_sweep.json"
DONE = "_done.json"


class Dataset:
    """A folder that holds the parts of one sweep.

    Only finished parts have names that a reader of the folder sees; the record of what is swept, the lock of the run
    that is at work and anything unfinished begin with "_" or ".". A part is written beside its place, flushed to disk
    and renamed; its footer says what made it and which part it is, its pages carry checksums.

    Parameters
    ----------
    folder : str or Path
    told : dict
        Plain data that says what is swept.

    Raises
    ------
    BadInput
        The folder holds another sweep (the difference is named) or rows of another version of the program, another run
        is at work there, or it holds files that are not ours.
    """

    def __init__(self, folder: str | Path, told: dict):
        self.folder = folder_for(folder)
        told = json.loads(json.dumps(told, sort_keys=True, default=str))
        self.mark = hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()
        self.made_by = json.dumps(told.get("made_by"), sort_keys=True)
        record = self.folder / RECORD
        self.lock = Lock(self.folder)
        try:
            self._open(record, told)
        except BaseException:
            self.lock.release()
            raise

    def _open(self, record: Path, told: dict) -> None:
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

    def has(self, index: int, n_rows: int) -> bool:
        """A part is there and whole; one that is empty, cut off, changed or another's is removed, to be made anew."""
        import pyarrow as pa
        import pyarrow.parquet as pq

        path = self.part(index)
        if not path.exists():
            return False
        try:
            table = pq.ParquetFile(path, page_checksum_verification=True).read()
            told = table.schema.metadata or {}
            if table.num_rows == n_rows and told.get(b"part") == self._label(index):
                return True
        except (OSError, pa.ArrowException):
            pass
        path.unlink()
        return False

    def _label(self, index: int) -> bytes:
        return f"{self.mark} {index}".encode()

    def write(self, index: int, frame) -> None:
        """Write one part; a full disk leaves the finished parts as they are."""
        import pyarrow as pa
        import pyarrow.parquet as pq

        own = pa.Schema.from_pandas(frame.head(0), preserve_index=False)
        kinds = [pa.string() if dtype.kind == "O" else own.field(name).type for name, dtype in frame.dtypes.items()]
        schema = pa.schema(list(zip(frame.columns, kinds, strict=True)))
        table = pa.Table.from_pandas(frame, schema=schema, preserve_index=False)
        told = {**(table.schema.metadata or {}), b"part": self._label(index), b"made_by": self.made_by.encode()}
        fields = [field.with_metadata(meaning_of(field.name)) for field in table.schema]
        table = table.cast(pa.schema(fields, metadata=told))
        self._write(self.part(index), lambda path: pq.write_table(table, path, write_page_checksum=True))

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
    if where.startswith(("made_by", "version")):
        raise BadInput(
            "holds rows of another version of the program, or of other versions of what it rests on "
            f"({where}: {_short(before)}, now {_short(now)})",
            key="--out",
            value=str(folder),
            way_out="name another folder, or run the version that began it",
        )
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
