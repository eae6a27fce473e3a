"""Bytes to facts: reads map files, or a named place live."""
