"""Advice on a word that is not known, and a fault of many rows said once."""

from reclaim.site.problems import Check, Findings
from reclaim.site.spelling import suggestion


def test_two_words_that_are_as_near_are_both_named():
    known = ("ferrous", "other_nonferrous", "glass")
    assert suggestion("Non ferrous", known) == "Did you mean 'ferrous' or 'other_nonferrous'?"
    assert suggestion("Ferous", known) == "Did you mean 'ferrous'?"
    assert suggestion("rubble", known) == "Use one of: ferrous, other_nonferrous, glass."


def test_the_same_fault_in_many_rows_is_said_once():
    findings = Findings()
    for row in (4, 8, 12, 16, 20):
        findings.error(f"a.csv row {row}, column material", "No material 'x'.", "Map it.")
        findings.error(f"a.csv row {row}, column wet_mass_kg", f"{row} is no mass.", "Weigh it.")
    for row in (4, 4, 9):
        findings.warn(f"b.csv row {row}", "Twice.", "Look.")
    findings.note("c.csv", "Read.", "")
    many, *single = findings.errors
    assert many == Check(
        "error",
        "a.csv rows 4, 8, 12 and 2 more, column material",
        "No material 'x'.",
        "Map it.",
    )
    assert [check.where for check in single] == [
        f"a.csv row {row}, column wet_mass_kg" for row in (4, 8, 12, 16, 20)
    ]
    assert findings.checks[-2:] == (
        Check("warning", "b.csv rows 4 and 9", "Twice.", "Look."),
        Check("note", "c.csv", "Read.", ""),
    )
