"""Four people who record readings of one business at the same moment, each with a probe of their own: with the chain, and with
entries that are stored as they come.

python -m tests.benchmarks.bench_chain
"""

from tests.benchmarks.engines import on_both_engines

if __name__ == "__main__":
    on_both_engines("tests.benchmarks.measure_chain")
