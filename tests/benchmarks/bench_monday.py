"""A minute of ten people at work on SQLite, alone, and while digests, the night's task and an import fall in it.

python -m tests.benchmarks.bench_monday [seconds] [folder]
    110 sites; in a folder that is kept they are built once: about three minutes on an idle machine
"""

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

SITES = 110


def main() -> None:
    seconds = sys.argv[1] if len(sys.argv) > 1 else "60"
    with tempfile.TemporaryDirectory(prefix="noughtbook-bench-") as made:
        kept = Path(sys.argv[2]) if len(sys.argv) > 2 else Path(made) / "set"
        if not kept.exists():
            build = ["-m", "tests.benchmarks.big_set", "--engine", "sqlite", "--sites", str(SITES), "--keep", str(kept)]
            subprocess.run([sys.executable, *build], check=True)
        folder = Path(made) / "monday"
        shutil.copytree(kept, folder)
        own = {
            "DATABASE_URL": f"sqlite:///{folder}/big.sqlite3",
            "NOUGHTBOOK_DATA": str(folder),
            "DJANGO_SETTINGS_MODULE": "compliance.settings",
        }
        measure = [sys.executable, "-m", "tests.benchmarks.measure_monday", str(folder), seconds]
        subprocess.run(measure, env=os.environ | own, check=True)


if __name__ == "__main__":
    main()
