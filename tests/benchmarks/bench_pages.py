"""Every page there is, and every choice that it offers, as each kind of person at 100, 1,000 and 5,000 sites.

python -m tests.benchmarks.bench_pages [--engine postgres] [--sites 1000] [--keep /tmp/big1000] [--only reading_list]
    builds the set in a folder that is gone afterwards, or in the one to keep; one that is there is measured as it is
python -m tests.benchmarks.bench_pages --engine postgres --sites 5000 --keep /tmp/big5000 --plain --people head,supervisor
    the pages alone, without the choices that they offer

It prints, for each page that opens: queries, milliseconds of the processor for the process and for the database, kB of HTML,
rows that its statements visit, and what the best statements by hand take for all that the page shows (`by_hand`).
"""

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.benchmarks.big_set.__main__ import DATABASE
from tests.postgres import Postgres

SIZES = {"sqlite": (100, 1000), "postgres": (100, 1000, 5000)}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--engine", choices=SIZES)
    parser.add_argument("--sites", type=int)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--only", default="", help="names of addresses, such as reading_list,probe_list")
    parser.add_argument("--plain", action="store_true", help="none of the choices that a page offers")
    parser.add_argument(
        "--without", default="", help="names of addresses, such as reading_export, where it takes minutes"
    )
    parser.add_argument("--people", default="", help="such as manager,head")
    asked = parser.parse_args()
    for engine in [asked.engine] if asked.engine else SIZES:
        for sites in [asked.sites] if asked.sites else SIZES[engine]:
            with tempfile.TemporaryDirectory(prefix="noughtbook-pages-") as folder:
                which = [asked.only, asked.without, asked.people, "plain" if asked.plain else ""]
                _measure(engine, sites, asked.keep or Path(folder) / "set", which)


def _measure(engine: str, sites: int, folder: Path, which: list[str]) -> None:
    if not folder.exists():
        told = ["--engine", engine, "--sites", str(sites), "--keep", folder]
        subprocess.run([sys.executable, "-m", "tests.benchmarks.big_set", *told], check=True)
    if engine == "sqlite":
        _run(f"sqlite:///{folder}/big.sqlite3", folder, which)
    elif (folder / "data" / "postmaster.pid").exists():  # somebody has started it
        _run(f"postgresql://postgres@{str(folder).replace('/', '%2F')}/{DATABASE}", folder, which)
    else:
        server = Postgres([], folder)
        try:
            _run(server.url(DATABASE), folder, which)
        finally:
            server.stop()


def _run(database: str, folder: Path, which: list[str]) -> None:
    own = {"DATABASE_URL": database, "NOUGHTBOOK_DATA": str(folder), "DJANGO_SETTINGS_MODULE": "compliance.settings"}
    subprocess.run([sys.executable, "-m", "tests.benchmarks.measure_pages", *which], env=os.environ | own, check=True)


if __name__ == "__main__":
    main()
