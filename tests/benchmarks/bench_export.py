"""Readings taken out as a file, beside what each engine writes of the same rows by itself.

python -m tests.benchmarks.bench_export [readings]
"""

from tests.benchmarks.engines import on_both_engines

if __name__ == "__main__":
    on_both_engines("tests.benchmarks.measure_export")
