"""Printed records: pages, text, tables and the flow of a record, straight onto a canvas."""

import shared.charts  # noqa: F401 - before reportlab's shapes are loaded
