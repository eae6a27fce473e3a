"""Facts to judgements: surface, access, limits, towing speed, offers. Pure functions and tables, each answer with its source."""
