"""Sun, time zones, opening hours, public holidays, climate, the national towing table."""
