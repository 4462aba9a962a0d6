"""A business of many sites, to look at plans and pages on.

python -m tests.benchmarks.big_set --engine postgres --sites 5000 --keep /tmp/big5000
    builds it in a folder that is not there yet, and prints its DATABASE_URL
python -m tests.benchmarks.big_set --engine postgres --keep /tmp/big5000 --serve
    starts the PostgreSQL of that folder again, as it comes, and stops it when this is stopped
python -m tests.benchmarks.big_set --engine sqlite --sites 1000 --keep /tmp/big1000
    the file is in the folder; nothing needs to be started

Everybody signs in with the demo's password: `manager@quillwood.example` (one site), `supervisor@` (an area of up to 100 sites),
`eastreach@` (of up to 1,000), `head@` (everything) and `reader@` (the first area).
"""

import argparse
import os
import signal
import sys
import time
from importlib import import_module
from pathlib import Path

import django

from tests.postgres import Postgres

DATABASE = "big"


def main() -> None:
    asked = _asked()
    if asked.serve:
        server = Postgres([], asked.keep)
        print(f"DATABASE_URL={server.url(DATABASE)}", flush=True)
        signal.signal(signal.SIGTERM, lambda *_: sys.exit())
        try:
            signal.pause()
        finally:
            server.stop()
    elif asked.engine == "sqlite":
        asked.keep.mkdir(parents=True)
        _build(f"sqlite:///{asked.keep}/big.sqlite3", asked)
    else:
        server = Postgres([], asked.keep)
        try:
            _build(server.create(DATABASE), asked)
        finally:
            server.stop()


def _asked() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--engine", choices=("sqlite", "postgres"), default="postgres")
    parser.add_argument("--sites", type=int, default=5000)
    parser.add_argument("--keep", type=Path, required=True, help="the folder of the data")
    parser.add_argument("--serve", action="store_true", help="start the server of a folder that is there")
    return parser.parse_args()


def _build(database: str, asked: argparse.Namespace) -> None:
    own = {
        "DATABASE_URL": database,
        "NOUGHTBOOK_DATA": str(asked.keep),
        "DJANGO_SETTINGS_MODULE": "compliance.settings",
    }
    os.environ |= own
    began = time.perf_counter()
    django.setup()
    import_module("tests.benchmarks.big_set.building").build(asked.sites)
    print(f"{asked.sites:,} sites in {time.perf_counter() - began:.0f} s: DATABASE_URL={database}", flush=True)


if __name__ == "__main__":
    main()
