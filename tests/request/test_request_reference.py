"""The reference of keys says what the checks do."""

from __future__ import annotations

from tripplan.model.trip import Weights
from tripplan.request.keys import NEEDED, TABLES, keys_of
from tripplan.request.reference import reference, reference_text


def test_every_key_is_described() -> None:
    """Each key of each table stands once, with a meaning and what is accepted."""
    docs = reference()
    assert len(docs) == sum(map(len, TABLES.values()))
    assert len({(doc.table, doc.name) for doc in docs}) == len(docs)
    assert all(doc.meaning.endswith(".") and doc.accepted and doc.default for doc in docs)


def test_units_stand_in_names() -> None:
    """A key with a unit carries it in its name, so that nobody has to guess."""
    endings = {
        "L": "_l",
        "kg": "_kg",
        "m": "_m",
        "km": "_km",
        "h": "_h",
        "min": "_min",
        "Ah": "_ah",
        "W": "_w",
        "A": "_a",
        "°C": "_c",
        "cents": "_cents",
        "km/h": "_kmh",
    }
    spared = {"hours", "towing_limit_kmh", "charger_a"}
    for table in TABLES:
        for key in keys_of(table):
            if key.unit in endings and key.name not in spared:
                assert key.name.endswith(endings[key.unit]), f"{table}.{key.name} is in {key.unit}"


def test_defaults_are_the_models() -> None:
    """A default in the reference is the one that holds when the key is left out."""
    defaults = {key.name: key.default for key in keys_of("weights")}
    assert defaults == {name: getattr(Weights(), name) for name in defaults}
    assert {key.name: key.default for key in keys_of("driving")}["max_h"] == 4
    assert [key.name for key in keys_of("firm") if key.default is NEEDED] == ["name", "phone", "towing_limit_kmh"]


def test_text_is_markdown_tables() -> None:
    """One heading a table, one row a key."""
    text = reference_text()
    assert text.count("### ") == len(TABLES)
    assert "| `grey_l` | Grey water barrel or tank, full volume. | 5 to 400 L | needed |" in text
    assert (
        "| `leave_after` | Earliest start of a day on the road. | a time of day without quotes, such as 09:00:00 | 09:00:00 |"
        in text
    )
