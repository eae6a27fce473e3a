"""Region to ways to go: the towing network, joining places, times, routes, the check."""
