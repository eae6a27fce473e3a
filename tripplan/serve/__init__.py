"""The page for people without a command line: forms in, plans as jobs, papers out, on this machine or hosted."""
