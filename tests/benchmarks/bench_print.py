"""The printed record of 10,000 and of 100,000 readings.

    python -m tests.benchmarks.bench_print [readings]

Floor, measured in the same run: the same strings put straight onto a bare canvas, page by page, without a database.
"""

from tests.benchmarks.engines import on_both_engines

if __name__ == "__main__":
    on_both_engines("tests.benchmarks.measure_print")
