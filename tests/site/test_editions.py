"""Section numbers by edition: 210.12 and 310.15 in excerpts of each edition, the rest from memory; trade press for 2026."""

import pytest

from simulate.site.editions import EDITIONS_HELD, SECTIONS, edition_year, numbered, section


@pytest.mark.parametrize(
    ("subject", "year", "number"),
    [
        ("afci-extension", 2014, "210.12(B)"),
        ("afci-extension", 2017, "210.12(D)"),
        ("afci-extension", 2020, "210.12(D)"),
        ("afci-extension", 2023, "210.12(E)"),
        ("bundling", 2017, "310.15(B)(3)(a)"),
        ("bundling", 2020, "310.15(C)(1)"),
        ("source-output", 2017, "705.60"),
        ("source-output", 2020, "705.28"),
        ("optional", 2026, "120.82"),
        ("surge", 2023, "215.18"),
    ],
)
def test_a_subject_has_the_number_of_its_edition(subject, year, number):
    assert section(subject, year) == number


@pytest.mark.parametrize(("subject", "year"), [("surge", 2017), ("emergency-disconnect", 2014), ("stand-alone", 2014)])
def test_an_edition_without_a_number_prints_the_subject(subject, year):
    """The Code did not hold it yet."""
    assert section(subject, year) == SECTIONS[subject][0]


def test_an_edition_that_is_not_held_prints_no_number():
    for subject, (words, _) in SECTIONS.items():
        assert section(subject, edition_year("NEC 1999")) == words
    assert numbered("NEC {bundling}, 110.14(C)", None) == "NEC adjustment for bundling, 110.14(C)"


def test_every_subject_begins_with_the_first_edition_held():
    """None stands for an edition that does not hold it, so that no edition falls off the table."""
    assert {min(numbers) for _, numbers in SECTIONS.values()} == {EDITIONS_HELD[0]}
    assert {first for _, numbers in SECTIONS.values() for first in numbers} <= set(EDITIONS_HELD)


@pytest.mark.parametrize("text", ["NEC 2023", "2023 NEC", "nec 2023", "2023", "NFPA 70-2023", "NFPA 70, 2023"])
def test_an_edition_is_read_as_people_write_it(text):
    assert edition_year(text) == 2023


def test_braces_that_are_no_subject_stay():
    assert numbered("a circuit called {x}", 2023) == "a circuit called {x}"
