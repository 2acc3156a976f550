"""Benches: `python -m tests.bench.NAME`; the last line of each is `RESULT name=number ...`."""
