"""A sweep over 10,000 and 100,000 probes; the sweep and the page of a day with 1,000 and 1,000,000 past checks.

python -m tests.benchmarks.bench_sweep [past checks]
"""

from tests.benchmarks.engines import on_both_engines

if __name__ == "__main__":
    on_both_engines("tests.benchmarks.measure_sweep")
