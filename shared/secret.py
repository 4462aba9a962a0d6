"""A secret made once and kept in a file that only its owner can read, so that a fresh clone needs no setting."""

import os
import secrets
from pathlib import Path


def kept_secret(path: Path) -> str:
    """The secret in `path`; made on the first call. Empty where it can be neither made nor read."""
    try:
        return _made(path)
    except FileExistsError:
        return path.read_text().strip() if os.access(path, os.R_OK) else ""
    except OSError:
        return ""


def _made(path: Path) -> str:
    handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
    with os.fdopen(handle, "w") as file:
        secret = secrets.token_urlsafe(50)
        file.write(secret)
    return secret
