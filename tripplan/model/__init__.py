"""The frozen values that pass between rooms. Bottom layer: imports nothing of the house."""
