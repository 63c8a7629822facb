"""Coverage-guided fuzzing of both meter readers: any bytes give a sound meter or one line, never a traceback.

By hand for as long as wanted:  python tests/meter/test_fuzz.py xml 3600 FOLDER   (or csv; needs atheris). What is found
to reach new code is kept in the folder, and the next run begins from there.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

SECONDS = 120
GREEN_BUTTON = b"""<feed xmlns="http://www.w3.org/2005/Atom"><entry><link rel="self" href="P/1"/><content>
<UsagePoint xmlns="http://naesb.org/espi"><ServiceCategory><kind>0</kind></ServiceCategory></UsagePoint></content></entry>
<entry><link rel="self" href="T"/><content><ReadingType xmlns="http://naesb.org/espi"><accumulationBehaviour>4</accumulationBehaviour>
<flowDirection>1</flowDirection><intervalLength>900</intervalLength><powerOfTenMultiplier>0</powerOfTenMultiplier><uom>72</uom>
</ReadingType></content></entry><entry><link rel="self" href="L"/><content><LocalTimeParameters xmlns="http://naesb.org/espi">
<dstEndRule>B40E2000</dstEndRule><dstOffset>3600</dstOffset><dstStartRule>360E2000</dstStartRule><tzOffset>-18000</tzOffset>
</LocalTimeParameters></content></entry><entry><content><IntervalBlock xmlns="http://naesb.org/espi"><interval>
<duration>2700</duration><start>1741500000</start></interval><IntervalReading><cost>9</cost><ReadingQuality><quality>8</quality>
</ReadingQuality><timePeriod><duration>900</duration><start>1741500000</start></timePeriod><value>325</value></IntervalReading>
<IntervalReading><value>-2</value></IntervalReading></IntervalBlock></content></entry></feed>"""
CSV_FILES = (
    b"Name,J\nDate,Time,kWh,Received kWh\n03/08/2025,23:00,1.5,0\n03/09/2025,24:00,0.5,1\n03/09/2025,01:00,,\n",
    b"start;end;Wh\n2025-11-02T01:00-04:00;2025-11-02T02:00-04:00;1,5\n2025-11-02T01:00-05:00;2025-11-02T02:00-05:00;2,25\n",
    b"Date,"
    + b",".join(b"HE%d" % h for h in range(1, 26))
    + b"\n2025-03-09"
    + b",1" * 23
    + b",,\n2025-11-02"
    + b",2" * 25
    + b"\n",
    b"unix,end,kWh\n" + b"".join(b"%d,%d,0.%d\n" % (1741500000 + 900 * k, 1741500900 + 900 * k, k) for k in range(9)),
    b"Date,Hour,kWh\n"
    + b"".join(b"2025-11-%02d,%d,1.5\n" % (d, h) for d in (2, 3) for h in range(1, 26 if d == 2 else 25)),
    b"Meter,Date,Hour,Direction,kW,Est\n1,2025-07-13,1,Delivered,2.0,E\n1,2025-07-13,1,Received,0.1,A\n1,2025-07-13,24,Delivered,2,A\n",
)


def check(data: bytes, path: Path) -> None:
    """Read the bytes in four ways; anything but a sound meter or a refusal in one line is an error."""
    from profiles.meter import document, read_meter
    from profiles.noun import BadInput

    path.write_bytes(data)
    for options in (
        {},
        {"timezone": "America/New_York"},
        {"timezone": "America/New_York", "dialect": {"clock": "wall"}},
        {"dialect": {"clock": "utc"}},
    ):
        try:
            meter = read_meter(path, **options)
        except BadInput as refused:
            assert "\n" not in str(refused)
            continue
        end = meter.start_utc + meter.duration_s
        assert (meter.start_utc[1:] >= end[:-1]).all() and (meter.duration_s > 0).all()
        assert abs(document(meter)["energy_kwh"]) < float("inf")


def _edited(data: bytes) -> bytes:
    """A Green Button file with texts replaced and readings repeated as the data say; raw bytes where they begin with <."""
    if data[:1] == b"<":
        return data
    parts = GREEN_BUTTON.split(b">")
    for k in range(0, len(data) - 1, 8):
        at, text = data[k] % len(parts), data[k + 1 : k + 8]
        if data[k] % 7 == 0:
            begin, end = GREEN_BUTTON.index(b"<IntervalReading>"), GREEN_BUTTON.index(b"</IntervalBlock>")
            parts[-6] += b">" + GREEN_BUTTON[begin:end].replace(b"1741500000", b"17415%05d" % (data[k + 1] * 225))
        parts[at] = text.replace(b"<", b"").replace(b"&", b"") + b"<" + parts[at].rpartition(b"<")[2]
    return b">".join(parts)


def fuzz(kind: str, seconds: str, corpus: str | None = None) -> None:
    """Fuzz one reader for some seconds; leaves with an error at the first input that breaks it."""
    import atheris

    with atheris.instrument_imports(include=["profiles"]):
        import profiles.meter  # noqa: F401
    folder = Path(tempfile.mkdtemp())
    begin = Path(corpus or folder / "corpus")
    begin.mkdir(parents=True, exist_ok=True)
    for k, data in enumerate((GREEN_BUTTON,) if kind == "xml" else CSV_FILES):
        (begin / f"first-{k}").write_bytes(data)
    make = _edited if kind == "xml" else bytes
    atheris.Setup(
        [
            sys.argv[0],
            f"-max_total_time={seconds}",
            "-max_len=4000",
            "-timeout=20",
            "-rss_limit_mb=3000",
            f"-artifact_prefix={folder}/",
            str(begin),
        ],
        lambda data: check(make(data), folder / "any"),
    )
    atheris.Fuzz()


@pytest.mark.hours
@pytest.mark.parametrize("kind", ["xml", "csv"])
def test_two_minutes_of_fuzzing_find_nothing(kind):
    pytest.importorskip("atheris")
    done = subprocess.run(
        [sys.executable, __file__, kind, str(SECONDS)],
        capture_output=True,
        text=True,
        timeout=SECONDS + 120,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-3000:]


@pytest.mark.parametrize("data", [GREEN_BUTTON, *CSV_FILES])
def test_every_file_of_the_corpus_and_each_of_its_beginnings_is_sound(data, tmp_path):
    for end in range(1, len(data) + 1, 37):
        check(data[:end], tmp_path / "any")


if __name__ == "__main__":
    fuzz(*sys.argv[1:])
