"""The record as data: the same pack as the printed one, for programs."""
