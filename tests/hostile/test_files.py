"""Every kind of file that is read: only plain files of a stated size are opened."""

import os
from pathlib import Path

import pytest

from profiles import hours_of_year, rate_prices, read_meter, read_rate, read_weather
from profiles.files import CSV_MB, FEED_MB, MB, RECORD_MB, TOML_MB, WEATHER_MB, read_toml, toml_tables
from profiles.noun import BadInput
from profiles.rate.rate import Rate
from profiles.solar.log import SolarLog, log_kw
from simulate import read_fleet, read_site
from simulate.bill.replay import read_printed_bills
from simulate.site.named_files import NOT_THERE, content_of

HOURS = hours_of_year(2025, "UTC")


def read_prices(path):
    rate = Rate(hourly_prices={"csv": str(path), "price_column": "price"})
    return rate_prices(rate, HOURS)


KINDS = {
    "site.toml": (read_site, TOML_MB),
    "rate.toml": (read_rate, TOML_MB),
    "record.json": (read_rate, RECORD_MB),
    "prices.csv": (read_prices, CSV_MB),
    "log.csv": (lambda path: log_kw(SolarLog(csv=str(path), column="kw"), HOURS), CSV_MB),
    "weather.csv": (read_weather, WEATHER_MB),
    "weather.epw": (read_weather, WEATHER_MB),
    "meter.csv": (read_meter, 100),
    "meter.xml": (read_meter, FEED_MB),
    "bills.toml": (read_printed_bills, TOML_MB),
    "fleet.csv": (read_fleet, CSV_MB),
    "fleet.parquet": (read_fleet, CSV_MB),
}


def make_pipe(path: Path, most_mb: float):
    os.mkfifo(path)


def make_device(path: Path, most_mb: float):
    path.symlink_to("/dev/zero")


def make_loop(path: Path, most_mb: float):
    path.symlink_to(path)


def make_folder(path: Path, most_mb: float):
    path.mkdir()


def make_large(path: Path, most_mb: float):
    with path.open("wb") as file:
        file.truncate(int(most_mb * MB) + 1)


def make_nothing(path: Path, most_mb: float):
    assert not path.exists()


MAKERS = {
    "is a pipe": make_pipe,
    "is a device": make_device,
    "Too many levels of symbolic links": make_loop,
    "is a folder": make_folder,
    " MB, more than": make_large,
    "No such file|not there|cannot be read": make_nothing,
}


@pytest.mark.parametrize("told", MAKERS)
@pytest.mark.parametrize("name", KINDS)
def test_only_plain_files_of_a_stated_size_are_opened(tmp_path, name, told):
    """A pipe would wait for ever and /dev/zero fill the memory: both are refused before they are opened."""
    read, most_mb = KINDS[name]
    path = tmp_path / name
    MAKERS[told](path, most_mb)
    with pytest.raises(BadInput, match=told) as caught:
        read(path)
    assert name in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("told", MAKERS)
def test_a_file_that_is_only_hashed_is_not_opened_either(tmp_path, told):
    """A sweep notes the bytes of every file that its sites name."""
    MAKERS[told](tmp_path / "meter.csv", FEED_MB)
    assert content_of("meter.csv", tmp_path) == NOT_THERE


BOMBS = {
    "a dotted key of a million parts": ".".join("a" * 900_000) + " = 1",
    "a thousand dotted keys": "\n".join(f"k{k}" + ".a" * 900 + " = 1" for k in range(1000)),
    "a dotted key behind a comment that opens a text": '# """\n' + ".".join("a" * 50_000) + ' = 1\n# """',
    "a header of many parts": "[" + ".".join("a" * 50_000) + "]",
    "quoted parts": ".".join(['"a"'] * 50_000) + " = 1",
    "lists in lists": "a = " + "[" * 50_000 + "]" * 50_000,
    "tables in tables": "a = " + "{a = " * 50_000 + "1" + "}" * 50_000,
    "a number of 5,000 digits": "a = " + "9" * 5_000,
    "an open text": 'a = """' + "x" * 500_000,
    "an open quote": "'" * 500_001,
    "only dots": "." * 1_000_000,
    "a zero sign": "a = 1\x00",
}


@pytest.mark.parametrize("name", BOMBS)
def test_toml_that_would_eat_the_memory_is_refused(name):
    with pytest.raises(BadInput, match="^a.toml: (has|is not TOML)"):
        toml_tables(BOMBS[name], file="a.toml")


@pytest.mark.parametrize(
    "text",
    [
        'a = "e.g. one. two. a. b. c. d. e. f. g. h. i. j. k. l. m. n. o. p. q. r."',
        'a = """\n' + "one. two. " * 40 + '\n"""',
        "# one. two. a. b. c. d. e. f. g. h. i. j. k. l. m. n. o. p. q. r.",
        "a.b.c.d.e = 1",
        "a = 1e5",
    ],
)
def test_toml_that_only_looks_deep_is_read(text):
    toml_tables(text, file="a.toml")


@pytest.mark.parametrize("name", ["site.toml", "rate.toml", "bills.toml"])
@pytest.mark.parametrize("bomb", ["a dotted key of a million parts", "a number of 5,000 digits", "lists in lists"])
def test_every_reader_of_toml_refuses_a_bomb(tmp_path, name, bomb):
    path = tmp_path / name
    path.write_text(BOMBS[bomb])
    with pytest.raises(BadInput, match=name):
        KINDS[name][0](path)


def test_a_byte_order_mark_is_no_fault_and_another_encoding_is_named(tmp_path):
    path = tmp_path / "a.toml"
    path.write_bytes(b"\xef\xbb\xbfa = 1\n")
    assert read_toml(path) == {"a": 1}
    path.write_bytes("a = 'Kälte'\n".encode("latin-1"))
    with pytest.raises(BadInput, match=r"is not UTF-8 text \(byte 6\); save it as UTF-8"):
        read_toml(path)


def test_a_packed_table_is_not_unpacked(tmp_path):
    """A few kB of packed zeros may be gigabytes: a table is read as it stands there."""
    import gzip

    path = tmp_path / "prices.csv.gz"
    path.write_bytes(gzip.compress(b"start,price\n" + b"0" * 1_000_000))
    with pytest.raises(BadInput, match="prices.csv.gz"):
        read_prices(path)


@pytest.mark.parametrize("encoding", ["utf-16", "utf-32", "utf-7", "cp037"])
def test_a_feed_in_an_odd_encoding_is_read_or_refused_in_one_line(tmp_path, encoding):
    """Encodings that an XML declaration may name; the parser knows UTF-8, UTF-16, Latin-1 and ASCII."""
    path = tmp_path / "feed.xml"
    text = f'<?xml version="1.0" encoding="{encoding}"?><feed xmlns="http://www.w3.org/2005/Atom"></feed>'
    path.write_bytes(text.encode(encoding))
    with pytest.raises(BadInput, match="feed.xml") as caught:
        read_meter(path)
    assert "\n" not in str(caught.value)
