"""Pictures drawn once as reportlab drawings: SVG for the page, vectors for the print."""

import shared.printing  # noqa: F401 - what it says is read as reportlab is loaded
