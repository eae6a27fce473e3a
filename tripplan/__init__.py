"""Plan a touring caravan hire on sealed roads, with every store emptied, filled and charged in time."""

__version__ = "0.1.0"
