"""Alterations of a book behind the program's back, the chain hashed anew after every second one: how many are found by the heads
that were printed before, and what is alleged of the book as it was.

python -m tests.benchmarks.bench_alterations [on SQLite] [on PostgreSQL]
"""

from tests.benchmarks.engines import on_both_engines

if __name__ == "__main__":
    on_both_engines("tests.benchmarks.measure_alterations")
