"""Benchmarks: commands that print ratios against a floor measured in the same run. They are no tests."""

import os

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "compliance.settings")
