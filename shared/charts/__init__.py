"""Pictures drawn once as reportlab drawings: SVG for the page, vectors for the print."""
