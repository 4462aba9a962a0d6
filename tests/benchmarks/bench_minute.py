"""What the tasks of each minute visit and cost, with a history of one day and with one of two years.

python -m tests.benchmarks.bench_minute [probes] [weeks]
"""

from tests.benchmarks.engines import on_both_engines

if __name__ == "__main__":
    on_both_engines("tests.benchmarks.measure_minute")
