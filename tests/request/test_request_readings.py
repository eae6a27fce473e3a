"""Files of readings: what a person writes becomes readings, and each mistake becomes one line that says what to do."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from helpers import plans

from tripplan.model.errors import BadInputError
from tripplan.model.place import Spot
from tripplan.model.serial import plan_to_json
from tripplan.model.trip import Sight, Trip
from tripplan.model.words import Store
from tripplan.region.build import build
from tripplan.region.region import Region
from tripplan.request.readings_file import load_readings

SAMPLE = Path(__file__).resolve().parents[2] / "data_sample"
PLAN = plans.plan(4)
TRIP: Trip = replace(PLAN.trip, sights=(Sight(Spot("Pell Sands", "Pell Sands", -27.7, -43.06)),))
HEAD = 'plan = "plan.json"\nnow = 2026-02-06T09:00:00\n'
READ = "[[readings]]\ntime = 2026-02-05T20:00:00\n"


@pytest.fixture(scope="module")
def region() -> Region:
    """The sample island."""
    return build(SAMPLE / "island.osm.pbf", name="island")


def written(folder: Path, text: str) -> Path:
    """Write a file of readings beside a plan."""
    (folder / "plan.json").write_text(plan_to_json(PLAN), encoding="utf-8")
    (folder / "readings.toml").write_text(text, encoding="utf-8")
    return folder / "readings.toml"


def test_every_kind_of_reading_is_taken(region: Region, tmp_path: Path) -> None:
    """Gauges in their units and in per cent, lamps, volts, services and where the van is: all arrive as meant, in local time."""
    text = HEAD + 'place = "Loth Lido"\nseen = ["pell sands"]\n' + "".join(
        f"{READ}{line}\n"
        for line in (
            'store = "fresh"\nlevel_l = 30\nerror = 1.5', 'store = "gas"\nlevel_kg = 4', 'store = "battery"\nlevel_ah = 61', 'store = "grey"\npercent = 60',
            'store = "battery"\nvolts = 12.4', 'store = "cassette"\nlamp = "lit"', 'store = "fresh"\nlamp = "dark"\nlit_share = 0.25',
        )
    ) + '[[services]]\ntime = 2026-02-05T12:00:00\nstores = ["grey", "cassette"]\ndone = false\n'  # fmt: skip
    readings, followed = load_readings(written(tmp_path, text), region, TRIP)
    assert [day.date for day in followed.days] == [day.date for day in PLAN.days]
    assert readings.now == datetime(2026, 2, 6, 9, tzinfo=ZoneInfo(region.meta.tz))
    assert readings.place is not None
    assert readings.place.name == "Loth Lido"
    assert readings.seen == ("Pell Sands",)
    told = [(r.store, r.kind, r.value, r.error, r.lit) for r in readings.readings]
    assert told == [
        (Store.FRESH, "level", 30.0, 1.5, False), (Store.GAS, "level", 4.0, -1.0, False), (Store.BATTERY, "level", 61.0, -1.0, False),
        (Store.GREY, "percent", 60.0, -1.0, False), (Store.BATTERY, "volts", 12.4, -1.0, False), (Store.CASSETTE, "lamp", 0.8, -1.0, True),
        (Store.FRESH, "lamp", 0.25, -1.0, False),
    ]  # fmt: skip
    assert [(s.stores, s.done) for s in readings.services] == [((Store.GREY, Store.CASSETTE), False)]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (READ + 'store = "fresh"\nlevel_l = 30', ("`plan` is missing",)),
        (HEAD, ("no readings are in it",)),
        (HEAD + READ + 'store = "fresh"', ("says nothing of a level", "level_l")),
        (HEAD + READ + 'store = "fresh"\nlevel_l = 30\npercent = 50', ("level_l", "percent")),
        (HEAD + READ + 'store = "fresh"\nlevel_kg = 3', ("`level_kg` of fresh", "level_l")),
        (HEAD + READ + 'store = "gas"\nvolts = 12.2', ("`volts` of gas",)),
        (HEAD + READ + 'store = "gas"\nlamp = "lit"', ("`lamp` of gas",)),
        (HEAD + READ + 'store = "water"\nlevel_l = 30', ("fresh",)),
        (HEAD + READ + 'store = "grey"\npercent = 130', ("`percent` is 130", "0 to 100")),
        (HEAD + READ + 'store = "grey"\nlevl_l = 30', ("`levl_l` is unknown", "level_l")),
        (HEAD + 'seen = ["Pel Sands"]\n' + READ + 'store = "grey"\nlevel_l = 3', ("Pel Sands", 'did you mean "Pell Sands"')),
        (HEAD + 'place = "Atlantis"\n' + READ + 'store = "grey"\nlevel_l = 3', ("Atlantis",)),
        (HEAD.replace("plan.json", "none.json") + READ + 'store = "grey"\nlevel_l = 3', ("`plan`", "none.json", "no such file")),
        (HEAD.replace("plan.json", "readings.toml") + READ + 'store = "grey"\nlevel_l = 3', ("`plan`", "is not JSON")),
        (HEAD + READ + 'store = "grey"\nlevel_l = 3\n[[services]]\ntime = 2026-02-05T12:00:00\nstores = []', ("`stores` is empty",)),
        (HEAD.replace("09:00:00", "") + READ, ("is not TOML",)),
    ],
)  # fmt: skip
def test_each_mistake_is_one_clear_line(region: Region, tmp_path: Path, text: str, words: tuple[str, ...]) -> None:
    """Whatever is wrong: one line, with what would be right."""
    with pytest.raises(BadInputError) as caught:
        load_readings(written(tmp_path, text), region, TRIP)
    assert "\n" not in str(caught.value)
    for word in words:
        assert word in str(caught.value)
