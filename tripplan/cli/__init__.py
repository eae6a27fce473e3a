"""One thin module a command; the only place that prints."""
