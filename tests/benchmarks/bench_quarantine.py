"""Putting a span in quarantine, assessing a case and counting what is in doubt, on one million readings.

python -m tests.benchmarks.bench_quarantine [readings]
"""

from tests.benchmarks.engines import on_both_engines

if __name__ == "__main__":
    on_both_engines("tests.benchmarks.measure_quarantine")
