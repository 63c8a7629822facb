"""Names, addresses and account numbers of meter files never reach a terminal, a document, a clean file or a message.

The files are invented.
"""

import subprocess
import sys

import pytest

from profiles.meter import clean_csv, document, read_meter
from profiles.meter.readings.private import is_about_a_person, is_trade, public_names, public_number
from profiles.noun import BadInput

SECRETS = ("Jane", "Doe", "Long Lane", "99887766", "5551234", "jane@", "SN-77", "Elm")
ROWS = [f"2025-07-{d:02d},{h:02d}:00,{1 + h % 3 / 10:.1f}" for d in range(1, 9) for h in range(24)]
PREAMBLE = ["Name,Jane Doe", "Address,12 Long Lane", "Account Number,99887766", "Email,jane@example.org"]
HEAD = "Date,Start Time,kWh"


def with_cells(name, *cells):
    return [f"{name},{HEAD}", *(f"{cell},{row}" for cell in cells for row in ROWS)]


CSV_FILES = {
    "preamble": [*PREAMBLE, "", HEAD, *ROWS],
    "preamble and no names of columns": [*PREAMBLE, *ROWS],
    "name above the readings": ["Account Name,Jane Doe", *(f"{row.replace(',', ' ', 1)}" for row in ROWS)],
    "name above the values": ["Date,Start Time,Jane Doe 99887766", *ROWS],
    "meter number above the values": ["Date,Start Time,kWh 99887766", *ROWS],
    "a column of accounts": with_cells("Account", "99887766"),
    "two customers": with_cells("Customer", "Jane Doe", "John Elm"),
    "two names": with_cells("Name", "Jane Doe", "John Elm"),
    "two addresses": with_cells("Service address", "12 Long Lane", "9 Elm St"),
    "two meters": with_cells("Meter", "SN-77-1234", "5551234"),
    "words among the values": [HEAD, *ROWS, "2025-07-20,00:00,Jane Doe", "2025-07-20,01:00 Jane,1"],
    "a footer": [HEAD, *ROWS, "Total Jane Doe 99887766", "Account,99887766"],
    "unclear numbers": [*PREAMBLE, HEAD, *(f'2025-07-01,{h:02d}:00,"1,{100 + h}"' for h in range(24))],
    "unclear dates": [*PREAMBLE, "Date Jane Doe,Start Time,kWh", *(f"07/01/2025,{h:02d}:00,1.5" for h in range(24))],
    "no dates": [*PREAMBLE, "a,b", "1,2"],
    "an open quote": ['"Jane Doe', "99887766,x", *ROWS],
    "no table": ["Jane Doe 99887766 Long Lane"],
}
GREEN_BUTTON = """<?xml version="1.0"?>{doctype}<feed xmlns="http://www.w3.org/2005/Atom"><title>Jane Doe, 12 Long Lane</title>
<author><name>Jane Doe</name></author><entry><id>urn:99887766</id><title>Jane Doe</title>
<link rel="self" href="u/RetailCustomer/99887766/Customer/1"/><content><Customer xmlns="http://naesb.org/espi/customer">
<Organisation><name>Jane Doe</name><streetAddress>12 Long Lane</streetAddress><electronicAddress>jane@example.org</electronicAddress>
</Organisation></Customer></content></entry>
<entry><title>12 Long Lane</title><link rel="self" href="u/RetailCustomer/99887766/UsagePoint/99887766A"/><content>
<UsagePoint xmlns="http://naesb.org/espi"><ServiceCategory><kind>0</kind></ServiceCategory><ServiceDeliveryPoint>
<name>Jane Doe</name><customerAgreement>99887766</customerAgreement></ServiceDeliveryPoint></UsagePoint></content></entry>
<entry><link rel="self" href="u/RetailCustomer/99887766/UsagePoint/99887766A/MeterReading/5551234"/>
<link rel="related" href="T/99887766"/><content><MeterReading xmlns="http://naesb.org/espi"/></content></entry>
<entry><link rel="self" href="T/99887766"/><content><ReadingType xmlns="http://naesb.org/espi">
<intervalLength>900</intervalLength><powerOfTenMultiplier>{power}</powerOfTenMultiplier><uom>72</uom></ReadingType></content></entry>
<entry><content><LocalTimeParameters xmlns="http://naesb.org/espi"><dstEndRule>B40E2000</dstEndRule><dstOffset>3600</dstOffset>
<dstStartRule>{rule}</dstStartRule><tzOffset>-18000</tzOffset></LocalTimeParameters></content></entry>
<entry><link rel="self" href="u/RetailCustomer/99887766/UsagePoint/99887766A/MeterReading/5551234/IntervalBlock/1"/><content>
<IntervalBlock xmlns="http://naesb.org/espi"><interval><duration>900</duration><start>{block}</start></interval><IntervalReading>
<timePeriod><duration>900</duration><start>{start}</start></timePeriod><value>{value}</value></IntervalReading></IntervalBlock>
</content></entry></feed>"""
SOUND = {"doctype": "", "power": 0, "rule": "360E2000", "block": 1741500000, "start": 1741500000, "value": 325}
XML_CHANGES = {
    "sound": {},
    "value": {"value": "Jane Doe"},
    "start": {"start": "99887766 Jane"},
    "block": {"block": "12 Long Lane"},
    "power": {"power": "Jane Doe"},
    "rule": {"rule": "Jane Doe"},
    "entity": {"value": "&Jane;"},
    "document type": {"doctype": '<!DOCTYPE Jane [<!ENTITY a "Jane Doe">]>'},
}


