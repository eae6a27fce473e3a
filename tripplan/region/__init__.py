"""Judgements to a region: build, save, load, look up, coverage."""
