"""Pure numbers: what a check of a thermometer shows. No Django, no clock, no database; °C, seconds, pascals."""
