"""Files and folders for the user alone who runs this: others on the machine neither read the records nor learn the secret key."""

from contextlib import suppress
from pathlib import Path


def private_folder(path: Path) -> str:
    """Make a folder that its owner alone opens, or close one that is open. Why there can be none; empty where there is one."""
    try:
        path.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as refused:
        return str(refused)
    keep_private(path)
    return ""


def private_file(path: Path) -> None:
    """Have an empty file there before others make one that everybody reads."""
    with suppress(OSError):
        path.touch(mode=0o600, exist_ok=False)


def keep_private(*paths: Path) -> None:
    """Take from others what they may do with these. What is not ours to change stays as it is; the system checks tell."""
    for path in paths:
        with suppress(OSError):
            if is_open_to_others(path):
                path.chmod(path.stat().st_mode & 0o700)


def is_open_to_others(path: Path) -> bool:
    """Raises OSError where it cannot be looked at."""
    return bool(path.stat().st_mode & 0o077)
