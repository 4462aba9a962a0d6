"""Printed records: pages, text, tables and the flow of a record, straight onto a canvas."""

import os

# Read by reportlab when it is loaded: each stroke would be looked through as it is made, which takes longer than drawing it.
os.environ.update(RL_shapeChecking="0")
