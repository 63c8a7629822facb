"""The page of public names is the one that its docstrings give."""

from notebooks.api import PAGE, page


def test_the_page_of_public_names_is_current():
    assert PAGE.read_text("utf-8") == page(), "run  python -m notebooks.api"
