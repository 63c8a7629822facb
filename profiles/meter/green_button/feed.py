"""A Green Button feed as a stream: its entries one after the other, in memory that does not grow with the XML."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from xml.etree.ElementTree import ParseError

import defusedxml
import defusedxml.ElementTree
import numpy as np

from profiles.files import FEED_MB, plain_file
from profiles.meter.readings.espi import LONGEST_S
from profiles.meter.readings.private import public_number
from profiles.noun import BadInput
from profiles.numerals import real, whole

ATOM, ESPI = "{http://www.w3.org/2005/Atom}", "{http://naesb.org/espi}"
RESOURCES = ("UsagePoint", "MeterReading", "ReadingType", "LocalTimeParameters")
ABSENT = np.int64(-(2**62))
DEEPEST, _BATCH = 64, 8192
LONGEST_PIECE, EMPTY_ELEMENTS, ELEMENTS_A_READING = 4_000_000, 200_000, 100
"""Bytes without a tag, elements before the first reading, and elements for each reading later: more is no feed."""
LATEST_S = 4_102_444_800
READING = np.dtype(
    [("start", np.int64), ("duration", np.int64), ("value", np.float64), ("cost", np.float64), ("quality", np.int64)]
)


@dataclass
class Entry:
    """One Atom entry: its links and the ESPI resource that it holds."""

    position: int
    kind: str = ""
    self_link: str = ""
    up_link: str = ""
    related: tuple[str, ...] = ()
    updated: str = ""
    fields: dict[str, str] = field(default_factory=dict)
    blocks: list[Block] = field(default_factory=list)


@dataclass
class Block:
    """One interval block: when it says that it begins, how long it lasts, and its readings."""

    start_s: int | None = None
    duration_s: int | None = None
    batches: list[np.ndarray] = field(default_factory=list)
    rows: list[tuple] = field(default_factory=list)

    def add(self, row: tuple) -> None:
        self.rows.append(row)
        if len(self.rows) >= _BATCH:
            self.flush()

    def flush(self) -> None:
        if self.rows:
            self.batches.append(np.array(self.rows, dtype=READING))
            self.rows = []

    def readings(self) -> np.ndarray:
        self.flush()
        return np.concatenate(self.batches) if self.batches else np.empty(0, READING)


def read_feed(path: str | Path) -> list[Entry]:
    """Entries of a Green Button file in the order of the file; titles and names are never kept.

    Raises
    ------
    BadInput
        Not XML, cut off, a document type or an entity declared, nested deeper than 64, a number that is none.
    """
    reader = _Reader(path)
    try:
        with open(plain_file(path, FEED_MB), "rb") as file:
            reader.read(_Tagged(file, path))
    except OSError as error:
        raise BadInput(f"cannot be read: {error.strerror}", file=path) from None
    except defusedxml.DefusedXmlException:
        raise BadInput(
            "declares a document type or entities; a meter file needs neither",
            file=path,
            way_out="ask the utility for a plain download",
        ) from None
    except BadInput:
        raise
    except (ParseError, ValueError, LookupError) as error:  # ValueError: an encoding that the parser does not know
        line, column = getattr(error, "position", (1, 0))
        raise BadInput(
            f"is not whole XML (line {line}, column {column})", file=path, way_out="download it again"
        ) from None
    return reader.entries


class _Tagged:
    """A file that refuses to go on where no tag ends for megabytes: one attribute or one text without an end."""

    def __init__(self, file, path: str | Path):
        self.file, self.path, self.since = file, path, 0

    def read(self, size: int = -1) -> bytes:
        piece = self.file.read(size)
        at = piece.rfind(b">")
        self.since = self.since + len(piece) if at < 0 else len(piece) - at
        if self.since > LONGEST_PIECE:
            raise BadInput(
                f"goes on for {LONGEST_PIECE:,} bytes without a tag: no meter file does",
                file=self.path,
                way_out="download it again",
            )
        return piece


class _Reader:
    def __init__(self, path: str | Path):
        self.path, self.entries, self.n_readings = path, [], 0

    def read(self, file) -> None:
        """Walk the parser's events; a reading or an entry is forgotten as soon as it has been taken in."""
        reading_tag, block_tag, entry_tag = ESPI + "IntervalReading", ESPI + "IntervalBlock", ATOM + "entry"
        entry, block, open_elements, n_elements = Entry(0), None, [], 0
        for event, element in defusedxml.ElementTree.iterparse(file, events=("start", "end"), forbid_dtd=True):
            if event == "start":
                open_elements.append(element)
                if len(open_elements) > DEEPEST:
                    raise BadInput(f"is nested deeper than {DEEPEST} elements", file=self.path)
                if element.tag == entry_tag:
                    entry = Entry(len(self.entries))
                elif element.tag == block_tag:
                    block = Block()
                continue
            open_elements.pop()
            n_elements += 1
            if n_elements % EMPTY_ELEMENTS == 0 and n_elements > self.n_readings * ELEMENTS_A_READING:
                raise BadInput(
                    f"holds {self.n_readings:,} readings in its first {n_elements:,} elements: no meter file",
                    file=self.path,
                    way_out="download interval usage, not the bill summary",
                )
            tag = element.tag
            if tag == reading_tag and block is not None:
                self._take_reading(element, block)
                open_elements[-1].remove(element)
            elif tag == block_tag and block is not None:
                self._take_block(element, entry, block)
                block = None
            elif tag == entry_tag:
                self._take_entry(element, entry)
                if open_elements:
                    open_elements[-1].remove(element)

    def _take_reading(self, element, block: Block) -> None:
        start = duration = ABSENT
        value, cost, quality = None, np.nan, -1
        self.n_readings += 1
        try:
            for child in element:
                tag = child.tag
                if tag == ESPI + "value":
                    value = real(child.text)
                elif tag == ESPI + "timePeriod":
                    for part in child:
                        if part.tag == ESPI + "start":
                            start = whole(part.text)
                        elif part.tag == ESPI + "duration":
                            duration = whole(part.text)
                elif tag == ESPI + "cost":
                    cost = real(child.text)
                elif tag == ESPI + "ReadingQuality":
                    quality = max(quality, whole(child.findtext(ESPI + "quality")))
            if value is None:
                raise ValueError("no value")
            if not (
                abs(value) < 2**63
                and (start == ABSENT or 0 <= start < LATEST_S)
                and (duration == ABSENT or 0 <= duration <= LONGEST_S)
            ):
                raise ValueError("out of range")
        except (ValueError, TypeError, OverflowError):
            raise self._bad_reading(element) from None
        block.add((start, duration, value, cost, quality))

    def _bad_reading(self, element) -> BadInput:
        parts = [
            f"{part.tag.rpartition('}')[2]} {public_number(part.text)}"
            for part in element.iter()
            if part.text and part.text.strip()
        ]
        return BadInput(
            "needs a value, a start from 1970 to 2100 and a duration of at most 366 days in whole seconds",
            file=self.path,
            key=f"IntervalReading {self.n_readings}",
            value=", ".join(parts) or "nothing",
        )

    def _take_block(self, element, entry: Entry, block: Block) -> None:
        for part in element.findall(ESPI + "interval"):
            block.start_s = self._whole(part.findtext(ESPI + "start"))
            block.duration_s = self._whole(part.findtext(ESPI + "duration"))
        block.flush()
        entry.blocks.append(block)

    def _whole(self, text: str | None) -> int | None:
        try:
            number = whole(text) if text and text.strip() else None
        except ValueError:
            number = -1
        if number is not None and not 0 <= number < LATEST_S:
            told = public_number(text)
            raise BadInput("needs whole seconds", file=self.path, key="IntervalBlock interval", value=told)
        return number

    def _take_entry(self, element, entry: Entry) -> None:
        links = [(link.get("rel"), _plain(link.get("href"))) for link in element.findall(ATOM + "link")]
        entry.self_link = next((href for rel, href in links if rel == "self"), "")
        entry.up_link = next((href for rel, href in links if rel == "up"), "")
        entry.related = tuple(href for rel, href in links if rel == "related")
        entry.updated = (element.findtext(ATOM + "updated") or "").strip()
        for content in element.findall(ATOM + "content"):
            for resource in content:
                kind = resource.tag.removeprefix(ESPI)
                if kind in RESOURCES:
                    entry.kind = kind
                    entry.fields = {
                        leaf.tag.removeprefix(ESPI): leaf.text.strip()
                        for leaf in resource.iter()
                        if leaf.text and leaf.text.strip()
                    }
        if entry.blocks:
            entry.kind = "IntervalBlock"
        if entry.kind:
            self.entries.append(entry)


def _plain(href: str | None) -> str:
    return (href or "").strip().rstrip("/")
