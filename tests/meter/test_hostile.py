"""Files of megabytes that are no meter files are refused at once, in little memory."""

import pytest

from profiles.meter import read_meter
from profiles.meter.green_button.feed import LONGEST_PIECE
from profiles.noun import BadInput

ZONE = "America/New_York"
FEED = b'<feed xmlns="http://www.w3.org/2005/Atom">'


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("commas.csv", b"," * 21_000_000, "1 lines and 21,000,000 separators"),
        ("one-line.csv", b"2025-01-01 00:00,1," * 20_000, "1 lines and 40,000 separators"),
        ("rows.csv", b"Start,kWh\n" + b"1,2\n" * 5_000_000, "5,000,002 lines"),
        ("open-quote.csv", b'Start,kWh\n2025-01-01 00:00,"' + b"x" * 300_000, "has a line of 300,018 signs"),
        ("attribute.xml", b'<feed a="' + b"x" * (LONGEST_PIECE + 100_000) + b'"/>', "without a tag"),
        ("text.xml", FEED + b"x" * (LONGEST_PIECE + 100_000) + b"</feed>", "without a tag"),
        ("elements.xml", FEED + b"<a/>" * 250_000 + b"</feed>", "holds 0 readings in its first 200,000 elements"),
    ],
)
def test_a_hostile_file_is_refused(tmp_path, name, content, message):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(BadInput, match=message):
        read_meter(path, timezone=ZONE)


def test_one_cell_of_great_length_does_not_widen_the_column(tmp_path):
    rows = [
        f"2025-07-{d:02d} {h:02d}:00,{'0' * 100_000 if (d, h) == (3, 4) else ''}1"
        for d in range(1, 9)
        for h in range(24)
    ]
    path = tmp_path / "usage.csv"
    path.write_text("\n".join(["Start,kWh", *rows]))
    meter = read_meter(path, timezone=ZONE, dialect={"readings": "interval"})
    assert meter.readings == 191
    assert [issue.count for issue in meter.issues if issue.kind == "not-a-number"] == [1]
