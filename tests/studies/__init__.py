"""Studies by simulation: whether what `compliance.metrology` claims is so. `python -m tests.studies` runs them in full."""
