"""Printed records: pages, text, tables and the flow of a record, straight onto a canvas."""
