"""Rows of checks laid a day further ahead for many probes of daily plans; a plan and a closure of their business.

python -m tests.benchmarks.bench_horizon [probes]
"""

from tests.benchmarks.engines import on_both_engines

if __name__ == "__main__":
    on_both_engines("tests.benchmarks.measure_horizon")
