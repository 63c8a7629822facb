"""The guide shows what its commands print."""

import pytest

from notebooks.guide import COMMAND, PAGE, TEXT, page


@pytest.mark.long
def test_the_guide_shows_what_its_commands_print():
    assert PAGE.read_text("utf-8") == page(), "run  python -m notebooks.guide"


def test_the_page_holds_every_command_of_its_text():
    commands = COMMAND.findall(TEXT.read_text("utf-8"))
    told = PAGE.read_text("utf-8")
    assert len(commands) >= 6
    for words, _ in commands:
        assert f"$ keeplit {words}\n" in told
