"""How long a file of readings takes to come in, against the bare insertion of the same rows.

python -m tests.benchmarks.bench_import [rows]
"""

from tests.benchmarks.engines import on_both_engines

if __name__ == "__main__":
    on_both_engines("tests.benchmarks.measure_import")
