"""Pictures drawn once as reportlab drawings: SVG for the page, vectors for the print."""

from reportlab import rl_config

# Each stroke would be looked through as it is made, which takes longer than drawing it. Must be said before shapes are loaded.
rl_config.shapeChecking = 0
