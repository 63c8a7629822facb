"""Numbers as people write them in files and on the command: plain digits, no underscores, no other scripts.

Python reads `1_000` as a thousand and the digits of every script; a file that holds them was mangled on its way.
"""

from __future__ import annotations


def whole(text: str) -> int:
    """A whole number.

    Raises
    ------
    ValueError
        Not one, or not in plain digits.

    Examples
    --------
    >>> whole(" 15 "), whole("-3")
    (15, -3)
    """
    return int(_plain(text))


def real(text: str) -> float:
    """A number with or without decimals.

    Raises
    ------
    ValueError
        Not one, or not in plain digits.

    Examples
    --------
    >>> real("1.5e3")
    1500.0
    """
    return float(_plain(text))


def _plain(text: str) -> str:
    text = str(text)  # a default of the command is a number already
    if "_" in text or not text.isascii():
        raise ValueError(f"{text!r} is not written in plain digits")
    return text
