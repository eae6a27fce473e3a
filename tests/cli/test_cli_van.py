"""`tripplan van explain`, and climate tables on the command line."""

from __future__ import annotations

import json
import re
from dataclasses import fields
from pathlib import Path

from tripplan.model.van import Party, Van


def test_explain_prints_every_figure(run, sample: Path) -> None:
    """Each figure of van and party stands there with unit, spread and source, 19.4 and 23.0 min among them."""
    ran = run("van", "explain", sample / "vans" / "four_berth.toml", "--party", sample / "parties" / "couple.toml")
    assert ran.code == 0, ran.err
    words = {line.split()[0] for line in ran.out.splitlines() if line.startswith("  ")}
    assert {f.name for kind in (Van, Party) for f in fields(kind)} - {"name", "learned"} <= words
    assert "common practice, no source" in ran.out
    ideal, practice = (
        next(x for x in ran.out.splitlines() if f"10 L by 1,800 W, 10 to 60 °C, {how}" in x) for how in ("ideal", "in practice")
    )
    assert "19.4 min" in ideal
    assert "23.0 min" in practice
    plain = run("van", "explain", sample / "vans" / "four_berth.toml").out
    assert "±12% all trip, ±15% by day" in next(x for x in plain.splitlines() if x.startswith("  water_l"))


def test_explain_as_json(run, sample: Path) -> None:
    """The same for programs: numbers as numbers, a source on each, one's own figures marked as given."""
    ran = run("van", "explain", sample / "vans" / "two_berth.toml", "--json")
    assert ran.code == 0, ran.err
    rows = {row["name"]: row for row in json.loads(ran.out)}
    assert rows["heat_loss_w_per_k"] == {
        "group": "van", "name": "heat_loss_w_per_k", "meaning": "Heat that the van loses for each degree between inside and outside", "value": 55.0,
        "unit": "W/K", "spread_shared": 0.15, "spread_daily": 0.2, "source": "given",
    }  # fmt: skip
    assert rows["shower_aboard"]["value"] is True
    assert all(row["source"] for row in rows.values())
    assert {row["group"] for row in rows.values()} == {"van", "party", "limits", "times", "spreads", "constants"}


def test_explain_refuses_in_one_line(run, tmp_path: Path) -> None:
    """No file, no TOML, an unknown key: exit code 2 and one line."""
    bad = tmp_path / "van.toml"
    for text in (None, "x", 'name = "v"\nfresh = 3\n'):
        if text is not None:
            bad.write_text(text, encoding="utf-8")
        ran = run("van", "explain", bad)
        assert ran.code == 2
        assert ran.err.count("\n") == 1


def test_a_region_takes_and_shows_a_climate_table(run, island: Path, sample: Path, tmp_path: Path) -> None:
    """Added on the command line, shown with its stations; a bad table leaves no region behind."""
    assert "Climate table: none" in run("region", "show", island).out
    out = tmp_path / "with.region"
    ran = run("region", "add", island, "--climate", sample / "sample_climate.csv", "--out", out)
    assert ran.code == 0, ran.err
    assert "Climate table: 6 stations (sample_climate.csv): Long Lee" in ran.out
    assert "Brackenfirth Fold" in run("region", "show", out).out
    assert "of no use" not in ran.out
    far = tmp_path / "far.csv"  # the sample's stations with the sign of their latitude lost
    far.write_text((sample / "sample_climate.csv").read_text(encoding="utf-8").replace(",-4", ",4"), encoding="utf-8")
    north = run("region", "add", island, "--climate", far, "--out", tmp_path / "north.region")
    told = re.search(r"no station lies within 250 km of the region, the nearest, ([\w ]+), is (\d,\d{3}) km away", north.out)
    assert told, north.out
    assert 9300 < int(told[2].replace(",", "")) < 9700  # 43 + 42 degrees and more of a meridian, 111.2 km each
    bad = tmp_path / "bad.csv"
    bad.write_text("station,lat\n", encoding="utf-8")
    refused = run("region", "add", island, "--climate", bad, "--out", tmp_path / "none.region")
    assert refused.code == 2
    assert not (tmp_path / "none.region").exists()
