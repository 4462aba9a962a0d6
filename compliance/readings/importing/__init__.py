"""Files of readings: what a file would bring in, and bringing it in."""

from .bring import Preview, import_file, import_parts, preview
from .layout import COLUMNS, OPTIONAL, REQUIRED, FileRefused

__all__ = ["COLUMNS", "OPTIONAL", "REQUIRED", "FileRefused", "Preview", "import_file", "import_parts", "preview"]
