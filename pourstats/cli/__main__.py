"""`python -m pourstats.cli` is `pourstats`."""

from pourstats.cli import main

main()
