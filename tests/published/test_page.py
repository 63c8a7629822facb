"""The page of evidence is the one that the headers make, and it speaks of everything that a study prints."""

from profiles.files import plain_cell
from simulate import read_site, study
from tests.published.readme import NO_QUANTITY, PAGE, QUANTITIES, certainty, header, names, page


def test_the_page_is_what_the_headers_make():
    """Write it anew with python -m tests.published.readme; --measure runs the tests first."""
    assert PAGE.read_text(encoding="utf-8") == page()


def test_every_file_names_its_source_and_how_sure_we_are():
    assert [name for name in names() if not header(name)] == []
    assert [name for name in names() if certainty(name) == "not stated"] == []
    behind = {name for _, _, files, _ in QUANTITIES for name in files}
    assert behind - set(names()) == set(), "files that are not there"
    assert set(names()) - behind == set(), "files that stand behind no quantity"


def test_every_quantity_of_a_study_stands_on_the_page():
    """Each key of the document is a quantity with its authorities, or repeats the site file or another key."""
    known = tuple(key for _, keys, _, _ in QUANTITIES for key in keys) + NO_QUANTITY
    document = study(read_site()).document
    keys = [
        f"{table}.{key}" if isinstance(value, dict) else table
        for table, value in document.items()
        for key in (value if isinstance(value, dict) else [table])
    ]
    assert [key for key in keys if not any(key == one or key.startswith(f"{one}.") for one in known)] == []


def test_no_cell_of_the_page_breaks_its_table():
    rows = [line for line in PAGE.read_text(encoding="utf-8").splitlines() if line.startswith("|")]
    assert {row.count("|") for row in rows} <= {4, 5}
    assert all(plain_cell(row) == row for row in rows)