def said_of(path, **options):
    """Everything that is said of a file: its document and its clean copy, or the refusal."""
    try:
        meter = read_meter(path, timezone="America/New_York", **options)
    except BadInput as refused:
        return str(refused)
    return str(document(meter)) + repr(meter) + clean_csv(meter, path.with_suffix(".out")).read_text()


def assert_harmless(text):
    assert text
    assert not [word for word in SECRETS if word in text], text


@pytest.mark.parametrize("options", [{}, {"dialect": {"unit": "kWh"}}, {"point": "1"}, {"point": "nobody"}], ids=str)
@pytest.mark.parametrize("name", CSV_FILES)
def test_a_csv_file_keeps_its_secrets(tmp_path, name, options):
    path = tmp_path / "usage.csv"
    path.write_text("\n".join(CSV_FILES[name]))
    assert_harmless(said_of(path, **options))


@pytest.mark.parametrize("name", XML_CHANGES)
def test_a_green_button_file_keeps_its_secrets(tmp_path, name):
    text, path = GREEN_BUTTON.format(**SOUND | XML_CHANGES[name]), tmp_path / "usage.xml"
    path.write_text(text)
    assert_harmless(said_of(path))
    assert_harmless(said_of(path, point="1"))
    path.write_text(text[: len(text) // 2])
    assert_harmless(said_of(path))


@pytest.mark.parametrize("name", ["two customers", "preamble", "words among the values", "name above the values"])
@pytest.mark.parametrize("flags", [[], ["--json"]])
def test_the_command_keeps_them_too(tmp_path, name, flags):
    path, clean = tmp_path / "usage.csv", tmp_path / "clean.csv"
    path.write_text("\n".join(CSV_FILES[name]))
    command = [
        sys.executable,
        "-m",
        "simulate.cli",
        "meter",
        str(path),
        "--timezone",
        "America/New_York",
        "--clean",
        str(clean),
    ]
    done = subprocess.run([*command, *flags], capture_output=True, text=True, check=False)
    assert done.returncode in (0, 2)
    assert_harmless(done.stdout + done.stderr + (clean.read_text() if clean.exists() else ""))


def test_a_chosen_customer_is_told_by_number(tmp_path):
    """The user may name the customer; the answer does not."""
    path = tmp_path / "usage.csv"
    path.write_text("\n".join(CSV_FILES["two customers"]))
    assert_harmless(said_of(path, point="Jane Doe"))
    assert read_meter(path, timezone="America/New_York", point="Jane Doe").energy_kwh == pytest.approx(8 * 26.4)


def test_columns_of_circuits_are_still_chosen_by_name(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["Date,Start Time,Kitchen kWh,Pump 1234567 kWh", *(f"{row},2.5" for row in ROWS)]))
    with pytest.raises(BadInput, match=r"choose one with column: Kitchen kWh \[1 to 1.2, mean 1.1\], Pump #1 kWh \["):
        read_meter(path, timezone="America/New_York")
    for name in ("Pump #1 kWh", "Pump 1234567 kWh"):
        assert read_meter(path, timezone="America/New_York", column=name).energy_kwh == 2.5 * len(ROWS)
    assert "values of Kitchen kWh" in read_meter(path, timezone="America/New_York", column="Kitchen kWh").dialect


def test_long_and_strange_texts_take_no_time():
    """Patterns that could be matched in many ways would hang here."""
    for text in ("w " * 36 + "jane", "export_" * 10 + "jane", "customer " * 8 + "jane", "interval " * 8 + "jane"):
        assert not is_trade(text) and not is_about_a_person([text, "x"])
    assert not is_trade("w " * 100_000)
    assert public_names(["1 " * 40 + "x"]) == ["#1 x"]


def test_blanks_inside_a_cell_take_no_time(tmp_path):
    path = tmp_path / "usage.csv"
    path.write_text(
        "\n".join(
            [HEAD, *ROWS, "2025-07-20,00:00,1" + " " * 120_000 + "x", "2025-07-20,01:00,1" + " " * 120_000 + "kWh"]
        )
    )
    assert read_meter(path, timezone="America/New_York").readings >= len(ROWS)


def test_words_of_the_trade_are_told_from_others():
    assert all(map(is_trade, ("Delivered", "E1", "kWh", "On peak", "Reverse energy", "Channel 2")))
    assert not any(map(is_trade, ("Jane", "Long Lane 5", "12345", "SN-77-1234", "jane@example.org", "")))
    assert public_names(["kWh 12 34 56 78", "HE 24", "2025"]) == ["kWh #1", "HE 24", "2025"]
    assert [public_number(text) for text in ("1e5", " -3 ", "5 Long Lane")] == ["1e5", "-3", "text"]
    assert not is_about_a_person(["Account", "Date", "kWh"])
