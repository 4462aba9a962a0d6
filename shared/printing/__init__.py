"""Printed records: pages, text, tables and the flow of a record, straight onto a canvas."""

from reportlab import rl_config

# Each stroke would be looked through as it is made, which takes longer than drawing it. Must be said before shapes are loaded.
rl_config.shapeChecking = 0
