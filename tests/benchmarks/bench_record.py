"""One reading taken: the action and the whole answer to its form, beside the bare insertion of its two rows.

python -m tests.benchmarks.bench_record
"""

from tests.benchmarks.engines import on_both_engines

if __name__ == "__main__":
    on_both_engines("tests.benchmarks.measure_record")
