"""The benchmark of the page once, small: its sentences are those of the study before anything is timed."""

import json

import pytest

from benchmarks.page import case_page


@pytest.mark.long
def test_the_benchmark_of_the_page_asserts_its_sentences_and_gives_rows():
    rows = case_page(n=1, parts=("first",))
    assert len(rows) >= 7
    for row in rows:
        assert set(row) == {"case", "median_ms", "per_design_us", "versus"} and "95 in 100 within" in row["case"]
        json.dumps(row, allow_nan=False)
