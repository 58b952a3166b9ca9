"""Truth under stress, measured: ``python -m tests.stress``; ``python -m tests.stress.threads`` in any interpreter."""
