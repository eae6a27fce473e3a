"""Outfit and firm on their own, for checking a way and counting what is reached when there is no trip."""

from __future__ import annotations

from pathlib import Path

from tripplan.model.outfit import Outfit
from tripplan.model.trip import Firm

__all__ = ["COMMON_FIRM", "COMMON_OUTFIT", "load_towing"]

#: A mid-size car with a four-berth van (common practice, no source).
COMMON_OUTFIT = Outfit("a common outfit", True, 3500, 1500, 1500, 2.6, 2.3, 12.0, 90)
#: What most hire firms allow (common practice, no source).
COMMON_FIRM = Firm("common rules", "", 90)


def load_towing(outfit_path: Path | None, firm_path: Path | None) -> tuple[Outfit, Firm]:
    """Read an outfit and a firm, each from its own TOML file; a common one where there is no file.

    Raises
    ------
    BadInputError
        As `tripplan.request.trip_file.load_trip` does.
    """
    from tripplan.request.trip_file import read_firm, read_outfit

    firm = read_firm(firm_path) if firm_path is not None else COMMON_FIRM
    return (read_outfit(outfit_path, firm) if outfit_path is not None else COMMON_OUTFIT), firm
